//! How a published number is known.

use std::fmt;
use std::str::FromStr;

use serde::{Serialize, Serializer};

use crate::error::{Error, ErrorKind, Result};

/// How a number is known, surest first. A result is only as sure as the least sure number it rests on.
///
/// ```
/// use siltcode::Status;
///
/// assert_eq!(Status::Read.max(Status::Memory).to_string(), "UNVERIFIED");
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Status {
    /// The user's own.
    User,
    /// Read in a source that is named.
    Read,
    /// Worked out from numbers that were read.
    Derived,
    /// Recalled and not read anywhere: whatever rests on it says so. Tables may write `MEMORY`.
    Memory,
}

/// What is said of a result that is held against limits that were not read.
pub const UNVERIFIED_LIMITS: &str = "limits not checked against the standard (UNVERIFIED): verify before use";

impl Status {
    const ALL: [Self; 4] = [Self::User, Self::Read, Self::Derived, Self::Memory];
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::User => "USER",
            Self::Read => "READ",
            Self::Derived => "DERIVED",
            Self::Memory => "UNVERIFIED",
        })
    }
}

impl FromStr for Status {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let unusable = || ErrorKind::SpecValueUnusable {
            key: "status".into(),
            found: text.into(),
            expected: "USER, READ, DERIVED or UNVERIFIED".into(),
        };
        let text = text.trim();
        let found = Self::ALL.into_iter().find(|status| status.to_string() == text);
        let found = found.or_else(|| (text == "MEMORY").then_some(Self::Memory));
        found.ok_or_else(|| unusable().into())
    }
}

impl Serialize for Status {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
