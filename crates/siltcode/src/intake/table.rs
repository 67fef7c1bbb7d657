//! A table, row by row: skips what is no bottle, reads what is, and hands on bottles and problems.

use std::sync::Arc;

use csv::StringRecord;

use crate::error::Result;

use super::group::{Bottle, Gatherer};
use super::layout::CountColumns;
use super::look::Found;
use super::options::Options;
use super::problem::{Problem, Table};
use super::row::{Row, RowReader, text, unnamed};
use super::said::{self, Summaries};
use super::text::Rows;
use super::{Sink, Tally, aside};

/// One input's table, as it is read.
pub(super) struct TableReader<'a, S: Sink> {
    rows: RowReader<'a>,
    sink: &'a mut S,
    gatherer: Gatherer,
    tally: &'a mut Tally,
    /// Rows of one run in a table with a row per size, and the bottle they belong to.
    pending: Vec<Row>,
    last_id: Option<String>,
    summaries: Summaries,
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
        let table = Arc::new(Table::of(file, sheet, &found));
        for notice in said::of_heading(&found, &table) {
            sink.notice(notice);
        }
        let mut gatherer = Gatherer::default();
        gatherer.expect_labels(found.layout.run.is_some());
        let rows = RowReader::new(found, options, table);
        let summaries = Summaries::default();
        Self { rows, sink, gatherer, tally, pending: Vec::new(), last_id: None, summaries }
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
        if aside::is_silent(&row.1) {
            return Some(row.1);
        }
        if aside::is_summary(&row.1, &self.rows.layout) {
            self.summaries.add(row.0);
            return Some(row.1);
        }
        self.tally.rows += 1;
        if let Err(error) = self.rows.ensure_length(&row.1) {
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
        own.or_else(above).unwrap_or_else(|| unnamed(row.0))
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

    /// A row that is a heading of its own begins another table in the same input.
    fn starts_table(&mut self, row: &Row) -> bool {
        let Some((heading, layout)) = self.rows.heading(&row.1) else { return false };
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

    fn say_what_was_passed_over(&mut self, latin1: bool) {
        let table = &self.rows.table;
        let notices = [self.summaries.notice(table), latin1.then(|| said::latin1(table))];
        notices.into_iter().flatten().for_each(|notice| self.sink.notice(notice));
    }
}
