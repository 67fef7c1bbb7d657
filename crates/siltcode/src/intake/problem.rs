//! What could not be used, and what was found by looking.

use std::sync::Arc;

use serde::ser::{Serialize, SerializeStruct, Serializer};

use super::lines::Record;
use crate::error::{Error, Position};

/// A row that could not be used, whole, with the reason.
///
/// As JSON it has the keys `file`, `sheet` (workbooks only), `line`, `column`, `code`, `found`, `message`, `hint`.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Where it stands.
    pub position: Position,
    /// The stable code.
    pub code: &'static str,
    /// The text found in the cell, or the row's cells joined where no single cell is at fault.
    pub found: String,
    /// What is wrong.
    pub message: String,
    /// What to do about it.
    pub hint: String,
    /// The rows put aside, the one at fault first: the others belong to the same run, or to the same bottle.
    pub rows: Vec<RejectedRow>,
    /// How many of the rows are rejected by this problem; fewer than all where other runs of them were used, or where
    /// another problem rejects them too.
    pub rejected: u64,
    /// The bottle the rows belong to, where none of them names it.
    pub bottle: Option<String>,
    /// The run at fault, where the row holds several runs.
    pub run: Option<String>,
    /// The table the row stands in.
    pub table: Arc<Table>,
}

/// A row as it stood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RejectedRow {
    /// The line it begins in.
    pub line: u64,
    /// Its cells.
    pub cells: Vec<String>,
    /// The bytes it was read from, without the line end; empty if it was no text.
    pub bytes: Vec<u8>,
}

impl RejectedRow {
    pub(super) fn of(record: &Record) -> Self {
        Self { line: record.line, cells: record.texts(), bytes: record.raw.clone() }
    }
}

impl Problem {
    /// A problem made from an error, the text found, and the rows it puts aside.
    #[must_use]
    pub fn new(error: &Error, found: String, rows: Vec<RejectedRow>, table: Arc<Table>) -> Self {
        Self {
            position: error.position().cloned().unwrap_or_default(),
            code: error.code(),
            found,
            message: error.kind().to_string(),
            hint: error.hint(),
            rejected: rows.len() as u64,
            rows,
            bottle: None,
            run: None,
            table,
        }
    }

    /// The cells of the row at fault.
    #[must_use]
    pub fn cells(&self) -> &[String] {
        self.rows.first().map_or(&[], |row| row.cells.as_slice())
    }
}

impl Serialize for Problem {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut out = serializer.serialize_struct("Problem", 8)?;
        out.serialize_field("file", &self.position.file)?;
        match &self.position.sheet {
            Some(sheet) => out.serialize_field("sheet", sheet)?,
            None => out.skip_field("sheet")?,
        }
        out.serialize_field("line", &self.position.line)?;
        out.serialize_field("column", &self.position.column)?;
        out.serialize_field("code", self.code)?;
        out.serialize_field("found", &self.found)?;
        out.serialize_field("message", &self.message)?;
        out.serialize_field("hint", &self.hint)?;
        out.end()
    }
}

/// The lines above the rows of a table, and how it was read: kept so that rejected rows can be written under their own
/// heading and be read again alone.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Table {
    /// The input the table stands in.
    pub file: String,
    /// The sheet, in a workbook.
    pub sheet: Option<String>,
    /// The heading: its lines as they stood.
    pub heading: Vec<RejectedRow>,
    /// How it was read, as the names and values of options; only what the heading does not say itself.
    pub read_as: Vec<(&'static str, String)>,
}

/// How much a notice matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Something was found by looking.
    Note,
    /// Something was assumed, or may not be what was meant: read it.
    Warning,
}

/// Something found by looking, assumed or passed over.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Notice {
    /// The input it is about.
    pub file: String,
    /// The sheet, in a workbook.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// The line, where one line is meant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<u64>,
    /// How much it matters.
    pub severity: Severity,
    /// A stable code.
    pub code: &'static str,
    /// What was found, assumed or passed over.
    pub message: String,
    /// What to do if that is wrong.
    pub hint: String,
}
