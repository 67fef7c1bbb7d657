//! What a column holds, from its heading.

use crate::companion::{CompanionUnit, Property};
use crate::count::Basis;
use crate::size::SizeScale;

use super::options::Form;

/// What a column holds.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Role {
    /// The bottle; of several, the lowest rank is it.
    Id { rank: usize },
    /// The run's label.
    Run,
    /// The counted volume; times the factor it is in mL.
    Volume { ml: f64 },
    /// The dilution factor.
    Dilution,
    /// A date or a time.
    Date,
    /// Sample or blank.
    Kind,
    /// Anything about counts: a size's counts, or the sizes, or the counts.
    Counts(Counts),
    /// The unit of the counts of each row.
    BasisOfRow,
    /// The scale of the sizes of each row.
    ScaleOfRow,
    /// A companion measurement.
    Companion { property: Property, unit: CompanionUnit, qualified: bool },
    /// A column written with rejected rows; passed over.
    Rejected,
    /// Anything else.
    Note,
}

/// What a text says about sizes and counts.
#[allow(clippy::struct_excessive_bools)] // each is one thing said or not
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Counts {
    /// The size, and the upper size of a band.
    pub(super) size: Option<(f64, Option<f64>)>,
    /// Whether it is said to be at and above or above the size.
    pub(super) compared: bool,
    /// Whether micrometres are named.
    pub(super) micrometres: bool,
    /// The scale.
    pub(super) scale: Option<SizeScale>,
    /// What the counts refer to.
    pub(super) basis: Option<Basis>,
    /// Cumulative or differential.
    pub(super) form: Option<Form>,
    /// Whether counts or particles are named.
    pub(super) counted: bool,
    /// Whether a size or channel is named.
    pub(super) sized: bool,
}

impl Counts {
    /// Whether it is nothing but a number, which may be a size.
    pub(super) fn is_bare(&self) -> bool {
        *self == Self { size: self.size, ..Self::default() } && self.size.is_some_and(|(_, to)| to.is_none())
    }

    /// Whether it heads the sizes of a table with one row per size.
    pub(super) fn heads_sizes(&self) -> bool {
        self.size.is_none() && self.basis.is_none() && (self.sized || self.micrometres)
    }

    /// Whether it heads the counts of a table with one row per size.
    pub(super) fn heads_counts(&self) -> bool {
        self.size.is_none() && !self.sized && (self.counted || self.basis.is_some())
    }
}

/// Headings of the bottle, the best first.
const IDS: [&str; 30] = [
    "id",
    "sample id",
    "sample no",
    "sample number",
    "sample name",
    "sample",
    "bottle id",
    "bottle no",
    "bottle number",
    "bottle name",
    "bottle",
    "lab id",
    "lab no",
    "lab number",
    "laboratory no",
    "specimen",
    "specimen id",
    "sampleid",
    "bottleid",
    "sample ref",
    "sample reference",
    "reference",
    "ref",
    "name",
    "label",
    "probe",
    "flasche",
    "no",
    "nr",
    "#",
];
const RUNS: [&str; 11] = [
    "run",
    "run no",
    "run number",
    "replicate",
    "replicate no",
    "rep",
    "repeat",
    "measurement",
    "count no",
    "test run",
    "lauf",
];
const VOLUMES: [&str; 8] = [
    "volume",
    "vol",
    "counted volume",
    "volume counted",
    "count volume",
    "analysed volume",
    "analyzed volume",
    "volume per run",
];
const DILUTIONS: [&str; 5] = ["dilution", "dilution factor", "dil", "dil factor", "dilution ratio"];
const DATES: [&str; 14] = [
    "date",
    "time",
    "date time",
    "datetime",
    "timestamp",
    "sampled",
    "sampled at",
    "sampled on",
    "sample date",
    "sampling date",
    "date sampled",
    "counted at",
    "counted on",
    "sample time",
];
const KINDS: [&str; 5] = ["kind", "type", "sample type", "sample kind", "sample or blank"];
const BASES: [&str; 6] = ["unit", "units", "basis", "count unit", "count basis", "counts per"];
const SCALES: [&str; 3] = ["scale", "size scale", "size unit"];

