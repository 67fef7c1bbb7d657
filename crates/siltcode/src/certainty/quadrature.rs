//! Integrals, stand-ins for expensive functions, and roots, to a stated absolute error.

use std::f64::consts::PI;
use std::sync::LazyLock;

/// Nodes of the Gauss-Legendre rule.
const NODES: usize = 12;
/// Halvings after which a panel is taken as it is.
const HALVINGS: u32 = 24;
/// The least error asked of a panel: below it halving would only chase the rounding of what is integrated, and never end.
const LEAST_ERROR: f64 = 1e-12;

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

fn panel(f: &mut impl FnMut(f64) -> f64, low: f64, high: f64) -> f64 {
    let (middle, half) = (f64::midpoint(low, high), (high - low) / 2.0);
    RULE.iter().map(|(x, weight)| weight * f(middle + half * x)).sum::<f64>() * half
}

/// The integral of `f` from `low` to `high`: panels are halved until halving changes them by less than `error`.
pub(crate) fn integral(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, error: f64) -> f64 {
    if low.partial_cmp(&high) != Some(std::cmp::Ordering::Less) {
        return 0.0;
    }
    let whole = panel(&mut f, low, high);
    halved(&mut f, low, high, whole, error, HALVINGS)
}

fn halved(f: &mut impl FnMut(f64) -> f64, low: f64, high: f64, whole: f64, error: f64, left: u32) -> f64 {
    let middle = f64::midpoint(low, high);
    let halves = [panel(f, low, middle), panel(f, middle, high)];
    if left == 0 || (halves[0] + halves[1] - whole).abs() <= error {
        return halves[0] + halves[1];
    }
    let error = (error / 1.5).max(LEAST_ERROR);
    halved(f, low, middle, halves[0], error, left - 1) + halved(f, middle, high, halves[1], error, left - 1)
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

    /// A stand-in for `f` from `low` to `high`, within about `error`.
    pub(crate) fn new(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, error: f64) -> Self {
        let mut pieces = Vec::new();
        let mut waiting = vec![(low, high, HALVINGS)];
        while let Some((low, high, left)) = waiting.pop() {
            let piece = Piece::new(&mut f, low, high);
            let tail =
                piece.coefficients[Self::DEGREE - 3..].iter().fold(0.0, |most: f64, c| most.max(c.abs()));
            if left == 0 || tail <= error {
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
        let i = self.pieces.partition_point(|piece| piece.high < x).min(self.pieces.len() - 1);
        self.pieces[i].at(x)
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

/// Where a falling function crosses zero between `low` and `high`, by bisection to the last bits.
pub(crate) fn crossing(mut falling: impl FnMut(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    for _ in 0..2100 {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high || high - low <= 2.0 * f64::EPSILON * middle.abs() {
            break;
        }
        if falling(middle) > 0.0 { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integrates_smooth_kinked_and_singular_functions() {
        assert!((integral(f64::exp, 0.0, 1.0, 1e-13) - 1.0_f64.exp_m1()).abs() < 1e-13);
        assert!((integral(|x| (x - 0.3).abs(), 0.0, 1.0, 1e-13) - 0.29).abs() < 1e-12);
        assert!((integral(f64::sqrt, 0.0, 1.0, 1e-13) - 2.0 / 3.0).abs() < 1e-12);
        assert_eq!(integral(f64::exp, 1.0, 1.0, 1e-13), 0.0);
        assert_eq!(integral(f64::exp, 1.0, f64::NAN, 1e-13), 0.0);
    }

    #[test]
    fn stands_in_for_a_step_as_well_as_for_a_wave() {
        let step = |x: f64| 1.0 / (1.0 + ((x - 0.37) * 3000.0).exp());
        let stand_in = StandIn::new(step, 0.0, 1.0, 1e-12);
        for i in 0..=1000 {
            let x = f64::from(i) / 1000.0;
            assert!((stand_in.at(x) - step(x)).abs() < 1e-10, "{x}");
        }
    }

    #[test]
    fn finds_a_crossing_to_the_last_bits() {
        assert!((crossing(|x| 2.0 - x * x, 0.0, 2.0) - 2.0_f64.sqrt()).abs() < 1e-15);
    }
}
