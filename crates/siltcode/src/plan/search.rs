//! The search for the least cost: parts of all plans are bounded from below, the most promising is looked into and split,
//! until none is left that could hold a better plan than the best one found.

use super::balance::Model;
use super::bound::{Line, Relaxed};
use super::effort::{Effort, SearchEnd};
use super::improve::Improver;
use super::part::Part;

/// The best hours found, what they cost, a bound that no plan goes below, and how the search ended.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    pub(super) hours: Vec<f64>,
    pub(super) cost: f64,
    pub(super) bound: f64,
    pub(super) end: SearchEnd,
}

/// The part of the cost that a plan may lie above its bound and count as the best.
pub(super) const OPTIMAL: f64 = 1e-6;

/// A number so near to a whole one that it is one.
pub(super) const NEAR: f64 = 1e-7;
/// A width of hours, as a part of them, that is not worth parting.
const TINY: f64 = 1e-10;
/// Choices of stages that are improved before the search begins, the cheapest first.
const FIRST: usize = 6;

struct Search<'a> {
    model: &'a Model,
    effort: &'a Effort<'a>,
    improver: Improver<'a>,
    open: Vec<Part>,
    /// The least bound of what was closed.
    closed: f64,
}

/// The best plan; none where no hours were found that meet the limits.
pub(super) fn best(model: &Model, effort: &Effort<'_>) -> Option<Found> {
    if model.excess(&model.start) <= 1.0 {
        let hours = vec![0.0; model.stages.len()];
        return Some(Found { hours, cost: 0.0, bound: 0.0, end: SearchEnd::Complete });
    }
    let equal = |used: Vec<usize>| Some((model.equal_hours(&used)?, used));
    let mut starts: Vec<_> =
        choices(model).filter_map(equal).map(|(h, used)| (model.cost(&h), h, used)).collect();
    starts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (cost, hours, _) = starts.first()?;
    let mut improver = Improver::new(model, effort, hours.clone(), *cost);
    for (_, hours, used) in starts.iter().take(FIRST) {
        improver.straighten(used, &used.iter().map(|&stage| hours[stage]).collect::<Vec<_>>(), None);
    }
    let mut search = Search { model, effort, improver, open: Vec::new(), closed: f64::INFINITY };
    for used in choices(model) {
        if let Some(part) = Part::root(model, &used, search.improver.cost) {
            search.look(part);
        }
    }
    Some(search.run())
}

/// All choices of stages, the shortest times first where they come to the same.
fn choices(model: &Model) -> impl Iterator<Item = Vec<usize>> {
    let stages = model.stages.len();
    (1_u32..1 << stages).map(move |choice| (0..stages).filter(|i| choice >> i & 1 == 1).collect())
}

