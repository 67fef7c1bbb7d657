//! A table with a row per size and a column per bottle, or per run of one bottle.

use crate::class::iso4406::Code;
use crate::companion::Companion;
use crate::count::{Basis, CountedVolume, Dilution};
use crate::error::{Error, ErrorKind};
use crate::field::Field;

use super::account::PassedOver;
use super::heading::{self, Role};
use super::layout::{AcrossColumn, CountColumns};
use super::lines::Record;
use super::number::{self, Cell};
use super::options::Form;
use super::problem::{Problem, RejectedRow};
use super::row::{self, Identity, Piece, Placed, RowReader, basis_of, channel, measured, spectrum};
use super::statement::{self, Statement};
use super::statistic::statistic;
use super::table::{is_code_label, is_count};

/// The rows of such a table: it can only be read when all of them are there.
#[derive(Default)]
pub(super) struct Across {
    sizes: Vec<Record>,
    /// Rows that say something else of each column: its volume, its water, its date.
    others: Vec<(Role, Record)>,
    /// What follows belongs to another block.
    closed: bool,
}

/// What came of a table.
#[derive(Default)]
pub(super) struct Done {
    pub(super) pieces: Vec<Piece>,
    pub(super) problems: Vec<Problem>,
    pub(super) passed_over: Vec<(PassedOver, u64)>,
}

/// What is known of one column.
struct OfColumn {
    bottle: Identity,
    run: Option<String>,
    volume: Option<CountedVolume>,
    dilution: Dilution,
    companions: Vec<Companion>,
    printed: Option<Code>,
    notes: Vec<(String, String)>,
}

impl Across {
    /// Takes a row; gives it back with the reason it is passed over, or with none where it is only words.
    pub(super) fn take(
        &mut self,
        record: Record,
        rows: &RowReader<'_>,
    ) -> Result<(), (Record, Option<PassedOver>)> {
        let CountColumns::Across { size, columns, .. } = &rows.settled.layout.counts else {
            return Err((record, None));
        };
        let label = record.text(Some(*size)).unwrap_or_default().to_owned();
        let holds_counts = columns.iter().any(|across| record.cells.get(across.column).is_some_and(is_count));
        let filled = columns.iter().any(|across| record.text(Some(across.column)).is_some());
        let is_size =
            heading::counts(&label).is_some_and(|counts| counts.size.is_some() && counts.statistic.is_none());
        if is_size && filled {
            self.sizes.push(record);
            return Ok(());
        }
        if let Some(statistic) = statistic(&label) {
            return Err((record, Some(super::table::reason_of(statistic))));
        }
        let role = Role::of(&label);
        // A name below the sizes is that of the next block.
        self.closed |= !self.sizes.is_empty() && matches!(role, Role::Id { .. });
        if self.closed {
            return Err((record, None));
        }
        match role {
            Role::Code if filled && !is_target(&label) => self.others.push((Role::Code, record)),
            _ if is_code_label(&label) => return Err((record, Some(PassedOver::CodeRow))),
            role @ (Role::Volume { .. }
            | Role::Dilution
            | Role::Companion { .. }
            | Role::Field(_)
            | Role::Run
            | Role::Id { .. })
                if filled =>
            {
                self.others.push((role, record));
            }
            _ if holds_counts => self.others.push((Role::Note, record)),
            _ => {
                let names_bottle = |said: &Statement| matches!(said, Statement::Bottle(_));
                self.closed |= !self.sizes.is_empty() && statement::of(&record).iter().any(names_bottle);
                return Err((record, None));
            }
        }
        Ok(())
    }

    /// Whether a row of the same size is there already.
    pub(super) fn holds_size_of(&self, record: &Record, rows: &RowReader<'_>) -> bool {
        let CountColumns::Across { size, .. } = &rows.settled.layout.counts else { return false };
        let of = |record: &Record| heading::counts(record.text(Some(*size))?)?.size;
        of(record).is_some_and(|own| self.sizes.iter().any(|other| of(other) == Some(own)))
    }

    /// Reads the whole table.
    pub(super) fn finish(self, rows: &RowReader<'_>, last_id: Option<&str>, only: Option<&[String]>) -> Done {
        let CountColumns::Across { columns, .. } = &rows.settled.layout.counts else {
            return Done::default();
        };
        let mut done = Done::default();
        let mut records = (self.sizes.len() + self.others.len()) as u64;
        if self.sizes.is_empty() {
            done.passed_over =
                self.others.iter().map(|(_, record)| (PassedOver::Remark, record.line)).collect();
            return done;
        }
        for across in columns {
            let of_column = self.of_column(across, rows, last_id);
            if only.is_some_and(|only| !only.contains(&of_column.bottle.id)) {
                continue;
            }
            match self.spectrum(across, &of_column, rows) {
                Ok(None) => {}
                Ok(Some(counts)) => {
                    done.pieces.push(self.piece(of_column, counts, records));
                    records = 0;
                }
                Err((error, line)) => done.problems.push(self.problem(&of_column.bottle, &error, line, rows)),
            }
        }
        if records > 0 {
            match done.problems.first_mut() {
                Some(problem) => problem.rejected = records,
                None => done.problems.push(Problem {
                    rejected: records,
                    ..self.problem(&Identity::default(), &ErrorKind::NothingCounted {}.into(), 0, rows)
                }),
            }
        }
        done
    }

