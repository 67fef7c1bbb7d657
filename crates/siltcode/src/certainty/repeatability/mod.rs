//! How much runs vary beyond counting: the repeatability of counter and bottle.
//!
//! A counter that counts the same bottle again gives another concentration, and not by counting error alone. How much, no
//! single bottle of two or three runs can say; all bottles of a batch together can. So a [`RunPool`] gathers the runs of a
//! batch's first bottles, and the [`Repeatability`] it gives, size by size, widens every interval, odds and verdict of the
//! batch. No test of significance comes before it: scatter that a test does not find is there all the same.

mod model;

use std::fmt;

use serde::Serialize;

use super::factor::{Factors, RandomFactor, Variation};
use super::level::Scatter;
use crate::count::Evidence;
use crate::sample::Sample;
use crate::size::{Size, SizeScale};
use model::{Pooled, RunStatistics, squares_of_shares};

/// The runs of a batch's bottles, gathered.
///
/// ```
/// use siltcode::certainty::RunPool;
/// use siltcode::{Channel, CountedVolume, Dilution, Evidence, Sample, Size, Spectrum};
///
/// let volume = CountedVolume::from_ml(10.0)?;
/// let run = |raw| Spectrum::cumulative(vec![Channel::counted(Size::um_c(4.0)?, Evidence::of_run(raw, volume, Dilution::NONE))]);
/// let mut pool = RunPool::default();
/// pool.add(&Sample::new("one", [run(20_310)?, run(19_480)?, run(20_760)?]));
/// pool.add(&Sample::new("two", [run(30_120)?, run(31_540)?, run(30_230)?]));
/// let repeatability = pool.repeatability(None);
/// assert_eq!(format!("{:.3}", repeatability.sizes()[0].cv.cv()), "0.028"); // runs vary by 2.8 %
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Default)]
pub struct RunPool {
    /// Bottles looked at, of however many runs.
    seen: usize,
    /// Those of them with two or more runs.
    bottles: usize,
    sizes: Vec<(Size, Vec<RunStatistics>)>,
}

impl RunPool {
    /// No more bottles than these are gathered: by then nothing changes any more.
    pub const MOST_BOTTLES: usize = 4096;
    /// No more bottles than these are looked at, however few of them have two runs: their results wait for it.
    pub const MOST_SEEN: usize = 16 * Self::MOST_BOTTLES;

    /// The pool of these bottles, as far as it takes them.
    #[must_use]
    pub fn of<'a>(samples: impl IntoIterator<Item = &'a Sample>) -> Self {
        let mut pool = Self::default();
        for sample in samples {
            if pool.is_full() {
                break;
            }
            pool.add(sample);
        }
        pool
    }

    /// Takes the runs of a bottle. One of a single run says nothing, and once the pool is full no bottle does.
    pub fn add(&mut self, sample: &Sample) {
        if self.is_full() {
            return;
        }
        self.seen += 1;
        if sample.runs.len() < 2 {
            return;
        }
        self.bottles += 1;
        for size in sample.sizes() {
            let Some(runs) = sample.evidence_of_runs(size).and_then(|runs| RunStatistics::of(&runs)) else {
                continue;
            };
            match self.sizes.iter_mut().find(|(known, _)| *known == size) {
                Some((_, gathered)) => gathered.push(runs),
                None => self.sizes.push((size, vec![runs])),
            }
        }
    }

    /// Whether it takes no more bottles.
    #[must_use]
    pub const fn is_full(&self) -> bool {
        self.bottles >= Self::MOST_BOTTLES || self.seen >= Self::MOST_SEEN
    }

    /// What the runs say of the variation between runs, together with what is stated of it.
    #[must_use]
    pub fn repeatability(&self, stated: Option<Scatter>) -> Repeatability {
        let of_size = |(size, runs): &(Size, Vec<RunStatistics>)| Some((*size, Pooled::of(runs)?));
        let mut sizes: Vec<_> = self.sizes.iter().filter_map(of_size).collect();
        sizes.sort_by(|(a, _), (b, _)| a.scale().cmp(&b.scale()).then(a.um().total_cmp(&b.um())));
        let (entries, few): (Vec<_>, Vec<_>) = sizes
            .into_iter()
            .map(|(size, (pooled, mut kept))| {
                kept.truncate(if kept.len() > Repeatability::FEW { 0 } else { kept.len() });
                ((size, pooled), kept)
            })
            .unzip();
        let contradicted = stated.and_then(|stated| self.contradicting(&entries, stated));
        let sizes =
            entries.iter().map(|&(size, pooled)| SizeRepeatability::new(size, pooled, stated)).collect();
        Repeatability { sizes, few, stated, contradicted }
    }

    /// The size whose runs contradict the stated variation most, where any does.
    fn contradicting(&self, sizes: &[(Size, Pooled)], stated: Scatter) -> Option<Contradiction> {
        let of_size = |&(size, pooled): &(Size, Pooled)| {
            let (_, runs) = self.sizes.iter().find(|(known, _)| *known == size)?;
            let observed = Scatter::from_cv(pooled.variance.sqrt()).ok()?;
            let p = model::p_agrees(runs, stated.cv().powi(2));
            let ratio = observed.cv() / stated.cv();
            let is_apart = !(1.0 / Contradiction::APART..=Contradiction::APART).contains(&ratio);
            (p < Contradiction::RISK && is_apart).then_some((p, Contradiction { size, stated, observed }))
        };
        sizes.iter().filter_map(of_size).min_by(|(a, _), (b, _)| a.total_cmp(b)).map(|(_, found)| found)
    }
}

