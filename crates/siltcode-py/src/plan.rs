//! Staged filtration: a job planned, and the same in numbers.

use std::collections::HashMap;
use std::time::Instant;

use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::filter::{Beta, Efficiency, Price};
use siltcode::plan::{
    Aim, Answer, Bin, Booked, Booking, Catcher, CheapStage, Course, Effort, Job, Limit, OutOfReach, Plan,
    PlannedStage, Problem, Schedule, SearchEnd, Spent,
};
use siltcode::tank::Plant;
use siltcode::units::{Duration, Flow, Mass, Volume};
use siltcode::{ErrorKind, PerMl};

use crate::error::Result;
use crate::given::{Given, Plain};
use crate::plain;
use crate::tank::{EndGiven, RemedyParts};

/// A plan in numbers \[h, L/min, g, particles/mL, money\].
#[derive(Serialize)]
pub(crate) struct PlanParts {
    title: String,
    money: Option<String>,
    unverified: bool,
    said: Vec<String>,
    plan: Option<Found>,
    out_of_reach: Option<Blocked>,
    assumptions: Vec<String>,
}

#[derive(Serialize)]
struct Found {
    stages: Vec<StageParts>,
    sizes_um: Vec<f64>,
    start_per_ml: Vec<f64>,
    target_per_ml: Vec<Option<f64>>,
    hours: f64,
    cost: Option<f64>,
    lower_bound: f64,
    gap: f64,
    optimal: bool,
    p50: Option<BookedParts>,
    p90: Option<BookedParts>,
    doubtful: bool,
    conservative_hours: Option<f64>,
    search: SearchEnd,
}

#[derive(Serialize)]
struct BookedParts {
    stretch: f64,
    hours: f64,
}

#[derive(Serialize)]
struct StageParts {
    name: String,
    flow: f64,
    hours: f64,
    turnovers: f64,
    setup_hours: f64,
    setup_cost: f64,
    change_hours: f64,
    elements: Vec<ElementParts>,
    left_per_ml: Vec<f64>,
}

#[derive(Serialize)]
struct ElementParts {
    kind: &'static str,
    number: f64,
    spare: f64,
    caught_g: f64,
    capacity_g: Option<f64>,
    price: Option<f64>,
}

#[derive(Serialize)]
struct Blocked {
    stage: String,
    size_um: f64,
    floor_per_ml: f64,
    target_per_ml: f64,
    remedy: Option<RemedyParts>,
}

/// Numbers of concentrations.
fn numbers(per_ml: &[PerMl]) -> Vec<f64> {
    per_ml.iter().map(|n| n.get()).collect()
}

impl From<Booked> for BookedParts {
    fn from(booked: Booked) -> Self {
        Self { stretch: booked.stretch, hours: booked.time.hours() }
    }
}

impl From<Plan> for Found {
    fn from(plan: Plan) -> Self {
        let booked = |of: fn(Booking) -> Option<Booked>| plan.booking.and_then(of).map(BookedParts::from);
        Self {
            sizes_um: plan.sizes.iter().map(|size| size.um()).collect(),
            start_per_ml: numbers(&plan.start),
            target_per_ml: plan.target.iter().map(|most| most.map(PerMl::get)).collect(),
            hours: plan.time.hours(),
            cost: plan.cost.map(Price::get),
            lower_bound: plan.schedule.lower_bound,
            gap: plan.schedule.gap(),
            optimal: plan.schedule.is_optimal(),
            doubtful: plan.booking.is_some(),
            conservative_hours: plan.booking.and_then(|booking| booking.conservative_by).map(Duration::hours),
            search: plan.schedule.search,
            p50: booked(|booking| booking.p50),
            p90: booked(|booking| booking.p90),
            stages: plan.stages.into_iter().map(StageParts::from).collect(),
        }
    }
}

impl From<PlannedStage> for StageParts {
    fn from(stage: PlannedStage) -> Self {
        let element = |element: &siltcode::plan::PlannedElement| ElementParts {
            kind: element.kind.word(),
            number: element.number,
            spare: element.spare,
            caught_g: element.caught.grams(),
            capacity_g: element.capacity.map(Mass::grams),
            price: element.price.map(Price::get),
        };
        Self {
            flow: stage.flow.l_per_min(),
            hours: stage.time.hours(),
            turnovers: stage.turnovers,
            setup_hours: stage.setup_time.hours(),
            setup_cost: stage.setup_cost.get(),
            change_hours: stage.change_time.hours(),
            elements: stage.elements.iter().map(element).collect(),
            left_per_ml: numbers(&stage.left),
            name: stage.name,
        }
    }
}

