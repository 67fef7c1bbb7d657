//! One row, or the rows of one run, to runs of bottles; or the reason why not.

use std::sync::Arc;

use crate::class::iso4406::{Code, Place, RangeNumber};
use crate::companion::{Companion, CompanionUnit, Measured, Property};
use crate::count::{Basis, CountedVolume, Dilution, Evidence, PerMl, Reading, whole_count};
use crate::error::{Error, ErrorKind, Position, Result};
use crate::field::Field;
use crate::size::{Size, SizeScale};
use crate::spectrum::{Channel, Spectrum};

use super::heading;
use super::layout::{CountColumn, CountColumns, RunColumns};
use super::lines::Record;
use super::number::{self, Cell, Marks, NotANumber, Number};
use super::options::{Form, Options};
use super::problem::{Problem, RejectedRow, Table};
use super::settle::Settled;
use super::statement::{self, Context, Statement};
use super::words;

/// One run of a bottle, or what is known of a bottle beside its runs.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub(super) bottle: Identity,
    pub(super) run: Option<String>,
    pub(super) blank: bool,
    /// The counts; none where the row holds only other measurements, or a printed code.
    pub(super) spectrum: Option<Spectrum>,
    pub(super) printed: Option<Code>,
    pub(super) companions: Vec<Companion>,
    pub(super) notes: Vec<(String, String)>,
    pub(super) line: u64,
    /// How many records it is the fate of.
    pub(super) records: u64,
    /// The rows it was made of, kept where the bottle may still turn out to be unusable.
    pub(super) rows: Vec<Record>,
}

impl Piece {
    /// Whether not one particle was counted at any size.
    pub(super) fn counts_nothing(&self) -> bool {
        let is_zero = |channel: &Channel| channel.reading.count().is_some_and(|count| count.get() == 0.0);
        self.spectrum.as_ref().is_some_and(|spectrum| spectrum.channels().iter().all(is_zero))
    }
}

/// What tells a bottle from others.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Identity {
    pub(super) id: String,
    /// Whether the input names it; else it is named by its line.
    pub(super) named: bool,
    /// Where and when it was drawn, and what else is said of it.
    pub(super) fields: Vec<(Field, String)>,
    /// Its other names.
    pub(super) more: Vec<String>,
}

/// A row that cannot be used, and what it says of its bottle all the same.
pub(super) struct Rejected {
    pub(super) problem: Problem,
    pub(super) beside: Option<Piece>,
}

/// What came of one row.
#[derive(Default)]
pub(super) struct Runs {
    pub(super) pieces: Vec<Piece>,
    pub(super) rejected: Vec<Rejected>,
}

impl Runs {
    /// The one run that a row holds, or why there is none.
    pub(super) fn of_one(made: std::result::Result<Piece, Box<Rejected>>) -> Self {
        match made {
            Ok(piece) => Self { pieces: vec![piece], rejected: Vec::new() },
            Err(rejected) => Self { pieces: Vec::new(), rejected: vec![*rejected] },
        }
    }

    /// A row of several runs has one fate: it is scored where any run is, else rejected once.
    fn settle_fate(&mut self) {
        for (at, piece) in self.pieces.iter_mut().enumerate() {
            piece.records = u64::from(at == 0);
        }
        let is_scored = !self.pieces.is_empty();
        for (at, rejected) in self.rejected.iter_mut().enumerate() {
            rejected.problem.rejected = u64::from(at == 0 && !is_scored);
            if is_scored || at > 0 {
                rejected.beside = None;
            }
        }
    }
}

/// Reads rows of one table.
pub(super) struct RowReader<'a> {
    pub(super) settled: Settled,
    pub(super) options: &'a Options,
    pub(super) table: Arc<Table>,
    /// The names of the columns, one line.
    pub(super) names: Vec<String>,
    /// What is said of every bottle of the table.
    pub(super) context: Context,
    /// The only run to read of rows that hold several.
    pub(super) only_run: Option<String>,
}

/// An error and the column it stands in.
pub(super) type Placed<T> = std::result::Result<T, (Error, Option<usize>)>;

