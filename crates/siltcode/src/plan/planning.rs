//! A job planned: from its tank, stages and particles to numbers, and from the best schedule back to words.

use super::balance::{Aim, Bin, Catcher, Course, Limit};
use super::effort::Effort;
use super::job::Job;
use super::outcome::{Answer, Booking, OutOfReach, Plan, PlannedElement, PlannedStage};
use super::schedule::{Leg, Problem, Schedule};
use super::stage::Stage;
use crate::count::{PerMl, Reading};
use crate::error::{Error, ErrorKind, Result};
use crate::filter::{Beta, Challenge, Efficiency, Element, Kind, Price};
use crate::mass::{MassAssumptions, MassBin};
use crate::size::Size;
use crate::spectrum::{Channel, Spectrum};
use crate::tank::endpoints::AtSizes;
use crate::tank::forecast::{bands, rates};
use crate::tank::{Forecast, Start};
use crate::units::{Duration, Mass};

impl Job {
    /// The cheapest or quickest plan from where the job says that the tank starts.
    ///
    /// ```
    /// use siltcode::plan::{Aim, Answer, Job};
    ///
    /// let job = Job::from_toml(r#"
    ///     tank = "18 m3"
    ///     start = "22/20/17"
    ///     target = "18/16/13"
    ///     hour_cost = 45
    ///     particles = { density = "2.65 kg/L", largest = "30 um(c)" }
    ///     [[stage]]
    ///     name = "fine"
    ///     flow = "60 L/min"
    ///     [[stage.element]]
    ///     kind = "cartridge"
    ///     beta = "4:3,6:20,14:1000"
    ///     rated_flow = "100 L/min"
    ///     dirt_capacity = "100 g"
    ///     price = 220
    /// "#)?;
    /// let Answer::Plan(plan) = job.plan(Aim::Cheapest)? else { unreachable!() };
    /// assert_eq!(plan.stages[0].time.to_string(), "25.9858 h");
    /// assert_eq!(plan.stages[0].elements[0].number, 5.0); // cartridges to bring
    /// assert!(plan.schedule.is_optimal());
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `job-key-missing` where the job does not say its start; as [`plan_from`](Self::plan_from).
    pub fn plan(&self, aim: Aim) -> Result<Answer> {
        self.plan_from(self.given_start()?, aim)
    }

    /// The start that the job says.
    ///
    /// # Errors
    /// `job-key-missing` where it says none.
    pub fn given_start(&self) -> Result<&Start> {
        self.start.as_ref().ok_or_else(|| missing("start", "the job"))
    }

    /// The cheapest or quickest plan from a start.
    ///
    /// # Errors
    /// `job-key-missing` where the cheapest is asked for and an hour or an element has no price, or an element has no
    /// filtration ratio; those of [`Forecast::new`], [`Problem::best`] and
    /// [`Spectrum::mass`].
    pub fn plan_from(&self, start: &Start, aim: Aim) -> Result<Answer> {
        self.plan_within(start, aim, &Effort::default())
    }

    /// The cheapest or quickest plan from a start that a search of limited effort finds.
    ///
    /// # Errors
    /// As [`plan_from`](Self::plan_from).
    pub fn plan_within(&self, start: &Start, aim: Aim, effort: &Effort<'_>) -> Result<Answer> {
        let forecasts = self.forecasts(start)?;
        let counts = Counts::new(self, start)?;
        let problem = self.problem(&counts, aim)?;
        match problem.best_within(aim, effort)? {
            Some(schedule) => {
                let plan = self.planned(start, &counts, &problem, schedule, &forecasts);
                plan.map(Box::new).map(Answer::Plan)
            }
            None => Ok(Answer::OutOfReach(self.nearest(&counts, &forecasts))),
        }
    }

    /// What each stage would do alone.
    fn forecasts(&self, start: &Start) -> Result<Vec<Forecast>> {
        let dust = Challenge::iso_medium_test_dust();
        let alone = |stage: &Stage| {
            let bins = |sizes: &[Size]| stage.train.bins(sizes, &dust);
            let forecast = Forecast::new(start, &self.target, bins, &self.sources, &self.plant(stage.flow)?);
            forecast.map_err(|error| of_stage(error, stage))
        };
        self.stages.iter().map(alone).collect()
    }

    /// The stage whose floor lies nearest to the target, with what would help.
    fn nearest(&self, counts: &Counts, forecasts: &[Forecast]) -> OutOfReach {
        let over = |forecast: &Forecast| {
            let channels = forecast.channels.iter().map(|c| c.floor.get() / c.target.get());
            channels.fold(0.0, f64::max)
        };
        let nearest =
            (0..forecasts.len()).min_by(|&a, &b| over(&forecasts[a]).total_cmp(&over(&forecasts[b])));
        let nearest = nearest.unwrap_or(0);
        let channel = forecasts[nearest].deciding();
        OutOfReach {
            stage: self.stages[nearest].name.clone(),
            size: channel.size,
            floor: channel.floor,
            target: channel.target,
            remedy: channel.remedy,
            assumptions: self.assumptions(counts, forecasts),
        }
    }

