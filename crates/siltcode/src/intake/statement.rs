//! What the lines beside a table say of it: its title, a preamble, a footnote.

use crate::companion::{CompanionUnit, Property};
use crate::count::Basis;
use crate::field::Field;
use crate::size::SizeScale;

use super::heading::{self, Role};
use super::lines::Record;
use super::number::{self, Cell, Marks};
use super::options::Form;
use super::words;

/// One thing said of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Statement {
    /// What the counts refer to.
    Basis(Basis),
    /// The scale of the sizes.
    Scale(SizeScale),
    /// Cumulative or differential.
    Form(Form),
    /// The counted volume of each run \[mL\].
    Volume(f64),
    /// The dilution factor \[-\].
    Dilution(f64),
    /// The bottle that the table is about.
    Bottle(String),
    /// Where, when or by whom it was drawn or counted.
    Field(Field, String),
    /// Something else measured on it.
    Companion(Property, CompanionUnit, String),
    /// The code printed for it.
    Code(String),
    /// Concentrations are of the fluid as drawn: a dilution has been allowed for.
    AsDrawn,
    /// Concentrations are of the fluid as diluted: the dilution is still to be allowed for.
    AsDiluted,
    /// The table holds range numbers, not counts.
    RangeNumbers,
}

/// Everything that a line says.
pub(super) fn of(record: &Record) -> Vec<Statement> {
    let cells: Vec<&str> = record.cells.iter().map(str::trim).filter(|cell| !cell.is_empty()).collect();
    let mut statements = Vec::new();
    // A label in one cell and its value in the next, or both in one cell.
    for pair in cells.chunks(2) {
        if let [label, value] = pair
            && let Some(found) =
                labelled(label.trim_end_matches(':').trim(), value.trim_start_matches(':').trim())
        {
            statements.push(found);
        }
    }
    for cell in &cells {
        let cell = cell.trim_start_matches(['#', '*', ' ']);
        for part in cell.split(['|', ';']) {
            statements.extend(in_one_cell(part.trim()));
        }
        statements.extend(free(cell));
    }
    statements.dedup();
    statements
}

/// `Volume per run: 10 mL`, `Bottle W-12`.
fn in_one_cell(text: &str) -> Option<Statement> {
    if let Some((label, value)) = text.split_once([':', '=']) {
        return labelled(label.trim(), value.trim());
    }
    let (label, value) = text.split_once(' ')?;
    let is_bottle = words::rank("bottle", &heading::plain(label)).is_some();
    let is_name =
        value.len() <= 24 && value.bytes().any(|byte| byte.is_ascii_digit()) && !value.contains(' ');
    (is_bottle && is_name).then(|| Statement::Bottle(value.to_owned()))
}

fn labelled(label: &str, value: &str) -> Option<Statement> {
    if value.is_empty() || label.is_empty() {
        return None;
    }
    match Role::of(label) {
        Role::Id { .. } => Some(Statement::Bottle(value.to_owned())),
        Role::Volume { ml } => volume(value, ml).map(Statement::Volume),
        Role::Dilution => dilution(value).map(Statement::Dilution),
        Role::BasisOfRow => {
            let counts = heading::parse(value).counts;
            let basis = counts.basis.or_else(|| heading::volume_alone(value));
            basis.or_else(|| heading::stated_basis(value)).map(Statement::Basis)
        }
        Role::ScaleOfRow => value.parse().ok().map(Statement::Scale),
        Role::Field(field) => Some(Statement::Field(field, value.to_owned())),
        Role::Companion { property, unit, .. } => {
            Some(Statement::Companion(property, unit, value.to_owned()))
        }
        Role::Code => Some(Statement::Code(value.to_owned())),
        _ if names_counted_volume(label) => volume(value, f64::NAN).map(Statement::Volume),
        _ => None,
    }
}

/// Whether a label names the volume that was counted, not that of a tank or a bottle.
fn names_counted_volume(label: &str) -> bool {
    let folded = words::fold(label);
    let mut words_of = folded.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    let names = words_of.clone().any(|word| word.len() > 1 && words::is("volume", word));
    names && !words_of.any(|word| words::is("vessel-volume", word))
}

/// `volume per run 25 mL`, `raw counts in 10 mL`: the volume that a text names in passing \[mL\].
fn volume_in_passing(text: &str, raw: bool) -> Option<f64> {
    if !raw && !names_counted_volume(text) {
        return None;
    }
    let words_of: Vec<&str> = text.split_whitespace().collect();
    words_of.windows(2).find_map(|pair| {
        let unit = pair[1].trim_end_matches([',', ';', '.', ')']);
        let is_volume = heading::volume_alone(&format!("1 {unit}")).is_some();
        is_volume.then(|| volume(&format!("{} {unit}", pair[0].trim_start_matches('(')), 1.0))?
    })
}

