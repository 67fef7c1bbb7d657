//! Columns of results, handed on by the Arrow C data interface.

use std::collections::HashMap;
use std::sync::Arc;

use arrow_array::builder::StringDictionaryBuilder;
use arrow_array::cast::AsArray;
use arrow_array::ffi_stream::FFI_ArrowArrayStream;
use arrow_array::types::{ArrowPrimitiveType, Float64Type, Int16Type, UInt8Type, UInt64Type};
use arrow_array::{
    Array, ArrayRef, BooleanArray, DictionaryArray, PrimitiveArray, RecordBatch, RecordBatchIterator,
    StringArray,
};
use arrow_schema::{ArrowError, DataType, FieldRef, Schema, SchemaRef, ffi::FFI_ArrowSchema};
use numpy::{IntoPyArray, PyArray1, PyArrayMethods, PyReadonlyArray1};
use pyo3::exceptions::{PyKeyError, PyRuntimeError};
use pyo3::prelude::*;
use pyo3::types::{PyCapsule, PyList, PyString};

use siltcode::bulk;

use crate::error::Result;

/// Rows of named columns, in one or more pieces.
#[pyclass(frozen, module = "siltcode._native")]
pub(crate) struct Columns {
    schema: SchemaRef,
    pieces: Vec<RecordBatch>,
}

/// A fault of the column library, which would be one of ours.
pub(crate) fn column_fault(error: &ArrowError) -> PyErr {
    PyRuntimeError::new_err(error.to_string())
}

impl Columns {
    pub(crate) fn new(schema: SchemaRef, pieces: Vec<RecordBatch>) -> Self {
        Self { schema, pieces }
    }

    /// Every value of a column, piece by piece.
    fn each<T>(&self, at: usize, value: impl Fn(&ArrayRef, usize) -> T + Copy) -> impl Iterator<Item = T> {
        let pieces = self.pieces.iter().map(move |piece| piece.column(at));
        pieces.flat_map(move |piece| (0..piece.len()).map(move |i| value(piece, i)))
    }

    fn values<T: ArrowPrimitiveType>(&self, at: usize) -> Vec<T::Native> {
        let pieces = self.pieces.iter().map(|piece| piece.column(at));
        pieces.flat_map(|piece| piece.as_primitive::<T>().values().iter().copied()).collect()
    }

    /// A column of range numbers, with the byte of what was not counted where there is none.
    fn numbers(&self, at: usize) -> Vec<u8> {
        let number = |piece: &ArrayRef, i: usize| {
            if piece.is_null(i) { bulk::NOT_COUNTED } else { piece.as_primitive::<UInt8Type>().value(i) }
        };
        self.each(at, number).collect()
    }

    fn truths(&self, at: usize) -> Vec<bool> {
        let pieces = self.pieces.iter().map(|piece| piece.column(at));
        pieces.flat_map(|piece| piece.as_boolean().iter().map(Option::unwrap_or_default)).collect()
    }

    fn words(&self, at: usize) -> impl Iterator<Item = Option<&str>> {
        self.pieces.iter().flat_map(move |piece| piece.column(at).as_string::<i32>().iter())
    }

    fn coded(&self, at: usize) -> impl Iterator<Item = Option<&str>> {
        let pieces = self.pieces.iter().map(move |piece| piece.column(at).as_dictionary::<Int16Type>());
        pieces.filter_map(DictionaryArray::downcast_dict::<StringArray>).flatten()
    }

    /// One piece of these named columns; a column may hold nothing in any place.
    pub(crate) fn of(columns: Vec<(String, ArrayRef)>) -> Result<Self> {
        let columns = columns.into_iter().map(|(name, array)| (name, array, true));
        let piece =
            RecordBatch::try_from_iter_with_nullable(columns).map_err(|error| column_fault(&error))?;
        Ok(Self { schema: piece.schema(), pieces: vec![piece] })
    }
}

/// A column taken apart: its name, the kind of its values, these, and whether each is there.
type Part<'py> = (String, String, Bound<'py, PyAny>, Bound<'py, PyArray1<bool>>);

/// The columns that were taken apart by `Columns.parts`, in one piece.
#[pyfunction]
pub(crate) fn columns_of_parts(parts: Vec<Part<'_>>) -> Result<Columns> {
    Columns::of(parts.into_iter().map(column_of_part).collect::<Result<_>>()?)
}

fn column_of_part((name, kind, values, there): Part<'_>) -> Result<(String, ArrayRef)> {
    let there = there.readonly().as_slice().map_err(PyErr::from)?.to_vec();
    let array: ArrayRef = match kind.as_str() {
        "float64" => Arc::new(primitive::<Float64Type>(&values, &there)?),
        "uint64" => Arc::new(primitive::<UInt64Type>(&values, &there)?),
        "uint8" => Arc::new(primitive::<UInt8Type>(&values, &there)?),
        "truth" => {
            let truths = values.extract::<Vec<bool>>()?.into_iter().zip(&there);
            Arc::new(truths.map(|(truth, there)| there.then_some(truth)).collect::<BooleanArray>())
        }
        "category" => {
            let mut column = StringDictionaryBuilder::<Int16Type>::new();
            for text in values.extract::<Vec<Option<String>>>()? {
                match text {
                    Some(text) => drop(column.append(text).map_err(|error| column_fault(&error))?),
                    None => column.append_null(),
                }
            }
            Arc::new(column.finish())
        }
        _ => Arc::new(values.extract::<Vec<Option<String>>>()?.into_iter().collect::<StringArray>()),
    };
    Ok((name, array))
}

