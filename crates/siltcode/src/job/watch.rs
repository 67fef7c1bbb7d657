//! What a series of differential pressures of one element says.
//!
//! Each reading is brought to rated flow first; a reading without its flow is said to be of no use. A pressure that
//! falls is no good news: the element is ruptured or missing, or a bypass is open.
//!
//! | code | raised when |
//! |---|---|
//! | `due` | the last reading has reached the limit |
//! | `near` | it has reached the caller's share of the limit |
//! | `due-by-age` | the element has reached the age of the rule |
//! | `fallen` | the last reading or the last two lie below earlier ones by more than readings scatter: alarm |
//! | `sinking` | the readings fall steadily: alarm where beyond chance for a series of their length |
//! | `rising` | they rise, and will reach the limit |
//! | `no-trend` | a constant pressure explains them as well |
//! | `too-few` | readings are lacking for an answer |
//! | `low-flow` | the last reading was taken below half the rated flow |
//! | `flow-missing` | a reading has no flow above 0 |
//!
//! A longer series raises no more alarms: of elements whose pressure never falls, at most 2 % ever raise one, in however
//! many readings.
//!
//! ```
//! use siltcode::filter::Conditions;
//! use siltcode::job::{ChangeRule, Duty, Reading, Watch};
//! use siltcode::tank::Turnovers;
//! use siltcode::units::{Flow, Pressure};
//!
//! let read = |turnovers, psi, gpm| Ok::<_, siltcode::Error>(Reading {
//!     along: Turnovers::new(turnovers)?.into(),
//!     pressure: Pressure::from_psi(psi)?,
//!     conditions: Some(Conditions::of(Flow::from_us_gpm(gpm)?)),
//! });
//! let readings = [read(0.0, 4.0, 300.0)?, read(0.5, 5.0, 300.0)?, read(1.0, 8.0, 150.0)?];
//! let rated = Conditions::of(Flow::from_us_gpm(300.0)?);
//! let watch = Watch::new(ChangeRule::published(Duty::LastPoint), rated, Pressure::from_psi(0.5)?)?;
//! let seen = watch.over(&readings)?;
//! assert_eq!(seen.at_rated[2].unwrap().us(), "16 psi"); // 8 psi at half the flow
//! let codes: Vec<_> = seen.findings.iter().map(|finding| finding.code).collect();
//! assert_eq!(codes, ["due", "too-few"]);
//! # Ok::<(), siltcode::Error>(())
//! ```

use serde::Serialize;

use super::axis::{Along, Axis};
use super::change::ChangeRule;
use super::fallen::{self, Fall, Scattered};
use super::trend::{Outlook, Trend};
use crate::caution::{self, Caution};
use crate::certainty::{Interval, Level};
use crate::error::{ErrorKind, Result};
use crate::filter::{Conditions, Laminar, Share};
use crate::units::{Duration, Pressure, significant};

/// A differential pressure that was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// How far along the axis: the mass caught, the turnovers or the time so far.
    pub along: Along,
    /// What the gauge showed.
    pub pressure: Pressure,
    /// The flow at that moment, with the viscosity and the density where they are known; none where the flow was not
    /// read.
    pub conditions: Option<Conditions>,
}

/// How an element is watched.
#[derive(Debug, Clone, PartialEq)]
pub struct Watch {
    /// When it is to be changed.
    pub rule: ChangeRule,
    /// The conditions to which the limit belongs.
    pub rated: Conditions,
    /// How much of the pressure is laminar.
    pub laminar: Laminar,
    /// By how much two readings of the same pressure may differ, exceeded once in twenty: the repeatability limit of the
    /// gauge.
    pub error: Pressure,
    /// From this share of the limit on it is near; none where that is not asked for.
    pub near: Option<Share>,
    /// How old it is.
    pub age: Option<Duration>,
    /// What it is followed along.
    pub axis: Axis,
    /// The level of intervals.
    pub level: Level,
}

/// How urgent a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Urgency {
    /// Keep it in mind.
    Note,
    /// Change the element, or be ready to.
    Change,
    /// Stop and look: the element may let everything through.
    Alarm,
}

