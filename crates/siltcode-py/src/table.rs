//! Columns of results, handed on by the Arrow C data interface.

use std::collections::HashMap;
use std::sync::Arc;

use arrow_array::cast::AsArray;
use arrow_array::ffi_stream::FFI_ArrowArrayStream;
use arrow_array::types::{Float64Type, Int16Type, UInt8Type, UInt64Type};
use arrow_array::{Array, ArrayRef, RecordBatch, RecordBatchIterator, StringArray};
use arrow_schema::{ArrowError, DataType, Schema, SchemaRef, ffi::FFI_ArrowSchema};
use numpy::IntoPyArray;
use pyo3::exceptions::{PyKeyError, PyRuntimeError};
use pyo3::prelude::*;
use pyo3::types::{PyCapsule, PyList, PyString};

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

    /// One piece of these named columns; a column may hold nothing in any place.
    pub(crate) fn of(columns: Vec<(String, ArrayRef)>) -> Result<Self> {
        let columns = columns.into_iter().map(|(name, array)| (name, array, true));
        let piece =
            RecordBatch::try_from_iter_with_nullable(columns).map_err(|error| column_fault(&error))?;
        Ok(Self { schema: piece.schema(), pieces: vec![piece] })
    }
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
        let pieces: Vec<&ArrayRef> = self.pieces.iter().map(|piece| piece.column(at)).collect();
        let numbers = |number: fn(&ArrayRef, usize) -> f64| {
            let each = pieces.iter().flat_map(|piece| {
                (0..piece.len()).map(move |i| if piece.is_null(i) { f64::NAN } else { number(piece, i) })
            });
            each.collect::<Vec<f64>>().into_pyarray(py).into_any()
        };
        Ok(match self.schema.field(at).data_type() {
            DataType::Float64 => numbers(|piece, i| piece.as_primitive::<Float64Type>().value(i)),
            DataType::UInt64 => numbers(|piece, i| piece.as_primitive::<UInt64Type>().value(i) as f64),
            DataType::UInt8 => {
                let each = pieces
                    .iter()
                    .flat_map(|piece| piece.as_primitive::<UInt8Type>().values().iter().copied());
                each.collect::<Vec<u8>>().into_pyarray(py).into_any()
            }
            DataType::Boolean => {
                let each =
                    pieces.iter().flat_map(|piece| piece.as_boolean().iter().map(Option::unwrap_or_default));
                each.collect::<Vec<bool>>().into_pyarray(py).into_any()
            }
            DataType::Dictionary(..) => {
                let each = pieces
                    .iter()
                    .filter_map(|piece| piece.as_dictionary::<Int16Type>().downcast_dict::<StringArray>());
                texts(py, each.flatten())?.into_any()
            }
            _ => texts(py, pieces.iter().flat_map(|piece| piece.as_string::<i32>().iter()))?.into_any(),
        })
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