impl From<OutOfReach> for Blocked {
    fn from(way: OutOfReach) -> Self {
        Self {
            stage: way.stage,
            size_um: way.size.um(),
            floor_per_ml: way.floor.get(),
            target_per_ml: way.target.get(),
            remedy: way.remedy.map(RemedyParts::from),
        }
    }
}

fn aim(quickest: bool) -> Aim {
    if quickest { Aim::Quickest } else { Aim::Cheapest }
}

/// The plan of a job given as TOML, from its start or another one; `files` has the texts of the files that it names.
#[pyfunction]
#[pyo3(signature = (job, files, start, quickest, search_seconds))]
pub(crate) fn plan(
    py: Python<'_>,
    job: &str,
    files: HashMap<String, String>,
    start: Option<EndGiven>,
    quickest: bool,
    search_seconds: Option<f64>,
) -> Result<Plain<PlanParts>> {
    let known = || files.keys().cloned().collect::<Vec<_>>().join(", ");
    let job = Job::from_toml_with(job, |name| {
        let text = files.get(name).cloned();
        text.ok_or_else(|| ErrorKind::SpecUnknown { name: name.into(), known: known() }.into())
    })?;
    let start = start.map(|start| start.start(0.0)).transpose()?;
    let begun = Instant::now();
    let late = || search_seconds.is_some_and(|most| begun.elapsed().as_secs_f64() >= most);
    let effort = Effort::default().until(&late);
    let answer = py.detach(|| match &start {
        Some(start) => job.plan_within(start, aim(quickest), &effort),
        None => job.plan_within(job.given_start()?, aim(quickest), &effort),
    })?;
    let assumptions = answer.assumptions().to_vec();
    let (plan, out_of_reach) = match answer {
        Answer::Plan(plan) => (Some(Found::from(*plan)), None),
        Answer::OutOfReach(way) => (None, Some(way.into())),
    };
    let unverified = job.target.is_unverified();
    let fluid = job.fluid.as_ref().map(|fluid| fluid.name.clone());
    let target = job.target.specification().map(|spec| spec.name.clone());
    let said = [Some(job.title.clone()), fluid, target].into_iter().flatten().collect();
    Ok(Plain(PlanParts {
        title: job.title,
        money: job.money,
        unverified,
        said,
        plan,
        out_of_reach,
        assumptions,
    }))
}

/// A job in dictionaries and lists as TOML.
#[pyfunction]
pub(crate) fn job_text(job: Bound<'_, PyAny>) -> Result<String> {
    let job: toml::Table = pythonize::depythonize(&job)?;
    Ok(toml::to_string(&job).map_err(|error| ErrorKind::JobUnreadable { message: error.to_string() })?)
}

/// A problem in numbers \[particles/mL, g, L, L/min, h, money\].
#[derive(Deserialize)]
pub(crate) struct ProblemGiven {
    start: Vec<f64>,
    grams: Vec<f64>,
    limits: Vec<(usize, f64)>,
    tank_m3: f64,
    stages: Vec<CourseGiven>,
    hour_cost: f64,
}

#[derive(Deserialize)]
struct CourseGiven {
    flow: f64,
    elements: Vec<CatcherGiven>,
    setup_cost: f64,
    setup_hours: f64,
}

#[derive(Deserialize)]
struct CatcherGiven {
    held_back: Vec<f64>,
    capacity_g: Option<f64>,
    price: f64,
    change_hours: f64,
}

plain::from_plain_values! { ProblemGiven }

fn efficiency(share: f64) -> siltcode::Result<Efficiency> {
    if share == 0.0 { Ok(Efficiency::NONE) } else { Ok(Beta::new(1.0 / (1.0 - share))?.efficiency()) }
}

impl CatcherGiven {
    fn catcher(&self) -> siltcode::Result<Catcher> {
        Ok(Catcher {
            held_back: self.held_back.iter().copied().map(efficiency).collect::<siltcode::Result<_>>()?,
            capacity: self.capacity_g.map(Mass::from_grams).transpose()?,
            price: Price::new(self.price)?,
            change_time: Duration::from_hours(self.change_hours)?,
        })
    }
}

