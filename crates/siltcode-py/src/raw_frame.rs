//! Rows of three raw counts with their volume and dilution, scored as bottles are: with certainty.

use std::collections::HashMap;
use std::sync::Arc;

use arrow_array::{ArrayRef, BooleanArray, Float64Array, StringArray, UInt8Array};
use numpy::{IntoPyArray, PyArray1, PyReadonlyArray1};
use pyo3::prelude::*;
use siltcode::certainty::{Context, Contradiction, Repeatability, RunPool};
use siltcode::{
    Channel, PerMl, RangeNumber, Reading, Sample, Scored, ScoredChannel, Scoring, Size, Spec, Spectrum, score,
};

use crate::arrays::{Floats, slice};
use crate::batch::How;
use crate::error::Result;
use crate::frame::named_columns;
use crate::given::evidence;
use crate::plain::ScoringGiven;
use crate::shares::in_shares;
use crate::specs::SpecGiven;
use crate::table::Columns;

const SIZES_UM: [f64; 3] = [4.0, 6.0, 14.0];

/// Columns of a frame as arrays of doubles; a missing column is one that was not counted.
#[pyfunction]
pub(crate) fn columns_of_stream<'py>(
    py: Python<'py>,
    frame: &Bound<'py, PyAny>,
    names: Vec<Option<String>>,
) -> Result<Vec<Bound<'py, PyArray1<f64>>>> {
    let columns = named_columns(py, frame, &names)?;
    Ok(columns.into_iter().map(|column| column.into_pyarray(py)).collect())
}

/// Columns of raw counts, of volumes \[mL\] and of dilutions, each as long as the others.
#[pyfunction]
pub(crate) fn score_raw<'py>(
    py: Python<'py>,
    raw: [Floats<'py>; 3],
    volume_ml: Floats<'py>,
    dilution: Floats<'py>,
    bottle: Option<PyReadonlyArray1<'py, u64>>,
    spec: Option<SpecGiven>,
    how: ScoringGiven,
) -> Result<(Columns, Option<String>)> {
    let spec = spec.map(|spec| spec.spec()).transpose()?;
    let how = how.scoring()?;
    let raw = [slice(&raw[0])?, slice(&raw[1])?, slice(&raw[2])?];
    let (volume_ml, dilution) = (slice(&volume_ml)?, slice(&dilution)?);
    let bottle = bottle.as_ref().map(slice).transpose()?;
    let (rows, contradicted) = py.detach(|| {
        let counted = |i: usize| Counted {
            raw: raw.map(|column| column[i]),
            volume_ml: volume_ml[i],
            dilution: dilution[i],
        };
        match bottle {
            None => {
                let known = RunPool::default().repeatability(how.repeatability);
                let how = Known { spec: spec.as_ref(), how: &how, repeatability: &known };
                let row = |i| Row::of(counted(i).is_empty(), counted(i).sample(), &how);
                (in_shares(volume_ml.len(), row), None)
            }
            Some(bottle) => by_bottle(bottle, counted, spec.as_ref(), &how),
        }
    });
    Ok((columns(&rows, spec.is_some())?, contradicted.map(|found| found.to_string())))
}

/// Rows of the same bottle as its runs: each has the result of all of them together. Besides, where runs vary otherwise than
/// was stated.
fn by_bottle(
    bottle: &[u64],
    counted: impl Fn(usize) -> Counted,
    spec: Option<&Spec>,
    how: &How,
) -> (Vec<Row>, Option<Contradiction>) {
    let mut places = HashMap::new();
    let mut runs: Vec<Vec<usize>> = Vec::new();
    let of_row: Vec<usize> = (bottle.iter().enumerate())
        .map(|(row, name)| {
            let place = *places.entry(*name).or_insert(runs.len());
            if place == runs.len() {
                runs.push(Vec::new());
            }
            runs[place].push(row);
            place
        })
        .collect();
    let sample = |rows: &Vec<usize>| -> siltcode::Result<Sample> {
        let spectra: siltcode::Result<Vec<_>> = rows.iter().map(|&row| counted(row).spectrum()).collect();
        Ok(Sample::new("", spectra?))
    };
    let samples: Vec<siltcode::Result<Sample>> = runs.iter().map(sample).collect();
    let known = RunPool::of(samples.iter().flatten()).repeatability(how.repeatability);
    let how = Known { spec, how, repeatability: &known };
    let is_empty = |rows: &[usize]| rows.iter().all(|&row| counted(row).is_empty());
    let scored: Vec<Row> =
        runs.iter().zip(samples).map(|(rows, sample)| Row::of(is_empty(rows), sample, &how)).collect();
    (of_row.into_iter().map(|place| scored[place].clone()).collect(), known.contradicted())
}

/// How rows are scored.
struct Known<'a> {
    spec: Option<&'a Spec>,
    how: &'a How,
    repeatability: &'a Repeatability,
}

