//! Rows of three counts scored: from arrays, or from any frame with the Arrow C data interface.

use std::borrow::Cow;
use std::collections::HashMap;
use std::fmt::Display;
use std::hash::Hash;
use std::sync::Arc;

use arrow_array::cast::AsArray;
use arrow_array::ffi_stream::RecordBatchStreamReader;
use arrow_array::types::{
    ArrowPrimitiveType, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type, UInt8Type,
    UInt16Type, UInt32Type, UInt64Type,
};
use arrow_array::{
    Array, ArrayRef, DictionaryArray, Int16Array, RecordBatch, RecordBatchReader, StringArray, UInt8Array,
};
use arrow_pyarrow::FromPyArrow;
use arrow_schema::{DataType, Field, Schema, SchemaRef};
use numpy::{IntoPyArray, PyReadonlyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use siltcode::bulk::{self, Target};
use siltcode::{Code, Error, ErrorKind, Place, Position, RangeNumber};

use crate::arrays::slice;
use crate::error::Result;
use crate::specs::SpecGiven;
use crate::table::{Columns, column_fault};

/// Three arrays of concentrations scored, row by row: each column by its name, texts as places in a list.
#[pyfunction]
pub(crate) fn score_columns<'py>(
    py: Python<'py>,
    per_ml: [PyReadonlyArray1<'py, f64>; 3],
    spec: Option<SpecGiven>,
) -> Result<Bound<'py, PyDict>> {
    let target = target(spec)?;
    let columns = [slice(&per_ml[0])?, slice(&per_ml[1])?, slice(&per_ml[2])?];
    let Rows { codes, numbers, outcomes, problems } = py.detach(|| scored(columns, target.as_ref()))?;
    let out = PyDict::new(py);
    let texts = |coded: Coded| (coded.places.into_pyarray(py), coded.texts);
    out.set_item(CODE, texts(codes))?;
    for (name, numbers) in NUMBERS.into_iter().zip(numbers) {
        out.set_item(name, numbers.into_pyarray(py))?;
    }
    if let Some(outcomes) = outcomes {
        out.set_item(OUTCOME, texts(outcomes))?;
    }
    out.set_item(PROBLEM, texts(problems))?;
    Ok(out)
}

/// Three columns of a frame scored, one piece of it after the other; a missing column is one that was not counted.
#[pyfunction]
pub(crate) fn score_stream<'py>(
    py: Python<'py>,
    frame: &Bound<'py, PyAny>,
    names: [Option<String>; 3],
    spec: Option<SpecGiven>,
) -> Result<Columns> {
    let target = target(spec)?;
    let schema = schema(target.is_some());
    let pieces = Pieces::of(frame)?;
    let scored = |piece: &RecordBatch, row| scored_piece(piece, &names, row, target.as_ref(), &schema);
    let pieces = py.detach(|| pieces.each(&names, scored))?;
    Ok(Columns::new(schema, pieces))
}

/// Columns of a frame as doubles, all pieces together; a missing column is one that was not counted.
pub(crate) fn named_columns(
    py: Python<'_>,
    frame: &Bound<'_, PyAny>,
    names: &[Option<String>],
) -> Result<Vec<Vec<f64>>> {
    let pieces = Pieces::of(frame)?;
    py.detach(|| {
        let mut columns = vec![Vec::new(); names.len()];
        pieces.each(names, |piece, first_row| {
            for (column, part) in columns.iter_mut().zip(numbers(piece, names, first_row)?) {
                column.extend_from_slice(&part);
            }
            Ok(())
        })?;
        Ok(columns)
    })
}

/// A frame, in one piece or in many.
enum Pieces {
    One(RecordBatch),
    Many(RecordBatchStreamReader),
}

impl Pieces {
    fn of(frame: &Bound<'_, PyAny>) -> Result<Self> {
        Ok(if frame.hasattr("__arrow_c_stream__")? {
            Self::Many(RecordBatchStreamReader::from_pyarrow_bound(frame)?)
        } else {
            Self::One(RecordBatch::from_pyarrow_bound(frame)?)
        })
    }

    /// Works on one piece after the other, each with the number of its first row.
    fn each<T>(
        self,
        names: &[Option<String>],
        mut work: impl FnMut(&RecordBatch, usize) -> Result<T>,
    ) -> Result<Vec<T>> {
        let reader = match self {
            Self::One(piece) => return Ok(vec![work(&piece, 0)?]),
            Self::Many(reader) => reader,
        };
        find(names, &reader.schema())?;
        let mut results = Vec::new();
        let mut row = 0;
        for piece in reader {
            let piece = piece.map_err(|error| ErrorKind::InputUnreadable { message: error.to_string() })?;
            results.push(work(&piece, row)?);
            row += piece.num_rows();
        }
        Ok(results)
    }
}

pub(crate) fn target(spec: Option<SpecGiven>) -> Result<Option<Target>> {
    Ok(spec.map(|spec| Target::of(&spec.spec()?)).transpose()?)
}

