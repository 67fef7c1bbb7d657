//! Flushing a line: whether its flow is turbulent enough to lift what sticks to the wall.
//!
//! That is another thing than turning a tank over: a turbulent line is clean at its wall, a tank that was turned over is
//! clean in its middle.

use std::sync::LazyLock;

use crate::table;
use crate::units::{Flow, KinematicViscosity, Length};

/// The Reynolds number of a flow in a pipe \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, serde::Serialize)]
#[serde(transparent)]
pub struct Reynolds(f64);

struct Flushing {
    factor: f64,
    turbulent: f64,
}

static FLUSHING: LazyLock<Flushing> = LazyLock::new(|| Flushing {
    factor: table::constant("flush-reynolds-factor"),
    turbulent: table::constant("flush-reynolds-turbulent"),
});

impl Reynolds {
    /// The number as MIL-STD-419E 5.6.1 reckons it, `3160 Q / (d v)` with Q in US gal/min, d in inches and v in cSt;
    /// 0 without flow, else infinite for a pipe without bore.
    ///
    /// ```
    /// use siltcode::tank::Reynolds;
    /// use siltcode::units::{Flow, KinematicViscosity, Length};
    ///
    /// let (flow, bore) = (Flow::from_us_gpm(20.0)?, Length::from_inches(1.0)?);
    /// let number = Reynolds::in_pipe(flow, bore, KinematicViscosity::from_mm2_per_s(10.0)?);
    /// assert_eq!(number.get().round(), 6320.0);
    /// assert!(number.flushes());
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn in_pipe(flow: Flow, bore: Length, viscosity: KinematicViscosity) -> Self {
        if flow.us_gpm() == 0.0 {
            return Self(0.0);
        }
        Self(flow.us_gpm() / bore.inches() / viscosity.mm2_per_s() * FLUSHING.factor)
    }

    /// The number \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// Whether the flow is turbulent enough to flush a line: 4000 or more.
    #[must_use]
    pub fn flushes(self) -> bool {
        self.0 >= FLUSHING.turbulent
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_flow_is_no_turbulence_whatever_the_pipe() {
        let number = |gpm: f64, inches: f64, mm2_per_s: f64| {
            let (flow, bore) = (Flow::from_us_gpm(gpm).unwrap(), Length::from_inches(inches).unwrap());
            Reynolds::in_pipe(flow, bore, KinematicViscosity::from_mm2_per_s(mm2_per_s).unwrap()).get()
        };
        assert_eq!([number(0.0, 0.0, 1e-300), number(0.0, 1.0, 10.0)], [0.0, 0.0]);
        assert_eq!(number(1.0, 0.0, 10.0), f64::INFINITY);
    }
}
