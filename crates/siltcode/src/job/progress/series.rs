//! All sizes of the samples of a job, their bins fitted together.

use super::bottle::Bottle;
use super::errors::StandardErrors;
use super::fit::{Edge, Fit, FloorRule, FloorTest, Goodness, ShownEfficiency, chance_above};
use super::joint::{Given, Joint, Parts, Said, floor_by_chance};
use super::seen::Observed;
use crate::certainty::{Context, Level, Probability, Scatter, normal};
use crate::count::PerMl;
use crate::error::{Error, ErrorKind, Result};
use crate::filter::Efficiency;
use crate::size::Size;
use crate::tank::{Mixing, Turnovers};

/// How much more than by counting alone bottles scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Not more.
    Counting,
    /// As stated, from bottles drawn side by side. How much of it all sizes of a bottle share is taken from the samples.
    Stated(Scatter),
    /// As stated, in two parts.
    Parts {
        /// What all sizes of a bottle share, as where the sample drawn or the volume counted varies.
        shared: Scatter,
        /// What each size of a bottle has for itself, more precisely each bin.
        own: Scatter,
    },
    /// Not known: answers allow for all that it may be, each with the probability that the samples give it.
    Found,
}

/// The elements that are in service from some turnovers on, until those of the next period.
#[derive(Debug, Clone, PartialEq)]
pub struct ElementPeriod {
    /// From when on, counted as the samples' turnovers are; that of the first period has no meaning.
    pub from: Turnovers,
    /// The efficiency that they should have in the bin that starts at a size and ends at the next larger size sampled, as
    /// [`Rating::bins`](crate::filter::Rating::bins) gives it. A size that is missing has a rate of its own.
    pub expected: Vec<(Size, Efficiency)>,
}

/// How samples are looked at.
///
/// ```
/// use siltcode::job::progress::{Options, Spread};
/// use siltcode::certainty::Scatter;
///
/// let options = Options { spread: Spread::Stated(Scatter::from_cv(0.1)?), ..Options::default() };
/// assert_eq!(options.level.get(), 0.95);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Whether there may be a floor. `None` leaves it open: estimates have one as soon as the samples show it, and intervals
    /// allow for one from the start.
    pub floor: Option<FloorRule>,
    /// How bottles scatter.
    pub spread: Spread,
    /// The level of intervals.
    pub level: Level,
    /// The level at which a difference counts as more than chance.
    pub alarm: Level,
    /// The elements, period by period; none where nothing is known of them and they were not changed.
    pub elements: Vec<ElementPeriod>,
    /// How the fluid moves through the tank. Samples are taken to show its mean.
    pub mixing: Mixing,
}

impl Default for Options {
    /// A floor as soon as it is shown, scatter as the samples show it, intervals at 95 %, alarms at 99 %, unknown elements, a
    /// stirred tank.
    fn default() -> Self {
        let Context { level, alarm, .. } = Context::default();
        let (elements, mixing) = (Vec::new(), Mixing::Well);
        Self { floor: None, spread: Spread::Found, level, alarm, elements, mixing }
    }
}

/// One size through the samples, and the bin from it to the next larger size.
#[derive(Debug, Clone)]
pub struct SizeProgress {
    /// The size.
    pub size: Size,
    /// What each sample said of all particles of this size and larger, in the order of their turnovers.
    pub observed: Vec<Observed>,
    /// How high the bin stands above its floor at the first sample; where the tank is not stirred, at its start.
    pub above_floor: PerMl,
    /// The floor of the bin; 0 unless a floor is shown.
    pub floor: PerMl,
    /// The efficiency that the tank shows in the bin, in each period of elements.
    pub efficiencies: Vec<ShownEfficiency>,
    /// Standard errors of the height, the efficiency in the last period, and the floor; none where the samples do not fix
    /// them.
    pub errors: Option<StandardErrors>,
    /// Where the counts do not fix the rate of the fall.
    pub edge: Option<Edge>,
    /// What there is of this size and larger at the last sample.
    pub now: PerMl,
}

/// What the samples of a job say.
///
/// The particles between each size and the next are a bin with a fall of its own, `a exp(-kappa tau) + c`; what is counted
/// at a size is the sum of the bins from it on. All bins are fitted together.
#[derive(Debug, Clone)]
pub struct Progress {
    pub(super) sizes: Vec<SizeProgress>,
    left_out: Vec<(Size, Error)>,
    pub(super) options: Options,
    pub(super) joint: Joint,
    bottles: Vec<Bottle>,
}

