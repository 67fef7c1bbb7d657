//! The mass balance of a plan: what every stage leaves in the tank, what its elements catch, and what that costs.
//!
//! While a stage runs, each bin goes to its floor: `n = n0 exp(-k t) + s (1 - exp(-k t)) / k`, with `k` the efficiency
//! seen from the tank times the turnovers an hour, and `s` what comes in an hour. What the stage caught of it is the
//! rest, `n0 + s t - n`, and elements one behind the other share it out: the first takes `E1` of what reaches the
//! housing, the second `(1 - E1) E2`.

use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::filter::{Efficiency, Price, Share};
use crate::tank::Plant;
use crate::units::{Duration, Mass};

/// The particles between two sizes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// What there is of them at the start.
    pub start: PerMl,
    /// What they weigh in the whole tank, for each one in a millilitre.
    pub mass: Mass,
    /// What comes in, each hour.
    pub ingress_per_hour: PerMl,
    /// What the filter sheds into each millilitre it returns.
    pub shed: PerMl,
}

/// The most there may be in the end of all particles from a bin on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The first of the bins, from 0.
    pub from: usize,
    /// The most there may be.
    pub most: PerMl,
}

/// An element as a plan sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Catcher {
    /// The share of what reaches it that it holds back, bin by bin.
    pub held_back: Vec<Efficiency>,
    /// What it holds; none where that is not known, so that one is taken to be enough.
    pub capacity: Option<Mass>,
    /// What it costs.
    pub price: Price,
    /// How long it takes to put one in.
    pub change_time: Duration,
}

/// A stage as a plan sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// The tank and the flow of the stage.
    pub plant: Plant,
    /// The factor by which mixing lengthens the ideal time \[-\].
    pub mixing: f64,
    /// The elements, in the order of the flow.
    pub catchers: Vec<Catcher>,
    /// What setting up costs, beside the time.
    pub setup_cost: Price,
    /// How long setting up takes.
    pub setup_time: Duration,
}

/// What is to be least.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Aim {
    /// The cost.
    #[default]
    Cheapest,
    /// The time, with setting up and changing elements.
    Quickest,
}

impl Aim {
    /// What the best plan is called: `cheapest` or `quickest`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Cheapest => "cheapest",
            Self::Quickest => "quickest",
        }
    }
}

/// What a plan is made of, in hours, grams and the money of the prices; everything is counted that the aim weighs.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Model {
    /// Of each bin \[1/mL\].
    pub(super) start: Vec<f64>,
    /// Of each bin, in the whole tank \[g for each 1/mL\].
    pub(super) weight: Vec<f64>,
    /// First bin and the most \[1/mL\].
    pub(super) limits: Vec<(usize, f64)>,
    pub(super) stages: Vec<Run>,
    /// What an hour weighs.
    pub(super) hour: f64,
    /// Whether elements are whole ones, and setting up counts.
    pub(super) whole: bool,
}

/// A stage that may be run.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Run {
    /// Of each bin \[1/h\].
    pub(super) rate: Vec<f64>,
    /// What comes in of each bin \[1/(mL h)\].
    pub(super) source: Vec<f64>,
    pub(super) elements: Vec<Filling>,
    /// What using it weighs.
    pub(super) fixed: f64,
}

/// An element that fills up.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Filling {
    /// Its part of what the stage catches, bin by bin \[-\].
    pub(super) part: Vec<f64>,
    /// \[g\]; infinite where one is enough.
    pub(super) capacity: f64,
    /// What one of them weighs.
    pub(super) each: f64,
}

/// What a stage has done.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Done {
    /// Left of each bin \[1/mL\].
    pub(super) left: Vec<f64>,
    /// Caught by each element \[g\].
    pub(super) caught: Vec<f64>,
}

/// A part of an element so small that no other is put in for it.
const ROUNDING: f64 = 1e-9;

