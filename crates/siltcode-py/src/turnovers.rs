//! Turnovers by themselves, and the flow of a line that is flushed.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use siltcode::filter::Beta;
use siltcode::tank::mixing::displaced as left_displaced;
use siltcode::tank::{Reynolds, Turnovers, bulk, turnovers_like_one_pass as like_one_pass};
use siltcode::units::{Flow, KinematicViscosity, Length};

use crate::arrays::{Floats, slice};
use crate::error::Result;
use crate::given::Given;

/// The turnovers of each scenario \[-\]: start, target \[particles/mL\], ratio, and what comes in during a turnover.
#[pyfunction]
pub(crate) fn turnovers_needed<'py>(
    py: Python<'py>,
    given: [Floats<'py>; 4],
) -> Result<Bound<'py, PyArray1<f64>>> {
    let [start, target, beta, ingress] =
        [slice(&given[0])?, slice(&given[1])?, slice(&given[2])?, slice(&given[3])?];
    let needed = py.detach(|| {
        let mut needed = vec![0.0; start.len()];
        bulk::turnovers(&[bulk::Columns { start, target, beta, ingress }], &mut needed)?;
        Ok::<_, siltcode::Error>(needed)
    })?;
    Ok(needed.into_pyarray(py))
}

/// The turnovers of a stirred tank that clean as much as one passage.
#[pyfunction]
pub(crate) fn turnovers_like_one_pass(beta: Given<Beta>) -> f64 {
    like_one_pass(beta.0).get()
}

/// The share of a stirred tank that has passed the filter at least so often.
#[pyfunction]
pub(crate) fn passed_at_least(turnovers: Given<Turnovers>, times: u32) -> f64 {
    turnovers.0.passed_at_least(times).get()
}

/// What is left without any mixing: at the suction, and on average.
#[pyfunction]
pub(crate) fn displaced(beta: Given<Beta>, turnovers: Given<Turnovers>) -> (f64, f64) {
    let left = left_displaced(beta.0, turnovers.0);
    (left.suction, left.mean)
}

/// The Reynolds number of a flow in a pipe, and whether it flushes.
#[pyfunction]
pub(crate) fn pipe_reynolds(
    flow: Given<Flow>,
    bore: Given<Length>,
    viscosity: Given<KinematicViscosity>,
) -> (f64, bool) {
    let number = Reynolds::in_pipe(flow.0, bore.0, viscosity.0);
    (number.get(), number.flushes())
}
