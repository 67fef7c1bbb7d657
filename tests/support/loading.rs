//! Elements drawn at random, for the tests and the studies of when they are due.

use siltcode::certainty::{Interval, Level};
use siltcode::filter::Conditions;
use siltcode::job::{Along, Axis, ChangeRule, Outlook, Reading, Trend, Urgency, Watch};
use siltcode::units::{Flow, Pressure};

use crate::Draws;

/// How elements are drawn.
pub struct Cell {
    /// The exponent of the loading law.
    pub exponent: f64,
    /// The standard deviation of a reading, as a part of it.
    pub noise: f64,
    /// The share of the life at the last reading.
    pub share: f64,
    /// The number of readings.
    pub readings: u32,
}

/// What an answer is worth.
pub struct Worth {
    /// Whether the interval of the mean line holds the true place.
    pub mean: bool,
    /// Whether that of a single reading holds a further reading, where that was asked for.
    pub single: Option<bool>,
    /// The width of the former, as a part of the life.
    pub width: f64,
}

/// What an answer is worth; none where there is none.
pub type Outcome = Option<Worth>;

/// The terminal pressure over the clean one.
const TERMINAL: f64 = 8.0;
/// The pressure of the clean element \[kPa\].
const CLEAN: f64 = 30.0;

/// The resistance at a share of the life.
fn resistance(exponent: f64, share: f64) -> f64 {
    let power = 1.0 - exponent;
    if power == 0.0 {
        return TERMINAL.powf(share);
    }
    (1.0 + share * (TERMINAL.powf(power) - 1.0)).powf(1.0 / power)
}

fn kpa(value: f64) -> Pressure {
    Pressure::from_kpa(value).unwrap_or_else(|error| panic!("{error}"))
}

fn along(value: f64) -> Along {
    Along::new(value).unwrap_or_else(|error| panic!("{error}"))
}

/// The outlook of one element. Every fourth is asked for a single reading too.
///
/// # Panics
/// If there is none, which there always is.
#[must_use]
pub fn covered(cell: &Cell, job: u64) -> Outcome {
    let seed =
        [cell.exponent, cell.noise, cell.share].iter().fold(u64::from(cell.readings), |seed, value| {
            (seed ^ value.to_bits()).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        });
    let mut draws = Draws(seed ^ job);
    let mut read =
        |share: f64| CLEAN * resistance(cell.exponent, share) * (cell.noise * draws.normal()).exp();
    let last = f64::from(cell.readings - 1);
    let places = (0..cell.readings).map(|i| cell.share * f64::from(i) / last);
    let readings: Vec<_> = places.map(|share| (along(share), kpa(read(share)))).collect();
    let further = read(1.0);
    let trend = Trend::new(Axis::CapturedMass, readings).unwrap();
    let at = |terminal: f64| match trend.outlook(kpa(terminal), Level::default()).unwrap() {
        Outlook::Expected(expected) => Some(expected),
        _ => None,
    };
    let holds = |ends: Interval<Along>| ends.contains(&along(1.0));
    let expected = at(CLEAN * TERMINAL)?;
    let single = if job.is_multiple_of(4) { at(further) } else { None };
    Some(Worth {
        mean: holds(expected.mean_line),
        single: single.map(|of| of.single_reading.is_none_or(holds)),
        width: expected.mean_line.high.get() - expected.mean_line.low.get(),
    })
}

/// Whether an alarm is raised of an element that is read so often: of one whose pressure is constant or rises to four
/// times that of the clean one, and falls to 0.6 before the last two readings or not. An alarm before that does not count
/// for a fall that is found.
///
/// # Panics
/// If readings are refused, which they never are.
#[must_use]
pub fn alarmed(rises: bool, noise: f64, readings: u32, falls: bool, job: u64) -> bool {
    let mut draws = Draws(job << 20 | 0xA1_A43);
    let last = f64::from(readings - 1);
    let truth = |i: u32| if rises { 4_f64.powf(f64::from(i) / last) } else { 1.0 };
    let pressure = |i: u32| {
        let before = readings.saturating_sub(3);
        CLEAN * if falls && i > before { 0.6 * truth(before) } else { truth(i) }
    };
    let rated = Conditions::of(Flow::from_l_per_min(60.0).unwrap());
    let rule = ChangeRule::own(kpa(1e4), None).unwrap();
    let watch = |error: f64| Watch::new(rule.clone(), rated, kpa(error)).unwrap();
    // the error of a gauge is the same all over its range; the scatter is stated at the last reading before a fall
    let spread = noise * CLEAN * truth(readings.saturating_sub(3));
    let watch = watch(2.771_807_648_699_117 * spread);
    let series: Vec<Reading> = (0..readings)
        .map(|i| Reading {
            along: along(f64::from(i)),
            pressure: kpa((pressure(i) + spread * draws.normal()).max(0.0)),
            conditions: Some(rated),
        })
        .collect();
    let from = if falls { Some(series.len() - 2) } else { None };
    let counts = |reading: Option<usize>| from.is_none_or(|from| reading.is_some_and(|at| at >= from));
    let every = !falls && !rises && readings <= 100;
    let mut looks = if every { 2..=series.len() } else { series.len()..=series.len() };
    looks.any(|until| {
        let seen = watch.over(&series[..until]).unwrap();
        seen.findings.iter().any(|finding| finding.urgency == Urgency::Alarm && counts(finding.reading))
    })
}
