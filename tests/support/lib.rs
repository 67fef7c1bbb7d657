//! What the tests share: reading tables and golden files.

use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;

/// The rows of a table: CSV below `#` header lines.
///
/// # Panics
/// If the text is no such table; the message says why.
#[must_use]
pub fn rows<T: DeserializeOwned>(text: &str) -> Vec<T> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    reader.deserialize().collect::<Result<_, _>>().unwrap_or_else(|error| panic!("{error}"))
}

/// The rows of `golden/NAME.csv`; there is at least one.
///
/// # Panics
/// If the file cannot be read, is no table or has no rows.
#[must_use]
pub fn golden<T: DeserializeOwned>(name: &str) -> Vec<T> {
    let path = tests_folder().join("golden").join(name).with_extension("csv");
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let rows = rows(&text);
    assert!(!rows.is_empty(), "{} has no rows", path.display());
    rows
}

/// The folder of the tests.
#[must_use]
pub fn tests_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}
