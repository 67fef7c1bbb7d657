//! A table, row by row: skips what is no bottle, reads what is, and hands on bottles and problems.

use std::sync::Arc;

use csv::StringRecord;

use crate::count::Basis;
use crate::error::{Error, ErrorKind, Result};

use super::group::{Bottle, Gatherer};
use super::layout::{CountColumns, Layout};
use super::look::Found;
use super::number::Marks;
use super::options::{Decimal, Form, Options};
use super::problem::{Notice, Problem, Severity, Table};
use super::row::{Row, RowReader, text};
use super::text::Rows;
use super::{Sink, Tally};

/// First cells of rows that sum up others.
const SUMMARIES: [&str; 20] = [
    "mean",
    "average",
    "avg",
    "std",
    "std dev",
    "stdev",
    "standard deviation",
    "sd",
    "cv",
    "rsd",
    "total",
    "sum",
    "min",
    "max",
    "minimum",
    "maximum",
    "median",
    "range",
    "mittelwert",
    "count",
];

/// One input's table, as it is read.
pub(super) struct TableReader<'a, S: Sink> {
    rows: RowReader<'a>,
    sink: &'a mut S,
    gatherer: Gatherer,
    tally: &'a mut Tally,
    /// Rows of one run in a table with a row per size, and the bottle they belong to.
    pending: Vec<Row>,
    last_id: Option<String>,
    summaries: Vec<u64>,
}

impl<'a, S: Sink> TableReader<'a, S> {
    pub(super) fn new(
        file: &str,
        sheet: Option<&str>,
        found: Found,
        options: &'a Options,
        sink: &'a mut S,
        tally: &'a mut Tally,
    ) -> Self {
        let table = Table {
            file: file.into(),
            sheet: sheet.map(str::to_owned),
            preamble: found.preamble,
            heading: found.heading,
        };
        let names = joined(&table.heading);
        let mut gatherer = Gatherer::default();
        gatherer.expect_labels(found.layout.run.is_some());
        let rows =
            RowReader { layout: found.layout, marks: found.marks, options, table: Arc::new(table), names };
        let mut reader =
            Self { rows, sink, gatherer, tally, pending: Vec::new(), last_id: None, summaries: Vec::new() };
        reader.say_how_it_is_read(found.line, found.delimiter);
        reader.say_what_is_assumed(found.unsettled);
        reader
    }

    /// Reads every row behind the heading's last line.
    pub(super) fn read(mut self, source: &mut dyn Rows, heading_ends: u64) -> Result<()> {
        let mut spare = None;
        while let Some(row) = source.next_row(spare.take().unwrap_or_default())? {
            spare = if row.0 <= heading_ends { Some(row.1) } else { self.row(row) };
        }
        self.flush_pending();
        while let Some(bottle) = self.gatherer.pop() {
            self.hand_on(bottle);
        }
        self.say_what_was_passed_over(source.was_latin1());
        Ok(())
    }

    /// One row; gives its record back where it is not kept.
    fn row(&mut self, row: Row) -> Option<StringRecord> {
        if is_empty(&row.1) || is_comment(&row.1) {
            return Some(row.1);
        }
        if self.is_summary(&row.1) {
            self.summaries.push(row.0);
            return Some(row.1);
        }
        self.tally.rows += 1;
        if let Err(error) = self.ensure_length(&row.1) {
            if !self.starts_table(&row) {
                self.reject(self.rows.problem(&error, None, &row));
            }
            return Some(row.1);
        }
        match self.rows.layout.counts {
            CountColumns::Wide { .. } => {
                self.wide(&row);
                Some(row.1)
            }
            CountColumns::Long { .. } => {
                self.long(row);
                None
            }
        }
    }

    fn wide(&mut self, row: &Row) {
        let id = self.id(row);
        match self.rows.wide(&id, row) {
            Ok(piece) => {
                if let Some(bottle) = self.gatherer.add(piece) {
                    self.hand_on(bottle);
                }
                self.last_id = Some(id);
            }
            Err(_) if self.starts_table(row) => {}
            Err(problem) => {
                self.reject(*problem);
                self.last_id = Some(id);
            }
        }
    }

