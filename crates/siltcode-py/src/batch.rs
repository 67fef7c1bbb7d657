//! Bottles read from files or handed over, and their scores.

use std::collections::HashMap;
use std::io::Cursor;
use std::sync::Arc;

use arrow_array::{ArrayRef, BooleanArray, Float64Array, StringArray, UInt8Array, UInt64Array};
use pyo3::exceptions::PyIndexError;
use pyo3::prelude::*;
use siltcode::certainty::{Context, Rule, RunPool, Scatter};
use siltcode::class::{ClassRequest, ClassSystem};
use siltcode::intake::{self, Options, RejectWriter, RepeatedIds};
use siltcode::previous::{Match, Previous};
use siltcode::provenance::Provenance;
use siltcode::{
    PerMl, RangeNumber, Sample, Scored, ScoredChannel, Scoring, SizeScale, Spec, Spectrum, score, tables,
};

use crate::error::Result;
use crate::plain::{self, OptionsGiven, SampleGiven, ScoringGiven};
use crate::shares::in_shares;
use crate::specs::SpecGiven;
use crate::table::Columns;

/// Bottles, blanks, problems and notices.
#[pyclass(frozen, module = "siltcode._native")]
pub(crate) struct Batch(intake::Batch);

/// Reads inputs, each a name and its bytes, into one batch.
#[pyfunction]
pub(crate) fn read_counts(
    py: Python<'_>,
    inputs: Vec<(String, Vec<u8>)>,
    options: OptionsGiven,
) -> Result<Batch> {
    let options: Options = options.options()?;
    let read = || -> siltcode::Result<intake::Batch> {
        let mut batch = intake::Batch::default();
        let mut repeated = RepeatedIds::default();
        for (name, bytes) in &inputs {
            let mut read = intake::read(name, Cursor::new(bytes), &options)?;
            read.notices.extend(read.samples.iter().filter_map(|sample| repeated.check(sample, name)));
            batch.append(read);
        }
        Ok(batch)
    };
    Ok(Batch(py.detach(read)?))
}

/// A batch of samples made in Python.
#[pyfunction]
pub(crate) fn batch_of(samples: Vec<SampleGiven>) -> Result<Batch> {
    let samples = samples.iter().map(SampleGiven::sample).collect::<siltcode::Result<_>>()?;
    Ok(Batch(intake::Batch { samples, ..intake::Batch::default() }))
}

#[pymethods]
impl Batch {
    fn __len__(&self) -> usize {
        self.0.samples.len()
    }

    fn sample<'py>(&self, py: Python<'py>, at: usize) -> Result<Bound<'py, PyAny>> {
        let sample = self.0.samples.get(at).ok_or_else(|| PyIndexError::new_err(at))?;
        plain::out(py, sample)
    }

    fn ids(&self) -> Vec<&str> {
        self.0.samples.iter().map(|sample| sample.id.as_str()).collect()
    }

    fn blanks<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &self.0.blanks)
    }

    fn problems<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &self.0.problems)
    }

    fn notices<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &self.0.notices)
    }

    /// What became of every record.
    fn account<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &self.0.account)
    }

    fn provenance<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(
            py,
            &Provenance::new(&[&tables::ISO4406, &tables::TEST_METHOD_RANGES], self.0.inputs.clone()),
        )
    }

    /// The rows that could not be used, as delimited text to be corrected and read again.
    fn rejects(&self) -> Result<Vec<u8>> {
        let mut writer = RejectWriter::new(Vec::new());
        self.0.problems.iter().try_for_each(|problem| writer.write(problem)).map_err(PyErr::from)?;
        Ok(writer.finish().map_err(PyErr::from)?)
    }

    fn score(
        &self,
        py: Python<'_>,
        spec: Option<SpecGiven>,
        how: ScoringGiven,
        previous: Option<PyRef<'_, Self>>,
        by_point: bool,
    ) -> Result<Scores> {
        let spec = spec.map(|spec| spec.spec()).transpose()?;
        let how = how.scoring()?;
        let by = if by_point { Match::TankAndPoint } else { Match::Id };
        let before: HashMap<String, &Sample> =
            previous.as_ref().map(|batch| batch.by_key(by)).unwrap_or_default();
        let results = py.detach(|| all_scored(&self.0.samples, spec.as_ref(), &how, &before, by));
        let (mut scores, mut failed) = (Vec::new(), Vec::new());
        for (sample, result) in self.0.samples.iter().zip(results) {
            match result {
                Ok(bottle) => scores.push(bottle),
                Err(error) => failed.push((sample.id.clone(), error)),
            }
        }
        Ok(Scores { scores, failed })
    }
}

