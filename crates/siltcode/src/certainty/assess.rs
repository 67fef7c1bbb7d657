//! Everything that can be said of how sure a bottle's code is, in one call.

use std::fmt;

use serde::{Serialize, Serializer};

use super::corrections::Net;
use super::flags::{self, Context, Flag};
use super::level::{Interval, Level, Scatter};
use super::odds::Odds;
use super::posterior::Posterior;
use super::runs;
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
    /// The scatter that intervals and odds allow for beside counting: the one given or, without one, that of the runs' mean
    /// where the runs differ by more than chance ([`runs::scatter_of_mean`]).
    pub scatter: Option<Scatter>,
    /// Every size, smallest first.
    pub channels: Vec<ChannelCertainty>,
    /// What looks wrong.
    pub flags: Vec<Flag>,
    /// Where the certainty of a counted size is not known.
    pub unknown: Option<Unrecorded>,
}

/// Sizes that were counted, but whose raw count or volume was not recorded. Printed and serialised in words, with what to
/// record next time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unrecorded(Vec<Size>);

impl Unrecorded {
    /// The sizes, smallest first.
    #[must_use]
    pub fn sizes(&self) -> &[Size] {
        &self.0
    }
}

impl fmt::Display for Unrecorded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sizes: Vec<String> = self.0.iter().map(Size::to_string).collect();
        write!(
            f,
            "the certainty is not known at {}: record the raw count of each run and the counted volume in mL, and the \
             dilution if there is one",
            sizes.join(", ")
        )
    }
}

impl Serialize for Unrecorded {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
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
/// assert!(assessment.unknown.unwrap().to_string().starts_with("the certainty is not known"));
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn assess(sample: &Sample, spectrum: &Spectrum, context: &Context<'_>) -> Assessment {
    let context = with_scatter(sample, context);
    let channels = spectrum.channels().iter().map(|channel| certainty(channel, &context)).collect();
    with_flags(sample, spectrum, channels, unknown(spectrum), &context)
}

/// Assesses a bottle from which a blank was subtracted: `gross` is what was counted, `net` what is left, `widened` the same
/// with the blank's scatter in its evidence. Flags are raised on what was counted.
pub(crate) fn assess_net(
    sample: &Sample,
    gross: &Spectrum,
    blank: &Spectrum,
    widened: &Spectrum,
    context: &Context<'_>,
) -> Assessment {
    let context = Context { blank: Some(blank), ..with_scatter(sample, context) };
    let channels = widened.channels().iter().map(|channel| ChannelCertainty {
        interval_per_ml: net_of(channel.size, gross, blank).map(|net| net.interval(context.level)),
        ..certainty(channel, &context)
    });
    with_flags(sample, gross, channels.collect(), unknown(widened), &context)
}

/// What was found of each size, with the flags on what was counted.
fn with_flags(
    sample: &Sample,
    counted: &Spectrum,
    channels: Vec<ChannelCertainty>,
    unknown: Option<Unrecorded>,
    context: &Context<'_>,
) -> Assessment {
    let odds: Vec<_> = channels.iter().map(|channel| channel.odds.as_ref()).collect();
    let flags = flags::with_odds(sample, counted, context, &odds);
    Assessment { level: context.level, scatter: context.scatter, channels, flags, unknown }
}

fn with_scatter<'a>(sample: &Sample, context: &Context<'a>) -> Context<'a> {
    let scatter = context.scatter.or_else(|| runs::scatter_of_mean(sample, context.alarm));
    Context { scatter, ..*context }
}

fn net_of(size: Size, gross: &Spectrum, blank: &Spectrum) -> Option<Net> {
    Some(Net::new(size, &gross.channel(size)?.evidence?, &blank.channel(size)?.evidence?))
}

fn certainty(channel: &Channel, context: &Context<'_>) -> ChannelCertainty {
    let scatter = context.scatter.unwrap_or_default();
    let evidence = channel.evidence.filter(|_| channel.reading.count().is_some());
    ChannelCertainty {
        size: channel.size,
        interval_per_ml: evidence.map(|evidence| Posterior::new(&evidence, scatter).interval(context.level)),
        odds: flags::channel_odds(channel, context),
        few: evidence.is_some_and(|evidence| evidence.raw < FEW_BELOW),
    }
}

/// The sizes that were counted without a raw count and volume.
fn unknown(spectrum: &Spectrum) -> Option<Unrecorded> {
    let is_bare =
        |channel: &&Channel| matches!(channel.reading, Reading::Count(_)) && channel.evidence.is_none();
    let sizes: Vec<Size> = spectrum.channels().iter().filter(is_bare).map(|channel| channel.size).collect();
    (!sizes.is_empty()).then_some(Unrecorded(sizes))
}
