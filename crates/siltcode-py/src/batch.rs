//! Bottles read from files or handed over, and their scores.

use std::borrow::Cow;
use std::collections::HashMap;
use std::io::Cursor;
use std::sync::Arc;

use arrow_array::{ArrayRef, BooleanArray, Float64Array, StringArray, UInt8Array, UInt64Array};
use pyo3::exceptions::PyIndexError;
use pyo3::prelude::*;
use serde::Serialize;
use siltcode::certainty::{
    Context, Repeatability, RepeatabilitySource, Rule, RunPool, Scatter, SizeRepeatability,
};
use siltcode::class::{ClassRequest, ClassSystem};
use siltcode::intake::{self, Corrections, Notice, Options, RejectWriter, RepeatedIds};
use siltcode::previous::{Match, Previous};
use siltcode::provenance::Provenance;
use siltcode::{
    Field, LeaveOut, LeftOutRun, NamedRun, PerMl, RangeNumber, Sample, Scored, ScoredChannel, Scoring, Size,
    SizeScale, Spec, Spectrum, score, tables,
};

use crate::error::Result;
use crate::plain::{self, OptionsGiven, SampleGiven, ScoringGiven};
use crate::shares::in_shares;
use crate::specs::SpecGiven;
use crate::table::Columns;

/// Bottles, blanks, problems and notices; how many of the bottles each file holds, by its name.
#[pyclass(frozen, module = "siltcode._native")]
pub(crate) struct Batch(intake::Batch, Vec<(String, usize)>);

/// Reads inputs, each a name and its bytes, into one batch.
#[pyfunction]
pub(crate) fn read_counts(
    py: Python<'_>,
    inputs: Vec<(String, Vec<u8>)>,
    options: OptionsGiven,
) -> Result<Batch> {
    let mut options: Options = options.options()?;
    let read = || -> siltcode::Result<Batch> {
        let mut corrections = Corrections::default();
        for (name, bytes) in inputs.iter().filter(|_| inputs.len() > 1) {
            corrections.add(name, bytes.as_slice())?;
        }
        corrections.keep_for(inputs.iter().map(|(name, _)| name.as_str()));
        options.corrections = Some(Arc::new(corrections));
        let (mut batch, mut files) = (intake::Batch::default(), Vec::new());
        let mut repeated = RepeatedIds::default();
        for (name, bytes) in &inputs {
            let mut read = intake::read(name, Cursor::new(bytes), &options)?;
            read.notices.extend(read.samples.iter().filter_map(|sample| repeated.check(sample, name)));
            files.push((name.clone(), read.samples.len()));
            batch.append(read);
        }
        Ok(Batch(batch, files))
    };
    Ok(py.detach(read)?)
}

/// A batch of samples made in Python.
#[pyfunction]
pub(crate) fn batch_of(samples: Vec<SampleGiven>) -> Result<Batch> {
    let samples: Vec<Sample> = samples.iter().map(SampleGiven::sample).collect::<siltcode::Result<_>>()?;
    let files = vec![(String::new(), samples.len())];
    Ok(Batch(intake::Batch { samples, ..intake::Batch::default() }, files))
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
        let previous = previous.as_deref();
        Ok(py.detach(|| {
            let pooled = Pooled::of(&self.0.samples, &self.1, &how.leave_out, how.repeatability);
            let before = previous.map(|batch| Before::of(batch, by, &how));
            let results = all_scored(&pooled, spec.as_ref(), &how, before.as_ref());
            let (mut bottles, mut failed) = (Vec::new(), Vec::new());
            for (sample, result) in pooled.samples.iter().zip(results) {
                match result {
                    Ok(bottle) => bottles.push(bottle),
                    Err(error) => failed.push((sample.id.clone(), error)),
                }
            }
            let notices = pooled.notices(&how.leave_out);
            Scores { bottles, failed, files: pooled.files, notices }
        }))
    }
}

/// The previous bottles, by what they are matched by; where two have the same, the last.
struct Before<'a> {
    by: Match,
    places: HashMap<String, usize>,
    pooled: Pooled<'a>,
}

impl<'a> Before<'a> {
    fn of(batch: &'a Batch, by: Match, how: &How) -> Self {
        let samples = batch.0.samples.iter().enumerate();
        let places = samples.filter_map(|(place, sample)| Some((by.key(sample)?, place))).collect();
        let pooled = Pooled::of(&batch.0.samples, &batch.1, &LeaveOut::default(), how.repeatability);
        Self { by, places, pooled }
    }