impl Batch {
    /// Each bottle by what it is matched by; where two have the same, the last.
    fn by_key(&self, by: Match) -> HashMap<String, &Sample> {
        self.0.samples.iter().filter_map(|sample| Some((by.key(sample)?, sample))).collect()
    }
}

/// What is told about a score besides the target.
pub(crate) struct How {
    pub(crate) rule: Option<Rule>,
    pub(crate) subtract: Option<Spectrum>,
    pub(crate) blank: Option<Spectrum>,
    pub(crate) method: Option<String>,
    pub(crate) classes: Vec<ClassSystem>,
    pub(crate) convert_to: Option<SizeScale>,
    /// The variation between runs that was stated.
    pub(crate) repeatability: Option<Scatter>,
    pub(crate) context: Context<'static>,
}

/// Every sample scored, in order, on all cores.
fn all_scored(
    samples: &[Sample],
    spec: Option<&Spec>,
    how: &How,
    before: &HashMap<String, &Sample>,
    by: Match,
) -> Vec<siltcode::Result<Scored>> {
    let known = RunPool::of(samples).repeatability(how.repeatability);
    let context = Context {
        method: how.method.as_deref(),
        blank: how.blank.as_ref(),
        repeatability: Some(&known),
        ..how.context
    };
    let classes = ClassRequest { systems: &how.classes, convert_to: how.convert_to };
    let scoring = Scoring { spec, rule: how.rule, subtract: how.subtract.as_ref(), classes, context };
    in_shares(samples.len(), |i| {
        let previous = by.key(&samples[i]).and_then(|key| before.get(&key).copied());
        let counts = previous.and_then(|sample| sample.spectrum().ok());
        let context = Context { earlier: counts.as_ref(), ..context };
        let mut scored = score(&samples[i], &Scoring { context, ..scoring })?;
        let alike = Scoring { spec: None, subtract: None, ..scoring };
        let then = previous.and_then(|sample| score(sample, &alike).ok());
        scored.previous = then.map(|then| Previous::of(&scored, &then));
        Ok(scored)
    })
}

/// A size of a bottle.
type Row<'a> = (&'a Scored, &'a ScoredChannel);

/// Scored bottles, and those that could not be scored.
#[pyclass(frozen, module = "siltcode._native")]
pub(crate) struct Scores {
    scores: Vec<Scored>,
    failed: Vec<(String, siltcode::Error)>,
}

#[pymethods]
impl Scores {
    fn __len__(&self) -> usize {
        self.scores.len()
    }

