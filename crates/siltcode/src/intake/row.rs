//! One row, or the rows of one run, to a run of a bottle; or the reason why not.

use std::sync::Arc;

use csv::StringRecord;

use crate::companion::{Companion, CompanionUnit, Measured, Property};
use crate::count::{Basis, CountedVolume, Dilution, Evidence, PerMl, Reading, whole_count};
use crate::error::{Error, ErrorKind, Position, Result};
use crate::size::{Size, SizeScale};
use crate::spectrum::{Channel, Spectrum};

use super::heading;
use super::layout::{CountColumns, Layout, RowBasis, RowScale};
use super::look::Found;
use super::number::{self, Cell, Marks, NotANumber, Number};
use super::options::{Form, Options};
use super::problem::{Problem, Table};

/// One run of a bottle, as a row gives it.
#[derive(Debug)]
pub(super) struct Piece {
    pub(super) id: String,
    pub(super) run: Option<String>,
    pub(super) blank: bool,
    pub(super) spectrum: Spectrum,
    pub(super) companions: Vec<Companion>,
    pub(super) notes: Vec<(String, String)>,
}

/// A row with the line it stands in.
pub(super) type Row = (u64, StringRecord);

/// Reads rows of one table.
pub(super) struct RowReader<'a> {
    pub(super) layout: Layout,
    pub(super) marks: Marks,
    pub(super) options: &'a Options,
    pub(super) table: Arc<Table>,
    /// The names of the columns, one line.
    pub(super) names: Vec<String>,
}

/// An error and the column it stands in.
type Placed<T> = std::result::Result<T, (Error, Option<usize>)>;

/// What a row says of how it was counted.
#[derive(Clone, Copy)]
struct Counted {
    volume: Option<CountedVolume>,
    dilution: Dilution,
}

impl<'a> RowReader<'a> {
    pub(super) fn new(found: Found, options: &'a Options, table: Arc<Table>) -> Self {
        let names = joined(&table.heading);
        Self { layout: found.layout, marks: found.marks, options, table, names }
    }

    /// A row must hold every count, and nothing beyond the heading.
    pub(super) fn ensure_length(&self, row: &StringRecord) -> Result<()> {
        let headings = self.layout.width;
        let beyond = row.iter().skip(headings).any(|cell| !cell.trim().is_empty());
        let last = self.layout.last_count();
        if beyond || row.len() <= last {
            return Err(ErrorKind::RowLength { cells: row.len(), headings }.into());
        }
        Ok(())
    }

    /// A row that is a heading of its own, of this table or another.
    pub(super) fn heading(&self, row: &StringRecord) -> Option<(Vec<String>, Layout)> {
        let heading: Vec<String> = row.iter().map(|name| name.trim().to_owned()).collect();
        let layout = Layout::of(&heading, self.options).ok().flatten()?;
        (Layout::is_worded(&heading) || self.names == heading).then_some((heading, layout))
    }

    /// The run of a row that holds all sizes.
    pub(super) fn wide(&self, id: &str, row: &Row) -> std::result::Result<Piece, Box<Problem>> {
        self.wide_channels(&row.1)
            .and_then(|channels| self.piece(id, &row.1, channels))
            .map_err(|(error, column)| Box::new(self.problem(&error, column, row)))
    }

    /// The run of rows that hold a size each. One bad row puts the whole run aside.
    pub(super) fn long(&self, id: &str, rows: &[Row]) -> std::result::Result<Piece, Box<Problem>> {
        let mut channels = Vec::with_capacity(rows.len());
        for (i, row) in rows.iter().enumerate() {
            match self.long_channel(&row.1) {
                Ok(channel) => channels.push(channel),
                Err((error, column)) => return Err(Box::new(self.problem_of_run(&error, column, rows, i))),
            }
        }
        self.piece(id, &rows[0].1, channels)
            .map_err(|(error, column)| Box::new(self.problem_of_run(&error, column, rows, 0)))
    }

    fn piece(&self, id: &str, row: &StringRecord, channels: Vec<Channel>) -> Placed<Piece> {
        if channels.iter().all(|channel| !channel.reading.is_counted()) {
            return Err((ErrorKind::NothingCounted {}.into(), None));
        }
        let spectrum = match self.layout.form() {
            Form::Cumulative => Spectrum::cumulative(channels),
            Form::Differential => Spectrum::differential(channels),
        };
        Ok(Piece {
            id: id.into(),
            run: text(row, self.layout.run),
            blank: self.is_blank(row),
            spectrum: spectrum.map_err(|error| (error, None))?,
            companions: self.companions(row)?,
            notes: self.notes(row),
        })
    }