/// A row of the frame.
struct Counted {
    raw: [f64; 3],
    volume_ml: f64,
    dilution: f64,
}

impl Counted {
    fn is_empty(&self) -> bool {
        self.raw.iter().all(|raw| raw.is_nan())
    }

    fn sample(&self) -> siltcode::Result<Sample> {
        Ok(Sample::new("", [self.spectrum()?]))
    }

    fn spectrum(&self) -> siltcode::Result<Spectrum> {
        let channel = |(um, raw): (f64, f64)| -> siltcode::Result<Channel> {
            let size = Size::um_c(um)?;
            if raw.is_nan() {
                return Ok(Channel::new(size, Reading::NotCounted));
            }
            Ok(Channel::counted(size, evidence(raw, self.volume_ml, self.dilution)?))
        };
        let channels = SIZES_UM.into_iter().zip(self.raw).map(channel).collect::<siltcode::Result<_>>()?;
        Spectrum::cumulative(channels)
    }
}

/// What is kept of a row.
#[derive(Clone, Default)]
struct Row {
    code: Option<String>,
    sizes: [SizeRow; 3],
    outcome: Option<String>,
    p: Option<f64>,
    counting_only: Option<bool>,
    problem: Option<&'static str>,
}

#[derive(Clone, Default)]
struct SizeRow {
    number: Option<u8>,
    per_ml: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    odds: Option<f64>,
}

impl Row {
    fn of(is_empty: bool, sample: siltcode::Result<Sample>, how: &Known<'_>) -> Self {
        let context = Context { repeatability: Some(how.repeatability), ..how.how.context };
        let scoring = Scoring { spec: how.spec, rule: how.how.rule, context, ..Scoring::default() };
        match sample.and_then(|sample| score(&sample, &scoring)) {
            Ok(scored) => {
                let problem = is_empty.then_some("nothing-counted");
                Self { problem, ..Self::from(scored) }
            }
            Err(error) => Self { problem: Some(error.code()), ..Self::default() },
        }
    }
}

impl From<Scored> for Row {
    fn from(scored: Scored) -> Self {
        let mut sizes: [SizeRow; 3] = Default::default();
        for (size, channel) in sizes.iter_mut().zip(&scored.channels) {
            *size = channel.into();
        }
        let verdict = scored.verdict.as_ref();
        Self {
            code: scored.iso4406.map(|code| code.to_string()),
            sizes,
            outcome: verdict.map(|verdict| verdict.outcome.to_string()),
            p: verdict.and_then(|verdict| verdict.p).map(siltcode::certainty::Probability::get),
            counting_only: Some(scored.counting_only),
            problem: None,
        }
    }
}

impl From<&ScoredChannel> for SizeRow {
    fn from(channel: &ScoredChannel) -> Self {
        let interval = channel.interval_per_ml.as_ref();
        let odds = channel.odds.as_ref().zip(channel.number);
        Self {
            number: channel.number.map(RangeNumber::get),
            per_ml: channel.per_ml.count().map(PerMl::get),
            low: interval.map(|interval| interval.low.get()),
            high: interval.map(|interval| interval.high.get()),
            odds: odds.map(|(odds, number)| odds.get(number).get()),
        }
    }
}

fn columns(rows: &[Row], has_target: bool) -> Result<Columns> {
    let text =
        |of: fn(&Row) -> Option<&str>| -> ArrayRef { Arc::new(rows.iter().map(of).collect::<StringArray>()) };
    let number = |of: &dyn Fn(&Row) -> Option<f64>| -> ArrayRef {
        Arc::new(rows.iter().map(of).collect::<Float64Array>())
    };
    let mut columns = vec![("iso4406".to_owned(), text(|row| row.code.as_deref()))];
    for (i, um) in SIZES_UM.into_iter().enumerate() {
        let numbers = rows.iter().map(|row| row.sizes[i].number).collect::<UInt8Array>();
        columns.extend([
            (format!("number_{um}"), Arc::new(numbers) as ArrayRef),
            (format!("per_ml_{um}"), number(&|row| row.sizes[i].per_ml)),
            (format!("low_{um}"), number(&|row| row.sizes[i].low)),
            (format!("high_{um}"), number(&|row| row.sizes[i].high)),
            (format!("odds_{um}"), number(&|row| row.sizes[i].odds)),
        ]);
    }
    if has_target {
        columns.push(("outcome".to_owned(), text(|row| row.outcome.as_deref())));
        columns.push(("p".to_owned(), number(&|row| row.p)));
    }
    let counting_only = rows.iter().map(|row| row.counting_only).collect::<BooleanArray>();
    columns.push(("counting_only".to_owned(), Arc::new(counting_only)));
    columns.push(("problem".to_owned(), text(|row| row.problem)));
    Columns::of(columns)
}
