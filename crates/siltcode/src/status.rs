//! How a published number is known.

use std::fmt;

use serde::{Deserialize, Serialize};

/// How a published number is known, surest first. A result is only as sure as the least sure number it rests on.
///
/// ```
/// use siltcode::Status;
///
/// assert_eq!(Status::Read.max(Status::Memory).to_string(), "MEMORY");
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
pub enum Status {
    /// Read in a source that is named.
    Read,
    /// Worked out from numbers that were read.
    Derived,
    /// Recalled and not read anywhere: whatever rests on it says so.
    Memory,
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Read => "READ",
            Self::Derived => "DERIVED",
            Self::Memory => "MEMORY",
        })
    }
}
