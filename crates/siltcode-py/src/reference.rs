//! The published tables with their citations, and the usual cautions.

use pyo3::exceptions::PyKeyError;
use pyo3::prelude::*;
use siltcode::caution::{self, Caution, JobCaution};
use siltcode::provenance::header;
use siltcode::tables::{TABLES, table};

use crate::error::Result;
use crate::given::Plain;

/// Each table's name, title, standard and status.
#[pyfunction]
pub(crate) fn published_tables() -> Vec<[&'static str; 4]> {
    let head = |key: &str, table| header(table, key);
    TABLES
        .iter()
        .map(|table| [table.name, head("title", table), head("standard", table), head("status", table)])
        .collect()
}

/// A table as comma-separated values behind its citation.
#[pyfunction]
pub(crate) fn table_text(name: &str) -> Result<&'static str> {
    Ok(table(name).ok_or_else(|| PyKeyError::new_err(name.to_owned()))?.text)
}

/// What to beware of in work on stored fuel.
#[pyfunction]
pub(crate) fn cautions() -> Plain<&'static [Caution]> {
    Plain(caution::usual())
}

/// Every caution, those that apply to a job first, by what is said of it.
#[pyfunction]
pub(crate) fn cautions_of(said: Vec<String>) -> Plain<Vec<JobCaution>> {
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    Plain(caution::of_job(&said))
}
