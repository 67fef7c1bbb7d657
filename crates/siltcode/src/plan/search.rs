//! The search for the least cost: parts of all plans are bounded from below, the most promising is looked into and split,
//! until none is left that could hold a better plan than the best one found.

use std::collections::HashMap;

use super::balance::Model;
use super::bound::{Line, Part, Relaxed};

/// The best hours found, what they cost, and a bound that no plan goes below.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    pub(super) hours: Vec<f64>,
    pub(super) cost: f64,
    pub(super) bound: f64,
}

/// The part of the cost that a plan may lie above its bound and count as the best.
pub(super) const OPTIMAL: f64 = 1e-6;

/// Parts looked into before the search is given up, and what is left open is said.
const PARTS: usize = 500;
/// A number so near to a whole one that it is one.
const NEAR: f64 = 1e-7;
/// A part of the cost that is not worth another round.
const SETTLED: f64 = 1e-9;
/// So many times the hours that just meet the limits meet them with room.
const WITHIN: f64 = 1.01;
/// A width of hours, as a part of them, that is not worth parting.
const TINY: f64 = 1e-10;
/// Rounds of straightening around the best hours for one choice of elements.
const ROUNDS: usize = 12;

struct Search<'a> {
    model: &'a Model,
    best: Found,
    open: Vec<Part>,
    /// The least bound of what was closed.
    closed: f64,
    /// How often hours for a choice of stages and elements were asked for.
    asked: HashMap<(Vec<usize>, Vec<u64>), u32>,
}

/// The best plan; none where no hours meet the limits.
pub(super) fn best(model: &Model) -> Option<Found> {
    let still = model.without_sources();
    let bound = best_without_sources(&still);
    if !model.has_sources() {
        return bound;
    }
    let starts = choices(model).filter_map(|used| Some((model.equal_hours(&used)?, used)));
    let found = starts.map(|(hours, used)| descend(model, hours, &used));
    let mut found = found.min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    found.bound = bound.map_or(0.0, |still| still.bound);
    Some(found)
}

/// All choices of stages, the shortest times first where they come to the same.
fn choices(model: &Model) -> impl Iterator<Item = Vec<usize>> {
    let stages = model.stages.len();
    (1_u32..1 << stages).map(move |choice| (0..stages).filter(|i| choice >> i & 1 == 1).collect())
}

fn best_without_sources(model: &Model) -> Option<Found> {
    if model.excess(&model.start) <= 1.0 {
        return Some(Found { hours: vec![0.0; model.stages.len()], cost: 0.0, bound: 0.0 });
    }
    let starts: Vec<_> = choices(model).filter_map(|used| Some((model.equal_hours(&used)?, used))).collect();
    let costs = starts.iter().map(|(hours, _)| (model.cost(hours), hours));
    let (cost, hours) = costs.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let best = Found { hours: hours.clone(), cost, bound: 0.0 };
    let mut search = Search { model, best, open: Vec::new(), closed: f64::INFINITY, asked: HashMap::new() };
    for (hours, used) in starts {
        let of_used: Vec<f64> = used.iter().map(|&stage| hours[stage] * WITHIN).collect();
        search.straighten(&used, &of_used, None);
        let part = Part::all(model, used, search.best.cost / model.hour);
        search.look(part);
    }
    search.run();
    Some(search.best)
}

