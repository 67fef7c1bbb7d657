//! Rejected rows written out, so that the corrected file can be fed in again.

use std::io::Write;
use std::sync::Arc;

use csv::{Writer, WriterBuilder};

use super::problem::{Problem, Table};

/// Headings of the columns that say why; intake passes them over.
const WHERE: &str = "rejected line";
const WHY: &str = "rejected why";

/// Writes rejected rows as comma-separated values, each table's rows under its own heading.
///
/// Two columns are put in front: the place, and the reason with its hint. They are passed over when the file is read.
pub struct RejectWriter<W: Write> {
    out: Writer<W>,
    table: Option<Arc<Table>>,
}

impl<W: Write> RejectWriter<W> {
    /// A writer of rejected rows.
    pub fn new(out: W) -> Self {
        Self { out: WriterBuilder::new().flexible(true).from_writer(out), table: None }
    }

    /// Writes the rows of one problem.
    ///
    /// # Errors
    /// Those of the writer underneath.
    pub fn write(&mut self, problem: &Problem) -> std::io::Result<()> {
        if self.table.as_ref().is_none_or(|table| !Arc::ptr_eq(table, &problem.table)) {
            self.write_heading(&problem.table)?;
            self.table = Some(Arc::clone(&problem.table));
        }
        let mut rows = vec![(problem.position.line.unwrap_or(0), &problem.row)];
        rows.extend(problem.others.iter().map(|(line, row)| (*line, row)));
        rows.sort_by_key(|(line, _)| *line);
        for (line, row) in rows {
            let place = format!("{} line {line}", problem.table.file);
            let why = format!("{}: {}. {}", problem.code, problem.message, problem.hint);
            self.record(&[place, why], row)?;
        }
        Ok(())
    }

    /// Everything is written out; gives back the writer underneath.
    ///
    /// # Errors
    /// Those of the writer underneath.
    pub fn finish(self) -> std::io::Result<W> {
        self.out.into_inner().map_err(csv::IntoInnerError::into_error)
    }

    fn write_heading(&mut self, table: &Table) -> std::io::Result<()> {
        for (i, line) in table.heading.iter().enumerate() {
            let first = if i == 0 { [WHERE, WHY] } else { ["", ""] };
            self.record(&first.map(str::to_owned), line)?;
        }
        Ok(())
    }

    fn record(&mut self, first: &[String; 2], cells: &[String]) -> std::io::Result<()> {
        self.out.write_record(first.iter().chain(cells)).map_err(|error| match error.into_kind() {
            csv::ErrorKind::Io(error) => error, // a full disk must be told from a bad file
            other => std::io::Error::other(format!("{other:?}")),
        })
    }
}
