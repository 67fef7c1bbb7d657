//! ISO 4406: range numbers and the cleanliness code.
//!
//! A range number stands for a range of concentrations, each about twice the one below: 18 is more than 1300 and up to
//! 2500 particles per mL. The code gives three of them, for particles of at least 4, 6 and 14 um(c) from an automatic
//! counter (`18/16/13`), or two behind a dash, for 5 and 15 um under the microscope (`-/18/13`).
//!
//! The bounds stand in `reference-tables/iso4406.csv`. Three things that the standard's prints leave open are settled
//! here, each in one place:
//!
//! - A count of zero has range number 0, so number 0 means "0.01 per mL or fewer, none included".
//! - A number gets the mark `>=` if fewer than 20 particles were counted at that size: 19 is marked, 20 is not. The
//!   raw count is the sum over all runs of the bottle.
//! - Above number 28 the place prints `>28`; no number is invented.

use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;
use std::sync::LazyLock;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::count::{PerMl, Reading};
use crate::error::{Error, ErrorKind, Result};
use crate::size::SizeScale;
use crate::spectrum::{Channel, Spectrum};
use crate::table;

/// Raw counts below this get the mark `>=`: "fewer than 20 particles" (ISO 4406, as restated; see the module docs).
pub const FEW_BELOW: u64 = 20;

#[derive(Deserialize)]
struct Row {
    up_to_per_ml: Option<f64>,
}

/// Upper bounds of the numbers 0 to 28, included in their number \[particles/mL\].
static UPPER: LazyLock<Vec<f64>> = LazyLock::new(|| {
    table::rows::<Row>(&siltcode_tables::ISO4406).into_iter().filter_map(|row| row.up_to_per_ml).collect()
});

/// The number of a concentration of 0 or more \[particles/mL\]; 29 stands for above the scale.
pub(crate) fn number_of(per_ml: f64) -> u8 {
    let below = UPPER.partition_point(|&upper| upper < per_ml);
    #[allow(clippy::cast_possible_truncation)] // the table has 29 rows
    let number = below as u8;
    number
}

/// The upper bound of a number, included \[particles/mL\]; none above the scale.
pub(crate) fn upper_bound(number: u8) -> Option<f64> {
    UPPER.get(usize::from(number)).copied()
}

/// An ISO 4406 range number: 0 to 28, or above the scale. Lower is cleaner, and so is the order.
///
/// ```
/// use siltcode::{PerMl, RangeNumber};
///
/// let number = RangeNumber::of(PerMl::new(2500.0)?);
/// assert_eq!(number.to_string(), "18");            // the upper bound belongs to the number
/// assert_eq!(RangeNumber::of(PerMl::new(2500.1)?).to_string(), "19");
/// assert_eq!(number.steps_above("16".parse()?), 2);  // two numbers dirtier
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RangeNumber(u8);

impl RangeNumber {
    /// The cleanest number.
    pub const CLEANEST: Self = Self(0);
    /// The largest number of the table.
    pub const LARGEST: Self = Self(28);
    /// Above the table, printed `>28`.
    pub const ABOVE: Self = Self(29);

    /// The range number `number`.
    ///
    /// # Errors
    /// `number-out-of-range` unless `0 <= number <= 28`.
    pub fn new(number: u8) -> Result<Self> {
        if number <= Self::LARGEST.0 {
            Ok(Self(number))
        } else {
            Err(ErrorKind::NumberOutOfRange { text: number.to_string() }.into())
        }
    }

    /// The range that holds this concentration, by the table: bounds exclusive below, inclusive above.
    #[must_use]
    pub fn of(per_ml: PerMl) -> Self {
        Self(number_of(per_ml.get()))
    }

    /// The number, 0 to 28; 29 stands for above the scale.
    #[must_use]
    pub const fn get(self) -> u8 {
        self.0
    }

