//! How fast particles settle, and how many are still afloat.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::Size;
use siltcode::settling::{Liquid, Settling};
use siltcode::tank::Rest;
use siltcode::units::{Density, Duration, DynamicViscosity, Length};

use crate::arrays::{Floats, at_row, slice};
use crate::error::Result;
use crate::given::{Given, Plain};
use crate::plain;

/// A liquid \[kg/m3, mPa.s\].
#[derive(Deserialize)]
pub(crate) struct LiquidGiven {
    density: f64,
    viscosity: f64,
}

/// A rest before the cleaning \[kg/m3, m, h\].
#[derive(Deserialize)]
pub(crate) struct RestGiven {
    liquid: LiquidGiven,
    particle: f64,
    depth: f64,
    time: f64,
}

plain::from_plain_values! { LiquidGiven RestGiven }

impl LiquidGiven {
    fn liquid(&self) -> siltcode::Result<Liquid> {
        let density = Density::from_kg_per_m3(self.density)?;
        Ok(Liquid { density, viscosity: DynamicViscosity::from_mpa_s(self.viscosity)? })
    }

    fn settling(&self, um: f64, particle: f64) -> siltcode::Result<Settling> {
        self.liquid()?.settling(Size::um_c(um)?, Density::from_kg_per_m3(particle)?)
    }
}

impl RestGiven {
    pub(crate) fn rest(&self) -> siltcode::Result<Rest> {
        Ok(Rest {
            liquid: self.liquid.liquid()?,
            particle: Density::from_kg_per_m3(self.particle)?,
            depth: Length::from_metres(self.depth)?,
            time: Duration::from_hours(self.time)?,
        })
    }
}

/// Either viscosity in words, of a liquid of this density \[mPa.s\].
#[pyfunction]
pub(crate) fn viscosity_mpa_s(text: &str, density: Given<Density>) -> Result<f64> {
    Ok(DynamicViscosity::of_either(text, density.0)?.mpa_s())
}

#[derive(Serialize)]
pub(crate) struct SettlingParts {
    mm_per_h: f64,
    reynolds: f64,
    reads_high: bool,
}

/// How particles of a size \[um\] and density settle.
#[pyfunction]
pub(crate) fn settling(liquid: LiquidGiven, um: f64, particle: f64) -> Result<Plain<SettlingParts>> {
    let settling = liquid.settling(um, particle)?;
    let (mm_per_h, reynolds) = (settling.speed().mm_per_h(), settling.reynolds());
    Ok(Plain(SettlingParts { mm_per_h, reynolds, reads_high: settling.reads_high() }))
}

/// How long they take over a height \[h\]; nothing for what does not move.
#[pyfunction]
pub(crate) fn hours_over(
    liquid: LiquidGiven,
    um: f64,
    particle: f64,
    height: Given<Length>,
) -> Result<Option<f64>> {
    Ok(liquid.settling(um, particle)?.time_over(height.0).map(Duration::hours))
}

/// The speed of each \[mm/h\]; NaN stays NaN.
#[pyfunction]
pub(crate) fn settling_speeds<'py>(
    py: Python<'py>,
    liquid: LiquidGiven,
    um: Floats<'py>,
    particle: Floats<'py>,
) -> Result<Bound<'py, PyArray1<f64>>> {
    let given = slice(&um)?.iter().zip(slice(&particle)?);
    let speed = |um: f64, particle: f64| Ok(liquid.settling(um, particle)?.speed().mm_per_h());
    rows(py, given.map(|(&um, &particle)| [um, particle]), |[um, particle]| speed(um, particle))
}

/// The share of each that is still afloat after a time \[h\] over a height \[m\]; NaN stays NaN.
#[pyfunction]
pub(crate) fn settling_left<'py>(
    py: Python<'py>,
    liquid: LiquidGiven,
    given: [Floats<'py>; 4],
    stirred: bool,
) -> Result<Bound<'py, PyArray1<f64>>> {
    let [um, particle, hours, metres] =
        [slice(&given[0])?, slice(&given[1])?, slice(&given[2])?, slice(&given[3])?];
    let left = |[um, particle, hours, metres]: [f64; 4]| {
        let settling = liquid.settling(um, particle)?;
        let (time, height) = (Duration::from_hours(hours)?, Length::from_metres(metres)?);
        Ok(if stirred { settling.left_stirred(time, height) } else { settling.left_at_rest(time, height) })
    };
    rows(py, (0..um.len()).map(|i| [um[i], particle[i], hours[i], metres[i]]), left)
}

/// A result for each row, NaN where one of its values is; an error is placed at its row.
fn rows<const N: usize>(
    py: Python<'_>,
    given: impl Iterator<Item = [f64; N]>,
    of: impl Fn([f64; N]) -> siltcode::Result<f64>,
) -> Result<Bound<'_, PyArray1<f64>>> {
    let of = |row: [f64; N]| if row.iter().any(|value| value.is_nan()) { Ok(f64::NAN) } else { of(row) };
    let each = given.enumerate().map(|(i, row)| of(row).map_err(|error| at_row(error, i)));
    Ok(each.collect::<siltcode::Result<Vec<f64>>>()?.into_pyarray(py))
}