pub(crate) const CODE: &str = "iso4406";
pub(crate) const OUTCOME: &str = "outcome";
const PROBLEM: &str = "problem";
const NUMBERS: [&str; 3] = ["number_4", "number_6", "number_14"];

fn schema(has_target: bool) -> SchemaRef {
    let coded = DataType::Dictionary(Box::new(DataType::Int16), Box::new(DataType::Utf8));
    let text = |name: &str| Field::new(name, coded.clone(), true);
    let mut fields = vec![text(CODE)];
    fields.extend(NUMBERS.map(|name| Field::new(name, DataType::UInt8, true)));
    fields.extend(has_target.then(|| text(OUTCOME)));
    fields.push(text(PROBLEM));
    Arc::new(Schema::new(fields))
}

/// The places of the named columns.
fn find(names: &[Option<String>], schema: &Schema) -> siltcode::Result<Vec<Option<usize>>> {
    let known = || schema.fields().iter().map(|field| field.name().as_str()).collect::<Vec<_>>().join(", ");
    let place = |name: &String| {
        schema.index_of(name).map_err(|_| {
            let range = format!("one of {}", known());
            ErrorKind::QuantityOutOfRange { quantity: "column".into(), value: name.clone(), range }.into()
        })
    };
    names.iter().map(|name| name.as_ref().map(place).transpose()).collect()
}

fn scored_piece(
    piece: &RecordBatch,
    names: &[Option<String>; 3],
    first_row: usize,
    target: Option<&Target>,
    schema: &SchemaRef,
) -> Result<RecordBatch> {
    let columns = numbers(piece, names, first_row)?;
    scored([&columns[0], &columns[1], &columns[2]], target)?.piece(schema)
}

/// The named columns of a piece as numbers.
fn numbers<'a>(
    piece: &'a RecordBatch,
    names: &[Option<String>],
    first_row: usize,
) -> Result<Vec<Cow<'a, [f64]>>> {
    let places = find(names, &piece.schema())?.into_iter().zip(names);
    let column = |(place, name): (Option<usize>, &Option<String>)| match place {
        Some(place) => concentrations(piece.column(place), name.as_deref().unwrap_or_default(), first_row),
        None => Ok(Cow::Owned(vec![f64::NAN; piece.num_rows()])),
    };
    places.map(column).collect()
}

/// A column as numbers, without a copy where they are doubles and none is missing.
fn concentrations<'a>(column: &'a ArrayRef, name: &str, first_row: usize) -> Result<Cow<'a, [f64]>> {
    Ok(match column.data_type() {
        DataType::Float64 if column.null_count() == 0 => {
            Cow::Borrowed(column.as_primitive::<Float64Type>().values())
        }
        DataType::Float64 => converted::<Float64Type>(column, |value| value),
        DataType::Float32 => converted::<Float32Type>(column, f64::from),
        DataType::Int8 => converted::<Int8Type>(column, f64::from),
        DataType::Int16 => converted::<Int16Type>(column, f64::from),
        DataType::Int32 => converted::<Int32Type>(column, f64::from),
        DataType::Int64 => converted::<Int64Type>(column, |value| value as f64),
        DataType::UInt8 => converted::<UInt8Type>(column, f64::from),
        DataType::UInt16 => converted::<UInt16Type>(column, f64::from),
        DataType::UInt32 => converted::<UInt32Type>(column, f64::from),
        DataType::UInt64 => converted::<UInt64Type>(column, |value| value as f64),
        DataType::Null => Cow::Owned(vec![f64::NAN; column.len()]),
        other => return Err(no_number(column, &other.to_string(), name, first_row).into()),
    })
}

fn converted<T: ArrowPrimitiveType>(column: &ArrayRef, number: fn(T::Native) -> f64) -> Cow<'_, [f64]> {
    let values = column.as_primitive::<T>().iter();
    Cow::Owned(values.map(|value| value.map_or(f64::NAN, number)).collect())
}

/// The first value of a column that holds no numbers, or at least its type.
fn no_number(column: &ArrayRef, data_type: &str, name: &str, first_row: usize) -> Error {
    let row = (0..column.len()).find(|&row| column.is_valid(row)).unwrap_or_default();
    let text = match column.data_type() {
        DataType::Utf8 => column.as_string::<i32>().iter().nth(row).flatten(),
        DataType::LargeUtf8 => column.as_string::<i64>().iter().nth(row).flatten(),
        DataType::Utf8View => column.as_string_view().iter().nth(row).flatten(),
        _ => None,
    };
    let found = text.map_or_else(|| data_type.to_owned(), str::to_owned);
    let position =
        Position { line: Some((first_row + row) as u64), column: Some(name.into()), ..Position::default() };
    Error::from(ErrorKind::CountUnreadable { found }).at(position)
}

/// Rows scored.
struct Rows {
    codes: Coded,
    numbers: [Vec<u8>; 3],
    outcomes: Option<Coded>,
    problems: Coded,
}

