//! Lines to rows of columns: the plain ones at once, every other the way [`intake`](crate::intake) reads it.
//!
//! The quick way takes a line only where it can tell that the full reader would take it, and what it would read; it is
//! given up at the first cell that is anything else, and the line is read again the full way.

use std::str;

use memchr::{memchr, memchr2};

use super::block::Block;
use crate::companion::Property;
use crate::count::{Basis, PerMl, Reading};
use crate::error::{Error, ErrorKind, Position, Result};
use crate::field::Field;
use crate::intake::layout::{CountColumn, CountColumns};
use crate::intake::lines::{Record, Records, TextRecords};
use crate::intake::number::{self, Cell};
use crate::intake::options::Form;
use crate::intake::problem::Table;
use crate::intake::row::{Identity, Piece, RowReader, Runs, unnamed};
use crate::intake::sniff::DELIMITERS;
use crate::intake::statistic::statistic;
use crate::intake::table::{Aside, aside};

/// What is done with the cells of a column.
#[derive(Debug, Clone, Copy)]
enum Step {
    Id,
    Time,
    /// The counts of a size, by its place, and the volume they refer to \[mL\].
    Count(usize, f64),
    /// Another column, by its place; whether its cells are measurements.
    Other(usize, bool),
    Skip,
}

/// How the lines of one input become rows.
pub(super) struct LineReader<'a> {
    rows: RowReader<'a>,
    delimiter: u8,
    /// The decimal mark, where it can stand inside a cell.
    mark: Option<u8>,
    steps: Vec<Step>,
    /// The columns of counts, smallest size first.
    counts: Vec<CountColumn>,
    /// The names of the other columns.
    others: Vec<String>,
}

impl<'a> LineReader<'a> {
    /// # Errors
    /// `text-not-plain` if the heading says that rows are not plain.
    pub(super) fn new(rows: RowReader<'a>, delimiter: u8) -> Result<Self> {
        let mark = rows.settled.marks.own().filter(|&mark| mark != delimiter);
        let counts = plain_counts(&rows, delimiter).map_err(|what| rows.not_plain(what, None))?;
        let (steps, others) = steps(&rows, &counts);
        Ok(Self { rows, delimiter, mark, steps, counts, others })
    }

    /// A block for the rows.
    pub(super) fn block(&self) -> Block {
        let timed = self.steps.iter().any(|step| matches!(step, Step::Time));
        Block::new(self.counts.iter().map(|count| count.size), timed, &self.others)
    }

    /// The table the rows stand in.
    pub(super) fn table(&self) -> &Table {
        &self.rows.table
    }

    /// Adds the rows of whole lines, the first of which is line `line`, until one cannot be read plainly.
    pub(super) fn read(&self, lines: &[u8], line: u64, out: &mut Block) {
        let (text, whole) = valid_lines(lines);
        let (mut at, mut line) = (0, line);
        while at < text.len() {
            let rows = out.columns.len();
            at += self.quick(&text[at..], line, out).unwrap_or_else(|| {
                out.truncate(rows);
                let length = memchr(b'\n', &text.as_bytes()[at..]).map_or(text.len() - at, |end| end + 1);
                out.stopped = self.full(&text[at..at + length], line, out).err();
                length
            });
            if out.stopped.is_some() {
                return;
            }
            line += 1;
        }
        if !whole {
            out.stopped = Some(self.rows.not_plain("text that is not UTF-8", Some(line)));
        }
    }

    /// Adds the row of the line that the text begins with and gives back the line's length; none where the line is not
    /// wholly plain, and then cells of the row may have been added already.
    #[inline]
    fn quick(&self, text: &str, line: u64, out: &mut Block) -> Option<usize> {
        if out.first.is_none() || out.last_aside.is_some() {
            return None;
        }
        let bytes = text.as_bytes();
        let (mut at, mut counted) = (0, false);
        for (column, &step) in self.steps.iter().enumerate() {
            if column > 0 {
                at = (bytes.get(at) == Some(&self.delimiter)).then_some(at + 1)?;
            }
            at = if let Step::Count(place, volume_ml) = step {
                let (count, end) = self.count(text, at)?;
                let per_ml = if volume_ml > 1.0 { count / volume_ml } else { count };
                out.columns.counts[place].per_ml.push(per_ml);
                let says = !count.is_nan();
                counted |= says;
                (says || column > 0).then_some(end)?
            } else {
                let (cell, end) = self.cell(text, at)?;
                (column > 0 || names_row(cell)).then_some(())?;
                self.take(step, cell, out)?;
                end
            };
        }
        (counted && falls(out)).then_some(())?;
        if self.rows.settled.layout.id.is_none() {
            out.columns.ids.push(&unnamed(line));
        }
        line_end(bytes, at)
    }

