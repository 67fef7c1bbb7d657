//! Numbers from Python as the library's quantities, each in the one unit that the Python side has brought it to, and
//! results on the way back.

use pyo3::prelude::*;
use serde::Serialize;
use siltcode::certainty::{Level, Mean, Probability, Scatter};
use siltcode::count::whole_count;
use siltcode::filter::{Beta, Share};
use siltcode::job::{CapacityUsed, Loading, Resistance};
use siltcode::tank::Turnovers;
use siltcode::units::{
    Density, Duration, DynamicViscosity, Flow, KinematicViscosity, Length, Pressure, Volume,
};
use siltcode::{CountedVolume, Dilution, Evidence, PerMl, Size};

use crate::error::Fault;

/// A quantity made of a number.
pub(crate) trait FromNumber: Sized {
    fn from_number(number: f64) -> siltcode::Result<Self>;
}

macro_rules! from_number {
    ($($type:ident $make:ident)*) => { $(
        impl FromNumber for $type {
            fn from_number(number: f64) -> siltcode::Result<Self> {
                $type::$make(number)
            }
        }
    )* };
}

from_number! {
    Level new
    Probability new
    Mean new
    Scatter from_cv
    PerMl new
    CountedVolume from_ml
    Size um_c
    Share new
    Beta new
    Turnovers new
    Loading new
    Resistance new
    CapacityUsed new
    Volume from_m3
    Flow from_l_per_min
    Duration from_hours
    Length from_metres
    Pressure from_kpa
    Density from_kg_per_m3
    DynamicViscosity from_mpa_s
    KinematicViscosity from_mm2_per_s
}

/// An argument that is a number in Python.
pub(crate) struct Given<T>(pub(crate) T);

impl<'py, T: FromNumber> FromPyObject<'_, 'py> for Given<T> {
    type Error = PyErr;

    fn extract(given: Borrowed<'_, 'py, PyAny>) -> PyResult<Self> {
        T::from_number(given.extract()?).map(Self).map_err(|error| Fault::from(error).into())
    }
}

/// An argument that is particles counted, the volume \[mL\] and the dilution.
pub(crate) struct Counted(pub(crate) Evidence);

impl<'py> FromPyObject<'_, 'py> for Counted {
    type Error = PyErr;

    fn extract(given: Borrowed<'_, 'py, PyAny>) -> PyResult<Self> {
        let (raw, volume_ml, dilution) = given.extract()?;
        evidence(raw, volume_ml, dilution).map(Self).map_err(|error| Fault::from(error).into())
    }
}

/// What particles counted, a volume \[mL\] and a dilution say together.
pub(crate) fn evidence(raw: f64, volume_ml: f64, dilution: f64) -> siltcode::Result<Evidence> {
    Ok(Evidence::of_run(whole_count(raw)?, CountedVolume::from_ml(volume_ml)?, Dilution::new(dilution)?))
}

/// A result that goes back as dictionaries, lists, numbers and text.
pub(crate) struct Plain<T>(pub(crate) T);

impl<'py, T: Serialize> IntoPyObject<'py> for Plain<T> {
    type Target = PyAny;
    type Output = Bound<'py, PyAny>;
    type Error = PyErr;

    fn into_pyobject(self, py: Python<'py>) -> PyResult<Self::Output> {
        Ok(pythonize::pythonize(py, &self.0)?)
    }
}