/// What a row says of how it was counted.
#[derive(Clone, Copy)]
struct Counted {
    volume: Option<CountedVolume>,
    dilution: Dilution,
    /// The unit of its counts, where a column says it.
    basis: Option<Basis>,
}

impl RowReader<'_> {
    /// A row must hold every count, and nothing beyond the heading.
    pub(super) fn ensure_length(&self, record: &Record) -> Result<()> {
        let headings = self.settled.layout.width;
        let cells = record.cells.len();
        let beyond = record.cells.iter().skip(headings).any(|cell| !cell.trim().is_empty());
        if beyond || cells <= self.settled.layout.last_count() {
            return Err(ErrorKind::RowLength { cells, headings }.into());
        }
        Ok(())
    }

    /// The runs of a row that holds all sizes. Where it holds several runs, a bad one does not cost the others.
    pub(super) fn wide(&self, bottle: &Identity, record: &Record) -> Runs {
        let CountColumns::Wide { form, runs } = &self.settled.layout.counts else { return Runs::default() };
        let several = runs.len() > 1;
        let mut found = Runs::default();
        for (at, run) in runs.iter().enumerate() {
            let label = run.label.clone().or_else(|| several.then(|| (at + 1).to_string()));
            if self.only_run.is_some() && several && self.only_run != label {
                continue;
            }
            let piece = self.wide_run(*form, run, record).and_then(|spectrum| {
                let mut piece = self.piece(bottle, record, spectrum)?;
                piece.run = run.label.clone().or(piece.run);
                Ok(piece)
            });
            match piece {
                Ok(piece) => found.pieces.push(piece),
                Err((error, column)) => {
                    let mut rejected = self.rejected(bottle, &error, column, record);
                    rejected.problem.run = label.filter(|_| several);
                    found.rejected.push(rejected);
                }
            }
        }
        found.pieces.retain(|piece| pieces_hold_something(piece) || runs.len() == 1);
        if found.pieces.first().is_none_or(|piece| !pieces_hold_something(piece)) {
            found.pieces.clear();
            if found.rejected.is_empty() {
                found.rejected.push(self.rejected(
                    bottle,
                    &ErrorKind::NothingCounted {}.into(),
                    None,
                    record,
                ));
            }
        }
        found.settle_fate();
        found
    }

    fn wide_run(&self, form: Form, run: &RunColumns, record: &Record) -> Placed<Option<Spectrum>> {
        let counted = self.counted(record)?;
        let mut channels = Vec::with_capacity(run.columns.len());
        let mut gap: Option<&CountColumn> = None;
        for count in &run.columns {
            let placed = |error: Error| (error, Some(count.column));
            let (cell, own) = self.cell(record, count.column)?;
            if record.text(Some(count.column)).is_none() {
                gap = gap.or(Some(count));
                channels.push(Channel::new(count.size, Reading::NotCounted));
                continue;
            }
            if let Some(gap) = gap {
                let error = ErrorKind::CountMissing { size: gap.size.to_string() };
                return Err((error.into(), Some(gap.column)));
            }
            let basis = basis_of(count.basis, counted.basis, own).map_err(placed)?;
            let cell = self.as_drawn(cell, basis, counted.dilution);
            channels
                .push(channel(cell, count.size, basis, counted.volume, counted.dilution).map_err(placed)?);
        }
        spectrum(form, channels).map_err(|error| (error, None))
    }

    /// The run of rows that hold a size each. One bad row puts the whole run aside.
    pub(super) fn long(
        &self,
        bottle: &Identity,
        rows: &[Record],
    ) -> std::result::Result<Piece, Box<Rejected>> {
        let mut channels = Vec::with_capacity(rows.len());
        let mut bands = Vec::new();
        let aside = |error: &Error, column: Option<usize>, at: usize| {
            let mut rejected = self.rejected(bottle, error, column, &rows[at]);
            let others =
                rows.iter().enumerate().filter(|(i, _)| *i != at).map(|(_, row)| RejectedRow::of(row));
            rejected.problem.rows.extend(others);
            rejected.problem.rejected = rows.len() as u64;
            Box::new(rejected)
        };
        for (at, row) in rows.iter().enumerate() {
            match self.long_channel(row) {
                Ok((channel, to)) => {
                    bands.push((channel.size, to));
                    channels.push(channel);
                }
                Err((error, column)) => return Err(aside(&error, column, at)),
            }
        }
        let form = self.form_of_bands(&mut bands, &bottle.id).map_err(|error| aside(&error, None, 0))?;
        let made = spectrum(form, channels)
            .map_err(|error| (error, None))
            .and_then(|spectrum| self.piece(bottle, &rows[0], spectrum));
        match made {
            Ok(mut piece) if pieces_hold_something(&piece) => {
                piece.records = rows.len() as u64;
                Ok(piece)
            }
            Ok(_) => Err(aside(&ErrorKind::NothingCounted {}.into(), None, 0)),
            Err((error, column)) => Err(aside(&error, column, 0)),
        }
    }

    /// Rows of bands (`4-6`) are differential, and must adjoin.
    fn form_of_bands(&self, bands: &mut [(Size, Option<f64>)], bottle: &str) -> Result<Form> {
        if !bands.iter().any(|(_, to)| to.is_some()) {
            return Ok(self.settled.layout.form());
        }
        bands.sort_by(|(a, _), (b, _)| a.um().total_cmp(&b.um()));
        for pair in bands.windows(2) {
            let ((_, to), (above, _)) = (&pair[0], &pair[1]);
            if let Some(to) = to.filter(|to| (to - above.um()).abs() > f64::EPSILON) {
                let sizes = format!("{to} to {} um", above.um());
                return Err(ErrorKind::SizeMissing { bottle: bottle.into(), sizes }.into());
            }
        }
        Ok(Form::Differential)
    }

    fn long_channel(&self, record: &Record) -> Placed<(Channel, Option<f64>)> {
        let CountColumns::Long { size, count, basis, scale, scale_column, .. } = &self.settled.layout.counts
        else {
            return Err((ErrorKind::NothingCounted {}.into(), None));
        };
        let (size_of_row, to) =
            self.size(record, *size, *scale, *scale_column).map_err(|error| (error, Some(*size)))?;
        let placed = |error: Error| (error, Some(*count));
        let counted = self.counted(record)?;
        let (cell, own) = self.cell(record, *count)?;
        let basis = basis_of(*basis, counted.basis, own).map_err(placed)?;
        let cell = self.as_drawn(cell, basis, counted.dilution);
        let channel = channel(cell, size_of_row, basis, counted.volume, counted.dilution).map_err(placed)?;
        Ok((channel, to))
    }

    /// `4`, `4 um(c)`, `>= 4`, `4-6`: the size, and the upper end of a band.
    pub(super) fn size(
        &self,
        record: &Record,
        column: usize,
        scale: SizeScale,
        scale_column: Option<usize>,
    ) -> Result<(Size, Option<f64>)> {
        let cell = record.cells.get(column).unwrap_or_default();
        let said = heading::counts(cell);
        let unreadable = || Error::from(ErrorKind::SizeUnreadable { text: cell.trim().into() });
        let (um, to) = said.as_ref().and_then(|said| said.size).ok_or_else(unreadable)?;
        let of_row = record.text(scale_column).map(str::parse::<SizeScale>).transpose()?;
        let of_cell = said.and_then(|said| said.scale);
        let scale = self.options.scale.or(of_cell).or(of_row).unwrap_or(scale);
        Ok((Size::new(um, scale)?, to))
    }

    /// The bottle of a printed code, or of printed range numbers.
    pub(super) fn printed(
        &self,
        bottle: &Identity,
        record: &Record,
    ) -> std::result::Result<Piece, Box<Rejected>> {
        let (code, column) = match &self.settled.layout.counts {
            CountColumns::Codes { column } => {
                (printed_code(record.cells.get(*column).unwrap_or_default()), Some(*column))
            }
            CountColumns::Numbers { columns } => (printed_numbers(record, columns), None),
            _ => (Err(ErrorKind::NothingCounted {}.into()), None),
        };
        let made = code
            .map_err(|error| (error, column))
            .and_then(|code| Ok(Piece { printed: Some(code), ..self.piece(bottle, record, None)? }));
        made.map_err(|(error, column)| Box::new(self.rejected(bottle, &error, column, record)))
    }

    fn piece(&self, bottle: &Identity, record: &Record, spectrum: Option<Spectrum>) -> Placed<Piece> {
        let (mut piece, wrong) = self.beside(bottle, record);
        piece.spectrum = spectrum;
        match wrong {
            Some(error) => Err((error, self.settled.layout.code)),
            None => Ok(piece),
        }
    }

    /// What a row says of its bottle beside its counts, and what is wrong with its printed code.
    fn beside(&self, bottle: &Identity, record: &Record) -> (Piece, Option<Error>) {
        let layout = &self.settled.layout;
        let printed = record.text(layout.code).filter(|_| layout.holds_counts()).map(printed_code);
        let (printed, _) = match printed {
            Some(Ok(code)) => (Some(code), None),
            Some(Err(error)) => (None, Some(error)),
            None => (None, None),
        };
        let piece = Piece {
            bottle: bottle.clone(),
            run: record.text(layout.run).map(str::to_owned),
            blank: self.is_blank(record),
            spectrum: None,
            printed,
            companions: self.companions(record),
            notes: self.notes(record, printed),
            line: record.line,
            records: 1,
            rows: Vec::new(),
        };
        (piece, None)
    }

    fn counted(&self, record: &Record) -> Placed<Counted> {
        let layout = &self.settled.layout;
        let volume = match layout.volume {
            Some((column, ml)) => self.volume(record, column, ml)?,
            None => None,
        };
        let dilution = match layout.dilution {
            Some(column) => self.dilution(record, column)?,
            None => None,
        };
        let basis = match record.text(layout.unit).filter(|_| self.options.basis.is_none()) {
            Some(text) => Some(unit_of_row(text).map_err(|error| (error, layout.unit))?),
            None => None,
        };
        Ok(Counted {
            volume: volume.or(self.settled.volume),
            dilution: dilution.or(self.settled.dilution).unwrap_or_default(),
            basis,
        })
    }

    fn volume(&self, record: &Record, column: usize, unit: f64) -> Placed<Option<CountedVolume>> {
        let Some(text) = record.text(Some(column)) else { return Ok(None) };
        let ml = match number::read(text, self.settled.marks) {
            Ok(Cell::Missing) => return Ok(None),
            Ok(Cell::Number(number)) => Some(number.value * unit),
            _ => statement::volume(text, unit),
        };
        let unreadable = || ErrorKind::CellUnreadable { what: "volume".into(), found: text.into() }.into();
        ml.ok_or_else(unreadable)
            .and_then(CountedVolume::from_ml)
            .map(Some)
            .map_err(|error| (error, Some(column)))
    }

    /// `20`, `1:20`.
    fn dilution(&self, record: &Record, column: usize) -> Placed<Option<Dilution>> {
        let Some(text) = record.text(Some(column)) else { return Ok(None) };
        let factor = match number::read(text, self.settled.marks) {
            Ok(Cell::Missing) => return Ok(None),
            Ok(Cell::Number(number)) => Some(number.value),
            _ => statement::dilution(text),
        };
        let unreadable =
            || ErrorKind::CellUnreadable { what: "dilution factor".into(), found: text.into() }.into();
        factor.ok_or_else(unreadable).and_then(Dilution::new).map(Some).map_err(|error| (error, Some(column)))
    }

    /// A concentration of the fluid as diluted, brought to that of the fluid as drawn.
    pub(super) fn as_drawn(&self, cell: Cell, basis: Basis, dilution: Dilution) -> Cell {
        if !self.settled.as_diluted || basis == Basis::Raw {
            return cell;
        }
        let times = |number: Number| Number {
            value: number.value * dilution.factor(),
            half_step: number.half_step * dilution.factor(),
        };
        match cell {
            Cell::Number(number) => Cell::Number(times(number)),
            Cell::Below(number) => Cell::Below(times(number)),
            Cell::Above(number) => Cell::Above(times(number)),
            other => other,
        }
    }

    /// A count as its cell says it, with the unit where the cell has one.
    pub(super) fn cell(&self, record: &Record, column: usize) -> Placed<(Cell, Option<Basis>)> {
        let text = record.cells.get(column).unwrap_or_default();
        let has_thousands = |text: &str| number::readings(text).is_some_and(number::Readings::is_ambiguous);
        if self.settled.ungrouped
            && matches!(self.settled.marks, Marks::Found(_))
            && has_thousands(text)
            && !self.settled.marks.is_decimal_of(text)
        {
            let found = text.trim().to_owned();
            return Err((ErrorKind::CountAmbiguous { found }.into(), Some(column)));
        }
        cell(text, self.settled.marks).map_err(|error| (error, Some(column)))
    }

    pub(super) fn companions(&self, record: &Record) -> Vec<Companion> {
        let own = self
            .settled
            .layout
            .companions
            .iter()
            .filter_map(|(column, property, unit)| Some((property, unit, record.text(Some(*column))?)));
        let said = self.context.said.iter().filter_map(|(_, statement)| match statement {
            Statement::Companion(property, unit, text) => Some((property, unit, text.as_str())),
            _ => None,
        });
        let measured = own.chain(said).filter_map(|(property, unit, text)| {
            let measured = measured(text, property, unit, self.settled.marks)?;
            Some(Companion { property: property.clone(), measured })
        });
        measured.collect()
    }

    /// The columns that are kept as text, and a printed code that could not be read.
    fn notes(&self, record: &Record, printed: Option<Code>) -> Vec<(String, String)> {
        let layout = &self.settled.layout;
        let unread = layout.code.filter(|_| printed.is_none() && layout.holds_counts());
        let columns = layout.notes.iter().copied().chain(unread);
        let note =
            |column: usize| Some((self.names.get(column)?.clone(), record.text(Some(column))?.to_owned()));
        columns.filter_map(note).collect()
    }

    /// What the row and the lines beside the table say of where and when the bottle was drawn.
    pub(super) fn fields(&self, record: &Record) -> Vec<(Field, String)> {
        let mut fields: Vec<(Field, String)> = Vec::new();
        for (column, field) in &self.settled.layout.fields {
            let Some(text) = record.text(Some(*column)) else { continue };
            match fields.iter_mut().find(|(known, _)| known == field) {
                Some((_, whole)) => {
                    whole.push(' ');
                    whole.push_str(text);
                }
                None => fields.push((*field, text.to_owned())),
            }
        }
        for (_, statement) in &self.context.said {
            if let Statement::Field(field, text) = statement
                && !fields.iter().any(|(known, _)| known == field)
            {
                fields.push((*field, text.clone()));
            }
        }
        fields
    }

    /// The other names of the bottle.
    pub(super) fn more_names(&self, record: &Record) -> Vec<String> {
        let columns = self.settled.layout.more_ids.iter();
        columns.filter_map(|&column| record.text(Some(column))).map(str::to_owned).collect()
    }

    fn is_blank(&self, record: &Record) -> bool {
        record.text(self.settled.layout.kind).is_some_and(|kind| words::is("blank", &words::fold(kind)))
    }

    /// A row that cannot be used, and what it says of its bottle beside the counts.
    pub(super) fn rejected(
        &self,
        bottle: &Identity,
        error: &Error,
        column: Option<usize>,
        record: &Record,
    ) -> Rejected {
        let (piece, _) = self.beside(bottle, record);
        let says_something = !piece.companions.is_empty();
        let problem = self.problem(error, column, record, Some(bottle));
        Rejected { problem, beside: says_something.then_some(Piece { records: 0, ..piece }) }
    }

    /// A row that cannot be used, with its place and its cells.
    pub(super) fn problem(
        &self,
        error: &Error,
        column: Option<usize>,
        record: &Record,
        bottle: Option<&Identity>,
    ) -> Problem {
        let position = Position {
            file: Some(self.table.file.clone()),
            sheet: self.table.sheet.clone(),
            line: Some(record.line),
            column: column.and_then(|column| self.names.get(column)).map(|name| name.trim().to_owned()),
        };
        let cells = |columns: &[usize]| {
            let cells = columns.iter().map(|&column| record.cells.get(column).unwrap_or_default().trim());
            cells.collect::<Vec<_>>().join(" | ")
        };
        let found =
            column.map_or_else(|| cells(&self.settled.layout.count_columns()), |column| cells(&[column]));
        let rows = vec![RejectedRow::of(record)];
        let mut problem = Problem::new(&error.clone().at(position), found, rows, Arc::clone(&self.table));
        let named_here = record.text(self.settled.layout.id).is_some();
        problem.bottle = bottle.filter(|bottle| bottle.named && !named_here).map(|bottle| bottle.id.clone());
        problem
    }
}

