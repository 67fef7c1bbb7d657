//! Bottle counts as laboratories write them: delimited text and workbooks become samples and problems.
//!
//! A row never stops a file and never vanishes: good rows become [`Sample`]s, bad rows come back whole as
//! [`Problem`]s, and everything guessed or assumed is said in a [`Notice`]. Nothing is opened here: the caller hands
//! over a name and a reader.
//!
//! ```
//! use siltcode::intake::{self, Options};
//!
//! let text = "bottle;run;>=4 um(c) /mL;>=6 um(c) /mL;>=14 um(c) /mL\n\
//!             A;1;1752,5;517;55\n\
//!             A;2;1750,0;520;54\n\
//!             B;1;100;200;3\n";
//! let batch = intake::read("day.csv", text.as_bytes(), &Options::default())?;
//! assert_eq!(batch.samples[0].runs.len(), 2);
//! assert_eq!(batch.problems[0].code, "count-rises-with-size");
//! assert_eq!(batch.problems[0].position.line, Some(4));
//! # Ok::<(), siltcode::Error>(())
//! ```
//!
//! Text with one plain row a bottle can also be read straight into [`columns`], many times as fast.

mod aside;
pub mod columns;
mod decode;
mod group;
mod heading;
mod layout;
mod look;
mod number;
mod options;
mod problem;
mod rejects;
mod repeated;
mod row;
mod said;
mod table;
mod text;
#[cfg(feature = "workbook")]
mod workbook;

use std::io::Read;

use serde::Serialize;

pub use options::{Decimal, Form, Options};
pub use problem::{Notice, Problem, Severity, Table};
pub use rejects::RejectWriter;
pub use repeated::RepeatedIds;

use decode::{Digested, Kind, Utf8};
use table::TableReader;
use text::TextRows;

use crate::error::{Error, ErrorKind, Position, Result};
use crate::provenance::InputDigest;
use crate::sample::Sample;

/// Takes what is read, in the order it is found.
///
/// Samples come in the order their first row stands in.
pub trait Sink {
    /// A finished bottle.
    fn sample(&mut self, sample: Sample);

    /// A blank: the same clean fluid and glassware without sample.
    fn blank(&mut self, blank: Sample);

    /// A row that could not be used.
    fn problem(&mut self, problem: Problem);

    /// Something guessed, assumed or passed over.
    fn notice(&mut self, notice: Notice);
}

/// What one input held.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// The input.
    pub input: InputDigest,
    /// Rows below a heading that were not empty.
    pub rows: u64,
    /// Bottles handed on.
    pub samples: u64,
    /// Blanks handed on.
    pub blanks: u64,
    /// Problems handed on.
    pub problems: u64,
}

/// What has been counted so far.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    rows: u64,
    samples: u64,
    blanks: u64,
    problems: u64,
}

/// How much of an input is looked at before the first row is read \[bytes\].
const HEAD: usize = 1 << 16;

/// Reads one input, handing on each bottle as soon as it is complete. Memory does not grow with the input, except for
/// workbooks.
///
/// What the input is, is found by looking: text (UTF-8, UTF-16 or Latin-1; commas, semicolons, tabs or bars) or an XLSX
/// workbook; where its heading stands; whether a row holds all sizes or one. What is not found is taken by a default
/// that a warning names: counts per mL, sizes in um(c), cumulative.
///
/// # Errors
/// `input-empty`, `input-binary`, `input-unreadable`, `workbook-unreadable`, `sheet-unknown`, `heading-not-found`, and
/// `size-repeated` or `bands-not-adjoining` for a heading that cannot be. Each names the input. Bad rows are no errors:
/// they go to the sink as [`Problem`]s.
pub fn stream<S: Sink>(name: &str, reader: impl Read, options: &Options, sink: &mut S) -> Result<Summary> {
    let mut input = Digested::new(reader);
    let mut tally = Tally::default();
    any(name, &mut input, options, sink, &mut tally).map_err(|error| named(error, name))?;
    let Tally { rows, samples, blanks, problems } = tally;
    Ok(Summary { input: input.finish(name), rows, samples, blanks, problems })
}

