//! Scores as comma-separated values: one line a bottle, for a spreadsheet.

use std::fmt::Display;
use std::io::{self, Write};

use siltcode::provenance::InputDigest;
use siltcode::units::significant;
use siltcode::{Code, Field, Scored, ScoredChannel, SizeScale};

use super::classes::{self, Asked};
use super::report::{Report, Tally};
use super::say;
use crate::held::Held;

const HEADING: [&str; 28] = [
    "id",
    "iso4406",
    "scale",
    "runs",
    "per_ml_1",
    "per_ml_2",
    "per_ml_3",
    "low_1",
    "low_2",
    "low_3",
    "high_1",
    "high_2",
    "high_3",
    "number_1",
    "number_2",
    "number_3",
    "raw_1",
    "raw_2",
    "raw_3",
    "outcome",
    "p",
    "rule",
    "deciding",
    "settle",
    "flags",
    "target",
    "target_status",
    "counting_only",
];

/// What stands behind the fields of a bottle, several in a cell: `water 61 mg/kg; appearance clear and bright`.
const BESIDE: [&str; 2] = ["measurements", "notes"];

/// One line a bottle. The columns 1 to 3 are the sizes of the code in the bottle's scale.
pub(super) struct Csv<W: Write> {
    out: csv::Writer<Held<W>>,
    asked: Asked,
    /// Room for one field at a time.
    field: String,
    started: bool,
}

impl<W: Write> Csv<W> {
    pub(super) fn new(out: W, asked: Asked) -> Self {
        Self { out: csv::Writer::from_writer(Held::new(out)), field: String::new(), asked, started: false }
    }

    fn start(&mut self) -> io::Result<()> {
        if !self.started {
            let own = HEADING.map(str::to_owned);
            let beside =
                Field::ALL.map(|field| field.name().to_owned()).into_iter().chain(BESIDE.map(str::to_owned));
            let headings = own.into_iter().chain(self.asked.headings()).chain(beside);
            self.out.write_record(headings).map_err(cause)?;
            self.started = true;
        }
        Ok(())
    }
}

impl<W: Write> Report for Csv<W> {
    fn scored(&mut self, scored: &Scored) -> io::Result<()> {
        self.start()?;
        let mut line = Line { out: &mut self.out, field: &mut self.field };
        line.scored(scored)?;
        self.out.write_record(None::<&[u8]>).map_err(cause)
    }

    fn finish(mut self: Box<Self>, tally: &Tally, _: Vec<InputDigest>) -> io::Result<()> {
        self.start()?;
        let out = self.out.into_inner().map_err(csv::IntoInnerError::into_error)?;
        out.release()?;
        say::account(&tally.account);
        Ok(())
    }
}

/// What failed underneath: whether the reader has gone must be known.
fn cause(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}

/// One line, written field by field.
struct Line<'a, W: Write> {
    out: &'a mut csv::Writer<Held<W>>,
    field: &'a mut String,
}

impl<W: Write> Line<'_, W> {
    fn put(&mut self, value: Option<impl Display>) -> io::Result<()> {
        use std::fmt::Write;
        self.field.clear();
        if let Some(value) = value {
            write!(self.field, "{value}").map_err(io::Error::other)?;
        }
        if is_run_by_spreadsheets(self.field) {
            self.field.insert(0, '\'');
        }
        self.out.write_field(&*self.field).map_err(cause)
    }

    /// One value of each of the three sizes.
    fn each<T: Display>(
        &mut self,
        places: [Option<&ScoredChannel>; 3],
        value: impl Fn(&ScoredChannel) -> Option<T>,
    ) -> io::Result<()> {
        places.into_iter().try_for_each(|channel| self.put(channel.and_then(&value)))
    }

    fn scored(&mut self, scored: &Scored) -> io::Result<()> {
        let places = code_channels(scored);
        let verdict = scored.verdict.as_ref();
        self.put(Some(&scored.id))?;
        self.put(scored.iso4406)?;
        self.put(Some(scored.scale))?;
        self.put(Some(scored.runs))?;
        self.each(places, |channel| channel.per_ml.is_counted().then_some(channel.per_ml))?;
        self.each(places, |channel| channel.interval_per_ml.map(|interval| interval.low))?;
        self.each(places, |channel| channel.interval_per_ml.map(|interval| interval.high))?;
        self.each(places, |channel| channel.number)?;
        self.each(places, |channel| channel.raw)?;
        self.put(verdict.map(|verdict| verdict.outcome))?;
        // Six digits say all there is to know; a probability of 1e-80 would take 86 places.
        self.put(verdict.and_then(|verdict| verdict.p).map(|p| significant(p.get(), 6)))?;
        self.put(verdict.and_then(|verdict| verdict.rule))?;
        self.put(verdict.and_then(|verdict| verdict.deciding.as_ref()))?;
        self.put(verdict.and_then(|verdict| verdict.settle))?;
        self.put(Some(scored.flags.iter().map(|flag| flag.code).collect::<Vec<_>>().join(" ")))?;
        self.put(verdict.map(|verdict| &verdict.check.spec))?;
        self.put(verdict.map(|verdict| verdict.check.status))?;
        self.put(Some(scored.counting_only))?;
        scored.classes.iter().flat_map(classes::cells).try_for_each(|cell| self.put(Some(cell)))?;
        self.beside(scored)
    }

    /// What is known of the bottle beside its counts.
    fn beside(&mut self, scored: &Scored) -> io::Result<()> {
        for wanted in Field::ALL {
            self.put(scored.fields.iter().find(|(field, _)| *field == wanted).map(|(_, text)| text))?;
        }
        let measured = scored.companions.iter().map(ToString::to_string);
        self.put(Some(measured.collect::<Vec<_>>().join("; ")))?;
        let notes = scored.notes.iter().map(|(heading, text)| format!("{heading}: {text}"));
        self.put(Some(notes.collect::<Vec<_>>().join("; ")))
    }
}

/// Whether a spreadsheet may take a cell for a formula, and run it: it gets an apostrophe in front.
///
/// Such a cell begins with `=`, `+`, `@`, a tab or a line end, or with `-` where it is neither a number nor a code; the
/// wide forms of these characters count as well.
fn is_run_by_spreadsheets(cell: &str) -> bool {
    match cell.chars().next() {
        Some('=' | '+' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '＠' | '－') => true,
        Some('-') => cell.parse::<f64>().is_err() && cell.parse::<Code>().is_err(),
        _ => false,
    }
}

/// The channels at the code's three sizes, in the bottle's own scale.
pub(super) fn code_channels(scored: &Scored) -> [Option<&ScoredChannel>; 3] {
    let sizes: [Option<f64>; 3] = Code::sizes_um(scored.scale);
    let scale: SizeScale = scored.scale;
    sizes.map(|um| {
        let same = |channel: &&ScoredChannel| Some(channel.size.um()) == um && channel.size.scale() == scale;
        scored.channels.iter().find(same)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_run_is_known() {
        for cell in ["=1+1", "+1", "@SUM(A1)", "-1+cmd|' /C calc'!A0", "-A1", "\t=1", "\r=1", "-", "＝1"] {
            assert!(is_run_by_spreadsheets(cell), "{cell}");
        }
        for cell in ["", "HB-04", "-0.5", "-1e-5", "-/18/13", "*/18/13", "18/16/13", "'=1", "1-2", "<0.5"] {
            assert!(!is_run_by_spreadsheets(cell), "{cell}");
        }
    }
}
