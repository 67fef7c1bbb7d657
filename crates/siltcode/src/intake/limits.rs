//! How much one input may take up: what asks for more is refused in words, not by the machine.

#[cfg(feature = "workbook")]
use crate::error::{Error, ErrorKind, Result};

/// Limits of one input. Text is read in bounded memory, row by row; a workbook has to be unpacked.
///
/// ```
/// use siltcode::intake::{Limits, Options};
///
/// let options = Options { limits: Limits { cells: 1000, ..Limits::default() }, ..Options::default() };
/// assert_eq!(options.limits.unpacked_bytes, 512 << 20);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Cells of a sheet, those counted in that lie empty before the last filled one of a row; 5 million.
    pub cells: u64,
    /// Bytes of all parts of a workbook once they are unpacked; 512 MiB.
    pub unpacked_bytes: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { cells: 5_000_000, unpacked_bytes: 512 << 20 }
    }
}

#[cfg(feature = "workbook")]
impl Limits {
    /// An error that names the limit of cells, once more than it are there.
    pub(super) fn ensure_cells(self, cells: u64) -> Result<()> {
        if cells <= self.cells {
            return Ok(());
        }
        Err(over("a sheet of the workbook", format!("{} cells", self.cells), "`cells`, `--max-cells`"))
    }

    /// An error that names the limit of unpacked bytes, once more than it are there.
    pub(super) fn ensure_unpacked(self, bytes: u64) -> Result<()> {
        if bytes <= self.unpacked_bytes {
            return Ok(());
        }
        Err(over(
            "the workbook",
            format!("{} bytes once unpacked", self.unpacked_bytes),
            "`unpacked_bytes`, `--max-unpacked`",
        ))
    }
}

#[cfg(feature = "workbook")]
fn over(what: &str, limit: String, option: &str) -> Error {
    ErrorKind::InputTooLarge { what: what.into(), limit, option: option.into() }.into()
}