    fn piece(&self, of_column: OfColumn, counts: crate::spectrum::Spectrum, records: u64) -> Piece {
        Piece {
            bottle: of_column.bottle,
            run: of_column.run,
            blank: false,
            spectrum: Some(counts),
            printed: of_column.printed,
            companions: of_column.companions,
            notes: of_column.notes,
            line: self.sizes[0].line,
            records,
            rows: Vec::new(),
        }
    }

    fn of_column(&self, across: &AcrossColumn, rows: &RowReader<'_>, last_id: Option<&str>) -> OfColumn {
        let settled = &rows.settled;
        let id = across.id.clone().or_else(|| rows.context.bottle()).or_else(|| last_id.map(str::to_owned));
        let named = id.is_some();
        let id = id.unwrap_or_else(|| row::unnamed(self.sizes[0].line));
        let mut found = OfColumn {
            bottle: Identity { id, named, fields: rows.fields(&Record::default()), more: Vec::new() },
            run: across.run.clone(),
            volume: settled.volume,
            dilution: settled.dilution.unwrap_or_default(),
            companions: rows.companions(&Record::default()),
            printed: None,
            notes: Vec::new(),
        };
        for (role, record) in &self.others {
            if let Some(text) = record.text(Some(across.column)) {
                found.learn(role, record, text, rows);
            }
        }
        found
    }

    fn spectrum(
        &self,
        across: &AcrossColumn,
        of_column: &OfColumn,
        rows: &RowReader<'_>,
    ) -> Result<Option<crate::spectrum::Spectrum>, (Error, u64)> {
        let CountColumns::Across { form, size, basis, scale, .. } = &rows.settled.layout.counts else {
            return Ok(None);
        };
        let mut channels = Vec::with_capacity(self.sizes.len());
        let mut banded = false;
        for record in &self.sizes {
            let made: Placed<_> = (|| {
                let placed = |error: Error| (error, Some(across.column));
                let (um, to) = rows.size(record, *size, *scale, None).map_err(placed)?;
                banded |= to.is_some();
                let (cell, own) = rows.cell(record, across.column)?;
                let of_row =
                    heading::counts(record.text(Some(*size)).unwrap_or_default()).and_then(|said| said.basis);
                let basis: Basis = basis_of(*basis, of_row, own).map_err(placed)?;
                let cell = rows.as_drawn(cell, basis, of_column.dilution);
                channel(cell, um, basis, of_column.volume, of_column.dilution).map_err(placed)
            })();
            channels.push(made.map_err(|(error, _)| (error, record.line))?);
        }
        let form = if banded { Form::Differential } else { *form };
        spectrum(form, channels).map_err(|error| (error, self.sizes[0].line))
    }

    fn problem(&self, bottle: &Identity, error: &Error, line: u64, rows: &RowReader<'_>) -> Problem {
        let all = || self.sizes.iter().chain(self.others.iter().map(|(_, record)| record));
        let fault = all().find(|record| record.line == line).unwrap_or(&self.sizes[0]);
        let mut problem = rows.problem(error, None, fault, None);
        problem.rows.extend(all().filter(|record| record.line != fault.line).map(RejectedRow::of));
        problem.rejected = 0;
        problem.bottle = Some(bottle.id.clone()).filter(|id| !id.is_empty());
        problem
    }
}

impl OfColumn {
    /// Takes what a row says of the column.
    fn learn(&mut self, role: &Role, record: &Record, text: &str, rows: &RowReader<'_>) {
        let marks = rows.settled.marks;
        match role {
            Role::Volume { ml } => {
                let volume = match number::read(text, marks) {
                    Ok(Cell::Number(number)) => Some(number.value * ml),
                    _ => statement::volume(text, *ml),
                };
                self.volume = volume.and_then(|ml| CountedVolume::from_ml(ml).ok()).or(self.volume);
            }
            Role::Dilution => {
                let dilution = statement::dilution(text).and_then(|factor| Dilution::new(factor).ok());
                self.dilution = dilution.unwrap_or(self.dilution);
            }
            Role::Companion { property, unit, .. } => {
                let measured = measured(text, property, unit, marks);
                self.companions
                    .extend(measured.map(|measured| Companion { property: property.clone(), measured }));
            }
            Role::Field(field) => self.add_field(*field, text.trim_start_matches(':').trim()),
            Role::Run => self.run = Some(text.to_owned()),
            Role::Id { .. } => {
                text.clone_into(&mut self.bottle.id);
                self.bottle.named = true;
            }
            Role::Code => self.printed = row::printed_code(text).ok(),
            _ => {
                let label =
                    record.cells.iter().map(str::trim).find(|cell| !cell.is_empty()).unwrap_or_default();
                self.notes.push((label.to_owned(), text.to_owned()));
            }
        }
    }

    fn add_field(&mut self, field: Field, text: &str) {
        if !self.bottle.fields.iter().any(|(known, _)| *known == field) {
            self.bottle.fields.push((field, text.to_owned()));
        }
    }
}

/// Whether a label names what is aimed at, not what was found.
fn is_target(label: &str) -> bool {
    let plain = heading::plain(label);
    ["target", "limit", "soll", "ziel", "cible", "objetivo", "doel", "cel"]
        .iter()
        .any(|word| plain.contains(word))
}
