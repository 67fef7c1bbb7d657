//! Integrals, stand-ins for expensive functions, and roots, to a stated absolute error.

use std::f64::consts::PI;
use std::sync::LazyLock;

/// Nodes of the Gauss-Legendre rule.
const NODES: usize = 12;
/// Halvings after which a panel or piece is taken as it is.
const HALVINGS: u32 = 24;
/// Panels or pieces after which the rest are taken as they are: an end for functions no rule of any order fits.
const BUDGET: u32 = 4096;
/// The least share of the error asked of a panel: below it halving would only chase the rounding of what is integrated.
const LEAST_SHARE: f64 = 0.1;

/// Nodes and weights on -1 to 1: roots of the Legendre polynomial by Newton's method (DLMF 3.5.v).
static RULE: LazyLock<[(f64, f64); NODES]> = LazyLock::new(|| std::array::from_fn(node));

fn node(i: usize) -> (f64, f64) {
    let mut x = (PI * (i as f64 + 0.75) / (NODES as f64 + 0.5)).cos();
    let mut slope = 1.0;
    for _ in 0..8 {
        let (mut before, mut value) = (1.0, x);
        for n in 2..=NODES {
            let n = n as f64;
            (before, value) = (value, ((2.0 * n - 1.0) * x * value - (n - 1.0) * before) / n);
        }
        slope = NODES as f64 * (x * value - before) / (x * x - 1.0);
        x -= value / slope;
    }
    (x, 2.0 / ((1.0 - x * x) * slope * slope))
}

pub(crate) fn panel(f: &mut impl FnMut(f64) -> f64, low: f64, high: f64) -> f64 {
    let (middle, half) = (f64::midpoint(low, high), (high - low) / 2.0);
    RULE.iter().map(|(x, weight)| weight * f(middle + half * x)).sum::<f64>() * half
}

/// The integral of `f` over the panels between these points, whatever their order: panels are halved until halving
/// changes them by less than `error`, which must be well above the rounding of `f`.
///
/// A step narrower than the gap between two nodes goes unseen unless the points mark it: see [`mark_step`].
pub(crate) fn integral(mut f: impl FnMut(f64) -> f64, points: &mut [f64], error: f64) -> f64 {
    let mut waiting = Vec::with_capacity(16);
    for (low, high) in panels(points) {
        waiting.push((low, high, panel(&mut f, low, high), error, HALVINGS));
    }
    let (mut sum, mut budget) = (0.0, BUDGET);
    while let Some((low, high, whole, allowed, left)) = waiting.pop() {
        let middle = f64::midpoint(low, high);
        let halves = [panel(&mut f, low, middle), panel(&mut f, middle, high)];
        budget = budget.saturating_sub(1);
        if left == 0 || budget == 0 || (halves[0] + halves[1] - whole).abs() <= allowed {
            sum += halves[0] + halves[1];
            continue;
        }
        let allowed = (allowed / 1.5).max(error * LEAST_SHARE);
        waiting.push((middle, high, halves[1], allowed, left - 1));
        waiting.push((low, middle, halves[0], allowed, left - 1));
    }
    sum
}

/// The panels between points, those of no width left out.
fn panels(points: &mut [f64]) -> impl Iterator<Item = (f64, f64)> {
    points.sort_by(f64::total_cmp);
    points.windows(2).map(|pair| (pair[0], pair[1])).filter(|(low, high)| low < high)
}

/// Marks a step between the first two of `points`, its middle and its ends, if it is narrow: what happens over `width`
/// in a function that goes on for about `reach`.
pub(crate) fn mark_step(points: &mut Vec<f64>, middle: f64, width: f64, reach: f64) {
    /// Widths from the middle of a step to its ends.
    const TO_END: f64 = 8.0;
    if TO_END * width < reach {
        let (low, high) = (points[0].min(points[1]), points[0].max(points[1]));
        let marks = [middle - TO_END * width, middle, middle + TO_END * width];
        points.extend(marks.iter().filter(|mark| (low..high).contains(mark)));
    }
}

