//! What `siltcode plan` says as JSON, schema `siltcode.plan/1`.

use serde::Serialize;
use siltcode::caution::{self, JobCaution};
use siltcode::filter::Price;
use siltcode::plan::{Answer, Booked, Booking, OutOfReach, Plan, PlannedElement, PlannedStage, SearchEnd};
use siltcode::provenance::Provenance;
use siltcode::tank::Remedy;
use siltcode::units::{Duration, Mass};
use siltcode::{PerMl, tables};

use super::{Args, Planned};

/// The document. Hours, L/min, grams, particles/mL, and money as the job counts it.
#[derive(Serialize)]
pub(super) struct Document<'a> {
    schema: &'static str,
    request: &'a Args,
    title: &'a str,
    money: Option<&'a str>,
    aim: &'static str,
    reachable: bool,
    target_unverified: bool,
    plan: Option<Found<'a>>,
    out_of_reach: Option<Blocked<'a>>,
    assumptions: Vec<&'a str>,
    cautions: Vec<JobCaution>,
    deference: &'static str,
    provenance: Provenance,
}

#[derive(Serialize)]
struct Found<'a> {
    hours: f64,
    cost: Option<Price>,
    lower_bound: f64,
    gap: f64,
    optimal: bool,
    search: SearchEnd,
    doubt_stated: bool,
    p50: Option<Lengthened>,
    p90: Option<Lengthened>,
    p90_conservative_by_hours: Option<f64>,
    sizes_um_c: Vec<f64>,
    start_per_ml: &'a [PerMl],
    target_per_ml: &'a [Option<PerMl>],
    stages: Vec<Stage<'a>>,
}

/// By what to lengthen every stage, and how long all takes then.
#[derive(Serialize)]
struct Lengthened {
    stretch: f64,
    hours: f64,
}

#[derive(Serialize)]
struct Stage<'a> {
    name: &'a str,
    flow_l_per_min: f64,
    setup_hours: f64,
    setup_cost: Price,
    change_hours: f64,
    hours: f64,
    turnovers: f64,
    elements: Vec<Element>,
    left_per_ml: &'a [PerMl],
}

#[derive(Serialize)]
struct Element {
    kind: &'static str,
    number: f64,
    spare: f64,
    caught_g: f64,
    capacity_g: Option<f64>,
    price: Option<Price>,
}

#[derive(Serialize)]
struct Blocked<'a> {
    stage: &'a str,
    size_um_c: f64,
    floor_per_ml: PerMl,
    target_per_ml: PerMl,
    remedy: Option<&'a Remedy>,
}

impl<'a> Document<'a> {
    pub(super) fn new(args: &'a Args, planned: &'a Planned) -> Self {
        let (plan, way) = match &planned.answer {
            Answer::Plan(plan) => (Some(plan.as_ref()), None),
            Answer::OutOfReach(way) => (None, Some(way)),
        };
        Self {
            schema: "siltcode.plan/1",
            request: args,
            title: &planned.job.title,
            money: planned.job.money.as_deref(),
            aim: planned.aim.word(),
            reachable: plan.is_some(),
            target_unverified: planned.job.target.is_unverified(),
            plan: plan.map(Found::from),
            out_of_reach: way.map(Blocked::from),
            assumptions: planned
                .answer
                .assumptions()
                .iter()
                .chain(&planned.guessed)
                .map(String::as_str)
                .collect(),
            cautions: caution::of_job(&planned.said()),
            deference: caution::DEFERENCE,
            provenance: Provenance::new(
                &[&tables::ISO4406, &tables::ISO_MEDIUM_TEST_DUST, &tables::UNITS, &tables::CAUTIONS],
                planned.inputs.clone(),
            )
            .held_against(planned.job.target.specification().cloned()),
        }
    }
}

impl From<Booked> for Lengthened {
    fn from(booked: Booked) -> Self {
        Self { stretch: booked.stretch, hours: booked.time.hours() }
    }
}

impl<'a> From<&'a Plan> for Found<'a> {
    fn from(plan: &'a Plan) -> Self {
        let booked = |of: fn(Booking) -> Option<Booked>| plan.booking.and_then(of).map(Lengthened::from);
        Self {
            hours: plan.time.hours(),
            cost: plan.cost,
            lower_bound: plan.schedule.lower_bound,
            gap: plan.schedule.gap(),
            optimal: plan.schedule.is_optimal(),
            search: plan.schedule.search,
            doubt_stated: plan.booking.is_some(),
            p50: booked(|booking| booking.p50),
            p90: booked(|booking| booking.p90),
            p90_conservative_by_hours: plan
                .booking
                .and_then(|booking| booking.conservative_by)
                .map(Duration::hours),
            sizes_um_c: plan.sizes.iter().map(|size| size.um()).collect(),
            start_per_ml: &plan.start,
            target_per_ml: &plan.target,
            stages: plan.stages.iter().map(Stage::from).collect(),
        }
    }
}

impl<'a> From<&'a PlannedStage> for Stage<'a> {
    fn from(stage: &'a PlannedStage) -> Self {
        Self {
            name: &stage.name,
            flow_l_per_min: stage.flow.l_per_min(),
            setup_hours: stage.setup_time.hours(),
            setup_cost: stage.setup_cost,
            change_hours: stage.change_time.hours(),
            hours: stage.time.hours(),
            turnovers: stage.turnovers,
            elements: stage.elements.iter().map(Element::from).collect(),
            left_per_ml: &stage.left,
        }
    }
}

impl From<&PlannedElement> for Element {
    fn from(element: &PlannedElement) -> Self {
        Self {
            kind: element.kind.word(),
            number: element.number,
            spare: element.spare,
            caught_g: element.caught.grams(),
            capacity_g: element.capacity.map(Mass::grams),
            price: element.price,
        }
    }
}

impl<'a> From<&'a OutOfReach> for Blocked<'a> {
    fn from(way: &'a OutOfReach) -> Self {
        Self {
            stage: &way.stage,
            size_um_c: way.size.um(),
            floor_per_ml: way.floor,
            target_per_ml: way.target,
            remedy: way.remedy.as_ref(),
        }
    }
}
