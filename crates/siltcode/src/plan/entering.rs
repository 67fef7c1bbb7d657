//! What comes into the tank while a plan runs: how little of it can be left in the end, and how what is left changes with
//! the hours near a plan.
//!
//! What is left of a bin is what is left of the start and what is left of what came in. The first is convex in the hours;
//! of the second there are bounds that need no hours. With `k` the rate and `s` the source of a stage, what came in obeys
//! `n' = s - k n`. So no stages bring it below what one with the greatest rate and the least source leaves after the
//! shortest time that can meet the limits, nor below the least of their floors, approached with the least rate. What a
//! stage catches of it is at least `s (t - (1 - exp(-k t)) / k)`, as if none had been there before; that is convex.

use super::balance::{Model, least_time};

/// What came in and is left behind some stages, near given hours.
#[derive(Debug, Clone)]
pub(super) struct Entered {
    /// Of each bin at those hours \[1/mL\].
    pub(super) left: Vec<f64>,
    /// How it changes with the hours of each used stage, bin by bin \[1/(mL h)\].
    pub(super) slopes: Vec<Vec<f64>>,
}

/// What stages do to a bin at most and at least.
#[derive(Debug, Clone, Copy)]
struct Extremes {
    fastest: f64,
    slowest: f64,
    /// The least source.
    source: f64,
    /// The least floor.
    floor: f64,
}

impl Extremes {
    /// What is left of what came in at the least source, taken out at the greatest rate.
    fn entered(&self, hours: f64) -> f64 {
        self.source * counted(self.fastest, hours)
    }

    /// The least that is left of what came in after these hours or more.
    fn least_left(&self, hours: f64) -> f64 {
        let approached =
            if self.floor.is_finite() { self.floor * -(-self.slowest * hours).exp_m1() } else { 0.0 };
        approached.max(self.entered(hours))
    }
}

/// `(1 - exp(-k t)) / k`: the time that sources count for.
fn counted(rate: f64, hours: f64) -> f64 {
    let fallen = rate * hours;
    if fallen < 1e-12 { hours } else { -(-fallen).exp_m1() / rate }
}

impl Model {
    /// The shortest time in which any hours of the used stages meet the limits, and the least that is left of what came in
    /// by then, bin by bin; none where they cannot be met.
    pub(super) fn least_total(&self, used: &[usize]) -> Option<(f64, Vec<f64>)> {
        let bins = 0..self.start.len();
        let extremes: Vec<Extremes> = bins.clone().map(|bin| self.extremes(used, bin)).collect();
        let mut over = |hours: f64| {
            let left =
                |(start, of): (&f64, &Extremes)| start * (-of.fastest * hours).exp() + of.entered(hours);
            let left: Vec<f64> = self.start.iter().zip(&extremes).map(left).collect();
            self.excess(&left) - 1.0
        };
        let hours = least_time(&mut over)?;
        Some((hours, extremes.iter().map(|of| of.least_left(hours)).collect()))
    }

    fn extremes(&self, used: &[usize], bin: usize) -> Extremes {
        let none =
            Extremes { fastest: 0.0, slowest: f64::INFINITY, source: f64::INFINITY, floor: f64::INFINITY };
        used.iter().map(|&stage| &self.stages[stage]).fold(none, |of, run| {
            let (rate, source) = (run.rate[bin], run.source[bin]);
            let floor = if source > 0.0 { source / rate } else { 0.0 };
            Extremes {
                fastest: of.fastest.max(rate),
                slowest: of.slowest.min(rate),
                source: of.source.min(source),
                floor: of.floor.min(floor),
            }
        })
    }

    /// The least that can be left of what came in behind each of the used stages, the start first, where each runs between
    /// these hours. A stage brings it nearer to its own floor, so it is least after the shortest or the longest run.
    pub(super) fn entered_between(&self, used: &[usize], low: &[f64], high: &[f64]) -> Vec<Vec<f64>> {
        let mut behind = vec![vec![0.0; self.start.len()]];
        for (place, &stage) in used.iter().enumerate() {
            let run = &self.stages[stage];
            let after = |(i, &now): (usize, &f64)| {
                run.after(i, now, low[place]).min(run.after(i, now, high[place])).max(0.0)
            };
            let next = behind[place].iter().enumerate().map(after).collect();
            behind.push(next);
        }
        behind
    }

    /// What came in and is left behind each of the used stages, the start first, at these hours.
    pub(super) fn entered_at(&self, used: &[usize], hours: &[f64]) -> Vec<Entered> {
        let bins = self.start.len();
        let mut behind = vec![Entered { left: vec![0.0; bins], slopes: vec![vec![0.0; used.len()]; bins] }];
        for (place, &stage) in used.iter().enumerate() {
            let (run, mut next) = (&self.stages[stage], behind[place].clone());
            for i in 0..bins {
                let kept = (-run.rate[i] * hours[place]).exp();
                next.slopes[i].iter_mut().for_each(|slope| *slope *= kept);
                next.left[i] = run.after(i, next.left[i], hours[place]);
                next.slopes[i][place] = run.source[i] - run.rate[i] * next.left[i];
            }
            behind.push(next);
        }
        behind
    }
}
