//! What the tests share: reading tables and golden files, and short names for values known to be good.

pub mod batches;
mod cases;
mod draws;
mod example;
pub mod flagged;
pub mod jobs;
pub mod loading;
pub mod planning;

use std::path::{Path, PathBuf};

use serde::Deserialize;
use serde::de::DeserializeOwned;
use siltcode::bulk::NOT_COUNTED;
use siltcode::filter::{Beta, Share};
use siltcode::tank::{BinState, Channel, Mixing, Turnovers};
use siltcode::{CountedVolume, Dilution, Evidence, PerMl, Size};

pub use cases::cases;
pub use draws::Draws;
pub use example::Example;

/// The rows of a table: CSV below `#` header lines.
///
/// # Panics
/// If the text is no such table; the message says why.
#[must_use]
pub fn rows<T: DeserializeOwned>(text: &str) -> Vec<T> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    reader.deserialize().collect::<Result<_, _>>().unwrap_or_else(|error| panic!("{error}"))
}

/// The rows of `golden/NAME.csv`; there is at least one.
///
/// # Panics
/// If the file cannot be read, is no table or has no rows.
#[must_use]
pub fn golden<T: DeserializeOwned>(name: &str) -> Vec<T> {
    let path = tests_folder().join("golden").join(name).with_extension("csv");
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let rows = rows(&text);
    assert!(!rows.is_empty(), "{} has no rows", path.display());
    rows
}

/// The folder of the tests.
#[must_use]
pub fn tests_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// A row of ISO 4406, read as it is printed.
#[derive(Deserialize)]
struct Range {
    more_than_per_ml: f64,
    up_to_per_ml: Option<f64>,
}

/// The table of ISO 4406, read literally.
pub struct Ranges(Vec<Range>);

impl Default for Ranges {
    fn default() -> Self {
        Self(rows(siltcode_tables::ISO4406.text))
    }
}

impl Ranges {
    /// Down the table until a row holds the value. Nothing counted belongs to the first row.
    ///
    /// # Panics
    /// If the table had more rows than a byte can say.
    #[must_use]
    pub fn number(&self, per_ml: f64) -> u8 {
        let holds = |range: &Range| {
            per_ml > range.more_than_per_ml && range.up_to_per_ml.is_none_or(|up| per_ml <= up)
        };
        let row = if per_ml == 0.0 { Some(0) } else { self.0.iter().position(holds) };
        row.map_or(NOT_COUNTED, |row| u8::try_from(row).unwrap())
    }
}

/// The upper bounds of ISO 4406, smallest first \[particles/mL\].
#[must_use]
pub fn upper_bounds() -> Vec<f64> {
    Ranges::default().0.iter().filter_map(|range| range.up_to_per_ml).collect()
}

/// A concentration \[particles/mL\].
///
/// # Panics
/// If it is none.
#[must_use]
pub fn per_ml(value: f64) -> PerMl {
    PerMl::new(value).unwrap()
}

/// A size \[um(c)\].
///
/// # Panics
/// If it is none.
#[must_use]
pub fn um(size: f64) -> Size {
    Size::um_c(size).unwrap()
}

/// The evidence of one run, not diluted.
///
/// # Panics
/// If it is none.
#[must_use]
pub fn counted(raw: u64, ml: f64) -> Evidence {
    Evidence::of_run(raw, CountedVolume::from_ml(ml).unwrap(), Dilution::NONE)
}

/// A filtration ratio \[-\].
///
/// # Panics
/// If it is none.
#[must_use]
pub fn beta(value: f64) -> Beta {
    Beta::new(value).unwrap()
}

/// A share \[-\].
///
/// # Panics
/// If it is none.
#[must_use]
pub fn share(value: f64) -> Share {
    Share::new(value).unwrap()
}

/// Tank turnovers \[-\].
///
/// # Panics
/// If it is none.
#[must_use]
pub fn turnovers(value: f64) -> Turnovers {
    Turnovers::new(value).unwrap()
}

/// A tank of so many cells in a row.
///
/// # Panics
/// If it is none.
#[must_use]
pub fn cells(count: u16) -> Mixing {
    Mixing::Cells(count.try_into().unwrap())
}

/// A tank of particles of one bin \[particles/mL, and per mL in a turnover\].
///
/// # Panics
/// If a count or the ratio is none.
#[must_use]
pub fn one_bin(start: f64, entering: f64, ratio: f64, target: f64) -> Channel {
    let bin = BinState::new(per_ml(start), per_ml(entering), beta(ratio).efficiency());
    Channel::new(vec![bin], per_ml(target))
}
