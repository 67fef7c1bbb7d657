//! The most likely curve through a series of counts, `a exp(-kappa tau) + c` with `a, c >= 0`.
//!
//! At a fixed `kappa` the concentrations are linear in `a` and `c` and the logarithm of the likelihood is concave in
//! them, so Newton's method, kept within what they can be and to steps that gain, finds its only maximum. `kappa` itself
//! is looked for on a grid of its logarithm, then by the root of the slope along the best curves (their own slopes are
//! zero, so it is a plain derivative). Nothing is random, and no start has to be guessed.

use super::seen::Term;
use crate::certainty::quadrature::crossing;

/// A place that a curve has to pass through.
#[derive(Debug, Clone, Copy)]
pub(super) struct Through {
    /// Turnovers since the first sample; infinite for the floor itself.
    pub(super) since: f64,
    pub(super) per_ml: f64,
}

/// A curve: its height above the floor at the first sample, the floor \[particles/mL\], and its rate \[1/turnover\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Curve {
    pub(super) above: f64,
    pub(super) floor: f64,
    pub(super) rate: f64,
}

impl Curve {
    /// The concentration so many turnovers after the first sample \[particles/mL\].
    pub(super) fn at(&self, since: f64) -> f64 {
        self.above * left(self.rate, since) + self.floor
    }
}

/// What is left of 1; nothing after an infinite number of turnovers, at whatever rate.
fn left(rate: f64, since: f64) -> f64 {
    if since.is_infinite() { 0.0 } else { (-rate * since).exp() }
}

/// What the counts of a series say of curves through them.
#[derive(Debug)]
pub(super) struct Search<'a> {
    pub(super) terms: &'a [Term],
    /// Whether there may be a floor.
    pub(super) floor: bool,
    pub(super) through: Option<Through>,
}

/// All curves of one rate: concentrations that are linear in two levels.
///
/// The levels are height and floor. Where the curve has to pass through a place only the height is left, and where it
/// has no floor besides, nothing is.
struct Family {
    base: f64,
    /// How the concentration of each term follows the levels.
    follows: Vec<[f64; 2]>,
    most: [f64; 2],
}

/// The best levels of a family, and the logarithm of their likelihood.
#[derive(Debug, Clone, Copy)]
struct Place {
    level: [f64; 2],
    value: f64,
}

/// The objective at one place, with its derivatives over the levels.
struct Local {
    value: f64,
    slope: [f64; 2],
    /// Over the first twice, over both, over the second twice.
    curve: [f64; 3],
}

/// Gains below this, relative to the objective, are lost in rounding.
const SETTLED: f64 = 1e-15;

/// From one rate of the grid to the next.
const GRID_STEP: f64 = 1.5;

