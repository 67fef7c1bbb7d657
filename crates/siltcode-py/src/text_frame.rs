//! Plain rows of text as a frame: names, times, counts, codes and outcomes.

use std::fs::File;
use std::io;
use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread;

use arrow_array::{Array, ArrayRef, Float64Array, RecordBatch, StringArray};
use arrow_buffer::{Buffer, NullBuffer, OffsetBuffer};
use pyo3::prelude::*;
use rayon::ThreadPoolBuilder;
use siltcode::bulk::{self, Target};
use siltcode::class::iso4406::Code;
use siltcode::intake::Options;
use siltcode::intake::columns::{self, Columns as TextColumns, RowScores, Texts};

use crate::error::Result;
use crate::frame::{CODE, Coded, NONE, OUTCOME, code, counted, target};
use crate::plain::{self, OptionsGiven};
use crate::specs::SpecGiven;
use crate::table::{Columns, column_fault};

/// Columns, the rows that could not be used, and what was guessed.
type Read<'py> = (Columns, Bound<'py, PyAny>, Bound<'py, PyAny>);

/// Reads a file of plain rows and scores them.
#[pyfunction]
pub(crate) fn read_columns<'py>(
    py: Python<'py>,
    path: PathBuf,
    spec: Option<SpecGiven>,
    options: OptionsGiven,
) -> Result<Read<'py>> {
    let (target, options) = (target(spec)?, options.options()?);
    let name = path.to_string_lossy();
    let unopened = |error: io::Error| io::Error::new(error.kind(), format!("{error}: {name}"));
    let file = File::open(&path).map_err(unopened).map_err(PyErr::from)?;
    let (read, scores) = py.detach(|| on_all_cores(|| scored(&name, file, &options, target.as_ref())))?;
    let (problems, notices) = (plain::out(py, &read.problems)?, plain::out(py, &read.notices)?);
    Ok((py.detach(|| frame(read, scores))?, problems, notices))
}

/// Works in threads of its own: threads that outlived the call would be missing in a process forked from this one.
fn on_all_cores<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    let cores = thread::available_parallelism().map_or(1, usize::from);
    match ThreadPoolBuilder::new().num_threads(cores).build() {
        Ok(pool) => pool.install(work),
        Err(_) => work(),
    }
}

fn scored(
    name: &str,
    file: File,
    options: &Options,
    target: Option<&Target>,
) -> siltcode::Result<(TextColumns, RowScores)> {
    let read = columns::par_read(name, file, options)?;
    let scores = read.par_score(target)?;
    Ok((read, scores))
}

/// A column of all rows.
enum Column {
    Whole(ArrayRef),
    /// Texts one behind the other, and where each begins.
    Text(Buffer, Vec<i64>),
}

impl Column {
    fn text(texts: Texts) -> Self {
        let (text, offsets) = texts.into_parts();
        Self::Text(Buffer::from_vec(text.into_bytes()), offsets)
    }

    /// Some of the rows; no text is nothing. Their texts have fewer bytes than 2^31.
    fn of(&self, rows: &Range<usize>) -> Result<ArrayRef> {
        let (buffer, offsets) = match self {
            Self::Whole(array) => return Ok(array.slice(rows.start, rows.len())),
            Self::Text(buffer, offsets) => (buffer, &offsets[rows.start..=rows.end]),
        };
        let ends: Option<Vec<i32>> = offsets.iter().map(|end| i32::try_from(end - offsets[0]).ok()).collect();
        let text = usize::try_from(offsets[0]).map_or_else(|_| buffer.clone(), |from| buffer.slice(from));
        let empty = offsets.windows(2).any(|ends| ends[0] == ends[1]);
        let filled = empty.then(|| offsets.windows(2).map(|ends| ends[0] < ends[1]).collect::<NullBuffer>());
        let offsets = OffsetBuffer::new(ends.unwrap_or_default().into());
        let array = StringArray::try_new(offsets, text, filled).map_err(|error| column_fault(&error))?;
        Ok(Arc::new(array))
    }

