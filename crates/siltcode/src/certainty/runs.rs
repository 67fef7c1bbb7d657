//! What the runs of a bottle, or the bottles of a tank, say of each other.
//!
//! Counts of one well-mixed fluid scatter by chance as Poisson counts do: variance equal to mean. More scatter means
//! the fluid, the bottles or the counter differ from run to run; much less means that the numbers are not raw counts.
//! A trend means settling, dissolving or bubbles. No tolerance here comes from a test method's replicate table, since
//! none could be read: what is not a significance level is the caller's to set.

use std::f64::consts::SQRT_2;

use serde::Serialize;

use super::gamma::Gamma;
use super::level::{Level, Probability, Scatter};
use super::normal;
use super::quadrature::{crossing, integral};
use super::ratio;
use crate::count::Evidence;

/// Two or more counts of the same fluid at the same size, in the order counted.
///
/// ```
/// use siltcode::certainty::runs::Runs;
/// use siltcode::{CountedVolume, Dilution, Evidence};
///
/// let volume = CountedVolume::from_ml(1.0)?;
/// let bottles = [1012, 1187, 948, 1430, 1101].map(|raw| Evidence::of_run(raw, volume, Dilution::NONE));
/// let runs = Runs::new(&bottles).unwrap();
/// assert_eq!(format!("{:.1}", runs.dispersion().index), "31.0"); // Poisson would be about 1
/// assert_eq!(format!("{:.3}", runs.scatter().cv()), "0.163");    // bottles scatter by 16 %
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Runs<'a> {
    each: &'a [Evidence],
    /// Examined volume, all runs \[mL\].
    examined_ml: f64,
    /// Particles, all runs.
    total: f64,
}

/// Whether counts scatter as chance does.
///
/// The index of dispersion `sum (k - mean)^2 / mean` against chi-square (R. A. Fisher, Statistical Methods for Research
/// Workers, 1925, section 19).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Dispersion {
    /// The statistic \[-\]: about the number of runs less one.
    pub statistic: f64,
    /// The statistic over the number of runs less one \[-\]: about 1. For equal volumes it is variance over mean.
    pub index: f64,
    /// How likely chance alone scatters at least this much: small means too scattered.
    pub p_scattered: Probability,
    /// How likely chance alone scatters at most this much: small means too equal. Never less than the chance of these
    /// very counts, given their total: a few small counts can be equal without being suspicious.
    pub p_regular: Probability,
}

/// Which way runs go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// From run to run more.
    Rising,
    /// From run to run fewer.
    Falling,
}

/// A trend over the runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drift {
    /// The way every run goes from the one before; none where they turn.
    pub monotone: Option<Direction>,
    /// How likely chance alone gives a trend at least this strong, either way.
    pub p: Probability,
}

/// How far apart the largest and the smallest run may be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Criterion {
    /// As far as chance goes at this level: the quantile of the range of as many Poisson counts, `q / sqrt(mean)` with
    /// the quantile `q` of the range of normal variables. Derived, not the table of any test method.
    Chance(Level),
    /// At most this fraction of the mean \[-\], from the caller's own test method.
    Fraction(f64),
}

/// The largest less the smallest run, against what is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// Over the mean \[-\].
    pub found: f64,
    /// At most this \[-\].
    pub allowed: f64,
}

impl Spread {
    /// Whether the runs lie further apart than allowed.
    #[must_use]
    pub fn is_exceeded(&self) -> bool {
        self.found > self.allowed
    }
}

impl<'a> Runs<'a> {
    /// The runs, if they are two or more and something was counted.
    #[must_use]
    pub fn new(runs: &'a [Evidence]) -> Option<Self> {
        let examined_ml = runs.iter().map(Evidence::examined_ml).sum();
        let total = runs.iter().map(|run| run.raw as f64).sum();
        (runs.len() >= 2 && total > 0.0).then_some(Self { each: runs, examined_ml, total })
    }

    /// The concentration of all runs together \[particles/mL\].
    fn per_ml(&self) -> f64 {
        self.total / self.examined_ml
    }

    fn expected(&self, run: &Evidence) -> f64 {
        self.total * (run.examined_ml() / self.examined_ml)
    }

    /// Whether the runs scatter as chance does.
    #[must_use]
    pub fn dispersion(&self) -> Dispersion {
        let off = |run: &Evidence| (run.raw as f64 - self.expected(run)).powi(2) / self.expected(run);
        let statistic = self.each.iter().map(off).sum::<f64>();
        let freedom = (self.each.len() - 1) as f64;
        let gamma = Gamma::at(freedom / 2.0, statistic / 2.0);
        Dispersion {
            statistic,
            index: statistic / freedom,
            p_scattered: Probability::rounded(gamma.upper()),
            p_regular: Probability::rounded(gamma.lower().max(self.chance())),
        }
    }

    /// The multinomial chance of exactly these counts, given their total and the volumes.
    fn chance(&self) -> f64 {
        let own = |run: &Evidence| match run.raw {
            0 => -self.expected(run),
            raw => Gamma::ln_term(raw as f64, self.expected(run)),
        };
        (self.each.iter().map(own).sum::<f64>() - Gamma::ln_term(self.total, self.total)).exp()
    }

