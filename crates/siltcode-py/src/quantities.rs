//! Text with a unit to a number in one unit.

use pyo3::prelude::*;
use siltcode::ErrorKind;
use siltcode::units::{
    Density, Duration, DynamicViscosity, Flow, Head, KinematicViscosity, Length, Mass, MassConcentration,
    Pressure, Temperature, Volume,
};

use crate::error::Result;

/// The number of `text` in `unit`, one of those the Python side asks for.
#[pyfunction]
pub(crate) fn in_unit(text: &str, unit: &str) -> Result<f64> {
    Ok(match unit {
        "mL" => text.parse::<Volume>()?.ml(),
        "m3" => text.parse::<Volume>()?.m3(),
        "L/min" => text.parse::<Flow>()?.l_per_min(),
        "kPa" => text.parse::<Pressure>()?.kpa(),
        "h" => text.parse::<Duration>()?.hours(),
        "m" => text.parse::<Length>()?.metres(),
        "m head" => text.parse::<Head>()?.metres(),
        "degC" => text.parse::<Temperature>()?.celsius(),
        "g" => text.parse::<Mass>()?.grams(),
        "mg/L" => text.parse::<MassConcentration>()?.mg_per_litre(),
        "kg/m3" => text.parse::<Density>()?.kg_per_m3(),
        "mm2/s" => text.parse::<KinematicViscosity>()?.mm2_per_s(),
        "mPa.s" => text.parse::<DynamicViscosity>()?.mpa_s(),
        _ => {
            let range = "one of mL, m3, L/min, kPa, h, m, m head, degC, g, mg/L, kg/m3, mm2/s, mPa.s".into();
            return Err(
                ErrorKind::QuantityOutOfRange { quantity: "unit".into(), value: unit.into(), range }.into()
            );
        }
    })
}
