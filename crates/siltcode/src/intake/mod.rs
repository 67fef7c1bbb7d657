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
mod table;
#[cfg(feature = "workbook")]
mod workbook;

use serde::Serialize;

pub use options::{Decimal, Form, Options};
pub use problem::{Severity, Notice, Problem, Table};
pub use rejects::RejectWriter;
pub use repeated::RepeatedIds;

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
