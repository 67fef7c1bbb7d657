//! Text with a unit to a number in one unit.

use pyo3::prelude::*;
use siltcode::ErrorKind;
use siltcode::units::{Duration, Flow, Length, Pressure, Temperature, Volume};

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
        "degC" => text.parse::<Temperature>()?.celsius(),
        _ => {
            let range = "one of mL, m3, L/min, kPa, h, m, degC".into();
            return Err(
                ErrorKind::QuantityOutOfRange { quantity: "unit".into(), value: unit.into(), range }.into()
            );
        }
    })
}