/// Something that the readings say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// The stable code, for programs: lower case, words joined by hyphens.
    pub code: &'static str,
    /// How urgent it is.
    pub urgency: Urgency,
    /// The reading it concerns, counted from 0, where it concerns one.
    pub reading: Option<usize>,
    /// The earlier reading that it is compared with, counted from 0, where it is compared with one.
    pub compared_with: Option<usize>,
    /// What was found.
    pub evidence: String,
    /// What to do.
    pub advice: &'static str,
}

/// What a series says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Seen {
    /// Each reading at rated flow; none where it has no flow above 0.
    pub at_rated: Vec<Option<Pressure>>,
    /// The most urgent first.
    pub findings: Vec<Finding>,
    /// The first reading that the outlook rests on: that after the last fall.
    pub since: usize,
    /// When the limit will be reached; none without a reading at rated flow.
    pub outlook: Option<Outlook>,
    /// What was taken for granted.
    pub assumptions: Vec<String>,
}

/// Below this share of the rated flow a low reading proves little.
const LOW_FLOW: f64 = 0.5;

impl Watch {
    /// A watch of an element by turnovers, all of its pressure taken for laminar, at the usual level.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the rated flow is above 0 and the error of a reading is 0 or more.
    pub fn new(rule: ChangeRule, rated: Conditions, error: Pressure) -> Result<Self> {
        let refused = |quantity: &str, value: String, range: &str| {
            Err(ErrorKind::QuantityOutOfRange { quantity: quantity.into(), value, range: range.into() }
                .into())
        };
        if rated.flow.l_per_min() <= 0.0 {
            return refused("rated flow", rated.flow.to_string(), "above 0");
        }
        if error.kpa() < 0.0 {
            return refused("error of a reading", error.to_string(), "0 or more");
        }
        let (laminar, axis, level) = (Laminar::default(), Axis::Turnovers, Level::default());
        Ok(Self { rule, rated, laminar, error, near: None, age: None, axis, level })
    }

    /// A reading at rated flow and viscosity.
    ///
    /// # Errors
    /// `flow-missing` without a flow; `quantity-out-of-range` unless the flow is above 0.
    pub fn at_rated(&self, reading: &Reading) -> Result<Pressure> {
        let missing = || ErrorKind::FlowMissing { pressure: reading.pressure.to_string() };
        self.brought(reading.pressure, &reading.conditions.ok_or_else(missing)?)
    }

    fn brought(&self, pressure: Pressure, read: &Conditions) -> Result<Pressure> {
        self.laminar.to_rated(pressure, read, &self.rated)
    }