    /// All 29 numbers of the table.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..=Self::LARGEST.0).map(Self)
    }

    /// The next cleaner number; none below 0.
    pub(crate) fn cleaner(self) -> Option<Self> {
        self.0.checked_sub(1).map(Self)
    }

    /// The next dirtier number; none above `>28`.
    pub(crate) fn dirtier(self) -> Option<Self> {
        (self < Self::ABOVE).then(|| Self(self.0 + 1))
    }

    /// The concentrations this number stands for.
    #[must_use]
    pub fn bounds(self) -> Bounds {
        Bounds { more_than: self.0.checked_sub(1).and_then(upper_bound), up_to: upper_bound(self.0) }
    }

    /// The most particles per mL this number allows; none above the scale.
    #[must_use]
    pub fn upper(self) -> Option<PerMl> {
        self.bounds().up_to.and_then(|value| PerMl::new(value).ok())
    }

    /// How many numbers dirtier than `other` this one is; negative if it is cleaner. `>28` counts as one above 28.
    #[must_use]
    pub fn steps_above(self, other: Self) -> i32 {
        i32::from(self.0) - i32::from(other.0)
    }
}

/// The concentrations of a range number \[particles/mL\].
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bounds {
    /// More than this; none for number 0, which starts at no particles at all.
    pub more_than: Option<f64>,
    /// Up to and including this; none above the scale.
    pub up_to: Option<f64>,
}

impl fmt::Display for RangeNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match f.width() {
            _ if *self == Self::ABOVE => f.pad(">28"),
            None => write!(f, "{}", self.0),
            Some(_) => f.pad(&self.0.to_string()),
        }
    }
}

impl FromStr for RangeNumber {
    type Err = Error;

    /// Reads `0` to `28` and `>28`.
    fn from_str(text: &str) -> Result<Self> {
        let text = text.trim();
        let out_of_range = || ErrorKind::NumberOutOfRange { text: text.into() };
        match text {
            ">28" => Ok(Self::ABOVE),
            _ if text.starts_with('+') => Err(out_of_range().into()),
            _ => Self::new(text.parse().map_err(|_| out_of_range())?).map_err(|_| out_of_range().into()),
        }
    }
}

impl Serialize for RangeNumber {
    /// A number where it is one, the text `>28` above the scale.
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        if *self == Self::ABOVE { serializer.serialize_str(">28") } else { serializer.serialize_u8(self.0) }
    }
}

/// One place of a code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Place {
    /// A range number; `few` if fewer than 20 particles were counted, printed `>=`.
    Number {
        /// The range number.
        number: RangeNumber,
        /// Fewer than 20 particles were counted.
        few: bool,
    },
    /// Too many particles to count, printed `*`.
    TooMany,
    /// A count is not required or was not made at this size, printed `-`.
    NotRequired,
}

impl Place {
    /// A plain number.
    #[must_use]
    pub const fn number(number: RangeNumber) -> Self {
        Self::Number { number, few: false }
    }

    /// The place of one channel.
    ///
    /// A count below a bound takes the bound's number with the mark `>=` (too few were seen to say more); a count
    /// above a bound is too many to count.
    #[must_use]
    pub fn of(channel: &Channel) -> Self {
        match channel.reading {
            Reading::Count(per_ml) => Self::Number {
                number: RangeNumber::of(per_ml),
                few: channel.evidence.is_some_and(|evidence| evidence.raw < FEW_BELOW),
            },
            Reading::Below(bound) => Self::Number { number: RangeNumber::of(bound), few: true },
            Reading::Above(_) | Reading::TooMany => Self::TooMany,
            Reading::NotCounted => Self::NotRequired,
        }
    }

    /// The range number, if the place holds one.
    #[must_use]
    pub const fn range_number(self) -> Option<RangeNumber> {
        match self {
            Self::Number { number, .. } => Some(number),
            _ => None,
        }
    }

    /// For checking that places do not rise: too many counts as above every number.
    fn height(self) -> Option<u8> {
        match self {
            Self::Number { number, .. } => Some(number.get()),
            Self::TooMany => Some(u8::MAX),
            Self::NotRequired => None,
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number { number, few: true } => f.pad(&format!(">={number}")),
            Self::Number { number, few: false } => number.fmt(f),
            Self::TooMany => f.pad("*"),
            Self::NotRequired => f.pad("-"),
        }
    }
}

