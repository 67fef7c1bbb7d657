//! Student's t distribution, of any number of degrees of freedom; of infinitely many it is the normal distribution.

use std::f64::consts::PI;

use super::beta::{continued_fraction, regularized};
use super::gamma::ln_gamma;
use super::level::Level;
use super::normal;
use super::quadrature::crossing;

/// Logarithm of the largest deviate looked for: beyond it no double is left outside.
const WIDEST_LOG: f64 = 700.0;

/// A step of Newton's method after which one more finds the last digits.
const NEAR: f64 = 1e-6;

/// The deviate that a variable of this many degrees of freedom keeps within at this level, on either side \[-\].
pub(crate) fn two_sided(level: Level, degrees: f64) -> f64 {
    Student::new(degrees).upper_quantile(level.risk() / 2.0)
}

/// The distribution for one number of degrees of freedom.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Student {
    degrees: f64,
    /// Logarithm of the density at 0.
    ln_peak: f64,
}

impl Student {
    /// From here on the distribution is taken to be normal: the two differ by less than `1 / (4 degrees)`.
    const NORMAL_FROM: f64 = 1e9;

    /// The distribution of `degrees > 0`.
    pub(crate) fn new(degrees: f64) -> Self {
        if degrees >= Self::NORMAL_FROM {
            return Self { degrees: f64::INFINITY, ln_peak: normal::density(0.0).ln() };
        }
        let gammas = ln_gamma(f64::midpoint(degrees, 1.0)) - ln_gamma(degrees / 2.0);
        Self { degrees, ln_peak: gammas - (degrees * PI).ln() / 2.0 }
    }

    /// The number of degrees of freedom; infinite for the normal distribution.
    pub(crate) const fn degrees(&self) -> f64 {
        self.degrees
    }

    /// Whether both are the same distribution.
    pub(crate) fn is(&self, other: &Self) -> bool {
        self.degrees.total_cmp(&other.degrees).is_eq()
    }

    /// The density at `t`.
    pub(crate) fn density(&self, t: f64) -> f64 {
        if self.degrees.is_infinite() {
            return normal::density(t);
        }
        (self.ln_peak - f64::midpoint(self.degrees, 1.0) * (t * t / self.degrees).ln_1p()).exp()
    }

    /// The probability above `t` \[-\].
    pub(crate) fn upper_tail(&self, t: f64) -> f64 {
        let beyond = self.outside(t.abs()) / 2.0;
        if t < 0.0 { 1.0 - beyond } else { beyond }
    }

    /// The probability beyond `t >= 0` on both sides, DLMF 8.17 with `x = degrees / (degrees + t^2)` \[-\].
    fn outside(&self, t: f64) -> f64 {
        if self.degrees.is_infinite() {
            return 2.0 * normal::upper_tail(t);
        }
        let shape = self.degrees / 2.0;
        let ratio = t / self.degrees.sqrt() * t / self.degrees.sqrt();
        let (inside, outside) = (ratio / (1.0 + ratio), 1.0 / (1.0 + ratio));
        // What stands before the continued fraction is the density times the deviate.
        let front = t * self.density(t);
        if outside * (shape + 2.5) < shape + 1.0 {
            front * continued_fraction(shape, 0.5, outside) / shape
        } else {
            1.0 - front * continued_fraction(0.5, shape, inside) / 0.5
        }
    }

    /// The `t` with probability `tail` above it, for `0 < tail < 1`.
    ///
    /// Newton's method on the logarithm of the tail over the logarithm of `t`, where the tail of a low number of degrees
    /// is a straight line; where that does not settle, halving.
    pub(crate) fn upper_quantile(&self, tail: f64) -> f64 {
        if self.degrees.is_infinite() {
            return normal::upper_quantile(tail);
        }
        if tail > 0.5 {
            return -self.upper_quantile(1.0 - tail);
        }
        if tail > 0.45 {
            return self.near_the_middle(tail);
        }
        let mut t = self.start(tail);
        let mut is_near = false;
        for _ in 0..12 {
            let found = self.outside(t) / 2.0;
            let elasticity = t * self.density(t) / found;
            let step = (found / tail).ln() / elasticity;
            t *= step.clamp(-2.0, 2.0).exp();
            // One step more leaves its square; rounding may keep a step from ever being smaller than some 1e-14.
            if is_near {
                return t;
            }
            is_near = step.abs() < NEAR;
        }
        let outside = |log: f64| self.outside(log.exp()) - 2.0 * tail;
        crossing(outside, -WIDEST_LOG / 10.0, WIDEST_LOG).exp()
    }

    /// Newton's method on the tail itself, which is nearly a straight line there.
    fn near_the_middle(&self, tail: f64) -> f64 {
        let mut t = 0.0;
        for _ in 0..8 {
            t += (self.upper_tail(t) - tail) / self.density(t);
        }
        t
    }

    /// Of one and two degrees in closed form, of more by the first terms of the Cornish-Fisher expansion.
    fn start(&self, tail: f64) -> f64 {
        let z = normal::upper_quantile(tail);
        let expanded = z + (z.powi(3) + z) / (4.0 * self.degrees);
        let two = (1.0 - 2.0 * tail) * (2.0 * tail * (1.0 - tail)).sqrt().recip();
        if self.degrees < 3.0 { two.max(expanded) } else { expanded }
    }
}

/// The probability above `f` of the F distribution; of chi-square over its degrees where the second are infinite.
pub(crate) fn f_tail(f: f64, first: f64, second: f64) -> f64 {
    const AS_GOOD_AS_KNOWN: f64 = 1e7;
    let second = second.min(AS_GOOD_AS_KNOWN);
    let all = second + first * f;
    regularized(second / 2.0, first / 2.0, second / all, first * f / all)
}

#[cfg(test)]
mod tests {
    use super::*;

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
        assert!((found - normal::upper_quantile(0.025)).abs() < 1e-6, "{found}");
    }

    #[test]
    fn the_quantile_undoes_the_tail() {
        for degrees in [1.0, 1.7, 2.0, 3.0, 7.5, 20.0, 400.0, 1e6, f64::INFINITY] {
            let student = Student::new(degrees);
            for tail in [1e-120, 1e-30, 1e-6, 0.01, 0.2, 0.44, 0.46, 0.499_999, 0.5, 0.51, 0.9, 1.0 - 1e-9] {
                let found = student.upper_tail(student.upper_quantile(tail));
                assert!((found / tail - 1.0).abs() < 1e-11, "{degrees} {tail}: {found}");
            }
        }
    }

    #[test]
    fn the_density_is_the_slope_of_the_tail() {
        for degrees in [1.0, 2.0, 5.5, 20.0, f64::INFINITY] {
            let student = Student::new(degrees);
            for t in [-3.0, -0.4, 0.0, 0.1, 1.0, 8.0] {
                let slope = (student.upper_tail(t - 1e-4) - student.upper_tail(t + 1e-4)) / 2e-4;
                assert!((slope / student.density(t) - 1.0).abs() < 1e-6, "{degrees} {t}");
            }
        }
    }
}