/// Other names of the companion properties.
const PROPERTIES: [(&str, Property); 33] = [
    ("water content", Property::Water),
    ("total water", Property::Water),
    ("karl fischer water", Property::Water),
    ("water kf", Property::Water),
    ("undissolved water", Property::FreeWater),
    ("water & sediment", Property::WaterAndSediment),
    ("water+sediment", Property::WaterAndSediment),
    ("sediment and water", Property::WaterAndSediment),
    ("w&s", Property::WaterAndSediment),
    ("bs&w", Property::WaterAndSediment),
    ("particulates", Property::Particulate),
    ("particulate matter", Property::Particulate),
    ("particulate contamination", Property::Particulate),
    ("contamination total", Property::TotalContamination),
    ("haze rating", Property::Haze),
    ("haze number", Property::Haze),
    ("visual appearance", Property::Appearance),
    ("aluminum and silicon", Property::AluminiumAndSilicon),
    ("aluminium + silicon", Property::AluminiumAndSilicon),
    ("aluminum + silicon", Property::AluminiumAndSilicon),
    ("aluminium+silicon", Property::AluminiumAndSilicon),
    ("al+si", Property::AluminiumAndSilicon),
    ("al + si", Property::AluminiumAndSilicon),
    ("al and si", Property::AluminiumAndSilicon),
    ("si+al", Property::AluminiumAndSilicon),
    ("cat fines", Property::AluminiumAndSilicon),
    ("catalyst fines", Property::AluminiumAndSilicon),
    ("kinematic viscosity", Property::Viscosity),
    ("visc", Property::Viscosity),
    ("dens", Property::Density),
    ("flashpoint", Property::FlashPoint),
    ("flash", Property::FlashPoint),
    ("appearance rating", Property::Appearance),
];

/// Words that say nothing of their own in a heading of counts.
const FILLERS: [&str; 14] = [
    "of", "at", "and", "or", "no", "number", "larger", "above", "greater", "than", "least", "equal", "to",
    "in",
];

impl Role {
    /// The role a heading gives its column.
    pub(super) fn of(heading: &str) -> Self {
        let plain = plain(heading);
        if plain.starts_with("rejected ") {
            return Self::Rejected;
        }
        if let Some(role) = Self::by_name(&plain) {
            return role;
        }
        if let Some(ml) = volume_unit(&plain) {
            return Self::Volume { ml };
        }
        if let Some((property, unit, qualified)) = companion(heading) {
            return Self::Companion { property, unit, qualified };
        }
        counts(heading).map_or(Self::Note, Self::Counts)
    }

    fn by_name(plain: &str) -> Option<Self> {
        let is = |names: &[&str]| names.contains(&plain);
        if let Some(rank) = IDS.iter().position(|name| *name == plain) {
            return Some(Self::Id { rank });
        }
        Some(match plain {
            _ if is(&RUNS) => Self::Run,
            _ if is(&DILUTIONS) => Self::Dilution,
            _ if is(&DATES) => Self::Date,
            _ if is(&KINDS) => Self::Kind,
            _ if is(&BASES) => Self::BasisOfRow,
            _ if is(&SCALES) => Self::ScaleOfRow,
            _ => return None,
        })
    }
}

/// Lower case, one space between words, no brackets or closing marks.
fn plain(text: &str) -> String {
    let spaced: String = text
        .to_lowercase()
        .chars()
        .map(|c| if matches!(c, '_' | '.' | ':' | '(' | ')' | '[' | ']' | ',' | '/') { ' ' } else { c })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// `volume ml`, `vol l`: how many mL its unit is.
fn volume_unit(plain: &str) -> Option<f64> {
    if VOLUMES.contains(&plain) {
        return Some(1.0);
    }
    let (name, unit) = plain.rsplit_once(' ')?;
    let ml = match unit {
        "ml" | "cm3" | "cm\u{b3}" | "cc" => 1.0,
        "l" => 1000.0,
        _ => return None,
    };
    VOLUMES.contains(&name).then_some(ml)
}

/// A companion measurement with its unit, and whether the heading said more (a temperature) than they can hold.
fn companion(heading: &str) -> Option<(Property, CompanionUnit, bool)> {
    let heading = heading.trim();
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

fn strip_prefix_ignoring_case<'a>(text: &'a str, prefix: &str) -> Option<&'a str> {
    let head = text.get(..prefix.len())?;
    head.eq_ignore_ascii_case(prefix).then(|| &text[prefix.len()..])
}

/// `Water [mg/kg]` to `Water` and its unit.
fn split_unit(heading: &str) -> (&str, Option<CompanionUnit>) {
    let inner = heading.strip_suffix([']', ')']).and_then(|open| open.rsplit_once(['[', '(']));
    match inner {
        Some((name, unit)) if !name.trim().is_empty() => (name.trim(), unit.parse().ok()),
        _ => (heading, None),
    }
}

