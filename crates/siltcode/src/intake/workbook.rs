//! XLSX workbooks: each sheet's cells become rows of text, and then go the way of every row.

use std::io::Cursor;

use calamine::{Data, Range, Reader, Xlsx, open_workbook_from_rs};
use csv::StringRecord;

use crate::error::{Error, ErrorKind, Result};

use super::look::{self, Line};
use super::options::Options;
use super::row::Row;
use super::table::TableReader;
use super::text::Rows;
use super::{Sink, Tally};

/// Reads the sheets of a workbook: the one asked for, else every sheet that holds counts.
///
/// # Errors
/// `workbook-unreadable`, `sheet-unknown`, and `heading-not-found` if no sheet holds counts.
pub(super) fn read<S: Sink>(
    name: &str,
    bytes: Vec<u8>,
    options: &Options,
    sink: &mut S,
    tally: &mut Tally,
) -> Result<()> {
    let mut book: Xlsx<_> = open_workbook_from_rs(Cursor::new(bytes)).map_err(unreadable)?;
    let mut refused: Option<Error> = None;
    let mut used = false;
    for sheet in sheets(&book.sheet_names(), options)? {
        let range = book.worksheet_range(&sheet).map_err(unreadable)?;
        let lines = lines(&range);
        match look::at_lines(&lines, 0, options) {
            Ok(found) => {
                let ends = found.last_line;
                let reader = TableReader::new(name, Some(&sheet), found, options, sink, tally);
                reader.read(&mut SheetRows(lines.into_iter()), ends)?;
                used = true;
            }
            Err(error) => refused = refused.or(Some(error)),
        }
    }
    match refused {
        Some(error) if !used => Err(error),
        None if !used => Err(ErrorKind::InputEmpty {}.into()),
        _ => Ok(()),
    }
}

fn unreadable(error: impl std::fmt::Display) -> Error {
    ErrorKind::WorkbookUnreadable { message: error.to_string() }.into()
}

fn sheets(names: &[String], options: &Options) -> Result<Vec<String>> {
    match &options.sheet {
        None => Ok(names.to_vec()),
        Some(wanted) if names.contains(wanted) => Ok(vec![wanted.clone()]),
        Some(wanted) => Err(ErrorKind::SheetUnknown { name: wanted.clone(), known: names.join(", ") }.into()),
    }
}

/// The filled rows, with the row number a spreadsheet shows.
fn lines(range: &Range<Data>) -> Vec<Line> {
    let first = range.start().map_or(0, |(row, _)| u64::from(row));
    let numbered = range
        .rows()
        .zip(first + 1..)
        .map(|(row, line)| (line, row.iter().map(text).collect::<Vec<String>>()));
    numbered.filter(|(_, cells)| cells.iter().any(|cell| !cell.trim().is_empty())).collect()
}

/// A cell as a row of text would hold it.
fn text(cell: &Data) -> String {
    match cell {
        Data::Float(value) => number(*value),
        Data::Error(_) => String::new(),
        other => other.to_string(),
    }
}

/// A number always with a decimal point that cannot be taken for a thousands mark.
fn number(value: f64) -> String {
    let text = value.to_string();
    let behind = text.split_once('.').map_or(0, |(_, behind)| behind.len());
    if behind == 3 { text + "0" } else { text }
}

/// The rows of a sheet.
struct SheetRows(std::vec::IntoIter<Line>);

impl Rows for SheetRows {
    fn next_row(&mut self, _: StringRecord) -> Result<Option<Row>> {
        Ok(self.0.next().map(|(line, cells)| (line, StringRecord::from(cells))))
    }
}