fn primitive<T>(values: &Bound<'_, PyAny>, there: &[bool]) -> Result<PrimitiveArray<T>>
where
    T: ArrowPrimitiveType<Native: numpy::Element>,
{
    let values = values.extract::<PyReadonlyArray1<'_, T::Native>>().map_err(PyErr::from)?;
    let values = values.as_slice().map_err(PyErr::from)?.iter().zip(there);
    Ok(values.map(|(value, there)| there.then_some(*value)).collect())
}

/// A list of texts in which equal ones are one and the same object.
fn texts<'py, 'a>(
    py: Python<'py>,
    each: impl Iterator<Item = Option<&'a str>>,
) -> Result<Bound<'py, PyList>> {
    let mut known: HashMap<&str, Bound<'py, PyString>> = HashMap::new();
    let list = PyList::empty(py);
    for text in each {
        match text {
            Some(text) => list.append(&*known.entry(text).or_insert_with(|| PyString::new(py, text)))?,
            None => list.append(py.None())?,
        }
    }
    Ok(list)
}

#[pymethods]
impl Columns {
    fn __len__(&self) -> usize {
        self.pieces.iter().map(RecordBatch::num_rows).sum()
    }

    #[getter]
    fn names(&self) -> Vec<String> {
        self.schema.fields().iter().map(|field| field.name().clone()).collect()
    }

    /// A column as an array, or a list where it holds text or truth; NaN, or None, where there is no value.
    fn column<'py>(&self, py: Python<'py>, name: &str) -> Result<Bound<'py, PyAny>> {
        let at = self.schema.index_of(name).map_err(|_| PyKeyError::new_err(name.to_owned()))?;
        let numbers = |number: fn(&ArrayRef, usize) -> f64| {
            let each =
                self.each(at, move |piece, i| if piece.is_null(i) { f64::NAN } else { number(piece, i) });
            each.collect::<Vec<f64>>().into_pyarray(py).into_any()
        };
        Ok(match self.schema.field(at).data_type() {
            DataType::Float64 => numbers(|piece, i| piece.as_primitive::<Float64Type>().value(i)),
            DataType::UInt64 => numbers(|piece, i| piece.as_primitive::<UInt64Type>().value(i) as f64),
            DataType::UInt8 => self.numbers(at).into_pyarray(py).into_any(),
            DataType::Boolean => self.truths(at).into_pyarray(py).into_any(),
            DataType::Dictionary(..) => texts(py, self.coded(at))?.into_any(),
            _ => texts(py, self.words(at))?.into_any(),
        })
    }

    /// Every column: its name, the kind of its values, these, and whether each is there. `columns_of_parts` takes them.
    fn parts<'py>(&self, py: Python<'py>) -> Result<Vec<Part<'py>>> {
        let part = |(at, field): (usize, &FieldRef)| {
            let (kind, values) = match field.data_type() {
                DataType::Float64 => ("float64", self.values::<Float64Type>(at).into_pyarray(py).into_any()),
                DataType::UInt64 => ("uint64", self.values::<UInt64Type>(at).into_pyarray(py).into_any()),
                DataType::UInt8 => ("uint8", self.values::<UInt8Type>(at).into_pyarray(py).into_any()),
                DataType::Boolean => ("truth", self.truths(at).into_pyarray(py).into_any()),
                DataType::Dictionary(..) => ("category", texts(py, self.coded(at))?.into_any()),
                _ => ("text", texts(py, self.words(at))?.into_any()),
            };
            let there = self.each(at, Array::is_valid).collect::<Vec<bool>>();
            Ok((field.name().clone(), kind.to_owned(), values, there.into_pyarray(py)))
        };
        self.schema.fields().iter().enumerate().map(part).collect()
    }

    #[pyo3(signature = (requested_schema = None))]
    fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyAny>>,
    ) -> Result<Bound<'py, PyCapsule>> {
        let _ = requested_schema; // a producer may hand out its own schema whatever is asked for
        let pieces = self.pieces.clone().into_iter().map(Ok);
        let reader = RecordBatchIterator::new(pieces, Arc::clone(&self.schema));
        let stream = FFI_ArrowArrayStream::new(Box::new(reader));
        Ok(PyCapsule::new_with_value(py, stream, c"arrow_array_stream")?)
    }

    fn __arrow_c_schema__<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyCapsule>> {
        let schema: &Schema = &self.schema;
        let schema = FFI_ArrowSchema::try_from(schema).map_err(|error| column_fault(&error))?;
        Ok(PyCapsule::new_with_value(py, schema, c"arrow_schema")?)
    }
}
