//! What comes of planning: what goes in when, for how long, and how sure it is; or what stands in the way.

use serde::Serialize;

use super::schedule::{Schedule, Spent};
use crate::count::PerMl;
use crate::error::Result;
use crate::filter::{Element, Kind, Price};
use crate::size::Size;
use crate::tank::Remedy;
use crate::units::{Duration, Flow, Mass};

/// What comes of planning.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// A plan.
    Plan(Box<Plan>),
    /// No stages and no time meet the target.
    OutOfReach(OutOfReach),
}

impl Answer {
    /// What was taken for granted.
    #[must_use]
    pub fn assumptions(&self) -> &[String] {
        match self {
            Self::Plan(plan) => &plan.assumptions,
            Self::OutOfReach(way) => &way.assumptions,
        }
    }
}

/// What stands in the way of the stage that comes nearest to the target.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutOfReach {
    /// The stage.
    pub stage: String,
    /// The size that decides.
    pub size: Size,
    /// What no time goes below there with that stage.
    pub floor: PerMl,
    /// The target there.
    pub target: PerMl,
    /// What would make it reachable with that stage.
    pub remedy: Option<Remedy>,
    /// What was taken for granted.
    pub assumptions: Vec<String>,
}

/// The cheapest or quickest plan found.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The stages that are used, in order.
    pub stages: Vec<PlannedStage>,
    /// The sizes at and above which particles are counted.
    pub sizes: Vec<Size>,
    /// What there is at those sizes in the beginning.
    pub start: Vec<PerMl>,
    /// The most there may be in the end, where the target says.
    pub target: Vec<Option<PerMl>>,
    /// All of the time, with setting up and changing elements.
    pub time: Duration,
    /// All of the cost; none where an hour or an element has no price.
    pub cost: Option<Price>,
    /// The plan in numbers, with its bound.
    pub schedule: Schedule,
    /// How long to book where something is in doubt.
    pub booking: Option<Booking>,
    /// What was taken for granted.
    pub assumptions: Vec<String>,
}

/// What one stage of a plan does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlannedStage {
    /// What it is called.
    pub name: String,
    /// The flow.
    pub flow: Flow,
    /// How long the tank is circulated through it.
    pub time: Duration,
    /// The turnovers in that time \[-\].
    pub turnovers: f64,
    /// How long setting up takes.
    pub setup_time: Duration,
    /// What setting up costs, beside the time.
    pub setup_cost: Price,
    /// How long putting in all of its elements takes.
    pub change_time: Duration,
    /// The elements, in the order of the flow.
    pub elements: Vec<PlannedElement>,
    /// What it leaves at and above each size.
    pub left: Vec<PerMl>,
}

/// The elements of one place in a stage.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PlannedElement {
    /// What they are.
    pub kind: Kind,
    /// How many are used up: so many to bring.
    pub number: f64,
    /// How many more to bring, since those may be full before the end: they are nearly so, or would be if every stage
    /// ran as long as is enough in 90 % of all cases. They are in no cost.
    pub spare: f64,
    /// What they catch together.
    pub caught: Mass,
    /// What one of them holds; none where that is not known.
    pub capacity: Option<Mass>,
    /// What one of them costs.
    pub price: Option<Price>,
}

/// How long to book so that it is enough with a probability; none where no time is, because the target may be out of
/// reach more often than that leaves room for.
///
/// The doubt is that of one filter that does on average, through all the time, what the stages do one after the other.
/// Of the filtration ratio that is the safe side: stages that share one error of their ratios lose less by it. By how much
/// it is, is said. Where the stages followed by themselves need longer, they count.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Booking {
    /// Enough in half of all cases.
    pub p50: Option<Booked>,
    /// Enough in 90 % of all cases.
    pub p90: Option<Booked>,
    /// By how much the time of `p90` is longer than it need be: with each stage followed by itself and one error of all
    /// ratios, so much less is enough in 90 % of all cases; none where no time is.
    pub conservative_by: Option<Duration>,
}

/// How long every stage is to run, and all of it takes then.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Booked {
    /// By what to lengthen every stage \[-\].
    pub stretch: f64,
    /// All of the time, with setting up and changing elements, which stay as they are.
    pub time: Duration,
}

/// The part of an element that is filled without a thought of a spare \[-\].
const NEARLY_FULL: f64 = 0.95;

impl PlannedElement {
    /// Elements of a place as they are used up, with their spares where every stage runs so many times as long. In a
    /// longer run they catch more, though never more than in proportion.
    pub(super) fn new(element: &Element, spent: &Spent, stretch: f64) -> Self {
        let capacity = element.dirt_capacity();
        let full = capacity.map_or(0.0, |capacity| spent.caught.grams() / capacity.grams());
        Self {
            kind: element.kind(),
            number: spent.number,
            spare: ((full * stretch / NEARLY_FULL).ceil() - spent.number).max(0.0),
            caught: spent.caught,
            capacity,
            price: element.price(),
        }
    }

    /// The part of what they can hold that they hold in the end \[-\]; none where that is not known.
    #[must_use]
    pub fn filled(&self) -> Option<f64> {
        self.capacity.map(|capacity| self.caught.grams() / (self.number * capacity.grams()))
    }

    /// What they cost together; none where they have no price.
    #[must_use]
    pub fn cost(&self) -> Option<f64> {
        self.price.map(|price| self.number * price.get())
    }
}

impl Booking {
    /// By what every stage is longer where it is to be enough in 90 % of all cases; 1 where nothing is longer.
    pub(super) fn stretch(self) -> f64 {
        self.p90.map_or(1.0, |booked| booked.stretch.max(1.0))
    }
}

impl Booked {
    /// What a schedule takes where every stage runs so many times as long.
    pub(super) fn new(schedule: &Schedule, stretch: f64) -> Result<Self> {
        let running: f64 = schedule.legs.iter().map(|leg| leg.time.hours()).sum();
        let time = Duration::from_hours(schedule.time.hours() + (stretch - 1.0) * running)?;
        Ok(Self { stretch, time })
    }
}
