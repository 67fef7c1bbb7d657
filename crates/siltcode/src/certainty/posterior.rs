//! What a count says of the concentration it came from, as a distribution.

use super::gamma::Shape;
use super::level::{Interval, Level, Mean, Probability, Scatter};
use super::normal;
use super::poisson::{self, Method};
use super::quadrature::{crossing, integral};
use crate::count::{Evidence, PerMl};

/// Absolute error of a probability that takes an integral.
const ERROR: f64 = 1e-10;

/// The concentration of the fluid, given one bottle's evidence.
///
/// Without scatter it is Gamma(k + 1/2) over the examined volume, the posterior of Jeffreys' prior. Scatter between
/// bottles multiplies it by a lognormal factor of median 1, one for the whole bottle, whose coefficient of variation is
/// the scatter's.
///
/// ```
/// use siltcode::certainty::{Posterior, Scatter};
/// use siltcode::{CountedVolume, Dilution, Evidence, PerMl};
///
/// let evidence = Evidence::of_run(50, CountedVolume::from_ml(5.0)?, Dilution::NONE);
/// let posterior = Posterior::new(&evidence, Scatter::NONE);
/// // 50 particles in 5 mL are exactly 10 per mL, and whether the fluid has 10 or fewer is a coin toss.
/// assert_eq!(format!("{:.4}", posterior.at_most(PerMl::new(10.0)?).get()), "0.4906");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct Posterior {
    evidence: Evidence,
    scatter: Scatter,
    shape: Shape,
}

impl Posterior {
    /// What this evidence says of the fluid, if bottles scatter this much.
    #[must_use]
    pub fn new(evidence: &Evidence, scatter: Scatter) -> Self {
        Self { evidence: *evidence, scatter, shape: Shape::new(Self::shape_of(evidence)) }
    }

    /// The shape of the gamma variable, which has unit scale in particles counted.
    pub(crate) const fn shape_of(evidence: &Evidence) -> f64 {
        evidence.raw as f64 + 0.5
    }

    /// The probability that the concentration is at most this.
    #[must_use]
    pub fn at_most(&self, per_ml: PerMl) -> Probability {
        Probability::rounded(self.tails_at(per_ml.get())[0])
    }

    /// The probability that the concentration is above this.
    #[must_use]
    pub fn above(&self, per_ml: PerMl) -> Probability {
        Probability::rounded(self.tails_at(per_ml.get())[1])
    }

    /// The probability that the concentration is above `from` and at most `to`, each tail to its own digits.
    #[must_use]
    pub fn between(&self, from: PerMl, to: PerMl) -> Probability {
        inside(self.tails_at(from.get()), self.tails_at(to.get()))
    }

    /// The probabilities at or below, and above, a concentration of `per_ml`.
    pub(crate) fn tails_at(&self, per_ml: f64) -> [f64; 2] {
        self.tails(per_ml * self.evidence.examined_ml())
    }

    /// The two-sided interval of the concentration: Garwood's without scatter, equal tails of this distribution with.
    #[must_use]
    pub fn interval(&self, level: Level) -> Interval<PerMl> {
        if self.scatter == Scatter::NONE {
            return poisson::limit(self.evidence.raw, level, Method::Garwood)
                .map(|mean| mean.per_ml(&self.evidence));
        }
        let [low, high] = [level.risk() / 2.0, 1.0 - level.risk() / 2.0].map(|p| self.quantile(p));
        Interval { low: low.per_ml(&self.evidence), high: high.per_ml(&self.evidence) }
    }

    /// The one-sided upper and lower limit at this level: Garwood's without scatter, quantiles of this distribution with.
    #[must_use]
    pub fn one_sided(&self, level: Level) -> Interval<PerMl> {
        let ends = if self.scatter == Scatter::NONE {
            Interval {
                low: poisson::lower(self.evidence.raw, level),
                high: poisson::upper(self.evidence.raw, level),
            }
        } else {
            Interval { low: self.quantile(level.risk()), high: self.quantile(level.get()) }
        };
        ends.map(|mean| mean.per_ml(&self.evidence))
    }

