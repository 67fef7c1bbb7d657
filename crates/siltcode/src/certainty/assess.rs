//! Everything that can be said of how sure a bottle's code is, in one call.

use serde::Serialize;

use super::flags::{self, Context, Flag};
use super::level::{Interval, Level, Scatter};
use super::odds::Odds;
use super::posterior::Posterior;
use crate::class::iso4406::FEW_BELOW;
use crate::count::{PerMl, Reading};
use crate::sample::Sample;
use crate::size::Size;
use crate::spectrum::{Channel, Spectrum};

/// How sure a bottle's counts are, and what looks wrong with them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Assessment {
    /// The level of the intervals.
    pub level: Level,
    /// Scatter between bottles that the intervals and odds allow for, where it is known.
    pub scatter: Option<Scatter>,
    /// Every size, smallest first.
    pub channels: Vec<ChannelCertainty>,
    /// What looks wrong.
    pub flags: Vec<Flag>,
    /// Where the certainty of a counted size is not known: what to record next time, in words.
    pub unknown: Option<String>,
}

impl Assessment {
    /// The certainty of one size.
    #[must_use]
    pub fn channel(&self, size: Size) -> Option<&ChannelCertainty> {
        self.channels.iter().find(|channel| channel.size == size)
    }
}

/// How sure one size is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChannelCertainty {
    /// The size.
    pub size: Size,
    /// The interval of the concentration \[particles/mL\]; none where the evidence is missing.
    pub interval_per_ml: Option<Interval<PerMl>>,
    /// The odds of each range number; none where the evidence is missing.
    pub odds: Option<Odds>,
    /// Fewer than 20 particles were counted.
    pub few: bool,
}

/// Assesses a bottle; `spectrum` is that of all its runs together.
///
/// ```
/// use siltcode::certainty::{Context, assess};
/// use siltcode::{Sample, Spectrum};
///
/// let per_ml = Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0)])?;
/// let sample = Sample::new("day tank", [per_ml.clone()]);
/// let assessment = assess(&sample, &per_ml, &Context::default());
/// assert!(assessment.channels[0].odds.is_none());
/// assert!(assessment.unknown.unwrap().starts_with("the certainty is not known"));
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn assess(sample: &Sample, spectrum: &Spectrum, context: &Context<'_>) -> Assessment {
    Assessment {
        level: context.level,
        scatter: context.scatter,
        channels: spectrum.channels().iter().map(|channel| certainty(channel, context)).collect(),
        flags: flags::of(sample, spectrum, context),
        unknown: unknown(spectrum),
    }
}

fn certainty(channel: &Channel, context: &Context<'_>) -> ChannelCertainty {
    let scatter = context.scatter.unwrap_or_default();
    let evidence = channel.evidence.filter(|_| channel.reading.count().is_some());
    ChannelCertainty {
        size: channel.size,
        interval_per_ml: evidence.map(|evidence| Posterior::new(&evidence, scatter).interval(context.level)),
        odds: evidence.map(|evidence| Odds::of(&evidence, scatter)),
        few: evidence.is_some_and(|evidence| evidence.raw < FEW_BELOW),
    }
}

/// The sizes that were counted without a raw count and volume, and what to record.
fn unknown(spectrum: &Spectrum) -> Option<String> {
    let is_bare =
        |channel: &&Channel| matches!(channel.reading, Reading::Count(_)) && channel.evidence.is_none();
    let sizes: Vec<String> = spectrum.channels().iter().filter(is_bare).map(|c| c.size.to_string()).collect();
    (!sizes.is_empty()).then(|| {
        format!(
            "the certainty is not known at {}: record the raw count of each run and the counted volume in mL, and the \
             dilution if there is one",
            sizes.join(", ")
        )
    })
}
