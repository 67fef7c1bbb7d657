//! What a column holds, from its heading.

mod companion;
mod counts;

use companion::companion;
pub(super) use counts::{Counts, counts, parse, stated_basis, volume_alone};

use super::words::{self, fold};
use crate::companion::{CompanionUnit, Property};
use crate::field::Field;

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
    /// Sample or blank.
    Kind,
    /// Anything about counts: a size's counts, or the sizes, or the counts.
    Counts(Counts),
    /// A printed code.
    Code,
    /// The unit of the counts of each row.
    BasisOfRow,
    /// The scale of the sizes of each row.
    ScaleOfRow,
    /// A companion measurement.
    Companion { property: Property, unit: CompanionUnit, qualified: bool },
    /// Where, when or by whom the bottle was drawn or counted.
    Field(Field),
    /// Anything else.
    Note,
}

/// The least rank of names that say no more than that they number rows.
pub(super) const NUMBERED: usize = 1000;

impl Role {
    /// The role a heading gives its column.
    pub(super) fn of(heading: &str) -> Self {
        let plain = plain(heading);
        let plain = without_year(&plain);
        if plain.is_empty() {
            return Self::Note;
        }
        if let Some(role) = Self::by_name(plain) {
            return role;
        }
        if let Some(ml) = volume_unit(plain) {
            return Self::Volume { ml };
        }
        if let Some((property, unit, qualified)) = companion(heading) {
            return Self::Companion { property, unit, qualified };
        }
        if let Some(field) = words::field(&without_bracket(heading)) {
            return Self::Field(field);
        }
        counts(heading).map_or(Self::Note, Self::Counts)
    }

    fn by_name(plain: &str) -> Option<Self> {
        if let Some(rank) = words::rank("bottle", plain) {
            return Some(Self::Id { rank });
        }
        if let Some(rank) = words::rank("bottle-number", plain) {
            return Some(Self::Id { rank: NUMBERED + rank });
        }
        let is = |meaning| words::is(meaning, plain);
        Some(match plain {
            _ if is("run") => Self::Run,
            _ if is("dilution") => Self::Dilution,
            _ if is("kind") => Self::Kind,
            _ if is("unit") => Self::BasisOfRow,
            _ if is("scale") => Self::ScaleOfRow,
            _ if is("code") || is_found_code(plain) => Self::Code,
            _ => return words::field(plain).map(Self::Field),
        })
    }
}

/// Lower case without accents, one space between words, no brackets or closing marks.
pub(super) fn plain(text: &str) -> String {
    let is_mark = |c: char| matches!(c, '_' | '.' | ':' | '(' | ')' | '[' | ']' | ',' | '/' | '-');
    let spaced: String = fold(text).chars().map(|c| if is_mark(c) { ' ' } else { c }).collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// `iso 4406 result`: the code that was found, not the one aimed at.
fn is_found_code(plain: &str) -> bool {
    let found = ["result", "found", "measured", "actual", "ergebnis", "resultat", "resultado", "ist"];
    plain.rsplit_once(' ').is_some_and(|(code, last)| found.contains(&last) && words::is("code", code))
}

/// `iso 4406 2021` without the year of the standard.
fn without_year(plain: &str) -> &str {
    let year = |text: &str| text.len() == 4 && text.bytes().all(|byte| byte.is_ascii_digit());
    plain
        .rsplit_once(' ')
        .filter(|(_, last)| year(last) && plain.contains("4406 "))
        .map_or(plain, |(name, _)| name)
}

/// A heading without the bracketed remark at its end: `Depth (m)`, `Time [UTC]`.
fn without_bracket(heading: &str) -> String {
    let name = heading.split(['(', '[']).next().unwrap_or_default();
    plain(name)
}

/// `volume ml`, `vol l`: how many mL its unit is.
fn volume_unit(plain: &str) -> Option<f64> {
    if words::is("volume", plain) && plain != "v" {
        return Some(1.0);
    }
    let (name, unit) = plain.rsplit_once(' ')?;
    let ml = match unit {
        "ml" | "cm3" | "cm\u{b3}" | "cc" => 1.0,
        "l" => 1000.0,
        _ => return None,
    };
    words::is("volume", name).then_some(ml)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::count::Basis;
    use crate::size::SizeScale;

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
            "P4 [1/ml]",
            "cnt_4um",
            "raw_4um_c",
            "n_4um_c_per_ml",
            "gt4um/mL",
            "ISO 4 \u{b5}m(c)",
            "Channel 1 (4 \u{b5}m)",
            "4+ \u{b5}m (ISO 11171:2016)",
            "\u{2267}4 \u{b5}m(c)",
            "4 um /10 mL",
            "Partikel > 4 \u{b5}m(c) je 100 ml",
            "Particules \u{2265} 4 \u{b5}m(c)/mL",
            "Liczba cz\u{105}stek > 4 \u{b5}m(c) na 1 ml",
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
        for heading in ["filter 4 um", "tank 4", "comment", "NAS 5-15", "6-4 um", "4 6 um", "2024-05-01"] {
            assert!(!matches!(Role::of(heading), Role::Counts(_)), "{heading}");
        }
    }

    #[test]
    fn finds_the_other_columns() {
        assert_eq!(Role::of("Run no."), Role::Run);
        assert_eq!(Role::of("Volume [mL]"), Role::Volume { ml: 1.0 });
        assert_eq!(Role::of("vol (l)"), Role::Volume { ml: 1000.0 });
        assert_eq!(Role::of("Dilution factor"), Role::Dilution);
        assert_eq!(Role::of("Date/time"), Role::Field(Field::Time));
        assert_eq!(Role::of("Auftrag-Nr."), Role::Field(Field::Order));
        assert_eq!(Role::of("Depth (m)"), Role::Field(Field::Depth));
        assert_eq!(Role::of("ISO 4406:2021"), Role::Code);
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
