//! The counts of a bottle: all its runs together, in other sizes, scales and bands, and less a blank.

use pyo3::prelude::*;
use serde::Serialize;
use siltcode::conversion::Conversion;
use siltcode::{PerMl, Size, SizeScale, Spectrum};

use crate::error::Result;
use crate::given::Plain;
use crate::plain::SampleGiven;

/// The counts of all runs together: sizes, readings in words and numbers, evidence.
#[pyfunction]
pub(crate) fn combined(sample: SampleGiven) -> Result<Plain<Spectrum>> {
    Ok(Plain(sample.sample()?.spectrum()?))
}

/// The counts of all runs together in another scale of sizes, and what they were converted by.
#[pyfunction]
pub(crate) fn converted(sample: SampleGiven, scale: &str) -> Result<Plain<(Spectrum, Option<Conversion>)>> {
    let converted = sample.sample()?.spectrum()?.converted(scale.parse::<SizeScale>()?)?;
    Ok(Plain((converted.spectrum, converted.conversion)))
}

/// The counts less those of a blank, per size band, and the sizes whose band the blank held more of.
#[pyfunction]
pub(crate) fn spectrum_less_blank(
    sample: SampleGiven,
    blank: SampleGiven,
) -> Result<Plain<(Spectrum, Vec<Size>)>> {
    Ok(Plain(sample.sample()?.spectrum()?.less_blank(&blank.sample()?.spectrum()?)?))
}

/// The particles between each size and the next \[um, particles/mL\], the last one open.
#[pyfunction]
pub(crate) fn bands(sample: SampleGiven) -> Result<Vec<(f64, Option<f64>, f64)>> {
    let bins = sample.sample()?.spectrum()?.bins();
    Ok(bins.iter().map(|bin| (bin.from.um(), bin.to.map(Size::um), bin.per_ml.get())).collect())
}

#[derive(Serialize)]
pub(crate) struct BetweenParts {
    power: Option<PerMl>,
    log_log2: Option<PerMl>,
    at_least: PerMl,
    at_most: PerMl,
    spread: (PerMl, PerMl),
}

/// The count at a size between two counted ones, by both laws; nothing at or outside the ends.
#[pyfunction]
pub(crate) fn between(sample: SampleGiven, um: f64) -> Result<Plain<Option<BetweenParts>>> {
    let spectrum = sample.sample()?.spectrum()?;
    let found = spectrum.between(Size::new(um, spectrum.scale())?);
    Ok(Plain(found.map(|found| BetweenParts {
        power: found.power,
        log_log2: found.log_log2,
        at_least: found.at_least,
        at_most: found.at_most,
        spread: found.spread(),
    })))
}
