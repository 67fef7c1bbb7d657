//! Specifications: given as TOML text or as a code, read anew for each call.

use pyo3::prelude::*;
use siltcode::spec::published;
use siltcode::{ErrorKind, Spec, tables};

use crate::error::Result;
use crate::plain;

/// TOML text, or a code and the scale of its sizes.
#[derive(serde::Deserialize)]
pub(crate) struct SpecGiven {
    toml: Option<String>,
    code: Option<String>,
    scale: String,
}

plain::from_plain_values! { SpecGiven }

impl SpecGiven {
    pub(crate) fn spec(&self) -> siltcode::Result<Spec> {
        match (&self.toml, &self.code) {
            (Some(toml), _) => Spec::from_toml(toml),
            (None, Some(code)) => Spec::from_code(code.parse()?, self.scale.parse()?),
            (None, None) => Err(ErrorKind::SpecEmpty {}.into()),
        }
    }
}

/// A specification in plain values, its requirements in words.
#[pyfunction]
pub(crate) fn spec_parts<'py>(py: Python<'py>, spec: SpecGiven) -> Result<Bound<'py, PyAny>> {
    let spec = spec.spec()?;
    let parts = plain::out(py, &spec)?;
    let words: Vec<_> = spec
        .requirements
        .iter()
        .map(|requirement| {
            let status = requirement.status.to_string();
            (requirement.demand.subject(), requirement.demand.limit(), status, requirement.note.clone())
        })
        .collect();
    parts.set_item("words", words)?;
    Ok(parts)
}

#[pyfunction]
pub(crate) fn published_names() -> Vec<&'static str> {
    published::names().collect()
}

/// The TOML text of a published specification.
#[pyfunction]
pub(crate) fn published_text(name: &str) -> Result<&'static str> {
    published::spec(name)?;
    Ok(tables::spec(name.trim()).map_or("", |table| table.text))
}