/// Whether a piece says anything of its bottle that can be scored.
fn pieces_hold_something(piece: &Piece) -> bool {
    piece.spectrum.is_some() || !piece.companions.is_empty() || piece.printed.is_some()
}

/// The counts of one run; none where no size was counted.
pub(super) fn spectrum(form: Form, channels: Vec<Channel>) -> Result<Option<Spectrum>> {
    if channels.iter().all(|channel| !channel.reading.is_counted()) {
        return Ok(None);
    }
    match form {
        Form::Cumulative => Spectrum::cumulative(channels),
        Form::Differential => Spectrum::differential(channels),
    }
    .map(Some)
}

/// A count as a cell says it, with its own unit where it has one: `1752 /mL`.
pub(super) fn cell(text: &str, marks: Marks) -> Result<(Cell, Option<Basis>)> {
    let why = match number::read(text, marks) {
        Ok(cell) => return Ok((cell, None)),
        Err(why) => why,
    };
    let text = text.trim();
    if let Some((number, basis)) = split_unit(text)
        && let Ok(cell) = number::read(number, marks)
        && !matches!(cell, Cell::Missing)
    {
        return Ok((cell, Some(basis)));
    }
    let found = text.to_owned();
    let is_error = text.starts_with('#') && text.ends_with(['!', '?', 'A', 'a']);
    Err(match why {
        NotANumber::Unreadable if is_error => ErrorKind::CellIsError { found },
        NotANumber::Unreadable => ErrorKind::CountUnreadable { found },
        NotANumber::Ambiguous => ErrorKind::CountAmbiguous { found },
    }
    .into())
}

