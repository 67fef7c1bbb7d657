//! The suction side of a pump: vacuum and net positive suction head, and what is left before it is in danger.
//!
//! The absolute pressure at the inlet is that of the atmosphere less the lift, the losses of the line and the drop across
//! strainer, bag or element; the net positive suction head available is what it has above the vapour pressure, as a height
//! of the liquid. The limit is the nearer of two: the head the pump requires with the caller's margin, and the vacuum it
//! is rated for.
//!
//! ```
//! use siltcode::job::suction::{PumpLimits, Suction, SuctionLine};
//! use siltcode::units::{Density, Head, Pressure};
//!
//! let line = SuctionLine {
//!     atmosphere: Pressure::from_kpa(101.325)?,
//!     lift: Head::from_metres(1.5)?,
//!     line_loss: Pressure::from_kpa(8.0)?,
//!     element_drop: Pressure::from_kpa(12.0)?,
//! };
//! let suction = Suction::of_line(&line, Pressure::from_kpa(0.1)?, Density::from_kg_per_m3(870.0)?)?;
//! assert_eq!(suction.vacuum()?.to_string(), "32.7977 kPa");
//! assert_eq!(suction.head_available()?.to_string(), "8.02028 m");
//! let pump = PumpLimits { head_required: Some(Head::from_metres(3.0)?), margin: Head::from_metres(2.1)?, vacuum: None };
//! assert_eq!(suction.reserve(&pump)?.unwrap().left.to_string(), "24.9152 kPa");
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::sync::LazyLock;

use serde::Serialize;

use crate::caution::{self, Caution};
use crate::error::{ErrorKind, Result};
use crate::table;
use crate::units::{Density, Head, Pressure};

/// What has to be said of counts taken behind a pump that draws a vacuum.
pub const GAS_NOTE: &str = "oils release dissolved air well above their vapour pressure: no limit here holds it back, and its bubbles are counted as particles";

static GRAVITY: LazyLock<f64> = LazyLock::new(|| table::constant("standard-gravity"));

/// A suction line, with the pump running.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SuctionLine {
    /// The absolute pressure on the liquid: that of the atmosphere for a vented tank.
    pub atmosphere: Pressure,
    /// The pump above the surface of the liquid; negative where the liquid stands above the pump.
    pub lift: Head,
    /// What pipe, hose, bends and entrance take.
    pub line_loss: Pressure,
    /// What strainer, bag or element take on the suction side.
    pub element_drop: Pressure,
}

/// The inlet of a pump.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Suction {
    atmosphere: Pressure,
    inlet: Pressure,
    vapour: Pressure,
    density: Density,
}

/// What a pump asks of its suction. What is not known is left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PumpLimits {
    /// The net positive suction head it requires at this flow.
    pub head_required: Option<Head>,
    /// The head to be kept above that: the caller's choice.
    pub margin: Head,
    /// The vacuum it is rated for, as pressure below the atmosphere.
    pub vacuum: Option<Pressure>,
}

/// Which limit is met first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SuctionLimit {
    /// The net positive suction head.
    Head,
    /// The vacuum the pump is rated for.
    Vacuum,
}

/// What is left before a limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Reserve {
    /// By how much the drop across the suction side may still grow at this flow; negative where the limit is passed.
    pub left: Pressure,
    /// The limit that is met first.
    pub limit: SuctionLimit,
}

impl Suction {
    /// As worked out for a line.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless 0 <= line loss, element drop and vapour pressure, and where the result leaves the
    /// range of a double.
    pub fn of_line(line: &SuctionLine, vapour: Pressure, density: Density) -> Result<Self> {
        let lost = [
            ("loss of the suction line", line.line_loss),
            ("drop across the suction element", line.element_drop),
            ("vapour pressure", vapour),
        ];
        for (quantity, pressure) in lost {
            ensure_not_negative(quantity, pressure)?;
        }
        let taken = line.line_loss.pa() + line.element_drop.pa() + line.lift.pressure_in(density)?.pa();
        Ok(Self {
            atmosphere: line.atmosphere,
            inlet: Pressure::from_pa(line.atmosphere.pa() - taken)?,
            vapour,
            density,
        })
    }