/// A function on an interval, stood in for by Chebyshev series on pieces as short as it needs.
#[derive(Debug, Clone)]
pub(crate) struct StandIn {
    pieces: Vec<Piece>,
}

#[derive(Debug, Clone)]
struct Piece {
    low: f64,
    high: f64,
    coefficients: [f64; StandIn::DEGREE],
}

impl StandIn {
    const DEGREE: usize = 16;

    /// A stand-in for `f` over the panels between these points, within about `error`; see [`integral`].
    pub(crate) fn new(mut f: impl FnMut(f64) -> f64, points: &mut [f64], error: f64) -> Self {
        let mut pieces: Vec<Piece> = Vec::new();
        let mut waiting: Vec<_> = panels(points).map(|(low, high)| (low, high, HALVINGS)).collect();
        waiting.reverse();
        while let Some((low, high, left)) = waiting.pop() {
            let piece = Piece::new(&mut f, low, high);
            let tail =
                piece.coefficients[Self::DEGREE - 3..].iter().fold(0.0, |most: f64, c| most.max(c.abs()));
            if left == 0 || tail <= error || pieces.len() + waiting.len() >= BUDGET as usize {
                pieces.push(piece);
            } else {
                let middle = f64::midpoint(low, high);
                waiting.extend([(middle, high, left - 1), (low, middle, left - 1)]);
            }
        }
        Self { pieces }
    }

    /// The value at `x`, which lies on the interval.
    pub(crate) fn at(&self, x: f64) -> f64 {
        let i = self.pieces.partition_point(|piece| piece.high < x);
        self.pieces.get(i).or(self.pieces.last()).map_or(0.0, |piece| piece.at(x))
    }
}

impl Piece {
    fn new(f: &mut impl FnMut(f64) -> f64, low: f64, high: f64) -> Self {
        const N: usize = StandIn::DEGREE;
        let (middle, half) = (f64::midpoint(low, high), (high - low) / 2.0);
        let angle = |j: usize| PI * (j as f64 + 0.5) / N as f64;
        let values: [f64; N] = std::array::from_fn(|j| f(middle + half * angle(j).cos()));
        let coefficients = std::array::from_fn(|n| {
            let sum: f64 =
                values.iter().enumerate().map(|(j, value)| value * (n as f64 * angle(j)).cos()).sum();
            sum * if n == 0 { 1.0 } else { 2.0 } / N as f64
        });
        Self { low, high, coefficients }
    }

    /// Clenshaw's recurrence.
    fn at(&self, x: f64) -> f64 {
        let t = ((2.0 * x - self.low - self.high) / (self.high - self.low)).clamp(-1.0, 1.0);
        let (mut next, mut after) = (0.0, 0.0);
        for c in self.coefficients[1..].iter().rev() {
            (next, after) = (2.0 * t * next - after + c, next);
        }
        t * next - after + self.coefficients[0]
    }
}

/// Where a falling function crosses zero between `low` and `high`, to the last bits: inverse quadratic interpolation where
/// that is safe, else halving (T. R. Chandrupatla, Advances in Engineering Software 28 (1997) 145-149).
pub(crate) fn crossing(mut falling: impl FnMut(f64) -> f64, low: f64, high: f64) -> f64 {
    /// Halvings from the largest double to the least, twice.
    const MOST_STEPS: usize = 4200;
    let (mut a, mut b) = ((low, falling(low)), (high, falling(high)));
    if a.1 <= 0.0 || b.1 > 0.0 {
        return if a.1 <= 0.0 { low } else { high };
    }
    let mut share = 0.5;
    for _ in 0..MOST_STEPS {
        let x = a.0 + share * (b.0 - a.0);
        let new = (x, falling(x));
        let old = if (new.1 > 0.0) == (a.1 > 0.0) { a } else { std::mem::replace(&mut b, a) };
        a = new;
        let best = if a.1.abs() < b.1.abs() { a } else { b };
        let least = 2.0 * f64::EPSILON * best.0.abs() / (b.0 - a.0).abs();
        if best.1 == 0.0 || least.is_nan() || least >= 0.5 {
            return best.0;
        }
        share = interpolated(a, b, old).unwrap_or(0.5).clamp(least, 1.0 - least);
    }
    f64::midpoint(a.0, b.0)
}