    /// A cell that holds no count.
    #[inline]
    fn take(&self, step: Step, cell: &str, out: &mut Block) -> Option<()> {
        let columns = &mut out.columns;
        match step {
            Step::Id => {
                (names_row(cell) && columns.ids.last() != Some(cell)).then_some(())?;
                columns.ids.push(cell);
            }
            Step::Time => columns.times.as_mut()?.push(cell),
            Step::Other(place, measured) => {
                (!measured || self.is_measurement(cell)).then_some(())?;
                columns.others[place].texts.push(cell);
            }
            Step::Count(..) | Step::Skip => {}
        }
        Some(())
    }

    /// A count as it stands, NaN where the cell says that there is none; and where the cell ends.
    #[inline]
    fn count(&self, text: &str, at: usize) -> Option<(f64, usize)> {
        let bytes = text.as_bytes();
        if let Some((number, length)) = number::leading(&bytes[at..], self.mark)
            && self.ends(bytes, at + length)
        {
            return Some((number.value, at + length));
        }
        let (cell, end) = self.cell(text, at)?;
        match number::read(cell, self.rows.settled.marks).ok()? {
            Cell::Missing => Some((f64::NAN, end)),
            _ if self.rows.settled.ungrouped => None,
            Cell::Number(number) if number.value.is_finite() && number.value.is_sign_positive() => {
                Some((number.value, end))
            }
            _ => None,
        }
    }

