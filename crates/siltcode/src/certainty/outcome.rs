//! The three outcomes of a verdict.

use std::fmt;

use serde::{Serialize, Serializer};

/// What a check comes to. Worse is greater: one requirement not met outweighs everything else.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outcome {
    /// Every requirement is met.
    Conforms,
    /// Nothing is known not to be met, but something was not tested or cannot be told.
    Undecided,
    /// At least one requirement is not met.
    DoesNotConform,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Conforms => "conforms",
            Self::Undecided => "undecided",
            Self::DoesNotConform => "does not conform",
        })
    }
}

impl Serialize for Outcome {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
