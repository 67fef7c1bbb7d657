//! The suction side of a pump.

use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::caution::Caution;
use siltcode::job::suction::{GAS_NOTE, cautions, drop_between};
use siltcode::job::{PumpLimits, Suction, SuctionLimit, SuctionLine};
use siltcode::units::{Density, Head, Pressure};

use crate::error::Result;
use crate::given::{Given, Plain};
use crate::plain;

/// A suction, by its gauge or by its line, and what the pump asks of it \[kPa, m, kg/m3\].
#[derive(Deserialize)]
pub(crate) struct SuctionGiven {
    atmosphere: f64,
    vapour: f64,
    density: f64,
    vacuum: Option<f64>,
    lift: f64,
    line_loss: f64,
    element_drop: f64,
    head_required: Option<f64>,
    margin: f64,
    vacuum_rating: Option<f64>,
}

plain::from_plain_values! { SuctionGiven }

impl SuctionGiven {
    fn suction(&self) -> siltcode::Result<Suction> {
        let kpa = Pressure::from_kpa;
        let (atmosphere, vapour) = (kpa(self.atmosphere)?, kpa(self.vapour)?);
        let density = Density::from_kg_per_m3(self.density)?;
        if let Some(vacuum) = self.vacuum {
            return Suction::of_gauge(atmosphere, kpa(vacuum)?, vapour, density);
        }
        let (lift, line_loss, element_drop) =
            (Head::from_metres(self.lift)?, kpa(self.line_loss)?, kpa(self.element_drop)?);
        Suction::of_line(&SuctionLine { atmosphere, lift, line_loss, element_drop }, vapour, density)
    }

    fn pump(&self) -> siltcode::Result<PumpLimits> {
        Ok(PumpLimits {
            head_required: self.head_required.map(Head::from_metres).transpose()?,
            margin: Head::from_metres(self.margin)?,
            vacuum: self.vacuum_rating.map(Pressure::from_kpa).transpose()?,
        })
    }
}

#[derive(Serialize)]
pub(crate) struct SuctionParts {
    inlet_kpa: f64,
    vacuum_kpa: f64,
    head_available_m: f64,
    reserve_kpa: Option<f64>,
    limit: Option<SuctionLimit>,
    note: &'static str,
    cautions: Vec<&'static Caution>,
}

/// Vacuum and head at the inlet of a pump, and what is left before its limits.
#[pyfunction]
pub(crate) fn suction(given: SuctionGiven) -> Result<Plain<SuctionParts>> {
    let suction = given.suction()?;
    let reserve = suction.reserve(&given.pump()?)?;
    Ok(Plain(SuctionParts {
        inlet_kpa: suction.inlet().kpa(),
        vacuum_kpa: suction.vacuum()?.kpa(),
        head_available_m: suction.head_available()?.metres(),
        reserve_kpa: reserve.map(|reserve| reserve.left.kpa()),
        limit: reserve.map(|reserve| reserve.limit),
        note: GAS_NOTE,
        cautions: cautions(),
    }))
}

/// The drop between two vacuum gauges \[kPa\].
#[pyfunction]
pub(crate) fn suction_drop(before: Given<Pressure>, behind: Given<Pressure>) -> Result<f64> {
    Ok(drop_between(before.0, behind.0)?.kpa())
}
