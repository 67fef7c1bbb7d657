//! Companion measurements and their units in headings.

use crate::companion::{CompanionUnit, Property};
use crate::intake::words::{self, fold};

/// A companion measurement with its unit, and whether the heading said more (a temperature) than they can hold.
pub(super) fn companion(heading: &str) -> Option<(Property, CompanionUnit, bool)> {
    let without = without_method(heading.trim());
    let heading = without.trim();
    if let Some(rest) = strip_prefix_ignoring_case(heading, "microbial") {
        let (name, unit) = split_unit(rest.trim_start_matches([':', ' ', '_']));
        let name = if name.is_empty() { "microbial" } else { name };
        return Some((Property::Microbial(name.into()), unit.unwrap_or(CompanionUnit::None), false));
    }
    let (name, unit) = split_unit(heading);
    if let Some((property, qualified)) = property(name) {
        return Some((property, unit.unwrap_or(CompanionUnit::None), qualified));
    }
    let breaks = name.char_indices().filter(|(_, c)| c.is_whitespace() || matches!(c, '_' | ','));
    breaks.map(|(at, c)| (&name[..at], &name[at + c.len_utf8()..])).find_map(|(name, unit)| {
        let (property, qualified) = property(name)?;
        Some((property, known_unit(unit)?, qualified))
    })
}

/// `Water (KF) mg/kg` without the bracketed method.
fn without_method(heading: &str) -> String {
    let method = heading.find(['(', '[']).and_then(|open| {
        let close = open + heading[open..].find([')', ']'])?;
        let inner = &heading[open + 1..close];
        let is_method = !inner.is_empty() && inner.chars().all(|c| c.is_alphabetic() || c == ' ' || c == '-');
        (is_method && known_unit(inner).is_none() && property(heading[..open].trim()).is_some())
            .then_some((open, close))
    });
    method.map_or_else(
        || heading.to_owned(),
        |(open, close)| format!("{} {}", heading[..open].trim(), heading[close + 1..].trim()),
    )
}

fn strip_prefix_ignoring_case<'a>(text: &'a str, prefix: &str) -> Option<&'a str> {
    let head = text.get(..prefix.len())?;
    head.eq_ignore_ascii_case(prefix).then(|| &text[prefix.len()..])
}

/// `Water [mg/kg]` to `Water` and its unit.
fn split_unit(heading: &str) -> (&str, Option<CompanionUnit>) {
    let inner = heading.strip_suffix([']', ')']).and_then(|open| open.rsplit_once(['[', '(']));
    match inner {
        Some((name, unit)) if !name.trim().is_empty() => {
            (name.trim(), known_unit(unit).or_else(|| unit.parse().ok()))
        }
        _ => (heading, None),
    }
}

/// A unit that is known, also written with underscores.
fn known_unit(text: &str) -> Option<CompanionUnit> {
    let text = text.trim().to_lowercase();
    let text = match text.as_str() {
        "mg_kg" | "ppm m/m" | "ppm (m/m)" | "mg/kg (ppm)" | "ppm mass" | "ppm w/w" | "mg per kg" => "mg/kg",
        "mg_l" | "mg per l" | "mg per litre" => "mg/L",
        "pct_vol" | "vol_pct" | "percent vol" => "% vol",
        "kg_m3" => "kg/m3",
        "mm2_s" => "mm2/s",
        other => other,
    };
    match text.parse().unwrap_or(CompanionUnit::None) {
        CompanionUnit::Other(_) | CompanionUnit::None => None,
        known => Some(known),
    }
}

/// The property of a name, and whether a temperature was said with it.
fn property(name: &str) -> Option<(Property, bool)> {
    let plain = fold(name.trim()).replace('_', " ");
    let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    if let Some(property) = known(&plain) {
        return Some((property, false));
    }
    let marks = [" at ", " @ ", " bei ", " a "];
    let (name, temperature) = marks.iter().find_map(|mark| plain.split_once(mark))?;
    let is_temperature = temperature.starts_with(|c: char| c.is_ascii_digit());
    known(name).filter(|_| is_temperature).map(|property| (property, true))
}

fn known(plain: &str) -> Option<Property> {
    let of_words = |property: &Property| words::is(property.name(), plain);
    Property::NAMED.into_iter().find(of_words).or_else(|| Property::named(plain))
}