/// The unit that a cell carries.
pub(super) fn cell_basis(text: &str) -> Option<Basis> {
    split_unit(text.trim()).map(|(_, basis)| basis)
}

/// `1752 per 100 mL` to its number and its unit.
fn split_unit(text: &str) -> Option<(&str, Basis)> {
    let is_number =
        |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '\'' | '<' | '>' | '=' | ' ' | '\u{a0}');
    let at = text.find(|c: char| !is_number(c))?;
    let (number, unit) = text.split_at(at);
    let number = number.trim();
    let said = heading::counts(unit)
        .filter(|said| said.size.is_none() && !said.micrometres && said.scale.is_none())?;
    number.bytes().any(|byte| byte.is_ascii_digit()).then_some((number, said.basis?))
}

/// What a count refers to: its column, its row and its cell may each say it, and must not disagree.
pub(super) fn basis_of(column: Option<Basis>, row: Option<Basis>, cell: Option<Basis>) -> Result<Basis> {
    let said = [("the heading", column), ("the unit of the row", row), ("the cell", cell)];
    let mut found: Option<(&str, Basis)> = None;
    for (place, basis) in said.into_iter().filter_map(|(place, basis)| Some((place, basis?))) {
        match found {
            Some((first, other)) if other != basis => {
                let first = format!("{first} says that counts are {other}");
                return Err(
                    ErrorKind::BasisContradicted { first, second: format!("{place} says {basis}") }.into()
                );
            }
            _ => found = Some((place, basis)),
        }
    }
    found.map(|(_, basis)| basis).ok_or_else(|| {
        ErrorKind::BasisNotStated { readings: "neither the row nor its cells name a unit".into() }.into()
    })
}