    /// What readings of one element say, in their order.
    ///
    /// # Errors
    /// `axis-not-rising` unless each reading stands as far along the axis as the one before, or further;
    /// `quantity-out-of-range` where a pressure at rated flow leaves the range of a double.
    pub fn over(&self, readings: &[Reading]) -> Result<Seen> {
        let at_rated = self.all(readings, |reading| reading.pressure)?;
        let errors = self.all(readings, |_| self.error)?;
        let falls = fallen::falls(&scattered(&at_rated, &errors));
        let since = falls.last().map_or(0, |fall| fall.to);
        let outlook = self.outlook(readings, &at_rated, since)?;
        let mut findings: Vec<Finding> = falls.iter().map(|fall| fallen(fall, &at_rated)).collect();
        findings.extend(self.last_reading(readings, &at_rated));
        findings.extend(self.by_age());
        let sure = || sinks(readings, &at_rated, since);
        findings.extend(outlook.as_ref().map(|outlook| self.trend(outlook, sure)));
        findings.extend(missing_flows(&at_rated));
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.urgency));
        Ok(Seen { at_rated, findings, since, outlook, assumptions: self.assumptions(readings) })
    }

    /// A pressure of each reading that has a flow, at rated flow.
    fn all(&self, readings: &[Reading], of: impl Fn(&Reading) -> Pressure) -> Result<Vec<Option<Pressure>>> {
        let brought = |reading: &Reading| {
            let read = reading.conditions.filter(|read| read.flow.l_per_min() > 0.0);
            read.map(|read| self.brought(of(reading), &read)).transpose()
        };
        readings.iter().map(brought).collect()
    }

    fn outlook(
        &self,
        readings: &[Reading],
        at_rated: &[Option<Pressure>],
        since: usize,
    ) -> Result<Option<Outlook>> {
        let each = readings.iter().zip(at_rated);
        Trend::new(self.axis, each.clone().map(|(reading, _)| (reading.along, reading.pressure)).collect())?;
        let usable = each.skip(since).filter_map(|(reading, pressure)| Some((reading.along, (*pressure)?)));
        let usable: Vec<_> = usable.collect();
        let some = !usable.is_empty();
        some.then(|| Trend::new(self.axis, usable)?.outlook(self.rule.limit, self.level)).transpose()
    }

    /// What the last reading with a flow says.
    fn last_reading(&self, readings: &[Reading], at_rated: &[Option<Pressure>]) -> Vec<Finding> {
        let Some((i, pressure)) = at_rated.iter().enumerate().rev().find_map(|(i, p)| Some((i, (*p)?)))
        else {
            return Vec::new();
        };
        let mut findings = Vec::new();
        let limit = self.rule.limit;
        let share = pressure.kpa() / limit.kpa();
        let evidence =
            format!("{pressure} ({}) at rated flow; the limit is {limit} ({})", pressure.us(), limit.us());
        if self.rule.is_due(pressure, None) {
            findings.push(finding("due", Urgency::Change, Some(i), evidence, "change the element"));
        } else if self.near.is_some_and(|near| share >= near.get()) {
            let advice = "have the element at hand, and read more often";
            findings.push(finding("near", Urgency::Change, Some(i), evidence, advice));
        }
        let flow = readings[i].conditions.map_or(self.rated.flow, |read| read.flow);
        if flow.l_per_min() < LOW_FLOW * self.rated.flow.l_per_min() && share < 1.0 {
            let evidence = format!("read at {flow}, rated for {}", self.rated.flow);
            let advice = "a low reading at low flow proves little: read again near the rated flow";
            findings.push(finding("low-flow", Urgency::Note, Some(i), evidence, advice));
        }
        findings
    }

    fn by_age(&self) -> Option<Finding> {
        let (age, most) = self.age.zip(self.rule.age).filter(|_| self.rule.is_due_by_age(self.age))?;
        let days = |time: Duration| significant(time.days(), 4);
        let evidence = format!("{} days old; the limit is {} days", days(age), days(most));
        Some(finding(
            "due-by-age",
            Urgency::Change,
            None,
            evidence,
            "change the element, whatever its pressure",
        ))
    }

    fn trend(&self, outlook: &Outlook, sinks: impl Fn() -> bool) -> Finding {
        let unit = match self.axis.unit() {
            "" => "turnover",
            unit => unit,
        };
        let growth = |growth: &Interval<f64>| {
            let percent = |value: f64| significant(100.0 * value, 3);
            format!("{} to {} % per {unit}", percent(growth.low), percent(growth.high))
        };
        let (code, urgency, evidence, advice) = match outlook {
            Outlook::Expected(expected) => {
                let ends = expected.mean_line;
                let (at, soonest) = (self.axis.print(expected.at), significant(ends.low.get(), 4));
                let (latest, percent) =
                    (self.axis.print(ends.high), significant(100.0 * expected.level.get(), 4));
                let evidence = format!(
                    "the limit is reached at {at}; {soonest} to {latest} ({percent} %, any loading law)"
                );
                (
                    "rising",
                    Urgency::Note,
                    evidence,
                    "read on: the law that it follows shows as it nears the limit",
                )
            }
            Outlook::NoTrend { growth: found } => {
                let advice = "no change can be foreseen: read on, near the rated flow";
                ("no-trend", Urgency::Note, growth(found), advice)
            }
            Outlook::Falling { growth: found } if sinks() => ("sinking", Urgency::Alarm, growth(found), LOOK),
            Outlook::Falling { growth: found } => ("sinking", Urgency::Note, growth(found), READ_AGAIN),
            Outlook::TooFew { lacking, risen } => {
                let since = if *risen { "since" } else { "after" };
                let evidence = format!("{lacking} more readings are needed {since} the first rise of 10 %");
                ("too-few", Urgency::Note, evidence, "read on")
            }
        };
        finding(code, urgency, None, evidence, advice)
    }

    fn assumptions(&self, readings: &[Reading]) -> Vec<String> {
        let both = |known: fn(&Conditions) -> bool| {
            known(&self.rated)
                && readings.iter().filter_map(|reading| reading.conditions).all(|read| known(&read))
        };
        let mut assumptions = vec![self.laminar.to_string()];
        if !both(|conditions| conditions.viscosity.is_some()) {
            assumptions.push("where no viscosity is given it is taken for that of the rating".into());
        }
        if !both(|conditions| conditions.density.is_some()) {
            assumptions.push("where no density is given it is taken for that of the rating".into());
        }
        assumptions.extend(self.axis.note().map(str::to_owned));
        assumptions
    }
}

