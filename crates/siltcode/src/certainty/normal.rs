//! The normal distribution, with tails that keep their digits.

use std::f64::consts::{PI, SQRT_2};
use std::sync::LazyLock;

use statrs::function::erf::erfc_inv;

/// The probability above `z` \[-\].
pub(crate) fn upper_tail(z: f64) -> f64 {
    erfc(z / SQRT_2) / 2.0
}

/// The density at `z`.
pub(crate) fn density(z: f64) -> f64 {
    (-z * z / 2.0).exp() / (2.0 * PI).sqrt()
}

/// The `z` with probability `tail` above it, for `0 < tail < 1`.
pub(crate) fn upper_quantile(tail: f64) -> f64 {
    SQRT_2 * erfc_inv(2.0 * tail)
}

/// Beyond this no double is small enough for `erfc`.
const NOTHING_LEFT: f64 = 28.0;

/// The complementary error function, to a few units in the last place at either sign.
pub(crate) fn erfc(x: f64) -> f64 {
    if x.abs() > NOTHING_LEFT {
        return if x < 0.0 { 2.0 } else { 0.0 };
    }
    let tail = (-x * x).exp() * erfc_scaled(x.abs());
    if x < 0.0 { 2.0 - tail } else { tail }
}

/// `exp(x^2) erfc(x)` for `x >= 0`, by the midpoint rule over the integral DLMF 7.7.1.
///
/// With the step `h` the rule errs by `exp(-pi^2 / h^2)`, 7e-18 here, once the pole that `x < pi / h` leaves inside is
/// made up for (D. B. Hunter and T. Regan, Mathematics of Computation 26 (1972) 539-541).
pub(crate) fn erfc_scaled(x: f64) -> f64 {
    let lanes = NODES.iter().fold([0.0; LANES], |sums, (squares, weights)| {
        std::array::from_fn(|i| sums[i] + weights[i] / (squares[i] + x * x))
    });
    let sum: f64 = lanes.iter().sum();
    let pole = if x < PI / STEP { 2.0 * (x * x).exp() / (1.0 + (2.0 * PI * x / STEP).exp()) } else { 0.0 };
    2.0 * STEP * x / PI * sum + pole
}

/// The step of the midpoint rule.
const STEP: f64 = 0.5;

/// Terms that are worked out together.
const LANES: usize = 2;

/// Squares of its points, the smallest terms first, and their weights; the weight after the 14th is below exp(-52).
static NODES: LazyLock<[([f64; LANES], [f64; LANES]); 7]> = LazyLock::new(|| {
    std::array::from_fn(|block| {
        let squares = std::array::from_fn(|lane| {
            let n = 13 - (LANES * block + lane);
            ((n as f64 + 0.5) * STEP).powi(2)
        });
        (squares, squares.map(|square| (-square).exp()))
    })
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_undoes_its_inverse() {
        for i in 1..200 {
            let tail = 0.5_f64.powi(i);
            let found = upper_tail(upper_quantile(tail));
            assert!((found / tail - 1.0).abs() < 5e-16 * f64::from(i + 8), "{tail}: {found}");
        }
    }
}
