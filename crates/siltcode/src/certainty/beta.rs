//! The regularised incomplete beta function: tails of a binomial count.

use std::f64::consts::PI;

use super::gamma::{ln_1p_less, ln_scaled};

/// `I_x(a, b)` for `a, b > 0` and `0 <= x <= 1`, with `y = 1 - x` given to its own digits.
///
/// The continued fraction DLMF 8.17.22, on the side where it converges in some `sqrt(a + b)` steps.
pub(crate) fn regularized(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if y <= 0.0 {
        1.0
    } else if x * (a + b + 2.0) < a + 1.0 {
        front(a, b, x, y) * continued_fraction(a, b, x) / a
    } else {
        1.0 - front(b, a, y, x) * continued_fraction(b, a, y) / b
    }
}

/// `x^a y^b / B(a, b)`, from the distances to `a / (a + b)` and `b / (a + b)` so that nothing large cancels;
/// far below them `x` and `y` have more digits than their distances.
#[allow(clippy::many_single_char_names)] // the letters of the formula
fn front(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let shift = (x * b - y * a) / n; // x - a / n
    let far = |m: f64, ratio: f64| if m < -0.4 { ratio.ln() - m } else { ln_1p_less(m) };
    let exponent = a * far(shift * n / a, x * n / a) + b * far(-shift * n / b, y * n / b);
    let stirling = ln_scaled(n) - ln_scaled(a) - ln_scaled(b);
    (exponent + stirling).exp() * (a * b / (2.0 * PI * n)).sqrt()
}

/// Modified Lentz.
fn continued_fraction(a: f64, b: f64, x: f64) -> f64 {
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
        if (value - before).abs() <= f64::EPSILON * value.abs() {
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
}