impl Seen {
    /// What to beware of at housings and gauges.
    #[must_use]
    pub fn cautions(&self) -> Vec<&'static Caution> {
        caution::about(&["flammable vapour", "static", "bonding", "pressure", "waste"])
    }
}

/// What to do about a pressure that falls.
const LOOK: &str = "no good news: look for a ruptured or missing element, an open bypass or a blocked gauge line before the tank is filtered on";

/// What to do about readings that fall no more than chance may make them.
const READ_AGAIN: &str =
    "read again soon, near the rated flow: if it goes on, look for an open bypass or a ruptured element";

/// The risk of a false alarm of `sinking` in all the readings of an element.
const RISK_OF_SINKING: f64 = 0.005;
/// Standard deviations of a reading in the difference between two that is exceeded once in twenty.
const REPEATABILITY: f64 = 2.771_807_648_699_117;

/// The readings that have a flow, with their standard deviations.
fn scattered(at_rated: &[Option<Pressure>], errors: &[Option<Pressure>]) -> Vec<Scattered> {
    let each = at_rated.iter().zip(errors).enumerate();
    let of = |(reading, (pressure, error)): (usize, (&Option<Pressure>, &Option<Pressure>))| {
        let (kpa, deviation) = ((*pressure)?.kpa(), (*error)?.kpa() / REPEATABILITY);
        Some(Scattered { reading, kpa, deviation })
    };
    each.filter_map(of).collect()
}

/// Whether the readings since the last fall sink beyond chance, at a risk that all looks at a growing series share.
fn sinks(readings: &[Reading], at_rated: &[Option<Pressure>], since: usize) -> bool {
    let looks = at_rated.iter().flatten().count().saturating_sub(super::trend::LEAST_READINGS - 1) as f64;
    let risk = RISK_OF_SINKING / (looks * (looks + 1.0));
    let usable = readings.iter().zip(at_rated).skip(since);
    let usable = usable.filter_map(|(reading, pressure)| Some((reading.along, (*pressure)?)));
    super::trend::sinks(usable, risk)
}

fn fallen(fall: &Fall, at_rated: &[Option<Pressure>]) -> Finding {
    let named = |i: usize| {
        let pressure = at_rated[i].map_or(String::new(), |pressure| pressure.to_string());
        format!("{pressure} (reading {})", i + 1)
    };
    let confirmed = (fall.confirmed != fall.to).then(|| format!(" and {}", named(fall.confirmed)));
    let (from, to, and) = (named(fall.from), named(fall.to), confirmed.unwrap_or_default());
    let evidence = format!("from {from} to {to}{and} at rated flow");
    let finding = finding("fallen", Urgency::Alarm, Some(fall.to), evidence, LOOK);
    Finding { compared_with: Some(fall.from), ..finding }
}

fn missing_flows(at_rated: &[Option<Pressure>]) -> impl Iterator<Item = Finding> {
    let missing = at_rated.iter().enumerate().filter(|(_, pressure)| pressure.is_none());
    missing.map(|(i, _)| {
        let evidence = "read without a flow, so it cannot be brought to rated flow".into();
        finding("flow-missing", Urgency::Note, Some(i), evidence, "read the flow beside every pressure")
    })
}

const fn finding(
    code: &'static str,
    urgency: Urgency,
    reading: Option<usize>,
    evidence: String,
    advice: &'static str,
) -> Finding {
    Finding { code, urgency, reading, compared_with: None, evidence, advice }
}