    /// How much the concentration itself varies from run to run: what the variance has beyond counting.
    ///
    /// The moment estimate of the negative binomial: `cv^2 = (s^2 - mean) / mean^2`, for unequal volumes on
    /// concentrations; 0 where the runs scatter no more than chance. At most [`Scatter::LARGEST_CV`].
    #[must_use]
    pub fn scatter(&self) -> Scatter {
        let m = self.each.len() as f64;
        let mean = self.each.iter().map(|run| run.per_ml().get()).sum::<f64>() / m;
        let variance =
            self.each.iter().map(|run| (run.per_ml().get() - mean).powi(2)).sum::<f64>() / (m - 1.0);
        let counting = mean * self.each.iter().map(|run| 1.0 / run.examined_ml()).sum::<f64>() / m;
        let cv = ((variance - counting).max(0.0)).sqrt() / mean;
        Scatter::from_cv(cv.min(Scatter::LARGEST_CV)).unwrap_or(Scatter::NONE)
    }

    /// How likely the first run is at least this far from the others by chance.
    #[must_use]
    pub fn first_differs(&self) -> Probability {
        let others = self.each[1..].iter().copied().reduce(Evidence::summed);
        others.map_or(Probability::CERTAIN, |others| ratio::equal(&self.each[0], &others))
    }

    /// Whether the runs go one way.
    ///
    /// The score test of a trend in a Poisson mean: given their total, the counts' mean position against that of the
    /// volumes. It needs three runs to be told from a difference; with two the chance is 1.
    #[must_use]
    pub fn drift(&self) -> Drift {
        if self.each.len() < 3 {
            return Drift { monotone: None, p: Probability::CERTAIN };
        }
        let weights = || self.each.iter().map(|run| run.examined_ml() / self.examined_ml).enumerate();
        let mean = weights().map(|(i, w)| i as f64 * w).sum::<f64>();
        let variance = weights().map(|(i, w)| (i as f64 - mean).powi(2) * w).sum::<f64>();
        let moment: f64 =
            self.each.iter().enumerate().map(|(i, run)| (i as f64 - mean) * run.raw as f64).sum();
        let z = moment / (variance * self.total).sqrt();
        Drift { monotone: self.monotone(), p: Probability::rounded(2.0 * normal::upper_tail(z.abs())) }
    }

    fn monotone(&self) -> Option<Direction> {
        let each = |holds: fn(f64, f64) -> bool| {
            self.each.windows(2).all(|pair| holds(pair[0].per_ml().get(), pair[1].per_ml().get()))
        };
        if each(|a, b| a < b) {
            Some(Direction::Rising)
        } else if each(|a, b| a > b) {
            Some(Direction::Falling)
        } else {
            None
        }
    }

    /// Whether the runs lie further apart than allowed, as [`spread`](Self::spread) tells it, at less cost where they do
    /// not come near.
    #[must_use]
    pub fn is_spread_exceeded(&self, criterion: Criterion) -> bool {
        if let Criterion::Chance(level) = criterion {
            // The range of more than two normal variables goes further than that of two, whose quantile is a normal one.
            let least = SQRT_2 * normal::upper_quantile(level.risk() / 2.0) / self.mean_count().sqrt();
            if self.range() < least {
                return false;
            }
        }
        self.spread(criterion).is_exceeded()
    }

    fn mean_count(&self) -> f64 {
        self.total / self.each.len() as f64
    }

    /// The largest less the smallest run over their mean \[-\].
    #[must_use]
    pub fn range(&self) -> f64 {
        let per_ml = || self.each.iter().map(|run| run.per_ml().get());
        let range = per_ml().fold(0.0, f64::max) - per_ml().fold(f64::INFINITY, f64::min);
        range / self.per_ml()
    }

    /// The largest less the smallest run over their mean, and what is allowed.
    #[must_use]
    pub fn spread(&self, criterion: Criterion) -> Spread {
        let allowed = match criterion {
            Criterion::Chance(level) => range_quantile(self.each.len(), level) / self.mean_count().sqrt(),
            Criterion::Fraction(fraction) => fraction,
        };
        Spread { found: self.range(), allowed }
    }
}

/// Absolute error of the probability behind a quantile of the range.
const ERROR: f64 = 1e-10;

/// The quantile of the range of `m` standard normal variables: `P(R <= q) = m E[(Phi(z + q) - Phi(z))^(m - 1)]`.
fn range_quantile(m: usize, level: Level) -> f64 {
    let others = i32::try_from(m - 1).unwrap_or(i32::MAX);
    let both = |z: f64, q: f64| (normal::upper_tail(z) - normal::upper_tail(z + q)).powi(others);
    let weighted = |q: f64| move |z: f64| normal::density(z) * both(z, q);
    let within = |q: f64| m as f64 * integral(weighted(q), &mut [-7.5, 0.0, 7.5], ERROR);
    crossing(|q| level.get() - within(q), 0.0, 40.0)
}
