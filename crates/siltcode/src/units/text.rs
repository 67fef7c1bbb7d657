//! Units of the table, and reading and printing a number with one.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::table;

/// A row of the table of units.
#[derive(Debug, Deserialize)]
struct Row {
    quantity: String,
    symbol: String,
    #[serde(default)]
    aliases: String,
    factor_to_base: f64,
    offset: f64,
}

/// A unit: `base = (value + offset) * factor`.
#[derive(Debug)]
pub(super) struct Unit {
    quantity: String,
    pub(super) symbol: String,
    aliases: Vec<String>,
    factor: f64,
    offset: f64,
}

impl From<Row> for Unit {
    fn from(row: Row) -> Self {
        let aliases = row.aliases.split('|').map(str::trim).filter(|alias| !alias.is_empty());
        Self {
            aliases: aliases.map(str::to_owned).collect(),
            quantity: row.quantity,
            symbol: row.symbol,
            factor: row.factor_to_base,
            offset: row.offset,
        }
    }
}

static UNITS: LazyLock<Vec<Unit>> =
    LazyLock::new(|| table::rows::<Row>(&siltcode_tables::UNITS).into_iter().map(Unit::from).collect());

impl Unit {
    pub(super) fn to_base(&self, value: f64) -> f64 {
        (value + self.offset) * self.factor
    }

    pub(super) fn of_base(&self, base: f64) -> f64 {
        base / self.factor - self.offset
    }

    fn spellings(&self) -> impl Iterator<Item = &str> {
        std::iter::once(self.symbol.as_str()).chain(self.aliases.iter().map(String::as_str))
    }
}

fn units_of(quantity: &str) -> impl Iterator<Item = &'static Unit> {
    UNITS.iter().filter(move |unit| unit.quantity == quantity)
}

/// The symbols of a quantity, in the order of the table.
pub(super) fn symbols(quantity: &str) -> Vec<&'static str> {
    units_of(quantity).map(|unit| unit.symbol.as_str()).collect()
}

/// A unit this library names itself; a test reads every one of them from the table.
pub(super) fn unit(quantity: &str, symbol: &str) -> &'static Unit {
    units_of(quantity)
        .find(|unit| unit.symbol == symbol)
        .unwrap_or_else(|| panic!("embedded table units: no {quantity} in {symbol}"))
}

/// The unit a user wrote: as spelled, else in any case where that leaves one unit only (`MPa` is not `mPa`).
pub(super) fn find_unit(quantity: &str, text: &str) -> Option<&'static Unit> {
    let plain = plain(text);
    let exact = units_of(quantity).find(|unit| unit.spellings().any(|s| self::plain(s) == plain));
    exact.or_else(|| {
        let lower = plain.to_lowercase();
        let mut any_case = units_of(quantity)
            .filter(|unit| unit.spellings().any(|s| self::plain(s).to_lowercase() == lower));
        any_case.next().filter(|_| any_case.next().is_none())
    })
}

/// Without spaces, raised digits and the dots and signs that print but do not distinguish.
fn plain(text: &str) -> String {
    let ascii = |c| match c {
        '²' => '2',
        '³' => '3',
        'µ' | 'μ' => 'u',
        _ => c,
    };
    let kept = text.chars().filter(|c| !c.is_whitespace() && !matches!(c, '·' | '*' | '.'));
    kept.map(ascii).collect::<String>().replace('°', "deg")
}

/// Splits `18 000.5 L` into the number and the unit's text.
pub(super) fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let start = text
        .char_indices()
        .find(|&(i, c)| (c.is_alphabetic() || matches!(c, '°' | '"')) && !exponent(text, i))?
        .0;
    Some((number(text[..start].trim())?, &text[start..]))
}

/// The two readings of `18.000 L`, with thousands and with decimals; none where the point can only part decimals: with
/// more than three digits before it, a leading 0, or other than three digits behind it.
pub(super) fn readings(text: &str) -> Option<[String; 2]> {
    let text = text.trim();
    let (number, unit) = text.split_at(text.find(|c: char| !(c.is_ascii_digit() || c == '.'))?);
    let (whole, decimals) = number.split_once('.')?;
    let ambiguous = (1..=3).contains(&whole.len()) && !whole.starts_with('0') && decimals.len() == 3;
    let plain = number.trim_end_matches('0').trim_end_matches('.');
    (ambiguous && !decimals.contains('.'))
        .then(|| [format!("{whole}{decimals} {}", unit.trim()), format!("{plain} {}", unit.trim())])
}

/// Where a plain number, with or without a power of ten, ends at the beginning of a text.
pub(crate) fn number_end(text: &str) -> usize {
    let after = |from: usize, wanted: fn(char) -> bool| {
        text[from..].find(|c: char| !wanted(c)).map_or(text.len(), |found| from + found)
    };
    let end = after(0, |c| c.is_ascii_digit() || c == '.');
    if end < text.len() && exponent(text, end) {
        return after(end + 2, |c| c.is_ascii_digit()); // behind the letter, and a sign or the first digit
    }
    end
}

