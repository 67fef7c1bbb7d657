//! Whole arrays: contiguous numpy arrays in, new ones out. The Python side has brought them to this form.

use std::ops::Range;

use numpy::{IntoPyArray, PyArray1, PyReadonlyArray1, PyReadwriteArray1};
use pyo3::prelude::*;
use siltcode::certainty::{Mean, Odds, OddsByCount, poisson};
use siltcode::class::iso4406::Bounds;
use siltcode::count::whole_count;
use siltcode::{Error, ErrorKind, Evidence, Position, RangeNumber, bulk};

use crate::error::{Fault, Result};
use crate::{given, plain};

pub(crate) type Floats<'py> = PyReadonlyArray1<'py, f64>;
type Array<'py, T> = Bound<'py, PyArray1<T>>;

pub(crate) fn slice<'a, T: numpy::Element>(array: &'a PyReadonlyArray1<'_, T>) -> Result<&'a [T]> {
    Ok(array.as_slice().map_err(PyErr::from)?)
}

/// The error, placed at a row that is counted from 0.
pub(crate) fn at_row(error: impl Into<Error>, row: usize) -> Error {
    error.into().at(Position { line: Some(row as u64), ..Position::default() })
}

/// The result of a row, which an error is placed at.
pub(crate) fn placed<T>(result: siltcode::Result<T>, row: usize) -> siltcode::Result<T> {
    result.map_err(|error| at_row(error, row))
}

/// Writes the range number of each concentration to its place in `out`, which Python has made: its room is taken in large
/// pages, and need not be zeros first.
#[pyfunction]
pub(crate) fn range_numbers<'py>(
    py: Python<'py>,
    per_ml: &Bound<'py, PyAny>,
    mut out: PyReadwriteArray1<'py, u8>,
) -> Result<()> {
    let out = out.as_slice_mut().map_err(PyErr::from)?;
    if let Ok(single) = per_ml.extract::<PyReadonlyArray1<'py, f32>>() {
        let per_ml = slice(&single)?;
        return Ok(py.detach(|| bulk::range_numbers_f32(per_ml, out))?);
    }
    let double = per_ml.extract::<Floats<'py>>().map_err(PyErr::from)?;
    let per_ml = slice(&double)?;
    Ok(py.detach(|| bulk::range_numbers(per_ml, out))?)
}

type Ends<'py> = (Array<'py, f64>, Array<'py, f64>);

fn ends(py: Python<'_>, each: Vec<(f64, f64)>) -> Ends<'_> {
    let (low, high): (Vec<f64>, Vec<f64>) = each.into_iter().unzip();
    (low.into_pyarray(py), high.into_pyarray(py))
}

/// More than the first, up to the second \[particles/mL\]; NaN for what was not counted.
#[pyfunction]
pub(crate) fn range_bounds<'py>(py: Python<'py>, numbers: PyReadonlyArray1<'py, u8>) -> Result<Ends<'py>> {
    let bounds = |(row, &number): (usize, &u8)| match number {
        bulk::NOT_COUNTED => Ok((f64::NAN, f64::NAN)),
        bulk::ABOVE_SCALE => Ok(both(RangeNumber::ABOVE.bounds())),
        _ => Ok(both(RangeNumber::new(number).map_err(|error| at_row(error, row))?.bounds())),
    };
    let each = slice(&numbers)?.iter().enumerate().map(bounds).collect::<siltcode::Result<_>>()?;
    Ok(ends(py, each))
}

fn both(bounds: Bounds) -> (f64, f64) {
    (bounds.more_than.unwrap_or(0.0), bounds.up_to.unwrap_or(f64::INFINITY))
}

/// The interval of each raw count \[particles\]; NaN for what was not counted.
#[pyfunction]
pub(crate) fn poisson_interval<'py>(
    py: Python<'py>,
    raw: Floats<'py>,
    level: f64,
    method: &str,
) -> Result<Ends<'py>> {
    let (level, method) = (plain::level(level)?, plain::method(method)?);
    let raw = slice(&raw)?;
    let each = py.detach(|| {
        let counts = raw.iter().enumerate().filter(|(_, raw)| !raw.is_nan());
        let counts = counts.map(|(row, &raw)| whole_count(raw).map_err(|error| at_row(error, row)));
        let mut limits = Vec::new();
        poisson::limits(&counts.collect::<siltcode::Result<Vec<u64>>>()?, level, method, &mut limits);
        let mut limits = limits.into_iter().map(|limits| limits.map(Mean::get));
        let limit = |raw: &f64| {
            let limits = if raw.is_nan() { None } else { limits.next() };
            limits.map_or((f64::NAN, f64::NAN), |limits| (limits.low, limits.high))
        };
        Ok::<_, Error>(raw.iter().map(limit).collect())
    })?;
    Ok(ends(py, each))
}

/// For each raw count the odds of the numbers 0 to 28 and of above the scale, one after another.
#[pyfunction]
pub(crate) fn code_odds<'py>(
    py: Python<'py>,
    raw: Floats<'py>,
    volume_ml: Floats<'py>,
    dilution: Floats<'py>,
    scatter: f64,
) -> Result<Array<'py, f64>> {
    let scatter = plain::scatter(scatter)?;
    let (raw, volume_ml, dilution) = (slice(&raw)?, slice(&volume_ml)?, slice(&dilution)?);
    let odds = py.detach(|| {
        let mut rows = vec![[f64::NAN; Odds::NUMBERS]; raw.len()];
        for run in runs(volume_ml, dilution) {
            let mut by_count = None;
            for row in run.clone() {
                let counted = placed(evidence(raw[row], volume_ml[row], dilution[row]), row)?;
                match counted {
                    None => {}
                    Some(evidence) if run.len() < MANY => rows[row] = Odds::of(&evidence, scatter).row(),
                    Some(Evidence { raw, volume, dilution, .. }) => by_count
                        .get_or_insert_with(|| OddsByCount::new(volume, dilution, scatter))
                        .write(&[raw], &mut rows[row..=row])?,
                }
            }
        }
        Ok::<_, Error>(rows.into_flattened())
    })?;
    Ok(odds.into_pyarray(py))
}

/// Fewer counts of one volume are not worth finding out beforehand which of them are beyond doubt.
const MANY: usize = 64;

/// Rows that follow each other with the same volume and dilution.
fn runs(volume_ml: &[f64], dilution: &[f64]) -> impl Iterator<Item = Range<usize>> {
    let both = |row: usize| (volume_ml[row].to_bits(), dilution[row].to_bits());
    let mut start = 0;
    std::iter::from_fn(move || {
        let more = (start + 1..volume_ml.len()).take_while(|&row| both(row) == both(start)).count();
        let run = start..start + 1 + more;
        start = run.end;
        (run.start < volume_ml.len()).then_some(run)
    })
}

fn evidence(raw: f64, volume_ml: f64, dilution: f64) -> siltcode::Result<Option<Evidence>> {
    if raw.is_nan() || volume_ml.is_nan() {
        return Ok(None);
    }
    given::evidence(raw, volume_ml, dilution).map(Some)
}

/// Refuses a cell that is no number, with the library's own words.
#[pyfunction]
pub(crate) fn refuse_count(found: String, row: Option<u64>, column: Option<String>) -> Result<()> {
    let position = Position { line: row, column, ..Position::default() };
    Err(Fault::Library(Error::from(ErrorKind::CountUnreadable { found }).at(position)))
}