/// Where the variation between runs comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RepeatabilitySource {
    /// The runs of the batch.
    Runs,
    /// It was stated, and no runs say anything of it.
    Stated,
    /// Both together.
    RunsAndStated,
}

impl fmt::Display for RepeatabilitySource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Runs => "from runs",
            Self::Stated => "stated",
            Self::RunsAndStated => "from runs and stated",
        })
    }
}

/// How much runs vary at one size.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SizeRepeatability {
    /// The size with its scale; none for a stated variation, which holds for every size that has no runs of its own.
    pub size: Option<Size>,
    /// The size in um(c), if that is its scale \[um(c)\].
    pub size_um_c: Option<f64>,
    /// The coefficient of variation between runs of one bottle, beyond counting \[-\].
    pub cv: Scatter,
    /// The effective number of degrees of freedom it is known from \[-\].
    pub effective_number: f64,
    /// Bottles whose runs it rests on.
    pub bottles: usize,
    /// Where it comes from.
    pub source: RepeatabilitySource,
    /// The relative variance as estimated, which may be 0 where the batch agrees by luck \[-\].
    #[serde(skip)]
    estimate: f64,
}

impl SizeRepeatability {
    /// What a stated variation is worth, in degrees of freedom.
    const STATED_WORTH: f64 = 4.0;

    fn new(size: Size, pooled: Pooled, stated: Option<Scatter>) -> Self {
        let pooled_with = stated.map(|cv| pooled.with_stated(cv.cv().powi(2), Self::STATED_WORTH));
        let (pooled, source) = match pooled_with {
            Some(both) => (both, RepeatabilitySource::RunsAndStated),
            None => (pooled, RepeatabilitySource::Runs),
        };
        Self {
            size: Some(size),
            size_um_c: (size.scale() == SizeScale::UmC).then_some(size.um()),
            cv: Scatter::from_cv(pooled.variance.sqrt().min(Scatter::LARGEST_CV)).unwrap_or_default(),
            effective_number: pooled.degrees,
            bottles: pooled.bottles,
            source,
            estimate: pooled.estimate,
        }
    }

    /// The relative variance between runs that one bottle is tested against: as estimated, since the least that intervals
    /// allow for would hide what is wrong with a bottle \[-\].
    pub(super) const fn tested_against(&self) -> f64 {
        self.estimate
    }

    const fn stated(cv: Scatter) -> Self {
        let (size, size_um_c, source) = (None, None, RepeatabilitySource::Stated);
        let estimate = cv.cv() * cv.cv();
        Self { size, size_um_c, cv, effective_number: Self::STATED_WORTH, bottles: 0, source, estimate }
    }

    const fn pooled(&self) -> Pooled {
        let cv = self.cv.cv();
        let (estimate, degrees, bottles) = (self.estimate, self.effective_number, self.bottles);
        Pooled { variance: cv * cv, estimate, degrees, bottles }
    }

    /// The factor on a single run.
    pub(super) fn factor(&self) -> RandomFactor {
        self.pooled().factor()
    }
}

/// Runs that do not vary as was stated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Contradiction {
    /// The size where they differ most surely.
    pub size: Size,
    /// The coefficient of variation that was stated \[-\].
    pub stated: Scatter,
    /// The one that the runs show \[-\].
    pub observed: Scatter,
}

