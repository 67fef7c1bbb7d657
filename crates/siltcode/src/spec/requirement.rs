//! One requirement: what is looked at, the limit, and where it comes from.

use std::fmt;

use serde::Serialize;

use crate::class::iso4406::RangeNumber;
use crate::companion::{CompanionUnit, Property};
use crate::count::PerMl;
use crate::size::Size;
use crate::status::Status;
use crate::units::Shortest;

/// The limit on a particle count.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ParticleLimit {
    /// At most this range number.
    Number(RangeNumber),
    /// At most this concentration \[particles/mL\].
    PerMl(PerMl),
    /// To be reported, without a limit.
    Report,
}

impl ParticleLimit {
    /// The most particles per mL allowed; none where there is no limit.
    #[must_use]
    pub fn upper(self) -> Option<PerMl> {
        match self {
            Self::Number(number) => number.upper(),
            Self::PerMl(per_ml) => Some(per_ml),
            Self::Report => None,
        }
    }
}

impl fmt::Display for ParticleLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(number) => write!(f, "number {number}"),
            Self::PerMl(per_ml) => write!(f, "{per_ml} /mL"),
            Self::Report => f.write_str("report"),
        }
    }
}

/// The limit on a companion measurement.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CompanionLimit {
    /// Between the two; one of them may be missing.
    Range {
        /// At least this.
        min: Option<f64>,
        /// At most this.
        max: Option<f64>,
        /// Whether the limits themselves are outside: `above 55 degC`, not `at least 55 degC`.
        exclusive: bool,
        /// The unit of both.
        unit: CompanionUnit,
    },
    /// One of these words.
    Words(Vec<String>),
}

impl fmt::Display for CompanionLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self {
            Self::Range { min: Some(min), max: Some(max), exclusive: false, unit } => {
                format!("{} to {} {unit}", Shortest(*min), Shortest(*max))
            }
            Self::Range { min: Some(min), max: Some(max), exclusive: true, unit } => {
                format!("above {} and below {} {unit}", Shortest(*min), Shortest(*max))
            }
            Self::Range { min: Some(min), max: None, exclusive, unit } => {
                format!("{} {} {unit}", if *exclusive { "above" } else { "at least" }, Shortest(*min))
            }
            Self::Range { min: None, max: Some(max), exclusive, unit } => {
                format!("{}{} {unit}", if *exclusive { "below " } else { "" }, Shortest(*max))
            }
            Self::Range { min: None, max: None, .. } => "report".into(),
            Self::Words(words) => words.join(" or "),
        };
        f.write_str(text.trim_end())
    }
}

/// What is looked at and how much of it is allowed.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Demand {
    /// Particles at and above a size.
    Particles {
        /// The size.
        size: Size,
        /// The limit.
        limit: ParticleLimit,
    },
    /// A companion measurement.
    Companion {
        /// The property.
        property: Property,
        /// The limit.
        limit: CompanionLimit,
    },
}

impl Demand {
    /// The subject as shown: `14 um(c)`, `water`.
    #[must_use]
    pub fn subject(&self) -> String {
        match self {
            Self::Particles { size, .. } => size.to_string(),
            Self::Companion { property, .. } => property.to_string(),
        }
    }

    /// The limit as shown: `number 13`, `200 mg/kg`.
    #[must_use]
    pub fn limit(&self) -> String {
        match self {
            Self::Particles { limit, .. } => limit.to_string(),
            Self::Companion { limit, .. } => limit.to_string(),
        }
    }
}

/// A requirement that stands in for others: a group is met as soon as one of its branches is met whole.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Alternative {
    /// The group's label.
    pub group: String,
    /// The branch this requirement belongs to.
    pub branch: String,
}

/// One requirement of a specification.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Requirement {
    /// What is looked at, and the limit.
    pub demand: Demand,
    /// The test method.
    pub method: Option<String>,
    /// The group of alternatives it belongs to.
    pub alternative: Option<Alternative>,
    /// How well the number is known.
    pub status: Status,
    /// The key of its source in `reference-tables/sources.csv`.
    pub source: Option<String>,
    /// What a reader must know about it.
    pub note: Option<String>,
}

impl Requirement {
    /// A requirement of the user's own.
    #[must_use]
    pub const fn new(demand: Demand) -> Self {
        Self { demand, method: None, alternative: None, status: Status::User, source: None, note: None }
    }
}
