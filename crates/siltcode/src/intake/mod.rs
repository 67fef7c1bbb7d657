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

mod account;
mod across;
pub mod columns;
mod corrections;
mod decode;
mod group;
mod heading;
mod layout;
mod limits;
mod lines;
mod notices;
mod number;
mod options;
mod problem;
mod rejects;
mod repeated;
mod row;
mod settle;
mod sniff;
mod statement;
mod statistic;
mod summary;
mod table;
mod words;
#[cfg(feature = "workbook")]
mod workbook;

use std::io::Read;

use serde::Serialize;

pub use account::{Account, PassedOver};
pub use corrections::Corrections;
pub use limits::Limits;
pub use lines::{ALIGNED as BLANKS, COLON};
pub use options::{Decimal, Form, Options};
pub use problem::{Notice, Problem, RejectedRow, Severity, Table};
pub use rejects::RejectWriter;
pub use repeated::RepeatedIds;

use corrections::Corrected;
use decode::{Digested, Kind, Utf8};
use lines::{Records, TextRecords};
use table::{Origin, TableReader};

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

    /// What became of the records of the input: called once, at its end, also where it was refused.
    fn account(&mut self, account: &Account) {
        let _ = account;
    }
}

/// What one input held.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// The input.
    pub input: InputDigest,
    /// What became of its records.
    pub account: Account,
}

/// How much of an input is looked at before the first row is read \[bytes\].
const HEAD: usize = 1 << 16;