/// `10 mL`, `0,01 L`, `10`: a volume \[mL\]; `unit` is what the label says one is.
pub(super) fn volume(text: &str, unit: f64) -> Option<f64> {
    let text = text.trim();
    let end = text.find(|c: char| c.is_alphabetic()).unwrap_or(text.len());
    let (number, named) = text.split_at(end);
    let unit = match named.trim() {
        "" => unit,
        _ => heading::volume_alone(&format!("1 {}", named.split_whitespace().next()?))?.volume_ml()?,
    };
    match number::read(number.trim(), Marks::Mixed) {
        Ok(Cell::Number(number)) if number.value > 0.0 && unit.is_finite() => Some(number.value * unit),
        _ => None,
    }
}

/// `20`, `1:20`, `1/20`, `20x`: a dilution factor.
pub(super) fn dilution(text: &str) -> Option<f64> {
    let folded = words::fold(text.trim());
    if words::is("undiluted", &folded) {
        return Some(1.0);
    }
    let text = ["faktor", "factor", "facteur", "fattore"]
        .iter()
        .find_map(|word| folded.strip_prefix(word))
        .unwrap_or(&folded);
    let text = text.trim().trim_end_matches(['x', '-', '\u{d7}']).trim_start_matches(['x', '\u{d7}']).trim();
    let factor = match text.split_once([':', '/']) {
        Some((one, factor)) if one.trim() == "1" => factor.trim(),
        Some(_) => return None,
        None => text,
    };
    match number::read(factor, Marks::Mixed) {
        Ok(Cell::Number(number)) => Some(number.value),
        _ => None,
    }
}

/// `diluted 1:10 with solvent`: the factor.
fn ratio_in_passing(text: &str) -> Option<f64> {
    let words_of = text.split(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | '(' | ')'));
    let mut ratios = words_of.map(|word| word.trim_end_matches('.')).filter(|word| word.starts_with("1:"));
    ratios.find_map(dilution)
}

/// What a text says of counts in passing.
fn free(text: &str) -> Vec<Statement> {
    let mut statements: Vec<Statement> =
        heading::stated_basis(text).map(Statement::Basis).into_iter().collect();
    let folded = words::fold(text);
    let words_of: Vec<&str> =
        folded.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let has = |meaning: &str| words_of.iter().any(|word| word.len() > 2 && words::is(meaning, word));
    let speaks_of_counts = has("counting") || has("answer");
    let raw = has("raw")
        || words_of.windows(2).any(|pair| pair == ["as", "counted"] || pair == ["as", "registered"])
        || words_of.windows(4).any(|said| {
            matches!(said, ["counted", "in", "that" | "this" | "the", "volume"])
                || matches!(said, ["in" | "im", "the", "counted", "volume"])
        });
    if raw && speaks_of_counts {
        // `raw counts in 10 mL` says a volume, not a concentration.
        statements.retain(|statement| !matches!(statement, Statement::Basis(_)));
        statements.push(Statement::Basis(Basis::Raw));
    }
    let phrases = (1..=3).flat_map(|length| words_of.windows(length).map(|words| words.join(" ")));
    if phrases.into_iter().any(|phrase| words::is("range-number", &phrase)) {
        statements.push(Statement::RangeNumbers);
    }
    let speaks_of_dilution = words_of.iter().any(|word| words::is("dilution", word));
    let negated =
        |at: usize| words_of[at.saturating_sub(3)..at].iter().any(|word| words::is("negation", word));
    let is_corrected = (0..words_of.len()).find(|&at| words::is("corrected", words_of[at])).map(negated);
    let is_uncorrected =
        is_corrected == Some(true) || words_of.iter().any(|word| words::is("uncorrected", word));
    if speaks_of_dilution && is_uncorrected {
        statements.push(Statement::AsDiluted);
    } else if speaks_of_dilution && is_corrected == Some(false) {
        statements.push(Statement::AsDrawn);
    } else if speaks_of_dilution {
        statements.extend(ratio_in_passing(&folded).map(Statement::Dilution));
    }
    statements.extend(volume_in_passing(text, raw && speaks_of_counts).map(Statement::Volume));
    if speaks_of_counts || has("sized") || has("micrometre") {
        match (has("cumulative"), has("differential")) {
            (true, false) => statements.push(Statement::Form(Form::Cumulative)),
            (false, true) => statements.push(Statement::Form(Form::Differential)),
            _ => {}
        }
    }
    let scales = [
        (
            SizeScale::UmC,
            folded.contains("um(c)") || folded.contains("um (c)") || words_of.contains(&"11171"),
        ),
        (SizeScale::Acftd, words_of.contains(&"acftd") || words_of.contains(&"4402")),
        (SizeScale::UmB, folded.contains("um(b)") || folded.contains("um (b)")),
        (SizeScale::Microscope, words_of.contains(&"4407") || (has("microscopy") && speaks_of_counts)),
    ];
    statements.extend(scales.iter().filter(|(_, said)| *said).map(|(scale, _)| Statement::Scale(*scale)));
    statements
}

/// What is said of a table beside its rows, each with the line that says it.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Context {
    pub(super) said: Vec<(u64, Statement)>,
}

impl Context {
    /// What is known before the first line is read.
    pub(super) fn of_origin(as_diluted: bool) -> Self {
        Self { said: if as_diluted { vec![(0, Statement::AsDiluted)] } else { Vec::new() } }
    }

