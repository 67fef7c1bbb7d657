//! The regularised incomplete gamma functions, both tails in logarithms.
//!
//! `P(a, x)` and `Q(a, x) = 1 - P(a, x)` are the chance that a gamma variable of shape `a` is at most, or above, `x`;
//! `Q(k + 1, x)` is the chance of at most `k` particles where `x` are expected. Three methods share the quarter plane:
//!
//! - `a >= 20` with `x` within a factor of about 2.4 of `a`: the uniform expansion, DLMF 8.12.3-8.12.4
//!   (<https://dlmf.nist.gov/8.12>), its remainder summed as a power series whose coefficients follow from its
//!   differential equation (N. M. Temme, SIAM J. Math. Anal. 10 (1979) 757-766). The same recursion yields the scaled
//!   gamma function, so no constants are stored.
//! - else, `x <= a + 1`: the series DLMF 8.11.4.
//! - else: the continued fraction DLMF 8.9.2.
//!
//! Each gives the smaller tail, or one that is not small, without subtraction. `ln(1 + m) - m`, on which large shapes
//! depend, is computed without cancellation.

use std::f64::consts::{LN_2, PI};
use std::sync::LazyLock;

use super::normal::{erfc, erfc_scaled};

/// Shapes from here on can use the uniform expansion; below, the shape is raised by recurrence where needed.
const LARGE_SHAPE: f64 = 20.0;
/// Terms of the uniform expansion: its series converges within `|eta| < 2 sqrt(pi)`, so 32 terms settle `|eta| <= 1`.
const TERMS: usize = 32;

/// A gamma distribution of unit scale seen from one point.
#[derive(Debug, Clone, Copy)]
#[allow(clippy::struct_field_names)] // each is a logarithm, and says so
pub(crate) struct Gamma {
    /// `ln P(a, x)`.
    pub(crate) ln_lower: f64,
    /// `ln Q(a, x)`.
    pub(crate) ln_upper: f64,
    /// `ln(x^a exp(-x) / Gamma(a + 1))`, which is `P(a, x) - P(a + 1, x)`.
    pub(crate) ln_term: f64,
}

impl Gamma {
    /// Both tails of shape `a > 0` at `x >= 0`.
    pub(crate) fn at(a: f64, x: f64) -> Self {
        Shape::new(a).at(x)
    }

    /// `ln(x^a exp(-x) / Gamma(a + 1))` alone.
    pub(crate) fn ln_term(a: f64, x: f64) -> f64 {
        Shape::new(a).ln_term(x)
    }

    /// The probability at or below \[-\].
    pub(crate) fn lower(&self) -> f64 {
        self.ln_lower.exp()
    }

    /// The probability above \[-\].
    pub(crate) fn upper(&self) -> f64 {
        self.ln_upper.exp()
    }
}

/// One shape, with what all its points have in common: make it once where many points are looked at.
#[derive(Debug, Clone)]
pub(crate) struct Shape {
    a: f64,
    /// `ln Gamma(a + 1)`; for large shapes without its power and exponential.
    ln_norm: f64,
    /// Coefficients of `S(eta)`, for large shapes.
    remainder: [f64; TERMS],
}

/// Whether what a gamma variable of shape `a` has beyond `x`, on the side away from its mean, is lost in the rounding
/// of 1.
///
/// Chernoff's bound is `exp(a (ln(1 + m) - m))` with `x = a (1 + m)`, and `m - ln(1 + m)` is at least `m^2 / 2` below the
/// mean and `m^2 / (2 + 4 m / 3)` above it.
pub(crate) fn nothing_beyond(a: f64, x: f64) -> bool {
    const ROUNDING: f64 = 38.0; // exp(-38) < 2^-54
    let m = x / a - 1.0;
    a * m * m > ROUNDING * (2.0 + 4.0 / 3.0 * m.max(0.0))
}

/// The smaller of the two tails, or one that is not small: `factor * exp(ln_scale)`.
struct Tail {
    is_lower: bool,
    factor: f64,
    ln_scale: f64,
}

impl Shape {
    /// The shape `a > 0`.
    pub(crate) fn new(a: f64) -> Self {
        if a < LARGE_SHAPE {
            return Self { a, ln_norm: ln_gamma(a + 1.0), remainder: [0.0; TERMS] };
        }
        let (remainder, scaled) = remainder(a);
        Self { a, ln_norm: (2.0 * PI * a).sqrt().ln() + scaled.ln(), remainder }
    }