impl FromStr for Place {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let text = text.trim();
        match text {
            "*" => Ok(Self::TooMany),
            "-" => Ok(Self::NotRequired),
            _ => match text.strip_prefix(">=").or_else(|| text.strip_prefix('≥')) {
                Some(number) => Ok(Self::Number { number: number.parse()?, few: true }),
                None => Ok(Self::number(text.parse()?)),
            },
        }
    }
}

impl Serialize for Place {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// An ISO 4406 code: three places, smallest size first.
///
/// ```
/// use siltcode::{Code, Spectrum};
///
/// let spectrum = Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0)])?;
/// let code = Code::of(&spectrum)?;
/// assert_eq!(code.to_string(), "18/16/13");
/// assert!(code < "19/16/13".parse()?);     // cleaner at one size, dirtier at none
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// Printing and parsing, in every form:
///
/// | form | meaning |
/// |---|---|
/// | `18/16/13` | at least 4, 6 and 14 um(c), automatic counter |
/// | `-/18/13` | at least 5 and 15 um, microscope (or the first size not required) |
/// | `14/12/>=7` | fewer than 20 particles counted at the third size |
/// | `*/19/14` | too many to count at the first size |
/// | `>28/24/20` | above the table |
///
/// Codes are only partly ordered: one is less than another (cleaner) if it is at most as dirty at every size and
/// cleaner at one; otherwise they cannot be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Code([Place; 3]);

impl Code {
    /// A code of these places.
    ///
    /// # Errors
    /// `code-rises-with-size` unless each place is at most the one before it (`*` is above every number), and
    /// `code-unreadable` if no place holds anything.
    pub fn new(places: [Place; 3]) -> Result<Self> {
        let code = Self(places);
        let heights: Vec<u8> = places.into_iter().filter_map(Place::height).collect();
        if heights.is_empty() {
            return Err(ErrorKind::CodeUnreadable { text: code.to_string() }.into());
        }
        if heights.is_sorted_by(|a, b| a >= b) {
            Ok(code)
        } else {
            Err(ErrorKind::CodeRisesWithSize { text: code.to_string() }.into())
        }
    }

    /// The two-number code of a microscope count at 5 and 15 um.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn microscope(fine: Place, coarse: Place) -> Result<Self> {
        Self::new([Place::NotRequired, fine, coarse])
    }

    /// The sizes that the places of a code stand for, in a size scale \[um\]; none where the scale has no first place.
    #[must_use]
    pub const fn sizes_um(scale: SizeScale) -> [Option<f64>; 3] {
        match scale {
            SizeScale::UmC | SizeScale::UmB => [Some(4.0), Some(6.0), Some(14.0)],
            SizeScale::Acftd | SizeScale::Microscope => [None, Some(5.0), Some(15.0)],
        }
    }

    /// The code of a spectrum. Sizes that were not counted become `-`.
    ///
    /// # Errors
    /// `nothing-counted` if the spectrum holds none of the code's sizes.
    pub fn of(spectrum: &Spectrum) -> Result<Self> {
        let places = Self::sizes_um(spectrum.scale())
            .map(|um| um.and_then(|um| spectrum.at_um(um)).map_or(Place::NotRequired, Place::of));
        if places.iter().all(|place| *place == Place::NotRequired) {
            return Err(ErrorKind::NothingCounted {}.into());
        }
        Self::new(places)
    }

    /// The three places, smallest size first.
    #[must_use]
    pub const fn places(&self) -> [Place; 3] {
        self.0
    }

    /// The range numbers, where the places hold one.
    #[must_use]
    pub fn range_numbers(&self) -> [Option<RangeNumber>; 3] {
        self.0.map(Place::range_number)
    }
}

