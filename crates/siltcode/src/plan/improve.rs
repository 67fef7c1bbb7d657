//! Better hours near given ones: with whole elements, the numbers of them are fixed first, and the shortest hours within
//! them are found by a few convex programmes.

use std::collections::HashMap;

use super::balance::Model;
use super::bound::{Line, Relaxed};
use super::effort::Effort;
use super::part::Part;
use super::search::NEAR;

/// A part of the cost that is not worth another round.
const SETTLED: f64 = 1e-9;
/// So many times the hours that just meet the limits meet them with room.
const WITHIN: [f64; 3] = [1.01, 1.1, 1.5];
/// Rounds of straightening around the best hours for one choice of elements.
const ROUNDS: usize = 12;
/// Rounds of trying one element more or fewer of each.
const POLISHING: usize = 4;

/// The best hours found so far, and what looks for better ones.
pub(super) struct Improver<'a> {
    model: &'a Model,
    effort: &'a Effort<'a>,
    hours: Vec<f64>,
    pub(super) cost: f64,
    /// How often hours for a choice of stages and elements were asked for.
    asked: HashMap<(Vec<usize>, Vec<u64>), u32>,
}

impl<'a> Improver<'a> {
    pub(super) fn new(model: &'a Model, effort: &'a Effort<'a>, hours: Vec<f64>, cost: f64) -> Self {
        Self { model, effort, hours, cost, asked: HashMap::new() }
    }

    /// The best hours near these, with as many elements as they take, and with as many as a bound hoped for.
    pub(super) fn straighten(&mut self, used: &[usize], hours: &[f64], hoped: Option<&[f64]>) {
        let model = self.model;
        let all = Part::all(model, used.to_vec(), 2.0 * self.cost / model.hour + 1.0);
        if !model.whole {
            return self.approach(&all, hours);
        }
        let taken = self.taken(&all, hours);
        let hoped = hoped.map(|numbers| numbers.iter().map(|number| (number - NEAR).ceil()).collect());
        for counts in [Some(taken), hoped].into_iter().flatten() {
            self.ask(&all, counts, hours);
        }
    }

    /// The numbers of elements that hours take.
    fn taken(&self, all: &Part, hours: &[f64]) -> Vec<f64> {
        let done = self.model.walk(&all.hours(self.model, hours));
        let elements = all.elements(self.model);
        let caught = elements.map(|(place, e, element)| (element, done[all.used[place]].caught[e]));
        caught.map(|(element, caught)| self.model.count(element, caught)).collect()
    }

    /// The best hours near these with so many elements. From elsewhere another answer may be found: asked for again and
    /// again, it is looked for ever more rarely.
    fn ask(&mut self, all: &Part, counts: Vec<f64>, hours: &[f64]) {
        let key = counts.iter().map(|count| count.to_bits()).collect();
        let asked = self.asked.entry((all.used.clone(), key)).or_insert(0);
        *asked += 1;
        if asked.is_power_of_two() {
            self.approach(&Part { least: counts.clone(), most: counts, ..all.clone() }, hours);
        }
    }

    /// The best hours near these in a part: what is left behind each stage is replaced by its tangent, below it, so that
    /// what is caught is overstated, and every round stays within its elements once one has come there.
    fn approach(&mut self, part: &Part, hours: &[f64]) {
        let (model, mut least) = (self.model, f64::INFINITY);
        let Some(mut now) = self.within(part, hours) else { return };
        for _ in 0..ROUNDS {
            if self.effort.is_stopped() {
                return;
            }
            let relaxed = Relaxed::new(model, part, Line::Tangent(&now), self.cost);
            let solved = relaxed.and_then(|relaxed| relaxed.solve(Some(&now), self.cost, f64::INFINITY));
            let Some((next, _, bound)) = solved else { return };
            self.consider(&part.hours(model, &next));
            if bound >= least * (1.0 - SETTLED) {
                return;
            }
            let Some(next) = self.within(part, &next) else { return };
            (now, least) = (next, bound);
        }
    }

    /// These hours, or longer ones, that meet the limits with room; none where none near them do.
    fn within(&self, part: &Part, hours: &[f64]) -> Option<Vec<f64>> {
        let met = |hours: &[f64]| {
            let done = self.model.walk(&part.hours(self.model, hours));
            done.last().is_some_and(|done| self.model.excess(&done.left) < 1.0)
        };
        if met(hours) {
            return Some(hours.to_vec());
        }
        let mut longer = hours.to_vec();
        let (last, &stage) = part.used.iter().enumerate().next_back()?;
        if let Some(least) = self.model.least_hours(stage, &part.hours(self.model, hours)) {
            longer[last] = least;
        }
        WITHIN.iter().find_map(|times| {
            let tried: Vec<f64> = longer.iter().map(|time| time * times).collect();
            met(&tried).then_some(tried)
        })
    }

    /// Keeps hours that meet the limits and cost less.
    fn consider(&mut self, hours: &[f64]) {
        let mut hours = hours.to_vec();
        let last = (0..hours.len()).rfind(|&stage| hours[stage] > 0.0).unwrap_or(0);
        let Some(enough) = self.model.least_hours(last, &hours) else { return };
        hours[last] = enough;
        let cost = self.model.cost(&hours);
        if cost < self.cost {
            (self.hours, self.cost) = (hours, cost);
        }
    }

    /// The best hours, once one element more or fewer of each was tried, and their cost.
    pub(super) fn polished(mut self) -> (Vec<f64>, f64) {
        for _ in 0..if self.model.whole && self.model.has_sources() { POLISHING } else { 0 } {
            let before = self.cost;
            let used: Vec<usize> = (0..self.hours.len()).filter(|&stage| self.hours[stage] > 0.0).collect();
            let hours: Vec<f64> = used.iter().map(|&stage| self.hours[stage]).collect();
            let all = Part::all(self.model, used, 2.0 * self.cost / self.model.hour + 1.0);
            let taken = self.taken(&all, &hours);
            for k in 0..taken.len() {
                for by in [-1.0, 1.0] {
                    let mut counts = taken.clone();
                    counts[k] = (counts[k] + by).max(1.0);
                    self.ask(&all, counts, &hours);
                }
            }
            if self.cost >= before {
                break;
            }
        }
        (self.hours, self.cost)
    }
}
