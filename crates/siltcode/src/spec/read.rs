//! A specification from TOML: the short form a user writes, and the full form with a source for every row.

use toml::{Table, Value};

use crate::class::iso4406::{Code, RangeNumber};
use crate::companion::{CompanionUnit, Property};
use crate::count::PerMl;
use crate::error::{Error, ErrorKind, Position, Result};
use crate::provenance::sha256;
use crate::size::{Size, SizeScale};
use crate::spec::{Alternative, CompanionLimit, Demand, ParticleLimit, Requirement, Spec};
use crate::status::Status;

impl Spec {
    /// Reads a specification.
    ///
    /// The short form has one line per requirement: `code = "18/16/13"`, `water = "200 mg/kg"`,
    /// `appearance = "clear and bright"`, `haze = 2`, `flash-point = "above 55 degC"`, a table `[counts]` for single sizes (a range number, a count
    /// such as `"80 /mL"`, or `"report"`) and a table `[microbial]` for measures of the user's own with their units.
    /// The full form has one `[[requirement]]` per row, with `property`, `size`, `max_number`, `max_per_ml`, `max`,
    /// `min` (both included), `below`, `above` (both excluded), `unit`, `accept`, `method`, `alternative`, `branch`, `status`, `source` and `note`.
    ///
    /// # Errors
    /// `spec-unreadable` if the text is not TOML, `spec-key-unknown` for a key, channel or property that does not
    /// exist, `spec-value-unusable` for a value that does not fit its key, and `spec-empty` without any requirement.
    /// Each says the line.
    pub fn from_toml(text: &str) -> Result<Self> {
        let table = text.parse::<Table>().map_err(|error| unreadable(text, &error))?;
        let mut requirements = Vec::new();
        for (key, value) in &table {
            let read = read_key(key, value).map_err(|error| placed(error, text, key))?;
            requirements.extend(read);
        }
        if requirements.is_empty() {
            return Err(ErrorKind::SpecEmpty {}.into());
        }
        let title = text_of(&table, "title")?;
        let name =
            text_of(&table, "name")?.or_else(|| title.clone()).unwrap_or_else(|| "specification".into());
        Ok(Self {
            title: title.unwrap_or_else(|| name.clone()),
            name,
            edition: text_of(&table, "edition")?,
            scope: text_of(&table, "scope")?,
            caveat: text_of(&table, "caveat")?,
            partial: flag_of(&table, "partial")?,
            compare_only: flag_of(&table, "compare_only")?,
            status: requirements.iter().map(|r| r.status).max().unwrap_or(Status::User),
            requirements,
            sha256: Some(sha256(text)),
        })
    }
}

/// The requirements of one top-level key.
fn read_key(key: &str, value: &Value) -> Result<Vec<Requirement>> {
    match key {
        "name" | "title" | "edition" | "scope" | "status" | "note" | "caveat" | "partial"
        | "compare_only" => Ok(Vec::new()),
        "code" => code_requirements(value),
        "counts" => {
            (table_of(key, value)?.iter()).map(|(size, limit)| count_requirement(size, limit)).collect()
        }
        "microbial" => (table_of(key, value)?.iter())
            .map(|(name, limit)| companion_requirement(Property::Microbial(name.clone()), name, limit))
            .collect(),
        "requirement" => list_of(key, value)?.iter().map(full_requirement).collect(),
        _ => match Property::named(key) {
            Some(property) => Ok(vec![companion_requirement(property, key, value)?]),
            None => Err(ErrorKind::SpecKeyUnknown { key: key.into(), known: known_keys() }.into()),
        },
    }
}

fn known_keys() -> String {
    let properties = Property::NAMED;
    let names = properties.iter().map(Property::name);
    let fixed = [
        "title",
        "name",
        "edition",
        "scope",
        "caveat",
        "partial",
        "compare_only",
        "code",
        "counts",
        "microbial",
        "requirement",
    ];
    fixed.into_iter().chain(names).collect::<Vec<_>>().join(", ")
}

fn code_requirements(value: &Value) -> Result<Vec<Requirement>> {
    let text = value.as_str().ok_or_else(|| unusable("code", value, "a code such as \"18/16/13\""))?;
    Ok(Spec::from_code(text.parse::<Code>()?, SizeScale::UmC)?.requirements)
}