impl PartialOrd for Code {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        let each = self.0.iter().zip(&other.0).map(|(a, b)| match (a.height(), b.height()) {
            (None, None) => Some(Ordering::Equal),
            (Some(a), Some(b)) => Some(a.cmp(&b)),
            _ => None,
        });
        let order = each.reduce(|so_far, next| match (so_far?, next?) {
            (Ordering::Equal, order) | (order, Ordering::Equal) => Some(order),
            (a, b) => (a == b).then_some(a),
        })?;
        // Equal numbers with other marks are not equal codes, so they are not ordered either.
        if order == Some(Ordering::Equal) && self != other { None } else { order }
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [first, second, third] = self.0;
        match f.width() {
            None => write!(f, "{first}/{second}/{third}"),
            Some(_) => f.pad(&format!("{first}/{second}/{third}")),
        }
    }
}

impl FromStr for Code {
    type Err = Error;

    /// Reads every printed form; two numbers alone are the microscope's (`13/10` is `-/13/10`).
    fn from_str(text: &str) -> Result<Self> {
        let text = text.trim();
        let parts: Vec<&str> = text.split('/').map(str::trim).collect();
        let place = |part: &str| part.parse::<Place>();
        match parts[..] {
            [a, b, c] => Self::new([place(a)?, place(b)?, place(c)?]),
            [b, c] => Self::microscope(place(b)?, place(c)?),
            _ => Err(ErrorKind::CodeUnreadable { text: text.into() }.into()),
        }
    }
}

impl Serialize for Code {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Code {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> std::result::Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(n: u8) -> RangeNumber {
        RangeNumber::new(n).unwrap()
    }

    #[test]
    fn upper_bounds_belong_to_their_number() {
        for n in RangeNumber::all() {
            let upper = n.upper().unwrap();
            assert_eq!(RangeNumber::of(upper), n);
            assert_eq!(RangeNumber::of(PerMl::new(upper.get().next_up()).unwrap()).get(), n.get() + 1);
        }
    }

    #[test]
    fn nothing_counted_is_number_zero() {
        assert_eq!(RangeNumber::of(PerMl::ZERO), RangeNumber::CLEANEST);
        assert_eq!(RangeNumber::CLEANEST.bounds().more_than, None);
        assert_eq!(RangeNumber::ABOVE.bounds().up_to, None);
    }

    #[test]
    fn impossible_codes_are_refused_with_the_reason() {
        for (text, code) in [
            ("16/18/13", "code-rises-with-size"),
            ("18/*/13", "code-rises-with-size"),
            ("-/13/>=14", "code-rises-with-size"),
            ("18/16/29", "number-out-of-range"),
            ("18/16/-1", "number-out-of-range"),
            ("18/16/+3", "number-out-of-range"),
            ("18//13", "number-out-of-range"),
            ("18", "code-unreadable"),
            ("-/-/-", "code-unreadable"),
            ("1/2/3/4", "code-unreadable"),
            ("", "code-unreadable"),
        ] {
            assert_eq!(text.parse::<Code>().unwrap_err().code(), code, "{text}");
        }
    }

    #[test]
    fn two_numbers_are_a_microscope_code() {
        assert_eq!("13/10".parse::<Code>().unwrap().to_string(), "-/13/10");
        assert_eq!("*/*/23".parse::<Code>().unwrap().to_string(), "*/*/23");
        assert_eq!("14/11/≥7".parse::<Code>().unwrap().to_string(), "14/11/>=7");
    }

    #[test]
    fn codes_compare_only_where_every_size_agrees() {
        let code = |text: &str| text.parse::<Code>().unwrap();
        assert!(code("17/15/12") < code("18/16/13"));
        assert!(code("18/16/13") < code("*/16/13"));
        assert_eq!(code("18/15/13").partial_cmp(&code("17/16/13")), None);
        assert_eq!(code("-/16/13").partial_cmp(&code("17/16/13")), None);
        assert_eq!(code("18/16/>=7").partial_cmp(&code("18/16/7")), None);
    }

    #[test]
    fn serde_is_the_printed_string() {
        let code: Code = serde_json::from_str("\"14/12/>=7\"").unwrap();
        assert_eq!(serde_json::to_string(&code).unwrap(), "\"14/12/>=7\"");
        assert!(serde_json::from_str::<Code>("\"12/14/7\"").is_err());
        assert_eq!(serde_json::to_string(&[number(18), RangeNumber::ABOVE]).unwrap(), "[18,\">28\"]");
    }
}