/// The unit that a row names: `per 100 mL`, `100 mL`, `particles/mL`.
pub(super) fn unit_of_row(text: &str) -> Result<Basis> {
    let said = heading::parse(text).counts.basis;
    said.or_else(|| heading::volume_alone(text)).or_else(|| heading::stated_basis(text)).ok_or_else(|| {
        ErrorKind::CellUnreadable { what: "volume that counts refer to".into(), found: text.into() }.into()
    })
}

/// A printed code of three places: `18/16/13`, `ISO 4406 18 / 16 / 13`, `>=14/12/9`, `18-16-13`.
pub(super) fn printed_code(text: &str) -> Result<Code> {
    let unreadable = || Error::from(ErrorKind::PrintedCodeUnreadable { found: text.trim().into() });
    let plain = text.replace(['\u{2265}', '\u{2267}'], ">=").replace(' ', "");
    let plain = plain.trim_start_matches(|c: char| c.is_alphabetic()).trim_start_matches("4406:");
    let plain = if plain.contains('/') { plain.to_owned() } else { plain.replace(['-', '\\', '|'], "/") };
    let places = match plain.rsplit('/').collect::<Vec<_>>()[..] {
        [third, second, first] => {
            [first.strip_prefix("4406").filter(|rest| !rest.is_empty()).unwrap_or(first), second, third]
                .join("/")
        }
        _ => return Err(unreadable()),
    };
    places.parse::<Code>().map_err(|_| unreadable())
}

