//! What to beware of in work on stored fuel, each with its source.
//!
//! The list is no safety procedure. [`DEFERENCE`] belongs beside it wherever it is shown.
//!
//! ```
//! use siltcode::{Status, caution};
//!
//! let entry = caution::usual().iter().find(|caution| caution.topic == "confined space").unwrap();
//! assert!(entry.text.contains("oxygen"));
//! assert_eq!(entry.status, Status::Read);
//! ```

use std::fmt;
use std::sync::LazyLock;

use serde::{Deserialize, Deserializer, Serialize};

use crate::status::Status;
use crate::table;

/// What stands above every caution.
pub const DEFERENCE: &str =
    "Local codes, the fuel's own specification and licensed practice hold wherever they say otherwise.";

/// Something to beware of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// What it is about, such as `static` or `confined space`.
    pub topic: String,
    /// What to beware of, in a sentence or two.
    pub text: String,
    /// How it is known.
    #[serde(deserialize_with = "status")]
    pub status: Status,
    /// Keys of the table of sources, joined by `+`.
    pub source: String,
}

impl fmt::Display for Caution {
    /// The topic and the text, with a mark where no source was read.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.topic, self.text)?;
        if self.status == Status::Memory {
            f.write_str(" (UNVERIFIED: not read in a source)")
        } else {
            Ok(())
        }
    }
}

fn status<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Status, D::Error> {
    String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
}

static CAUTIONS: LazyLock<Vec<Caution>> = LazyLock::new(|| table::rows(&siltcode_tables::CAUTIONS));

/// The usual cautions, those of fire first.
#[must_use]
pub fn usual() -> &'static [Caution] {
    &CAUTIONS
}

/// Those on some topics.
///
/// ```
/// use siltcode::caution;
///
/// assert_eq!(caution::about(&["pressure"]).len(), 1);
/// ```
#[must_use]
pub fn about(topics: &[&str]) -> Vec<&'static Caution> {
    usual().iter().filter(|caution| topics.contains(&caution.topic.as_str())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_usual_topic_is_there() {
        for topic in [
            "flammable vapour",
            "static",
            "conductivity",
            "bonding",
            "confined space",
            "pressure",
            "waste",
            "aviation",
            "emergency power",
        ] {
            assert!(usual().iter().any(|caution| caution.topic == topic), "{topic}");
        }
    }

    #[test]
    fn what_was_not_read_says_so_and_nothing_recalled_is_a_figure() {
        for caution in usual().iter().filter(|caution| caution.status == Status::Memory) {
            assert!(caution.to_string().ends_with("(UNVERIFIED: not read in a source)"));
            assert!(!caution.text.contains(|c: char| c.is_ascii_digit()), "{}", caution.text);
        }
        assert!(!usual().iter().any(|caution| caution.text.contains("30 s")));
    }
}