    /// Keeps the rows of a run until another run begins.
    fn long(&mut self, row: Row) {
        let key =
            |rows: &RowReader<'_>, row: &Row| (text(&row.1, rows.layout.id), text(&row.1, rows.layout.run));
        if self.pending.first().is_some_and(|first| key(&self.rows, first) != key(&self.rows, &row))
            || self.size_comes_again(&row)
        {
            self.flush_pending();
        }
        if self.pending.is_empty() && self.starts_table(&row) {
            return;
        }
        self.pending.push(row);
    }

    /// Without run labels a size that comes again begins another run.
    fn size_comes_again(&self, row: &Row) -> bool {
        let CountColumns::Long { size, .. } = &self.rows.layout.counts else { return false };
        let of = |row: &Row| text(&row.1, Some(*size));
        self.pending.iter().any(|other| of(other) == of(row))
    }

    fn flush_pending(&mut self) {
        let rows = std::mem::take(&mut self.pending);
        let Some(first) = rows.first() else { return };
        let id = self.id(first);
        match self.rows.long(&id, &rows) {
            Ok(piece) => {
                if let Some(bottle) = self.gatherer.add(piece) {
                    self.hand_on(bottle);
                }
            }
            Err(problem) => self.reject(*problem),
        }
        self.last_id = Some(id);
    }

    /// The bottle's name: its cell, or the name above an empty cell, or the line.
    fn id(&self, row: &Row) -> String {
        let own = text(&row.1, self.rows.layout.id);
        let above = || self.rows.layout.id.and(self.last_id.clone());
        own.or_else(above).unwrap_or_else(|| format!("line {}", row.0))
    }

    fn hand_on(&mut self, bottle: Bottle) {
        if bottle.blank {
            self.tally.blanks += 1;
            self.sink.blank(bottle.sample);
        } else {
            self.tally.samples += 1;
            self.sink.sample(bottle.sample);
        }
    }

    fn reject(&mut self, problem: Problem) {
        self.tally.problems += 1;
        self.sink.problem(problem);
    }

    /// A row must hold every count, and nothing beyond the heading.
    fn ensure_length(&self, row: &StringRecord) -> std::result::Result<(), Error> {
        let headings = self.rows.layout.width;
        let beyond = row.iter().skip(headings).any(|cell| !cell.trim().is_empty());
        let last = self.rows.layout.last_count();
        if beyond || row.len() <= last {
            return Err(ErrorKind::RowLength { cells: row.len(), headings }.into());
        }
        Ok(())
    }

    /// A row that is a heading of its own begins another table in the same input.
    fn starts_table(&mut self, row: &Row) -> bool {
        let heading: Vec<String> = row.1.iter().map(str::to_owned).collect();
        let Ok(Some(layout)) = Layout::of(&heading, self.rows.options) else { return false };
        if !Layout::is_worded(&heading) && self.rows.names != heading {
            return false;
        }
        self.tally.rows -= 1;
        if self.rows.names != heading {
            let old = &self.rows.table;
            let table = Table {
                file: old.file.clone(),
                sheet: old.sheet.clone(),
                preamble: Vec::new(),
                heading: vec![heading.clone()],
            };
            self.rows.table = Arc::new(table);
            self.rows.names = heading;
            self.gatherer.expect_labels(layout.run.is_some());
            self.rows.layout = layout;
            self.last_id = None;
        }
        true
    }

    /// A row whose bottle or run cell says that it sums up others, or whose first filled cell does.
    fn is_summary(&self, row: &StringRecord) -> bool {
        let layout = &self.rows.layout;
        let named = [layout.id, layout.run].into_iter().flatten().filter_map(|column| row.get(column));
        let first = row.iter().find(|cell| !cell.trim().is_empty());
        named.chain(first).any(|cell| {
            let cell = cell.trim().trim_end_matches([':', '.']);
            SUMMARIES.iter().any(|word| word.eq_ignore_ascii_case(cell))
        })
    }