/// The code of range numbers that stand in a column each.
fn printed_numbers(record: &Record, columns: &[(usize, Size)]) -> Result<Code> {
    let mut places = [Place::NotRequired; 3];
    for (column, size) in columns {
        let text = record.cells.get(*column).unwrap_or_default().trim();
        let at = Code::sizes_um(SizeScale::UmC).iter().position(|um| *um == Some(size.um()));
        let (Some(at), false) = (at, text.is_empty()) else { continue };
        let unreadable = || Error::from(ErrorKind::PrintedCodeUnreadable { found: text.into() });
        let written = text.replace(['\u{2265}', '\u{2267}'], ">=");
        places[at] = written.parse::<Place>().map_err(|_| unreadable())?;
        if matches!(places[at], Place::Number { number, .. } if number == RangeNumber::ABOVE && !written.contains('>'))
        {
            return Err(unreadable());
        }
    }
    Code::new(places)
}

/// One line of names from the lines of a heading; where the line of names is empty, from the line above it.
pub(super) fn joined(heading: &[Vec<String>], names: usize) -> Vec<String> {
    let columns = heading.iter().map(Vec::len).max().unwrap_or(0);
    let is_named = |column: usize| {
        heading.get(names).and_then(|line| line.get(column)).is_some_and(|name| !name.trim().is_empty())
    };
    let name = |column: usize| {
        let from = if is_named(column) { names } else { 0 };
        let parts = heading[from..].iter().filter_map(|line| line.get(column)).map(|part| part.trim());
        parts.filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
    };
    (0..columns).map(name).collect()
}

