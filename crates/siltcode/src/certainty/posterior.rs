//! What a count says of the concentration it came from, as a distribution.

use super::factor::RandomFactor;
use super::gamma::Shape;
use super::level::{Interval, Level, Mean, Probability};
use super::mixture::Mixture;
use super::normal;
use super::poisson::{self, Method};
use super::quadrature::crossing;
use crate::count::{Evidence, PerMl};

/// The concentration of the fluid, given one bottle's evidence.
///
/// Without a factor it is Gamma(k + 1/2) over the examined volume, the posterior of Jeffreys' prior. What varies beside
/// counting multiplies it by a random factor, one for the whole bottle: a stated [`Scatter`](super::Scatter) between
/// bottles, or what a [`Repeatability`](super::Repeatability) says of the runs.
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
    factor: RandomFactor,
    mixture: Mixture,
}

impl Posterior {
    /// What this evidence says of the fluid, if its concentration varies by this factor.
    #[must_use]
    pub fn new(evidence: &Evidence, factor: impl Into<RandomFactor>) -> Self {
        let factor = factor.into();
        let mixture = Mixture::new(Shape::new(Self::shape_of(evidence)), factor);
        Self { evidence: *evidence, factor, mixture }
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
        self.mixture.tails(per_ml * self.evidence.examined_ml())
    }

    /// The two-sided interval of the concentration: Garwood's, whose ends are quantiles of Gamma(k) and Gamma(k + 1), each
    /// times the factor.
    #[must_use]
    pub fn interval(&self, level: Level) -> Interval<PerMl> {
        if self.factor == RandomFactor::NONE {
            return poisson::limit(self.evidence.raw, level, Method::Garwood)
                .map(|mean| mean.per_ml(&self.evidence));
        }
        self.ends(level.risk() / 2.0)
    }

    /// The one-sided upper and lower limit at this level, of the same distributions.
    #[must_use]
    pub fn one_sided(&self, level: Level) -> Interval<PerMl> {
        if self.factor == RandomFactor::NONE {
            let ends = Interval {
                low: poisson::lower(self.evidence.raw, level),
                high: poisson::upper(self.evidence.raw, level),
            };
            return ends.map(|mean| mean.per_ml(&self.evidence));
        }
        self.ends(level.risk())
    }

    /// The ends that leave `tail` outside each.
    fn ends(&self, tail: f64) -> Interval<PerMl> {
        let raw = self.evidence.raw as f64;
        let low = if raw > 0.0 { quantile(raw, self.factor, tail) } else { 0.0 };
        let high = quantile(raw + 1.0, self.factor, 1.0 - tail);
        Interval { low, high }.map(|mean| Mean::computed(mean.min(f64::MAX)).per_ml(&self.evidence))
    }
}

/// Where the probability at or below is `p`, found on the scale of normal deviates, where it is nearly a straight line.
fn quantile(shape: f64, factor: RandomFactor, p: f64) -> f64 {
    let mixture = Mixture::new(Shape::new(shape), factor);
    let deviate = |[below, above]: [f64; 2]| {
        let z = normal::upper_quantile(below.min(above).max(f64::MIN_POSITIVE));
        if below < above { -z } else { z }
    };
    let target = deviate([p, 1.0 - p]);
    let falling = |ln_mean: f64| target - deviate(mixture.tails(ln_mean.exp()));
    let sd = (1.0 / shape + factor.log_sd().powi(2)).sqrt();
    let (mut low, mut high) = (shape.ln() + (target - 0.5) * sd, shape.ln() + (target + 0.5) * sd);
    for step in 0..FARTHEST {
        let reach = sd * f64::from(1_u32 << step.min(16));
        match (falling(low) < 0.0, falling(high) > 0.0) {
            (true, _) => low -= reach,
            (_, true) => high += reach,
            _ => break,
        }
    }
    crossing(falling, low, high).exp()
}

/// Steps, each twice as long as the last, from the likely place of a quantile to its farthest.
const FARTHEST: u32 = 40;

/// The probability between two points, from the tails at each, with the digits of the smaller ones.
pub(crate) fn inside(from: [f64; 2], to: [f64; 2]) -> Probability {
    let inside = if from[0] > 0.5 { from[1] - to[1] } else { to[0] - from[0] };
    Probability::rounded(inside.max(0.0))
}
