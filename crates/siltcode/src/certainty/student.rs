//! Student's t distribution.

use super::beta::regularized;
use super::level::Level;
use super::quadrature::crossing;

/// Logarithm of the largest deviate looked for: beyond it no double is left outside.
const WIDEST_LOG: f64 = 700.0;

/// The deviate that a variable of this many degrees of freedom keeps within at this level, on either side \[-\].
pub(crate) fn two_sided(level: Level, degrees: f64) -> f64 {
    let outside = |log: f64| outside(log.exp(), degrees) - level.risk();
    crossing(outside, -WIDEST_LOG / 10.0, WIDEST_LOG).exp()
}

/// The probability beyond `t` on both sides, DLMF 8.17 with `x = degrees / (degrees + t^2)` \[-\].
fn outside(t: f64, degrees: f64) -> f64 {
    let ratio = t / degrees.sqrt() * t / degrees.sqrt();
    regularized(degrees / 2.0, 0.5, 1.0 / (1.0 + ratio), ratio / (1.0 + ratio))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn one_and_two_degrees_have_closed_forms() {
        for level in [0.01, 0.5, 0.9, 0.95, 0.999, 1.0 - 1e-9] {
            let level = Level::new(level).unwrap();
            let one = 1.0 / (PI * level.risk() / 2.0).tan();
            let two = level.get() * (2.0 / (level.risk() * (1.0 + level.get()))).sqrt();
            for (degrees, expected) in [(1.0, one), (2.0, two)] {
                let found = two_sided(level, degrees);
                assert!((found / expected - 1.0).abs() < 1e-12, "{level:?}: {found} for {expected}");
            }
        }
    }

    #[test]
    fn many_degrees_come_to_the_normal_distribution() {
        let found = two_sided(Level::default(), 1e7);
        assert!((found - crate::certainty::normal::upper_quantile(0.025)).abs() < 1e-6, "{found}");
    }
}