/// How far from `a` to `b` the inverse parabola through three points crosses zero, where it rises or falls throughout.
fn interpolated(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> Option<f64> {
    let (xi, phi) = ((a.0 - b.0) / (c.0 - b.0), (a.1 - b.1) / (c.1 - b.1));
    let is_safe = phi * phi < xi && (1.0 - phi).powi(2) < 1.0 - xi;
    let at = |a: f64, b: f64, c: f64, far: f64| a / (b - a) * c / (b - c) + far * a / (c - a) * b / (c - b);
    is_safe.then(|| at(a.1, b.1, c.1, (c.0 - a.0) / (b.0 - a.0))).filter(|share| share.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integrates_smooth_kinked_and_singular_functions() {
        assert!((integral(f64::exp, &mut [0.0, 1.0], 1e-13) - 1.0_f64.exp_m1()).abs() < 1e-13);
        assert!((integral(|x| (x - 0.3).abs(), &mut [0.0, 1.0], 1e-13) - 0.29).abs() < 1e-12);
        assert!((integral(f64::sqrt, &mut [0.0, 1.0], 1e-13) - 2.0 / 3.0).abs() < 1e-12);
        assert_eq!(integral(f64::exp, &mut [1.0, 1.0], 1e-13), 0.0);
        assert_eq!(integral(f64::exp, &mut [1.0, f64::NAN], 1e-13), 0.0);
    }

    #[test]
    fn a_marked_step_is_seen_wherever_it_lies() {
        for middle in [1e-9, 1e-3, 0.5, 0.999, 1.0 - 1e-9] {
            let width = 1e-6;
            let step = |x: f64| 1.0 / (1.0 + ((x - middle) / width).exp());
            let mut points = vec![0.0, 1.0];
            mark_step(&mut points, middle, 4.0 * width, 1.0);
            let fallen = |x: f64| x.max(0.0) + (-x.abs()).exp().ln_1p();
            let expected = width * (fallen(middle / width) - fallen((middle - 1.0) / width));
            let found = integral(step, &mut points, 1e-12);
            assert!((found - expected).abs() < 1e-9, "{middle}: {found} {expected}");
        }
    }

    #[test]
    fn stands_in_for_a_step_as_well_as_for_a_wave() {
        let step = |x: f64| 1.0 / (1.0 + ((x - 0.37) * 3000.0).exp());
        let stand_in = StandIn::new(step, &mut [0.0, 1.0], 1e-12);
        for i in 0..=1000 {
            let x = f64::from(i) / 1000.0;
            assert!((stand_in.at(x) - step(x)).abs() < 1e-10, "{x}");
        }
    }

    #[test]
    fn finds_a_crossing_to_the_last_bits() {
        assert!((crossing(|x| 2.0 - x * x, 0.0, 2.0) - 2.0_f64.sqrt()).abs() < 1e-15);
        assert!((crossing(|x| 1.0 - x.powi(9), 0.0, 1e9) - 1.0).abs() < 1e-15);
        assert!((crossing(|x| if x < 0.25 { 1.0 } else { -1.0 }, 0.0, 1.0) - 0.25).abs() < 1e-15);
        assert_eq!(crossing(|_| -1.0, 3.0, 5.0), 3.0);
        assert_eq!(crossing(|_| 1.0, 3.0, 5.0), 5.0);
    }
}