    fn wide_channels(&self, row: &StringRecord) -> Placed<Vec<Channel>> {
        let CountColumns::Wide { columns, .. } = &self.layout.counts else { return Ok(Vec::new()) };
        let counted = self.counted(row)?;
        let channel = |column: usize, size, basis| {
            channel(self.cell(row, column)?, size, basis, counted).map_err(|error| (error, Some(column)))
        };
        columns.iter().map(|count| channel(count.column, count.size, count.basis)).collect()
    }

    fn long_channel(&self, row: &StringRecord) -> Placed<Channel> {
        let CountColumns::Long { size, count, basis, scale, .. } = &self.layout.counts else {
            return Err((ErrorKind::NothingCounted {}.into(), None));
        };
        let size_of_row = self.size(row, *size, *scale).map_err(|error| (error, Some(*size)))?;
        let basis = basis_of(row, *basis).map_err(|error| (error, basis.column))?;
        let cell = self.cell(row, *count)?;
        channel(cell, size_of_row, basis, self.counted(row)?).map_err(|error| (error, Some(*count)))
    }

    /// `4`, `4 um(c)`, `>= 4`.
    fn size(&self, row: &StringRecord, column: usize, scale: RowScale) -> Result<Size> {
        let cell = row.get(column).unwrap_or_default();
        let said = heading::counts(cell);
        let unreadable = || Error::from(ErrorKind::SizeUnreadable { text: cell.trim().into() });
        let (um, _) = said.and_then(|said| said.size).ok_or_else(unreadable)?;
        let of_row = text(row, scale.column).map(|scale| scale.parse::<SizeScale>()).transpose()?;
        let scale =
            self.options.scale.or(said.and_then(|said| said.scale)).or(of_row).unwrap_or(scale.otherwise);
        Size::new(um, scale)
    }

    fn counted(&self, row: &StringRecord) -> Placed<Counted> {
        let volume = match self.layout.volume {
            Some((column, ml)) => self.positive(row, column, "volume")?.map(|value| (column, value * ml)),
            None => None,
        };
        let volume = match volume {
            Some((column, ml)) => Some(CountedVolume::from_ml(ml).map_err(|error| (error, Some(column)))?),
            None => self.options.volume,
        };
        let dilution = match self.layout.dilution {
            Some(column) => self.dilution(row, column)?,
            None => None,
        };
        Ok(Counted { volume, dilution: dilution.or(self.options.dilution).unwrap_or_default() })
    }

    /// `20`, `1:20`.
    fn dilution(&self, row: &StringRecord, column: usize) -> Placed<Option<Dilution>> {
        let text = row.get(column).unwrap_or_default().trim();
        let factor = match text.strip_prefix("1:").map(|factor| factor.trim().parse::<f64>()) {
            Some(Ok(factor)) => Some(factor),
            _ => self.positive(row, column, "dilution factor")?,
        };
        factor.map(|factor| Dilution::new(factor).map_err(|error| (error, Some(column)))).transpose()
    }

    /// A number of a column that holds no counts; none where the cell is empty.
    fn positive(&self, row: &StringRecord, column: usize, what: &str) -> Placed<Option<f64>> {
        let text = row.get(column).unwrap_or_default();
        match number::read(text, self.marks) {
            Ok(Cell::Missing) => Ok(None),
            Ok(Cell::Number(number)) => Ok(Some(number.value)),
            _ => {
                let error = ErrorKind::CellUnreadable { what: what.into(), found: text.trim().into() };
                Err((error.into(), Some(column)))
            }
        }
    }

    fn cell(&self, row: &StringRecord, column: usize) -> Placed<Cell> {
        let text = row.get(column).unwrap_or_default();
        number::read(text, self.marks).map_err(|why| {
            let found = text.trim().to_owned();
            let kind = match why {
                NotANumber::Unreadable => ErrorKind::CountUnreadable { found },
                NotANumber::Ambiguous => ErrorKind::CountAmbiguous { found },
            };
            (kind.into(), Some(column))
        })
    }