/// The name of a bottle without one.
pub(super) fn unnamed(line: u64) -> String {
    format!("line {line}")
}

/// One size of a run: a cell on its basis, with the evidence where the volume is known.
pub(super) fn channel(
    cell: Cell,
    size: Size,
    basis: Basis,
    volume: Option<CountedVolume>,
    dilution: Dilution,
) -> Result<Channel> {
    let counted = Counted { volume, dilution, basis: None };
    let per_ml = |number: Number| scaled(number.value, basis, counted).and_then(PerMl::new);
    match cell {
        Cell::Missing => Ok(Channel::new(size, Reading::NotCounted)),
        Cell::TooMany => Ok(Channel::new(size, Reading::TooMany)),
        Cell::Below(number) => Ok(Channel::new(size, Reading::Below(per_ml(number)?))),
        Cell::Above(number) => Ok(Channel::new(size, Reading::Above(per_ml(number)?))),
        Cell::Number(number) if basis == Basis::Raw => {
            let raw = whole_count(number.value)?;
            let volume = counted.volume.ok_or(ErrorKind::RawWithoutVolume {})?;
            Ok(Channel::counted(size, Evidence::of_run(raw, volume, counted.dilution)))
        }
        Cell::Number(number) => {
            let reading = Reading::Count(per_ml(number)?);
            let evidence = counted.volume.and_then(|volume| implied(number, basis, volume, counted.dilution));
            Ok(Channel { size, reading, evidence })
        }
    }
}

