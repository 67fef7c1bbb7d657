//! The embedded tables, parsed once.

use serde::de::DeserializeOwned;
use siltcode_tables::Table;

/// All rows of an embedded table.
///
/// The table is part of the library, so a row that does not parse is a programming error; a test reads every table.
pub(crate) fn rows<T: DeserializeOwned>(table: &Table) -> Vec<T> {
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(table.text.as_bytes())
        .into_deserialize()
        .collect::<Result<_, _>>()
        .unwrap_or_else(|error| panic!("embedded table {}: {error}", table.name))
}
