//! One cell to a number, a bound, too many to count, or nothing.
//!
//! `1,234` may be a thousand or one and a bit. Which it is cannot be told from the cell, so a cell gives its possible
//! [`readings`](Readings) and the table's [`Marks`] choose.

use std::str::FromStr;

use super::options::Decimal;
use crate::companion::Measured;
use crate::count::{PerMl, Reading};
use crate::error::{Error, ErrorKind};

/// What a cell says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    /// Nothing: empty, `-`, `n/a`.
    Missing,
    /// Too many to count.
    TooMany,
    /// A number.
    Number(Number),
    /// Fewer or less than a number.
    Below(Number),
    /// More than a number.
    Above(Number),
}

/// A number and how finely it was printed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Number {
    /// The value.
    pub(super) value: f64,
    /// Half a unit of the last digit printed.
    pub(super) half_step: f64,
}

/// How a table writes its decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marks {
    /// The caller said so: nothing else is read.
    Given(Decimal),
    /// Found by looking: a cell that can only be read the other way is read so.
    Found(Decimal),
    /// Both marks were found: a cell that can be read either way is refused.
    Mixed,
}

impl Marks {
    /// The decimal mark, as the value of an option; none where both are written.
    pub(super) const fn decimal(self) -> Option<Decimal> {
        match self {
            Self::Given(decimal) | Self::Found(decimal) => Some(decimal),
            Self::Mixed => None,
        }
    }

    /// Whether the last mark of a number is the decimal mark.
    pub(super) fn is_decimal_of(self, text: &str) -> bool {
        let last = text.bytes().rev().find(|byte| matches!(byte, b'.' | b','));
        last.is_some() && last == self.own()
    }

    /// The decimal mark; none where both are written.
    pub(super) const fn own(self) -> Option<u8> {
        match self {
            Self::Given(Decimal::Dot) | Self::Found(Decimal::Dot) => Some(b'.'),
            Self::Given(Decimal::Comma) | Self::Found(Decimal::Comma) => Some(b','),
            Self::Mixed => None,
        }
    }
}

/// Why a cell is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NotANumber {
    /// It cannot be read.
    Unreadable,
    /// It can be read in two ways, and the table writes both.
    Ambiguous,
}

const MISSING: [&str; 19] = [
    "-",
    "--",
    "\u{2013}",
    "\u{2014}",
    "n/a",
    "na",
    "n.a.",
    "null",
    "none",
    "not counted",
    // Not detected, or not determined: nothing can be said of the size.
    "n.n.",
    "n.d.",
    "nd",
    "not detected",
    "not determined",
    "nicht nachgewiesen",
    "non d\u{e9}tect\u{e9}",
    "no detectado",
    "non rilevato",
];
const TOO_MANY: [&str; 29] = [
    "*",
    "**",
    "***",
    "tntc",
    "or",
    "o/r",
    "ol",
    "o.l.",
    "over",
    "ovr",
    "ovfl",
    "over range",
    "overrange",
    "out of range",
    "overflow",
    "overload",
    "too many",
    "too many to count",
    "saturated",
    ">>",
    ">>>",
    "++",
    "+++",
    "\u{221e}",
    "zu viele",
    "trop",
    "demasiadas",
    "troppe",
    "te veel",
];

/// Reads a cell.
pub(super) fn read(text: &str, marks: Marks) -> Result<Cell, NotANumber> {
    let text = text.trim();
    if let Some(number) = plain(text, marks) {
        return Ok(Cell::Number(number));
    }
    if text.is_empty() || is_one_of(text, &MISSING) {
        return Ok(Cell::Missing);
    }
    if is_one_of(text, &TOO_MANY) {
        return Ok(Cell::TooMany);
    }
    let (bound, rest) = bound(text);
    Ok(bound(number(rest, marks)?))
}

impl FromStr for Reading {
    type Err = Error;