impl Progress {
    /// What samples say, in whatever order they are given.
    ///
    /// # Errors
    /// `scales-mixed`; that of [`Fit::new`] at the smallest size where no size has a fall; `periods-need-stirred-tank`.
    pub fn new(bottles: &[Bottle], options: Options) -> Result<Self> {
        if options.elements.len() > 1 && options.mixing != Mixing::Well {
            return Err(ErrorKind::PeriodsNeedStirredTank {}.into());
        }
        let (mut series, mut left_out) = (Vec::new(), Vec::new());
        for size in sizes_of(bottles)? {
            let observed = observed_at(bottles, size);
            match Fit::ensure_usable(&observed) {
                Ok(()) => series.push((size, observed)),
                Err(error) => left_out.push((size, error)),
            }
        }
        if series.is_empty() {
            let none = || ErrorKind::TooFewSamples { found: 0, needed: 2 }.into();
            return Err(left_out.first().map_or_else(none, |(_, error)| error.clone()));
        }
        let fitted: Vec<Size> = series.iter().map(|(size, _)| *size).collect();
        let joint = joint(bottles, &fitted, &options);
        let sizes = series.into_iter().enumerate();
        let sizes =
            sizes.map(|(bin, (size, observed))| SizeProgress::new(size, observed, &joint, bin)).collect();
        Ok(Self { sizes, left_out, options, joint, bottles: bottles.to_vec() })
    }

    /// The fit of the samples before the last; none where some size has no fall in them.
    pub(super) fn before_last(&self) -> Option<Joint> {
        let [_, last] = self.joint.data.span();
        let before = self.bottles.iter().filter(|bottle| bottle.turnovers().get() < last).cloned();
        let before: Vec<Bottle> = before.collect();
        let sizes: Vec<Size> = self.sizes.iter().map(|size| size.size).collect();
        let is_usable = sizes.iter().all(|size| Fit::ensure_usable(&observed_at(&before, *size)).is_ok());
        is_usable.then(|| joint(&before, &sizes, &self.options))
    }

    /// The sizes, rising. There is at least one.
    #[must_use]
    pub fn sizes(&self) -> &[SizeProgress] {
        &self.sizes
    }

    /// One size.
    #[must_use]
    pub fn at(&self, size: Size) -> Option<&SizeProgress> {
        self.sizes.iter().find(|progress| progress.size == size)
    }

    /// Sizes without a fall, and why. What was counted at them is not used.
    #[must_use]
    pub fn left_out(&self) -> &[(Size, Error)] {
        &self.left_out
    }

    /// How the samples were looked at.
    #[must_use]
    pub const fn options(&self) -> &Options {
        &self.options
    }

    /// Whether a floor is shown by the samples, beyond one chance in a hundred, or was said to be there.
    #[must_use]
    pub fn is_floor_shown(&self) -> bool {
        self.joint.is_floor_shown()
    }

    /// The coefficient of variation of bottles beyond counting \[-\]: as stated, or what the samples make about as likely to
    /// be too high as too low.
    #[must_use]
    pub fn scatter(&self) -> Scatter {
        Scatter::from_cv(self.joint.centre().cv).unwrap_or(Scatter::NONE)
    }

    /// The turnovers of the first and of the last sample.
    #[must_use]
    pub fn span(&self) -> [Turnovers; 2] {
        self.joint.data.span().map(|at| Turnovers::new(at).unwrap_or(Turnovers::NONE))
    }

    /// What there is of a fitted size and larger after turnovers, counted as the samples' are, by the best estimate; before
    /// the first sample, as at it. None at other sizes.
    #[must_use]
    pub fn path(&self, size: Size, turnovers: Turnovers) -> Option<PerMl> {
        let bin = self.sizes.iter().position(|progress| progress.size == size)?;
        let [first, _] = self.joint.data.span();
        Some(per_ml(self.joint.at(bin, turnovers.get().max(first))))
    }

    /// The floor of a fitted size and larger, by the best estimate: 0 unless one is shown. None at other sizes.
    #[must_use]
    pub fn floor(&self, size: Size) -> Option<PerMl> {
        let bin = self.sizes.iter().position(|progress| progress.size == size)?;
        Some(per_ml(self.joint.floor_from(bin)))
    }

    /// With what confidence a limit is met at a fitted size after so many more turnovers; without a number, with what
    /// confidence it is ever met. None at other sizes, and for a limit of 0.
    ///
    /// The ends of the interval of what remains lie where this is half of what the level leaves, and the rest.
    #[must_use]
    pub fn confidence(&self, size: Size, limit: PerMl, more: Option<Turnovers>) -> Option<Probability> {
        let bin = self.sizes.iter().position(|progress| progress.size == size)?;
        let [_, last] = self.joint.data.span();
        let mut confidence = self.joint.confidence(bin, limit.get());
        let deviate = |more: Option<Turnovers>| match more {
            Some(more) => confidence.by(last + more.get()),
            None => confidence.ever(),
        };
        (limit > PerMl::ZERO)
            .then_some(more)
            .map(deviate)
            .map(|z| Probability::rounded(normal::upper_tail(-z)))
    }

    /// The logarithm of the likelihood of all counts, with what was known of the elements beforehand \[-\].
    #[must_use]
    pub fn ln_likelihood(&self) -> f64 {
        self.joint.best().value
    }