/// Whether the letter at `i` is the `e` of `1.5e-3`.
fn exponent(text: &str, i: usize) -> bool {
    let (before, rest) = text.split_at(i);
    let digits = rest.strip_prefix(['e', 'E']).map(|rest| rest.strip_prefix(['-', '+']).unwrap_or(rest));
    before.ends_with(|c: char| c.is_ascii_digit() || c == '.')
        && digits.is_some_and(|digits| digits.starts_with(|c: char| c.is_ascii_digit()))
}

/// A decimal number whose whole part may stand in groups of three.
fn number(text: &str) -> Option<f64> {
    let (whole, rest) = text.split_at(text.find(['.', 'e', 'E']).unwrap_or(text.len()));
    format!("{}{rest}", ungrouped(whole)?).parse::<f64>().ok().filter(|value| value.is_finite())
}

/// The digits without their separators: one and the same separator, and three digits behind each.
fn ungrouped(whole: &str) -> Option<String> {
    let separator =
        whole.chars().find(|c| matches!(c, ',' | '\'' | '’' | ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}'));
    let Some(separator) = separator else { return Some(whole.to_owned()) };
    let mut groups = whole.split(separator);
    let first = groups.next()?;
    let leads = (1..=3).contains(&first.trim_start_matches(['-', '+']).len());
    let threes = groups.clone().all(|group| group.len() == 3 && group.bytes().all(|b| b.is_ascii_digit()));
    (leads && threes).then(|| std::iter::once(first).chain(groups).collect())
}

/// A number to at most `digits` significant digits, without trailing zeros; with a power of ten where it would take
/// more than fifteen places.
///
/// ```
/// use siltcode::units::significant;
///
/// assert_eq!(significant(17.980_705_9, 6), "17.9807");
/// assert_eq!(significant(2500.0, 3), "2500");
/// assert_eq!(significant(0.000_123_456, 3), "0.000123");
/// assert_eq!(significant(1.25e30, 6), "1.25e30");
/// ```
#[must_use]
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    #[allow(clippy::cast_possible_truncation)] // the exponent of a double lies within 324
    let exponent = value.abs().log10().floor() as i64;
    let without_zeros = |text: &str| {
        if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        } else {
            text.to_owned()
        }
    };
    if !(-PLACES..PLACES).contains(&exponent) {
        let text = format!("{value:.*e}", digits.saturating_sub(1));
        let (number, power) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}e{power}", without_zeros(number));
    }
    let decimals = usize::try_from(i64::try_from(digits).unwrap_or(i64::MAX) - 1 - exponent).unwrap_or(0);
    without_zeros(&format!("{value:.decimals$}"))
}

/// Places before or behind the point that can still be read.
const PLACES: i64 = 15;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_read_and_decimal_commas_are_not() {
        for (text, value) in [
            ("4,750 gal", 4750.0),
            ("18 000.5 L", 18000.5),
            ("1'234'567L", 1_234_567.0),
            ("1.5e-3 m3", 0.0015),
            ("-5 degC", -5.0),
            (".5 h", 0.5),
        ] {
            assert_eq!(number_and_unit(text).map(|(number, _)| number), Some(value), "{text}");
        }
        for text in
            ["1,5 m3", "4,75,000 L", "1.234.567 L", "m3", "18", "", "- L", "1 000,000 L", "NaN m3", "inf m"]
        {
            assert_eq!(number_and_unit(text).map(|(number, _)| number), None, "{text}");
        }
    }

    #[test]
    fn a_point_before_three_digits_may_set_apart_thousands() {
        let readings = |text| readings(text).map(|[thousands, decimals]| format!("{thousands}, {decimals}"));
        assert_eq!(readings("18.000 L").as_deref(), Some("18000 L, 18 L"));
        assert_eq!(readings(" 4.755 gal").as_deref(), Some("4755 gal, 4.755 gal"));
        for text in [
            "18.0 L",
            "18.00 L",
            "0.500 L",
            "1800.000 L",
            "18 000 L",
            "18.000.000 L",
            "18.0005 L",
            "L",
            "18.000",
        ] {
            assert_eq!(readings(text), None, "{text}");
        }
    }

    #[test]
    fn units_are_read_as_spelled_first() {
        let symbol = |quantity, text| find_unit(quantity, text).map(|unit| unit.symbol.as_str());
        assert_eq!(symbol("volume", "m³"), Some("m3"));
        assert_eq!(symbol("flow", "l / min"), Some("L/min"));
        assert_eq!(symbol("flow", "GPM"), Some("gpm"));
        assert_eq!(symbol("flow", "m3"), None);
    }

    #[test]
    fn significant_digits_round() {
        assert_eq!(significant(999.9996, 6), "1000");
        assert_eq!(significant(-0.25, 6), "-0.25");
        assert_eq!(significant(0.0, 6), "0");
        assert_eq!(significant(123_456_789.0, 6), "123456789");
        assert_eq!(significant(1e300, 6), "1e300");
        assert_eq!(significant(-1.234e-300, 3), "-1.23e-300");
        assert_eq!(significant(f64::from_bits(1), 3), "4.94e-324");
    }
}
