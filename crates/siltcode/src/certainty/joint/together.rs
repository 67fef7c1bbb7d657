//! Sizes whose concentrations vary together, each by its own factor.

use super::bounded;
use super::nested::Nested;
use crate::certainty::factor::RandomFactor;
use crate::certainty::gamma::Shape;
use crate::certainty::mixture::{Mixture, log_support};
use crate::certainty::quadrature::panel;
use crate::certainty::student::Student;

/// What the probability of all may be off where bounds give it.
const ERROR: f64 = 1e-8;
/// Powers of e below which nothing is summed.
const BEYOND: f64 = 18.0;
/// The longest panel in standard deviations of the sharpest size within its step.
const PANEL: f64 = 5.0;
/// A tail below which no deviate is told from another: that of one degree has a square within the doubles still.
const LEAST_TAIL: f64 = 1e-150;
/// Panels after which the rest is taken as it is.
const MOST_PANELS: usize = 4096;

/// One size: what it counted, and its limit.
pub(super) struct Term {
    count: f64,
    /// Particles expected at the limit.
    limit: f64,
    factor: RandomFactor,
    student: Student,
}

impl Term {
    pub(super) fn new(count: f64, limit: f64, factor: RandomFactor) -> Self {
        Self { count, limit, factor, student: Student::new(factor.degrees()) }
    }

    /// The probabilities that this size by itself keeps its limit, and exceeds it.
    pub(super) fn tails(&self) -> [f64; 2] {
        Mixture::new(Shape::new(self.count + 1.0), self.factor).tails(self.limit)
    }

    const fn is_varied(&self) -> bool {
        self.factor.log_sd() > 0.0
    }

    /// The limit, where the common variable lies at this deviate of its own.
    fn limit_at(&self, t: f64) -> f64 {
        self.limit * (-self.factor.log_sd() * t).exp()
    }

    /// Between which deviates counting leaves a doubt of the limit.
    fn step(&self) -> [f64; 2] {
        let a = self.count + 1.0;
        let ln_limit = (self.limit / a).ln();
        let [low, high] = log_support(a, BEYOND);
        [ln_limit - high, ln_limit - low].map(|ln| ln / self.factor.log_sd())
    }

    /// The standard deviation of counting, in deviates.
    fn width(&self) -> f64 {
        1.0 / (self.factor.log_sd() * (self.count + 1.0).sqrt())
    }
}

/// Sizes of one bottle, smallest first, counted in the same volume.
pub(super) struct Together {
    terms: Vec<Term>,
    nested: Nested,
}

impl Together {
    pub(super) fn new(terms: Vec<Term>) -> Self {
        let counts: Vec<f64> = terms.iter().map(|term| term.count).collect();
        Self { terms, nested: Nested::new(&counts) }
    }

    /// The probability that all keep their limits; `each` by itself is given.
    pub(super) fn all_within(&self, each: &[[f64; 2]]) -> f64 {
        if let Some(all) = bounded(each.iter().copied(), ERROR) {
            return all;
        }
        let most = each.iter().map(|[within, _]| *within).fold(1.0, f64::min);
        let varied = self.terms.iter().filter(|term| term.is_varied());
        let all = match varied.min_by(|a, b| a.student.degrees().total_cmp(&b.student.degrees())) {
            Some(heaviest) => self.over(&heaviest.student),
            None => self.nested.all_within(&self.terms.iter().map(|term| term.limit).collect::<Vec<_>>()),
        };
        all.clamp(0.0, most)
    }

    /// The integral over the common variable, in deviates of `student`.
    ///
    /// Below the first step only sizes that do not vary leave a doubt; above the end of any nothing is within.
    fn over(&self, student: &Student) -> f64 {
        let varied = || self.terms.iter().filter(|term| term.is_varied());
        let ends = varied().map(|term| term.step().map(|t| seen_from(&term.student, student, t)));
        let [from, to] =
            ends.reduce(|[from, to], [low, high]| [from.min(low), to.min(high)]).unwrap_or([0.0; 2]);
        let farthest = student.upper_quantile(ERROR);
        let (from, to) = (from.clamp(-farthest, farthest), to.min(farthest));
        let free: Vec<f64> =
            self.terms.iter().map(|term| if term.is_varied() { f64::INFINITY } else { term.limit }).collect();
        let mut limits = free.clone();
        let mut sum = student.upper_tail(-from) * self.nested.all_within(&free);
        let mut within = |t: f64| {
            for (limit, term) in limits.iter_mut().zip(&self.terms) {
                if term.is_varied() {
                    *limit = term.limit_at(seen_from(student, &term.student, t));
                }
            }
            student.density(t) * self.nested.all_within(&limits)
        };
        let mut at = from;
        for _ in 0..MOST_PANELS {
            if at >= to {
                break;
            }
            let next = (at + self.length(student, at)).min(to);
            sum += panel(&mut within, at, next);
            at = next;
        }
        sum
    }

    /// How long a panel from here may be: neither the density, which has its poles at `i sqrt(degrees)`, nor the step of any
    /// size may change much within it.
    fn length(&self, student: &Student, at: f64) -> f64 {
        let shortest = (1.2 * student.degrees().sqrt()).min(3.0);
        let of_density = if at < -shortest { (-at / 2.0).max(shortest) } else { at.max(shortest) };
        let of_step = |term: &Term| {
            let own = seen_from(student, &term.student, at);
            let [begin, end] = term.step();
            let scale =
                if term.student.is(student) { 1.0 } else { term.student.density(own) / student.density(at) };
            let panel = PANEL * term.width() * scale;
            match () {
                () if own < begin => (seen_from(&term.student, student, begin) - at).max(panel / 2.0),
                () if own < end => panel,
                () => f64::INFINITY,
            }
        };
        self.terms.iter().filter(|term| term.is_varied()).map(of_step).fold(of_density, f64::min)
    }
}

/// The deviate of `to` that has the same probability above it as the deviate `t` of `from`.
fn seen_from(from: &Student, to: &Student, t: f64) -> f64 {
    if from.is(to) {
        return t;
    }
    // By the smaller tail, so that a deviate far out on either side keeps its digits.
    let tail = from.upper_tail(t.abs()).max(LEAST_TAIL);
    to.upper_quantile(tail).copysign(t)
}