    fn companions(&self, row: &StringRecord) -> Placed<Vec<Companion>> {
        let mut companions = Vec::new();
        for (column, property, unit) in &self.layout.companions {
            let text = row.get(*column).unwrap_or_default().trim();
            let measured =
                measured(text, property, unit, self.marks).map_err(|error| (error, Some(*column)))?;
            companions.extend(measured.map(|measured| Companion { property: property.clone(), measured }));
        }
        Ok(companions)
    }

    fn notes(&self, row: &StringRecord) -> Vec<(String, String)> {
        let note = |column: &usize| Some((self.names[*column].clone(), text(row, Some(*column))?));
        self.layout.notes.iter().filter_map(note).collect()
    }

    fn is_blank(&self, row: &StringRecord) -> bool {
        let kind = text(row, self.layout.kind).unwrap_or_default().to_lowercase();
        matches!(kind.as_str(), "blank" | "field blank" | "bottle blank" | "diluent" | "solvent")
    }

    /// A row that cannot be used, with its place and its cells.
    pub(super) fn problem(&self, error: &Error, column: Option<usize>, row: &Row) -> Problem {
        let (line, record) = row;
        let position = Position {
            file: Some(self.table.file.clone()),
            sheet: self.table.sheet.clone(),
            line: Some(*line),
            column: column.and_then(|column| self.names.get(column)).map(|name| name.trim().to_owned()),
        };
        let cells = |columns: &[usize]| {
            let cells = columns.iter().map(|&column| record.get(column).unwrap_or_default().trim());
            cells.collect::<Vec<_>>().join(" | ")
        };
        let found = column.map_or_else(|| cells(&self.layout.count_columns()), |column| cells(&[column]));
        let row = record.iter().map(str::to_owned).collect();
        Problem::new(&error.clone().at(position), found, row, Arc::clone(&self.table))
    }

    fn problem_of_run(&self, error: &Error, column: Option<usize>, rows: &[Row], at: usize) -> Problem {
        let cells = |record: &StringRecord| record.iter().map(str::to_owned).collect();
        let mut problem = self.problem(error, column, &rows[at]);
        let others = rows.iter().enumerate().filter(|(i, _)| *i != at);
        problem.others = others.map(|(_, (line, record))| (*line, cells(record))).collect();
        problem
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

/// A cell's text; none where it is empty or there is no such column.
pub(super) fn text(row: &StringRecord, column: Option<usize>) -> Option<String> {
    let text = row.get(column?)?.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// The name of a bottle without one.
pub(super) fn unnamed(line: u64) -> String {
    format!("line {line}")
}

/// What a row's count refers to.
fn basis_of(row: &StringRecord, basis: RowBasis) -> Result<Basis> {
    let Some(cell) = text(row, basis.column) else {
        return Ok(basis.otherwise);
    };
    // A cell says `per 100 mL` or just `100 mL`; a heading must say `per`.
    let said = heading::counts(&cell).or_else(|| heading::counts(&format!("per {cell}")));
    said.and_then(|said| said.basis).ok_or_else(|| {
        ErrorKind::CellUnreadable { what: "volume that counts refer to".into(), found: cell }.into()
    })
}

/// One size of a run: a cell on its basis, with the evidence where the volume is known.
fn channel(cell: Cell, size: Size, basis: Basis, counted: Counted) -> Result<Channel> {
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

/// A companion cell; none where it is empty.
fn measured(text: &str, property: &Property, unit: &CompanionUnit, marks: Marks) -> Result<Option<Measured>> {
    if *property == Property::Appearance {
        return Ok((!text.is_empty()).then(|| Measured::Words(text.into())));
    }
    let unreadable =
        || ErrorKind::CellUnreadable { what: format!("measurement of {property}"), found: text.into() };
    match number::read(text, marks) {
        Ok(Cell::Missing) => Ok(None),
        Ok(Cell::Number(number)) => Measured::number(number.value, unit.clone()).map(Some),
        Ok(Cell::Below(number)) => Ok(Some(Measured::LessThan { below: number.value, unit: unit.clone() })),
        _ => Err(unreadable().into()),
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
        }
    }

    fn read(value: f64, half_step: f64, basis: Basis, counted: Counted) -> Channel {
        channel(Cell::Number(number(value, half_step)), Size::um_c(4.0).unwrap(), basis, counted).unwrap()
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