    /// The shape itself.
    pub(crate) const fn get(&self) -> f64 {
        self.a
    }

    /// `ln(x^a exp(-x) / Gamma(a + 1))`.
    pub(crate) fn ln_term(&self, x: f64) -> f64 {
        let power = if self.a < LARGE_SHAPE {
            self.a * x.ln() - x
        } else {
            self.a * ln_1p_less((x - self.a) / self.a)
        };
        power - self.ln_norm
    }

    /// Both tails at `x >= 0`, in logarithms.
    pub(crate) fn at(&self, x: f64) -> Gamma {
        if x <= 0.0 {
            return Gamma { ln_lower: f64::NEG_INFINITY, ln_upper: 0.0, ln_term: f64::NEG_INFINITY };
        }
        let ln_term = self.ln_term(x);
        let Tail { is_lower, factor, ln_scale } = self.tail(x, ln_term);
        let ln_tail = (factor.ln() + ln_scale).min(0.0);
        let (ln_lower, ln_upper) =
            if is_lower { (ln_tail, ln_complement(ln_tail)) } else { (ln_complement(ln_tail), ln_tail) };
        Gamma { ln_lower, ln_upper, ln_term }
    }

    /// The probabilities at or below, and above, `x >= 0` \[-\].
    pub(crate) fn tails(&self, x: f64) -> [f64; 2] {
        if x <= 0.0 {
            return [0.0, 1.0];
        }
        let Tail { is_lower, factor, ln_scale } = self.tail(x, self.ln_term(x));
        let tail = (factor * ln_scale.exp()).min(1.0);
        if is_lower { [tail, 1.0 - tail] } else { [1.0 - tail, tail] }
    }

    fn tail(&self, x: f64, ln_term: f64) -> Tail {
        let mu = (x - self.a) / self.a;
        let eta = (-2.0 * ln_1p_less(mu)).sqrt().copysign(mu);
        if self.a >= LARGE_SHAPE && eta.abs() <= 1.0 {
            self.uniform(eta)
        } else if x <= self.a + 1.0 {
            Tail { is_lower: true, factor: series(self.a, x), ln_scale: ln_term }
        } else {
            Tail { is_lower: false, factor: self.a * continued_fraction(self.a, x), ln_scale: ln_term }
        }
    }

    /// `Q = erfc(y) / 2 + R` with `y = eta sqrt(a / 2)`: the tail on the far side of the middle.
    fn uniform(&self, eta: f64) -> Tail {
        let y = eta.abs() * (self.a / 2.0).sqrt();
        let sum = self.remainder.iter().rev().fold(0.0, |sum, b| sum * eta + b);
        let signed = eta.signum() * sum / (2.0 * PI * self.a).sqrt();
        let (factor, ln_scale) = if y < 20.0 {
            (erfc(y) / 2.0 + (-y * y).exp() * signed, 0.0)
        } else {
            (erfc_scaled(y) / 2.0 + signed, -y * y)
        };
        Tail { is_lower: eta < 0.0, factor, ln_scale }
    }

    /// What rounding leaves uncertain of a probability of this shape: `x` is known to one part in 2^53, in units of the
    /// standard deviation.
    pub(crate) fn rounding(&self) -> f64 {
        f64::EPSILON * self.a.sqrt()
    }
}

/// `ln Gamma(a)` for `a > 0`.
pub(crate) fn ln_gamma(a: f64) -> f64 {
    if a >= LARGE_SHAPE {
        return (a - 0.5) * a.ln() - a + (2.0 * PI).sqrt().ln() + ln_scaled(a);
    }
    let mut product = 1.0;
    let mut shape = a;
    while shape < LARGE_SHAPE {
        product *= shape;
        shape += 1.0;
    }
    ln_gamma(shape) - f64::ln(product)
}

/// `ln` of the scaled gamma function, `Gamma(a) / (sqrt(2 pi / a) (a / e)^a)`: what Stirling's formula leaves.
pub(crate) fn ln_scaled(a: f64) -> f64 {
    if a >= LARGE_SHAPE {
        return remainder(a).1.ln();
    }
    ln_gamma(a) - ((a - 0.5) * a.ln() - a + (2.0 * PI).sqrt().ln())
}

