//! A gamma variable times a lognormal factor: what counting and the scatter between bottles leave open together.
//!
//! The wider of the two is known in closed form, and the narrower is summed over by the trapezoidal rule. For a function
//! that is analytic within `d` of the real line the rule with the step `h` errs by some `exp(-2 pi d / h)`
//! (L. N. Trefethen, J. A. C. Weideman, SIAM Review 56 (2014) 385-458), so that a few dozen points leave 1e-11. They
//! depend on the shape and the scatter alone, and so are found once for all probabilities asked of them.

use super::gamma::Shape;
use super::normal;

/// The rule leaves out what is below this many powers of e.
const BEYOND: f64 = 28.0;
/// The step in standard deviations of the narrower.
const STEP: f64 = 0.4;
/// The step at most, where the wider is analytic within a right angle.
const LONGEST_STEP: f64 = 0.25;

/// Its distribution.
#[derive(Debug, Clone)]
pub(crate) enum Mixture {
    /// There is no scatter.
    Gamma(Shape),
    /// The factor is the narrower: inverses of its values, with their weights.
    Factors { shape: Shape, nodes: Vec<(f64, f64)> },
    /// The gamma variable is the narrower: logarithms of its values over its shape, with their weights.
    Gammas { shape: f64, log_sd: f64, nodes: Vec<(f64, f64)> },
}

impl Mixture {
    /// The gamma variable of this shape, times the factor of median 1 whose logarithm has this standard deviation.
    pub(crate) fn new(shape: Shape, log_sd: f64) -> Self {
        if log_sd <= 0.0 {
            Self::Gamma(shape)
        } else if log_sd * log_sd * shape.get() <= 1.0 {
            let nodes = factors(log_sd);
            Self::Factors { shape, nodes }
        } else {
            Self::Gammas { shape: shape.get(), log_sd, nodes: gammas(&shape) }
        }
    }

    /// The probabilities at or below, and above, `x` \[-\].
    pub(crate) fn tails(&self, x: f64) -> [f64; 2] {
        let below: f64 = match self {
            Self::Gamma(shape) => return shape.tails(x),
            _ if x <= 0.0 => 0.0,
            Self::Factors { shape, nodes } => {
                nodes.iter().map(|(inverse, weight)| weight * shape.tails(x * inverse)[0]).sum()
            }
            Self::Gammas { shape, log_sd, nodes } => {
                let ln_x = (x / shape).ln();
                nodes.iter().map(|(ln, weight)| weight * normal::upper_tail((ln - ln_x) / log_sd)).sum()
            }
        };
        let below = below.min(1.0);
        [below, 1.0 - below]
    }
}

/// The gamma variable's tail is at least as wide as the factor, and tame while its argument turns by less than a right
/// angle: `d < pi / (2 log_sd)`.
fn factors(log_sd: f64) -> Vec<(f64, f64)> {
    let step = STEP.min(LONGEST_STEP / log_sd);
    let reach = (2.0 * BEYOND).sqrt();
    points(-reach, reach, step).map(|z| ((-log_sd * z).exp(), step * normal::density(z))).collect()
}

/// The same in the logarithm of the gamma variable, with its density `a exp(a u - exp(u)) / Gamma(a + 1)` and
/// `d < pi / 2`. It ends by Chernoff's bound, where `a (exp(t) - 1 - t)` exceeds what is left out; `t < 0` reaches farther.
fn gammas(shape: &Shape) -> Vec<(f64, f64)> {
    let a = shape.get();
    let step = LONGEST_STEP.min(STEP / a.sqrt());
    let reach = (2.0 * BEYOND / a).sqrt();
    let weight = |ln: f64| step * a * shape.ln_term(a * ln.exp()).exp();
    points(-reach - BEYOND / a, reach, step).map(|ln| (ln, weight(ln))).collect()
}

fn points(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    let past = move |at: &f64| *at <= to;
    (0_u32..).map(move |i| from + step * f64::from(i)).take_while(past)
}

#[cfg(test)]
mod tests {
    use super::super::quadrature::integral;
    use super::*;

    /// The mean of the gamma variable's tail over the factor, by adaptive quadrature on short panels.
    fn by_quadrature(shape: &Shape, log_sd: f64, x: f64) -> f64 {
        let within = |z: f64| normal::density(z) * shape.tails(x * (-log_sd * z).exp())[0];
        let step = ((x / shape.get()).ln() / log_sd).clamp(-8.0, 8.0);
        let width = (1.0 / (log_sd * shape.get().sqrt())).min(1.0);
        let mut panels: Vec<f64> = (-16..=16).map(|i| f64::from(i) / 2.0).collect();
        panels.extend((-12..=12).map(|i| (step + width * f64::from(i)).clamp(-8.0, 8.0)));
        integral(within, &mut panels, 1e-13)
    }

    #[test]
    fn the_sums_are_the_integrals_they_stand_for() {
        for a in [0.5, 1.0, 1.5, 2.0, 3.5, 7.0, 19.5, 20.0, 20.5, 99.5, 1000.5, 1e5 + 0.5, 1e9 + 0.5] {
            let shape = Shape::new(a);
            for log_sd in [1e-6, 0.01, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0, 1.4, 1.5, 3.0] {
                let mixture = Mixture::new(shape.clone(), log_sd);
                let sd = (1.0 / a + log_sd * log_sd).sqrt();
                for away in [-6.0, -3.0, -1.0, -0.1, 0.0, 0.5, 1.5, 4.0] {
                    let x = a * f64::exp(away * sd);
                    let [below, above] = mixture.tails(x);
                    let expected = by_quadrature(&shape, log_sd, x);
                    let error = (below - expected).abs();
                    assert!(
                        error < 5e-12 + 64.0 * shape.rounding(),
                        "{a} {log_sd} {away}: {below} {expected}"
                    );
                    assert!((below + above - 1.0).abs() < 1e-15);
                }
                assert_eq!(mixture.tails(0.0), [0.0, 1.0]);
            }
        }
    }
}