    fn score<'py>(&self, py: Python<'py>, at: usize) -> Result<Bound<'py, PyAny>> {
        let scored = self.scores.get(at).ok_or_else(|| PyIndexError::new_err(at))?;
        let parts = plain::out(py, scored)?;
        let settle =
            scored.verdict.as_ref().and_then(|verdict| verdict.settle).map(|settle| settle.to_string());
        parts.set_item("settle", settle)?;
        Ok(parts)
    }

    /// Bottles without a score: id, code, message, hint.
    fn failed(&self) -> Vec<(&str, &'static str, String, String)> {
        let failed = self.failed.iter();
        failed.map(|(id, error)| (id.as_str(), error.code(), error.to_string(), error.hint())).collect()
    }

    /// One row a bottle.
    fn bottles(&self) -> Result<Columns> {
        let text = |text: fn(&Scored) -> Option<String>| -> ArrayRef {
            Arc::new(self.scores.iter().map(text).collect::<StringArray>())
        };
        let number = |number: fn(&Scored) -> Option<f64>| -> ArrayRef {
            Arc::new(self.scores.iter().map(number).collect::<Float64Array>())
        };
        let runs = self.scores.iter().map(|scored| Some(scored.runs as u64)).collect::<UInt64Array>();
        let mut columns: Vec<(&str, ArrayRef)> = vec![
            ("id", text(|scored| Some(scored.id.clone()))),
            ("iso4406", text(|scored| scored.iso4406.map(|code| code.to_string()))),
            ("scale", text(|scored| Some(scored.scale.to_string()))),
            ("runs", Arc::new(runs)),
        ];
        if self.scores.iter().any(|scored| scored.verdict.is_some()) {
            let verdict = [
                ("outcome", text(|scored| Some(scored.verdict.as_ref()?.outcome.to_string()))),
                ("p", number(|scored| Some(scored.verdict.as_ref()?.p?.get()))),
                ("rule", text(|scored| Some(scored.verdict.as_ref()?.rule?.to_string()))),
                ("deciding", text(|scored| scored.verdict.as_ref()?.deciding.clone())),
                ("factor_to_remove", number(|scored| Some(scored.verdict.as_ref()?.factor_to_remove))),
                ("settle", text(|scored| Some(scored.verdict.as_ref()?.settle?.to_string()))),
            ];
            columns.extend(verdict);
        }
        columns.push(("flags", text(|scored| Some(codes_of_flags(scored)))));
        Columns::of(columns.into_iter().map(|(name, array)| (name.to_owned(), array)).collect())
    }

    /// One row a size of a bottle.
    fn channels(&self) -> Result<Columns> {
        let rows = || self.scores.iter().flat_map(|scored| scored.channels.iter().map(move |c| (scored, c)));
        let text = |text: fn(Row<'_>) -> Option<String>| -> ArrayRef {
            Arc::new(rows().map(text).collect::<StringArray>())
        };
        let number = |number: fn(Row<'_>) -> Option<f64>| -> ArrayRef {
            Arc::new(rows().map(number).collect::<Float64Array>())
        };
        let numbers = rows().map(|(_, c)| c.number.map(RangeNumber::get)).collect::<UInt8Array>();
        let raw = rows().map(|(_, c)| c.raw).collect::<UInt64Array>();
        let few = rows().map(|(_, c)| Some(c.few)).collect::<BooleanArray>();
        let columns: Vec<(&str, ArrayRef)> = vec![
            ("id", text(|(scored, _)| Some(scored.id.clone()))),
            ("size_um", number(|(_, c)| Some(c.size.um()))),
            ("scale", text(|(scored, _)| Some(scored.scale.to_string()))),
            ("per_ml", number(|(_, c)| c.per_ml.count().map(PerMl::get))),
            ("reading", text(|(_, c)| Some(c.per_ml.to_string()))),
            ("low_per_ml", number(|(_, c)| c.interval_per_ml.as_ref().map(|interval| interval.low.get()))),
            ("high_per_ml", number(|(_, c)| c.interval_per_ml.as_ref().map(|interval| interval.high.get()))),
            ("number", Arc::new(numbers)),
            ("few", Arc::new(few)),
            ("raw", Arc::new(raw)),
            ("volume_ml", number(|(_, c)| c.volume_ml)),
        ];
        Columns::of(columns.into_iter().map(|(name, array)| (name.to_owned(), array)).collect())
    }
}

fn codes_of_flags(scored: &Scored) -> String {
    scored.flags.iter().map(|flag| flag.code).collect::<Vec<_>>().join(" ")
}
