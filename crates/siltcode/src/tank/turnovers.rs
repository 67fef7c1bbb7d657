//! Turnovers: how often the tank's volume goes through the filter.

use std::fmt;

use serde::Serialize;

use crate::certainty::Probability;
use crate::certainty::gamma::Gamma;
use crate::error::{ErrorKind, Result};
use crate::filter::Beta;
use crate::units::significant;

/// How many times the tank's volume goes through the filter \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Turnovers(f64);

impl Turnovers {
    /// None.
    pub const NONE: Self = Self(0.0);

    /// A number of turnovers.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the value is finite and >= 0.
    pub fn new(value: f64) -> Result<Self> {
        if value.is_finite() && value >= 0.0 {
            Ok(Self(value))
        } else {
            Err(ErrorKind::FactorOutOfRange { name: "turnovers".into(), value, least: 0.0 }.into())
        }
    }

    /// A computed number, known to be 0 or more.
    pub(super) const fn computed(value: f64) -> Self {
        Self(value)
    }

    /// The number \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The probability that a part of a stirred tank has passed the filter at least so many times.
    ///
    /// The passages of one part are Poisson distributed, their mean the turnovers: after one turnover 37 % of the tank
    /// has never met the filter, and 26 % has met it twice or more.
    ///
    /// ```
    /// use siltcode::tank::Turnovers;
    ///
    /// let one = Turnovers::new(1.0)?;
    /// assert_eq!(format!("{:.2}", one.passed_at_least(1).get()), "0.63");
    /// assert_eq!(format!("{:.2}", one.passed_at_least(2).get()), "0.26");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn passed_at_least(self, times: u32) -> Probability {
        match times {
            0 => Probability::CERTAIN,
            _ => Probability::rounded(Gamma::at(f64::from(times), self.0).lower()),
        }
    }
}

impl fmt::Display for Turnovers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&significant(self.0, 3))
    }
}

/// The turnovers of a well-mixed tank that clean as much as one true passage: `beta ln beta / (beta - 1)`.
///
/// Seven turnovers is the rule for a filtration ratio near 1090, not for every filter:
///
/// ```
/// use siltcode::{filter::Beta, tank::turnovers_like_one_pass};
///
/// assert_eq!(turnovers_like_one_pass(Beta::new(75.0)?).to_string(), "4.38");
/// assert_eq!(turnovers_like_one_pass(Beta::new(1090.0)?).to_string(), "7");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn turnovers_like_one_pass(beta: Beta) -> Turnovers {
    // the limit where nothing is held back
    if beta == Beta::ONE {
        return Turnovers(1.0);
    }
    Turnovers(beta.get().ln() / beta.efficiency().get())
}
