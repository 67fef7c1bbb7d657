//! Whether the stated test method covers the counts.

use std::sync::LazyLock;

use serde::Deserialize;

use super::{Flag, doubt, note};
use crate::sample::Sample;
use crate::size::SizeScale;
use crate::spectrum::{Channel, Spectrum};
use crate::table;

static METHOD_RANGES: LazyLock<Vec<MethodRange>> =
    LazyLock::new(|| table::rows(&siltcode_tables::TEST_METHOD_RANGES));

#[derive(Deserialize)]
struct MethodRange {
    method: String,
    property: String,
    size_min_um_c: Option<f64>,
    size_max_um_c: Option<f64>,
    max_per_ml: Option<f64>,
}

pub(super) fn of_method(sample: &Sample, spectrum: &Spectrum, method: Option<&str>) -> Vec<Flag> {
    let noted = || {
        let names_method = |heading: &str| {
            letters(heading).eq("method".chars()) || letters(heading).eq("testmethod".chars())
        };
        sample.notes.iter().find(|(heading, _)| names_method(heading))
    };
    let Some(method) =
        method.or_else(|| noted().map(|(_, text)| text.as_str())).filter(|m| !m.trim().is_empty())
    else {
        return Vec::new();
    };
    let named = METHOD_RANGES
        .iter()
        .find(|row| row.property == "particles" && plain(method).contains(&plain(&row.method)));
    let Some(range) = named else {
        let evidence = format!("no range is known of the method `{}`", method.trim());
        return vec![note(
            "method-not-known",
            None,
            evidence,
            "check the counts against the method's own scope",
        )];
    };
    spectrum.channels().iter().filter_map(|channel| outside(channel, range)).collect()
}

/// Letters and digits, in lower case: `ASTM D7619-22` holds `ASTM D 7619`.
fn plain(text: &str) -> String {
    letters(text).collect()
}

fn letters(text: &str) -> impl Iterator<Item = char> {
    text.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase())
}

fn outside(channel: &Channel, range: &MethodRange) -> Option<Flag> {
    let (size, um) = (channel.size, channel.size.um());
    let is_outside =
        range.size_min_um_c.is_some_and(|min| um < min) || range.size_max_um_c.is_some_and(|max| um > max);
    if size.scale() == SizeScale::UmC && is_outside && channel.reading.is_counted() {
        let (min, max) = (range.size_min_um_c.unwrap_or(0.0), range.size_max_um_c.unwrap_or(f64::INFINITY));
        let evidence = format!("{} covers {min} to {max} um(c)", range.method);
        return Some(note(
            "size-outside-method",
            Some(size),
            evidence,
            "report this size outside the method's scope",
        ));
    }
    let found = channel.reading.count()?.get();
    let max = range.max_per_ml.filter(|max| found > *max)?;
    let evidence = format!("{found:.0} per mL, {} goes up to {max:.0}", range.method);
    Some(doubt(
        "above-method-range",
        Some(size),
        evidence,
        "dilute the sample and count again, and state the dilution",
    ))
}
