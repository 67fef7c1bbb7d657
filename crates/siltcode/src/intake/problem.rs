//! What could not be used, and what was guessed.

use std::sync::Arc;

use serde::ser::{Serialize, SerializeStruct, Serializer};

use crate::error::{Error, Position};

use super::look::Found;

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
    /// The whole row as read.
    pub row: Vec<String>,
    /// Other rows put aside with it, each with its line: the rest of a run given as one row per size.
    pub others: Vec<(u64, Vec<String>)>,
    /// The table the row stands in.
    pub table: Arc<Table>,
}

impl Problem {
    /// A problem made from an error, the row it was met in and the text found.
    #[must_use]
    pub fn new(error: &Error, found: String, row: Vec<String>, table: Arc<Table>) -> Self {
        Self {
            position: error.position().cloned().unwrap_or_default(),
            code: error.code(),
            found,
            message: error.kind().to_string(),
            hint: error.hint(),
            row,
            others: Vec::new(),
            table,
        }
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

/// The lines above the rows of a table: kept so that rejected rows can be written under their own heading.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Table {
    /// The input the table stands in.
    pub file: String,
    /// The sheet, in a workbook.
    pub sheet: Option<String>,
    /// Lines before the heading.
    pub preamble: Vec<Vec<String>>,
    /// The heading: one line, or two where the units stand on a line of their own.
    pub heading: Vec<Vec<String>>,
}

impl Table {
    /// The table that was found in an input, or in a sheet of it.
    pub(super) fn of(file: &str, sheet: Option<&str>, found: &Found) -> Self {
        let (preamble, heading) = (found.preamble.clone(), found.heading.clone());
        Self { file: file.into(), sheet: sheet.map(str::to_owned), preamble, heading }
    }
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

/// Something guessed, assumed or passed over while reading.
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
    /// What was guessed, assumed or passed over.
    pub message: String,
    /// What to do if that is wrong.
    pub hint: String,
}
