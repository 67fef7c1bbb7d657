//! What looks wrong with a bottle's counts, why, and what to do about it.
//!
//! A flag never changes a result. It has a stable code for programs, the numbers that raised it, and advice. Chance alone
//! raises one of the significance flags once in a hundred at the default alarm level; no tolerance here is a test
//! method's own, except the ranges in `reference-tables/test_method_ranges.csv`.
//!
//! | code | raised when |
//! |---|---|
//! | `few-raw-counts` | fewer than 20 particles were counted at a size |
//! | `near-class-edge` | the likeliest range number is less than twice as likely as all others together |
//! | `scatter` | runs differ by more than chance, or than the caller's own tolerance; a note if the number is sure even so |
//! | `too-regular` | runs agree better than chance allows |
//! | `first-run-differs` | the first run differs from the others, which agree |
//! | `drift` | each run goes the same way from the one before, beyond chance |
//! | `too-many-to-count` | a reading is above what the counter could count |
//! | `near-saturation` | coincidence hides so much that one more particle shows as less than half |
//! | `above-method-range`, `size-outside-method`, `method-not-known` | the stated test method does not cover the counts |
//! | `possible-water-or-air` | free water was found, or counts shift to large sizes while they fall |
//! | `fine-stays-coarse-falls` | the smallest size stays while all larger ones fall |
//! | `blank-too-dirty` | the sample cannot be told from its blank |

use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::coincidence::Coincidence;
use super::corrections::Net;
use super::level::{Interval, Level, Mean, Scatter};
use super::normal;
use super::odds::Odds;
use super::ratio;
use super::runs::{Criterion, Direction, Runs};
use crate::class::iso4406::FEW_BELOW;
use crate::companion::{Measured, Property};
use crate::count::{Evidence, PerMl, Reading};
use crate::sample::Sample;
use crate::size::{Size, SizeScale};
use crate::spectrum::{Channel, Spectrum};
use crate::table;

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
/// assert_eq!(codes, ["scatter", "drift"]);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn of(sample: &Sample, spectrum: &Spectrum, context: &Context<'_>) -> Vec<Flag> {
    let odds: Vec<_> = spectrum.channels().iter().map(|channel| channel_odds(channel, context)).collect();
    with_odds(sample, spectrum, context, &odds.iter().map(Option::as_ref).collect::<Vec<_>>())
}

/// The odds of a counted size, where the evidence for them exists.
pub(super) fn channel_odds(channel: &Channel, context: &Context<'_>) -> Option<Odds> {
    let evidence = channel.evidence.filter(|_| channel.reading.count().is_some());
    evidence.map(|evidence| Odds::of(&evidence, context.scatter.unwrap_or_default()))
}

