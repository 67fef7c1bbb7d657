//! All sizes of the samples of a job, each with the fall of its cumulative counts.

use super::bottle::Bottle;
use super::fit::{Fit, FloorRule};
use super::seen::Observed;
use crate::certainty::{Context, Level, Scatter};
use crate::count::PerMl;
use crate::error::{Error, ErrorKind, Result};
use crate::filter::Efficiency;
use crate::size::Size;

/// How much more than by counting alone bottles scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Not more.
    Counting,
    /// As stated, from bottles drawn side by side.
    Stated(Scatter),
    /// As the counts themselves scatter about their curve, where that is more than chance allows.
    Found,
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
    /// Whether there may be a floor; none to allow one as soon as the samples could show it: from three samples over
    /// three turnovers on.
    pub floor: Option<FloorRule>,
    /// How bottles scatter.
    pub spread: Spread,
    /// The level of intervals.
    pub level: Level,
    /// The level at which a difference counts as more than chance.
    pub alarm: Level,
    /// The efficiency that the filter should have at and above sizes, of its rating or its own counts.
    pub expected: Vec<(Size, Efficiency)>,
}

impl Default for Options {
    /// A floor as soon as it could be seen, scatter as it is found, intervals at 95 %, alarms at 99 %.
    fn default() -> Self {
        let Context { level, alarm, .. } = Context::default();
        Self { floor: None, spread: Spread::Found, level, alarm, expected: Vec::new() }
    }
}

/// One size through the samples.
#[derive(Debug, Clone)]
pub struct SizeProgress {
    /// Particles of this size and larger.
    pub size: Size,
    /// What each sample said, in the order of their turnovers.
    pub observed: Vec<Observed>,
    /// The most likely curve through it.
    pub fit: Fit,
    /// Whether no floor was allowed because the samples could not have shown one.
    pub no_floor_assumed: bool,
}

/// What the samples of a job say, size by size.
///
/// Each size is a series of its cumulative counts, with a curve of its own. A particle of 14 um(c) is counted at 4, 6 and
/// 14 um(c), so the sizes are not independent of each other.
#[derive(Debug, Clone)]
pub struct Progress {
    pub(super) sizes: Vec<SizeProgress>,
    left_out: Vec<(Size, Error)>,
    pub(super) options: Options,
}

/// Samples below which no floor can be told from a slow fall: as many as the curve has constants.
pub(super) const LEAST_SAMPLES: usize = 3;
/// Turnovers below which no floor can be told from a slow fall: with five samples over one, efficiency and floor are
/// correlated by 0.99, over four by 0.81.
pub(super) const LEAST_TURNOVERS: f64 = 3.0;

impl Progress {
    /// What samples say, in whatever order they are given.
    ///
    /// # Errors
    /// `scales-mixed`; that of [`Fit::new`] at the smallest size where no size has a fall.
    pub fn new(bottles: &[Bottle], options: Options) -> Result<Self> {
        let (mut sizes, mut left_out) = (Vec::new(), Vec::new());
        for size in sizes_of(bottles)? {
            let mut observed: Vec<Observed> = bottles
                .iter()
                .flat_map(|bottle| bottle.seen().iter().filter(|(at, _)| *at == size).map(|(_, seen)| *seen))
                .collect();
            observed.sort_by(Observed::order);
            match SizeProgress::new(size, observed, &options) {
                Ok(progress) => sizes.push(progress),
                Err(error) => left_out.push((size, error)),
            }
        }
        match (sizes.is_empty(), left_out.first()) {
            (true, Some((_, error))) => Err(error.clone()),
            (true, None) => Err(ErrorKind::TooFewSamples { found: 0, needed: 2 }.into()),
            _ => Ok(Self { sizes, left_out, options }),
        }
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

    /// Sizes without a fall, and why.
    #[must_use]
    pub fn left_out(&self) -> &[(Size, Error)] {
        &self.left_out
    }

    /// How the samples were looked at.
    #[must_use]
    pub const fn options(&self) -> &Options {
        &self.options
    }
}

impl SizeProgress {
    fn new(size: Size, observed: Vec<Observed>, options: &Options) -> Result<Self> {
        let span = observed.last().zip(observed.first()).map_or(0.0, |(b, a)| b.turnovers - a.turnovers);
        let is_short = observed.len() < LEAST_SAMPLES || span < LEAST_TURNOVERS;
        let floor = options.floor.unwrap_or(if is_short { FloorRule::Absent } else { FloorRule::Free });
        let scatter = if let Spread::Stated(scatter) = options.spread { scatter } else { Scatter::NONE };
        let fit = Fit::new(&observed, floor, scatter)?;
        let fit = if options.spread == Spread::Found { fit.widened(options.alarm) } else { fit };
        Ok(Self { size, observed, fit, no_floor_assumed: options.floor.is_none() && is_short })
    }

    /// The concentration that the curve has at the last sample.
    #[must_use]
    pub fn now(&self) -> PerMl {
        self.fit.at(self.fit.span()[1])
    }
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
