//! The probability that nested counts keep their limits, where nothing varies beside counting.
//!
//! With shape 1 on the largest bin and none on the others the cumulative concentrations are the times at which a Poisson
//! process reaches `k + 1` events, one process for all sizes. Sizes that leave no doubt are dropped, which merges their
//! bins. Two that are left take one integral over the larger; three take one over the middle, since given that one the
//! share of the larger in it is a beta variable and the rest of the smaller a gamma variable, independent of each other.
//! More are integrated one inside the other.

use std::cell::OnceCell;

use super::bounded;
use super::chain::Chain;
use crate::certainty::beta;
use crate::certainty::gamma::{Shape, nothing_beyond};
use crate::certainty::quadrature::{StandIn, panel};

/// What the probability of all may be off.
const ERROR: f64 = 1e-8;
/// A size that exceeds its limit less often than this leaves no doubt.
const NO_DOUBT: f64 = 1e-9;
/// Panels in standard deviations of what they go over.
const PANEL: f64 = 4.0;
/// Where a gamma variable ends, in its own standard deviations from its middle.
const STEP_ENDS: f64 = 6.0;
/// How much farther than that the tail of a small shape goes.
const LONG_TAIL: f64 = 14.0;

/// Cumulative counts of sizes in the same volume, smallest size first.
pub(super) struct Nested {
    /// Of each size: its count and one.
    shapes: Vec<f64>,
    each: Vec<Shape>,
    /// What each size counts beyond each larger one, as a distribution; filled as needed.
    beyond: Vec<OnceCell<Rest>>,
    /// The share of one size in a smaller one, as a distribution; filled as needed.
    shares: Vec<OnceCell<Share>>,
}

impl Nested {
    pub(super) fn new(counts: &[f64]) -> Self {
        let shapes: Vec<f64> = counts.iter().map(|count| count + 1.0).collect();
        let each = shapes.iter().map(|&shape| Shape::new(shape)).collect();
        let pairs = shapes.len() * shapes.len();
        let beyond = (0..pairs).map(|_| OnceCell::new()).collect();
        Self { shapes, each, beyond, shares: (0..pairs).map(|_| OnceCell::new()).collect() }
    }

    /// The probability that every count's mean is within its limit \[particles\].
    pub(super) fn all_within(&self, limits: &[f64]) -> f64 {
        let mut open: Vec<Open> = Vec::with_capacity(limits.len());
        let mut least: f64 = f64::INFINITY;
        for (size, &limit) in limits.iter().enumerate() {
            least = least.min(limit);
            // Sizes with the same count have the same concentration: the last has the least limit of them.
            let next_alike = self.shapes.get(size + 1) == Some(&self.shapes[size]);
            if !next_alike {
                open.push(Open { size, limit: least, tails: self.tails(size, least) });
            }
        }
        open.retain(|open| open.tails[1] > NO_DOUBT);
        let tails = || open.iter().map(|open| open.tails);
        let most = tails().map(|[within, _]| within).fold(1.0, f64::min);
        let all = bounded(tails(), ERROR).unwrap_or_else(|| match open.as_slice() {
            [smaller, larger] => self.both(smaller, larger),
            [smaller, middle, larger] => self.three(smaller, middle, larger),
            _ => self.chain(&open),
        });
        all.clamp(0.0, most)
    }

    fn tails(&self, size: usize, limit: f64) -> [f64; 2] {
        let shape = &self.each[size];
        if limit.is_infinite() || nothing_beyond(shape.get(), limit) {
            return if limit > shape.get() { [1.0, 0.0] } else { [0.0, 1.0] };
        }
        shape.tails(limit)
    }

    fn both(&self, smaller: &Open, larger: &Open) -> f64 {
        let rest = self.beyond(smaller.size, larger.size);
        let steps = [Step::of(smaller.limit, rest)];
        self.over(larger, &steps, |s| rest.at_most(smaller.limit - s))
    }

    fn three(&self, smaller: &Open, middle: &Open, larger: &Open) -> f64 {
        let rest = self.beyond(smaller.size, middle.size);
        let share = self.share(larger.size, middle.size);
        let steps = [Step::of(smaller.limit, rest), share.step(larger.limit)];
        self.over(middle, &steps, |s| share.at_most(larger.limit / s) * rest.at_most(smaller.limit - s))
    }

    /// The integral of `f` over the concentration of one size, as far as its limit.
    fn over(&self, open: &Open, steps: &[Step], f: impl Fn(f64) -> f64) -> f64 {
        let shape = &self.each[open.size];
        let (a, sd) = (shape.get(), shape.get().sqrt());
        let high = open.limit.min(a + STEP_ENDS * sd + LONG_TAIL);
        let mut at = (a - STEP_ENDS * sd).max(0.0);
        let mut weighted = |s: f64| a / s * shape.ln_term(s).exp() * f(s);
        let mut sum = 0.0;
        while at < high {
            let length = steps.iter().map(|step| step.length(at)).fold(PANEL * sd, f64::min);
            let next = (at + length).min(high);
            if next <= at {
                break;
            }
            sum += panel(&mut weighted, at, next);
            at = next;
        }
        sum
    }

