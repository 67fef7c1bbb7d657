//! The most likely numbers of a joint fit, all of them or those that pass through a concentration.
//!
//! Scoring with the expected information, damped where a step does not gain, and kept within what the numbers may be. That
//! the concentration after some turnovers is the target is a condition: it is taken in as one more observation, known very
//! well; what is then still off is made up for by the slope along it.

use super::likelihood::{Likelihood, Local};
use super::model::Model;

/// The numbers of a fit, and the logarithm of their likelihood with what was known beforehand.
#[derive(Debug, Clone)]
pub(in super::super) struct Numbers {
    pub(in super::super) x: Vec<f64>,
    pub(in super::super) value: f64,
}

/// That all bins from one on together have a concentration after turnovers; after an infinite number, the floor.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Through {
    pub(in super::super) turnovers: f64,
    pub(in super::super) from: usize,
    pub(in super::super) per_ml: f64,
}

/// The condition as an observation: how well known, and what is aimed at besides.
struct Aim {
    through: Through,
    weight: f64,
    shift: f64,
}

/// A gain that no number is moved for.
const SETTLED: f64 = 1e-9;

/// The same where only the value matters.
const NEARLY_SETTLED: f64 = 1e-5;

impl Through {
    /// The logarithm of the concentration over its aim.
    pub(in super::super) fn off(&self, model: &Model, x: &[f64]) -> f64 {
        (self.sum_of(model, x) / self.per_ml).ln()
    }

    /// The concentration \[particles/mL\].
    pub(super) fn sum_of(&self, model: &Model, x: &[f64]) -> f64 {
        model.sum(&model.values(x), self.from..model.bins, self.turnovers).max(f64::MIN_POSITIVE)
    }

    /// The same as [`off`](Self::off), with its slope.
    fn off_and_slope(&self, model: &Model, x: &[f64]) -> (f64, Vec<f64>) {
        let (mut slope, values) = (vec![0.0; model.numbers()], model.values(x));
        let bins = self.from..model.bins;
        let sum: f64 = bins.map(|bin| model.add_slope(&values, bin, self.turnovers, &mut slope, 1.0)).sum();
        let sum = sum.max(f64::MIN_POSITIVE);
        for entry in &mut slope {
            *entry /= sum;
        }
        ((sum / self.per_ml).ln(), slope)
    }
}

impl Likelihood {
    /// The most likely numbers that a search from some numbers comes to.
    pub(in super::super) fn best(&self, model: &Model, from: &[f64]) -> Numbers {
        self.climb(model, within(model, from), None)
    }

    /// The same among those that pass through a concentration.
    pub(in super::super) fn best_through(&self, model: &Model, from: &[f64], through: Through) -> Numbers {
        /// How much better the condition is known than the samples tell.
        const FIRMNESS: f64 = 1e4;
        /// How far off, in standard deviations, is near enough.
        const CLOSE: f64 = 0.03;
        let x = within(model, from);
        let mut local = Local::new(model.numbers());
        self.local(model, &x, &mut local);
        let (_, slope) = through.off_and_slope(model, &x);
        let all = free(model, &x, &slope);
        let known = local.information.root(&all, 1e-9).map(|root| dot(&slope, &root.solve(&slope)));
        let variance = known.filter(|variance| *variance > 0.0).unwrap_or(1.0).clamp(1e-12, 1e3);
        let weight = FIRMNESS / variance;
        let mut aim = Aim { through, weight, shift: 0.0 };
        let mut found = self.climb(model, x, Some(&aim));
        let mut off = through.off(model, &found.x);
        if off.abs() > CLOSE * variance.sqrt() {
            aim.shift = -off;
            found = self.climb(model, found.x, Some(&aim));
            off = through.off(model, &found.x);
        }
        // without what is aimed at; what is still off costs its slope, to the first order
        let missed = off - aim.shift;
        let value = found.value + aim.weight * missed * (0.5 * missed - off);
        Numbers { value, ..found }
    }