    /// How well the curves go through the counts. Bounds take no part.
    #[must_use]
    pub fn goodness(&self) -> Goodness {
        let (joint, best) = (&self.joint, self.joint.best());
        let (deviance, pearson, number) = joint.centre().likelihood.goodness(&joint.model, &best.x);
        let bins = self.sizes.len();
        let floors = (0..bins).filter(|bin| joint.floor(*bin) > 0.0).count();
        let fitted = bins * (1 + self.sizes[0].efficiencies.len()) + floors;
        let freedom = number.saturating_sub(u32::try_from(fitted).unwrap_or(u32::MAX));
        let p = (freedom > 0).then(|| chance_above(deviance, freedom));
        Goodness { deviance, pearson, freedom, p }
    }

    /// The test whether there is a floor; none where none was allowed.
    #[must_use]
    pub fn floor_test(&self) -> Option<FloorTest> {
        (self.options.floor != Some(FloorRule::Absent)).then(|| {
            let bins = self.sizes.len();
            let nodes = self.joint.nodes.iter();
            let p = nodes.map(|node| node.weight * floor_by_chance(node.floor_gain(), bins)).sum();
            FloorTest { statistic: self.joint.centre().floor_gain(), p: Probability::rounded(p) }
        })
    }
}

impl SizeProgress {
    fn new(size: Size, observed: Vec<Observed>, joint: &Joint, bin: usize) -> Self {
        let edge = match joint.rate_at_end(bin) {
            [true, _] => Some(Edge::NoFall),
            [_, true] => Some(Edge::Sudden),
            _ => None,
        };
        let shown = |rate: f64| {
            if edge == Some(Edge::NoFall) { ShownEfficiency::NONE } else { ShownEfficiency::computed(rate) }
        };
        let [_, last] = joint.data.span();
        Self {
            size,
            observed,
            above_floor: per_ml(joint.height(bin)),
            floor: per_ml(joint.floor(bin)),
            efficiencies: joint.rates(bin).into_iter().map(shown).collect(),
            errors: if edge.is_none() { joint.errors(bin) } else { None },
            edge,
            now: per_ml(joint.at(bin, last)),
        }
    }

    /// The efficiency that the tank shows in the bin, in the last period of elements.
    #[must_use]
    pub fn efficiency(&self) -> ShownEfficiency {
        self.efficiencies.last().copied().unwrap_or(ShownEfficiency::NONE)
    }
}

fn joint(bottles: &[Bottle], sizes: &[Size], options: &Options) -> Joint {
    let mut elements: Vec<&ElementPeriod> = options.elements.iter().collect();
    elements.sort_by(|a, b| a.from.get().total_cmp(&b.from.get()));
    let later_periods: Vec<f64> = elements.iter().skip(1).map(|period| period.from.get()).collect();
    let of_period = |period: &&ElementPeriod| {
        let at = |size: &Size| period.expected.iter().find(|(known, _)| known == size);
        sizes.iter().map(|size| at(size).map(|(_, efficiency)| efficiency.get())).collect()
    };
    let expected: Vec<Vec<Option<f64>>> = elements.iter().map(of_period).collect();
    let scatter = match options.spread {
        Spread::Counting => Said::Whole(0.0),
        Spread::Stated(scatter) => Said::Whole(scatter.cv()),
        Spread::Parts { shared, own } => {
            let [shared, own] = [shared, own].map(|part| part.cv().powi(2));
            Said::Both(Parts { shared, own })
        }
        Spread::Found => Said::Nothing,
    };
    Joint::new(&Given {
        bottles,
        sizes,
        floor: options.floor,
        scatter,
        later_periods: &later_periods,
        expected: &expected,
        mixing: options.mixing,
    })
}

fn observed_at(bottles: &[Bottle], size: Size) -> Vec<Observed> {
    let seen = bottles.iter().flat_map(Bottle::seen).filter(|(at, _)| *at == size);
    let mut observed: Vec<Observed> = seen.map(|(_, seen)| *seen).collect();
    observed.sort_by(Observed::order);
    observed
}

fn per_ml(value: f64) -> PerMl {
    PerMl::new(value).unwrap_or(PerMl::ZERO)
}

/// Every size that some bottle was counted at, rising.
fn sizes_of(bottles: &[Bottle]) -> Result<Vec<Size>> {
    let mut sizes: Vec<Size> =
        bottles.iter().flat_map(|bottle| bottle.seen().iter().map(|(size, _)| *size)).collect();
    sizes.sort_by(|a, b| a.um().total_cmp(&b.um()));
    sizes.dedup();
    match sizes.iter().find(|size| size.scale() != sizes[0].scale()) {
        Some(other) => {
            let (left, right) = (sizes[0].scale().to_string(), other.scale().to_string());
            Err(ErrorKind::ScalesMixed { left, right }.into())
        }
        None => Ok(sizes),
    }
}
