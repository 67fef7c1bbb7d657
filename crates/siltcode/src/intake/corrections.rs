//! Corrected rows in the place of those they correct.
//!
//! A file of rejected rows names the input, the line and a check value of every row. Given together with that input,
//! each of its rows replaces the record it comes from, wherever that stands: bottles, runs and codes come out as if the
//! input itself had been corrected.

use std::collections::BTreeMap;
use std::io::Read;

use super::decode::{Kind, Utf8};
use super::lines::{Record, Records, TextRecords};
use super::problem::{Problem, RejectedRow, Table};
use super::rejects::{self, LONGEST_REJECTS};
use super::{head_of, unreadable};
use crate::error::{Error, ErrorKind, Position, Result};
use crate::provenance::sha256;

/// Corrected rows of files of rejected rows, for inputs that are read together with them.
///
/// ```
/// use std::sync::Arc;
/// use siltcode::intake::{self, Corrections, Options, RejectWriter};
///
/// let day = "bottle,run,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1,1752,517,55\nA,2,17x2,520,54\n";
/// let batch = intake::read("day.csv", day.as_bytes(), &Options::default())?;
/// let mut rejects = RejectWriter::new(Vec::new());
/// batch.problems.iter().try_for_each(|problem| rejects.write(problem)).unwrap();
/// let corrected = String::from_utf8(rejects.finish().unwrap()).unwrap().replace("A,2,17x2", "A,2,1742");
///
/// let mut corrections = Corrections::default();
/// corrections.add("to-correct.csv", corrected.as_bytes())?;
/// corrections.keep_for(["day.csv"]);
/// let options = Options { corrections: Some(Arc::new(corrections)), ..Options::default() };
/// let batch = intake::read("day.csv", day.as_bytes(), &options)?;
/// assert_eq!(batch.samples[0].runs.len(), 2);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Corrections {
    parts: Vec<Part>,
    /// The files of rejected rows.
    files: Vec<String>,
}

/// The rows of one part of a file of rejected rows.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Part {
    /// The file of rejected rows, and which of its parts it is.
    stands_in: (String, usize),
    /// The input that its rows come from.
    file: String,
    sheet: Option<String>,
    rows: Vec<Correction>,
}

/// A corrected row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Correction {
    /// The line it stands in, in the input.
    line: u64,
    /// The check value of the row as it stood there.
    check: String,
    raw: Vec<u8>,
    /// The file of rejected rows, and the line there.
    stands_in: (String, u64),
}

impl Corrections {
    /// Takes the rows of a file of rejected rows; says whether the file is one. Of any other only the beginning is read.
    ///
    /// # Errors
    /// `input-unreadable`.
    pub fn add(&mut self, name: &str, reader: impl Read) -> Result<bool> {
        let Some(text) = text_of_rejects(reader)? else { return Ok(false) };
        self.files.push(name.to_owned());
        for (at, section) in rejects::sections(name, &text, &super::Options::default()).iter().enumerate() {
            let rows = section.corrections(name);
            if let (Some(file), false) = (&section.file, rows.is_empty()) {
                let stands_in = (name.to_owned(), at);
                self.parts.push(Part { stands_in, file: file.clone(), sheet: section.sheet.clone(), rows });
            }
        }
        Ok(true)
    }

    /// Keeps what corrects one of these inputs: the one of that name, else the only one whose name ends in the same file
    /// name. Rows of other inputs are read as bottles of their own.
    pub fn keep_for<'n>(&mut self, inputs: impl IntoIterator<Item = &'n str>) {
        let inputs: Vec<&str> =
            inputs.into_iter().filter(|name| !self.files.iter().any(|file| file == name)).collect();
        self.parts.retain_mut(|part| match input_of(&part.file, &inputs) {
            Some(input) => {
                input.clone_into(&mut part.file);
                true
            }
            None => false,
        });
    }

    /// Whether this part of a file of rejected rows corrects another input.
    pub(super) fn uses(&self, rejects: &str, section: usize) -> bool {
        self.parts.iter().any(|part| part.stands_in.0 == rejects && part.stands_in.1 == section)
    }

    /// The rows of an input, by their lines.
    fn of(&self, file: &str, sheet: Option<&str>) -> BTreeMap<u64, Vec<Correction>> {
        let parts = self.parts.iter().filter(|part| part.file == file && part.sheet.as_deref() == sheet);
        let mut by_line: BTreeMap<u64, Vec<Correction>> = BTreeMap::new();
        for row in parts.flat_map(|part| &part.rows) {
            by_line.entry(row.line).or_default().push(row.clone());
        }
        by_line
    }
}

/// The input of this name, else the only one whose last part is the same.
fn input_of<'n>(file: &str, inputs: &[&'n str]) -> Option<&'n str> {
    let last = |name: &str| name.rsplit(['/', '\\']).next().unwrap_or_default().to_owned();
    let exact = inputs.iter().find(|input| **input == file);
    let mut similar = inputs.iter().filter(|input| last(input) == last(file));
    exact.or_else(|| similar.next().filter(|_| similar.next().is_none())).copied()
}

/// The text of a file of rejected rows; none for any other file.
fn text_of_rejects(mut reader: impl Read) -> Result<Option<Vec<u8>>> {
    let head = head_of(&mut reader)?;
    let mut text = Vec::new();
    let read = match Kind::of(&head) {
        Kind::Bytes { mark } if rejects::is_rejects(&head[mark..]) => {
            text.extend_from_slice(&head[mark..]);
            reader.take(LONGEST_REJECTS).read_to_end(&mut text)
        }
        Kind::Utf16(encoding) => {
            let mut decoded = Utf8::new(head.chain(reader), encoding);
            text = head_of(&mut decoded)?;
            if !rejects::is_rejects(&text) {
                return Ok(None);
            }
            decoded.take(LONGEST_REJECTS).read_to_end(&mut text)
        }
        _ => return Ok(None),
    };
    read.map_err(|error| unreadable(&error))?;
    Ok(Some(text))
}

