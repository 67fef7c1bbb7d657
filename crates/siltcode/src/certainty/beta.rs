//! The regularised incomplete beta function: tails of a binomial count.

use std::f64::consts::PI;

use super::gamma::{Gamma, ln_1p_less, ln_scaled};
use super::normal;

/// `I_x(a, b)` for `a, b > 0` and `0 <= x <= 1`, with `y = 1 - x` given to its own digits.
///
/// The continued fraction DLMF 8.17.22, on the side where it converges in some `sqrt(a + b)` steps. Where that would be
/// more than a few hundred thousand, an approximation with a relative error below 1e-5.
pub(crate) fn regularized(a: f64, b: f64, x: f64, y: f64) -> f64 {
    const MANY: f64 = 1e11;
    if x <= 0.0 {
        0.0
    } else if y <= 0.0 {
        1.0
    } else if a.max(b) > MANY {
        of_many(a, b, x, y)
    } else if x * (a + b + 2.0) < a + 1.0 {
        front(a, b, x, y) * continued_fraction(a, b, x) / a
    } else {
        1.0 - front(b, a, y, x) * continued_fraction(b, a, y) / b
    }
}

/// `a ln(x n / a) + b ln(y n / b)` with `n = a + b`.
#[allow(clippy::many_single_char_names)] // the letters of the formula
fn exponent(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let shift = (x * b - y * a) / n; // x - a / n
    let far = |m: f64, ratio: f64| if m < -0.4 { ratio.ln() - m } else { ln_1p_less(m) };
    a * far(shift * n / a, x * n / a) + b * far(-shift * n / b, y * n / b)
}

/// `x^a y^b / B(a, b)`, from the distances to `a / (a + b)` and `b / (a + b)` so that nothing large cancels;
/// far below them `x` and `y` have more digits than their distances.
#[allow(clippy::many_single_char_names)] // the letters of the formula
fn front(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let exponent = exponent(a, b, x, y);
    let stirling = ln_scaled(n) - ln_scaled(a) - ln_scaled(b);
    (exponent + stirling).exp() * (a * b / (2.0 * PI * n)).sqrt()
}

/// `I_x(a, b)` where one of them is very large: as a gamma tail while the other is moderate (M. E. Wise, Biometrika 37
/// (1950) 208-218), else by the first term of the uniform expansion (N. M. Temme, Mathematics of Computation 49 (1987)
/// 623-642), whose error falls with the smaller of both.
fn of_many(a: f64, b: f64, x: f64, y: f64) -> f64 {
    const MODERATE: f64 = 1e5;
    if a <= MODERATE {
        Gamma::at(a, -(b + (a - 1.0) / 2.0) * ln_of_rest(x, y)).lower()
    } else if b <= MODERATE {
        Gamma::at(b, -(a + (b - 1.0) / 2.0) * ln_of_rest(y, x)).upper()
    } else {
        uniform(a, b, x, y)
    }
}

/// `ln y` with the digits of whichever of `x` and `y = 1 - x` is small.
fn ln_of_rest(x: f64, y: f64) -> f64 {
    if x < 0.5 { (-x).ln_1p() } else { y.ln() }
}

#[allow(clippy::many_single_char_names)] // the letters of the formula
fn uniform(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let shift = (x * b - y * a) / n; // x - a / n
    let w = (-2.0 * exponent(a, b, x, y)).max(0.0).sqrt().copysign(shift);
    let u = shift * n * (n / a / b).sqrt();
    // Near the middle both terms of the difference are infinite, and it goes to a limit.
    let skew = if w.abs() < 1e-4 { (b - a) / 3.0 / n * (n / a / b).sqrt() } else { 1.0 / w - 1.0 / u };
    (normal::upper_tail(-w) + normal::density(w) * skew).clamp(0.0, 1.0)
}

/// The continued fraction itself, by Lentz's modified method.
pub(super) fn continued_fraction(a: f64, b: f64, x: f64) -> f64 {
    let nonzero = |value: f64| if value.abs() < f64::MIN_POSITIVE { f64::MIN_POSITIVE } else { value };
    let mut ratio = 1.0;
    let mut inverse = 1.0 / nonzero(1.0 - (a + b) * x / (a + 1.0));
    let mut value = inverse;
    for i in 1..1_000_000 {
        let i = f64::from(i);
        let even = i * (b - i) * x / ((a + 2.0 * i - 1.0) * (a + 2.0 * i));
        let odd = -(a + i) * (a + b + i) * x / ((a + 2.0 * i) * (a + 2.0 * i + 1.0));
        let before = value;
        for numerator in [even, odd] {
            inverse = 1.0 / nonzero(1.0 + numerator * inverse);
            ratio = nonzero(1.0 + numerator / ratio);
            value *= ratio * inverse;
        }
        let change = (value - before).abs();
        if change.is_nan() || change <= f64::EPSILON * value.abs() {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn is_the_binomial_tail() {
        // P(at least 3 of 5 at 0.3), by hand: 10 * 0.027 * 0.49 + 5 * 0.0081 * 0.7 + 0.00243
        assert!((regularized(3.0, 3.0, 0.3, 0.7) - 0.163_08).abs() < 1e-15);
        assert!((regularized(0.5, 0.5, 0.5, 0.5) - 0.5).abs() < 1e-15);
        for n in [1e2_f64, 1e5, 1e8] {
            // a rounding of x by one part in 1e16 moves the tail by about sqrt(n) of that
            assert!((regularized(n, n, 0.5, 0.5) - 0.5).abs() < 1e-15 * n.sqrt(), "{n}");
        }
    }

    #[test]
    fn what_stands_for_many_agrees_where_both_can_be_worked_out() {
        for (a, b) in [(2e5, 2e5), (3e5, 7e6), (7e6, 3e5), (1e6, 1e8)] {
            let n: f64 = a + b;
            for z in [-8.0, -3.0, -0.5, -1e-5, 0.0, 1e-5, 0.7, 4.0] {
                let x = a / n + z * (a * b / n).sqrt() / n;
                let (exact, found) = (regularized(a, b, x, 1.0 - x), uniform(a, b, x, 1.0 - x));
                assert!((found / exact - 1.0).abs() < 1e-5, "{a} {b} {z}: {found} {exact}");
            }
        }
        for (a, b) in [(1.0, 1e9), (20.0, 1e9), (3e3, 1e10)] {
            for factor in [0.5, 0.9, 1.0, 1.1, 3.0] {
                let x = factor * a / (a + b);
                let (exact, found) = (regularized(a, b, x, 1.0 - x), of_many(a, b, x, 1.0 - x));
                assert!((found - exact).abs() <= 1e-6 * exact, "{a} {b} {factor}: {found} {exact}");
                let (exact, found) = (regularized(b, a, 1.0 - x, x), of_many(b, a, 1.0 - x, x));
                assert!((found - exact).abs() <= 1e-6 * exact, "{b} {a} {factor}: {found} {exact}");
            }
        }
    }
}
