//! Laws of loading, and what an element has caught.

use pyo3::prelude::*;
use serde::Serialize;
use siltcode::certainty::Interval;
use siltcode::job::captured::{CAPACITY_NOTE, INGRESS_NOTE};
use siltcode::job::{CapacityUsed, Captured, Loading, LoadingLaw, Resistance};
use siltcode::units::{Mass, Pressure, Volume};

use crate::error::Result;
use crate::given::{Given, Plain};
use crate::mass::MassGiven;
use crate::plain::SampleGiven;

/// The resistance over that of the clean element at a loading \[-\].
#[pyfunction]
pub(crate) fn resistance_ratio(law: &str, loading: Given<Loading>) -> Result<f64> {
    Ok(law.parse::<LoadingLaw>()?.resistance(loading.0)?.get())
}

/// The loading at a resistance over that of the clean element \[-\].
#[pyfunction]
pub(crate) fn loading_at(law: &str, ratio: Given<Resistance>) -> Result<f64> {
    Ok(law.parse::<LoadingLaw>()?.loading(ratio.0).get())
}

/// The share of the capacity used at a pressure, all at rated flow \[-\].
#[pyfunction]
pub(crate) fn capacity_used(
    law: &str,
    pressure: Given<Pressure>,
    clean: Given<Pressure>,
    terminal: Given<Pressure>,
) -> Result<f64> {
    let [now, terminal] = [pressure, terminal].map(|pressure| Resistance::of(pressure.0, clean.0));
    Ok(law.parse::<LoadingLaw>()?.used(now?, terminal?)?.get())
}

/// The pressure once a share of the capacity is used, all at rated flow \[kPa\].
#[pyfunction]
pub(crate) fn pressure_at_capacity(
    law: &str,
    used: Given<CapacityUsed>,
    clean: Given<Pressure>,
    terminal: Given<Pressure>,
) -> Result<f64> {
    let terminal = Resistance::of(terminal.0, clean.0)?;
    let ratio = law.parse::<LoadingLaw>()?.resistance_at(used.0, terminal)?;
    Ok(Pressure::from_kpa(ratio.get() * clean.0.kpa())?.kpa())
}

#[derive(Serialize)]
pub(crate) struct CapturedParts {
    mass: Interval<f64>,
    may_have_risen: bool,
    elements: Option<Interval<f64>>,
    notes: [&'static str; 2],
}

/// What was caught between two samples \[g\], and how many elements of a capacity that fills.
#[pyfunction]
pub(crate) fn captured(
    before: SampleGiven,
    after: SampleGiven,
    tank: Given<Volume>,
    assumed: MassGiven,
    capacity: Option<f64>,
) -> Result<Plain<CapturedParts>> {
    let [before, after] = [before, after].map(|sample| assumed.of(&sample.sample()?.spectrum()?));
    let captured = Captured::between(tank.0, &before?, &after?)?;
    let elements = capacity.map(|grams| captured.elements(Mass::from_grams(grams)?)).transpose()?;
    Ok(Plain(CapturedParts {
        mass: captured.mass.map(Mass::grams),
        may_have_risen: captured.may_have_risen,
        elements,
        notes: [INGRESS_NOTE, CAPACITY_NOTE],
    }))
}
