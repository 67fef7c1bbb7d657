//! What `siltcode passes` says as JSON, schema `siltcode.passes/1`.

use serde::Serialize;
use siltcode::caution::{self, JobCaution};
use siltcode::certainty::Probability;
use siltcode::filter::Beta;
use siltcode::provenance::Provenance;
use siltcode::tank::{Causes, ChannelForecast, Moment, Plant, Remedy, Turnovers};
use siltcode::units::{Duration, Flow, Volume};
use siltcode::{PerMl, RangeNumber, Size, tables};

use super::chart::STEPS;
use super::{Answer, Args, Falling, Spread, chart};

/// The document.
#[derive(Serialize)]
pub(super) struct Document<'a> {
    schema: &'static str,
    request: &'a Args,
    /// None where the ratings leave it open.
    reachable: Option<bool>,
    turnovers: Planning,
    hours: Planning,
    deciding: Size,
    target_unverified: bool,
    channels: Vec<Row<'a>>,
    path: Vec<Point>,
    doubt_stated: bool,
    causes: Option<Causes>,
    turnovers_at_best_rating: Option<Turnovers>,
    beta_spread: Option<Spread>,
    falling_flow: Option<Falling>,
    within: Option<Within>,
    plant: Described,
    assumptions: &'a [String],
    cautions: Vec<JobCaution>,
    deference: &'static str,
    provenance: Provenance,
}

/// Planning values: that of a stirred tank, the best estimate with the mixing factor, and what is enough with a
/// probability; none where that cannot be reached.
#[derive(Serialize)]
struct Planning {
    nominal: Option<f64>,
    estimate: Option<f64>,
    p50: Option<f64>,
    p80: Option<f64>,
    p90: Option<f64>,
    p95: Option<f64>,
}

#[derive(Serialize)]
struct Row<'a> {
    size_um_c: f64,
    start_per_ml: f64,
    target_per_ml: f64,
    floor_per_ml: f64,
    turnovers: Option<f64>,
    turnovers_per_further_number: Option<f64>,
    remedy: Option<&'a Remedy>,
}

/// A point of the path: what the tank holds and what its suction line shows, at the sizes of `channels`.
#[derive(Serialize)]
struct Point {
    turnovers: f64,
    hours: f64,
    per_ml: Vec<PerMl>,
    suction_per_ml: Vec<PerMl>,
    numbers: Vec<RangeNumber>,
}

#[derive(Serialize)]
struct Within {
    hours: f64,
    turnovers: f64,
    probability_clean: Probability,
    /// What would be enough in that time, each alone, on the best estimate.
    flow: Option<Flow>,
    beta: Vec<(Size, Option<Beta>)>,
}

#[derive(Serialize)]
struct Described {
    volume: Volume,
    flow: Flow,
    bypass: f64,
    short_circuit: f64,
    mixing_factor: f64,
}

impl<'a> Document<'a> {
    pub(super) fn new(args: &'a Args, answer: &'a Answer) -> siltcode::Result<Self> {
        let forecast = &answer.forecast;
        let enough = answer.ensemble.planning();
        let needed =
            [forecast.nominal(), forecast.turnovers(), enough.p50, enough.p80, enough.p90, enough.p95];
        Ok(Self {
            schema: "siltcode.passes/1",
            request: args,
            reachable: answer.reachable(),
            turnovers: Planning::new(needed, Turnovers::get),
            hours: Planning::new(needed, |turnovers| answer.hours(turnovers)),
            deciding: forecast.deciding().size,
            target_unverified: answer.unverified,
            channels: forecast.channels.iter().map(Row::from).collect(),
            path: path(answer)?,
            doubt_stated: answer.doubtful,
            causes: answer.ensemble.causes(),
            turnovers_at_best_rating: answer.best.or(forecast.turnovers()),
            beta_spread: answer.beta_spread,
            falling_flow: answer.falling,
            within: answer.within.map(|time| Within::new(answer, time)).transpose()?,
            plant: Described::from(&forecast.plant),
            assumptions: &answer.assumptions,
            cautions: caution::of_job(&answer.said()),
            deference: caution::DEFERENCE,
            provenance: Provenance::new(
                &[&tables::ISO4406, &tables::ISO_MEDIUM_TEST_DUST, &tables::UNITS, &tables::CAUTIONS],
                answer.inputs.clone(),
            )
            .held_against(answer.specification.clone()),
        })
    }
}

impl Planning {
    fn new(needed: [Option<Turnovers>; 6], scale: impl Fn(Turnovers) -> f64) -> Self {
        let [nominal, estimate, p50, p80, p90, p95] = needed.map(|needed| needed.map(&scale));
        Self { nominal, estimate, p50, p80, p90, p95 }
    }
}

impl<'a> From<&'a ChannelForecast> for Row<'a> {
    fn from(channel: &'a ChannelForecast) -> Self {
        Self {
            size_um_c: channel.size.um(),
            start_per_ml: channel.start.get(),
            target_per_ml: channel.target.get(),
            floor_per_ml: channel.floor.get(),
            turnovers: channel.turnovers.map(Turnovers::get),
            turnovers_per_further_number: channel.turnovers_per_further_number().map(Turnovers::get),
            remedy: channel.remedy.as_ref(),
        }
    }
}

impl Within {
    fn new(answer: &Answer, time: Duration) -> siltcode::Result<Self> {
        let turnovers = answer.forecast.plant.turnovers(time)?;
        Ok(Self {
            hours: time.hours(),
            turnovers: turnovers.get(),
            probability_clean: answer.ensemble.clean_after(turnovers),
            flow: answer.forecast.flow_for(time)?,
            beta: answer.forecast.beta_for(turnovers),
        })
    }
}

impl From<&Plant> for Described {
    fn from(plant: &Plant) -> Self {
        let (bypass, short_circuit) = (plant.bypass.get(), plant.short_circuit.get());
        let mixing_factor = plant.mixing_factor.get();
        Self { volume: plant.volume, flow: plant.flow, bypass, short_circuit, mixing_factor }
    }
}

fn path(answer: &Answer) -> siltcode::Result<Vec<Point>> {
    let moments = answer.forecast.path(Turnovers::new(chart::end(answer))?, STEPS)?;
    let point = |moment: Moment| Point {
        turnovers: moment.turnovers.get(),
        hours: moment.time.hours(),
        numbers: moment.tank.iter().copied().map(RangeNumber::of).collect(),
        per_ml: moment.tank,
        suction_per_ml: moment.suction,
    };
    Ok(moments.into_iter().map(point).collect())
}