impl Search<'_> {
    fn run(&mut self) {
        for _ in 0..PARTS {
            let next =
                (0..self.open.len()).min_by(|&a, &b| self.open[a].bound.total_cmp(&self.open[b].bound));
            let Some(next) = next else { break };
            if self.open[next].bound >= self.enough() {
                break;
            }
            let part = self.open.swap_remove(next);
            self.split(part);
        }
        let open = self.open.iter().map(|part| part.bound).fold(self.closed, f64::min);
        self.best.bound = open.clamp(0.0, self.best.cost);
    }

    /// The cost from which on nothing is worth looking for.
    fn enough(&self) -> f64 {
        self.best.cost * (1.0 - OPTIMAL)
    }

    /// Bounds a part, and keeps it unless it cannot hold a better plan.
    fn look(&mut self, mut part: Part) {
        if !part.tighten(self.model, self.best.cost) {
            return self.close(self.best.cost);
        }
        part.bound = part.bound.max(part.floor(self.model));
        if part.bound < self.enough() { self.open.push(part) } else { self.close(part.bound) }
    }

    fn close(&mut self, bound: f64) {
        self.closed = self.closed.min(bound);
    }

    /// Looks into a part, and halves it where its relaxation is furthest from the truth.
    fn split(&mut self, mut part: Part) {
        if !part.tighten(self.model, self.best.cost) {
            return self.close(self.best.cost);
        }
        part.bound = part.bound.max(part.floor(self.model));
        let model = self.model;
        let Some(relaxed) = Relaxed::new(model, &part, Line::Secant, self.best.cost) else {
            return self.close(self.best.cost);
        };
        let Some((hours, numbers, bound)) = relaxed.solve(None, self.best.cost, self.enough()) else {
            let halves = halved(&part);
            return self.keep(halves, part.bound);
        };
        let bound = part.bound.max(bound);
        if bound >= self.enough() {
            return self.close(bound);
        }
        self.straighten(&part.used, &hours, Some(&numbers));
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

    /// The best hours near these, with as many elements as they take, and with as many as a bound hoped for.
    fn straighten(&mut self, used: &[usize], hours: &[f64], hoped: Option<&[f64]>) {
        let model = self.model;
        let all = Part::all(model, used.to_vec(), 2.0 * self.best.cost / model.hour + 1.0);
        if !model.whole {
            return self.approach(&all, hours);
        }
        let done = model.walk(&all.hours(model, hours));
        let counts =
            all.elements(model).map(|(place, e, element)| model.count(element, done[used[place]].caught[e]));
        let counts: Vec<f64> = counts.collect();
        let hoped = hoped.map(|numbers| numbers.iter().map(|number| (number - NEAR).ceil()).collect());
        for counts in [Some(counts), hoped].into_iter().flatten() {
            let key = counts.iter().map(|count| count.to_bits()).collect();
            let asked = self.asked.entry((used.to_vec(), key)).or_insert(0);
            *asked += 1;
            // from elsewhere another answer may be found: asked for again and again, it is looked for ever more rarely
            if asked.is_power_of_two() {
                self.approach(&Part { least: counts.clone(), most: counts, ..all.clone() }, hours);
            }
        }
    }

    /// The best hours near these in a part: what is left behind each stage is replaced by its tangent, below it, so that
    /// what is caught is overstated, and every round stays within its elements once one has come there.
    fn approach(&mut self, part: &Part, hours: &[f64]) {
        let (model, mut now, mut least) = (self.model, hours.to_vec(), f64::INFINITY);
        for _ in 0..ROUNDS {
            let relaxed = Relaxed::new(model, part, Line::Tangent(&now), self.best.cost);
            let solved = relaxed.and_then(|relaxed| relaxed.solve(Some(&now), self.best.cost, f64::INFINITY));
            let Some((next, _, bound)) = solved else { return };
            self.consider(&part.hours(model, &next));
            if bound >= least * (1.0 - SETTLED) {
                return;
            }
            (now, least) = (next, bound);
        }
    }

    /// Keeps hours that meet the limits and cost less.
    fn consider(&mut self, hours: &[f64]) {
        let mut hours = hours.to_vec();
        let last = (0..hours.len()).rfind(|&stage| hours[stage] > 0.0).unwrap_or(0);
        let Some(enough) = self.model.least_hours(last, &hours) else { return };
        hours[last] = enough;
        let cost = self.model.cost(&hours);
        if cost < self.best.cost {
            self.best = Found { hours, cost, bound: 0.0 };
        }
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

/// Hours improved one stage at a time, the last used one always as short as the limits allow. It finds no better than
/// what lies downhill; that is all there is where something comes in, and what was taken for the bound still holds.
fn descend(model: &Model, from: Vec<f64>, used: &[usize]) -> Found {
    let Some((&last, before)) = used.split_last() else {
        return Found { cost: f64::INFINITY, hours: from, bound: 0.0 };
    };
    let finished = |mut hours: Vec<f64>| {
        hours[last] = 0.0;
        let time = model.least_hours(last, &hours)?;
        hours[last] = time;
        Some((model.cost(&hours), hours))
    };
    let mut now = finished(from.clone()).unwrap_or_else(|| (model.cost(&from), from));
    let reach: f64 = 2.0 * now.1.iter().sum::<f64>();
    for &stage in before {
        for step in 0..=SCANNED {
            let mut hours = now.1.clone();
            hours[stage] = reach * f64::from(step) / f64::from(SCANNED);
            now = finished(hours).filter(|tried| tried.0 < now.0).unwrap_or(now);
        }
    }
    let mut step = reach / f64::from(SCANNED);
    while step > 1e-9 * reach {
        let mut better = false;
        for &stage in before {
            for by in [step, -step] {
                let mut hours = now.1.clone();
                hours[stage] = (hours[stage] + by).max(0.0);
                if let Some(tried) = finished(hours).filter(|tried| tried.0 < now.0) {
                    (now, better) = (tried, true);
                }
            }
        }
        if !better {
            step *= 0.5;
        }
    }
    Found { hours: now.1, cost: now.0, bound: 0.0 }
}

/// Steps over the hours of a stage before it is refined.
const SCANNED: u32 = 40;

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
            let found = best(&model).unwrap();
            assert!(found.bound <= found.cost && found.bound >= found.cost * (1.0 - OPTIMAL), "{found:?}");
            let done = model.walk(&found.hours);
            assert!(model.excess(&done[1].left) <= 1.0);
        }
    }
}