    fn climb(&self, model: &Model, mut x: Vec<f64>, aim: Option<&Aim>) -> Numbers {
        const MOST_STEPS: usize = 100;
        let settled = if aim.is_some() { NEARLY_SETTLED } else { SETTLED };
        let [mut here, mut there] = [(); 2].map(|()| Local::new(x.len()));
        let mut value = self.aimed(model, &x, aim, &mut here);
        let mut damping = 1e-6;
        for _ in 0..MOST_STEPS {
            let next = self.step(model, &x, aim, (value, &here), &mut damping, &mut there);
            let Some((next, reached, gain)) = next else { break };
            (x, value) = (next, reached);
            std::mem::swap(&mut here, &mut there);
            if gain < settled {
                break;
            }
        }
        Numbers { x, value }
    }

    /// The value with what is aimed at, its slope and information.
    fn aimed(&self, model: &Model, x: &[f64], aim: Option<&Aim>, local: &mut Local) -> f64 {
        let value = self.local(model, x, local);
        let Some(aim) = aim else { return value };
        let (off, slope) = aim.through.off_and_slope(model, x);
        let off = off - aim.shift;
        local.information.add_outer(&slope, aim.weight);
        local.slope.iter_mut().zip(&slope).for_each(|(to, slope)| *to -= aim.weight * off * slope);
        value - 0.5 * aim.weight * off * off
    }

    /// A step that gains, with the value there and what was expected of it; none where there is none. What is there is
    /// left in `there`.
    fn step(
        &self,
        model: &Model,
        x: &[f64],
        aim: Option<&Aim>,
        (value, here): (f64, &Local),
        damping: &mut f64,
        there: &mut Local,
    ) -> Option<(Vec<f64>, f64, f64)> {
        const MOST_DAMPING: f64 = 1e12;
        const LEAST_DAMPING: f64 = 1e-12;
        let free = free(model, x, &here.slope);
        while *damping < MOST_DAMPING {
            if let Some(root) = here.information.root(&free, *damping) {
                let step = root.solve(&here.slope);
                let gain = dot(&here.slope, &step);
                let next = moved(model, x, &step);
                let reached = self.aimed(model, &next, aim, there);
                if reached >= value {
                    *damping = (*damping / 10.0).max(LEAST_DAMPING);
                    return Some((next, reached, gain));
                }
                if gain < SETTLED {
                    return None;
                }
            }
            *damping = 8.0 * damping.max(1e-6);
        }
        None
    }
}

/// What a step is expected to gain, by the slope and the information.
pub(super) fn expected_gain(model: &Model, x: &[f64], local: &Local) -> f64 {
    const DAMPING: f64 = 1e-6;
    let free = free(model, x, &local.slope);
    let root = local.information.root(&free, DAMPING);
    root.map_or(0.0, |root| dot(&local.slope, &root.solve(&local.slope)) / 2.0)
}

/// The numbers that may move: not those that lie at an end of what they may be and would go beyond.
fn free(model: &Model, x: &[f64], slope: &[f64]) -> Vec<usize> {
    let is_free = |place: &usize| {
        let place = *place;
        let held_down = x[place] <= model.least[place] && slope[place] <= 0.0;
        let held_up = x[place] >= model.most[place] && slope[place] >= 0.0;
        !(held_down || held_up) && model.least[place] < model.most[place]
    };
    (0..x.len()).filter(is_free).collect()
}

/// A step, logarithms by no more than a factor of about 20.
fn moved(model: &Model, x: &[f64], step: &[f64]) -> Vec<f64> {
    const MOST: f64 = 3.0;
    let floors = model.floor_place(0)..model.floor_place(model.bins);
    let each = x.iter().zip(step).enumerate().map(|(place, (x, step))| {
        let step = if floors.contains(&place) { *step } else { step.clamp(-MOST, MOST) };
        (x + step).clamp(model.least[place], model.most[place])
    });
    each.collect()
}

fn within(model: &Model, x: &[f64]) -> Vec<f64> {
    let ends = model.least.iter().zip(&model.most);
    x.iter().zip(ends).map(|(x, (least, most))| x.clamp(*least, *most)).collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