impl ProblemGiven {
    fn problem(&self) -> siltcode::Result<Problem> {
        let none = PerMl::ZERO;
        let bin = |(&start, &grams): (&f64, &f64)| {
            let (start, mass) = (PerMl::new(start)?, Mass::from_grams(grams)?);
            Ok(Bin { start, mass, ingress_per_hour: none, shed: none })
        };
        let course = |stage: &CourseGiven| {
            Ok(Course {
                plant: Plant::new(Volume::from_m3(self.tank_m3)?, Flow::from_l_per_min(stage.flow)?)?,
                mixing: 1.0,
                catchers: stage
                    .elements
                    .iter()
                    .map(CatcherGiven::catcher)
                    .collect::<siltcode::Result<_>>()?,
                setup_cost: Price::new(stage.setup_cost)?,
                setup_time: Duration::from_hours(stage.setup_hours)?,
            })
        };
        let limit = |&(from, most): &(usize, f64)| Ok(Limit { from, most: PerMl::new(most)? });
        Ok(Problem {
            bins: self.start.iter().zip(&self.grams).map(bin).collect::<siltcode::Result<_>>()?,
            limits: self.limits.iter().map(limit).collect::<siltcode::Result<_>>()?,
            courses: self.stages.iter().map(course).collect::<siltcode::Result<_>>()?,
            hour_cost: Price::new(self.hour_cost)?,
        })
    }
}

#[derive(Serialize)]
pub(crate) struct ScheduleParts {
    hours: Vec<f64>,
    elements: Vec<Vec<f64>>,
    caught_g: Vec<Vec<f64>>,
    left_per_ml: Vec<Vec<f64>>,
    total_hours: f64,
    cost: f64,
    lower_bound: f64,
    optimal: bool,
}

impl From<Schedule> for ScheduleParts {
    fn from(schedule: Schedule) -> Self {
        let (optimal, legs) = (schedule.is_optimal(), &schedule.legs);
        let each = |of: fn(&Spent) -> f64| -> Vec<Vec<f64>> {
            legs.iter().map(|leg| leg.elements.iter().map(of).collect()).collect()
        };
        Self {
            hours: legs.iter().map(|leg| leg.time.hours()).collect(),
            elements: each(|spent| spent.number),
            caught_g: each(|spent| spent.caught.grams()),
            left_per_ml: legs.iter().map(|leg| numbers(&leg.left)).collect(),
            total_hours: schedule.time.hours(),
            cost: schedule.cost.get(),
            lower_bound: schedule.lower_bound,
            optimal,
        }
    }
}

/// The best schedule of a problem; none where its limits cannot be met.
#[pyfunction]
pub(crate) fn schedule(
    py: Python<'_>,
    problem: ProblemGiven,
    quickest: bool,
    in_parts: bool,
) -> Result<Plain<Option<ScheduleParts>>> {
    let problem = problem.problem()?;
    let found =
        py.detach(|| if in_parts { problem.cheapest_in_parts() } else { problem.best(aim(quickest)) })?;
    Ok(Plain(found.map(ScheduleParts::from)))
}

/// What each gram saves, how long a cheap stage pays, and the dirt that is left then \[money/g, h, g\].
#[pyfunction]
pub(crate) fn break_even(
    tank_m3: f64,
    flow: Given<Flow>,
    held_back: f64,
    dirt_g: f64,
    cheap: (f64, f64),
    dear: (f64, f64),
    hour_cost: f64,
) -> Result<(f64, f64, f64)> {
    let element = |(price, grams)| Ok::<_, siltcode::Error>((Price::new(price)?, Mass::from_grams(grams)?));
    let stage = CheapStage {
        plant: Plant::new(Volume::from_m3(tank_m3)?, flow.0)?,
        held_back: efficiency(held_back)?,
        dirt: Mass::from_grams(dirt_g)?,
        cheap: element(cheap)?,
        dear: element(dear)?,
        hour_cost: Price::new(hour_cost)?,
    };
    let until = stage.break_even()?;
    Ok((until.saving_per_gram, until.time.hours(), until.dirt_left.grams()))
}