impl Search<'_> {
    fn run(mut self) -> Found {
        let mut end = SearchEnd::PartsUsed;
        for _ in 0..self.effort.most_parts() {
            let next =
                (0..self.open.len()).min_by(|&a, &b| self.open[a].bound.total_cmp(&self.open[b].bound));
            let Some(next) = next.filter(|&next| self.open[next].bound < self.enough()) else {
                end = SearchEnd::Complete;
                break;
            };
            if self.effort.is_stopped() {
                end = SearchEnd::Stopped;
                break;
            }
            let part = self.open.swap_remove(next);
            self.split(part);
        }
        let (hours, cost) = self.improver.polished();
        let open = self.open.iter().map(|part| part.bound).fold(self.closed, f64::min);
        Found { hours, cost, bound: open.clamp(0.0, cost), end }
    }

    fn cost(&self) -> f64 {
        self.improver.cost
    }

    /// The cost from which on nothing is worth looking for.
    fn enough(&self) -> f64 {
        self.cost() * (1.0 - OPTIMAL)
    }

    /// Bounds a part, and keeps it unless it cannot hold a better plan.
    fn look(&mut self, mut part: Part) {
        if !part.tighten(self.model, self.cost()) {
            return self.close(self.cost());
        }
        part.bound = part.bound.max(part.floor(self.model));
        if part.bound < self.enough() { self.open.push(part) } else { self.close(part.bound) }
    }

    fn close(&mut self, bound: f64) {
        self.closed = self.closed.min(bound);
    }

    /// Looks into a part, and halves it where its relaxation is furthest from the truth.
    fn split(&mut self, mut part: Part) {
        if !part.tighten(self.model, self.cost()) {
            return self.close(self.cost());
        }
        part.bound = part.bound.max(part.floor(self.model));
        let model = self.model;
        let Some(relaxed) = Relaxed::new(model, &part, Line::Secant, self.cost()) else {
            return self.close(self.cost());
        };
        let Some((hours, numbers, bound)) = relaxed.solve(None, self.cost(), self.enough()) else {
            let halves = halved(&part);
            return self.keep(halves, part.bound);
        };
        let bound = part.bound.max(bound);
        if bound >= self.enough() {
            return self.close(bound);
        }
        self.improver.straighten(&part.used, &hours, Some(&numbers));
        let halves = self.halves(&part, &hours, &numbers, &relaxed);
        self.keep(halves.or_else(|| halved(&part)), bound);
    }

    /// Goes on with the halves of a part, or closes it where it is too small to be halved.
    fn keep(&mut self, halves: Option<[Part; 2]>, bound: f64) {
        match halves {
            Some(halves) => halves.into_iter().for_each(|half| self.look(Part { bound, ..half })),
            None => self.close(bound),
        }
    }

    /// The two halves of a part; none where its relaxation is true at its best point.
    fn halves(
        &self,
        part: &Part,
        hours: &[f64],
        numbers: &[f64],
        relaxed: &Relaxed<'_>,
    ) -> Option<[Part; 2]> {
        let done = self.model.walk(&part.hours(self.model, hours));
        let (mut broken, mut lax) = ((0.0, 0), (0.0, 0));
        for (k, (place, e, element)) in part.elements(self.model).enumerate() {
            if element.each <= 0.0 || element.capacity.is_infinite() {
                continue;
            }
            let full = done[part.used[place]].caught[e] / element.capacity;
            let short = (numbers[k] - NEAR).ceil() - numbers[k];
            if self.model.whole && part.least[k] < part.most[k] && element.each * short > broken.0 {
                broken = (element.each * short, k);
            }
            if element.each * (full - numbers[k]) > lax.0 {
                lax = (element.each * (full - numbers[k]), k);
            }
        }
        if broken.0 >= lax.0 && broken.0 > 0.0 {
            let (mut fewer, mut more) = (part.clone(), part.clone());
            fewer.most[broken.1] = numbers[broken.1].floor();
            more.least[broken.1] = numbers[broken.1].floor() + 1.0;
            return Some([fewer, more]);
        }
        let place = relaxed.laxest(lax.1, hours).filter(|_| lax.0 > 0.0)?;
        parted(part, place, hours[place])
    }
}

/// A part halved where its hours are widest.
fn halved(part: &Part) -> Option<[Part; 2]> {
    let width = |place: usize| part.high[place] - part.low[place];
    let place = (0..part.used.len()).max_by(|&a, &b| width(a).total_cmp(&width(b)))?;
    parted(part, place, f64::midpoint(part.low[place], part.high[place]))
}

/// A part taken apart at these hours of a stage, or as near to them as leaves both halves something; none where there is
/// nothing to part.
fn parted(part: &Part, place: usize, hours: f64) -> Option<[Part; 2]> {
    let (low, high) = (part.low[place], part.high[place]);
    let margin = 0.2 * (high - low);
    if margin <= TINY * high {
        return None;
    }
    let at = hours.clamp(low + margin, high - margin);
    let (mut shorter, mut longer) = (part.clone(), part.clone());
    shorter.high[place] = at;
    longer.low[place] = at;
    Some([shorter, longer])
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::balance::{Filling, Run};

    fn p02(whole: bool, setup: f64) -> Model {
        let start = vec![6000.0, 3000.0, 900.0, 150.0];
        let run = |e: [f64; 4], q: f64, each: f64, capacity: f64, fixed: f64| Run {
            rate: e.iter().map(|e| e * q / 10_000.0).collect(),
            source: vec![0.0; 4],
            elements: vec![Filling { part: vec![1.0; 4], capacity, each }],
            fixed,
        };
        Model {
            start,
            weight: vec![0.0004, 0.003, 0.04, 0.9],
            limits: vec![(0, 1300.0), (1, 320.0), (3, 20.0)],
            stages: vec![
                run([0.05, 0.3, 0.8, 0.99], 80.0, 25.0, 400.0, setup),
                run([0.6, 0.95, 0.995, 0.999], 40.0, 220.0, 80.0, 0.0),
            ],
            hour: 1.2,
            whole,
        }
    }

    #[test]
    fn a_bound_closes_on_the_best_plan_with_parts_and_with_whole_elements() {
        for model in [p02(false, 0.0), p02(true, 60.0), p02(true, 0.0)] {
            let found = best(&model, &Effort::default()).unwrap();
            assert!(found.bound <= found.cost && found.bound >= found.cost * (1.0 - OPTIMAL), "{found:?}");
            let done = model.walk(&found.hours);
            assert!(model.excess(&done[1].left) <= 1.0);
        }
    }
}