    /// Reads what a cell may say, with a decimal point: `1752.5`, `<1`, `>60000`, `TNTC`, or nothing.
    ///
    /// ```
    /// use siltcode::Reading;
    ///
    /// assert_eq!("< 1".parse::<Reading>()?.to_string(), "<1");
    /// assert_eq!("TNTC".parse::<Reading>()?, Reading::TooMany);
    /// assert_eq!("many".parse::<Reading>().unwrap_err().code(), "count-unreadable");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `count-unreadable`, and `count-not-finite` as [`PerMl::new`].
    fn from_str(text: &str) -> Result<Self, Error> {
        let per_ml = |number: Number| PerMl::new(number.value);
        match read(text, Marks::Given(Decimal::Dot)) {
            Ok(Cell::Missing) => Ok(Self::NotCounted),
            Ok(Cell::TooMany) => Ok(Self::TooMany),
            Ok(Cell::Number(number)) => Ok(Self::Count(per_ml(number)?)),
            Ok(Cell::Below(number)) => Ok(Self::Below(per_ml(number)?)),
            Ok(Cell::Above(number)) => Ok(Self::Above(per_ml(number)?)),
            Err(_) => Err(ErrorKind::CountUnreadable { found: text.trim().into() }.into()),
        }
    }
}

impl FromStr for Measured {
    type Err = Error;

    /// Reads its own print, with a decimal point: `150 mg/kg`, `<30 mg/kg`; anything else is words.
    ///
    /// ```
    /// use siltcode::Measured;
    ///
    /// for text in ["150 mg/kg", "<30 mg/kg", "clear and bright"] {
    ///     assert_eq!(text.parse::<Measured>()?.to_string(), text);
    /// }
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// As [`Measured::number`].
    fn from_str(text: &str) -> Result<Self, Error> {
        let text = text.trim();
        let unit_at = text.find(|c: char| c.is_alphabetic() || c == '%').unwrap_or(text.len());
        let (number, unit) = text.split_at(unit_at);
        let Ok(unit) = unit.parse();
        match read(number, Marks::Given(Decimal::Dot)) {
            Ok(Cell::Number(number)) => Self::number(number.value, unit),
            Ok(Cell::Below(number)) => Ok(Self::LessThan { below: number.value, unit }),
            _ => Ok(Self::Words(text.into())),
        }
    }
}

/// The readings of a cell's number, whatever its bound; none where it is no number or has no mark.
pub(super) fn readings(text: &str) -> Option<Readings> {
    let text = bound(text.trim()).1.trim_start_matches(['-', '+']);
    let (mantissa, _) = split_exponent(text);
    let readings = Readings::of(mantissa);
    let readings = if mantissa.len() < text.len() { readings.never_grouped() } else { readings };
    mantissa.contains(['.', ',']).then_some(readings)
}

/// The most digits that a double holds whatever they are.
const MOST_DIGITS: usize = 15;

/// The powers of ten up to so many digits: as doubles they are exact.
const TENS: [i64; MOST_DIGITS + 1] = {
    let mut tens = [1; MOST_DIGITS + 1];
    let mut at = 1;
    while at < tens.len() {
        tens[at] = 10 * tens[at - 1];
        at += 1;
    }
    tens
};

/// A few digits with or without the table's own decimal mark, by far the most common cell.
fn plain(text: &str, marks: Marks) -> Option<Number> {
    let (number, length) = leading(text.as_bytes(), marks.own())?;
    (length == text.len()).then_some(number)
}

/// The few digits, with or without a decimal mark, that a text begins with, and how many bytes they take up.
///
/// Digits and power of ten are exact, so their ratio is the nearest double, as a full reading would give.
#[inline]
pub(super) fn leading(text: &[u8], mark: Option<u8>) -> Option<(Number, usize)> {
    let (whole, before) = digits(text);
    let marked = mark.is_some() && text.get(before).copied() == mark;
    let (part, behind) = if marked { digits(&text[before + 1..]) } else { (0, 0) };
    if !(1..=MOST_DIGITS).contains(&(before + behind)) {
        return None;
    }
    let (value, power) = (whole * TENS[behind] + part, TENS[behind] as f64);
    let number = Number { value: value as f64 / power, half_step: 0.5 / power };
    Some((number, before + usize::from(marked) + behind))
}

