//! Relative uncertainty in range numbers, guard bands, and how nested channels move together.
//!
//! A range number is a factor of two, so a relative standard uncertainty `u` of a concentration is `u / ln 2` numbers.

use std::f64::consts::{LN_2, SQRT_2};

use serde::Serialize;

use super::level::{Level, Mean, Probability, Scatter};
use super::normal;
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};

/// A distance in range numbers \[numbers\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Numbers(f64);

impl Numbers {
    /// The distance \[numbers\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// The standard deviation of results that scatter by this coefficient of variation.
#[must_use]
pub fn sd_in_numbers(reproducibility: Scatter) -> Numbers {
    Numbers(reproducibility.cv() / LN_2)
}

/// The difference that two such results exceed with the risk of `level`: `z sqrt(2)` standard deviations.
///
/// ```
/// use siltcode::certainty::{Level, Scatter, precision};
///
/// let difference = precision::difference_in_numbers(Scatter::from_cv(0.25)?, Level::default());
/// assert_eq!(format!("{:.2}", difference.get()), "1.00"); // 25 % between laboratories is one number between results
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn difference_in_numbers(reproducibility: Scatter, level: Level) -> Numbers {
    Numbers(normal::upper_quantile(level.risk() / 2.0) * SQRT_2 * sd_in_numbers(reproducibility).0)
}

/// The expanded uncertainty (factor 2) of a result from `total` counted particles, if results scatter between bottles:
/// `2 sqrt(scatter^2 + 1 / total)`, in numbers.
///
/// The sum of the two variances is Eq. (1) of ISO/TS 19036:2006/Amd.1:2009, which is written in common logarithms and
/// prints the coefficient `(log10 e)^2` as 0.18861.
///
/// # Errors
/// `count-not-finite` unless `total` is above 0.
pub fn expanded_in_numbers(scatter: Scatter, total: Mean) -> Result<Numbers> {
    if total.get() > 0.0 {
        Ok(Numbers(2.0 * (scatter.cv().powi(2) + 1.0 / total.get()).sqrt() / LN_2))
    } else {
        Err(ErrorKind::CountNotFinite { value: total.get() }.into())
    }
}

/// The concentration up to which a result of this relative uncertainty is accepted: `limit * exp(-z u)`.
///
/// The guard band is a factor, since a concentration's uncertainty is. `risk` is the chance that a fluid exactly at the
/// limit is accepted.
///
/// ```
/// use siltcode::PerMl;
/// use siltcode::certainty::{Level, Scatter, precision};
///
/// let accepted = precision::guarded(PerMl::new(640.0)?, Scatter::from_cv(0.2)?, Level::default());
/// assert_eq!(format!("{:.1}", accepted.get()), "460.6"); // 0.72 of the limit
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn guarded(limit: PerMl, relative: Scatter, level: Level) -> PerMl {
    let factor = (-normal::upper_quantile(level.risk()) * relative.cv()).exp();
    PerMl::new(limit.get() * factor.min(1.0)).unwrap_or(limit)
}

/// The chance to accept an item exactly at the limit when the guard band is `bands` standard uncertainties wide.
#[must_use]
pub fn false_accept_at_limit(bands: f64) -> Probability {
    Probability::rounded(normal::upper_tail(bands))
}

/// How strongly the counts at two nested sizes move together: `sqrt(larger / smaller)`, the counts at the larger size
/// being part of those at the smaller.
///
/// # Errors
/// `count-rises-with-size` unless `larger <= smaller` and `smaller` is above 0.
pub fn nested_correlation(smaller: Mean, larger: Mean) -> Result<f64> {
    if larger <= smaller && smaller > Mean::ZERO {
        return Ok((larger.get() / smaller.get()).sqrt());
    }
    Err(ErrorKind::CountRisesWithSize {
        small: "the smaller size".into(),
        small_per_ml: smaller.get(),
        large: "the larger size".into(),
        large_per_ml: larger.get(),
    }
    .into())
}
