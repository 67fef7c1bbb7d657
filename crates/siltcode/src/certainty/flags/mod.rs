//! What looks wrong with a bottle's counts, why, and what to do about it.
//!
//! A flag never changes a result. It has a stable code for programs, the numbers that raised it, and advice. Chance alone
//! raises any of the flags on a bottle's runs for one good bottle in a hundred at the default alarm level, over all its sizes
//! and tests together; no tolerance here is a test method's own, except the ranges in
//! `reference-tables/test_method_ranges.csv`.
//!
//! | code | raised when |
//! |---|---|
//! | `few-raw-counts` | fewer than 20 particles were counted at a size |
//! | `near-class-edge` | the likeliest range number is less than twice as likely as all others together |
//! | `scatter` | runs differ by more than those of the batch do, than chance where there is no batch, or than the caller's own tolerance; a note if the number is sure even so |
//! | `too-regular` | runs agree better than chance allows |
//! | `first-run-differs` | the first run differs from the others, which agree, by more than runs of the batch do |
//! | `rising`, `falling` | each run is above, or below, the one before, beyond how runs of the batch vary |
//! | `too-many-to-count` | a reading is above what the counter could count |
//! | `near-saturation` | coincidence hides so much that one more particle shows as less than half |
//! | `above-method-range`, `size-outside-method`, `method-not-known` | the stated test method does not cover the counts |
//! | `possible-water-or-air` | free water was found, or the fine particles fall and the large ones less |
//! | `fine-stays-coarse-falls` | the particles of the smallest bin stay while those of all larger bins fall |
//! | `blank-too-dirty` | the sample cannot be told from its blank |

mod change;
mod method;
mod runs;

use serde::Serialize;

use super::assess;
use super::coincidence::Coincidence;
use super::corrections::Net;
use super::factor::RandomFactor;
use super::level::{Interval, Level, Mean, Scatter};
use super::odds::Odds;
use super::repeatability::Repeatability;
use super::runs::Criterion;
use crate::class::iso4406::FEW_BELOW;
use crate::companion::{Measured, Property};
use crate::count::{PerMl, Reading};
use crate::sample::Sample;
use crate::size::Size;
use crate::spectrum::{Channel, Spectrum};
use change::of_change;
use method::of_method;
use runs::{of_runs, shares, weight};

/// How much a flag weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Keep it in mind when reading the result.
    Note,
    /// Do not rely on the result before this is cleared up.
    Doubt,
}

/// Something that looks wrong.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Flag {
    /// The stable code, for programs: lower case, words joined by hyphens.
    pub code: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// The size it concerns, where it concerns one.
    pub size: Option<Size>,
    /// What was found.
    pub evidence: String,
    /// What to do.
    pub advice: &'static str,
}

/// What is known about a bottle besides its counts, and how strict to be.
///
/// ```
/// use siltcode::certainty::{Context, Scatter};
///
/// let context = Context { scatter: Some(Scatter::from_cv(0.1)?), method: Some("ASTM D7619"), ..Context::default() };
/// assert_eq!(context.level.get(), 0.95);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// The level of intervals.
    pub level: Level,
    /// How much bottles of the same fluid scatter, where that is known.
    pub scatter: Option<Scatter>,
    /// How much runs vary, from all bottles of the batch; without it, from the bottle's own runs.
    pub repeatability: Option<&'a Repeatability>,
    /// The level at which a difference counts as more than chance.
    pub alarm: Level,
    /// How far runs may lie apart.
    pub spread: Criterion,
    /// The test method; without it, what the bottle's notes say under `method`.
    pub method: Option<&'a str>,
    /// The blank of the same glassware and solvent.
    pub blank: Option<&'a Spectrum>,
    /// The same fluid earlier, before the last pass through the filter.
    pub earlier: Option<&'a Spectrum>,
    /// How the counter loses particles to coincidence, for the volume of one run.
    pub coincidence: Option<Coincidence>,
}

impl Context<'_> {
    /// Differences that chance makes once in a hundred.
    const ALARM: f64 = 0.99;
}

impl Default for Context<'_> {
    /// Intervals at 95 %, alarms at 99 %, runs as far apart as chance goes, nothing else known.
    fn default() -> Self {
        let alarm = Level::new(Self::ALARM).unwrap_or_default();
        Self {
            level: Level::default(),
            scatter: None,
            repeatability: None,
            alarm,
            spread: Criterion::Chance(alarm),
            method: None,
            blank: None,
            earlier: None,
            coincidence: None,
        }
    }
}

/// Everything that looks wrong with a bottle; `spectrum` is that of all its runs together.
///
/// ```
/// use siltcode::certainty::{Context, flags};
/// use siltcode::{Channel, CountedVolume, Dilution, Evidence, Sample, Size, Spectrum};
///
/// let volume = CountedVolume::from_ml(10.0)?;
/// let run = |raw| Spectrum::cumulative(vec![Channel::counted(Size::um_c(14.0)?, Evidence::of_run(raw, volume, Dilution::NONE))]);
/// let sample = Sample::new("drum 3", [run(410)?, run(350)?, run(280)?]);
/// let flags = flags::of(&sample, &sample.spectrum()?, &Context::default());
/// let codes: Vec<_> = flags.iter().map(|flag| flag.code).collect();
/// assert_eq!(codes, ["scatter", "falling"]);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn of(sample: &Sample, spectrum: &Spectrum, context: &Context<'_>) -> Vec<Flag> {
    let factors = assess::factors(sample, context);
    let odds = |channel: &Channel| channel_odds(channel, factors.of(channel.size));
    let odds: Vec<_> = spectrum.channels().iter().map(odds).collect();
    with_odds(sample, spectrum, context, &odds.iter().map(Option::as_ref).collect::<Vec<_>>())
}

