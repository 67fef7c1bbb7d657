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
    "Local codes, the fuel's own specification and licensed practice take precedence over all of this.";

/// Something to beware of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// What it is about, such as `static` or `confined space`.
    pub topic: String,
    /// What to beware of, in a sentence or two.
    pub text: String,
    /// In what kind of job it applies.
    pub when: Occasion,
    /// How it is known.
    #[serde(deserialize_with = "status")]
    pub status: Status,
    /// Keys of the table of sources, joined by `+`.
    pub source: String,
}

/// The kind of job that a caution applies to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Occasion {
    /// Every job that moves or filters stored fuel.
    Always,
    /// Aviation fuel.
    Jet,
    /// Fuel that a standby plant may call for at any time.
    Standby,
    /// Work in which somebody enters a tank.
    Entry,
}

impl Occasion {
    /// Whether what is said of a job, such as its title, its fluid and its target, is of this kind.
    fn is_said_in(self, said: &str) -> bool {
        let any = |words: &[&str]| words.iter().any(|word| said.contains(word));
        match self {
            Self::Always => true,
            Self::Jet => any(&["jet", "aviation", "avtur", "kerosene", "kerosine", "aircraft"]),
            Self::Standby => {
                any(&["standby", "stand-by", "emergency", "generator", "genset", "day tank", "day-tank"])
            }
            Self::Entry => any(&["entry", "entering", "tank cleaning", "manhole", "confined"]),
        }
    }
}

/// A caution beside a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct JobCaution {
    /// Whether it applies to a job of this kind; the others may still.
    pub applies: bool,
    /// What to beware of.
    #[serde(flatten)]
    pub caution: &'static Caution,
}

/// Every caution, those that apply to a job first: of what is said of it, such as its title, its fluid and its target.
///
/// ```
/// use siltcode::caution;
///
/// let cautions = caution::of_job(&["Day tank of a standby generator", "diesel"]);
/// assert!(cautions[0].applies && cautions[0].caution.topic == "flammable vapour");
/// let standby = cautions.iter().find(|each| each.caution.topic == "tank on standby").unwrap();
/// assert!(standby.applies);
/// assert!(!cautions.last().unwrap().applies); // jet fuel, or entry into the tank
/// assert_eq!(cautions.len(), caution::usual().len());
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn of_job(said: &[&str]) -> Vec<JobCaution> {
    let said = said.join(" ").to_lowercase();
    let each = usual().iter().map(|caution| JobCaution { applies: caution.when.is_said_in(&said), caution });
    let (first, rest): (Vec<_>, Vec<_>) = each.partition(|each| each.applies);
    first.into_iter().chain(rest).collect()
}

impl fmt::Display for Caution {
    /// The topic and the text, with a mark where no source was read.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.topic, self.text)?;
        if self.status == Status::Memory { f.write_str(" (common practice, UNVERIFIED)") } else { Ok(()) }
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
            "hydrogen sulphide",
            "toxic vapour",
            "dry running and cavitation",
            "microbes and biocide",
            "overfill and return hose",
            "unattended running",
            "ignition sources",
            "skin contact",
            "tank on standby",
        ] {
            assert!(usual().iter().any(|caution| caution.topic == topic), "{topic}");
        }
    }

    #[test]
    fn what_was_not_read_says_so_and_nothing_recalled_is_a_figure() {
        for caution in usual().iter().filter(|caution| caution.status == Status::Memory) {
            assert!(caution.to_string().ends_with("(common practice, UNVERIFIED)"));
            assert!(!caution.text.contains(|c: char| c.is_ascii_digit()), "{}", caution.text);
        }
        assert!(!usual().iter().any(|caution| caution.text.contains("30 s")));
    }
}