/// `"21 um(c)" = 13`, `= "13"`, `= "80 /mL"` or `= "report"`.
fn count_requirement(size: &str, limit: &Value) -> Result<Requirement> {
    let parsed: Size = size.parse().map_err(|_| ErrorKind::SpecKeyUnknown {
        key: size.into(),
        known: "sizes such as 21 um(c)".into(),
    })?;
    let usable = "a range number, a count such as \"80 /mL\", or \"report\"";
    let limit = match limit {
        Value::Integer(_) => ParticleLimit::Number(range_number(size, limit)?),
        Value::String(text) if text.trim() == "report" => ParticleLimit::Report,
        Value::String(text) => {
            match text.trim().strip_suffix("/mL").or_else(|| text.trim().strip_suffix("/ml")) {
                Some(count) => ParticleLimit::PerMl(PerMl::new(
                    count.trim().parse().map_err(|_| unusable(size, limit, usable))?,
                )?),
                None => ParticleLimit::Number(text.parse().map_err(|_| unusable(size, limit, usable))?),
            }
        }
        _ => return Err(unusable(size, limit, usable)),
    };
    Ok(Requirement::new(Demand::Particles { size: parsed, limit }))
}

fn range_number(key: &str, value: &Value) -> Result<RangeNumber> {
    let number = value.as_integer().and_then(|n| u8::try_from(n).ok()).and_then(|n| RangeNumber::new(n).ok());
    number.ok_or_else(|| unusable(key, value, "an ISO 4406 range number, 0 to 28"))
}

/// `water = "200 mg/kg"`, `haze = 2`, `appearance = "clear and bright"`.
fn companion_requirement(property: Property, key: &str, value: &Value) -> Result<Requirement> {
    let limit = match (&property, value) {
        (Property::Appearance, Value::String(words)) => CompanionLimit::Words(vec![words.trim().into()]),
        (Property::Appearance, Value::Array(_)) => CompanionLimit::Words(words_of(key, value)?),
        (Property::Haze, Value::Integer(_)) => max_limit(number_of(key, value)?, CompanionUnit::None),
        (_, Value::String(text)) => quantity_limit(key, text, value)?,
        _ => return Err(unusable(key, value, "a limit with its unit, such as \"200 mg/kg\"")),
    };
    let limit = checked_unit(&property, key, value, limit)?;
    Ok(Requirement::new(Demand::Companion { property, limit }))
}

fn max_limit(max: f64, unit: CompanionUnit) -> CompanionLimit {
    CompanionLimit::Range { min: None, max: Some(max), exclusive: false, unit }
}

/// A number and the unit behind it: the most allowed, unless `at least`, `above` or `below` says otherwise.
fn quantity_limit(key: &str, text: &str, value: &Value) -> Result<CompanionLimit> {
    let words = ["at least ", "above ", "below "].into_iter().find(|words| text.trim().starts_with(words));
    let text = text.trim().trim_start_matches(words.unwrap_or_default()).trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
    let max = text[..end]
        .parse()
        .map_err(|_| unusable(key, value, "a limit with its unit, such as \"200 mg/kg\""))?;
    let (limit, unit) = (Some(max), unit_of(&text[end..]));
    Ok(match words {
        Some("at least ") => CompanionLimit::Range { min: limit, max: None, exclusive: false, unit },
        Some("above ") => CompanionLimit::Range { min: limit, max: None, exclusive: true, unit },
        words => CompanionLimit::Range { min: None, max: limit, exclusive: words.is_some(), unit },
    })
}

fn unit_of(text: &str) -> CompanionUnit {
    match text.parse() {
        Ok(unit) => unit,
        Err(never) => match never {},
    }
}

/// Only microbial measures bring units of their own; for everything else an unknown unit is a slip of the pen.
fn checked_unit(
    property: &Property,
    key: &str,
    value: &Value,
    limit: CompanionLimit,
) -> Result<CompanionLimit> {
    let CompanionLimit::Range { unit, .. } = &limit else { return Ok(limit) };
    let usable = match property {
        Property::Microbial(_) => *unit != CompanionUnit::None,
        Property::Haze => *unit == CompanionUnit::None,
        _ => !matches!(unit, CompanionUnit::None | CompanionUnit::Other(_)),
    };
    if usable { Ok(limit) } else { Err(unusable(key, value, &expected_unit(property))) }
}

fn expected_unit(property: &Property) -> String {
    match property {
        Property::Microbial(_) => "a limit with the unit of your method, such as \"1000 CFU/L\"".into(),
        Property::Haze => "a haze rating without a unit, such as 2".into(),
        _ => "a limit in mg/kg, mg/L, % vol, ppm, kg/m3, mm2/s or degC".into(),
    }
}