    /// The job in numbers.
    fn problem(&self, counts: &Counts, aim: Aim) -> Result<Problem> {
        let hour_cost = match (self.hour_cost, aim) {
            (Some(cost), _) => cost,
            (None, Aim::Quickest) => Price::new(0.0)?,
            (None, Aim::Cheapest) => return Err(missing("hour_cost", "the job")),
        };
        let masses = self.masses(counts)?;
        let bins = (0..counts.sizes.len()).map(|i| {
            let ([start, ingress_per_hour, shed], mass) = (counts.bins[i], masses[i]);
            Bin { start, mass, ingress_per_hour, shed }
        });
        let limit = |&(size, most): &(Size, PerMl)| {
            Some(Limit { from: counts.sizes.iter().position(|&at| at == size)?, most })
        };
        let course = |stage: &Stage| self.course(stage, &counts.sizes, aim);
        Ok(Problem {
            bins: bins.collect(),
            limits: self.target.limits().iter().filter_map(limit).collect(),
            courses: self.stages.iter().map(course).collect::<Result<_>>()?,
            hour_cost,
        })
    }

    fn course(&self, stage: &Stage, sizes: &[Size], aim: Aim) -> Result<Course> {
        let dust = Challenge::iso_medium_test_dust();
        let (free, at_once) = (Price::new(0.0)?, Duration::from_hours(0.0)?);
        let catcher = |element: &Element| {
            let held_back = match element.rating() {
                Some(rating) => rating.bins(sizes, &dust)?.into_iter().map(Beta::efficiency).collect(),
                None if element.kind() == Kind::EmptyHousing => vec![Efficiency::NONE; sizes.len()],
                None => return Err(missing("beta", &format!("an element of stage `{}`", stage.name))),
            };
            let price = match (element.price(), aim) {
                (None, Aim::Cheapest) if element.kind() != Kind::EmptyHousing => {
                    return Err(missing("price", &format!("an element of stage `{}`", stage.name)));
                }
                (price, _) => price.unwrap_or(free),
            };
            let change_time = element.change_time().unwrap_or(at_once);
            Ok(Catcher { held_back, capacity: element.dirt_capacity(), price, change_time })
        };
        Ok(Course {
            plant: self.plant(stage.flow)?,
            mixing: self.mixing,
            catchers: stage.elements().map(catcher).collect::<Result<_>>()?,
            setup_cost: stage.setup_cost,
            setup_time: stage.setup_time,
        })
    }

    /// What each bin weighs in the whole tank for each particle in a millilitre: the most that is possible.
    fn masses(&self, counts: &Counts) -> Result<Vec<Mass>> {
        let held = self.stages.iter().flat_map(Stage::elements).any(|e| e.dirt_capacity().is_some());
        if !held && self.particles.is_none() {
            return vec![0.0; counts.sizes.len()].into_iter().map(Mass::from_grams).collect();
        }
        let assumed = self.weights(counts)?;
        let weighed = counts.spectrum()?.mass(assumed)?.bins;
        let mass = |(bin, [start, ..]): (&MassBin, &[PerMl; 3])| {
            let most = bin.power.1.mg_per_litre().max(bin.log_log2.1.mg_per_litre());
            let whole = most * self.tank.litres() / 1000.0;
            Mass::from_grams(if start.get() > 0.0 { whole / start.get() } else { 0.0 })
        };
        weighed.iter().zip(&counts.bins).map(mass).collect()
    }

    /// What is assumed of the weight of particles.
    fn weights(&self, counts: &Counts) -> Result<MassAssumptions> {
        match (self.particles, counts.sizes.last()) {
            (Some(assumed), _) => Ok(assumed),
            (None, Some(&largest)) => MassAssumptions::of_test_dust(largest),
            (None, None) => Err(ErrorKind::NothingCounted {}.into()),
        }
    }

    fn planned(
        &self,
        start: &Start,
        counts: &Counts,
        problem: &Problem,
        schedule: Schedule,
        forecasts: &[Forecast],
    ) -> Result<Plan> {
        let used = self.stages.iter().zip(&schedule.legs).filter(|(_, leg)| leg.time.hours() > 0.0);
        let booking = self.booking(start, counts, problem, &schedule)?;
        let stretch = booking.map_or(1.0, Booking::stretch);
        let stages = used.map(|(stage, leg)| self.stage(stage, leg, stretch)).collect::<Result<Vec<_>>>()?;
        let at =
            |size: &Size| self.target.limits().iter().find(|limit| limit.0 == *size).map(|limit| limit.1);
        let priced = self.stages.iter().flat_map(Stage::elements).all(|element| element.price().is_some());
        let mut assumptions = self.assumptions(counts, forecasts);
        if booking.is_none() {
            assumptions.push("nothing was said to be in doubt: the times hold none".into());
        }
        Ok(Plan {
            assumptions,
            stages,
            target: counts.sizes.iter().map(at).collect(),
            sizes: counts.sizes.clone(),
            start: counts.cumulative.clone(),
            time: schedule.time,
            cost: self.hour_cost.filter(|_| priced).map(|_| schedule.cost),
            schedule,
            booking,
        })
    }