/// A unit that is known, also written with underscores.
pub(super) fn known_unit(text: &str) -> Option<CompanionUnit> {
    let text = text.trim().to_lowercase();
    let text = match text.as_str() {
        "mg_kg" | "mg per kg" => "mg/kg",
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
    let plain = name.trim().to_lowercase().replace('_', " ");
    let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    let known = |name: &str| {
        let other = PROPERTIES.iter().find(|(other, _)| *other == name).map(|(_, property)| property.clone());
        other.or_else(|| Property::named(name))
    };
    if let Some(property) = known(&plain) {
        return Some((property, false));
    }
    let (name, temperature) = plain.split_once(" at ").or_else(|| plain.split_once(" @ "))?;
    let is_temperature = temperature.starts_with(|c: char| c.is_ascii_digit());
    known(name).filter(|_| is_temperature).map(|property| (property, true))
}

/// What a heading or a cell says of sizes and counts; none as soon as it says anything else.
pub(super) fn counts(text: &str) -> Option<Counts> {
    let tokens = tokens(text);
    let mut counts = Counts::default();
    let mut rest = tokens.as_slice();
    while !rest.is_empty() {
        rest = counts.take(rest)?;
    }
    (counts != Counts::default()).then_some(counts)
}

#[derive(Debug, Clone, PartialEq)]
enum Token {
    Number(f64),
    Word(String),
    /// `>` or `>=`
    AtLeast,
    Sign(char),
}

fn tokens(text: &str) -> Vec<Token> {
    let mut text = text
        .to_lowercase()
        .replace(['\u{b5}', '\u{3bc}'], "u")
        .replace("cm\u{b3}", "ml")
        .replace("cm3", "ml");
    for (written, plain) in [
        ("(c)", " scale_c "),
        ("(b)", " scale_b "),
        ("\u{2265}", ">"),
        ("\u{2a7e}", ">"),
        (">=", ">"),
        ("=>", ">"),
        ("\u{2013}", "-"),
        ("\u{2014}", "-"),
        ("..", "-"),
        ("\u{207b}\u{b9}", "-1"),
    ] {
        text = text.replace(written, plain);
    }
    let chars: Vec<char> = text.chars().collect();
    let mut tokens = Vec::new();
    let mut at = 0;
    while at < chars.len() {
        let end = token_end(&chars, at);
        tokens.extend(token(&chars[at..end]));
        at = end;
    }
    tokens
}

/// Where the token that begins at `at` ends: a run of digits with their decimal mark, a word, or one sign.
fn token_end(chars: &[char], at: usize) -> usize {
    let first = chars[at];
    let is_digit = |i: usize| chars.get(i).is_some_and(char::is_ascii_digit);
    let belongs = |i: usize| {
        let c = chars[i];
        if first.is_ascii_digit() {
            c.is_ascii_digit() || (matches!(c, '.' | ',') && is_digit(i + 1))
        } else {
            first.is_alphabetic()
                && (c.is_alphabetic() || (c == '_' && chars[at..i].starts_with(&['s', 'c', 'a', 'l', 'e'])))
        }
    };
    (at + 1..chars.len()).find(|&i| !belongs(i)).unwrap_or(chars.len())
}

fn token(chars: &[char]) -> Option<Token> {
    let text: String = chars.iter().collect();
    match chars[0] {
        c if c.is_ascii_digit() => {
            Some(text.replace(',', ".").parse().map_or(Token::Word(text), Token::Number))
        }
        c if c.is_alphabetic() => Some(Token::Word(text)),
        '>' => Some(Token::AtLeast),
        c if c.is_whitespace()
            || matches!(c, '(' | ')' | '[' | ']' | '{' | '}' | ',' | ':' | '_' | '.' | '^') =>
        {
            None
        }
        c => Some(Token::Sign(c)),
    }
}

impl Counts {
    /// Takes the next thing said and gives back what is left; none if it is not about counts or was said before.
    fn take<'a>(&mut self, tokens: &'a [Token]) -> Option<&'a [Token]> {
        if let Some((basis, rest)) = basis(tokens) {
            return self.basis.replace(basis).is_none_or(|before| before == basis).then_some(rest);
        }
        match tokens {
            [Token::Word(iso), Token::Number(number), rest @ ..] if iso == "iso" => {
                self.scale = Some(scale_of_standard(*number)?);
                Some(rest)
            }
            [Token::Number(from), Token::Sign('-'), Token::Number(to), rest @ ..] => {
                self.take_size(*from, Some(*to), rest)
            }
            [Token::Number(from), Token::Word(word), Token::Number(to), rest @ ..] if word == "to" => {
                self.take_size(*from, Some(*to), rest)
            }
            [Token::Number(um), rest @ ..] => self.take_size(*um, None, rest),
            [Token::AtLeast, rest @ ..] => {
                self.compared = true;
                Some(rest)
            }
            [Token::Word(word), rest @ ..] => self.take_word(word).then_some(rest),
            _ => None,
        }
    }

    fn take_size<'a>(&mut self, from: f64, to: Option<f64>, rest: &'a [Token]) -> Option<&'a [Token]> {
        let possible = from > 0.0 && to.is_none_or(|to| to > from);
        (possible && self.size.replace((from, to)).is_none()).then_some(rest)
    }

    fn take_word(&mut self, word: &str) -> bool {
        match word {
            "um" | "micron" | "microns" | "mic" | "micrometre" | "micrometres" | "micrometer"
            | "micrometers" => {
                self.micrometres = true;
            }
            "umc" | "scale_c" => self.scale = Some(SizeScale::UmC),
            "umb" | "scale_b" => self.scale = Some(SizeScale::UmB),
            "acftd" => self.scale = Some(SizeScale::Acftd),
            "microscope" | "microscopic" => self.scale = Some(SizeScale::Microscope),
            "n" | "count" | "counts" | "particle" | "particles" | "concentration" | "conc" => {
                self.counted = true;
            }
            "size" | "sizes" | "channel" | "diameter" => self.sized = true,
            "raw" => self.basis = Some(Basis::Raw),
            "cumulative" | "cum" => self.form = Some(Form::Cumulative),
            "differential" | "diff" | "band" | "interval" => self.form = Some(Form::Differential),
            other => return FILLERS.contains(&other),
        }
        true
    }
}