/// One `[[requirement]]`.
fn full_requirement(value: &Value) -> Result<Requirement> {
    let row = table_of("requirement", value)?;
    ensure_row_keys_known(row)?;
    let property = text_of(row, "property")?
        .ok_or_else(|| unusable("property", value, "the name of a property, or \"particles\""))?;
    let demand = match property.as_str() {
        "particles" => Demand::Particles { size: row_size(row)?, limit: particle_limit(row)? },
        "microbial" => {
            let name = text_of(row, "measure")?.unwrap_or(property);
            companion_demand(Property::Microbial(name), row)?
        }
        name => companion_demand(
            Property::named(name)
                .ok_or_else(|| ErrorKind::SpecKeyUnknown { key: name.into(), known: known_keys() })?,
            row,
        )?,
    };
    Ok(Requirement {
        demand,
        method: text_of(row, "method")?,
        alternative: alternative(row)?,
        status: text_of(row, "status")?.map_or(Ok(Status::User), |status| status.parse())?,
        source: text_of(row, "source")?,
        note: text_of(row, "note")?,
    })
}

fn ensure_row_keys_known(row: &Table) -> Result<()> {
    const KNOWN: [&str; 18] = [
        "property",
        "measure",
        "size",
        "max_number",
        "max_per_ml",
        "report",
        "max",
        "min",
        "above",
        "below",
        "unit",
        "accept",
        "method",
        "alternative",
        "branch",
        "status",
        "source",
        "note",
    ];
    match row.keys().find(|key| !KNOWN.contains(&key.as_str())) {
        Some(key) => Err(ErrorKind::SpecKeyUnknown { key: key.clone(), known: KNOWN.join(", ") }.into()),
        None => Ok(()),
    }
}

fn row_size(row: &Table) -> Result<Size> {
    match row.get("size") {
        Some(Value::String(text)) => text.parse(),
        other => Err(unusable("size", other.unwrap_or(&Value::from("")), "a size such as \"4 um(c)\"")),
    }
}

fn particle_limit(row: &Table) -> Result<ParticleLimit> {
    match (row.get("max_number"), row.get("max_per_ml"), row.get("report")) {
        (Some(number), None, None) => Ok(ParticleLimit::Number(range_number("max_number", number)?)),
        (None, Some(count), None) => Ok(ParticleLimit::PerMl(PerMl::new(number_of("max_per_ml", count)?)?)),
        (None, None, Some(Value::Boolean(true))) => Ok(ParticleLimit::Report),
        _ => Err(unusable(
            "particles",
            &Value::Table(row.clone()),
            "one of max_number, max_per_ml or report = true",
        )),
    }
}

fn companion_demand(property: Property, row: &Table) -> Result<Demand> {
    let key = property.name().to_owned();
    let value = Value::Table(row.clone());
    let limit = match row.get("accept") {
        Some(words) => CompanionLimit::Words(words_of("accept", words)?),
        None => range_limit(row)?,
    };
    if matches!(limit, CompanionLimit::Range { min: None, max: None, .. }) {
        return Err(unusable(&key, &value, "max, min, above, below or accept"));
    }
    Ok(Demand::Companion { limit: checked_unit(&property, &key, &value, limit)?, property })
}

/// `max` and `min`, both included, or `below` and `above`, both excluded.
fn range_limit(row: &Table) -> Result<CompanionLimit> {
    let number = |key: &str| row.get(key).map(|value| number_of(key, value)).transpose();
    let (included, excluded) = ([number("min")?, number("max")?], [number("above")?, number("below")?]);
    let exclusive = excluded.iter().any(Option::is_some);
    if exclusive && included.iter().any(Option::is_some) {
        let value = Value::Table(row.clone());
        return Err(unusable(
            "above",
            &value,
            "min and max, which are included, or above and below, which are not",
        ));
    }
    let [min, max] = if exclusive { excluded } else { included };
    Ok(CompanionLimit::Range {
        min,
        max,
        exclusive,
        unit: unit_of(&text_of(row, "unit")?.unwrap_or_default()),
    })
}

fn alternative(row: &Table) -> Result<Option<Alternative>> {
    let group = text_of(row, "alternative")?;
    let branch = text_of(row, "branch")?;
    Ok(group.map(|group| Alternative { branch: branch.unwrap_or_else(|| group.clone()), group }))
}

fn words_of(key: &str, value: &Value) -> Result<Vec<String>> {
    let words: Option<Vec<String>> =
        list_of(key, value)?.iter().map(|word| word.as_str().map(|word| word.trim().to_owned())).collect();
    words.filter(|words| !words.is_empty()).ok_or_else(|| unusable(key, value, "a list of words in quotes"))
}

fn table_of<'a>(key: &str, value: &'a Value) -> Result<&'a Table> {
    value.as_table().ok_or_else(|| unusable(key, value, "a table"))
}

fn list_of<'a>(key: &str, value: &'a Value) -> Result<&'a Vec<Value>> {
    value.as_array().ok_or_else(|| unusable(key, value, "a list"))
}

fn text_of(table: &Table, key: &str) -> Result<Option<String>> {
    match table.get(key) {
        None => Ok(None),
        Some(Value::String(text)) => Ok(Some(text.trim().to_owned())),
        Some(other) => Err(unusable(key, other, "text in quotes")),
    }
}