    /// The cell that begins at `at`, without quotes and the blanks around it, and where it ends.
    #[inline]
    fn cell<'t>(&self, text: &'t str, at: usize) -> Option<(&'t str, usize)> {
        let bytes = text.as_bytes();
        if bytes.get(at) == Some(&b'"') {
            let from = at + 1;
            let to = from + memchr(b'"', &bytes[from..])?;
            let whole = self.ends(bytes, to + 1) && memchr(b'\n', &bytes[from..to]).is_none();
            return whole.then(|| (trimmed(&text[from..to]), to + 1));
        }
        let end = memchr2(self.delimiter, b'\n', &bytes[at..]).map_or(bytes.len(), |length| at + length);
        let end = if end > at && bytes[end - 1] == b'\r' { end - 1 } else { end };
        Some((trimmed(&text[at..end]), end))
    }

    /// Whether a cell ends here.
    #[inline]
    fn ends(&self, bytes: &[u8], at: usize) -> bool {
        bytes.get(at) == Some(&self.delimiter) || line_end(bytes, at).is_some()
    }

    fn is_measurement(&self, cell: &str) -> bool {
        match number::read(cell, self.rows.settled.marks) {
            Ok(Cell::Missing) => true,
            Ok(Cell::Number(number)) => number.value.is_finite(),
            _ => false,
        }
    }

    /// A line, read as the full reader reads it.
    ///
    /// # Errors
    /// `text-not-plain` if it says more than a row of columns can hold.
    fn full(&self, text: &str, line: u64, out: &mut Block) -> Result<()> {
        let Some(record) = self.record(text, line)? else { return Ok(()) };
        if record.open_quote {
            return self.refused("a quote that is not closed in its line", line);
        }
        match aside(&record, &self.rows) {
            Aside::Passed(reason) => {
                out.passed.add(reason, line);
                Ok(())
            }
            Aside::Words => self.refused("a line of words", line),
            Aside::Heading => self.refused("another heading", line),
            Aside::No => self.row(&record, out),
        }
    }

    fn row(&self, row: &Record, out: &mut Block) -> Result<()> {
        let named = row.text(self.rows.settled.layout.id);
        let id = named.map_or_else(|| unnamed(row.line), str::to_owned);
        let bottle = Identity { id, named: named.is_some(), ..Identity::default() };
        let length = self.rows.ensure_length(row);
        let pieces =
            length.map_err(|error| Box::new(self.rows.problem(&error, None, row, None))).and_then(|()| {
                let Runs { pieces, rejected } = self.rows.wide(&bottle, row);
                rejected.into_iter().next().map_or(Ok(pieces), |rejected| Err(Box::new(rejected.problem)))
            });
        match pieces {
            Ok(_) if named.is_none() && self.rows.settled.layout.id.is_some() => {
                self.refused("a row without a bottle", row.line)
            }
            Ok(pieces) if pieces.iter().any(|piece| piece.spectrum.is_none()) => {
                self.refused("a row without counts", row.line)
            }
            Ok(pieces) => {
                for piece in pieces {
                    if out.last() == Some(&piece.bottle.id) {
                        return Err(self.two_rows(row.line));
                    }
                    self.add(&piece, row, out);
                }
                Ok(())
            }
            Err(problem) => {
                out.columns.problems.push(*problem);
                Ok(())
            }
        }
    }

    fn refused(&self, what: &str, line: u64) -> Result<()> {
        Err(self.rows.not_plain(what, Some(line)))
    }

    /// The cells of a line; none where it is empty.
    fn record(&self, text: &str, line: u64) -> Result<Option<Record>> {
        let mut records = TextRecords::new(text.as_bytes(), self.delimiter, b'\n').behind(line - 1);
        Ok(records.next(Record::default())?.filter(|record| !record.is_empty()))
    }

    /// A row that the full reader takes, unless a count is a bound.
    fn add(&self, piece: &Piece, row: &Record, out: &mut Block) {
        let id = &piece.bottle.id;
        out.first.get_or_insert_with(|| (row.line, id.clone()));
        let bound = |reading| !matches!(reading, Reading::Count(_) | Reading::NotCounted);
        let channels = piece.spectrum.as_ref().map_or(&[][..], |spectrum| spectrum.channels());
        if let Some(at) = channels.iter().position(|channel| bound(channel.reading)) {
            let column = self.counts[at].column;
            let found = row.text(Some(column)).unwrap_or_default().into();
            let error = ErrorKind::CountIsBound { found }.into();
            out.columns.problems.push(self.rows.problem(&error, Some(column), row, None));
            out.last_aside = Some(id.clone());
            return;
        }
        let columns = &mut out.columns;
        columns.ids.push(id);
        for (counts, channel) in columns.counts.iter_mut().zip(channels) {
            counts.per_ml.push(channel.reading.count().map_or(f64::NAN, PerMl::get));
        }
        for (column, step) in self.steps.iter().enumerate() {
            let cell = row.text(Some(column)).unwrap_or_default();
            match *step {
                Step::Time => columns.times.iter_mut().for_each(|times| times.push(cell)),
                Step::Other(place, _) => columns.others[place].texts.push(cell),
                Step::Id | Step::Count(..) | Step::Skip => {}
            }
        }
        out.last_aside = None;
    }

    /// Two rows of one bottle, the second one in this line.
    pub(super) fn two_rows(&self, line: u64) -> Error {
        self.rows.not_plain("two rows of one bottle", Some(line))
    }
}

impl RowReader<'_> {
    fn not_plain(&self, what: &str, line: Option<u64>) -> Error {
        let position = Position { file: Some(self.table.file.clone()), line, ..Position::default() };
        Error::from(ErrorKind::TextNotPlain { found: what.into() }).at(position)
    }
}

