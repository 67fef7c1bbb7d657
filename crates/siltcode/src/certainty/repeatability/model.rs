//! How much runs of one bottle vary beyond counting, estimated from all bottles together.
//!
//! A run of a bottle expects `mean * f` particles, with `f` a factor of relative variance `s^2` that is drawn anew for each
//! run. The index-of-dispersion statistic `X` of a bottle then has about `1 + s^2 mean` times the expectation that counting
//! gives it, which is its number of runs less one.

use crate::certainty::factor::RandomFactor;
use crate::certainty::gamma::Gamma;
use crate::certainty::quadrature::crossing;
use crate::certainty::runs::Runs;
use crate::certainty::student::f_tail;
use crate::count::Evidence;

/// What the runs of one bottle at one size say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RunStatistics {
    /// The index-of-dispersion statistic \[-\].
    statistic: f64,
    /// The number of runs less one \[-\].
    freedom: f64,
    /// The expected count of a run, on average over unequal volumes \[particles\].
    mean: f64,
}

/// The relative variance of a run, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pooled {
    /// `s^2` \[-\].
    pub(super) variance: f64,
    /// The same as estimated, where bottles that agree by luck do no harm \[-\].
    pub(super) estimate: f64,
    /// Effective number of degrees of freedom behind it \[-\].
    pub(super) degrees: f64,
    /// Bottles it rests on.
    pub(super) bottles: usize,
}

/// The sum of the squares of the runs' shares of the examined volume: 1 over their number where volumes are equal.
pub(super) fn squares_of_shares(runs: &[Evidence]) -> f64 {
    let all: f64 = runs.iter().map(Evidence::examined_ml).sum();
    runs.iter().map(|run| (run.examined_ml() / all).powi(2)).sum()
}

impl RunStatistics {
    /// Of two or more runs that counted something.
    pub(super) fn of(runs: &[Evidence]) -> Option<Self> {
        let statistic = Runs::new(runs)?.dispersion().statistic;
        let freedom = (runs.len() - 1) as f64;
        let total: f64 = runs.iter().map(|run| run.raw as f64).sum();
        Some(Self { statistic, freedom, mean: total * (1.0 - squares_of_shares(runs)) / freedom })
    }

    /// How likely runs of this relative variance scatter at least this much.
    pub(super) fn p_scattered(&self, variance: f64) -> f64 {
        Gamma::at(self.freedom / 2.0, self.statistic / (1.0 + variance * self.mean) / 2.0).upper()
    }
}

impl Pooled {
    /// More degrees of freedom than these are not trusted: the spread differs from bottle to bottle.
    const MOST_DEGREES: f64 = 20.0;
    /// The same where a bottle had to be left out.
    const MOST_DEGREES_LESS_OUTLIERS: f64 = 10.0;
    /// The least variance, in standard deviations of what counting alone leaves unknown of it: bottles may agree by luck.
    const FLOOR: f64 = 0.7;
    /// No more than this is taken for hidden by counting: runs of a counter in order do not vary by more than 15 %, and a
    /// few particles would hide anything.
    const MOST_HIDDEN: f64 = 0.15 * 0.15;
    /// Scatter that happens less often among bottles like the others is that of another kind of bottle.
    const OUTLIER: f64 = 0.001;
    /// Scatter that happens less often is that of the bottle itself, as far as its own interval goes: a pool may hold one
    /// bottle that varies more, so the chance is one over its bottles, within these.
    const OWN: [f64; 2] = [0.05, 0.25];
    /// How often outliers are looked for: all at once, then one at a time.
    const ROUNDS: [usize; 2] = [3, 16];

    /// Of these bottles; none where there are none.
    ///
    /// Bottles that scatter beyond the rest are left out, at most half of them: first those that stand out even with their own
    /// share in the pool, then the worst, as long as it stands out from the pool of the others. Those that stay are given back.
    pub(super) fn of(bottles: &[RunStatistics]) -> Option<(Self, Vec<RunStatistics>)> {
        let least = bottles.len().div_ceil(2);
        let mut kept = bottles.to_vec();
        kept.sort_by(|a, b| (a.statistic / a.freedom).total_cmp(&(b.statistic / b.freedom)));
        let mut pooled = Self::of_all(&kept, Self::MOST_DEGREES)?;
        for _ in 0..Self::ROUNDS[0] {
            let stands_out = |bottle: &RunStatistics| bottle.p_scattered(pooled.variance) < Self::OUTLIER;
            let before = kept.len();
            while kept.len() > least && kept.last().is_some_and(stands_out) {
                kept.pop();
            }
            if kept.len() == before {
                break;
            }
            pooled = Self::of_all(&kept, Self::MOST_DEGREES_LESS_OUTLIERS)?;
        }
        for _ in 0..Self::ROUNDS[1] {
            let Some((worst, others)) = kept.split_last().filter(|(_, others)| others.len() >= least) else {
                break;
            };
            let Some(rest) = Self::of_all(others, Self::MOST_DEGREES_LESS_OUTLIERS) else { break };
            if rest.p_scattered(worst) >= Self::OUTLIER {
                break;
            }
            pooled = rest;
            kept.pop();
        }
        Some((pooled, kept))
    }

