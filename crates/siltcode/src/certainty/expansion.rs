//! Quantiles of large gamma variables as a series in the inverse root of the shape.
//!
//! The quantile of shape `a` at the normal deviate `z` is `x = a (1 + s u)` with `s = 1 / sqrt(a)` and
//! `u = z + s (z^2 - 1) / 3 + s^2 (z^3 - 7 z) / 36 + ...` (the Cornish-Fisher expansion). All its polynomials follow
//! from the differential equation that a quantile obeys (G. Steinbrecher and W. T. Shaw, European Journal of Applied
//! Mathematics 19 (2008) 87-112), here for the density `x^(a - 1) exp(-x) (1 + x / a)^h`:
//!
//! `G (u'' + z u') = (u + h s u^2 / 2 + s (1 - h / 2)) u'^2` with `G = (1 + s u)(1 + h s u / 2)`.
//!
//! `h = 0` is the gamma variable itself; `h = 1` is the even mixture of the shapes `a` and `a + 1` that mid-P limits
//! need. Each order is a linear equation, `u_j'' - z u_j' - u_j` = known, with exactly one polynomial solution, so no
//! constant of integration is left to fix.

use std::sync::LazyLock;

/// Orders of the series.
const ORDERS: usize = 20;

/// Coefficients of the powers of `z`, rising.
type Polynomial = Vec<f64>;

/// The polynomials `u_0 ... ` of one density.
pub(crate) struct Family(Vec<Polynomial>);

/// Gamma variables.
pub(crate) static GAMMA: LazyLock<Family> = LazyLock::new(|| Family::solve(0.0));
/// The even mixture of the shapes `a` and `a + 1`.
pub(crate) static MIXTURE: LazyLock<Family> = LazyLock::new(|| Family::solve(1.0));

impl Family {
    fn solve(h: f64) -> Self {
        let mut u = vec![vec![0.0, 1.0]];
        let mut square = vec![product(&u[0], &u[0])]; // u^2
        let mut speed = vec![vec![1.0]]; // u'^2
        for j in 1..ORDERS {
            let slopes: Vec<_> = u.iter().map(slope).collect();
            let partial_speed = convolved(&slopes, &slopes, j, 1);
            let known = residue(h, j, &u, &square, &speed, &partial_speed);
            let next = invert(&known);
            speed.push(sum(&[(1.0, &partial_speed), (2.0, &slope(&next))]));
            u.push(next);
            square.push(convolved(&u, &u, j, 0));
        }
        Self(u)
    }

    /// The series at one normal deviate.
    pub(crate) fn at(&self, z: f64) -> Series {
        let value = |polynomial: &Polynomial| polynomial.iter().rev().fold(0.0, |value, p| value * z + p);
        Series(std::array::from_fn(|i| [value(&self.0[2 * i]), value(&self.0[2 * i + 1])]))
    }
}

/// What order `j` of `G (u'' + z u') - (u + h s u^2 / 2 + s (1 - h / 2)) u'^2` leaves without `u_j`.
fn residue(
    h: f64,
    j: usize,
    u: &[Polynomial],
    square: &[Polynomial],
    speed: &[Polynomial],
    partial_speed: &Polynomial,
) -> Polynomial {
    let curve: Vec<_> =
        u.iter().map(|p| sum(&[(1.0, &slope(&slope(p))), (1.0, &shifted(&slope(p)))])).collect();
    let pull = product(&u[0], partial_speed);
    let pulls = convolved(u, speed, j, 1);
    let first = convolved(u, &curve, j - 1, 0);
    let previous = &speed[j - 1];
    let second = if j >= 2 { convolved(square, &curve, j - 2, 0) } else { Vec::new() };
    let lift = convolved(square, speed, j - 1, 0);
    sum(&[
        (1.0 + h / 2.0, &first),
        (h / 2.0, &second),
        (-1.0, &pull),
        (-1.0, &pulls),
        (-h / 2.0, &lift),
        (h / 2.0 - 1.0, previous),
    ])
}

/// The polynomial `p` with `p'' - z p' - p = -known`: `z^n` goes to `n (n - 1) z^(n-2) - (n + 1) z^n`.
fn invert(known: &Polynomial) -> Polynomial {
    let mut p = known.clone();
    for n in (0..p.len()).rev() {
        p[n] /= (n + 1) as f64;
        if n >= 2 {
            p[n - 2] += (n * (n - 1)) as f64 * p[n];
        }
    }
    p
}

/// Order `j` of the product of two series, over the terms `i` of the first with `skip <= i <= j - skip`.
fn convolved(left: &[Polynomial], right: &[Polynomial], j: usize, skip: usize) -> Polynomial {
    let products: Vec<_> = (skip..=j - skip).map(|i| product(&left[i], &right[j - i])).collect();
    sum(&products.iter().map(|p| (1.0, p)).collect::<Vec<_>>())
}

fn product(left: &Polynomial, right: &Polynomial) -> Polynomial {
    let mut result = vec![0.0; (left.len() + right.len()).saturating_sub(1)];
    for (i, a) in left.iter().enumerate() {
        for (j, b) in right.iter().enumerate() {
            result[i + j] += a * b;
        }
    }
    result
}

fn sum(terms: &[(f64, &Polynomial)]) -> Polynomial {
    let mut result = vec![0.0; terms.iter().map(|(_, p)| p.len()).max().unwrap_or(0)];
    for (factor, polynomial) in terms {
        for (r, p) in result.iter_mut().zip(*polynomial) {
            *r += factor * p;
        }
    }
    result
}

/// The derivative.
fn slope(p: &Polynomial) -> Polynomial {
    p.iter().enumerate().skip(1).map(|(n, c)| n as f64 * c).collect()
}

/// The polynomial times `z`.
fn shifted(p: &Polynomial) -> Polynomial {
    [0.0].iter().chain(p).copied().collect()
}

/// The expansion at one normal deviate, `x = a + sqrt(a) E(1 / a) + O(1 / a)`: even and odd orders in turn.
#[derive(Debug, Clone)]
pub(crate) struct Series([[f64; 2]; ORDERS / 2]);

impl Series {
    /// The quantile of shape `a`. Two short chains of products run faster than one long one.
    #[inline]
    pub(crate) fn quantile(&self, a: f64) -> f64 {
        let t = 1.0 / a;
        let [even, odd] =
            self.0.iter().rev().fold([0.0; 2], |sum, pair| [sum[0] * t + pair[0], sum[1] * t + pair[1]]);
        a + (a.sqrt() * even + odd)
    }

    /// A start for an iteration, good to a few per cent down to shapes of about `z^2`.
    pub(crate) fn rough(&self, a: f64) -> f64 {
        let [[first, second], [third, _], ..] = self.0;
        a + a.sqrt() * (first + third / a) + second
    }

    /// The least shape at which the last two terms are below `tolerance` of the quantile.
    pub(crate) fn least_shape(&self, tolerance: f64) -> f64 {
        let last = self.0[ORDERS / 2 - 1].map(|c| (c.abs() / tolerance).powf(2.0 / ORDERS as f64));
        last[0].max(last[1]).max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn starts_with_the_published_terms() {
        for z in [-3.0_f64, -0.5, 0.0, 1.0, 2.5] {
            let series = GAMMA.at(z);
            let published = [z, (z * z - 1.0) / 3.0, (z.powi(3) - 7.0 * z) / 36.0];
            for (term, expected) in series.0.as_flattened().iter().zip(published) {
                assert!((term - expected).abs() < 1e-14, "{z}: {term} {expected}");
            }
        }
    }
}
