//! Everything that can be said of how sure a bottle's code is, in one call.

use std::fmt;

use serde::{Serialize, Serializer};

use super::corrections::Net;
use super::factor::{Factors, RandomFactor};
use super::flags::{self, Context, Flag};
use super::level::{Interval, Level, Scatter};
use super::odds::Odds;
use super::posterior::Posterior;
use super::repeatability::RunPool;
use super::student;
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
    /// The scatter between bottles that was stated.
    pub scatter: Option<Scatter>,
    /// What intervals, odds and verdicts allow for beside counting.
    #[serde(skip)]
    pub factors: Factors,
    /// Intervals, odds and verdicts allow for counting error only: there are no two runs, and no variation was stated.
    pub counting_only: bool,
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
    let factors = factors(sample, context);
    let channels = spectrum.channels().iter().map(|channel| certainty(channel, context, &factors)).collect();
    with_flags(sample, spectrum, channels, unknown(spectrum), context, factors)
}

/// Assesses a bottle from which a blank was subtracted: `gross` is what was counted, `widened` what is left with the blank's
/// scatter in its evidence. Flags are raised on what was counted.
pub(crate) fn assess_net(
    sample: &Sample,
    gross: &Spectrum,
    blank: &Spectrum,
    widened: &Spectrum,
    context: &Context<'_>,
) -> Assessment {
    let context = Context { blank: Some(blank), ..*context };
    let of_gross = factors(sample, &context);
    let left = of_gross.scaled(|size| times_larger(gross, widened, size));
    let interval = |size: Size| {
        let varied = varied_by(&of_gross, gross, size, context.level);
        Some(net_of(size, gross, blank)?.interval(context.level).widened(varied))
    };
    let channels = widened.channels().iter().map(|channel| ChannelCertainty {
        interval_per_ml: interval(channel.size),
        ..certainty(channel, &context, &left)
    });
    with_flags(sample, gross, channels.collect(), unknown(widened), &context, left)
}

/// How many times what was counted is larger than what is left of it; what is left counts as one particle at least.
fn times_larger(gross: &Spectrum, left: &Spectrum, size: Size) -> f64 {
    let evidence = |spectrum: &Spectrum| spectrum.channel(size).and_then(|channel| channel.evidence);
    let (Some(gross), Some(left)) = (evidence(gross), evidence(left)) else { return 1.0 };
    let least = (left.raw.max(1)) as f64 / left.examined_ml();
    (gross.per_ml().get() / least).max(1.0)
}

/// How far what varies beside counting moves a concentration at this level, either way \[particles/mL\].
fn varied_by(factors: &Factors, counted: &Spectrum, size: Size, level: Level) -> f64 {
    let factor = factors.of(size);
    let per_ml = counted.per_ml(size).map_or(0.0, PerMl::get);
    if factor == RandomFactor::NONE {
        0.0
    } else {
        student::two_sided(level, factor.degrees()) * factor.log_sd() * per_ml
    }
}

/// What was found of each size, with the flags on what was counted.
fn with_flags(
    sample: &Sample,
    counted: &Spectrum,
    channels: Vec<ChannelCertainty>,
    unknown: Option<Unrecorded>,
    context: &Context<'_>,
    factors: Factors,
) -> Assessment {
    let odds: Vec<_> = channels.iter().map(|channel| channel.odds.as_ref()).collect();
    let flags = flags::with_odds(sample, counted, context, &odds);
    let counting_only = factors.is_counting_only();
    Assessment {
        level: context.level,
        scatter: context.scatter,
        factors,
        counting_only,
        channels,
        flags,
        unknown,
    }
}

/// What varies beside counting: as the batch's runs say or, without a batch, the bottle's own.
pub(super) fn factors(sample: &Sample, context: &Context<'_>) -> Factors {
    let own = || RunPool::of([sample]).repeatability(None);
    context.repeatability.map_or_else(own, Clone::clone).factors(sample, context.scatter)
}

fn net_of(size: Size, gross: &Spectrum, blank: &Spectrum) -> Option<Net> {
    Some(Net::new(size, &gross.channel(size)?.evidence?, &blank.channel(size)?.evidence?))
}

fn certainty(channel: &Channel, context: &Context<'_>, factors: &Factors) -> ChannelCertainty {
    let factor = factors.of(channel.size);
    let evidence = channel.evidence.filter(|_| channel.reading.count().is_some());
    ChannelCertainty {
        size: channel.size,
        interval_per_ml: evidence.map(|evidence| Posterior::new(&evidence, factor).interval(context.level)),
        odds: flags::channel_odds(channel, factor),
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