/// Reads one input, handing on each bottle as soon as it is complete. Memory does not grow with the input, except for
/// workbooks.
///
/// What the input is, is found by looking: text (UTF-8, UTF-16 or Latin-1; commas, semicolons, tabs, bars or columns
/// parted by blanks) or an XLSX workbook; where its tables stand; whether a row holds all sizes or one, and whether
/// bottles stand below or beside each other. What counts refer to, the scale of the sizes and the decimal mark are taken
/// from headings, from the lines above and below a table, from units in cells, and from printed codes. Where nothing
/// decides between two readings that give different codes, or two places disagree, the table is refused, and the error
/// names both readings and the option that settles it.
///
/// # Errors
/// `input-empty`, `input-binary`, `input-unreadable`, `workbook-unreadable`, `sheet-unknown`, `heading-not-found`,
/// `heading-word-unknown`, `size-repeated`, `bands-not-adjoining`; and where no bottle could be read at all, why the
/// first table was refused: `basis-not-stated`, `basis-contradicted`, `scale-not-stated`, `scale-contradicted`,
/// `form-contradicted`, `volume-contradicted`, `dilution-unclear`, `decimal-undecided`. Each names the input. Bad rows
/// are no errors: they go to the sink as [`Problem`]s. The account is complete in either case.
pub fn stream<S: Sink>(name: &str, reader: impl Read, options: &Options, sink: &mut S) -> Result<Summary> {
    let mut input = Digested::new(reader);
    let mut account = Account::default();
    let read = any(name, &mut input, options, sink, &mut account);
    if read.is_err() {
        account.reject_rest();
    }
    sink.account(&account);
    read.map_err(|error| named(error, name))?;
    Ok(Summary { input: input.finish(name), account })
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
    account: &mut Account,
) -> Result<()> {
    let head = head_of(input)?;
    match Kind::of(&head) {
        _ if head.is_empty() => Err(ErrorKind::InputEmpty {}.into()),
        Kind::Binary => Err(ErrorKind::InputBinary {}.into()),
        Kind::Workbook => book(name, head, input, options, sink, account),
        Kind::Bytes { mark } => text(name, &head[mark..], input, options, sink, account),
        Kind::Utf16(encoding) => {
            let mut decoded = Utf8::new(head.chain(input), encoding);
            let head = head_of(&mut decoded)?;
            text(name, &head, &mut decoded, options, sink, account)
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

fn text<S: Sink>(
    name: &str,
    head: &[u8],
    rest: &mut impl Read,
    options: &Options,
    sink: &mut S,
    account: &mut Account,
) -> Result<()> {
    if rejects::is_rejects(head) {
        return rejected(name, head, rest, options, sink, account);
    }
    let origin = Origin { file: name.into(), ..Origin::default() };
    text_of(origin, head, rest, 0, options, sink, account).map(|_| ())
}

/// A file of rejected rows: each part is read as the input was that it comes from.
fn rejected<S: Sink>(
    name: &str,
    head: &[u8],
    rest: &mut impl Read,
    options: &Options,
    sink: &mut S,
    account: &mut Account,
) -> Result<()> {
    let mut text = head.to_vec();
    rest.take(rejects::LONGEST_REJECTS).read_to_end(&mut text).map_err(|error| unreadable(&error))?;
    let mut refused = None;
    let corrections = options.corrections.as_deref();
    for (at, section) in rejects::sections(name, &text, options).into_iter().enumerate() {
        if corrections.is_some_and(|corrections| corrections.uses(name, at)) {
            let comments = section.comments();
            account.rows += comments;
            account.pass_over(PassedOver::Comment, comments);
            continue; // its rows are counted with the input that they correct
        }
        let rows = section.text;
        let read = text_of(
            section.origin,
            rows,
            &mut std::io::empty(),
            section.lines_above,
            &section.options,
            sink,
            account,
        );
        match read {
            Ok(_) => {}
            Err(error) => refused = refused.or(Some(error)),
        }
    }
    match refused {
        Some(error) if account.scored == 0 => Err(error),
        _ => {
            account.reject_rest();
            Ok(())
        }
    }
}

fn text_of<S: Sink>(
    origin: Origin,
    head: &[u8],
    rest: &mut impl Read,
    lines_above: u64,
    options: &Options,
    sink: &mut S,
    account: &mut Account,
) -> Result<usize> {
    let end_of_line = lines::end_of_line(head);
    let delimiter = sniff::delimiter(head, head.len() < HEAD, end_of_line, options);
    let mut records = TextRecords::new(head.chain(rest), delimiter, end_of_line)
        .behind(lines_above)
        .in_encoding(decode::single_byte_encoding(head));
    let origin = Origin { delimiter: Some(sniff::delimiter_name(delimiter)), ..origin };
    read_tables(origin, &mut records, options, sink, account)
}

/// The tables of one text or sheet, with the corrected rows that there are for it.
fn read_tables<S: Sink>(
    origin: Origin,
    records: &mut impl Records,
    options: &Options,
    sink: &mut S,
    account: &mut Account,
) -> Result<usize> {
    let table = Table { file: origin.file.clone(), sheet: origin.sheet.clone(), ..Table::default() };
    let corrections = options.corrections.as_deref();
    let mut corrected = Corrected::new(records, corrections, &origin.file, origin.sheet.as_deref());
    let read = TableReader::new(origin, &mut corrected, options, sink, account).read();
    let done = corrected.finish();
    account.rows += done.placed;
    account.pass_over(PassedOver::Correction, done.placed);
    if done.changed > 0 {
        sink.notice(notices::rows_corrected(&table, done.changed));
    }
    for problem in done.unplaced {
        account.rows += 1;
        account.rejected += 1;
        sink.problem(problem);
    }
    read
}

#[cfg(feature = "workbook")]
fn book<S: Sink>(
    name: &str,
    mut bytes: Vec<u8>,
    rest: &mut impl Read,
    options: &Options,
    sink: &mut S,
    account: &mut Account,
) -> Result<()> {
    rest.read_to_end(&mut bytes).map_err(|error| unreadable(&error))?;
    workbook::read(name, bytes, options, sink, account)
}

#[cfg(not(feature = "workbook"))]
fn book<S: Sink>(
    _: &str,
    _: Vec<u8>,
    _: &mut impl Read,
    _: &Options,
    _: &mut S,
    _: &mut Account,
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
    /// What became of every record.
    pub account: Account,
}

impl Batch {
    /// Adds everything of another batch behind this one.
    pub fn append(&mut self, mut other: Self) {
        self.samples.append(&mut other.samples);
        self.blanks.append(&mut other.blanks);
        self.problems.append(&mut other.problems);
        self.notices.append(&mut other.notices);
        self.inputs.append(&mut other.inputs);
        self.account.add(&other.account);
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

    fn account(&mut self, account: &Account) {
        self.account.add(account);
    }
}