/// Reads one input whole. See [`stream`].
///
/// # Errors
/// Those of [`stream`].
pub fn read(name: &str, reader: impl Read, options: &Options) -> Result<Batch> {
    let mut batch = Batch::default();
    let summary = stream(name, reader, options, &mut batch)?;
    let repeated: Vec<Notice> = {
        let mut ids = RepeatedIds::default();
        batch.samples.iter().filter_map(|sample| ids.check(sample, name)).collect()
    };
    batch.notices.extend(repeated);
    batch.inputs.push(summary.input);
    Ok(batch)
}

fn named(error: Error, name: &str) -> Error {
    if error.position().is_some() {
        return error;
    }
    error.at(Position { file: Some(name.into()), ..Position::default() })
}

fn any<S: Sink>(
    name: &str,
    input: &mut impl Read,
    options: &Options,
    sink: &mut S,
    tally: &mut Tally,
) -> Result<()> {
    let head = head_of(input)?;
    match Kind::of(&head) {
        _ if head.is_empty() => Err(ErrorKind::InputEmpty {}.into()),
        Kind::Binary => Err(ErrorKind::InputBinary {}.into()),
        Kind::Workbook => book(name, head, input, options, sink, tally),
        Kind::Bytes { mark } => text_of(name, &head[mark..], input, options, sink, tally),
        Kind::Utf16(encoding) => {
            let mut decoded = Utf8::new(head.chain(input), encoding);
            let head = head_of(&mut decoded)?;
            text_of(name, &head, &mut decoded, options, sink, tally)
        }
    }
}

/// The first bytes of an input.
fn head_of(input: &mut impl Read) -> Result<Vec<u8>> {
    let mut head = vec![0; HEAD];
    let mut filled = 0;
    while filled < HEAD {
        match input.read(&mut head[filled..]) {
            Ok(0) => break,
            Ok(read) => filled += read,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(unreadable(&error)),
        }
    }
    head.truncate(filled);
    Ok(head)
}

fn unreadable(error: &std::io::Error) -> Error {
    ErrorKind::InputUnreadable { message: error.to_string() }.into()
}

fn text_of<S: Sink>(
    name: &str,
    head: &[u8],
    rest: &mut impl Read,
    options: &Options,
    sink: &mut S,
    tally: &mut Tally,
) -> Result<()> {
    let found = look::at_text(head, options)?;
    let mut rows = TextRows::new(head.chain(rest), found.delimiter);
    let heading_ends = found.last_line;
    TableReader::new(name, None, found, options, sink, tally).read(&mut rows, heading_ends)
}

#[cfg(feature = "workbook")]
fn book<S: Sink>(
    name: &str,
    mut bytes: Vec<u8>,
    rest: &mut impl Read,
    options: &Options,
    sink: &mut S,
    tally: &mut Tally,
) -> Result<()> {
    rest.read_to_end(&mut bytes).map_err(|error| unreadable(&error))?;
    workbook::read(name, bytes, options, sink, tally)
}

#[cfg(not(feature = "workbook"))]
fn book<S: Sink>(
    _: &str,
    _: Vec<u8>,
    _: &mut impl Read,
    _: &Options,
    _: &mut S,
    _: &mut Tally,
) -> Result<()> {
    let message = "this build reads no workbooks (feature `workbook`)".into();
    Err(ErrorKind::WorkbookUnreadable { message }.into())
}

/// Everything read from one or more inputs.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Batch {
    /// The bottles.
    pub samples: Vec<Sample>,
    /// The blanks.
    pub blanks: Vec<Sample>,
    /// The rows that could not be used.
    pub problems: Vec<Problem>,
    /// What was guessed, assumed or passed over.
    pub notices: Vec<Notice>,
    /// The inputs.
    pub inputs: Vec<InputDigest>,
}

impl Batch {
    /// Adds everything of another batch behind this one.
    pub fn append(&mut self, mut other: Self) {
        self.samples.append(&mut other.samples);
        self.blanks.append(&mut other.blanks);
        self.problems.append(&mut other.problems);
        self.notices.append(&mut other.notices);
        self.inputs.append(&mut other.inputs);
    }
}

impl Sink for Batch {
    fn sample(&mut self, sample: Sample) {
        self.samples.push(sample);
    }

    fn blank(&mut self, blank: Sample) {
        self.blanks.push(blank);
    }

    fn problem(&mut self, problem: Problem) {
        self.problems.push(problem);
    }

    fn notice(&mut self, notice: Notice) {
        self.notices.push(notice);
    }
}