/// The value of the digits that a text begins with, and how many there are; at most one more than [`MOST_DIGITS`].
///
/// Up to seven are taken at once, in the eight bytes of a word: a loop would cost more for not knowing how many there
/// are than for the digits.
#[inline]
fn digits(text: &[u8]) -> (i64, usize) {
    const ZEROS: u64 = u64::from_le_bytes([b'0'; 8]);
    const TOP_BITS: u64 = u64::from_le_bytes([0x80; 8]);
    let Some(eight) = text.first_chunk() else { return digits_one_by_one(text) };
    let bytes = u64::from_le_bytes(*eight) ^ ZEROS; // a digit is now 0 to 9
    // The lowest top bit that is set is that of the first byte above 9; what it carries over goes to those behind.
    let others = (bytes.wrapping_add(TOP_BITS - 10 * (TOP_BITS >> 7)) | bytes) & TOP_BITS;
    match others.trailing_zeros() {
        0..8 => (0, 0),
        64.. => digits_one_by_one(text),
        bits => {
            let ones = bytes << (64 - bits / 8 * 8); // the first digit stands lowest, zeros before it
            let pairs = (10 * ones + (ones >> 8)) & 0x00FF_00FF_00FF_00FF;
            let fours = (100 * pairs + (pairs >> 16)) & 0x0000_FFFF_0000_FFFF;
            let eight = (10_000 * fours + (fours >> 32)) & 0xFFFF_FFFF;
            (eight.cast_signed(), (bits / 8) as usize)
        }
    }
}

fn digits_one_by_one(text: &[u8]) -> (i64, usize) {
    let digits = text.iter().take(MOST_DIGITS + 1).take_while(|byte| byte.is_ascii_digit());
    digits.fold((0, 0), |(value, digits), byte| (10 * value + i64::from(byte - b'0'), digits + 1))
}

fn is_one_of(text: &str, words: &[&str]) -> bool {
    words.iter().any(|word| word.eq_ignore_ascii_case(text))
}

/// The bound a cell begins with. `<=` and `>=` are taken as `<` and `>`: a detection limit is never exact.
fn bound(text: &str) -> (fn(Number) -> Cell, &str) {
    type Bound = fn(Number) -> Cell;
    let bounds: [(&str, Bound); 6] = [
        ("<=", Cell::Below),
        ("<", Cell::Below),
        ("\u{2264}", Cell::Below),
        (">=", Cell::Above),
        (">", Cell::Above),
        ("\u{2265}", Cell::Above),
    ];
    let found =
        bounds.into_iter().find_map(|(mark, cell)| Some((cell, text.strip_prefix(mark)?.trim_start())));
    found.unwrap_or((Cell::Number, text))
}

fn number(text: &str, marks: Marks) -> Result<Number, NotANumber> {
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    let sign = if text.starts_with('-') { -1.0 } else { 1.0 };
    if ["nan", "inf", "infinity"].iter().any(|word| word.eq_ignore_ascii_case(unsigned)) {
        let value = if unsigned.starts_with(['n', 'N']) { f64::NAN } else { f64::INFINITY };
        return Ok(Number { value: sign * value, half_step: 0.0 });
    }
    let (mantissa, exponent) = split_exponent(unsigned);
    let readings = Readings::of(mantissa);
    let readings = if mantissa.len() < unsigned.len() { readings.never_grouped() } else { readings };
    let decimals = readings.decimals(marks)?;
    let mut digits: String = mantissa.chars().filter(char::is_ascii_digit).collect();
    digits.insert(digits.len().saturating_sub(decimals), '.');
    let value: f64 = format!("{digits}e{exponent}").parse().map_err(|_| NotANumber::Unreadable)?;
    let half_step = 0.5 * 10_f64.powi(exponent.saturating_sub(i32::try_from(decimals).unwrap_or(i32::MAX)));
    Ok(Number { value: sign * value, half_step })
}

/// `1.7E+03` to `1.7` and 3.
fn split_exponent(text: &str) -> (&str, i32) {
    let split =
        text.split_once(['e', 'E']).and_then(|(mantissa, power)| Some((mantissa, power.parse().ok()?)));
    split.unwrap_or((text, 0))
}

/// The ways to read a number without sign and exponent.
#[allow(clippy::option_option)] // whole or not; and if whole, which decimal mark is left, if that is known
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Readings {
    /// With this decimal mark, and so many digits behind it.
    broken: Option<(Decimal, usize)>,
    /// As a whole number whose thousands are marked; with the decimal mark that leaves, if it says.
    whole: Option<Option<Decimal>>,
}

impl Readings {
    fn of(mantissa: &str) -> Self {
        let is_mark = |c: char| !c.is_ascii_digit();
        let marks: Vec<char> = mantissa.chars().filter(|&c| is_mark(c)).collect();
        let groups: Vec<&str> = mantissa.split(is_mark).collect();
        Self { broken: Self::broken(&marks, &groups), whole: Self::whole(&marks, &groups) }
    }

