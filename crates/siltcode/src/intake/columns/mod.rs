//! Plain rows of text straight into columns: names, times and counts per mL, ready for [`bulk`](crate::bulk).
//!
//! Plain is text with one row a bottle: its name, a time if there is one, and cumulative concentrations, a column per
//! size; any other column is kept as text. How the text is written is found as in [`intake::read`](super::read()), and
//! the same rows come out: what that would give back as a problem comes back as the same problem.
//!
//! What says more than columns hold is refused as `text-not-plain` and never read halfway: raw counts, volumes and
//! dilutions, blanks, several runs of a bottle, a row or a band per size, line breaks inside quotes, text that is not
//! UTF-8, workbooks. Read that with [`intake::read`](super::read()). A single row whose count is a bound (`<1`, too many
//! to count) is a problem, `count-is-bound`.
//!
//! ```
//! use siltcode::bulk::Target;
//! use siltcode::intake::{Options, columns};
//! use siltcode::{SizeScale, Spec};
//!
//! let text = "bottle;time;>=4 um(c) /mL;>=6 um(c) /mL;>=14 um(c) /mL\n\
//!             A;2026-03-01T06:00;1752,5;517;55\n\
//!             B;2026-03-01T07:00;100;200;3\n\
//!             C;2026-03-01T08:00;9000;-;60\n";
//! let columns = columns::read("day.csv", text.as_bytes(), &Options::default())?;
//! assert_eq!(columns.ids.iter().collect::<Vec<_>>(), ["A", "C"]);
//! assert_eq!(columns.counts[0].per_ml, [1752.5, 9000.0]);
//! assert_eq!(columns.problems[0].code, "count-rises-with-size");
//!
//! let target = Target::of(&Spec::from_code("18/16/13".parse()?, SizeScale::UmC)?)?;
//! let scores = columns.score(Some(&target))?;
//! assert_eq!(scores.numbers[0], [18, 20]);
//! assert_eq!(scores.outcomes, [0, 2]);
//! # Ok::<(), siltcode::Error>(())
//! ```

mod block;
mod lines;
#[cfg(feature = "parallel")]
mod parallel;
mod reader;
mod scores;
mod texts;

use std::io::Read;

pub use reader::ColumnReader;
pub use scores::RowScores;
pub use texts::Texts;

use super::options::Options;
use super::problem::{Notice, Problem};
use crate::error::Result;
use crate::size::Size;

/// Rows as columns: the same place in every column is the same row.
#[derive(Debug, Clone, Default)]
pub struct Columns {
    /// The bottle of each row; `line 7` where the text has no column for it.
    pub ids: Texts,
    /// The time of each row as it was written; none where the text has no column for it.
    pub times: Option<Texts>,
    /// The counts, smallest size first.
    pub counts: Vec<CountsOfSize>,
    /// The other columns, in their order.
    pub others: Vec<OtherColumn>,
    /// The rows that could not be used.
    pub problems: Vec<Problem>,
    /// What was guessed, assumed or passed over.
    pub notices: Vec<Notice>,
}

/// The counts of one size.
#[derive(Debug, Clone)]
pub struct CountsOfSize {
    /// The size.
    pub size: Size,
    /// Particles of this size and larger \[particles/mL\]; NaN where they were not counted.
    pub per_ml: Vec<f64>,
}

/// A column that is kept as text.
#[derive(Debug, Clone)]
pub struct OtherColumn {
    /// Its heading.
    pub name: String,
    /// Its cells, without the blanks around them.
    pub texts: Texts,
}

impl Columns {
    /// How many rows there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.ids.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.ids.is_empty()
    }

    /// The counts of one size.
    #[must_use]
    pub fn of_size(&self, size: Size) -> Option<&[f64]> {
        self.counts.iter().find(|counts| counts.size == size).map(|counts| counts.per_ml.as_slice())
    }
}

/// Reads one input whole. See [`ColumnReader`] for reading it in blocks.
///
/// # Errors
/// Those of [`ColumnReader::new`] and [`ColumnReader::next_block`].
pub fn read(name: &str, reader: impl Read, options: &Options) -> Result<Columns> {
    ColumnReader::new(name, reader, options)?.rest()
}

/// [`read`] on all threads of the current pool. What comes out is the same.
///
/// # Errors
/// As there.
#[cfg(feature = "parallel")]
pub fn par_read(name: &str, reader: impl Read, options: &Options) -> Result<Columns> {
    ColumnReader::new(name, reader, options)?.par_rest()
}
