//! What goes wrong, as Python's exception: the only place where it is made.

use pyo3::{PyErr, import_exception};
use siltcode::ErrorKind;

import_exception!(siltcode.errors, SiltcodeError);

/// What a function of this module gives back.
pub(crate) type Result<T> = std::result::Result<T, Fault>;

/// The library's error, or Python's own.
pub(crate) enum Fault {
    Library(siltcode::Error),
    Python(PyErr),
}

impl From<siltcode::Error> for Fault {
    fn from(error: siltcode::Error) -> Self {
        Self::Library(error)
    }
}

impl From<ErrorKind> for Fault {
    fn from(kind: ErrorKind) -> Self {
        Self::Library(kind.into())
    }
}

impl From<PyErr> for Fault {
    fn from(error: PyErr) -> Self {
        Self::Python(error)
    }
}

impl From<pythonize::PythonizeError> for Fault {
    fn from(error: pythonize::PythonizeError) -> Self {
        Self::Python(error.into())
    }
}

impl From<Fault> for PyErr {
    fn from(fault: Fault) -> Self {
        let error = match fault {
            Fault::Library(error) => error,
            Fault::Python(error) => return error,
        };
        let place = error.position().cloned().unwrap_or_default();
        SiltcodeError::new_err((
            error.to_string(),
            error.code(),
            error.hint(),
            place.file,
            place.sheet,
            place.line,
            place.column,
        ))
    }
}
