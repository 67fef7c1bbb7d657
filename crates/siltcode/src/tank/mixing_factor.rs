//! The factor by which imperfect mixing multiplies the turnovers of a stirred tank.

use serde::Serialize;

use crate::error::{ErrorKind, Result};

/// By what the turnovers of a stirred tank are multiplied to allow for imperfect mixing, 1 or more \[-\].
///
/// It multiplies the time and nothing else, as the mixing factor of room ventilation does (MMWR 43(RR-13), Table S3-1).
/// So the floor that ingress and shedding set stays that of a stirred tank; a [dead zone](super::DeadZone) or
/// [cells](super::Mixing::Cells) raise it.
///
/// ```
/// use siltcode::tank::MixingFactor;
///
/// assert_eq!(MixingFactor::new(1.2)?.get(), 1.2);
/// assert!(MixingFactor::new(0.9).is_err());
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct MixingFactor(f64);

impl MixingFactor {
    /// A stirred tank.
    pub const NONE: Self = Self(1.0);

    /// A factor.
    ///
    /// # Errors
    /// `factor-out-of-range` unless it is finite and >= 1.
    pub fn new(value: f64) -> Result<Self> {
        if value.is_finite() && value >= 1.0 {
            return Ok(Self(value));
        }
        Err(ErrorKind::FactorOutOfRange { name: "mixing factor".into(), value, least: 1.0 }.into())
    }

    /// The factor \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}
