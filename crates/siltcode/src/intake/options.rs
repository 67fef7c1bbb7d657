//! What the caller knows about an input, given before it is read.

use std::sync::Arc;

use crate::count::{Basis, CountedVolume, Dilution};
use crate::size::SizeScale;

use super::corrections::Corrections;
use super::limits::Limits;

/// Hints for reading an input. What is given is taken; what is not is looked for and reported as a
/// [`Notice`](super::Notice).
///
/// ```
/// use siltcode::Basis;
/// use siltcode::intake::{self, Options};
///
/// let text = "id,4,6,14\nA,175200,51700,5500\n";
/// let options = Options { basis: Some(Basis::Per100Ml), ..Options::default() };
/// let batch = intake::read("counts.csv", text.as_bytes(), &options)?;
/// assert_eq!(batch.samples[0].runs[0].spectrum.at_um(4.0).unwrap().reading.to_string(), "1752");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Options {
    /// The byte between two cells of a line: `,`, `;`, tab or `|`.
    pub delimiter: Option<u8>,
    /// The decimal mark. Given, every number must keep to it.
    pub decimal: Option<Decimal>,
    /// What the counts refer to. Given, it holds even where a heading says otherwise.
    pub basis: Option<Basis>,
    /// The scale of the sizes. Given, it holds even where a heading says otherwise.
    pub scale: Option<SizeScale>,
    /// Whether counts are at and above a size or between two sizes.
    pub form: Option<Form>,
    /// The counted volume of each run, where no column says it \[mL\].
    pub volume: Option<CountedVolume>,
    /// The dilution factor, where no column says it \[-\].
    pub dilution: Option<Dilution>,
    /// The only sheet of a workbook to read; else every sheet with counts.
    pub sheet: Option<String>,
    /// How much an input may take up.
    pub limits: Limits,
    /// Corrected rows of files of rejected rows that are read together with the inputs they come from.
    pub corrections: Option<Arc<Corrections>>,
}

/// The mark between the whole and the broken part of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Decimal {
    /// `1234.5`
    Dot,
    /// `1234,5`
    Comma,
}

/// What a count belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Form {
    /// Each count is of the particles of a size and larger.
    Cumulative,
    /// Each count is of the particles between a size and the next.
    Differential,
}
