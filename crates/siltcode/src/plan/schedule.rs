//! The best plan for bins and stages described in numbers: [`Problem`] to [`Schedule`].

use super::balance::{Aim, Bin, Course, Limit, Model};
use super::effort::{Effort, SearchEnd};
use super::search::{Found, OPTIMAL, best};
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::filter::Price;
use crate::units::{Duration, Mass};

/// What is in a tank, how little may be left, and the stages that may be used, in order.
///
/// ```
/// use siltcode::PerMl;
/// use siltcode::filter::{Beta, Price};
/// use siltcode::plan::{Aim, Bin, Catcher, Course, Limit, Problem};
/// use siltcode::tank::Plant;
/// use siltcode::units::{Duration, Flow, Mass, Volume};
///
/// let none = PerMl::ZERO;
/// let bin = Bin { start: PerMl::new(8000.0)?, mass: Mass::from_grams(0.05)?, ingress_per_hour: none, shed: none };
/// let hours = Duration::from_hours;
/// let stage = |flow: f64, beta: f64, grams: f64, price: f64| {
///     let catcher = Catcher {
///         held_back: vec![Beta::new(beta)?.efficiency()],
///         capacity: Some(Mass::from_grams(grams)?),
///         price: Price::new(price)?,
///         change_time: hours(0.1)?,
///     };
///     let plant = Plant::new(Volume::from_m3(18.0)?, Flow::from_l_per_min(flow)?)?;
///     let (setup_cost, setup_time) = (Price::new(0.0)?, hours(0.5)?);
///     Ok::<_, siltcode::Error>(Course { plant, mixing: 1.0, catchers: vec![catcher], setup_cost, setup_time })
/// };
/// let problem = Problem {
///     bins: vec![bin],
///     limits: vec![Limit { from: 0, most: PerMl::new(500.0)? }],
///     courses: vec![stage(120.0, 2.0, 500.0, 12.0)?, stage(60.0, 200.0, 80.0, 220.0)?],
///     hour_cost: Price::new(40.0)?,
/// };
/// let schedule = problem.best(Aim::Cheapest)?.unwrap();
/// assert!(schedule.is_optimal());
/// assert_eq!(schedule.legs[0].elements[0].number, 1.0);
/// assert_eq!(schedule.legs[1].time.hours(), 0.0); // one bin, and the bag has the flow: the fine stage is not used
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// What is in the tank, smallest particles first.
    pub bins: Vec<Bin>,
    /// How little must be left.
    pub limits: Vec<Limit>,
    /// The stages, in order; at most [`Problem::MOST_STAGES`].
    pub courses: Vec<Course>,
    /// What an hour costs: running, setting up and changing elements alike.
    pub hour_cost: Price,
}

/// A plan, stage by stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// Every stage in order; those that are not used have no time and no elements.
    pub legs: Vec<Leg>,
    /// All of the time, with setting up and changing elements.
    pub time: Duration,
    /// All of the cost.
    pub cost: Price,
    /// What was to be least.
    pub aim: Aim,
    /// What no plan goes below: money for the cheapest, hours for the quickest.
    pub lower_bound: f64,
    /// How the search for it ended.
    pub search: SearchEnd,
    least: f64,
}

/// What one stage does.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// How long the tank is circulated through it.
    pub time: Duration,
    /// Its elements, in the order of the flow.
    pub elements: Vec<Spent>,
    /// What it leaves in the tank, bin by bin.
    pub left: Vec<PerMl>,
}

/// The elements of one place in a stage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spent {
    /// How many are used up \[-\]: whole ones, unless parts were asked for.
    pub number: f64,
    /// What they hold together.
    pub caught: Mass,
}

impl Problem {
    /// More stages than this have too many choices to weigh them all.
    pub const MOST_STAGES: usize = 8;

    /// The cheapest or the quickest plan with whole elements; none where the limits cannot be met.
    ///
    /// # Errors
    /// `lengths-differ` unless every element has an efficiency for each bin; `quantity-out-of-range` unless an hour
    /// costs something where cost is to be least, and there are at most [`MOST_STAGES`](Self::MOST_STAGES) stages.
    pub fn best(&self, aim: Aim) -> Result<Option<Schedule>> {
        self.best_within(aim, &Effort::default())
    }

    /// The best plan that a search of limited effort finds; none where the limits cannot be met.
    ///
    /// # Errors
    /// As [`best`](Self::best).
    pub fn best_within(&self, aim: Aim, effort: &Effort<'_>) -> Result<Option<Schedule>> {
        self.solved(&self.model(aim)?, aim, effort)
    }

    /// The cheapest plan if a part of an element cost that part of its price, and setting up nothing. No real plan is
    /// cheaper.
    ///
    /// # Errors
    /// As [`best`](Self::best).
    pub fn cheapest_in_parts(&self) -> Result<Option<Schedule>> {
        self.solved(&self.model(Aim::Cheapest)?.in_parts(), Aim::Cheapest, &Effort::default())
    }

    fn model(&self, aim: Aim) -> Result<Model> {
        if self.courses.len() > Self::MOST_STAGES {
            let (quantity, value) = ("number of stages".into(), self.courses.len().to_string());
            let range = format!("{} or fewer", Self::MOST_STAGES);
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range }.into());
        }
        Model::new(&self.bins, &self.limits, &self.courses, self.hour_cost, aim)
    }

    fn solved(&self, model: &Model, aim: Aim, effort: &Effort<'_>) -> Result<Option<Schedule>> {
        if model.asks_for_nothing_left() {
            return Ok(None);
        }
        best(model, effort).map(|found| self.schedule(model, &found, aim)).transpose()
    }

    fn schedule(&self, model: &Model, found: &Found, aim: Aim) -> Result<Schedule> {
        let (mut legs, mut hours, mut money) = (Vec::new(), 0.0, 0.0);
        for ((run, course), (&time, done)) in
            model.stages.iter().zip(&self.courses).zip(found.hours.iter().zip(model.walk(&found.hours)))
        {
            let used = time > 0.0;
            let mut elements = Vec::new();
            for ((filling, catcher), caught) in run.elements.iter().zip(&course.catchers).zip(done.caught) {
                let number = if used { model.count(filling, caught) } else { 0.0 };
                hours += number * catcher.change_time.hours();
                money += number * catcher.price.get();
                elements.push(Spent { number, caught: Mass::from_grams(caught)? });
            }
            hours += time;
            if used && model.whole {
                hours += course.setup_time.hours();
                money += course.setup_cost.get();
            }
            let left = done.left.into_iter().map(PerMl::new).collect::<Result<_>>()?;
            legs.push(Leg { time: Duration::from_hours(time)?, elements, left });
        }
        let cost = Price::new(money + hours * self.hour_cost.get())?;
        let (time, lower_bound, least) = (Duration::from_hours(hours)?, found.bound, found.cost);
        Ok(Schedule { legs, time, cost, aim, lower_bound, search: found.end, least })
    }
}

impl Schedule {
    /// What was to be least: the cost, or the hours.
    #[must_use]
    pub const fn least(&self) -> f64 {
        self.least
    }

    /// How far it may lie above the best there is, as a part of it \[-\].
    #[must_use]
    pub fn gap(&self) -> f64 {
        if self.least > 0.0 { (1.0 - self.lower_bound / self.least).max(0.0) } else { 0.0 }
    }

    /// Whether it is proven that no plan is better by more than a millionth.
    #[must_use]
    pub fn is_optimal(&self) -> bool {
        self.gap() <= OPTIMAL * 1.001
    }
}