fn scored(per_ml: [&[f64]; 3], target: Option<&Target>) -> siltcode::Result<Rows> {
    let rows = per_ml[0].len();
    let (numbers, outcomes) = numbers_and_outcomes(per_ml, target)?;
    let problem_of = |row| problem(per_ml.map(|column: &[f64]| column[row]));
    let places =
        |row| problem_of(row).map_or_else(|| Some([0, 1, 2].map(|i: usize| numbers[i][row])), |_| None);
    let codes = Coded::new(rows, places, code);
    let outcomes = outcomes.map(|outcomes| {
        let cannot_be = |row| problem_of(row).is_some_and(|problem| problem != NOTHING_COUNTED);
        Coded::new(rows, |row| (!cannot_be(row)).then_some(outcomes[row]), bulk::outcome_of)
    });
    Ok(Rows { codes, numbers, outcomes, problems: Coded::new(rows, problem_of, Some) })
}

impl Rows {
    fn piece(self, schema: &SchemaRef) -> Result<RecordBatch> {
        let mut columns = vec![self.codes.array()?];
        columns.extend(self.numbers.map(|numbers| Arc::new(counted(numbers)) as ArrayRef));
        columns.extend(self.outcomes.map(Coded::array).transpose()?);
        columns.push(self.problems.array()?);
        Ok(RecordBatch::try_new(Arc::clone(schema), columns).map_err(|error| column_fault(&error))?)
    }
}

/// The range numbers of three columns, and the outcome of each row as a byte.
type Bytes = ([Vec<u8>; 3], Option<Vec<u8>>);

fn numbers_and_outcomes(per_ml: [&[f64]; 3], target: Option<&Target>) -> siltcode::Result<Bytes> {
    let mut numbers = per_ml.map(|column| vec![0; column.len()]);
    let Some(target) = target else {
        for (numbers, per_ml) in numbers.iter_mut().zip(per_ml) {
            bulk::range_numbers(per_ml, numbers)?;
        }
        return Ok((numbers, None));
    };
    let mut outcomes = vec![0; per_ml[0].len()];
    let [a, b, c] = &mut numbers;
    bulk::score(per_ml, target, bulk::Scores { numbers: [a, b, c], outcomes: &mut outcomes })?;
    Ok((numbers, Some(outcomes)))
}

/// The numbers; nothing in place of what was not counted.
pub(crate) fn counted(numbers: Vec<u8>) -> UInt8Array {
    let nulls = numbers.contains(&bulk::NOT_COUNTED);
    let valid = nulls.then(|| numbers.iter().map(|&number| number != bulk::NOT_COUNTED).collect());
    UInt8Array::new(numbers.into(), valid)
}

const NOTHING_COUNTED: &str = "nothing-counted";

/// What is wrong with three counts, as the error's code.
fn problem([fine, middle, coarse]: [f64; 3]) -> Option<&'static str> {
    if [fine, middle, coarse].iter().any(|count| *count < 0.0 || count.is_infinite()) {
        Some("count-not-finite")
    } else if middle > fine || coarse > middle || coarse > fine {
        Some("count-rises-with-size")
    } else if [fine, middle, coarse].iter().all(|count| count.is_nan()) {
        Some(NOTHING_COUNTED)
    } else {
        None
    }
}

/// A column of few different texts: each row holds the place of its text in a list, or -1.
///
/// There are at most 31 times 31 times 31 different codes, so a place fits in two bytes.
pub(crate) struct Coded {
    pub(crate) places: Vec<i16>,
    pub(crate) texts: Vec<String>,
}

pub(crate) const NONE: i16 = -1;

impl Coded {
    fn new<K: Copy + Eq + Hash, T: Display>(
        rows: usize,
        key: impl Fn(usize) -> Option<K>,
        text: impl Fn(K) -> Option<T>,
    ) -> Self {
        let mut known: HashMap<K, i16> = HashMap::new();
        let mut texts = Vec::new();
        let mut place = |key: K| {
            *known.entry(key).or_insert_with(|| match text(key) {
                Some(text) => {
                    texts.push(text.to_string());
                    i16::try_from(texts.len() - 1).unwrap_or(NONE)
                }
                None => NONE,
            })
        };
        let places = (0..rows).map(|row| key(row).map_or(NONE, &mut place)).collect();
        Self { places, texts }
    }

    pub(crate) fn array(self) -> Result<ArrayRef> {
        let valid =
            self.places.contains(&NONE).then(|| self.places.iter().map(|&place| place != NONE).collect());
        let places = Int16Array::new(self.places.into(), valid);
        let column = DictionaryArray::try_new(places, Arc::new(StringArray::from(self.texts)));
        Ok(Arc::new(column.map_err(|error| column_fault(&error))?))
    }
}

pub(crate) fn code(numbers: [u8; 3]) -> Option<Code> {
    let place = |number: u8| match RangeNumber::new(number) {
        Ok(number) => Place::number(number),
        Err(_) if number == bulk::ABOVE_SCALE => Place::number(RangeNumber::ABOVE),
        Err(_) => Place::NotRequired,
    };
    Code::new(numbers.map(place)).ok()
}
