//! Any number of nested sums at once, one integral inside the other.
//!
//! With the largest bin first, `g_i(s)` is the chance that the `i` smallest bins keep their limits when the larger ones
//! hold `s` particles: `g_i(s) = integral of f_i(x) g_{i-1}(s + x)` over what its limit leaves. Each is integrated
//! adaptively in the root of `x`, and stood in for by Chebyshev pieces in the root of what the limit leaves.

use crate::certainty::gamma::Shape;
use crate::certainty::level::Interval;
use crate::certainty::quadrature::{StandIn, integral, mark_step};

/// Roundings of the largest shape below which no step can be told right from wrong.
const ROUNDINGS: f64 = 64.0;

/// Independent gamma bins, smallest size first, and the limits of their sums from the large end.
pub(super) struct Chain {
    shapes: Vec<Shape>,
    /// Each sum from its bin to the largest.
    from_here_up: Vec<Shape>,
    limits: Vec<f64>,
    error: f64,
}

impl Chain {
    /// A limit is never above that of a smaller size, which holds for it too, nor above where its sum ends.
    pub(super) fn new(bins: &[f64], limits: &[f64], error: f64) -> Self {
        let shapes: Vec<Shape> = bins.iter().map(|&bin| Shape::new(bin)).collect();
        let sum_from = |i: usize| Shape::new(shapes[i..].iter().map(Shape::get).sum());
        let from_here_up: Vec<Shape> = (0..shapes.len()).map(sum_from).collect();
        let mut limits = limits.to_vec();
        for i in 0..limits.len() {
            let end = support(&from_here_up[i]).high;
            let above = if i == 0 { end } else { limits[i - 1].min(end) };
            limits[i] = limits[i].min(above);
        }
        let rounding = from_here_up.first().map_or(0.0, Shape::rounding);
        Self { shapes, from_here_up, limits, error: error.max(ROUNDINGS * rounding) }
    }

    pub(super) fn all_within(&self) -> f64 {
        let Some(last) = self.shapes.len().checked_sub(1) else { return 1.0 };
        let mut stand_in: Option<StandIn> = None;
        for i in 1..last {
            let larger = support(&self.from_here_up[i + 1]);
            let high = larger.high.min(self.limits[i + 1]);
            if larger.low >= high {
                return 0.0;
            }
            let mut points = vec![larger.low, high];
            self.mark_steps(&mut points, i + 1, 0.0, &self.from_here_up[i + 1]);
            let left = |sum: f64| (self.limits[i] - sum).max(0.0).sqrt();
            for point in &mut points {
                *point = left(*point);
            }
            let chance = |root: f64| self.chance(i, self.limits[i] - root * root, stand_in.as_ref());
            stand_in = Some(StandIn::new(chance, &mut points, self.error));
        }
        self.chance(last, 0.0, stand_in.as_ref())
    }

    /// `g_i(sum)`, from the stand-in of `g_{i-1}`; the first two need none.
    fn chance(&self, i: usize, sum: f64, smaller: Option<&StandIn>) -> f64 {
        let within = |sum: f64| match smaller {
            Some(smaller) => smaller.at((self.limits[i - 1] - sum).max(0.0).sqrt()),
            None => self.shapes[0].tails(self.limits[0] - sum)[0],
        };
        if i == 0 {
            return within(sum);
        }
        let shape = &self.shapes[i];
        let reach = support(shape);
        let high = reach.high.min(self.limits[i] - sum);
        if reach.low >= high {
            return 0.0;
        }
        let mut points = vec![reach.low, high];
        self.mark_steps(&mut points, i, sum, shape);
        points.push(shape.get().min(high));
        for point in &mut points {
            *point = point.sqrt();
        }
        let weighted = |root: f64| density_of_root(shape, root) * within(sum + root * root);
        integral(weighted, &mut points, self.error)
    }

    /// Marks where the `i` smallest bins begin to exceed a limit, if beside `larger` they are sharp: each with its larger
    /// neighbours scatters by the root of what they hold.
    fn mark_steps(&self, points: &mut Vec<f64>, i: usize, sum: f64, larger: &Shape) {
        let mut held = 0.0;
        for j in (0..i).rev() {
            held += self.shapes[j].get();
            mark_step(points, self.limits[j] - sum - held, held.sqrt(), larger.get().sqrt());
        }
    }
}

/// Where a gamma variable has all but some 1e-14 of its mass.
fn support(shape: &Shape) -> Interval<f64> {
    let reach = 8.0 * shape.get().sqrt();
    Interval { low: (shape.get() - reach).max(0.0), high: shape.get() + reach + 32.0 }
}

/// The density of the root of a gamma variable: `2 x f(x^2)`, without a pole at 0 from shape 1/2 on.
fn density_of_root(shape: &Shape, root: f64) -> f64 {
    if root <= 0.0 {
        return 0.0;
    }
    2.0 * shape.get() * shape.ln_term(root * root).exp() / root
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::certainty::gamma::Gamma;

    /// Equal limits at all sizes are one limit on the sum.
    #[test]
    fn equal_limits_are_one_limit_on_the_sum() {
        for bins in [vec![70.5, 22.5, 3.5], vec![0.5, 0.5, 0.5, 0.5, 0.5], vec![1e6, 4e5, 300.0, 1.0]] {
            let shape: f64 = bins.iter().sum();
            for factor in [0.99, 1.0, 1.002, 1.5] {
                let limits = vec![shape * factor; bins.len()];
                let joint = Chain::new(&bins, &limits, 1e-9).all_within();
                let expected = Gamma::at(shape, shape * factor).lower();
                assert!((joint - expected).abs() < 1e-8, "{bins:?} {factor}: {joint} {expected}");
            }
        }
    }
}