    /// The probabilities at or below, and above, an expected count.
    fn tails(&self, mean: f64) -> [f64; 2] {
        tails(&self.shape, self.scatter.log_sd(), mean)
    }

    /// Where the probability at or below is `p`, found on the scale of normal deviates, where it is nearly a straight line.
    fn quantile(&self, p: f64) -> Mean {
        let deviate = |[below, above]: [f64; 2]| {
            let z = normal::upper_quantile(below.min(above).max(f64::MIN_POSITIVE));
            if below < above { -z } else { z }
        };
        let target = deviate([p, 1.0 - p]);
        let falling = |ln_mean: f64| target - deviate(self.tails(ln_mean.exp()));
        let shape = self.shape.get();
        let sd = (1.0 / shape + self.scatter.log_sd().powi(2)).sqrt();
        let (mut low, mut high) = (shape.ln() + (target - 0.5) * sd, shape.ln() + (target + 0.5) * sd);
        for step in 0..FARTHEST {
            let reach = sd * f64::from(1_u32 << step.min(16));
            match (falling(low) < 0.0, falling(high) > 0.0) {
                (true, _) => low -= reach,
                (_, true) => high += reach,
                _ => break,
            }
        }
        Mean::computed(crossing(falling, low, high).exp())
    }
}

/// Steps, each twice as long as the last, from the likely place of a quantile to its farthest.
const FARTHEST: u32 = 40;

/// The probability between two points, from the tails at each, with the digits of the smaller ones.
pub(crate) fn inside(from: [f64; 2], to: [f64; 2]) -> Probability {
    let inside = if from[0] > 0.5 { from[1] - to[1] } else { to[0] - from[0] };
    Probability::rounded(inside.max(0.0))
}

/// The probabilities at or below, and above, `mean`, of a gamma variable times a lognormal factor of this log sd.
///
/// The wider of the two factors is integrated in closed form and the narrower by quadrature, so the integrand is smooth.
pub(crate) fn tails(shape: &Shape, log_sd: f64, mean: f64) -> [f64; 2] {
    if mean <= 0.0 || log_sd <= 0.0 {
        return shape.tails(mean);
    }
    let below = if log_sd * log_sd * shape.get() > 1.0 {
        over_gamma(shape, |gamma| normal::upper_tail((gamma / mean).ln() / log_sd))
    } else {
        over_normal(|z| shape.tails(mean * (-log_sd * z).exp())[0], error(shape))
    };
    [below, 1.0 - below]
}

/// What is asked of an integral over probabilities of this shape.
fn error(shape: &Shape) -> f64 {
    ERROR.max(64.0 * shape.rounding())
}

/// The mean of `f` over a standard normal variable.
pub(crate) fn over_normal(mut f: impl FnMut(f64) -> f64, error: f64) -> f64 {
    integral(|z| normal::density(z) * f(z), &mut [-7.5, 0.0, 7.5], error)
}

/// The mean of `f` over a gamma variable, in its root, which has about the same width for every shape.
fn over_gamma(shape: &Shape, mut f: impl FnMut(f64) -> f64) -> f64 {
    let Interval { low, high } = support(shape);
    let weighted = |root: f64| density_of_root(shape, root) * f(root * root);
    integral(weighted, &mut [low.sqrt(), shape.get().sqrt(), high.sqrt()], error(shape))
}

/// Where a gamma variable has all but some 1e-14 of its mass.
pub(crate) fn support(shape: &Shape) -> Interval<f64> {
    let reach = 8.0 * shape.get().sqrt();
    Interval { low: (shape.get() - reach).max(0.0), high: shape.get() + reach + 32.0 }
}

/// The density of the root of a gamma variable: `2 x f(x^2)`, without a pole at 0 from shape 1/2 on.
pub(crate) fn density_of_root(shape: &Shape, root: f64) -> f64 {
    if root <= 0.0 {
        return 0.0;
    }
    2.0 * shape.get() * shape.ln_term(root * root).exp() / root
}