    /// A mantissa with an exponent has no thousands, so its mark is the decimal mark.
    fn never_grouped(self) -> Self {
        if self.broken.is_some() { Self { whole: None, ..self } } else { self }
    }

    fn broken(marks: &[char], groups: &[&str]) -> Option<(Decimal, usize)> {
        let (&mark, thousands) = marks.split_last()?;
        let (&behind, before) = groups.split_last()?;
        let decimal = match mark {
            '.' => Decimal::Dot,
            ',' => Decimal::Comma,
            _ => return None,
        };
        let has_digits = !behind.is_empty() || before.iter().any(|group| !group.is_empty());
        let grouped = thousands.is_empty() || are_thousands(thousands, before);
        (has_digits && grouped && !thousands.contains(&mark)).then_some((decimal, behind.len()))
    }

    #[allow(clippy::option_option)] // as the field
    fn whole(marks: &[char], groups: &[&str]) -> Option<Option<Decimal>> {
        let [first, ..] = marks else {
            return (!groups.concat().is_empty()).then_some(None);
        };
        let left = match first {
            '.' => Some(Decimal::Comma),
            ',' => Some(Decimal::Dot),
            _ => None,
        };
        are_thousands(marks, groups).then_some(left)
    }

    /// The decimal mark this cell proves.
    pub(super) fn proves(self) -> Option<Decimal> {
        match (self.broken, self.whole) {
            (Some((decimal, _)), None) => Some(decimal),
            (None, Some(decimal)) => decimal,
            _ => None,
        }
    }

    /// Whether the cell can be read either way.
    pub(super) fn is_ambiguous(self) -> bool {
        self.broken.is_some() && self.whole.is_some()
    }

    /// The number of digits behind the decimal mark.
    fn decimals(self, marks: Marks) -> Result<usize, NotANumber> {
        let (decimal, firm) = match marks {
            Marks::Given(decimal) => (decimal, true),
            Marks::Found(decimal) => (decimal, false),
            Marks::Mixed if self.is_ambiguous() => return Err(NotANumber::Ambiguous),
            Marks::Mixed => (Decimal::Dot, false),
        };
        let broken = self.broken.filter(|(mark, _)| *mark == decimal);
        let whole = self.whole.filter(|left| left.is_none_or(|left| left == decimal));
        match (broken, whole) {
            (Some((_, digits)), _) => Ok(digits),
            (None, Some(_)) => Ok(0),
            (None, None) if firm => Err(NotANumber::Unreadable),
            (None, None) => match (self.broken, self.whole) {
                (Some((_, digits)), _) => Ok(digits),
                (None, Some(_)) => Ok(0),
                (None, None) => Err(NotANumber::Unreadable),
            },
        }
    }
}