    /// As read on a vacuum gauge at the inlet: how far the pressure lies below that of the atmosphere.
    ///
    /// # Errors
    /// As [`of_line`](Self::of_line).
    pub fn of_gauge(
        atmosphere: Pressure,
        vacuum: Pressure,
        vapour: Pressure,
        density: Density,
    ) -> Result<Self> {
        ensure_not_negative("vapour pressure", vapour)?;
        Ok(Self { atmosphere, inlet: Pressure::from_kpa(atmosphere.kpa() - vacuum.kpa())?, vapour, density })
    }

    /// The absolute pressure at the inlet; none is below 0, so such a suction draws nothing.
    #[must_use]
    pub const fn inlet(&self) -> Pressure {
        self.inlet
    }

    /// How far the inlet lies below the atmosphere; negative where it lies above.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the difference leaves the range of a double.
    pub fn vacuum(&self) -> Result<Pressure> {
        Pressure::from_pa(self.atmosphere.pa() - self.inlet.pa())
    }

    /// The net positive suction head available: negative where the liquid would boil.
    ///
    /// # Errors
    /// `quantity-out-of-range` where it leaves the range of a double.
    pub fn head_available(&self) -> Result<Head> {
        Head::from_metres((self.inlet.pa() - self.vapour.pa()) / (self.density.kg_per_m3() * *GRAVITY))
    }

    /// What is left before the nearer limit of a pump: of the head available less that required and the margin, and of
    /// its rated vacuum. None where neither is known.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the margin is 0 or more, and where a result leaves the range of a double.
    pub fn reserve(&self, pump: &PumpLimits) -> Result<Option<Reserve>> {
        if pump.margin.metres() < 0.0 {
            let (quantity, value) = ("margin of the suction head".into(), pump.margin.to_string());
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "0 or more".into() }.into());
        }
        let above_vapour = self.inlet.pa() - self.vapour.pa();
        let by_head = pump.head_required.map(|required| {
            let kept = required.pressure_in(self.density)?.pa() + pump.margin.pressure_in(self.density)?.pa();
            Ok(Reserve { left: Pressure::from_pa(above_vapour - kept)?, limit: SuctionLimit::Head })
        });
        let by_vacuum = pump.vacuum.map(|rated| {
            let left = Pressure::from_pa(rated.pa() - self.vacuum()?.pa())?;
            Ok(Reserve { left, limit: SuctionLimit::Vacuum })
        });
        let both: Vec<Reserve> = by_head.into_iter().chain(by_vacuum).collect::<Result<_>>()?;
        Ok(both.into_iter().reduce(|one, other| if other.left < one.left { other } else { one }))
    }
}

impl Head {
    /// The pressure of a column of liquid of this height.
    ///
    /// # Errors
    /// `quantity-out-of-range` where it leaves the range of a double.
    pub fn pressure_in(self, density: Density) -> Result<Pressure> {
        Pressure::from_pa(self.metres() * density.kg_per_m3() * *GRAVITY)
    }
}

impl Reserve {
    /// Whether the limit is passed.
    #[must_use]
    pub fn is_passed(&self) -> bool {
        self.left.pa() < 0.0
    }
}

/// What to beware of at strainers, hoses and pumps.
#[must_use]
pub fn cautions() -> Vec<&'static Caution> {
    caution::about(&["flammable vapour", "bonding", "pressure", "waste"])
}

/// The drop across a strainer, a bag or an element on the suction side, from two gauges: the vacuum behind it less the
/// vacuum before it. As any differential pressure it needs its flow to be told from a clean one.
///
/// ```
/// use siltcode::job::suction::drop_between;
/// use siltcode::units::Pressure;
///
/// let drop = drop_between(Pressure::from_in_hg(3.0)?, Pressure::from_in_hg(8.5)?)?;
/// assert_eq!(drop.to_string(), "18.6251 kPa");
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// # Errors
/// `gauges-crossed` unless the vacuum before it is at most that behind it.
pub fn drop_between(before: Pressure, behind: Pressure) -> Result<Pressure> {
    if before > behind {
        return Err(
            ErrorKind::GaugesCrossed { before: before.to_string(), behind: behind.to_string() }.into()
        );
    }
    Pressure::from_kpa(behind.kpa() - before.kpa())
}

fn ensure_not_negative(quantity: &str, pressure: Pressure) -> Result<()> {
    if pressure.pa() >= 0.0 {
        return Ok(());
    }
    let value = pressure.to_string();
    Err(ErrorKind::QuantityOutOfRange { quantity: quantity.into(), value, range: "0 or more".into() }.into())
}