fn flag_of(table: &Table, key: &str) -> Result<bool> {
    match table.get(key) {
        None => Ok(false),
        Some(Value::Boolean(flag)) => Ok(*flag),
        Some(other) => Err(unusable(key, other, "true or false")),
    }
}

#[allow(clippy::cast_precision_loss)] // limits are far below 2^53
fn number_of(key: &str, value: &Value) -> Result<f64> {
    let number = value.as_float().or_else(|| value.as_integer().map(|n| n as f64));
    number.filter(|n| n.is_finite()).ok_or_else(|| unusable(key, value, "a number"))
}

fn unusable(key: &str, value: &Value, expected: &str) -> Error {
    let found = value.as_str().map_or_else(|| value.to_string().trim().to_owned(), str::to_owned);
    ErrorKind::SpecValueUnusable { key: key.into(), found, expected: expected.into() }.into()
}

fn unreadable(text: &str, error: &toml::de::Error) -> Error {
    let start = error.span().map_or(0, |span| span.start.min(text.len()));
    let line = text.as_bytes()[..start].iter().filter(|&&byte| byte == b'\n').count() as u64 + 1;
    let error = ErrorKind::SpecUnreadable { message: error.message().into() };
    Error::from(error).at(Position { line: Some(line), ..Position::default() })
}

/// The error with the line its key stands on. What the error names is looked for first, then the top-level key.
fn placed(error: Error, text: &str, key: &str) -> Error {
    let inner = match error.kind() {
        ErrorKind::SpecKeyUnknown { key, .. } | ErrorKind::SpecValueUnusable { key, .. } => key.clone(),
        _ => key.to_owned(),
    };
    let line_of = |key: &str| text.lines().position(|line| line.contains(key)).map(|line| line as u64 + 1);
    let line = line_of(&inner).or_else(|| line_of(key));
    error.at(Position { line, ..Position::default() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(text: &str) -> (String, Option<u64>) {
        let error = Spec::from_toml(text).unwrap_err();
        assert!(!error.hint().is_empty());
        (error.code().into(), error.position().and_then(|position| position.line))
    }

    #[test]
    fn the_short_form_reads_every_kind_of_limit() {
        let spec = Spec::from_toml(
            "title = \"x\"\ncode = \"18/16/13\"\nwater = \"200 mg/kg\"\nappearance = \"clear and bright\"\n\
             haze = 2\n[counts]\n\"21 um(c)\" = 10\n\"25 um(c)\" = \"report\"\n\"30 um(c)\" = \"2.5 /mL\"\n\
             [microbial]\n\"colony count\" = \"1000 CFU/L\"\n",
        )
        .unwrap();
        let limits: Vec<String> = spec
            .requirements
            .iter()
            .map(|r| format!("{}: {}", r.demand.subject(), r.demand.limit()))
            .collect();
        for expected in [
            "4 um(c): number 18",
            "21 um(c): number 10",
            "25 um(c): report",
            "30 um(c): 2.5 /mL",
            "water: 200 mg/kg",
            "appearance: clear and bright",
            "haze: 2",
            "colony count: 1000 CFU/L",
        ] {
            assert!(limits.iter().any(|limit| limit == expected), "{expected} in {limits:?}");
        }
    }

    #[test]
    fn slips_are_named_with_their_line() {
        let unknown = "spec-key-unknown".to_owned();
        let unusable = "spec-value-unusable".to_owned();
        assert_eq!(refusal("title = \"x\"\ncode = \"18/16\n"), ("spec-unreadable".into(), Some(2)));
        assert_eq!(refusal("title = \"x\"\n"), ("spec-empty".into(), None));
        assert_eq!(refusal("code = \"18/16/13\"\nwatter = \"200 mg/kg\"\n"), (unknown.clone(), Some(2)));
        assert_eq!(refusal("[counts]\n\"21 furlongs\" = 10\n"), (unknown.clone(), Some(2)));
        assert_eq!(refusal("[counts]\n\"21 um(c)\" = 29\n"), (unusable.clone(), Some(2)));
        assert_eq!(refusal("\nwater = \"200 mg/furlong\"\n"), (unusable.clone(), Some(2)));
        assert_eq!(refusal("water = 200\n"), (unusable.clone(), Some(1)));
        assert_eq!(refusal("code = \"13/16/18\"\n"), ("code-rises-with-size".into(), Some(1)));
        assert_eq!(refusal("[[requirement]]\nproperty = \"water\"\nmaximum = 3\n"), (unknown, Some(3)));
        assert_eq!(refusal("[[requirement]]\nproperty = \"water\"\nunit = \"mg/kg\"\n").0, unusable);
    }
}
