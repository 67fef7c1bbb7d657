//! Coincidence: particles that pass the sensor together and are counted as one.
//!
//! It hides particles, and it makes large ones of small ones, so a high count at 4 um raises the count at 14 um. Two
//! published forms are here, each with its inverse:
//!
//! - [`Occupied`](Coincidence::Occupied): `N' = L (1 - exp(-N / L))` with `L` sensing volumes in the counted volume (M.
//!   Wales and J. N. Wilson, Review of Scientific Instruments 32 (1961)); its first order is `N - N^2 / (2 L)` (L. H. Princen
//!   and W. F. Kwolek, Review of Scientific Instruments 36 (1965)).
//! - [`DeadTime`](Coincidence::DeadTime): `m = n exp(-n t)`, each particle within `t` of another extending the dead time;
//!   the inverse takes the Lambert W function on its principal branch (Aerosol Science and Technology 47 (2013) 177-182).

use super::level::Mean;
use crate::error::{ErrorKind, Result};
use crate::units::Shortest;

/// How a counter loses particles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Coincidence {
    /// Sensing volumes in the counted volume, each counting at most one \[-\].
    Occupied(f64),
    /// Dead time over the counting time, extended by each further particle \[-\].
    DeadTime(f64),
}

impl Coincidence {
    /// A counter whose counted volume is `volumes` times its sensing volume.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless `0 < volumes < infinity`.
    pub fn occupied(volumes: f64) -> Result<Self> {
        positive("number of sensing volumes", volumes).map(Self::Occupied)
    }

    /// A counter whose dead time is this fraction of its counting time.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless `0 < fraction < infinity`.
    pub fn dead_time(fraction: f64) -> Result<Self> {
        positive("dead time over counting time", fraction).map(Self::DeadTime)
    }

    /// What is counted of a true count.
    ///
    /// ```
    /// use siltcode::certainty::{Mean, coincidence::Coincidence};
    ///
    /// let counter = Coincidence::occupied(1e5)?;
    /// let seen = counter.observed(Mean::new(5000.0)?);
    /// assert_eq!(format!("{:.1}", seen.get()), "4877.1");
    /// assert_eq!(format!("{:.6}", counter.truth(seen)?.get()), "5000.000000");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn observed(&self, truth: Mean) -> Mean {
        let n = truth.get();
        Mean::computed(match *self {
            Self::Occupied(volumes) => -volumes * (-n / volumes).exp_m1(),
            Self::DeadTime(fraction) => n * (-n * fraction).exp(),
        })
    }

    /// The fraction of a true count that is lost \[-\].
    #[must_use]
    pub fn loss(&self, truth: Mean) -> f64 {
        if truth == Mean::ZERO { 0.0 } else { 1.0 - self.observed(truth).get() / truth.get() }
    }

    /// The true count behind what was counted, on the side of few particles.
    ///
    /// # Errors
    /// `quantity-out-of-range` if the counter cannot show so many: at or above its sensing volumes, or above
    /// `1 / (e t)`.
    pub fn truth(&self, observed: Mean) -> Result<Mean> {
        let m = observed.get();
        let most = self.most();
        let truth = match *self {
            Self::Occupied(volumes) if m < volumes => -volumes * (-m / volumes).ln_1p(),
            Self::DeadTime(fraction) if m <= most => -lambert_w(-m * fraction) / fraction,
            _ => {
                return Err(ErrorKind::QuantityOutOfRange {
                    quantity: "count with coincidence".into(),
                    value: Shortest(m).to_string(),
                    range: format!("below the {most} at which the counter saturates; dilute the sample"),
                }
                .into());
            }
        };
        Mean::new(truth)
    }

    /// The first-order loss `N - N^2 / (2 L)` of the same counter: what is counted of a true count, for small losses.
    #[must_use]
    pub fn first_order(&self, truth: Mean) -> Mean {
        let n = truth.get();
        let lost = match *self {
            Self::Occupied(volumes) => n * n / (2.0 * volumes),
            Self::DeadTime(fraction) => n * n * fraction,
        };
        Mean::computed((n - lost).max(0.0))
    }

    /// Whether a true count lies so high that one more particle shows as less than half: correcting then more than
    /// doubles the uncertainty. Derived from the slope of [`observed`](Self::observed).
    #[must_use]
    pub fn is_near_saturation(&self, truth: Mean) -> bool {
        let n = truth.get();
        let slope = match *self {
            Self::Occupied(volumes) => (-n / volumes).exp(),
            Self::DeadTime(fraction) => (-n * fraction).exp() * (1.0 - n * fraction),
        };
        slope < 0.5
    }

    fn most(&self) -> f64 {
        match *self {
            Self::Occupied(volumes) => volumes,
            Self::DeadTime(fraction) => (-1.0_f64).exp() / fraction,
        }
    }
}

fn positive(quantity: &str, value: f64) -> Result<f64> {
    if value > 0.0 && value.is_finite() {
        return Ok(value);
    }
    let range = "a finite number above 0".into();
    Err(ErrorKind::QuantityOutOfRange {
        quantity: quantity.into(),
        value: Shortest(value).to_string(),
        range,
    }
    .into())
}

/// `W` with `W exp(W) = y` for `-1/e <= y <= 0`, principal branch, by Halley's method (DLMF 4.13).
fn lambert_w(y: f64) -> f64 {
    let branch = (2.0 * (std::f64::consts::E * y + 1.0)).max(0.0).sqrt();
    if branch < 1e-5 {
        return -1.0 + branch - branch * branch / 3.0; // the series at the branch point, where the slope is infinite
    }
    let mut w = if branch < 0.5 { -1.0 + branch - branch * branch / 3.0 } else { y };
    for _ in 0..50 {
        let excess = w * w.exp() - y;
        let step = excess / (w.exp() * (w + 1.0) - (w + 2.0) * excess / (2.0 * w + 2.0));
        w -= step;
        if step.abs() <= f64::EPSILON * w.abs() {
            break;
        }
    }
    w
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn truth_undoes_observed_up_to_saturation() {
        for (counter, most) in [(Coincidence::Occupied(1e5), 8e5), (Coincidence::DeadTime(1e-5), 9.9e4)] {
            for i in 0..=1000 {
                let truth = Mean::new(most * f64::from(i) / 1000.0).unwrap();
                let back = counter.truth(counter.observed(truth)).unwrap().get();
                // near saturation the count hardly moves, so neither its digits nor the inverse can be exact
                let slope = 1e-15 / (1.0 - counter.observed(truth).get() / counter.most()).max(1e-9);
                assert!(
                    (back - truth.get()).abs() <= (1e-14 + 20.0 * slope) * truth.get(),
                    "{counter:?} {truth:?} {back}"
                );
            }
        }
    }

    #[test]
    fn saturation_is_refused_and_flagged() {
        let counter = Coincidence::dead_time(1e-3).unwrap();
        assert_eq!(counter.truth(Mean::new(368.0).unwrap()).unwrap_err().code(), "quantity-out-of-range");
        assert!(counter.is_near_saturation(Mean::new(500.0).unwrap()));
        assert!(!counter.is_near_saturation(Mean::new(100.0).unwrap()));
        assert!(Coincidence::occupied(f64::NAN).is_err());
        assert!(Coincidence::occupied(-1.0).is_err());
    }
}