/// Whether marks part a number into thousands: one kind of mark, groups of three behind one to three digits.
fn are_thousands(marks: &[char], groups: &[&str]) -> bool {
    let parts_thousands = |c: &char| matches!(c, '.' | ',' | '\'' | '\u{2019}') || c.is_whitespace();
    let Some((head, rest)) = groups.split_first() else { return false };
    marks.iter().all(|mark| parts_thousands(mark) && *mark == marks[0])
        && (1..=3).contains(&head.len())
        && !head.starts_with('0')
        && rest.iter().all(|group| group.len() == 3)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DOT: Marks = Marks::Found(Decimal::Dot);
    const COMMA: Marks = Marks::Found(Decimal::Comma);

    fn value(text: &str, marks: Marks) -> f64 {
        match read(text, marks) {
            Ok(Cell::Number(number)) => number.value,
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn reads_numbers_as_people_write_them() {
        for (text, marks, expected) in [
            ("1752", DOT, 1752.0),
            (" 1752.5 ", DOT, 1752.5),
            ("1,752", DOT, 1752.0),
            ("1,752.5", DOT, 1752.5),
            ("1,234,567", COMMA, 1_234_567.0),
            ("1,752", COMMA, 1.752),
            ("1.752", COMMA, 1752.0),
            ("1.752,5", COMMA, 1752.5),
            ("1 752,5", COMMA, 1752.5),
            ("1\u{2009}752", DOT, 1752.0),
            ("1\u{a0}752\u{a0}000", DOT, 1_752_000.0),
            ("1'752.5", DOT, 1752.5),
            ("0,5", DOT, 0.5),
            ("12.5", COMMA, 12.5),
            ("0.123", COMMA, 0.123),
            ("1.7E+03", DOT, 1700.0),
            ("1,752E+03", DOT, 1752.0),
            ("1.752E+03", COMMA, 1752.0),
            ("-3", DOT, -3.0),
            (".5", DOT, 0.5),
            ("5.", DOT, 5.0),
        ] {
            assert_eq!(value(text, marks), expected, "{text}");
        }
    }

    #[test]
    fn plain_numbers_are_the_nearest_doubles() {
        for i in 0..20_000_u32 {
            let spread = u64::from(i).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 14;
            let digits = spread % 10_u64.pow(1 + i % 15);
            for decimals in 0..=15 {
                let text = format!("{:0>1$}", digits, decimals + 1);
                let (whole, behind) = text.split_at(text.len() - decimals);
                let text = format!("{whole}.{behind}");
                let number = number(&text, DOT).unwrap();
                assert_eq!(number.value, text.parse::<f64>().unwrap(), "{text}");
                if let Some(plain) = plain(&text, DOT) {
                    assert_eq!(plain.value, number.value, "{text}");
                    assert!((plain.half_step / number.half_step - 1.0).abs() < 1e-15, "{text}");
                }
            }
        }
    }

    #[test]
    fn digits_are_those_of_the_text() {
        for i in 0..200_000_u64 {
            let noise = i.wrapping_mul(0x9E37_79B9_7F4A_7C15);
            let mut text = noise.rotate_left(17).to_le_bytes();
            let length = (i % 9) as usize;
            for (at, byte) in text[..length].iter_mut().enumerate() {
                *byte = b'0' + noise.to_le_bytes()[at] % 10;
            }
            assert_eq!(digits(&text), digits_one_by_one(&text), "{text:?}");
        }
    }

    #[test]
    fn reads_marks_for_nothing_and_for_too_many() {
        for text in ["", "  ", "-", "N/A", "\u{2013}"] {
            assert_eq!(read(text, DOT), Ok(Cell::Missing), "{text}");
        }
        for text in ["TNTC", "*", "OVER", "too many to count", "OR", ">>>", "+++"] {
            assert_eq!(read(text, DOT), Ok(Cell::TooMany), "{text}");
        }
    }

    #[test]
    fn reads_bounds() {
        assert!(matches!(read("<1", DOT), Ok(Cell::Below(n)) if n.value == 1.0));
        assert!(matches!(read("> 60 000", DOT), Ok(Cell::Above(n)) if n.value == 60_000.0));
        assert!(matches!(read("\u{2264}0,5", COMMA), Ok(Cell::Below(n)) if n.value == 0.5));
    }

    #[test]
    fn refuses_what_is_no_number() {
        for text in
            ["abc", "12 34", "1,23,4", "1.2.3", "<", ".", ",", "4 um", "--1", "1e", "e5", "12*", "1 2"]
        {
            assert_eq!(read(text, DOT), Err(NotANumber::Unreadable), "{text}");
        }
        assert_eq!(read("1,5", Marks::Given(Decimal::Dot)), Err(NotANumber::Unreadable));
        assert_eq!(read("1,234", Marks::Mixed), Err(NotANumber::Ambiguous));
        assert_eq!(value("1,5", Marks::Mixed), 1.5);
    }

    #[test]
    fn a_cell_proves_its_mark_where_only_one_reading_holds() {
        let proves = |text| readings(text).and_then(Readings::proves);
        assert_eq!(proves("1,5"), Some(Decimal::Comma));
        assert_eq!(proves("1,234,567"), Some(Decimal::Dot));
        assert_eq!(proves("1.234,5"), Some(Decimal::Comma));
        assert_eq!(proves("<0,123"), Some(Decimal::Comma));
        assert_eq!(proves("1,234"), None);
        assert!(readings("1,234").unwrap().is_ambiguous());
        assert_eq!(readings("1234"), None);
    }

    #[test]
    fn knows_how_finely_a_number_is_printed() {
        let step = |text| match read(text, DOT) {
            Ok(Cell::Number(number)) => number.half_step,
            other => panic!("{other:?}"),
        };
        assert_eq!(step("17"), 0.5);
        assert!((step("17.25") - 0.005).abs() < 1e-15);
        assert_eq!(step("17e2"), 50.0);
    }
}