/// The flags of a bottle whose odds are known already, channel by channel.
pub(super) fn with_odds(
    sample: &Sample,
    spectrum: &Spectrum,
    context: &Context<'_>,
    odds: &[Option<&Odds>],
) -> Vec<Flag> {
    let mut flags = Vec::new();
    for (channel, odds) in spectrum.channels().iter().zip(odds) {
        flags.extend(of_channel(channel, *odds));
        flags.extend(of_runs(sample, channel.size, context, weight(*odds, context.level)));
        flags.extend(of_coincidence(sample, channel.size, context));
        flags.extend(context.blank.and_then(|blank| of_blank(channel, blank, context.alarm)));
    }
    flags.extend(of_method(sample, spectrum, context.method));
    flags.extend(of_free_water(sample));
    if let Some(earlier) = context.earlier {
        flags.extend(of_change(spectrum, earlier, context.alarm));
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

/// What runs that disagree weigh: with a range number that is sure all the same they are only to be kept in mind.
fn weight(odds: Option<&Odds>, level: Level) -> Severity {
    let is_sure = odds.and_then(Odds::likeliest).is_some_and(|(_, p)| p.get() >= level.get());
    if is_sure { Severity::Note } else { Severity::Doubt }
}

fn of_runs(sample: &Sample, size: Size, context: &Context<'_>, weight: Severity) -> Vec<Flag> {
    let Some(evidence) = sample.evidence_of_runs(size) else {
        return spread_of_concentrations(sample, size, context.spread).into_iter().collect();
    };
    let Some(runs) = Runs::new(&evidence) else { return Vec::new() };
    let counts = || {
        let counts: Vec<_> = evidence.iter().map(|run| run.raw.to_string()).collect();
        format!("runs of {}", counts.join(", "))
    };
    let risk = context.alarm.risk();
    let dispersion = runs.dispersion();
    let of_weight =
        |code, evidence, advice| Flag { code, severity: weight, size: Some(size), evidence, advice };
    let mut flags = Vec::new();
    let is_scattered = dispersion.p_scattered.get() <= risk;
    if is_scattered || runs.is_spread_exceeded(context.spread) {
        let (range, index) = (percent(runs.range()), dispersion.index);
        let allowed =
            (!is_scattered).then(|| format!(", allowed {}", percent(runs.spread(context.spread).allowed)));
        let evidence = format!(
            "{}: index of dispersion {index:.1}, largest less smallest {range} of the mean{}",
            counts(),
            allowed.unwrap_or_default()
        );
        let advice = "shake and degas the bottle and count again; if bottles differ, draw more of them";
        flags.push(of_weight("scatter", evidence, advice));
    }
    if dispersion.p_regular.get() <= risk {
        let evidence = format!("{}: chance agrees so well {}", counts(), once_in(dispersion.p_regular.get()));
        let advice = "ask whether these are raw counts of separate runs, not averages or copies";
        flags.push(doubt("too-regular", Some(size), evidence, advice));
    }
    flags.extend(
        first_run(&evidence, &runs, risk).map(|advice| of_weight("first-run-differs", counts(), advice)),
    );
    let drift = runs.drift();
    if let Some(direction) = drift.monotone.filter(|_| drift.p.get() <= risk) {
        let advice = match direction {
            Direction::Rising => {
                "look for bubbles coming out, a leak of air, or particles stirred up; degas and count again"
            }
            Direction::Falling => {
                "look for bubbles leaving or particles settling; shake, degas and count at once"
            }
        };
        flags.push(of_weight("drift", counts(), advice));
    }
    flags
}

fn once_in(p: f64) -> String {
    if p > 1e-9 { format!("once in {:.0}", 1.0 / p) } else { "less than once in a billion".into() }
}

/// The first of three or more runs against the others, which must agree with each other.
fn first_run(evidence: &[Evidence], runs: &Runs<'_>, risk: f64) -> Option<&'static str> {
    let others_agree =
        Runs::new(&evidence[1..]).is_some_and(|others| others.dispersion().p_scattered.get() > risk);
    (others_agree && runs.first_differs().get() <= risk).then_some(
        "the line or the sensor may still have held the last sample: flush, and leave the first run out",
    )
}

/// Without raw counts only the caller's own tolerance can be checked.
fn spread_of_concentrations(sample: &Sample, size: Size, criterion: Criterion) -> Option<Flag> {
    let Criterion::Fraction(allowed) = criterion else { return None };
    let runs: Vec<f64> =
        sample.runs.iter().filter_map(|run| run.spectrum.per_ml(size)).map(PerMl::get).collect();
    let mean = runs.iter().sum::<f64>() / runs.len() as f64;
    let range = runs.iter().copied().fold(0.0, f64::max) - runs.iter().copied().fold(f64::INFINITY, f64::min);
    (runs.len() >= 2 && range > allowed * mean).then(|| {
        let evidence = format!(
            "largest less smallest run {} of the mean, allowed {}",
            percent(range / mean),
            percent(allowed)
        );
        doubt("scatter", Some(size), evidence, "shake and degas the bottle and count again")
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

static METHOD_RANGES: LazyLock<Vec<MethodRange>> =
    LazyLock::new(|| table::rows(&siltcode_tables::TEST_METHOD_RANGES));

#[derive(Deserialize)]
struct MethodRange {
    method: String,
    property: String,
    size_min_um_c: Option<f64>,
    size_max_um_c: Option<f64>,
    max_per_ml: Option<f64>,
}

fn of_method(sample: &Sample, spectrum: &Spectrum, method: Option<&str>) -> Vec<Flag> {
    let noted = || {
        sample.notes.iter().find(|(heading, _)| plain(heading) == "method" || plain(heading) == "testmethod")
    };
    let Some(method) =
        method.or_else(|| noted().map(|(_, text)| text.as_str())).filter(|m| !m.trim().is_empty())
    else {
        return Vec::new();
    };
    let named = METHOD_RANGES
        .iter()
        .find(|row| row.property == "particles" && plain(method).contains(&plain(&row.method)));
    let Some(range) = named else {
        let evidence = format!("no range is known of the method `{}`", method.trim());
        return vec![note(
            "method-not-known",
            None,
            evidence,
            "check the counts against the method's own scope",
        )];
    };
    spectrum.channels().iter().filter_map(|channel| outside(channel, range)).collect()
}

/// Letters and digits, in lower case: `ASTM D7619-22` holds `ASTM D 7619`.
fn plain(text: &str) -> String {
    text.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect()
}

fn outside(channel: &Channel, range: &MethodRange) -> Option<Flag> {
    let (size, um) = (channel.size, channel.size.um());
    let is_outside =
        range.size_min_um_c.is_some_and(|min| um < min) || range.size_max_um_c.is_some_and(|max| um > max);
    if size.scale() == SizeScale::UmC && is_outside && channel.reading.is_counted() {
        let (min, max) = (range.size_min_um_c.unwrap_or(0.0), range.size_max_um_c.unwrap_or(f64::INFINITY));
        let evidence = format!("{} covers {min} to {max} um(c)", range.method);
        return Some(note(
            "size-outside-method",
            Some(size),
            evidence,
            "report this size outside the method's scope",
        ));
    }
    let found = channel.reading.count()?.get();
    let max = range.max_per_ml.filter(|max| found > *max)?;
    let evidence = format!("{found:.0} per mL, {} goes up to {max:.0}", range.method);
    Some(doubt(
        "above-method-range",
        Some(size),
        evidence,
        "dilute the sample and count again, and state the dilution",
    ))
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

/// How two counts of one size compare.
#[derive(Clone, Copy, PartialEq)]
enum Change {
    Falls,
    Stays,
    Rises,
}

/// The sizes counted now and earlier with raw counts, smallest first.
fn changes(now: &Spectrum, earlier: &Spectrum, alarm: Level) -> Vec<(Size, Evidence, Evidence, Change)> {
    let pairs = now.channels().iter().filter_map(|channel| {
        let (after, before) = (channel.evidence?, earlier.channel(channel.size)?.evidence?);
        let interval = ratio::compare(&after, &before, alarm).interval;
        let change = match () {
            () if interval.high < 1.0 => Change::Falls,
            () if interval.low > 1.0 => Change::Rises,
            () => Change::Stays,
        };
        Some((channel.size, after, before, change))
    });
    pairs.collect()
}

fn of_change(now: &Spectrum, earlier: &Spectrum, alarm: Level) -> Vec<Flag> {
    let changes = changes(now, earlier, alarm);
    let Some(((size, fine, fine_before, change), larger)) = changes.split_first() else { return Vec::new() };
    let mut flags = Vec::new();
    if *change != Change::Falls
        && larger.len() >= 2
        && larger.iter().all(|(.., change)| *change == Change::Falls)
    {
        let evidence = format!("{size} from {} to {} per mL", round(*fine_before), round(*fine));
        let advice = "look for water, bubbles, additive or wax, or a filter that releases fines; larger sizes are filtered well";
        flags.push(doubt("fine-stays-coarse-falls", Some(*size), evidence, advice));
    }
    let coarse = larger.iter().rev().find(|(_, after, before, _)| after.raw > 0 && before.raw > 0);
    if let Some((large, after, before, _)) = coarse.filter(|_| *change == Change::Falls)
        && share_rises([*fine_before, *before], [*fine, *after], alarm)
    {
        let share = |large: &Evidence, small: &Evidence| percent(large.per_ml().get() / small.per_ml().get());
        let evidence = format!(
            "{size} falls, but the share at and above {large} rises from {} to {}",
            share(before, fine_before),
            share(after, fine)
        );
        let advice = "look for water drops or air: let a bottle rest and warm it, count again, and compare";
        flags.push(doubt("possible-water-or-air", Some(*large), evidence, advice));
    }
    flags
}

fn round(evidence: Evidence) -> String {
    format!("{:.0}", evidence.per_ml().get())
}

/// Whether the share of large particles among all rises beyond chance: the logarithm of the share has the variance
/// `1 / large - 1 / all`, the large ones being part of all.
fn share_rises(before: [Evidence; 2], after: [Evidence; 2], alarm: Level) -> bool {
    let ln_share = |[all, large]: [Evidence; 2]| (large.per_ml().get() / all.per_ml().get()).ln();
    let variance = |[all, large]: [Evidence; 2]| (1.0 / large.raw as f64 - 1.0 / all.raw as f64).max(0.0);
    let sd = (variance(before) + variance(after)).sqrt();
    ln_share(after) - ln_share(before) > normal::upper_quantile(alarm.risk()) * sd
}