impl Course {
    /// The efficiency of each bin seen from the tank, with the part that each element has in it.
    fn efficiencies(&self, bins: usize) -> (Vec<f64>, Vec<Vec<f64>>) {
        let mut parts = vec![vec![0.0; bins]; self.catchers.len()];
        let mut whole = vec![0.0; bins];
        for i in 0..bins {
            let mut through = 1.0;
            for (part, catcher) in parts.iter_mut().zip(&self.catchers) {
                part[i] = through * catcher.held_back[i].get();
                through -= part[i];
            }
            let held_back: f64 = parts.iter().map(|part| part[i]).sum();
            for part in &mut parts {
                part[i] = if held_back > 0.0 { part[i] / held_back } else { 0.0 };
            }
            whole[i] = held_back;
        }
        (whole, parts)
    }

    fn run(&self, bins: &[Bin], hour: f64, money: f64) -> Run {
        let (held_back, parts) = self.efficiencies(bins.len());
        let turnovers = self.plant.turnovers_per_hour() / self.mixing;
        let Plant { bypass, short_circuit, .. } = self.plant;
        let rate = |held_back: &f64| turnovers * seen(*held_back, bypass, short_circuit);
        let source = |(bin, held_back): (&Bin, &f64)| {
            let behind = (1.0 - bypass.get()) * held_back;
            let returned = (1.0 - short_circuit.get()) / (1.0 - short_circuit.get() * (1.0 - behind));
            bin.ingress_per_hour.get() / self.mixing + bin.shed.get() * returned * turnovers
        };
        let filling = |(catcher, part): (&Catcher, Vec<f64>)| Filling {
            part,
            capacity: catcher.capacity.map_or(f64::INFINITY, Mass::grams),
            each: money * catcher.price.get() + hour * catcher.change_time.hours(),
        };
        Run {
            rate: held_back.iter().map(rate).collect(),
            source: bins.iter().zip(&held_back).map(source).collect(),
            elements: self.catchers.iter().zip(parts).map(filling).collect(),
            fixed: money * self.setup_cost.get() + hour * self.setup_time.hours(),
        }
    }
}

/// The efficiency seen from the tank.
fn seen(held_back: f64, bypass: Share, short_circuit: Share) -> f64 {
    let behind = (1.0 - bypass.get()) * held_back;
    behind * (1.0 - short_circuit.get()) / (1.0 - short_circuit.get() * (1.0 - behind))
}