    fn chain(&self, open: &[Open]) -> f64 {
        let shape = |open: &Open| self.shapes[open.size];
        let above = open.iter().skip(1).map(shape).chain([0.0]);
        let bins: Vec<f64> = open.iter().zip(above).map(|(open, above)| shape(open) - above).collect();
        let limits: Vec<f64> = open.iter().map(|open| open.limit).collect();
        Chain::new(&bins, &limits, ERROR).all_within()
    }

    fn beyond(&self, smaller: usize, larger: usize) -> &Rest {
        let place = smaller * self.shapes.len() + larger;
        self.beyond[place].get_or_init(|| Rest::new(self.shapes[smaller] - self.shapes[larger]))
    }

    fn share(&self, larger: usize, smaller: usize) -> &Share {
        let place = smaller * self.shapes.len() + larger;
        self.shares[place]
            .get_or_init(|| Share::new(self.shapes[larger], self.shapes[smaller] - self.shapes[larger]))
    }
}

/// A size that leaves a doubt.
struct Open {
    size: usize,
    limit: f64,
    /// The probabilities that it by itself keeps its limit and exceeds it.
    tails: [f64; 2],
}

/// Where an integrand steps from one level to another, or has a kink.
struct Step {
    begin: f64,
    end: f64,
    /// Its standard deviation, apart from where it lies.
    sd: f64,
    /// The same as a share of where it lies: a step of a ratio is as wide as it is far out.
    share: f64,
    kink: f64,
}

impl Step {
    /// Where a smaller size begins to exceed its limit, if this is what it has beyond the one integrated over.
    fn of(limit: f64, rest: &Rest) -> Self {
        Self { begin: limit - rest.high, end: limit - rest.low, sd: rest.sd, share: 0.0, kink: f64::INFINITY }
    }

    /// How long a panel that starts at `at` may be.
    fn length(&self, at: f64) -> f64 {
        let to_kink = if at < self.kink { self.kink - at } else { f64::INFINITY };
        let panel = PANEL * self.sd + (PANEL * self.share).min(1.0) * at;
        let smooth = if at < self.begin {
            (self.begin - at).max(panel)
        } else if at < self.end {
            panel
        } else {
            f64::INFINITY
        };
        smooth.min(to_kink)
    }
}

/// What one size counts beyond a larger one: a gamma variable, whose distribution a stand-in gives at little cost.
struct Rest {
    sd: f64,
    low: f64,
    high: f64,
    stand_in: StandIn,
}

impl Rest {
    fn new(count: f64) -> Self {
        let (shape, sd) = (Shape::new(count), count.sqrt());
        let (low, high) = ((count - STEP_ENDS * sd).max(0.0), count + STEP_ENDS * sd + LONG_TAIL);
        let mut pieces: Vec<f64> = (0..=4).map(|i| low + (high - low) * f64::from(i) / 4.0).collect();
        let stand_in = StandIn::new(|x| shape.tails(x)[0], &mut pieces, ERROR / 100.0);
        Self { sd, low, high, stand_in }
    }

    /// The probability that it is at most `x`.
    fn at_most(&self, x: f64) -> f64 {
        distribution(&self.stand_in, [self.low, self.high], x)
    }
}

/// A distribution that a stand-in gives between its ends.
fn distribution(stand_in: &StandIn, [low, high]: [f64; 2], x: f64) -> f64 {
    if x <= low {
        0.0
    } else if x >= high {
        1.0
    } else {
        stand_in.at(x)
    }
}

/// The share of a larger size in a smaller one: a beta variable, whose distribution a stand-in gives at little cost.
struct Share {
    mean: f64,
    sd: f64,
    low: f64,
    high: f64,
    stand_in: StandIn,
}

impl Share {
    fn new(larger: f64, rest: f64) -> Self {
        let all = larger + rest;
        let mean = larger / all;
        let sd = (mean * (rest / all) / (all + 1.0)).sqrt();
        // A beta variable of a small shape has the long tail of a gamma variable on its other side.
        let tail = |shape: f64| (shape + 9.0 * shape.sqrt() + 25.0) / all;
        let low = (mean - 9.0 * sd).min(1.0 - tail(rest)).max(0.0);
        let high = (mean + 9.0 * sd).max(tail(larger)).min(1.0);
        let mut pieces: Vec<f64> = (0..=6).map(|i| low + (high - low) * f64::from(i) / 6.0).collect();
        let stand_in =
            StandIn::new(|x| beta::regularized(larger, rest, x, 1.0 - x), &mut pieces, ERROR / 100.0);
        Self { mean, sd, low, high, stand_in }
    }

    /// The probability that the share is at most `x`.
    fn at_most(&self, x: f64) -> f64 {
        distribution(&self.stand_in, [self.low, self.high], x)
    }

    /// Where the larger size begins to exceed its limit, as the smaller one grows.
    fn step(&self, limit: f64) -> Step {
        let (begin, end) = (limit / self.high, limit / self.low.max(f64::MIN_POSITIVE));
        Step { begin, end, sd: 0.0, share: self.sd / self.mean, kink: limit }
    }
}