/// The check value of a row as it stands in its input.
pub(super) fn check_of(row: &RejectedRow) -> String {
    let mut digest = if row.bytes.is_empty() {
        let cells = row.cells.iter().flat_map(|cell| [cell.as_str(), "\u{1f}"]);
        sha256(cells.collect::<String>())
    } else {
        sha256(&row.bytes)
    };
    digest.truncate(8);
    digest
}

/// `15:9f3a01c2,17:04cc8e10`: lines and check values.
pub(super) fn places_of<'r>(rows: impl Iterator<Item = &'r RejectedRow>) -> String {
    rows.map(|row| format!("{}:{}", row.line, check_of(row))).collect::<Vec<_>>().join(",")
}

/// The rows of a text below a line that names their places; none if a row was added or deleted.
pub(super) fn placed(
    places: &str,
    text: &[u8],
    delimiter: u8,
    stands_in: &(String, u64),
) -> Option<Vec<Correction>> {
    let places: Vec<(u64, &str)> = places
        .split(',')
        .map(|place| place.split_once(':').and_then(|(line, check)| Some((line.parse().ok()?, check))))
        .collect::<Option<_>>()?;
    let mut records = TextRecords::new(text, delimiter, b'\n').behind(stands_in.1);
    let mut rows = Vec::with_capacity(places.len());
    while let Ok(Some(record)) = records.next(Record::default()) {
        let (line, check) = *places.get(rows.len())?;
        let stands_in = (stands_in.0.clone(), record.line);
        rows.push(Correction { line, check: check.to_owned(), raw: record.raw, stands_in });
    }
    (rows.len() == places.len()).then_some(rows)
}

/// What came of the corrections of one input.
pub(super) struct Done {
    /// How many rows were put in their places, headings included.
    pub(super) placed: u64,
    /// How many of them differ from what stood there.
    pub(super) changed: u64,
    /// A problem for each row that has no place any more.
    pub(super) unplaced: Vec<Problem>,
}

/// Records with corrected ones in the place of those they correct.
pub(super) struct Corrected<'r, R> {
    records: &'r mut R,
    left: BTreeMap<u64, Vec<Correction>>,
    placed: u64,
    changed: u64,
}

impl<'r, R: Records> Corrected<'r, R> {
    pub(super) fn new(
        records: &'r mut R,
        corrections: Option<&Corrections>,
        file: &str,
        sheet: Option<&str>,
    ) -> Self {
        let left = corrections.map(|corrections| corrections.of(file, sheet)).unwrap_or_default();
        Self { records, left, placed: 0, changed: 0 }
    }

    pub(super) fn finish(self) -> Done {
        let unplaced = self.left.into_values().flatten().map(Correction::unplaced).collect();
        Done { placed: self.placed, changed: self.changed, unplaced }
    }

    /// The record, with its corrections where it still is what they correct.
    fn correct(&mut self, record: Record) -> Record {
        let Some(corrections) = self.left.get(&record.line) else { return record };
        let check = check_of(&RejectedRow::of(&record));
        if corrections.iter().any(|correction| correction.check != check) {
            return record;
        }
        let Some(corrections) = self.left.remove(&record.line) else { return record };
        self.placed += corrections.len() as u64;
        let mut corrected: Option<Record> = None;
        for correction in corrections {
            if correction.raw == record.raw {
                continue;
            }
            self.changed += 1;
            let new = self.records.reread(correction.raw, &record);
            corrected = Some(match corrected {
                None => new,
                Some(before) => overlaid(&record, &before, new),
            });
        }
        corrected.unwrap_or(record)
    }
}

/// Two corrections of one record: of each cell, the one that was changed.
fn overlaid(original: &Record, before: &Record, new: Record) -> Record {
    let same_shape = before.cells.len() == new.cells.len() && original.cells.len() == new.cells.len();
    if !same_shape {
        return new;
    }
    let cells = original.cells.iter().zip(before.cells.iter().zip(new.cells.iter()));
    let cells = cells.map(|(original, (before, new))| if new == original { before } else { new });
    Record { cells: cells.collect(), ..new }
}

impl<R: Records> Records for Corrected<'_, R> {
    fn next(&mut self, spare: Record) -> Result<Option<Record>> {
        let record = self.records.next(spare)?;
        Ok(if self.left.is_empty() { record } else { record.map(|record| self.correct(record)) })
    }

    fn reread(&mut self, raw: Vec<u8>, original: &Record) -> Record {
        self.records.reread(raw, original)
    }

    fn was_latin1(&self) -> bool {
        self.records.was_latin1()
    }
}

impl Correction {
    /// The input no longer holds the row that this one corrects.
    fn unplaced(self) -> Problem {
        let (file, line) = self.stands_in;
        let position = Position { file: Some(file.clone()), line: Some(line), ..Position::default() };
        let error = Error::from(ErrorKind::CorrectionUnplaced { line: self.line }).at(position);
        let text = String::from_utf8_lossy(&self.raw).into_owned();
        let row = RejectedRow { line, cells: vec![text.clone()], bytes: self.raw };
        Problem::new(&error, text, vec![row], Table { file, ..Table::default() }.into())
    }
}
