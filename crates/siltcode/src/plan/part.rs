//! A part of all plans: which stages are used, between which hours, with how many elements.

use super::balance::{Filling, Model};

/// Tangents for the least hours that meet a limit, and the part of it that counts as none.
const TANGENTS: usize = 60;
const MET: f64 = 1e-12;
/// Which stages are used, between which hours, with how many elements.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub(super) used: Vec<usize>,
    /// Hours of the used stages.
    pub(super) low: Vec<f64>,
    pub(super) high: Vec<f64>,
    /// Of every element of the used stages, in order.
    pub(super) least: Vec<f64>,
    pub(super) most: Vec<f64>,
    /// The least that is left behind each stage of what came in, the start first, bin by bin.
    pub(super) entered: Vec<Vec<f64>>,
    pub(super) bound: f64,
}

impl Part {
    /// All plans with these stages and no more hours than this in each.
    pub(super) fn all(model: &Model, used: Vec<usize>, high: f64) -> Self {
        let count = used.len();
        let elements: usize = used.iter().map(|&stage| model.stages[stage].elements.len()).sum();
        let least = if model.whole { 1.0 } else { 0.0 };
        Self {
            used,
            low: vec![0.0; count],
            high: vec![high; count],
            least: vec![least; elements],
            most: vec![f64::INFINITY; elements],
            entered: vec![vec![0.0; model.start.len()]; count + 1],
            bound: f64::NEG_INFINITY,
        }
    }

    /// The part with all plans of these stages below a cost; none where their hours cannot meet the limits.
    pub(super) fn root(model: &Model, used: &[usize], below: f64) -> Option<Self> {
        let (hours, entered) = model.least_total(used)?;
        let mut part = Self::all(model, used.to_vec(), below / model.hour);
        *part.entered.last_mut()? = entered;
        part.bound = part.floor(model) + model.hour * hours;
        Some(part)
    }

    /// The least that the limits may be exceeded by, as a factor, of what is left of the start and what came in.
    pub(super) fn excess(&self, model: &Model, hours: &[f64]) -> f64 {
        let left = |bin: usize| {
            let each =
                self.used.iter().zip(hours).map(|(&stage, hours)| model.stages[stage].rate[bin] * hours);
            model.start[bin] * (-each.sum::<f64>()).exp() + self.entered[self.used.len()][bin]
        };
        let left: Vec<f64> = (0..model.start.len()).map(left).collect();
        model.excess(&left)
    }

    /// The elements of the used stages: place in `used`, place in the stage, and the element.
    pub(super) fn elements<'a>(
        &'a self,
        model: &'a Model,
    ) -> impl Iterator<Item = (usize, usize, &'a Filling)> {
        let of = |(place, &stage): (usize, &usize)| {
            let elements = model.stages[stage].elements.iter().enumerate();
            elements.map(move |(e, element)| (place, e, element)).collect::<Vec<_>>()
        };
        self.used.iter().enumerate().flat_map(of)
    }

    /// Hours of the used stages as hours of all.
    pub(super) fn hours(&self, model: &Model, of_used: &[f64]) -> Vec<f64> {
        let mut hours = vec![0.0; model.stages.len()];
        self.used.iter().zip(of_used).for_each(|(&stage, &time)| hours[stage] = time);
        hours
    }

    /// Drops what no plan below a cost can have; false where nothing is left.
    pub(super) fn tighten(&mut self, model: &Model, below: f64) -> bool {
        if !self.narrow_elements(model) || !self.narrow_hours(model, below) {
            return false;
        }
        if model.has_sources() {
            let between = model.entered_between(&self.used, &self.low, &self.high);
            for (least, found) in self.entered.iter_mut().zip(between) {
                least.iter_mut().zip(found).for_each(|(least, found)| *least = least.max(found));
            }
        }
        true
    }

    /// No element catches less than in the shortest run of its stage after the longest of those before.
    fn narrow_elements(&mut self, model: &Model) -> bool {
        if !model.whole {
            return true;
        }
        let mut caught = Vec::new();
        for place in 0..self.used.len() {
            let mut hours = self.high.clone();
            hours[place] = self.low[place];
            let done = &model.walk(&self.hours(model, &hours))[self.used[place]];
            caught.extend_from_slice(&done.caught);
        }
        let counts: Vec<f64> =
            self.elements(model).zip(caught).map(|((_, _, e), g)| model.count(e, g)).collect();
        self.least.iter_mut().zip(counts).for_each(|(least, count)| *least = least.max(count));
        self.least.iter().zip(&self.most).all(|(least, most)| least <= most)
    }

    fn narrow_hours(&mut self, model: &Model, below: f64) -> bool {
        let spare = (below - self.floor(model)) / model.hour;
        for place in 0..self.used.len() {
            self.high[place] = self.high[place].min(self.low[place] + spare);
        }
        if spare < 0.0 {
            return false;
        }
        for place in 0..self.used.len() {
            let Some(least) = self.least_hours(model, place) else { return false };
            self.low[place] = self.low[place].max(least * (1.0 - 1e-12));
        }
        self.low.iter().zip(&self.high).all(|(low, high)| low <= high)
    }

    /// The least hours of a stage where all others run their longest; none where the longest are too short. What is over a
    /// limit falls ever more slowly, so that a tangent meets 0 too early: every step is a bound.
    fn least_hours(&self, model: &Model, place: usize) -> Option<f64> {
        let rate = &model.stages[self.used[place]].rate;
        let others = |bin: usize| -> f64 {
            let each = self.used.iter().zip(&self.high).enumerate().filter(|(at, _)| *at != place);
            each.map(|(_, (&stage, hours))| model.stages[stage].rate[bin] * hours).sum()
        };
        let start = |bin: usize| model.start[bin] * (-others(bin)).exp();
        let start: Vec<f64> = (0..model.start.len()).map(start).collect();
        let entered = &self.entered[self.used.len()];
        let mut hours = self.low[place];
        for &(from, most) in &model.limits {
            for _ in 0..TANGENTS {
                let (mut over, mut slope) = (-most, 0.0);
                for bin in from..start.len() {
                    let left = start[bin] * (-rate[bin] * hours).exp();
                    over += left + entered[bin];
                    slope += rate[bin] * left;
                }
                if over <= MET * most {
                    break;
                }
                hours += over / slope;
                if hours.is_nan() || hours > self.high[place] {
                    return None;
                }
            }
        }
        Some(hours)
    }

    /// What every plan in it costs at least, without looking closer.
    pub(super) fn floor(&self, model: &Model) -> f64 {
        let elements: f64 =
            self.elements(model).zip(&self.least).map(|((_, _, e), least)| e.each * least).sum();
        let fixed: f64 = self.used.iter().map(|&stage| model.stages[stage].fixed).sum();
        let fixed = if model.whole { fixed } else { 0.0 };
        model.hour * self.low.iter().sum::<f64>() + elements + fixed
    }
}