impl fmt::Display for Contradiction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [observed, stated] = [self.observed, self.stated].map(|cv| 100.0 * cv.cv());
        write!(f, "runs at {} vary by {observed:.1} %, and {stated:.1} % was stated", self.size)
    }
}

impl Contradiction {
    /// Agreement less likely than this is none.
    const RISK: f64 = 0.01;
    /// Up to this factor apart they agree well enough.
    const APART: f64 = 1.25;
}

/// How much runs vary beyond counting, size by size, for all bottles of a batch.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Repeatability {
    sizes: Vec<SizeRepeatability>,
    /// The runs behind each size, where few bottles hold them.
    few: Vec<Vec<RunStatistics>>,
    stated: Option<Scatter>,
    contradicted: Option<Contradiction>,
}

impl Repeatability {
    /// Of no more bottles than these each is compared with the others alone; of more, one makes no difference.
    const FEW: usize = 32;

    /// A coefficient of variation between runs of one bottle, as the counter's maker or the laboratory's own study gives
    /// it, for all sizes.
    #[must_use]
    pub fn stated(cv: Scatter) -> Self {
        Self { stated: Some(cv), ..Self::default() }
    }

    /// Size by size, smallest first.
    #[must_use]
    pub fn sizes(&self) -> &[SizeRepeatability] {
        &self.sizes
    }

    /// Every entry: size by size, and the stated one where no size has runs.
    pub fn entries(&self) -> impl Iterator<Item = SizeRepeatability> {
        let stated = self.stated.filter(|_| self.sizes.is_empty()).map(SizeRepeatability::stated);
        self.sizes.iter().copied().chain(stated)
    }

    /// Where the runs contradict what was stated.
    #[must_use]
    pub const fn contradicted(&self) -> Option<Contradiction> {
        self.contradicted
    }

    /// What varies beside counting for one bottle: the mean of its runs varies less than a run, and `between` bottles there
    /// may be a scatter of its own.
    #[must_use]
    pub fn factors(&self, sample: &Sample, between: Option<Scatter>) -> Factors {
        let between = RandomFactor::from(between.unwrap_or_default());
        let of_size = |size: Size| {
            let runs = sample.evidence_of_runs(size).unwrap_or_default();
            let share = squares_of_shares(&runs).min(1.0);
            (size, Variation { run: self.run_factor(size, &runs), share, between })
        };
        let other = Variation { between, ..Variation::NONE };
        Factors::new(sample.sizes().into_iter().map(of_size).collect(), other)
    }

    /// The factor on a single run of a bottle.
    ///
    /// That of the batch, unless the bottle's own runs vary beyond it, or the batch says nothing of this size.
    fn run_factor(&self, size: Size, runs: &[Evidence]) -> RandomFactor {
        let own = RunStatistics::of(runs);
        let pooled = match (self.of(size).map(|entry| entry.pooled()), own) {
            (None, None) => None,
            (None, Some(own)) => Pooled::of_one(own),
            // Runs of this bottle alone, where none of the batch say anything of this size.
            (Some(stated), Some(own)) if stated.bottles == 0 => {
                let together = |own: Pooled| own.with_stated(stated.variance, stated.degrees);
                Some(Pooled::of_one(own).map_or(stated, together))
            }
            (Some(known), Some(own)) if known.bottles >= 2 => {
                Some(known.or_own(own, self.others(size, &own).unwrap_or(known)))
            }
            (known, _) => known,
        };
        pooled.map_or(RandomFactor::NONE, |pooled| pooled.factor())
    }

    /// What the other bottles of a small batch say, with what was stated.
    fn others(&self, size: Size, bottle: &RunStatistics) -> Option<Pooled> {
        let place = self.sizes.iter().position(|entry| entry.size == Some(size))?;
        let others = Pooled::without(self.few.get(place)?, bottle)?;
        Some(
            self.stated
                .map_or(others, |cv| others.with_stated(cv.cv().powi(2), SizeRepeatability::STATED_WORTH)),
        )
    }

    /// What a batch of two or more bottles, or what was stated, says of one size.
    pub(super) fn of_batch(&self, size: Size) -> Option<SizeRepeatability> {
        self.of(size).filter(|entry| entry.bottles >= 2 || entry.source != RepeatabilitySource::Runs)
    }

    fn of(&self, size: Size) -> Option<SizeRepeatability> {
        let listed = self.sizes.iter().copied().find(|entry| entry.size == Some(size));
        listed.or_else(|| self.stated.map(SizeRepeatability::stated))
    }
}
