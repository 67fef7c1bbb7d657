//! The embedded tables, parsed once.

use csv::{Reader, ReaderBuilder, StringRecord};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use siltcode_tables::Table;

/// All rows of an embedded table.
///
/// The table is part of the library, so a row that does not parse is a programming error; a test reads every table.
pub(crate) fn rows<T: DeserializeOwned>(table: &Table) -> Vec<T> {
    reader(table)
        .into_deserialize()
        .collect::<Result<_, _>>()
        .unwrap_or_else(|error| unreadable(table, error))
}

/// The headings and all rows of an embedded table whose columns are only known by their headings.
pub(crate) fn grid(table: &Table) -> (StringRecord, Vec<StringRecord>) {
    let mut reader = reader(table);
    let headings = reader.headers().cloned().unwrap_or_else(|error| unreadable(table, error));
    let rows = reader.into_records().collect::<Result<_, _>>();
    (headings, rows.unwrap_or_else(|error| unreadable(table, error)))
}

/// A constant of the table of constants.
pub(crate) fn constant(name: &str) -> f64 {
    #[derive(Deserialize)]
    struct Constant {
        name: String,
        value: f64,
    }
    let table = &siltcode_tables::CONSTANTS;
    let found = rows::<Constant>(table).into_iter().find(|constant| constant.name == name);
    found.map_or_else(|| unreadable(table, name), |constant| constant.value)
}

/// Stops at a fault in an embedded table.
pub(crate) fn unreadable(table: &Table, error: impl std::fmt::Display) -> ! {
    panic!("embedded table {}: {error}", table.name)
}

fn reader(table: &Table) -> Reader<&'static [u8]> {
    ReaderBuilder::new().comment(Some(b'#')).from_reader(table.text.as_bytes())
}