/// `ln(1 + m) - m` for `m > -1`, exact near 0.
///
/// With `r = m / (2 + m)`, `ln(1 + m) = 2 (r + r^3 / 3 + r^5 / 5 + ...)` and `m - 2 r = m r`.
pub(crate) fn ln_1p_less(m: f64) -> f64 {
    if !(-0.4..0.7).contains(&m) {
        return m.ln_1p() - m;
    }
    let r = m / (2.0 + m);
    let square = r * r;
    let sum = ODD_RECIPROCALS.iter().rev().fold(0.0, |sum, term| sum * square + term);
    r * (2.0 * square * sum - m)
}

/// `1/3, 1/5, ...`: with `r^2` below 0.07 the terms after these are below rounding.
const ODD_RECIPROCALS: [f64; 18] = {
    let mut terms = [0.0; 18];
    let mut n = 0;
    while n < terms.len() {
        terms[n] = 1.0 / (2 * n + 3) as f64;
        n += 1;
    }
    terms
};

/// `ln(1 - exp(l))` for `l <= 0`.
fn ln_complement(l: f64) -> f64 {
    if l > -LN_2 { (-l.exp_m1()).ln() } else { (-l.exp()).ln_1p() }
}

/// `1 + x / (a + 1) + x^2 / ((a + 1)(a + 2)) + ...`
fn series(a: f64, x: f64) -> f64 {
    let (mut sum, mut term, mut shape) = (1.0, 1.0, a);
    while term > sum * f64::EPSILON / 4.0 {
        shape += 1.0;
        term *= x / shape;
        sum += term;
    }
    sum
}

/// `Gamma(a, x) / (x^a exp(-x))` as a continued fraction, from the front (modified Lentz).
fn continued_fraction(a: f64, x: f64) -> f64 {
    let mut partial = x + 1.0 - a;
    let (mut ratio, mut inverse) = (f64::MAX, 1.0 / partial);
    let mut value = inverse;
    for i in 1..10_000 {
        let i = f64::from(i);
        let numerator = i * (a - i);
        partial += 2.0;
        inverse = 1.0 / (numerator * inverse + partial);
        ratio = partial + numerator / ratio;
        value *= ratio * inverse;
        if (ratio * inverse - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    value
}

/// The coefficients of `S(eta)` of `R = exp(-a eta^2 / 2) S(eta) / sqrt(2 pi a)`, and the scaled gamma function
/// `Gamma(a) / (sqrt(2 pi / a) (a / e)^a)`.
///
/// `S` solves `eta S - S' / a = f / scaled - 1` with `f = eta / (lambda - 1)`; for `S = sum b_n eta^n` that is
/// `b_n = f_{n+1} / scaled + (n + 2) b_{n+2} / a`, stable downwards, and `scaled = 1 + b_1 scaled / a`.
fn remainder(a: f64) -> ([f64; TERMS], f64) {
    let f = &*SLOPES;
    let mut b = [0.0; TERMS];
    for n in (0..TERMS).rev() {
        let after = b.get(n + 2).copied().unwrap_or(0.0);
        b[n] = f[n + 1] + (n + 2) as f64 * after / a;
    }
    let scaled = 1.0 + b[1] / a;
    (b.map(|b| b / scaled), scaled)
}

/// Coefficients of `eta / (lambda - 1)` in powers of `eta`, where `eta^2 / 2 = lambda - 1 - ln(lambda)`.
static SLOPES: LazyLock<[f64; TERMS + 1]> = LazyLock::new(|| {
    let lambda = lambda_coefficients();
    let mut inverse = [0.0; TERMS + 1];
    inverse[0] = 1.0;
    for n in 1..=TERMS {
        inverse[n] = -(1..=n).map(|j| lambda[j + 1] * inverse[n - j]).sum::<f64>();
    }
    inverse
});

/// Coefficients of `lambda - 1` in powers of `eta`, from `eta lambda = (lambda - 1) d lambda / d eta`.
fn lambda_coefficients() -> [f64; TERMS + 2] {
    let mut c = [0.0; TERMS + 2];
    c[1] = 1.0;
    for n in 2..TERMS + 2 {
        let known: f64 = (2..n).map(|j| (n + 1 - j) as f64 * c[j] * c[n + 1 - j]).sum();
        c[n] = (c[n - 1] - known) / (n + 1) as f64;
    }
    c
}