impl Model {
    pub(super) fn new(
        bins: &[Bin],
        limits: &[Limit],
        courses: &[Course],
        hour_cost: Price,
        aim: Aim,
    ) -> Result<Self> {
        for catcher in courses.iter().flat_map(|course| &course.catchers) {
            if catcher.held_back.len() != bins.len() {
                let (input, output) = (bins.len(), catcher.held_back.len());
                return Err(ErrorKind::LengthsDiffer { input, output }.into());
            }
        }
        let (hour, money) = match aim {
            Aim::Cheapest => (hour_cost.get(), 1.0),
            Aim::Quickest => (1.0, 0.0),
        };
        if hour <= 0.0 {
            let (quantity, value) = ("cost of an hour".into(), hour_cost.get().to_string());
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into());
        }
        Ok(Self {
            start: bins.iter().map(|bin| bin.start.get()).collect(),
            weight: bins.iter().map(|bin| bin.mass.grams()).collect(),
            limits: limits.iter().map(|limit| (limit.from, limit.most.get())).collect(),
            stages: courses.iter().map(|course| course.run(bins, hour, money)).collect(),
            hour,
            whole: true,
        })
    }

    /// The same with parts of elements, and nothing for setting up.
    pub(super) fn in_parts(&self) -> Self {
        Self { whole: false, ..self.clone() }
    }

    pub(super) fn has_sources(&self) -> bool {
        self.stages.iter().any(|run| run.source.iter().any(|&source| source > 0.0))
    }

    /// Whether nothing at all may be left where there is something: no time is enough, since what is left only halves.
    pub(super) fn asks_for_nothing_left(&self) -> bool {
        let holds = |from: usize| self.start[from..].iter().any(|&start| start > 0.0);
        self.limits.iter().any(|&(from, most)| most <= 0.0 && holds(from))
    }

    /// What each stage has done after these hours.
    pub(super) fn walk(&self, hours: &[f64]) -> Vec<Done> {
        let mut now = self.start.clone();
        let stage = |(run, &hours): (&Run, &f64)| {
            let left: Vec<f64> = (0..now.len()).map(|i| run.after(i, now[i], hours)).collect();
            let caught = |i: usize| {
                let came = if hours > 0.0 { run.source[i] * hours } else { 0.0 };
                if run.rate[i] > 0.0 { self.weight[i] * (now[i] + came - left[i]).max(0.0) } else { 0.0 }
            };
            let of = |element: &Filling| (0..left.len()).map(|i| element.part[i] * caught(i)).sum();
            let done = Done { caught: run.elements.iter().map(of).collect(), left };
            now.clone_from(&done.left);
            done
        };
        self.stages.iter().zip(hours).map(stage).collect()
    }

    /// Whether what is left meets the limits: the most that any exceeds its limit by, as a factor.
    pub(super) fn excess(&self, left: &[f64]) -> f64 {
        let over = self.limits.iter().map(|&(from, most)| left[from..].iter().sum::<f64>() / most);
        over.fold(0.0, f64::max) // nothing left of what must be nothing is no number, and passed over
    }

    /// What these hours cost.
    pub(super) fn cost(&self, hours: &[f64]) -> f64 {
        let used = |&(i, _): &(usize, Done)| hours[i] > 0.0;
        let done = self.walk(hours).into_iter().enumerate().filter(used);
        let stages = done.map(|(i, done)| {
            let run = &self.stages[i];
            let elements = run.elements.iter().zip(done.caught);
            let elements: f64 =
                elements.map(|(element, caught)| element.each * self.count(element, caught)).sum();
            elements + if self.whole { run.fixed } else { 0.0 }
        });
        stages.sum::<f64>() + self.hour * hours.iter().sum::<f64>()
    }

    /// How many of an element so much dirt takes.
    pub(super) fn count(&self, element: &Filling, caught: f64) -> f64 {
        let full = caught / element.capacity;
        if self.whole { (full - ROUNDING).ceil().max(1.0) } else { full }
    }

    /// The least hours of one stage, after the hours of those before it, that meet the limits by the end of all; none
    /// where no time does.
    pub(super) fn least_hours(&self, stage: usize, hours: &[f64]) -> Option<f64> {
        let mut tried = hours.to_vec();
        let mut over = |time: f64| {
            tried[stage] = time;
            let done = self.walk(&tried);
            done.last().map_or(f64::INFINITY, |done| self.excess(&done.left)) - 1.0
        };
        least_time(&mut over)
    }

    /// The least of equal hours in some stages that meet the limits.
    pub(super) fn equal_hours(&self, used: &[usize]) -> Option<Vec<f64>> {
        let spread = |time: f64| {
            let mut hours = vec![0.0; self.stages.len()];
            for &stage in used {
                hours[stage] = time;
            }
            hours
        };
        let mut over = |time: f64| {
            let done = self.walk(&spread(time));
            done.last().map_or(f64::INFINITY, |done| self.excess(&done.left)) - 1.0
        };
        least_time(&mut over).map(spread)
    }
}

impl Run {
    /// What is left of a bin.
    pub(super) fn after(&self, i: usize, now: f64, hours: f64) -> f64 {
        let (rate, source) = (self.rate[i], self.source[i]);
        let entered = match hours * rate {
            _ if source == 0.0 || hours == 0.0 => 0.0,
            0.0 => source * hours,
            fallen => -source * (-fallen).exp_m1() / rate,
        };
        now * (-hours * rate).exp() + entered
    }
}

/// More hours than anyone can run.
const ENDLESS: f64 = 1e7;

/// Where something comes down to 0, and stays there at the time that is given; none where it does not.
pub(super) fn least_time(over: &mut impl FnMut(f64) -> f64) -> Option<f64> {
    if over(0.0) <= 0.0 {
        return Some(0.0);
    }
    let (mut low, mut high) = (0.0, 1.0);
    while over(high) > 0.0 {
        (low, high) = (high, 2.0 * high);
        if high > ENDLESS {
            return None;
        }
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if over(middle) > 0.0 { low = middle } else { high = middle }
    }
    Some(high)
}
