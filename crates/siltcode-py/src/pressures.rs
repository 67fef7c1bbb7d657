//! Differential pressures: at rated flow, when they are due, and what a series of them says.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::caution::Caution;
use siltcode::certainty::Level;
use siltcode::filter::{Conditions, Laminar, Share};
use siltcode::job::{
    Along, Axis, ChangeRule, Duty, Finding, Fit, LoadingLaw, Outlook, Reading, Seen, Trend, Watch,
};
use siltcode::units::{Density, Duration, Flow, KinematicViscosity, Pressure};
use siltcode::{ErrorKind, Status};

use crate::arrays::{Floats, placed, slice};
use crate::error::Result;
use crate::given::{Given, Plain};
use crate::plain;

/// What readings are brought to \[L/min, mm2/s, kg/m3\], and the share of them that is laminar, and where it is; all
/// without one.
#[derive(Deserialize)]
pub(crate) struct RatedGiven {
    flow: f64,
    viscosity: Option<f64>,
    density: Option<f64>,
    laminar: Option<f64>,
    laminar_at: String,
}

/// How an element is watched \[kPa, h\].
#[derive(Deserialize)]
pub(crate) struct WatchGiven {
    rated: RatedGiven,
    limit: f64,
    limit_age: Option<f64>,
    error: f64,
    near: Option<f64>,
    age: Option<f64>,
    axis: String,
    level: f64,
}

plain::from_plain_values! { RatedGiven WatchGiven }

fn conditions(flow: f64, viscosity: Option<f64>, density: Option<f64>) -> siltcode::Result<Conditions> {
    Ok(Conditions {
        flow: Flow::from_l_per_min(flow)?,
        viscosity: viscosity.map(KinematicViscosity::from_mm2_per_s).transpose()?,
        density: density.map(Density::from_kg_per_m3).transpose()?,
    })
}

impl RatedGiven {
    fn conditions(&self) -> siltcode::Result<Conditions> {
        conditions(self.flow, self.viscosity, self.density)
    }

    fn laminar(&self) -> siltcode::Result<Laminar> {
        let Some(share) = self.laminar else { return Ok(Laminar::Throughout) };
        let share = Share::new(share)?;
        Ok(if self.laminar_at == "rated" { Laminar::AtRated(share) } else { Laminar::AtReading(share) })
    }
}

impl WatchGiven {
    fn watch(&self) -> siltcode::Result<Watch> {
        let age = |hours: Option<f64>| hours.map(Duration::from_hours).transpose();
        let rule = ChangeRule::own(Pressure::from_kpa(self.limit)?, age(self.limit_age)?)?;
        let watch = Watch::new(rule, self.rated.conditions()?, Pressure::from_kpa(self.error)?)?;
        Ok(Watch {
            laminar: self.rated.laminar()?,
            near: self.near.map(Share::new).transpose()?,
            age: age(self.age)?,
            axis: self.axis.parse()?,
            level: Level::new(self.level)?,
            ..watch
        })
    }
}

/// Columns of readings: pressure \[kPa\], flow \[L/min\], viscosity \[mm2/s\], density \[kg/m3\]; NaN where there is none.
type Columns<'py> = [Floats<'py>; 4];

/// Pressure and conditions of a row; no conditions without a flow, nothing without a pressure.
type Row = Option<(Pressure, Option<Conditions>)>;

fn readings(columns: &Columns<'_>) -> Result<Vec<Row>> {
    let [pressure, flow, viscosity, density] =
        [slice(&columns[0])?, slice(&columns[1])?, slice(&columns[2])?, slice(&columns[3])?];
    let read = |i: usize| {
        let known = |column: &[f64]| Some(column[i]).filter(|value| !value.is_nan());
        let read = known(flow).map(|flow| conditions(flow, known(viscosity), known(density)));
        known(pressure).map(|kpa| Ok((Pressure::from_kpa(kpa)?, read.transpose()?))).transpose()
    };
    let each = (0..pressure.len()).map(|i| placed(read(i), i));
    Ok(each.collect::<siltcode::Result<_>>()?)
}

/// Each reading at rated flow \[kPa\]; NaN where it has no flow.
#[pyfunction]
pub(crate) fn pressures_at_rated<'py>(
    py: Python<'py>,
    columns: Columns<'py>,
    rated: RatedGiven,
) -> Result<Bound<'py, PyArray1<f64>>> {
    let (laminar, rated) = (rated.laminar()?, rated.conditions()?);
    let brought = |reading: Row| match reading {
        Some((pressure, Some(read))) => laminar.to_rated(pressure, &read, &rated).map(Pressure::kpa),
        _ => Ok(f64::NAN),
    };
    let each = readings(&columns)?.into_iter().enumerate();
    let each = each.map(|(i, reading)| placed(brought(reading), i));
    Ok(each.collect::<siltcode::Result<Vec<f64>>>()?.into_pyarray(py))
}