    /// What a stage does, with spares for where it runs so many times as long.
    fn stage(&self, stage: &Stage, leg: &Leg, stretch: f64) -> Result<PlannedStage> {
        let places = || stage.elements().zip(&leg.elements);
        let changing =
            places().filter_map(|(element, spent)| Some(spent.number * element.change_time()?.hours()));
        let mut sum = 0.0;
        let left: Result<Vec<PerMl>> = leg
            .left
            .iter()
            .rev()
            .map(|bin| {
                sum += bin.get();
                PerMl::new(sum)
            })
            .collect();
        let mut left = left?;
        left.reverse();
        Ok(PlannedStage {
            name: stage.name.clone(),
            flow: stage.flow,
            time: leg.time,
            turnovers: self.plant(stage.flow)?.turnovers(leg.time)?.get(),
            setup_time: stage.setup_time,
            setup_cost: stage.setup_cost,
            change_time: Duration::from_hours(changing.sum())?,
            elements: places().map(|(element, spent)| PlannedElement::new(element, spent, stretch)).collect(),
            left,
        })
    }

    fn assumptions(&self, counts: &Counts, forecasts: &[Forecast]) -> Vec<String> {
        let mut said: Vec<String> = forecasts[0].assumptions.iter().map(ToString::to_string).collect();
        said.push(
            "elements were rated with ISO medium test dust, and do in service what they did in the test"
                .into(),
        );
        if self.mixing > 1.0 {
            said.push(format!("mixing lengthens every time by a factor of {}", self.mixing));
        }
        let held = self.stages.iter().flat_map(Stage::elements).any(|e| e.dirt_capacity().is_some());
        if let Some(assumed) = self.weights(counts).ok().filter(|_| held || self.particles.is_some()) {
            if self.particles.is_none() {
                said.push(
                    "nothing is said of the particles: they are taken to be spheres of test dust".into(),
                );
            }
            said.push(format!(
                "particles weigh the most that is possible at {} and up to {}; what is smaller than {} is \
                 not weighed",
                assumed.density.1, assumed.largest.1, counts.sizes[0]
            ));
            said.push(
                "dirt capacities are for test dust: soft sludge and water fill an element far sooner".into(),
            );
        }
        for stage in &self.stages {
            if stage.elements().any(|element| element.dirt_capacity().is_none()) {
                said.push(format!(
                    "stage `{}`: where no dirt capacity is given, one element is enough",
                    stage.name
                ));
            }
            if stage.train.overloaded().next().is_some() {
                said.push(format!(
                    "stage `{}` runs above the rated flow of an element: its ratios are not claimed there",
                    stage.name
                ));
            }
        }
        said
    }
}

/// What there is at the start, from the smallest size of the target up.
pub(super) struct Counts {
    pub(super) sizes: Vec<Size>,
    cumulative: Vec<PerMl>,
    /// Of each bin: the start, what comes in each hour, and what is shed.
    bins: Vec<[PerMl; 3]>,
}

impl Counts {
    fn new(job: &Job, start: &Start) -> Result<Self> {
        let smallest = job.target.limits()[0].0.um();
        let first = start.counts().partition_point(|(size, _)| size.um() < smallest);
        let (sizes, cumulative): (Vec<Size>, Vec<PerMl>) = start.counts()[first..].iter().copied().unzip();
        let per_ml = |band: f64| PerMl::new(band);
        let band = |given: &AtSizes| bands(&rates(&start.counts()[first..], given));
        let [starts, ingress, shed] = [start.counts(), job.sources.ingress(), job.sources.shed()].map(band);
        let bin = |i: usize| Ok([per_ml(starts[i])?, per_ml(ingress[i])?, per_ml(shed[i])?]);
        let bins = (0..sizes.len()).map(bin).collect::<Result<_>>()?;
        Ok(Self { sizes, cumulative, bins })
    }

    fn spectrum(&self) -> Result<Spectrum> {
        let channel = |(&size, &per_ml): (&Size, &PerMl)| Channel::new(size, Reading::Count(per_ml));
        Spectrum::cumulative(self.sizes.iter().zip(&self.cumulative).map(channel).collect())
    }
}

/// The same error, with the stage whose ratios it is about.
fn of_stage(error: Error, stage: &Stage) -> Error {
    let named = |size: &str| format!("{size} of stage `{}`", stage.name);
    let kind = match error.kind().clone() {
        ErrorKind::BetasInconsistent { from, to, reason } => {
            ErrorKind::BetasInconsistent { from, to: named(&to), reason }
        }
        ErrorKind::BetaNotRated { size, smallest } => {
            ErrorKind::BetaNotRated { size, smallest: named(&smallest) }
        }
        _ => return error,
    };
    match error.position().cloned() {
        Some(position) => Error::from(kind).at(position),
        None => kind.into(),
    }
}

fn missing(key: &str, place: &str) -> Error {
    ErrorKind::JobKeyMissing { key: key.into(), place: place.into() }.into()
}