    /// The previous bottle of one, and what the runs of its file say.
    fn previous(&self, sample: &Sample) -> Option<(&Sample, &Repeatability)> {
        let place = *self.places.get(&self.by.key(sample)?)?;
        Some((self.pooled.samples.get(place)?, self.pooled.known(place)))
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
    pub(crate) leave_out: LeaveOut,
    pub(crate) context: Context<'static>,
}

/// Bottles less the runs that are left out, and what the runs of each file say of their variation.
struct Pooled<'a> {
    samples: Cow<'a, [Sample]>,
    left_out: Vec<Vec<LeftOutRun>>,
    /// The file of each bottle, by its place in `files`.
    file_of: Vec<usize>,
    files: Vec<(String, Repeatability)>,
}

impl<'a> Pooled<'a> {
    fn of(
        samples: &'a [Sample],
        files: &[(String, usize)],
        leave_out: &LeaveOut,
        stated: Option<Scatter>,
    ) -> Self {
        let mut samples = Cow::Borrowed(samples);
        let mut left_out = vec![Vec::new(); samples.len()];
        if !leave_out.is_none() {
            left_out = samples.to_mut().iter_mut().map(|sample| leave_out.from(sample)).collect();
        }
        let (mut file_of, mut known, mut rest) =
            (Vec::with_capacity(samples.len()), Vec::new(), &samples[..]);
        for (place, (name, bottles)) in files.iter().enumerate() {
            let (own, others) = rest.split_at((*bottles).min(rest.len()));
            file_of.extend(own.iter().map(|_| place));
            known.push((name.clone(), RunPool::of(own).repeatability(stated)));
            rest = others;
        }
        Self { samples, left_out, file_of, files: known }
    }

    /// What the runs of a bottle's file say.
    fn known(&self, place: usize) -> &Repeatability {
        &self.files[self.file_of[place]].1
    }

    /// What is to be said of the batch.
    fn notices(&self, leave_out: &LeaveOut) -> Vec<Notice> {
        let contradicted = self.files.iter().filter_map(|(file, known)| {
            Some(Notice::repeatability_contradicted(file, &known.contradicted()?))
        });
        let is_met = |named: &NamedRun| {
            self.samples.iter().zip(&self.left_out).any(|(sample, runs)| named.is_among(&sample.id, runs))
        };
        let missed = leave_out.named.iter().filter(|named| !is_met(named));
        contradicted.chain(missed.map(|named| Notice::run_not_left_out("", named))).collect()
    }
}

/// Every sample scored, in order, on all cores.
fn all_scored(
    pooled: &Pooled<'_>,
    spec: Option<&Spec>,
    how: &How,
    before: Option<&Before<'_>>,
) -> Vec<siltcode::Result<Scored>> {
    let context = Context { method: how.method.as_deref(), blank: how.blank.as_ref(), ..how.context };
    let classes = ClassRequest { systems: &how.classes, convert_to: how.convert_to };
    let scoring = Scoring { spec, rule: how.rule, subtract: how.subtract.as_ref(), classes, context };
    in_shares(pooled.samples.len(), |i| {
        let sample = &pooled.samples[i];
        let previous = before.and_then(|before| before.previous(sample));
        let counts = previous.and_then(|(sample, _)| sample.spectrum().ok());
        let context =
            Context { repeatability: Some(pooled.known(i)), earlier: counts.as_ref(), ..scoring.context };
        let mut scored = score(sample, &Scoring { context, ..scoring })?;
        scored.left_out.clone_from(&pooled.left_out[i]);
        let then = previous.and_then(|(sample, known)| {
            let context = Context { repeatability: Some(known), ..scoring.context };
            score(sample, &Scoring { spec: None, subtract: None, context, ..scoring }).ok()
        });
        scored.previous = then.map(|then| Previous::of(&scored, &then));
        Ok(scored)
    })
}

/// How much runs of one file vary at one size.
#[derive(Serialize)]
struct OfFile {
    file: Option<String>,
    size: Option<Size>,
    cv: Scatter,
    effective_number: f64,
    bottles: usize,
    source: RepeatabilitySource,
}

