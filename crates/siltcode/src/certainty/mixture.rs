//! A gamma variable times a random factor: what counting, and what varies beside it, leave open together.
//!
//! The wider of the two is known in closed form, and the narrower is summed over. With a lognormal factor the trapezoidal
//! rule does it: for a function that is analytic within `d` of the real line the rule with the step `h` errs by some
//! `exp(-2 pi d / h)` (L. N. Trefethen, J. A. C. Weideman, SIAM Review 56 (2014) 385-458), so that a few dozen points leave
//! 1e-11. A factor with Student's tails has no end to sum to. Where it is the narrower, Gauss-Legendre panels go over
//! those of its values that the gamma variable cannot tell from its bulk, and what lies beyond is a tail in closed form.

use super::factor::RandomFactor;
use super::gamma::Shape;
use super::normal;
use super::quadrature::panel;
use super::student::Student;

/// The rule leaves out what is below this many powers of e.
const BEYOND: f64 = 28.0;
/// The step in standard deviations of the narrower.
const STEP: f64 = 0.4;
/// The step at most, where the wider is analytic within a right angle, or within its own width.
const LONGEST_STEP: f64 = 0.25;
/// The longest panel in standard deviations of the gamma variable.
const PANEL: f64 = 2.5;

/// Its distribution.
#[derive(Debug, Clone)]
pub(crate) enum Mixture {
    /// There is no factor.
    Gamma(Shape),
    /// A lognormal factor is the narrower: inverses of its values, with their weights.
    Factors { shape: Shape, nodes: Vec<(f64, f64)> },
    /// The gamma variable is the narrower: logarithms of its values over its shape, with their weights.
    Gammas { shape: f64, log_sd: f64, student: Student, nodes: Vec<(f64, f64)> },
    /// A factor with Student's tails is the narrower.
    Panels { shape: Shape, log_sd: f64, student: Student },
}

impl Mixture {
    /// The gamma variable of this shape times the factor.
    pub(crate) fn new(shape: Shape, factor: RandomFactor) -> Self {
        let (log_sd, student) = (factor.log_sd(), Student::new(factor.degrees()));
        if log_sd <= 0.0 {
            Self::Gamma(shape)
        } else if log_sd * log_sd * shape.get() > 1.0 {
            let strip = student.degrees().sqrt() * log_sd * shape.get().sqrt();
            let nodes = gammas(&shape, STEP.min(LONGEST_STEP * strip));
            Self::Gammas { shape: shape.get(), log_sd, student, nodes }
        } else if student.degrees().is_infinite() {
            let nodes = factors(log_sd);
            Self::Factors { shape, nodes }
        } else {
            Self::Panels { shape, log_sd, student }
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
            Self::Gammas { shape, log_sd, student, nodes } => {
                let ln_x = (x / shape).ln();
                nodes.iter().map(|(ln, weight)| weight * student.upper_tail((ln - ln_x) / log_sd)).sum()
            }
            Self::Panels { shape, log_sd, student } => by_panels(shape, *log_sd, student, x),
        };
        let below = below.min(1.0);
        [below, 1.0 - below]
    }
}

/// Where the logarithm of a gamma variable over its shape has all but a negligible part of its mass, by Chernoff's bound:
/// `a (exp(t) - 1 - t)` exceeds what is left out; the low end reaches farther.
pub(crate) fn log_support(a: f64, beyond: f64) -> [f64; 2] {
    let reach = (2.0 * beyond / a).sqrt();
    [-reach - beyond / a, reach]
}

/// The gamma variable's tail is at least as wide as the factor, and tame while its argument turns by less than a right
/// angle: `d < pi / (2 log_sd)`.
fn factors(log_sd: f64) -> Vec<(f64, f64)> {
    let step = STEP.min(LONGEST_STEP / log_sd);
    let reach = (2.0 * BEYOND).sqrt();
    points(-reach, reach, step).map(|z| ((-log_sd * z).exp(), step * normal::density(z))).collect()
}

/// The same in the logarithm of the gamma variable, with its density `a exp(a u - exp(u)) / Gamma(a + 1)` and
/// `d < pi / 2`, for a step in its standard deviations.
fn gammas(shape: &Shape, step: f64) -> Vec<(f64, f64)> {
    let a = shape.get();
    let step = LONGEST_STEP.min(step / a.sqrt());
    let [low, high] = log_support(a, BEYOND);
    let weight = |ln: f64| step * a * shape.ln_term(a * ln.exp()).exp();
    points(low, high, step).map(|ln| (ln, weight(ln))).collect()
}

