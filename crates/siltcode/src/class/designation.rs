//! AS4059 classes as they are written: `9A/8B/7C`, `9A`, `9 A-F`, or a bare `7` of the differential table.

use std::fmt;
use std::str::FromStr;

use serde::{Serialize, Serializer};

use crate::class::classification::Classification;
use crate::class::system::ClassSystem;
use crate::class::value::ClassRange;
use crate::error::{Error, ErrorKind, Result};

/// The letter of a size of the AS4059 cumulative table, smallest size first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Letter {
    /// 4 um(c), or 1 um of the older scales.
    A,
    /// 6 um(c), or 5 um.
    B,
    /// 14 um(c), or 15 um.
    C,
    /// 21 um(c), or 25 um.
    D,
    /// 38 um(c), or 50 um.
    E,
    /// 70 um(c), or 100 um.
    F,
}

impl Letter {
    const ALL: [(Self, &'static str); 6] =
        [(Self::A, "A"), (Self::B, "B"), (Self::C, "C"), (Self::D, "D"), (Self::E, "E"), (Self::F, "F")];
}

impl fmt::Display for Letter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(Self::ALL.iter().find(|(letter, _)| letter == self).map_or("", |(_, text)| text))
    }
}

impl FromStr for Letter {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let found = Self::ALL.iter().find(|(_, letter)| letter.eq_ignore_ascii_case(text.trim()));
        found.map(|(letter, _)| *letter).ok_or_else(|| unreadable(text))
    }
}

impl Serialize for Letter {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// A written AS4059 class.
///
/// ```
/// use siltcode::class::Designation;
///
/// for text in ["9A/8B/7C/6D/6E/7F", "6B", "6 B-F", "7", ">12A"] {
///     assert_eq!(text.parse::<Designation>()?.to_string(), text);
/// }
/// assert_eq!("AS4059:6B".parse::<Designation>()?.with_standard(), "AS4059:6B");
///
/// assert_eq!("13A".parse::<Designation>().unwrap_err().code(), "class-not-in-system");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Designation {
    /// The class at each of these sizes: `7B/6C/5D`, or at a single one: `6B`.
    Sizes(Vec<(ClassRange, Letter)>),
    /// The highest class over a range of sizes: `6 B-F`.
    Over(ClassRange, Letter, Letter),
    /// A class without a letter: of the differential table since revision F; in earlier revisions it may mean
    /// something else, so the revision should stand beside it.
    Bare(ClassRange),
}

impl Designation {
    /// The class at each counted size, for a system whose sizes have letters.
    #[must_use]
    pub fn of_sizes(classification: &Classification) -> Option<Self> {
        let sizes = classification.sizes.iter().filter_map(|size| Some((size.class?, size.letter?)));
        let sizes: Vec<_> = sizes.collect();
        (!sizes.is_empty()).then_some(Self::Sizes(sizes))
    }

    /// The highest class and the first size that has it: `9A`.
    #[must_use]
    pub fn of_worst(classification: &Classification) -> Option<Self> {
        let worst = classification.worst.worst();
        let size = classification
            .sizes
            .iter()
            .find(|size| size.class.is_some_and(|class| class.worst() == worst))?;
        Some(Self::Sizes(vec![(size.class?, size.letter?)]))
    }

    /// The highest class over all counted sizes: `9 A-F`; none where a size between them was not counted, or where only
    /// one was.
    #[must_use]
    pub fn over_sizes(classification: &Classification) -> Option<Self> {
        let mut sizes = classification.sizes.iter();
        let first = sizes.find(|size| size.class.is_some())?.letter?;
        let next: Vec<_> = sizes.by_ref().take_while(|size| size.class.is_some()).collect();
        let ends_here = sizes.all(|size| size.class.is_none());
        ends_here.then_some(Self::Over(classification.worst, first, next.last()?.letter?))
    }

    /// With the standard before it: `AS4059:6B`.
    #[must_use]
    pub fn with_standard(&self) -> String {
        format!("{STANDARD}{self}")
    }

    /// The classes it names.
    fn classes(&self) -> Vec<ClassRange> {
        match self {
            Self::Sizes(sizes) => sizes.iter().map(|(class, _)| *class).collect(),
            Self::Over(class, ..) | Self::Bare(class) => vec![*class],
        }
    }
}

/// What may stand before a class.
const STANDARD: &str = "AS4059:";

impl fmt::Display for Designation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sizes(sizes) => {
                let sizes: Vec<String> =
                    sizes.iter().map(|(class, letter)| format!("{class}{letter}")).collect();
                f.pad(&sizes.join("/"))
            }
            Self::Over(class, first, last) => f.pad(&format!("{class} {first}-{last}")),
            Self::Bare(class) => class.fmt(f),
        }
    }
}

impl FromStr for Designation {
    type Err = Error;

    /// Reads every printed form, with or without `AS4059:` before it.
    ///
    /// # Errors
    /// `class-unreadable`, and `class-not-in-system` unless AS4059 has the classes: 000 to 12, and above 12.
    fn from_str(text: &str) -> Result<Self> {
        let designation = read(text.trim())?;
        designation.classes().into_iter().try_for_each(|class| ClassSystem::As4059.ensure_has(class))?;
        Ok(designation)
    }
}

fn read(text: &str) -> Result<Designation> {
    let plain = text.strip_prefix(STANDARD).unwrap_or(text).trim();
    if let Ok(class) = plain.parse() {
        return Ok(Designation::Bare(class));
    }
    if let Some((class, letters)) = plain.rsplit_once(' ')
        && let Some((first, last)) = letters.split_once('-')
    {
        let (first, last): (Letter, Letter) = (first.parse()?, last.parse()?);
        let over = (first < last).then_some(Designation::Over(class.parse()?, first, last));
        return over.ok_or_else(|| unreadable(text));
    }
    let sizes: Vec<(ClassRange, Letter)> = plain.split('/').map(size).collect::<Result<_>>()?;
    let rising = sizes.is_sorted_by(|a, b| a.1 < b.1);
    if rising { Ok(Designation::Sizes(sizes)) } else { Err(unreadable(text)) }
}

/// `9A`.
fn size(text: &str) -> Result<(ClassRange, Letter)> {
    let letter = text.char_indices().next_back().map(|(at, _)| at).ok_or_else(|| unreadable(text))?;
    Ok((text[..letter].parse()?, text[letter..].parse()?))
}

fn unreadable(text: &str) -> Error {
    ErrorKind::ClassUnreadable { text: text.trim().into() }.into()
}

impl Serialize for Designation {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_what_cannot_be() {
        for text in ["", "A", "9G", "8B/9A", "9A/9A", "6 F-B", "6 B-", "AS4059:", "9µ"] {
            assert!(text.parse::<Designation>().is_err(), "{text}");
        }
    }

    #[test]
    fn refuses_classes_that_as4059_has_not() {
        for text in ["13A", "17", ">6A", ">13", "9A/13B", "13 B-F", "12 to 13", ">000A"] {
            assert_eq!(text.parse::<Designation>().unwrap_err().code(), "class-not-in-system", "{text}");
        }
        for text in ["000A", "12F", ">12", "12 to >12A"] {
            assert!(text.parse::<Designation>().is_ok(), "{text}");
        }
    }
}