impl OfFile {
    fn new(file: &str, entry: SizeRepeatability) -> Self {
        let SizeRepeatability { size, cv, effective_number, bottles, source, .. } = entry;
        let file = (!file.is_empty()).then(|| file.to_owned());
        Self { file, size, cv, effective_number, bottles, source }
    }
}

/// A size of a bottle.
type Row<'a> = (&'a Scored, &'a ScoredChannel);

/// Scored bottles, and those that could not be scored.
#[pyclass(frozen, module = "siltcode._native")]
pub(crate) struct Scores {
    bottles: Vec<Scored>,
    failed: Vec<(String, siltcode::Error)>,
    /// What the runs of each file say of their variation.
    files: Vec<(String, Repeatability)>,
    notices: Vec<Notice>,
}

impl Scores {
    /// What is known of bottles beside their counts: a column for each field that any of them has, and one for all
    /// that was measured.
    fn beside(&self) -> Vec<(&'static str, ArrayRef)> {
        let of = |field: Field| -> ArrayRef {
            let text = |scored: &Scored| {
                scored.fields.iter().find(|(known, _)| *known == field).map(|(_, text)| text.clone())
            };
            Arc::new(self.bottles.iter().map(text).collect::<StringArray>())
        };
        let measured = |scored: &Scored| {
            let all: Vec<String> = scored.companions.iter().map(ToString::to_string).collect();
            (!all.is_empty()).then(|| all.join("; "))
        };
        let is_known = |field: &Field| {
            self.bottles.iter().any(|scored| scored.fields.iter().any(|(known, _)| known == field))
        };
        let fields = Field::ALL.into_iter().filter(is_known).map(|field| (field.name(), of(field)));
        let mut columns: Vec<(&'static str, ArrayRef)> = fields.collect();
        if self.bottles.iter().any(|scored| !scored.companions.is_empty()) {
            let measured = self.bottles.iter().map(measured).collect::<StringArray>();
            columns.push(("measurements", Arc::new(measured)));
        }
        columns
    }
}

#[pymethods]
impl Scores {
    fn __len__(&self) -> usize {
        self.bottles.len()
    }

    fn score<'py>(&self, py: Python<'py>, at: usize) -> Result<Bound<'py, PyAny>> {
        let scored = self.bottles.get(at).ok_or_else(|| PyIndexError::new_err(at))?;
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

    /// How much runs vary, file by file and size by size.
    fn repeatability<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        let of_file = |(file, known): &'_ (String, Repeatability)| -> Vec<OfFile> {
            known.entries().map(|entry| OfFile::new(file, entry)).collect()
        };
        plain::out(py, &self.files.iter().flat_map(of_file).collect::<Vec<_>>())
    }

    /// What is said of the batch as a whole.
    fn notices<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &self.notices)
    }

    /// One row a bottle.
    fn bottles(&self) -> Result<Columns> {
        let text = |text: fn(&Scored) -> Option<String>| -> ArrayRef {
            Arc::new(self.bottles.iter().map(text).collect::<StringArray>())
        };
        let number = |number: fn(&Scored) -> Option<f64>| -> ArrayRef {
            Arc::new(self.bottles.iter().map(number).collect::<Float64Array>())
        };
        let runs = self.bottles.iter().map(|scored| Some(scored.runs as u64)).collect::<UInt64Array>();
        let mut columns: Vec<(&str, ArrayRef)> = vec![
            ("id", text(|scored| Some(scored.id.clone()))),
            ("iso4406", text(|scored| scored.iso4406.map(|code| code.to_string()))),
            ("scale", text(|scored| Some(scored.scale.to_string()))),
            ("runs", Arc::new(runs)),
        ];
        if self.bottles.iter().any(|scored| scored.verdict.is_some()) {
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
        let counting_only =
            self.bottles.iter().map(|scored| Some(scored.counting_only)).collect::<BooleanArray>();
        columns.push(("flags", text(|scored| Some(codes_of_flags(scored)))));
        columns.push(("counting_only", Arc::new(counting_only)));
        columns.extend(self.beside());
        Columns::of(columns.into_iter().map(|(name, array)| (name.to_owned(), array)).collect())
    }

    /// One row a size of a bottle.
    fn channels(&self) -> Result<Columns> {
        let rows = || self.bottles.iter().flat_map(|scored| scored.channels.iter().map(move |c| (scored, c)));
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