/// A count on its basis to a concentration \[particles/mL\].
fn scaled(value: f64, basis: Basis, counted: Counted) -> Result<f64> {
    if let Some(ml) = basis.volume_ml() {
        return Ok(value / ml);
    }
    let volume = counted.volume.ok_or(ErrorKind::RawWithoutVolume {})?;
    Ok(value * counted.dilution.factor() / volume.ml())
}

/// The raw count that a printed concentration and its counted volume imply.
///
/// None where the concentration is printed so finely that no whole number of particles can have given it: then it was
/// worked out from something else, such as the mean of runs.
fn implied(number: Number, basis: Basis, volume: CountedVolume, dilution: Dilution) -> Option<Evidence> {
    let particles = volume.ml() / (basis.volume_ml()? * dilution.factor());
    let raw = number.value * particles;
    let slack = (number.half_step * particles).max(1e-9 * raw.abs()) + 1e-9;
    let whole = raw.round();
    if (raw - whole).abs() > slack {
        return None;
    }
    Some(Evidence::of_run(whole_count(whole).ok()?, volume, dilution))
}

/// A companion cell; none where it is empty. What is no number where one is due stays as it was written.
pub(super) fn measured(
    text: &str,
    property: &Property,
    unit: &CompanionUnit,
    marks: Marks,
) -> Option<Measured> {
    if text.is_empty() {
        return None;
    }
    if *property == Property::Appearance {
        return Some(Measured::Words(text.into()));
    }
    let words = || Some(Measured::Words(text.into()));
    let (number, unit) = match text.find(|c: char| c.is_alphabetic() || c == '%') {
        Some(at) if at > 0 && *unit == CompanionUnit::None => {
            let Ok(own) = text[at..].parse();
            (text[..at].trim(), own)
        }
        _ => (text, unit.clone()),
    };
    match number::read(number, marks) {
        Ok(Cell::Missing) => None,
        Ok(Cell::Number(number)) => Measured::number(number.value, unit).ok().or_else(words),
        Ok(Cell::Below(number)) => Some(Measured::LessThan { below: number.value, unit }),
        _ => words(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(value: f64, half_step: f64) -> Number {
        Number { value, half_step }
    }

    fn counted(ml: f64, factor: f64) -> Counted {
        Counted {
            volume: Some(CountedVolume::from_ml(ml).unwrap()),
            dilution: Dilution::new(factor).unwrap(),
            basis: None,
        }
    }

    fn read(value: f64, half_step: f64, basis: Basis, counted: Counted) -> Channel {
        channel(
            Cell::Number(number(value, half_step)),
            Size::um_c(4.0).unwrap(),
            basis,
            counted.volume,
            counted.dilution,
        )
        .unwrap()
    }

    #[test]
    fn raw_counts_are_scaled_by_volume_and_dilution() {
        let channel = read(400.0, 0.5, Basis::Raw, counted(1.0, 20.0));
        assert_eq!(channel.reading.count().unwrap().get(), 8000.0);
    }

    #[test]
    fn a_concentration_is_of_the_sample_as_drawn_and_not_diluted_again() {
        let channel = read(8000.0, 0.5, Basis::PerMl, counted(1.0, 20.0));
        assert_eq!(channel.reading.count().unwrap().get(), 8000.0);
        assert_eq!(channel.evidence.unwrap().raw, 400);
    }

    #[test]
    fn a_raw_count_is_implied_only_where_a_whole_number_fits() {
        assert_eq!(read(2.5, 0.05, Basis::PerMl, counted(2.0, 1.0)).evidence.unwrap().raw, 5);
        assert_eq!(read(2.333, 0.0005, Basis::PerMl, counted(2.0, 1.0)).evidence, None);
        assert_eq!(read(250.0, 0.5, Basis::Per100Ml, counted(2.0, 1.0)).evidence.unwrap().raw, 5);
    }
}