/// The columns of counts of a table of plain rows, or why it is none.
fn plain_counts(rows: &RowReader<'_>, delimiter: u8) -> std::result::Result<Vec<CountColumn>, &'static str> {
    let layout = &rows.settled.layout;
    let (form, runs) = match &layout.counts {
        CountColumns::Wide { form, runs } => (form, runs),
        CountColumns::Long { .. } | CountColumns::Across { .. } => return Err("a row per size"),
        CountColumns::Codes { .. } | CountColumns::Numbers { .. } => return Err("codes without counts"),
    };
    let [run] = runs.as_slice() else { return Err("runs side by side") };
    let columns = &run.columns;
    let scales_differ = columns.iter().any(|count| count.size.scale() != columns[0].size.scale());
    let refusals = [
        (*form == Form::Differential, "counts per size band"),
        (columns.iter().any(|count| count.basis == Some(Basis::Raw)), "raw counts"),
        (columns.iter().any(|count| count.basis.is_none()), "counts whose unit stands in each row"),
        (scales_differ, "sizes in two scales"),
        (layout.volume.is_some() || rows.settled.volume.is_some(), "a counted volume"),
        (layout.dilution.is_some() || rows.settled.dilution.is_some(), "a dilution"),
        (layout.run.is_some(), "a column of runs"),
        (layout.unit.is_some(), "a column of units"),
        (!layout.more_ids.is_empty(), "two columns of names"),
        (layout.named_by_place, "no column with the names of bottles"),
        (rows.context.bottle().is_some(), "a bottle named beside the table"),
        (layout.kind.is_some(), "a column that tells blanks from samples"),
        (!DELIMITERS.contains(&delimiter), "cells parted in an unusual way"),
    ];
    match refusals.into_iter().find(|(refused, _)| *refused) {
        Some((_, what)) => Err(what),
        None => Ok(columns.clone()),
    }
}

/// What is done with each column, and the names of those that are kept as text.
fn steps(rows: &RowReader<'_>, counts: &[CountColumn]) -> (Vec<Step>, Vec<String>) {
    let layout = &rows.settled.layout;
    let name = |column: usize| rows.names.get(column).map_or("", String::as_str);
    let is_time = |field: Field| matches!(field, Field::Time | Field::Drawn | Field::Counted);
    let time = layout.fields.iter().find(|(_, field)| is_time(*field)).map(|(column, _)| *column);
    let kept = |column: usize| {
        layout.notes.contains(&column)
            || layout.code == Some(column)
            || layout.fields.iter().any(|(field, _)| *field == column)
    };
    let mut others = Vec::new();
    let step = |column: usize| {
        if let Some(place) = counts.iter().position(|count| count.column == column) {
            return Step::Count(place, counts[place].basis.and_then(Basis::volume_ml).unwrap_or(1.0));
        }
        let companion = layout.companions.iter().find(|(companion, ..)| *companion == column);
        match column {
            _ if layout.id == Some(column) => Step::Id,
            _ if time == Some(column) => Step::Time,
            _ if companion.is_some() || kept(column) => {
                others.push(name(column).to_owned());
                let measured = companion.is_some_and(|(_, property, _)| *property != Property::Appearance);
                Step::Other(others.len() - 1, measured)
            }
            _ => Step::Skip,
        }
    };
    ((0..layout.width).map(step).collect(), others)
}

/// The lines up to the first that is not UTF-8, and whether they are all.
fn valid_lines(lines: &[u8]) -> (&str, bool) {
    str::from_utf8(lines).map_or_else(
        |error| {
            let valid = &lines[..error.valid_up_to()];
            let end = valid.iter().rposition(|&byte| byte == b'\n').map_or(0, |end| end + 1);
            (str::from_utf8(&valid[..end]).unwrap_or_default(), false)
        },
        |text| (text, true),
    )
}

/// Where the next line begins, if a line ends here.
#[inline]
fn line_end(bytes: &[u8], at: usize) -> Option<usize> {
    match bytes.get(at..)? {
        [] => Some(at),
        [b'\n', ..] | [b'\r'] => Some(at + 1),
        [b'\r', b'\n', ..] => Some(at + 2),
        _ => None,
    }
}

/// [`str::trim`], at once where neither end can be a blank.
#[inline]
fn trimmed(cell: &str) -> &str {
    let is_mark = |byte: Option<&u8>| byte.is_some_and(u8::is_ascii_graphic);
    let bytes = cell.as_bytes();
    if is_mark(bytes.first()) && is_mark(bytes.last()) { cell } else { cell.trim() }
}

/// Whether a cell names its row: it is not empty and does not say that the row sums up others.
#[inline]
fn names_row(cell: &str) -> bool {
    cell.as_bytes().last().is_some_and(u8::is_ascii_digit) || !(cell.is_empty() || statistic(cell).is_some())
}

/// Whether the counts of the last row fall with size, and none is missing below one that is there.
#[inline]
fn falls(out: &Block) -> bool {
    let mut least = f64::INFINITY;
    let mut missing = false;
    out.columns.counts.iter().all(|counts| {
        let count = counts.per_ml.last().copied().unwrap_or(f64::NAN);
        let falls = if count.is_nan() { true } else { count <= least && !missing };
        missing |= count.is_nan();
        least = least.min(count);
        falls
    })
}