fn points(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    let past = move |at: &f64| *at <= to;
    (0_u32..).map(move |i| from + step * f64::from(i)).take_while(past)
}

/// The probability at or below `x`: certain where the factor is so small that the gamma variable cannot matter, a sum over
/// panels where it can, and nothing beyond.
fn by_panels(shape: &Shape, log_sd: f64, student: &Student, x: f64) -> f64 {
    let ln_x = (x / shape.get()).ln();
    let [low, high] = log_support(shape.get(), BEYOND);
    let (from, to) = ((ln_x - high) / log_sd, (ln_x - low) / log_sd);
    let longest = PANEL / (log_sd * shape.get().sqrt());
    let mut within = |t: f64| student.density(t) * shape.tails(x * (-log_sd * t).exp())[0];
    let ends = student_panels(student.degrees(), longest, [from, to]);
    student.upper_tail(-from) + ends.map(|(low, high)| panel(&mut within, low, high)).sum::<f64>()
}

/// Panels over a range of a variable of Student's distribution, none longer than `longest`, nor than its distance from the
/// poles of the density at `i sqrt(degrees)` allows.
pub(crate) fn student_panels(
    degrees: f64,
    longest: f64,
    [from, to]: [f64; 2],
) -> impl Iterator<Item = (f64, f64)> {
    let shortest = (1.2 * degrees.sqrt()).min(2.5);
    let length = move |at: f64| at.abs().max(shortest).min(longest);
    let mut at = from;
    std::iter::from_fn(move || {
        let low = at;
        // Away from the middle a panel may be as long as the nearer end is far; towards it, half of that.
        let next =
            if low < -shortest { (low + length(low / 2.0)).min(-shortest / 2.0) } else { low + length(low) };
        at = next.min(to);
        (low < to).then_some((low, at))
    })
}

#[cfg(test)]
mod tests {
    use super::super::quadrature::integral;
    use super::*;

    /// The mean of the factor's distribution over the gamma variable's logarithm, by adaptive quadrature on panels that
    /// shrink towards the step of the factor and the bulk of the gamma variable.
    fn by_quadrature(shape: &Shape, factor: RandomFactor, x: f64) -> f64 {
        let (a, student) = (shape.get(), Student::new(factor.degrees()));
        let ln_x = (x / a).ln();
        let within = |ln: f64| {
            a * shape.ln_term(a * ln.exp()).exp() * student.upper_tail((ln - ln_x) / factor.log_sd())
        };
        let [low, high] = log_support(a, 40.0);
        let mut panels = vec![low, high];
        for (middle, width) in [(ln_x, factor.log_sd()), (0.0, 1.0 / a.sqrt())] {
            let away =
                (-2..80).map(|i| width * 1.5_f64.powi(i)).flat_map(|away| [middle - away, middle + away]);
            panels.extend(away.filter(|at| (low..high).contains(at)));
        }
        integral(within, &mut panels, 1e-14)
    }

    #[test]
    fn the_sums_are_the_integrals_they_stand_for() {
        for a in [0.5, 1.0, 1.5, 2.0, 3.5, 7.0, 19.5, 20.0, 20.5, 99.5, 1000.5, 1e5 + 0.5, 1e9 + 0.5] {
            let shape = Shape::new(a);
            for log_sd in [1e-6, 0.01, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0, 1.4, 1.5, 3.0] {
                for (degrees, allowed) in
                    [(f64::INFINITY, 5e-12), (20.0, 1e-10), (5.3, 1e-10), (2.0, 1e-10), (1.0, 3e-10)]
                {
                    let factor = RandomFactor::computed(log_sd, degrees);
                    let mixture = Mixture::new(shape.clone(), factor);
                    let sd = (1.0 / a + log_sd * log_sd).sqrt();
                    for away in [-30.0, -6.0, -3.0, -1.0, -0.1, 0.0, 0.5, 1.5, 4.0, 40.0] {
                        let x = a * f64::exp(away * sd);
                        let [below, above] = mixture.tails(x);
                        let expected = by_quadrature(&shape, factor, x);
                        let error = (below - expected).abs();
                        assert!(
                            error < allowed + 64.0 * shape.rounding(),
                            "{a} {log_sd} {degrees} {away}: {below} {expected}"
                        );
                        assert!((below + above - 1.0).abs() < 1e-15);
                    }
                    assert_eq!(mixture.tails(0.0), [0.0, 1.0]);
                }
            }
        }
    }
}