impl Search<'_> {
    /// The rates between which the search goes: below the first nothing falls that could be counted, above the last
    /// nothing is left at the second sample.
    fn rates(&self) -> [f64; 2] {
        const LEAST_FALL: f64 = 1e-4;
        const MOST_FALL: f64 = 40.0;
        let span = self.terms.last().map_or(0.0, |term| term.since);
        let gaps = self.terms.windows(2).map(|pair| pair[1].since - pair[0].since);
        let gap = gaps.filter(|gap| *gap > 0.0).fold(span, f64::min);
        [LEAST_FALL / span, MOST_FALL / gap]
    }

    /// The best curve and the logarithm of its likelihood.
    pub(super) fn best(&self) -> (Curve, f64) {
        let [least, most] = self.rates();
        let steps = ((most / least).ln() / GRID_STEP.ln()).ceil().max(1.0);
        let rate = |i: f64| least * (most / least).powf(i / steps);
        let mut best = (0.0, self.settle(least, self.start()));
        let (mut i, mut from) = (1.0, best.1.level);
        while i <= steps {
            let place = self.settle(rate(i), from);
            from = place.level;
            if place.value > best.1.value + 1e-12 * best.1.value.abs() {
                best = (i, place);
            }
            i += 1.0;
        }
        let (near, on_grid) = best;
        let found = self.refined([rate((near - 1.0).max(0.0)), rate((near + 1.0).min(steps))], on_grid.level);
        let place = self.settle(found, on_grid.level);
        let (rate, place) = if place.value >= on_grid.value { (found, place) } else { (rate(near), on_grid) };
        (self.curve(rate, place.level), place.value)
    }

    /// The best rate between two.
    fn refined(&self, [low, high]: [f64; 2], from: [f64; 2]) -> f64 {
        let slope = |ln_rate: f64| {
            let rate = ln_rate.exp();
            self.slope_over_rate(rate, self.settle(rate, from).level)
        };
        crossing(slope, low.ln(), high.ln()).exp()
    }

    /// Whether a rate lies at the end of those that are looked at: \[at the least, at the most\].
    pub(super) fn is_at_end(&self, rate: f64) -> [bool; 2] {
        const NEAR: f64 = 1e-9;
        let [least, most] = self.rates();
        [rate <= least * (1.0 + NEAR), rate >= most * (1.0 - NEAR)]
    }

    /// The logarithm of the likelihood of the best curve that does not fall and is nowhere below a concentration.
    pub(super) fn best_level(&self, least: f64) -> f64 {
        let level = Search { floor: false, through: None, ..*self };
        let best = level.settle(0.0, level.start());
        if best.level[0] >= least { best.value } else { level.local([least, 0.0], &level.family(0.0)).value }
    }

    fn family(&self, rate: f64) -> Family {
        let terms = self.terms.iter();
        let Some(Through { since, per_ml }) = self.through else {
            let follows = terms.map(|term| [left(rate, term.since), 1.0]).collect();
            let most = [f64::INFINITY, if self.floor { f64::INFINITY } else { 0.0 }];
            return Family { base: 0.0, follows, most };
        };
        if !self.floor {
            let follows = terms.map(|term| [left(rate, term.since - since), 0.0]).collect();
            return Family { base: 0.0, follows, most: [per_ml, 0.0] };
        }
        // above left(s) + per_ml - above left(since)
        let follows =
            terms.map(|term| [-left(rate, term.since) * (-rate * (since - term.since)).exp_m1(), 0.0]);
        Family {
            base: per_ml,
            follows: follows.collect(),
            most: [(per_ml / left(rate, since)).max(0.0), 0.0],
        }
    }

    /// The curve of a place.
    fn curve(&self, rate: f64, level: [f64; 2]) -> Curve {
        match self.through {
            None => Curve { above: level[0], floor: level[1], rate },
            Some(Through { since, .. }) if !self.floor => {
                Curve { above: level[0] / left(rate, since), floor: 0.0, rate }
            }
            Some(Through { since, per_ml }) => {
                let floor = (per_ml - level[0] * left(rate, since)).max(0.0);
                Curve { above: level[0], floor, rate }
            }
        }
    }

    /// Well inside what the levels can be.
    fn start(&self) -> [f64; 2] {
        let about = || self.terms.iter().map(Term::about);
        let (most, least) = (about().fold(0.0, f64::max), about().fold(f64::INFINITY, f64::min));
        let one = 1.0 / self.terms.iter().map(|term| term.ml).sum::<f64>();
        [most.max(one), (least / 2.0).max(one / 2.0)]
    }

    /// The best levels at a rate.
    fn settle(&self, rate: f64, from: [f64; 2]) -> Place {
        const MOST_STEPS: usize = 200;
        const OFF_ZERO: f64 = 1e-6;
        let (family, start) = (self.family(rate), self.start());
        if self.through.is_some() && !self.floor {
            let level = family.most;
            return Place { level, value: self.local(level, &family).value };
        }
        let mut level = [0, 1].map(|i| from[i].max(OFF_ZERO * start[i]).min(family.most[i] / 2.0));
        let mut here = self.local(level, &family);
        for _ in 0..MOST_STEPS {
            let step = newton(level, &here, family.most);
            let gain = here.slope[0] * step[0] + here.slope[1] * step[1];
            let Some((next, there)) = self.forward(level, &here, step, &family).filter(|_| gain > 0.0) else {
                break;
            };
            (level, here) = (next, there);
            if gain <= SETTLED * here.value.abs().max(1.0) {
                break;
            }
        }
        Place { level, value: here.value }
    }

    /// Along a step as far as it gains, at most to the edge of what the levels can be.
    fn forward(
        &self,
        level: [f64; 2],
        here: &Local,
        step: [f64; 2],
        family: &Family,
    ) -> Option<([f64; 2], Local)> {
        let edge = |i: usize| if step[i] < 0.0 { 0.0 } else { family.most[i] };
        let room = |i: usize| {
            let room = (edge(i) - level[i]) / step[i];
            if room.is_nan() { f64::INFINITY } else { room }
        };
        let mut share = room(0).min(room(1)).min(1.0);
        while share > f64::EPSILON / 4.0 {
            let next = [0, 1].map(|i| {
                if share >= room(i) {
                    edge(i)
                } else {
                    (level[i] + share * step[i]).clamp(0.0, family.most[i])
                }
            });
            let there = self.local(next, family);
            if there.value >= here.value {
                return Some((next, there));
            }
            share /= 4.0;
        }
        None
    }

    fn local(&self, level: [f64; 2], family: &Family) -> Local {
        let mut sum = Local { value: 0.0, slope: [0.0; 2], curve: [0.0; 3] };
        for (term, [x, y]) in self.terms.iter().zip(&family.follows) {
            let local = term.at((family.base + level[0] * x + level[1] * y).max(0.0));
            sum.value += local.value;
            sum.slope[0] += local.slope * x;
            sum.slope[1] += local.slope * y;
            sum.curve[0] += local.curve * x * x;
            sum.curve[1] += local.curve * x * y;
            sum.curve[2] += local.curve * y * y;
        }
        if sum.value.is_nan() {
            sum.value = f64::NEG_INFINITY;
        }
        sum
    }

    /// The slope over the logarithm of the rate, along the best curves.
    fn slope_over_rate(&self, rate: f64, level: [f64; 2]) -> f64 {
        let family = self.family(rate);
        let since = self.through.map_or(f64::INFINITY, |through| through.since);
        // A floor at its least stays as it is while the rate changes; else the height does.
        let is_least = self.through.is_some() && level[0] >= family.most[0];
        let turned = if since.is_infinite() { 0.0 } else { since * level[0] * left(rate, since) };
        let terms = self.terms.iter().zip(&family.follows).map(|(term, [x, y])| {
            let per_ml = (family.base + level[0] * x + level[1] * y).max(0.0);
            let falls = || turned - term.since * level[0] * left(rate, term.since);
            term.at(per_ml).slope * if is_least { (since - term.since) * per_ml } else { falls() }
        });
        rate * terms.sum::<f64>()
    }
}