/// The odds of a counted size, where the evidence for them exists.
pub(super) fn channel_odds(channel: &Channel, factor: RandomFactor) -> Option<Odds> {
    let evidence = channel.evidence.filter(|_| channel.reading.count().is_some());
    evidence.map(|evidence| Odds::of(&evidence, factor))
}

/// The flags of a bottle whose odds are known already, channel by channel.
pub(super) fn with_odds(
    sample: &Sample,
    spectrum: &Spectrum,
    context: &Context<'_>,
    odds: &[Option<&Odds>],
) -> Vec<Flag> {
    let mut flags = Vec::new();
    let shares = shares(sample, spectrum.channels().iter().map(|channel| channel.size));
    for ((channel, odds), share) in spectrum.channels().iter().zip(odds).zip(shares) {
        flags.extend(of_channel(channel, *odds));
        flags.extend(of_runs(sample, channel.size, context, weight(*odds, context.level), share));
        flags.extend(of_coincidence(sample, channel.size, context));
        flags.extend(context.blank.and_then(|blank| of_blank(channel, blank, context.alarm)));
    }
    flags.extend(of_method(sample, spectrum, context.method));
    flags.extend(of_free_water(sample));
    if let Some(earlier) = context.earlier {
        flags.extend(of_change(spectrum, earlier, context));
    }
    flags
}

fn doubt(code: &'static str, size: Option<Size>, evidence: String, advice: &'static str) -> Flag {
    Flag { code, severity: Severity::Doubt, size, evidence, advice }
}

fn note(code: &'static str, size: Option<Size>, evidence: String, advice: &'static str) -> Flag {
    Flag { code, severity: Severity::Note, size, evidence, advice }
}

fn percent(fraction: f64) -> String {
    format!("{:.0} %", 100.0 * fraction)
}

fn of_channel(channel: &Channel, odds: Option<&Odds>) -> Option<Flag> {
    let size = Some(channel.size);
    match (channel.reading, channel.evidence) {
        (Reading::TooMany | Reading::Above(_), _) => Some(doubt(
            "too-many-to-count",
            size,
            format!("reading: {}", channel.reading),
            "dilute the sample and count again; filter or settle it first if it is visibly dirty",
        )),
        (Reading::Count(_), Some(evidence)) if evidence.raw < FEW_BELOW => Some(note(
            "few-raw-counts",
            size,
            format!("{} particles in {:.3} mL of sample", evidence.raw, evidence.examined_ml()),
            "count more volume: the number is marked >= below 20 particles",
        )),
        (Reading::Count(_), Some(_)) => near_edge(channel.size, odds?),
        _ => None,
    }
}

fn near_edge(size: Size, odds: &Odds) -> Option<Flag> {
    let (_, p) = odds.likeliest()?;
    (p.get() < 2.0 / 3.0).then(|| {
        let likely = odds.iter().filter(|(_, p)| p.get() >= 0.05);
        let likely: Vec<_> =
            likely.map(|(number, p)| format!("{number} with {}", percent(p.get()))).collect();
        note(
            "near-class-edge",
            Some(size),
            format!("the true number is {}", likely.join(", ")),
            "read both numbers; count more volume to tell them apart",
        )
    })
}

fn of_coincidence(sample: &Sample, size: Size, context: &Context<'_>) -> Option<Flag> {
    let counter = context.coincidence?;
    let most = sample.evidence_of_runs(size)?.iter().map(|run| run.raw).max()?;
    let observed = Mean::new(most as f64).ok()?;
    let truth = counter.truth(observed);
    if truth.as_ref().is_ok_and(|&truth| !counter.is_near_saturation(truth)) {
        return None;
    }
    let evidence = match truth {
        Ok(truth) => format!("{most} counted stand for about {:.0}", truth.get()),
        Err(_) => format!("{most} counted are at or above what the counter can show"),
    };
    Some(doubt("near-saturation", Some(size), evidence, "dilute the sample and count again"))
}

fn of_blank(channel: &Channel, blank: &Spectrum, alarm: Level) -> Option<Flag> {
    let size = channel.size;
    let blank = blank.channel(size)?;
    let (found, dirty) = (channel.reading.count()?, blank.reading.count()?);
    let bound = match (channel.evidence, blank.evidence) {
        (Some(own), Some(other)) => {
            let Interval { low, high } = Net::new(size, &own, &other).interval(alarm);
            (low == PerMl::ZERO)
                .then(|| format!("; the sample itself has at most {:.3} per mL", high.get()))?
        }
        _ if dirty >= found && dirty > PerMl::ZERO => String::new(),
        _ => return None,
    };
    (dirty > PerMl::ZERO).then(|| {
        let evidence =
            format!("{:.3} per mL in the sample, {:.3} in the blank{bound}", found.get(), dirty.get());
        doubt(
            "blank-too-dirty",
            Some(size),
            evidence,
            "clean glassware and solvent, take a new blank, or count more volume",
        )
    })
}

fn of_free_water(sample: &Sample) -> Option<Flag> {
    match &sample.companion(&Property::FreeWater)?.measured {
        measured @ Measured::Number { value, .. } if *value > 0.0 => Some(doubt(
            "possible-water-or-air",
            None,
            format!("free water {measured}: a counter counts drops as particles"),
            "draw off the water, or count again with a co-solvent or after warming, and compare",
        )),
        _ => None,
    }
}
