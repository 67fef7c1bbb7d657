//! The rule by which elements are changed: at a differential pressure at rated flow, or at an age.

use std::fmt;
use std::str::FromStr;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::status::Status;
use crate::table;
use crate::units::{Duration, Pressure};

/// Where an element stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Duty {
    /// At the last point of filtration, before the fuel is used or handed over.
    LastPoint,
    /// Anywhere else.
    Elsewhere,
}

/// When an element is to be changed: at a differential pressure at rated flow or at an age, whichever comes first.
///
/// A maker's own limit comes before a published one.
///
/// ```
/// use siltcode::job::{ChangeRule, Duty};
/// use siltcode::units::{Duration, Pressure};
///
/// let rule = ChangeRule::published(Duty::LastPoint);
/// assert_eq!(rule.limit.us(), "15 psi");
/// assert!(rule.is_due(Pressure::from_psi(15.0)?, None));
/// assert!(rule.is_due(Pressure::from_psi(4.0)?, Some("3 years".parse()?)));
/// assert!(!rule.is_due(Pressure::from_psi(14.9)?, Some("2 years".parse()?)));
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChangeRule {
    /// The differential pressure at which it is changed, at rated flow.
    pub limit: Pressure,
    /// The age at which it is changed.
    pub age: Option<Duration>,
    /// How the limits are known.
    pub status: Status,
    /// Where they stand: keys of the table of sources; empty for the user's own.
    pub source: String,
}

/// A row of the table.
#[derive(Deserialize)]
struct Row {
    duty: Duty,
    differential_pressure_psi: f64,
    age_years: f64,
    status: String,
    source: String,
}

static RULES: LazyLock<Vec<(Duty, ChangeRule)>> = LazyLock::new(|| {
    let table = &siltcode_tables::ELEMENT_CHANGE;
    let rule = |row: Row| {
        let rule = ChangeRule {
            limit: Pressure::from_psi(row.differential_pressure_psi)?,
            age: Some(Duration::from_years(row.age_years)?),
            status: row.status.parse()?,
            source: row.source,
        };
        Ok::<_, Error>((row.duty, rule))
    };
    let rules = table::rows(table).into_iter().map(rule).collect::<Result<_>>();
    rules.unwrap_or_else(|error| table::unreadable(table, error))
});

impl ChangeRule {
    /// The published rule for a duty.
    #[must_use]
    pub fn published(duty: Duty) -> Self {
        let found = RULES.iter().find(|(of, _)| *of == duty).map(|(_, rule)| rule.clone());
        found.unwrap_or_else(|| table::unreadable(&siltcode_tables::ELEMENT_CHANGE, duty))
    }

    /// The user's own limit, such as the maker's terminal pressure.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the limit is above 0.
    pub fn own(limit: Pressure, age: Option<Duration>) -> Result<Self> {
        if limit.kpa() > 0.0 {
            return Ok(Self { limit, age, status: Status::User, source: String::new() });
        }
        let (quantity, value) = ("limit of the differential pressure".into(), limit.to_string());
        Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into())
    }

    /// Whether an element with this pressure at rated flow, and of this age where it is known, is to be changed.
    #[must_use]
    pub fn is_due(&self, at_rated: Pressure, age: Option<Duration>) -> bool {
        at_rated >= self.limit || self.is_due_by_age(age)
    }

    /// Whether an element of this age is to be changed whatever its pressure.
    #[must_use]
    pub fn is_due_by_age(&self, age: Option<Duration>) -> bool {
        age.zip(self.age).is_some_and(|(age, most)| age >= most)
    }
}

impl fmt::Display for Duty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::LastPoint => "last-point",
            Self::Elsewhere => "elsewhere",
        })
    }
}

impl FromStr for Duty {
    type Err = Error;

    /// Reads the name of a duty.
    fn from_str(text: &str) -> Result<Self> {
        let found =
            [Self::LastPoint, Self::Elsewhere].into_iter().find(|duty| duty.to_string() == text.trim());
        let range = "one of last-point, elsewhere".into();
        let unknown = ErrorKind::QuantityOutOfRange { quantity: "duty".into(), value: text.into(), range };
        found.ok_or_else(|| unknown.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_duty_has_its_row_and_a_limit_is_above_zero() {
        assert!(ChangeRule::published(Duty::LastPoint).limit < ChangeRule::published(Duty::Elsewhere).limit);
        assert_eq!(ChangeRule::published(Duty::Elsewhere).status, Status::Read);
        let none = Pressure::from_kpa(0.0).unwrap();
        assert_eq!(ChangeRule::own(none, None).unwrap_err().code(), "quantity-out-of-range");
        assert_eq!("first".parse::<Duty>().unwrap_err().code(), "quantity-out-of-range");
    }
}