    /// Takes what lines say.
    pub(super) fn learn<'r>(&mut self, records: impl IntoIterator<Item = &'r Record>) {
        for record in records {
            self.said.extend(of(record).into_iter().map(|statement| (record.line, statement)));
        }
    }

    /// Takes what another says; where both say something of a kind, the other stands.
    pub(super) fn overlay(&mut self, other: &Self) {
        let same_kind = |a: &Statement, b: &Statement| match (a, b) {
            (Statement::Field(a, _), Statement::Field(b, _)) => a == b,
            (Statement::Companion(a, ..), Statement::Companion(b, ..)) => a == b,
            _ => std::mem::discriminant(a) == std::mem::discriminant(b),
        };
        self.said.retain(|(_, old)| !other.said.iter().any(|(_, new)| same_kind(old, new)));
        self.said.extend(other.said.iter().cloned());
    }

    /// Every basis said, with its line.
    pub(super) fn bases(&self) -> Vec<(u64, Basis)> {
        self.pick(|statement| match statement {
            Statement::Basis(basis) => Some(*basis),
            _ => None,
        })
    }

    pub(super) fn scales(&self) -> Vec<(u64, SizeScale)> {
        self.pick(|statement| match statement {
            Statement::Scale(scale) => Some(*scale),
            _ => None,
        })
    }

    pub(super) fn forms(&self) -> Vec<(u64, Form)> {
        self.pick(|statement| match statement {
            Statement::Form(form) => Some(*form),
            _ => None,
        })
    }

    pub(super) fn volumes(&self) -> Vec<(u64, f64)> {
        self.pick(|statement| match statement {
            Statement::Volume(ml) => Some(*ml),
            _ => None,
        })
    }

    pub(super) fn dilutions(&self) -> Vec<(u64, f64)> {
        self.pick(|statement| match statement {
            Statement::Dilution(factor) => Some(*factor),
            _ => None,
        })
    }

    fn says(&self, wanted: &Statement) -> bool {
        self.said.iter().any(|(_, statement)| statement == wanted)
    }

    /// Whether concentrations are said to be of the fluid as drawn.
    pub(super) fn is_of_fluid_as_drawn(&self) -> bool {
        self.says(&Statement::AsDrawn) && !self.says(&Statement::AsDiluted)
    }

    /// Whether concentrations are said to be of the fluid as diluted.
    pub(super) fn is_of_fluid_as_diluted(&self) -> bool {
        self.says(&Statement::AsDiluted) && !self.says(&Statement::AsDrawn)
    }

    /// Whether range numbers are said to stand where counts may.
    pub(super) fn says_range_numbers(&self) -> bool {
        self.says(&Statement::RangeNumbers)
    }

    /// The bottle named last.
    pub(super) fn bottle(&self) -> Option<String> {
        let all = self.pick(|statement| match statement {
            Statement::Bottle(name) => Some(name.clone()),
            _ => None,
        });
        all.into_iter().next_back().map(|(_, name)| name)
    }

    fn pick<T>(&self, wanted: impl Fn(&Statement) -> Option<T>) -> Vec<(u64, T)> {
        self.said.iter().filter_map(|(line, statement)| Some((*line, wanted(statement)?))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> Vec<Statement> {
        of(&Record::of_cells(1, &text.split(';').map(str::to_owned).collect::<Vec<_>>()))
    }

    #[test]
    fn finds_what_counts_refer_to() {
        for (text, basis) in [
            ("All counts are per 100 mL", Basis::Per100Ml),
            ("Partikel je 100 ml, kumulativ", Basis::Per100Ml),
            ("Unit;particles/mL", Basis::PerMl),
            ("Einheit: Partikel/100 ml", Basis::Per100Ml),
            ("part\u{ed}culas por litro", Basis::PerL),
            ("* particles per 10 ml of sample", Basis::Per10Ml),
            ("Raw counts, as registered", Basis::Raw),
        ] {
            assert!(said(text).contains(&Statement::Basis(basis)), "{text}: {:?}", said(text));
        }
        for text in [
            "Flow 10 mL/min",
            "Volume per run: 10 mL",
            "Water in mg per L",
            "Sample bottle 100 ml",
            "10 mL per run",
        ] {
            assert!(
                !said(text).iter().any(|said| matches!(said, Statement::Basis(_))),
                "{text}: {:?}",
                said(text)
            );
        }
    }

    #[test]
    fn finds_labelled_values() {
        assert!(said("Volume per run: 10 mL").contains(&Statement::Volume(10.0)));
        assert!(said("Messvolumen;25 ml").contains(&Statement::Volume(25.0)));
        assert!(said("Dilution: 1:20").contains(&Statement::Dilution(20.0)));
        assert!(said("Sample: HB-01").contains(&Statement::Bottle("HB-01".into())));
        assert!(said("Bottle W-12").contains(&Statement::Bottle("W-12".into())));
        assert!(said("Date drawn;2031-04-02").contains(&Statement::Field(Field::Drawn, "2031-04-02".into())));
    }
}