/// Newton's step over what is free to move: what lies at an edge and would go beyond stays.
fn newton(level: [f64; 2], here: &Local, most: [f64; 2]) -> [f64; 2] {
    let free = |i: usize| if here.slope[i] > 0.0 { level[i] < most[i] } else { level[i] > 0.0 };
    let [aa, ac, cc] = here.curve;
    let single = |slope: f64, curve: f64, level: f64| {
        if curve < 0.0 { -slope / curve } else { slope.signum() * level.max(1.0) }
    };
    let alone = |i: usize, curve: f64| {
        let mut step = [0.0; 2];
        step[i] = single(here.slope[i], curve, level[i]);
        step
    };
    match (free(0), free(1)) {
        (true, true) => {
            let determinant = aa * cc - ac * ac;
            if aa >= 0.0 || determinant <= 1e-14 * aa * cc {
                return [alone(0, 2.0 * aa)[0], alone(1, 2.0 * cc)[1]];
            }
            let [a, c] = here.slope;
            let step = [(ac * c - cc * a) / determinant, (ac * a - aa * c) / determinant];
            let is_held = |i: usize| if step[i] > 0.0 { level[i] >= most[i] } else { level[i] <= 0.0 };
            if is_held(0) {
                alone(1, cc)
            } else if is_held(1) {
                alone(0, aa)
            } else {
                step
            }
        }
        (true, false) => alone(0, aa),
        (false, true) => alone(1, cc),
        (false, false) => [0.0; 2],
    }
}
