//! A tank and its circulation.

use super::mixing::Mixing;
use super::mixing_factor::MixingFactor;
use super::turnovers::Turnovers;
use crate::error::{ErrorKind, Result};
use crate::filter::{Beta, Efficiency, Share};
use crate::units::{Duration, Flow, Volume};

/// A tank and its circulation.
///
/// Common practice, not a measured fact: suction and return at opposite ends of the tank give a sweep along the
/// bottom, and a return beside the suction short-circuits.
///
/// ```
/// use siltcode::filter::Share;
/// use siltcode::tank::{DeadZone, Mixing, Plant, Turnovers};
/// use siltcode::units::{Flow, Volume};
///
/// let plant = Plant {
///     short_circuit: Share::new(0.3)?,
///     mixing: Mixing::DeadZone(DeadZone::new(Share::new(0.2)?, Share::new(0.1)?)?),
///     ..Plant::new(Volume::from_m3(18.0)?, Flow::from_l_per_min(60.0)?)?
/// };
/// assert_eq!(plant.time(Turnovers::new(2.0)?)?.to_string(), "10 h");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plant {
    /// The fluid in the tank.
    pub volume: Volume,
    /// The flow through the circulation.
    pub flow: Flow,
    /// The share of the flow that avoids the medium.
    pub bypass: Share,
    /// The share of the return that goes straight to the suction.
    pub short_circuit: Share,
    /// How the fluid moves through the tank.
    pub mixing: Mixing,
    /// By what imperfect mixing multiplies the turnovers.
    pub mixing_factor: MixingFactor,
}

impl Plant {
    /// A stirred tank whose whole flow passes the medium.
    ///
    /// # Errors
    /// `no-flow` unless volume > 0 and flow > 0.
    pub fn new(volume: Volume, flow: Flow) -> Result<Self> {
        let (short_circuit, bypass, mixing) = (Share::NONE, Share::NONE, Mixing::Well);
        let mixing_factor = MixingFactor::NONE;
        let plant = Self { volume, flow, bypass, short_circuit, mixing, mixing_factor };
        if volume.litres() > 0.0 && flow.l_per_min() > 0.0 && plant.turnover_hours().is_finite() {
            Ok(plant)
        } else {
            Err(ErrorKind::NoFlow { volume: volume.to_string(), flow: flow.to_string() }.into())
        }
    }

    /// The same plant with another flow.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn with_flow(self, flow: Flow) -> Result<Self> {
        Self::new(self.volume, flow).map(|_| Self { flow, ..self })
    }

    /// The efficiency seen from a stirred tank.
    #[must_use]
    pub fn efficiency(&self, beta: Beta) -> Efficiency {
        beta.efficiency().bypassed(self.bypass).short_circuited(self.short_circuit)
    }

    /// The time of one turnover \[h\].
    pub(super) fn turnover_hours(&self) -> f64 {
        self.volume.litres() / self.flow.l_per_min() / 60.0
    }

    /// How often the tank is turned over in an hour.
    pub(crate) fn turnovers_per_hour(&self) -> f64 {
        1.0 / self.turnover_hours()
    }

    /// How long so many turnovers take.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the time leaves the range of a double.
    pub fn time(&self, turnovers: Turnovers) -> Result<Duration> {
        Duration::from_hours(turnovers.get() * self.turnover_hours())
    }

    /// How many turnovers fit into a time.
    ///
    /// # Errors
    /// `factor-out-of-range` where the number leaves the range of a double.
    pub fn turnovers(&self, time: Duration) -> Result<Turnovers> {
        Turnovers::new(time.hours() / self.turnover_hours())
    }
}
