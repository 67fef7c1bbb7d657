//! What the differential pressures of an element are followed along.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::tank::Turnovers;
use crate::units::{Duration, Mass, Shortest, significant};

/// What the pressures are followed along.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Axis {
    /// The mass that was caught \[g\].
    CapturedMass,
    /// Tank turnovers.
    Turnovers,
    /// Time \[h\]: the caller's choice, and marked so. While a tank becomes cleaner an element loads ever more slowly,
    /// so it is due later than the time says, or never.
    Time,
}

/// How far along its axis a reading stands \[g, turnovers or h\]: finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Along(f64);

impl Axis {
    /// Every axis.
    pub const ALL: [Self; 3] = [Self::CapturedMass, Self::Turnovers, Self::Time];

    /// The unit a place along it is stated in; none for turnovers.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::CapturedMass => "g",
            Self::Turnovers => "",
            Self::Time => "h",
        }
    }

    /// What has to be said of answers along it.
    #[must_use]
    pub const fn note(self) -> Option<&'static str> {
        match self {
            Self::Time => Some(
                "the axis is time, as asked for: while the tank becomes cleaner an element loads ever more slowly, so it is due later than this, or never",
            ),
            Self::CapturedMass | Self::Turnovers => None,
        }
    }

    /// A place along it, with its unit.
    #[must_use]
    pub fn print(self, along: Along) -> String {
        let unit = if self == Self::Turnovers { "turnovers" } else { self.unit() };
        format!("{} {unit}", significant(along.0, 4))
    }
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::CapturedMass => "captured-mass",
            Self::Turnovers => "turnovers",
            Self::Time => "time",
        })
    }
}

impl FromStr for Axis {
    type Err = Error;

    /// Reads the name of an axis.
    fn from_str(text: &str) -> Result<Self> {
        let found = Self::ALL.into_iter().find(|axis| axis.to_string() == text.trim());
        let range = "one of captured-mass, turnovers, time".into();
        let unknown = ErrorKind::QuantityOutOfRange { quantity: "axis".into(), value: text.into(), range };
        found.ok_or_else(|| unknown.into())
    }
}

impl Along {
    /// A place along an axis.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the value is finite.
    pub fn new(value: f64) -> Result<Self> {
        if value.is_finite() {
            return Ok(Self(value + 0.0));
        }
        let (quantity, range) = ("place along the axis".into(), "a finite number".into());
        Err(ErrorKind::QuantityOutOfRange { quantity, value: Shortest(value).to_string(), range }.into())
    }

    /// Where an axis starts.
    pub(super) const START: Self = Self(0.0);

    /// A computed place, known to be finite.
    pub(super) const fn computed(value: f64) -> Self {
        Self(value)
    }

    /// The number \[g, turnovers or h\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl From<Mass> for Along {
    fn from(mass: Mass) -> Self {
        Self(mass.grams())
    }
}

impl From<Turnovers> for Along {
    fn from(turnovers: Turnovers) -> Self {
        Self(turnovers.get())
    }
}

impl From<Duration> for Along {
    fn from(time: Duration) -> Self {
        Self(time.hours())
    }
}