    fn say(
        &mut self,
        severity: Severity,
        code: &'static str,
        line: Option<u64>,
        message: String,
        hint: &str,
    ) {
        let table = &self.rows.table;
        let (file, sheet) = (table.file.clone(), table.sheet.clone());
        self.sink.notice(Notice { file, sheet, line, severity, code, message, hint: hint.into() });
    }

    fn say_how_it_is_read(&mut self, line: u64, delimiter: u8) {
        let layout = &self.rows.layout;
        let parted = match delimiter {
            b',' => "commas, ",
            b';' => "semicolons, ",
            b'\t' => "tabs, ",
            b'|' => "bars, ",
            _ => "",
        };
        let shape = match layout.counts {
            CountColumns::Wide { .. } => "a column per size",
            CountColumns::Long { .. } => "a row per size",
        };
        let form = match layout.form() {
            Form::Cumulative => "cumulative",
            Form::Differential => "per size band",
        };
        let decimal = match self.rows.marks {
            Marks::Given(Decimal::Comma) | Marks::Found(Decimal::Comma) => "decimal comma",
            Marks::Given(Decimal::Dot) | Marks::Found(Decimal::Dot) => "decimal point",
            Marks::Mixed => "decimal commas and points",
        };
        let (basis, scale) = basis_and_scale(layout);
        let message = format!("read as {parted}{decimal}; {shape}, {basis}, {scale}, {form}");
        self.say(
            Severity::Note,
            "read-as",
            Some(line),
            message,
            "say otherwise with the options for reading",
        );
    }

    fn say_what_is_assumed(&mut self, unsettled: bool) {
        let assumed = self.rows.layout.assumed;
        if assumed.basis {
            let message = "no heading says what volume the counts refer to: taken as per mL".into();
            self.say(
                Severity::Warning,
                "basis-assumed",
                None,
                message,
                "say it in the headings (`4 um(c) /mL`) or as an option",
            );
        }
        if assumed.scale {
            let message = "no heading says the scale of the sizes: taken as um(c), automatic counter".into();
            self.say(
                Severity::Warning,
                "scale-assumed",
                None,
                message,
                "say it in the headings (`4 um(c)`) or as an option",
            );
        }
        if unsettled {
            let message = "numbers such as 1,234 can be read two ways, and nothing settles it".into();
            self.say(
                Severity::Warning,
                "decimal-assumed",
                None,
                message,
                "say which mark parts the decimals as an option",
            );
        }
    }

    fn say_what_was_passed_over(&mut self, latin1: bool) {
        if !self.summaries.is_empty() {
            let lines = self.summaries.iter().take(5).map(u64::to_string).collect::<Vec<_>>().join(", ");
            let more = if self.summaries.len() > 5 { ", ..." } else { "" };
            let message = format!("rows that sum up others were passed over: line {lines}{more}");
            self.say(Severity::Note, "summary-rows", None, message, "rename the bottle if it was one");
        }
        if latin1 {
            let message = "some text is not UTF-8 and was read as Latin-1".into();
            self.say(Severity::Note, "latin-1", None, message, "");
        }
    }
}

fn basis_and_scale(layout: &Layout) -> (Basis, String) {
    match &layout.counts {
        CountColumns::Wide { columns, .. } => {
            columns.first().map_or((Basis::PerMl, String::new()), |c| (c.basis, c.size.scale().to_string()))
        }
        CountColumns::Long { basis, scale, .. } => (basis.otherwise, scale.otherwise.to_string()),
    }
}

/// One line of names from a heading of one or two.
fn joined(heading: &[Vec<String>]) -> Vec<String> {
    let columns = heading.iter().map(Vec::len).max().unwrap_or(0);
    let name = |column: usize| {
        let parts = heading.iter().filter_map(|line| line.get(column)).map(|part| part.trim());
        parts.filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
    };
    (0..columns).map(name).collect()
}

fn is_empty(row: &StringRecord) -> bool {
    row.iter().all(|cell| cell.trim().is_empty())
}

/// A line that begins with `#` and says nothing in its other cells.
fn is_comment(row: &StringRecord) -> bool {
    row.get(0).is_some_and(|cell| cell.trim_start().starts_with('#'))
        && row.iter().skip(1).all(|cell| cell.trim().is_empty())
}