    /// How likely a bottle like those of the pool scatters at least as much as this one: its variance against theirs, each
    /// known from its own number of degrees of freedom (Fisher's F).
    fn p_scattered(&self, bottle: &RunStatistics) -> f64 {
        let beyond = self.variance * bottle.mean;
        let degrees = ((1.0 + beyond) / beyond.max(f64::MIN_POSITIVE)).powi(2) * self.degrees;
        f_tail(bottle.statistic / bottle.freedom / (1.0 + beyond), bottle.freedom, degrees)
    }

    /// Of one bottle.
    pub(super) fn of_one(bottle: RunStatistics) -> Option<Self> {
        Self::of_all(&[bottle], Self::MOST_DEGREES)
    }

    /// Of these bottles less one of them, which a pool of few bottles would otherwise be compared with in part itself.
    pub(super) fn without(kept: &[RunStatistics], bottle: &RunStatistics) -> Option<Self> {
        let place = kept.iter().position(|other| other == bottle)?;
        let others: Vec<RunStatistics> = [&kept[..place], &kept[place + 1..]].concat();
        Self::of_all(&others, Self::MOST_DEGREES)
    }

    /// The variance for a bottle that the pool says of: its own where its runs vary beyond those of the others, which then
    /// count no more.
    pub(super) fn or_own(self, bottle: RunStatistics, others: Self) -> Self {
        let [least, most] = Self::OWN;
        if others.p_scattered(&bottle) >= (1.0 / self.bottles as f64).clamp(least, most) {
            return self;
        }
        match Self::of_one(bottle) {
            Some(own) => Self { variance: own.variance.max(self.variance), ..own },
            None => self,
        }
    }

    fn of_all(bottles: &[RunStatistics], most_degrees: f64) -> Option<Self> {
        let freedom: f64 = bottles.iter().map(|bottle| bottle.freedom).sum();
        if freedom <= 0.0 {
            return None;
        }
        let sum = |of: &dyn Fn(&RunStatistics) -> f64| bottles.iter().map(of).sum::<f64>();
        let variance = paule_mandel(bottles, freedom);
        // Each bottle says of the variance what the square of this weight is worth.
        let weight =
            |bottle: &RunStatistics, variance: f64| (bottle.mean / (1.0 + variance * bottle.mean)).powi(2);
        let effective = |variance: f64| {
            sum(&|bottle| bottle.freedom * weight(bottle, variance)).powi(2)
                / sum(&|bottle| bottle.freedom * weight(bottle, variance).powi(2))
        };
        let index = sum(&|bottle| bottle.statistic) / freedom;
        let scale = (sum(&|bottle| bottle.freedom * bottle.mean.powi(2)) / freedom).sqrt();
        let floor = (Self::FLOOR * index.max(1.0) / (effective(0.0).sqrt() * scale)).min(Self::MOST_HIDDEN);
        let degrees = effective(variance).min(most_degrees);
        Some(Self { variance: variance.max(floor), estimate: variance, degrees, bottles: bottles.len() })
    }

    /// The factor on a single run.
    pub(super) fn factor(&self) -> RandomFactor {
        RandomFactor::computed(self.variance.ln_1p().sqrt(), self.degrees)
    }

    /// With a stated variance, which counts as this many degrees of freedom.
    pub(super) fn with_stated(self, variance: f64, worth: f64) -> Self {
        let degrees = self.degrees + worth;
        let together = |own: f64| (worth * variance + self.degrees * own) / degrees;
        Self { variance: together(self.variance), estimate: together(self.estimate), degrees, ..self }
    }
}

/// How likely runs of this relative variance scatter at least as far from what is expected as these do, either way.
pub(super) fn p_agrees(bottles: &[RunStatistics], variance: f64) -> f64 {
    let statistic: f64 = bottles.iter().map(|bottle| bottle.statistic / (1.0 + variance * bottle.mean)).sum();
    let freedom: f64 = bottles.iter().map(|bottle| bottle.freedom).sum();
    let gamma = Gamma::at(freedom / 2.0, statistic / 2.0);
    (2.0 * gamma.upper().min(gamma.lower())).min(1.0)
}

/// The variance at which the bottles scatter as expected, `sum X / (1 + s^2 mean) = sum of degrees`, or 0 where they scatter
/// less than counting alone would (R. C. Paule, J. Mandel, Journal of Research of the National Bureau of Standards 87
/// (1982) 377-385).
fn paule_mandel(bottles: &[RunStatistics], freedom: f64) -> f64 {
    let excess = |variance: f64| {
        bottles.iter().map(|bottle| bottle.statistic / (1.0 + variance * bottle.mean)).sum::<f64>() - freedom
    };
    // Above this the sum is below what each of its terms can reach.
    let most = bottles.iter().map(|bottle| bottle.statistic / bottle.mean).sum::<f64>() / freedom;
    crossing(excess, 0.0, most)
}
