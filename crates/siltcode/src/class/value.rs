//! A class, and a range of classes.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::error::{Error, ErrorKind, Result};

/// A contamination class: 000, 00, 0, 1 and so on, or above the last one. Lower is cleaner, and so is the order.
///
/// ```
/// use siltcode::class::Class;
///
/// let class = |text: &str| text.parse::<Class>();
/// assert!(class("000")? < class("00")?);
/// assert!(class("00")? < class("0")?);
/// assert!(class("12")? < class(">12")?);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Class {
    /// 0 and above as printed; -1 is 00, -2 is 000.
    step: i8,
    above: bool,
}

impl Class {
    /// Class 000.
    pub const CLEANEST: Self = Self { step: -2, above: false };

    /// The largest number that a class of any system has.
    const LARGEST: i8 = 17;

    /// Above this class, the last of its system: printed `>12`.
    #[must_use]
    pub const fn or_worse(self) -> Self {
        Self { above: true, ..self }
    }

    /// Whether this stands for everything above the last class of a system.
    #[must_use]
    pub const fn is_above_scale(self) -> bool {
        self.above
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let class = match self.step {
            -2 => "000".to_owned(),
            -1 => "00".to_owned(),
            step => step.to_string(),
        };
        f.pad(&if self.above { format!(">{class}") } else { class })
    }
}

impl FromStr for Class {
    type Err = Error;

    /// Reads `000`, `00`, `0` to `17`, and `>12` for above the last class.
    fn from_str(text: &str) -> Result<Self> {
        let text = text.trim();
        let (above, digits) = match text.strip_prefix('>') {
            Some(digits) => (true, digits),
            None => (false, text),
        };
        let step = match digits {
            "000" => Some(-2),
            "00" => Some(-1),
            _ if digits.len() > 1 && digits.starts_with('0') => None,
            _ if digits.starts_with(['+', '-']) => None,
            _ => digits.parse().ok().filter(|step| *step <= Self::LARGEST),
        };
        let unreadable = || ErrorKind::ClassUnreadable { text: text.into() };
        Ok(Self { step: step.ok_or_else(unreadable)?, above })
    }
}

impl Serialize for Class {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Class {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> std::result::Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// The classes a count may have: one where the count is known, several where it is only known between two bounds.
///
/// ```
/// use siltcode::class::ClassRange;
///
/// let range: ClassRange = "8 to 9".parse()?;
/// assert_eq!(range.worst().to_string(), "9");
/// assert!("9 to 8".parse::<ClassRange>().is_err());
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ClassRange {
    best: Class,
    worst: Class,
}

impl ClassRange {
    /// The classes between two, both included, in any order.
    #[must_use]
    pub fn between(one: Class, other: Class) -> Self {
        Self { best: one.min(other), worst: one.max(other) }
    }

    /// The cleanest class it may be.
    #[must_use]
    pub const fn best(self) -> Class {
        self.best
    }

    /// The dirtiest class it may be.
    #[must_use]
    pub const fn worst(self) -> Class {
        self.worst
    }

    /// The class, where there is only one.
    #[must_use]
    pub fn single(self) -> Option<Class> {
        (self.best == self.worst).then_some(self.best)
    }

    /// The classes that the dirtier of two sizes may have.
    #[must_use]
    pub fn dirtier(self, other: Self) -> Self {
        Self { best: self.best.max(other.best), worst: self.worst.max(other.worst) }
    }
}

impl From<Class> for ClassRange {
    fn from(class: Class) -> Self {
        Self { best: class, worst: class }
    }
}

impl fmt::Display for ClassRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.single() {
            Some(class) => class.fmt(f),
            None => f.pad(&format!("{} to {}", self.best, self.worst)),
        }
    }
}

impl FromStr for ClassRange {
    type Err = Error;

    /// Reads a class, or two with `to` between them, the cleaner first.
    fn from_str(text: &str) -> Result<Self> {
        let Some((best, worst)) = text.split_once(" to ") else {
            return Ok(text.parse::<Class>()?.into());
        };
        let (best, worst) = (best.parse()?, worst.parse()?);
        if best < worst {
            Ok(Self { best, worst })
        } else {
            Err(ErrorKind::ClassUnreadable { text: text.trim().into() }.into())
        }
    }
}

impl Serialize for ClassRange {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_its_own_print() {
        for text in ["000", "00", "0", "1", "12", "17", ">12", ">6", "000 to 00", "12 to >12"] {
            assert_eq!(text.parse::<ClassRange>().unwrap().to_string(), text);
        }
    }

    #[test]
    fn refuses_what_is_no_class() {
        for text in ["", "0000", "01", "-1", "+1", "18", "300", "1.5", "A", ">", "8 to 8", "9 to 8", "8 to"] {
            assert!(text.parse::<ClassRange>().is_err(), "{text}");
        }
    }
}