    /// The first row from `start` on that would not fit the offsets of a piece.
    fn end(&self, start: usize) -> usize {
        match self {
            Self::Whole(array) => array.len(),
            Self::Text(_, offsets) => {
                let fits = |end: &i64| end - offsets[start] <= i64::from(i32::MAX);
                start + offsets[start..].partition_point(fits).saturating_sub(1)
            }
        }
    }
}

fn frame(read: TextColumns, scores: RowScores) -> Result<Columns> {
    let (rows, sizes) = (read.len(), Code::sizes_um(read.scale()));
    let mut columns = vec![("id".to_owned(), Column::text(read.ids))];
    columns.extend(read.times.map(|times| ("time".to_owned(), Column::text(times))));
    columns.extend(read.counts.into_iter().map(|counts| {
        (format!("per_ml_{}", counts.size.um()), Column::Whole(concentrations(counts.per_ml)))
    }));
    columns.push((CODE.to_owned(), Column::Whole(codes(&scores.numbers).array()?)));
    let numbers = sizes.into_iter().zip(scores.numbers);
    columns.extend(numbers.filter_map(|(um, numbers)| {
        Some((format!("number_{}", um?), Column::Whole(Arc::new(counted(numbers)) as ArrayRef)))
    }));
    if !scores.outcomes.is_empty() {
        columns.push((OUTCOME.to_owned(), Column::Whole(outcomes(&scores.outcomes).array()?)));
    }
    for other in read.others {
        let mut name = other.name;
        while name.is_empty() || columns.iter().any(|(known, _)| *known == name) {
            name.push('_');
        }
        columns.push((name, Column::text(other.texts)));
    }
    in_pieces(&columns, rows)
}

/// The columns, in as many pieces as the offsets of their texts need: one up to 2^31 bytes.
fn in_pieces(columns: &[(String, Column)], rows: usize) -> Result<Columns> {
    let (mut pieces, mut start) = (Vec::new(), 0);
    loop {
        let end = columns.iter().map(|(_, column)| column.end(start)).min().unwrap_or(rows);
        let arrays = columns.iter().map(|(name, column)| Ok((name, column.of(&(start..end))?, true)));
        let arrays: Vec<_> = arrays.collect::<Result<_>>()?;
        let piece = RecordBatch::try_from_iter_with_nullable(arrays).map_err(|error| column_fault(&error))?;
        pieces.push(piece);
        if end >= rows || end == start {
            return Ok(Columns::new(pieces[0].schema(), pieces));
        }
        start = end;
    }
}

/// Concentrations; nothing in place of what was not counted.
fn concentrations(per_ml: Vec<f64>) -> ArrayRef {
    let nulls = per_ml.iter().any(|count| count.is_nan());
    let valid = nulls.then(|| per_ml.iter().map(|count| !count.is_nan()).collect());
    Arc::new(Float64Array::new(per_ml.into(), valid))
}

/// The code of each row, by a table of all codes there are.
fn codes(numbers: &[Vec<u8>; 3]) -> Coded {
    const BITS: u32 = 5; // a number is below 30, and what was not counted is put at 31
    let mut known = vec![None; 1 << (3 * BITS)];
    let mut texts = Vec::new();
    let mut place = |numbers: [u8; 3]| {
        let at = numbers.into_iter().fold(0, |at, number| at << BITS | usize::from(number.min(31)));
        *known[at].get_or_insert_with(|| match code(numbers) {
            Some(code) => {
                texts.push(code.to_string());
                i16::try_from(texts.len() - 1).unwrap_or(NONE)
            }
            None => NONE,
        })
    };
    let [a, b, c] = numbers;
    let places = a.iter().zip(b).zip(c).map(|((&a, &b), &c)| place([a, b, c])).collect();
    Coded { places, texts }
}

/// The outcome of each row: its byte is its place.
fn outcomes(bytes: &[u8]) -> Coded {
    let texts: Vec<String> = (0..).map_while(bulk::outcome_of).map(|outcome| outcome.to_string()).collect();
    let place = |byte: &u8| if usize::from(*byte) < texts.len() { i16::from(*byte) } else { NONE };
    Coded { places: bytes.iter().map(place).collect(), texts }
}