/// Refuses a reading without its flow, with the library's own words.
#[pyfunction]
pub(crate) fn refuse_without_flow(pressure: String) -> Result<()> {
    Err(ErrorKind::FlowMissing { pressure }.into())
}

#[derive(Serialize)]
pub(crate) struct RuleParts {
    limit_kpa: f64,
    limit_psi: f64,
    age_hours: Option<f64>,
    status: Status,
    source: String,
}

/// The published rule for a duty.
#[pyfunction]
pub(crate) fn change_rule(duty: &str) -> Result<Plain<RuleParts>> {
    let rule = ChangeRule::published(duty.parse::<Duty>()?);
    Ok(Plain(RuleParts {
        limit_kpa: rule.limit.kpa(),
        limit_psi: rule.limit.psi(),
        age_hours: rule.age.map(Duration::hours),
        status: rule.status,
        source: rule.source,
    }))
}

/// Whether an element is due by a limit and an age \[kPa, h\].
#[pyfunction]
pub(crate) fn is_due(limit: (f64, Option<f64>), pressure: Given<Pressure>, age: Option<f64>) -> Result<bool> {
    let hours = |hours: Option<f64>| hours.map(Duration::from_hours).transpose();
    Ok(ChangeRule::own(Pressure::from_kpa(limit.0)?, hours(limit.1)?)?.is_due(pressure.0, hours(age)?))
}

/// The trend of pressures at rated flow; a reading without a number is left out.
fn trend(axis: &str, along: &Floats<'_>, kpa: &Floats<'_>) -> Result<Trend> {
    let rows = slice(along)?.iter().zip(slice(kpa)?).enumerate();
    let given = rows.filter(|(_, (along, kpa))| !along.is_nan() && !kpa.is_nan());
    let one = |along: f64, kpa: f64| Ok((Along::new(along)?, Pressure::from_kpa(kpa)?));
    let each = given.map(|(i, (&along, &kpa))| placed(one(along, kpa), i));
    Ok(Trend::new(axis.parse()?, each.collect::<siltcode::Result<_>>()?)?)
}

#[derive(Serialize)]
pub(crate) struct FitParts {
    law: LoadingLaw,
    clean_kpa: Option<f64>,
    constant: Option<f64>,
    deviation: f64,
}

impl FitParts {
    fn of(fit: &Fit) -> siltcode::Result<Self> {
        let clean_kpa = fit.at(Along::new(0.0)?).map(Pressure::kpa);
        Ok(Self { law: fit.law(), clean_kpa, constant: fit.constant(), deviation: fit.deviation() })
    }
}

/// The four laws fitted, the best first.
#[pyfunction]
pub(crate) fn loading_fits(axis: &str, along: Floats<'_>, kpa: Floats<'_>) -> Result<Plain<Vec<FitParts>>> {
    let fits = trend(axis, &along, &kpa)?.fits()?;
    Ok(Plain(fits.iter().map(FitParts::of).collect::<siltcode::Result<_>>()?))
}

/// When a terminal pressure is reached, and the note that belongs to the axis.
#[pyfunction]
pub(crate) fn change_out(
    axis: &str,
    along: Floats<'_>,
    kpa: Floats<'_>,
    terminal: Given<Pressure>,
    level: Given<Level>,
) -> Result<(Plain<Outlook>, Option<&'static str>)> {
    let outlook = trend(axis, &along, &kpa)?.outlook(terminal.0, level.0)?;
    Ok((Plain(outlook), axis.parse::<Axis>()?.note()))
}

#[derive(Serialize)]
pub(crate) struct SeenParts {
    at_rated: Vec<f64>,
    findings: Vec<Finding>,
    since: usize,
    outlook: Option<Outlook>,
    assumptions: Vec<String>,
    cautions: Vec<&'static Caution>,
}

impl From<Seen> for SeenParts {
    fn from(seen: Seen) -> Self {
        Self {
            cautions: seen.cautions(),
            at_rated: seen.at_rated.iter().map(|read| read.map_or(f64::NAN, Pressure::kpa)).collect(),
            findings: seen.findings,
            since: seen.since,
            outlook: seen.outlook,
            assumptions: seen.assumptions,
        }
    }
}

/// What the readings of one element say.
#[pyfunction]
pub(crate) fn watch_element(
    along: Floats<'_>,
    columns: Columns<'_>,
    watch: WatchGiven,
) -> Result<Plain<SeenParts>> {
    let watch = watch.watch()?;
    let mut rows = Vec::new();
    for (i, (row, &along)) in readings(&columns)?.into_iter().zip(slice(&along)?).enumerate() {
        let unread = || Pressure::from_kpa(f64::NAN).map(|pressure| (pressure, None));
        let (pressure, conditions) = placed(row.map_or_else(unread, Ok), i)?;
        let along = placed(Along::new(along), i)?;
        rows.push(Reading { along, pressure, conditions });
    }
    Ok(Plain(watch.over(&rows)?.into()))
}