fn is_one(number: f64) -> bool {
    (number - 1.0).abs() < f64::EPSILON
}

fn scale_of_standard(number: f64) -> Option<SizeScale> {
    [(11171.0, SizeScale::UmC), (4402.0, SizeScale::Acftd), (4407.0, SizeScale::Microscope)]
        .into_iter()
        .find_map(|(standard, scale)| (number - standard == 0.0).then_some(scale))
}

/// `/ml`, `per 100 ml`, `1/ml`, `#/100ml`, `ml-1`, `per litre`.
fn basis(tokens: &[Token]) -> Option<(Basis, &[Token])> {
    let word_in =
        |token: &Token, words: &[&str]| matches!(token, Token::Word(word) if words.contains(&word.as_str()));
    if let [ml, Token::Sign('-'), Token::Number(one), rest @ ..] = tokens
        && word_in(ml, &["ml"])
        && is_one(*one)
    {
        return Some((Basis::PerMl, rest));
    }
    let tokens = match tokens {
        [Token::Number(one), Token::Sign('/'), ..] if is_one(*one) => &tokens[1..],
        [Token::Sign('#'), Token::Sign('/'), ..] => &tokens[1..],
        [unit, Token::Sign('/'), ..] if word_in(unit, &["p", "pcs", "no", "nr"]) => &tokens[1..],
        all => all,
    };
    let (per, rest) = tokens.split_first()?;
    if *per != Token::Sign('/') && !word_in(per, &["per"]) {
        return None;
    }
    let (amount, rest) = match rest {
        [Token::Number(amount), rest @ ..] => (*amount, rest),
        all => (1.0, all),
    };
    let (unit, rest) = rest.split_first()?;
    let ml = match unit {
        unit if word_in(unit, &["ml", "cc", "millilitre", "milliliter"]) => amount,
        unit if word_in(unit, &["l", "litre", "liter"]) => 1000.0 * amount,
        _ => return None,
    };
    let known = [Basis::PerMl, Basis::Per100Ml, Basis::PerL]
        .into_iter()
        .find(|basis| basis.volume_ml() == Some(ml))?;
    Some((known, rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn size(heading: &str) -> (f64, Option<f64>) {
        match Role::of(heading) {
            Role::Counts(Counts { size: Some(size), .. }) => size,
            other => panic!("{heading}: {other:?}"),
        }
    }

    fn of_counts(heading: &str) -> Counts {
        match Role::of(heading) {
            Role::Counts(counts) => counts,
            other => panic!("{heading}: {other:?}"),
        }
    }

    #[test]
    fn finds_the_size_in_many_spellings() {
        for heading in [
            ">=4 um(c) /mL",
            "n4",
            "4 \u{b5}m",
            "4um(c)",
            "\u{2265} 4 \u{3bc}m (c)",
            "> 4um per 100 mL",
            "N_4",
            "4 micron",
            "Particles >= 4 \u{b5}m(c) [1/mL]",
            "counts >4 / 100ml",
            "raw 4 um(c)",
            "4umc",
            "Count at 4 um (ACFTD)",
            "n>=4um(c) [mL-1]",
            "cum. 4 um(c) #/mL",
            "4 um ISO 11171",
            "4 um(c) particles/mL",
            "p/ml >4",
            "4",
            "4.0 um",
            "4,0 \u{b5}m",
        ] {
            assert_eq!(size(heading), (4.0, None), "{heading}");
        }
        for heading in ["4-6 um", "4 to 6 um(c)", "4\u{2013}6", "4..6 um", "diff 4-6 /mL"] {
            assert_eq!(size(heading), (4.0, Some(6.0)), "{heading}");
        }
    }

    #[test]
    fn finds_unit_and_scale() {
        assert_eq!(of_counts(">14um per 100 mL").basis, Some(Basis::Per100Ml));
        assert_eq!(of_counts("4 um(c) /L").basis, Some(Basis::PerL));
        assert_eq!(of_counts("4 um(c) 1/cm\u{b3}").basis, Some(Basis::PerMl));
        assert_eq!(of_counts("raw 4 um(c)").basis, Some(Basis::Raw));
        assert_eq!(of_counts("4 um(b)").scale, Some(SizeScale::UmB));
        assert_eq!(of_counts("5 um microscope").scale, Some(SizeScale::Microscope));
        assert_eq!(of_counts("n4").basis, None);
    }

    #[test]
    fn is_no_size() {
        for heading in [
            "ISO 4",
            "ISO 4406",
            "filter 4 um",
            "tank 4",
            "comment",
            "NAS 5-15",
            "6-4 um",
            "4 6 um",
            "4 um /10 mL",
            "2024-05-01",
        ] {
            assert_eq!(Role::of(heading), Role::Note, "{heading}");
        }
    }

    #[test]
    fn finds_the_other_columns() {
        assert_eq!(Role::of("Run no."), Role::Run);
        assert_eq!(Role::of("Volume [mL]"), Role::Volume { ml: 1.0 });
        assert_eq!(Role::of("vol (l)"), Role::Volume { ml: 1000.0 });
        assert_eq!(Role::of("Dilution factor"), Role::Dilution);
        assert_eq!(Role::of("Date/time"), Role::Date);
        assert_eq!(Role::of("rejected: why"), Role::Rejected);
        assert!(matches!(Role::of("Sample ID"), Role::Id { .. }));
        assert!(matches!(Role::of("bottle_no"), Role::Id { .. }));
        assert!(of_counts("size [um(c)]").heads_sizes());
        assert!(of_counts("count /mL").heads_counts());
        assert!(of_counts("particles per 100 mL").heads_counts());
    }

    #[test]
    fn finds_companions_with_their_units() {
        use CompanionUnit::{KgPerM3, MgPerKg, MgPerL, None as Nothing, PercentVol};
        for (heading, property, unit) in [
            ("water [mg/kg]", Property::Water, MgPerKg),
            ("Water content (mg/kg)", Property::Water, MgPerKg),
            ("water mg/kg", Property::Water, MgPerKg),
            ("water_mg_kg", Property::Water, MgPerKg),
            ("water", Property::Water, Nothing),
            ("Water and sediment [% vol]", Property::WaterAndSediment, PercentVol),
            ("Particulate mg/L", Property::Particulate, MgPerL),
            ("total contamination (mg/kg)", Property::TotalContamination, MgPerKg),
            ("Density at 15 \u{b0}C [kg/m\u{b3}]", Property::Density, KgPerM3),
            ("Haze", Property::Haze, Nothing),
            (
                "microbial: moulds [CFU/L]",
                Property::Microbial("moulds".into()),
                CompanionUnit::Other("CFU/L".into()),
            ),
        ] {
            match Role::of(heading) {
                Role::Companion { property: p, unit: u, .. } => {
                    assert_eq!((p, u), (property, unit), "{heading}");
                }
                other => panic!("{heading}: {other:?}"),
            }
        }
        assert!(matches!(Role::of("Density at 15 C [kg/m3]"), Role::Companion { qualified: true, .. }));
    }

    #[test]
    fn any_text_is_read_without_panic() {
        for text in
            ["(c)", "[", "microbial", "\u{1f600} um", "(", "µ", "999999999999999999999", "1.2.3.4", "scale_"]
        {
            let _ = Role::of(text);
        }
    }
}
