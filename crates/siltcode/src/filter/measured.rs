//! A filtration ratio from counts before and behind a filter.

use serde::Serialize;

use super::beta::Beta;
use super::between::BetaAt;
use crate::certainty::Level;
use crate::certainty::ratio::{RateRatio, compare};
use crate::count::Evidence;
use crate::error::{ErrorKind, Result};

/// A filtration ratio from counts before and behind a filter: the ratio of the averages, with its interval.
///
/// Both counts scatter, so the ratio is one of two Poisson rates and is known no better than the fewer of the two
/// counts allows. Several pairs are summed first: only the ratio of sums conserves particles, while one small
/// downstream count would decide an average of ratios.
///
/// ```
/// use siltcode::certainty::Level;
/// use siltcode::filter::MeasuredBeta;
/// use siltcode::{CountedVolume, Dilution, Evidence};
///
/// let of = |raw| Ok::<_, siltcode::Error>(Evidence::of_run(raw, CountedVolume::from_ml(10.0)?, Dilution::NONE));
/// let measured = MeasuredBeta::of(&[of(1000)?, of(1000)?], &[of(10)?, of(1)?], Level::default())?;
/// assert_eq!(measured.beta()?.to_string(), "181.8");
/// assert_eq!(format!("{:.0} {:.0}", measured.ratio.interval.low, measured.ratio.interval.high), "101 365");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct MeasuredBeta {
    /// Upstream over downstream; its interval goes to infinity where nothing was counted downstream.
    pub ratio: RateRatio,
}

impl MeasuredBeta {
    /// The ratio of all upstream counts to all downstream counts, each over its volume.
    ///
    /// # Errors
    /// `nothing-counted` without counts on either side.
    pub fn of(upstream: &[Evidence], downstream: &[Evidence], level: Level) -> Result<Self> {
        let sum = |counts: &[Evidence]| counts.iter().copied().reduce(Evidence::summed);
        match (sum(upstream), sum(downstream)) {
            (Some(upstream), Some(downstream)) => Ok(Self { ratio: compare(&upstream, &downstream, level) }),
            _ => Err(ErrorKind::NothingCounted {}.into()),
        }
    }

    /// What the counts say of the filter: a value, or where nothing was counted downstream or the ratio is above
    /// [`Beta::CERTAIN_UP_TO`] the low end of the interval as a bound.
    ///
    /// # Errors
    /// `beta-below-one` unless the ratio, or the bound, is 1 or more.
    pub fn known(&self) -> Result<BetaAt> {
        let ceiling = Beta::CERTAIN_UP_TO.get();
        match self.ratio.ratio {
            Some(ratio) if ratio <= ceiling => Ok(BetaAt::Rated(Beta::new(ratio)?)),
            _ => Ok(BetaAt::AtLeast(Beta::new(self.ratio.interval.low.min(ceiling))?)),
        }
    }

    /// The ratio to reckon with: the value, or the bound.
    ///
    /// # Errors
    /// As [`known`](Self::known).
    pub fn beta(&self) -> Result<Beta> {
        self.known()?.working().ok_or_else(|| ErrorKind::NothingCounted {}.into())
    }
}
