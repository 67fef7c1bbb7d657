//! What is said of a table beside its bottles: how it was read, what was assumed, what was passed over.

use std::collections::BTreeMap;

use crate::count::Basis;
use crate::sample::Sample;
use crate::size::{Size, SizeScale};

use super::account::PassedOver;
use super::layout::CountColumns;
use super::number::Marks;
use super::options::{Decimal, Form};
use super::problem::{Notice, Severity, Table};
use super::settle::Settled;

/// How many lines a notice lists.
const LISTED: usize = 5;

/// Runs whose counts differ by more than this are pointed out where no raw count lets chance be told.
const RUNS_DIFFER: f64 = 2.0;

/// Which scale was taken, and why.
fn scale_assumed(scale: SizeScale) -> String {
    let of = if scale == SizeScale::UmC { "ISO 4406" } else { "NAS 1638" };
    let how = scale.describe();
    format!(
        "no heading says the scale of the sizes: taken as {scale}, {how}, since the sizes are those of {of}"
    )
}

/// How the table was read, and what was assumed where its heading was silent.
pub(super) fn of_table(
    settled: &Settled,
    table: &Table,
    line: u64,
    number: usize,
    names: &[String],
) -> Vec<Notice> {
    let mut notices = Vec::new();
    if number > 1 {
        let message = format!("another table begins here: {}", shortened(&names.join(", ")));
        let hint = "if it is a row, correct the row";
        notices.push(notice(table, Severity::Note, "another-table", Some(line), message, hint));
    }
    notices.push(read_as(settled, table, line));
    if settled.assumed_scale && settled.layout.holds_counts() {
        notices.push(notice(
            table,
            Severity::Warning,
            "scale-assumed",
            None,
            scale_assumed(settled.layout.scale()),
            "say it in the headings (`4 um(c)`) or with the option `scale`",
        ));
    }
    if let Some(name) = settled.named_by.and_then(|column| names.get(column)) {
        let message = format!("no heading names the bottles: they are named by the column `{}`", name.trim());
        let hint = "call the column `bottle`";
        notices.push(notice(table, Severity::Note, "name-column-assumed", None, message, hint));
    }
    let unused: Vec<&str> = settled
        .layout
        .notes
        .iter()
        .filter_map(|&column| names.get(column))
        .map(|name| name.trim())
        .filter(|name| !name.is_empty())
        .collect();
    if !unused.is_empty() {
        let message = format!("columns not used, kept as notes: {}", shortened(&unused.join(", ")));
        notices.push(notice(table, Severity::Note, "columns-not-used", None, message, ""));
    }
    notices
}

fn shortened(text: &str) -> String {
    const LONGEST: usize = 160;
    match text.char_indices().nth(LONGEST) {
        Some((at, _)) => format!("{} ...", &text[..at]),
        None => text.to_owned(),
    }
}

fn read_as(settled: &Settled, table: &Table, line: u64) -> Notice {
    let layout = &settled.layout;
    let delimiter =
        table.read_as.iter().find(|(name, _)| *name == "delimiter").map(|(_, value)| value.as_str());
    let parted = match delimiter {
        Some("comma") => "commas, ",
        Some("semicolon") => "semicolons, ",
        Some("tab") => "tabs, ",
        Some("pipe") => "bars, ",
        Some("blanks") => "columns parted by blanks, ",
        _ => "",
    };
    let shape = match &layout.counts {
        CountColumns::Wide { runs, .. } if runs.len() > 1 => "a column per size and run",
        CountColumns::Wide { .. } => "a column per size",
        CountColumns::Long { .. } => "a row per size",
        CountColumns::Across { .. } => "a row per size and a column per bottle or run",
        CountColumns::Codes { .. } => "printed codes, no counts",
        CountColumns::Numbers { .. } => "range numbers, no counts",
    };
    let decimal = match settled.marks {
        Marks::Given(Decimal::Comma) | Marks::Found(Decimal::Comma) => "decimal comma; ",
        Marks::Given(Decimal::Dot) | Marks::Found(Decimal::Dot) => "decimal point; ",
        Marks::Mixed => "",
    };
    let message = if layout.holds_counts() {
        let basis = layout.basis().map_or("a unit in each row".to_owned(), |basis| basis.to_string());
        let form = match layout.form() {
            Form::Cumulative => "cumulative",
            Form::Differential => "per size band",
        };
        let volume = match (layout.basis(), settled.volume) {
            (Some(Basis::Raw), Some(volume)) => format!(" in {} mL", volume.ml()),
            _ => String::new(),
        };
        format!("read as {parted}{decimal}{shape}, {basis}{volume}, {}, {form}", layout.scale())
    } else {
        format!("read as {parted}{shape}")
    };
    notice(
        table,
        Severity::Note,
        "read-as",
        Some(line),
        message,
        "say otherwise with the options for reading",
    )
}

/// Runs that differ by more than runs of one bottle should, where no raw count lets chance be told.
pub(super) fn runs_differ(table: &Table, sample: &Sample, ratio: f64, size: Size) -> Option<Notice> {
    let counted = sample.evidence_of_runs(size).is_some();
    let plain = ratio > RUNS_DIFFER && (!counted || ratio > 10.0);
    plain.then(|| {
        let message = format!("the runs of {} differ {ratio:.1} times at {size}", sample.id);
        let hint = "leave out the run that is wrong, or count the bottle again";
        notice(
            table,
            Severity::Warning,
            "runs-differ",
            sample.source.map(|source| source.line),
            message,
            hint,
        )
    })
}

/// Rows without a name.
pub(super) fn unnamed(table: &Table, line: u64) -> Notice {
    let message = "rows without a bottle's name are bottles of their own, named by their lines".into();
    let hint = "name the bottles, and label the runs of one bottle, if the rows are runs";
    notice(table, Severity::Note, "unnamed-rows", Some(line), message, hint)
}

/// Records that were passed over, by their lines.
#[derive(Debug, Clone, Default)]
pub(super) struct PassedOverLines {
    lines: BTreeMap<PassedOver, (Vec<u64>, u64)>,
}

impl PassedOverLines {
    pub(super) fn add(&mut self, reason: PassedOver, line: u64) {
        let (lines, count) = self.lines.entry(reason).or_default();
        *count += 1;
        if lines.len() < LISTED {
            lines.push(line);
        }
    }

    /// Those of the lines that follow.
    #[cfg(feature = "parallel")]
    pub(super) fn append(&mut self, other: &Self) {
        for (reason, (lines, count)) in &other.lines {
            let (own, total) = self.lines.entry(*reason).or_default();
            *total += count;
            let room = LISTED.saturating_sub(own.len());
            own.extend(lines.iter().take(room));
        }
    }

    /// A notice for each kind of row that might have been a bottle.
    pub(super) fn notices(self, table: &Table) -> Vec<Notice> {
        let told = |reason: PassedOver| match reason {
            PassedOver::Mean | PassedOver::Deviation | PassedOver::Summary => Some((
                "summary-rows",
                "rows that sum up others were passed over",
                "rename the bottle if it was one",
            )),
            PassedOver::CodeRow => Some((
                "code-rows",
                "rows of codes or targets were passed over",
                "rename the bottle if it was one",
            )),
            PassedOver::Remark => Some(("remarks", "lines of words were passed over", "")),
            PassedOver::HiddenRow => {
                Some(("hidden-rows", "hidden rows were passed over", "unhide them if they are to be read"))
            }
            _ => None,
        };
        let mut notices: Vec<Notice> = Vec::new();
        for (reason, (lines, count)) in &self.lines {
            let Some((code, what, hint)) = told(*reason) else { continue };
            let listed = lines.iter().map(u64::to_string).collect::<Vec<_>>().join(", ");
            let more = if *count > lines.len() as u64 { ", ..." } else { "" };
            let message = format!("{what}: line {listed}{more}");
            notices.push(notice(table, Severity::Note, code, None, message, hint));
        }
        notices
    }
}

/// Rows of a file of rejected rows stand in for those they correct.
pub(super) fn rows_corrected(table: &Table, rows: u64) -> Notice {
    let message = if rows == 1 {
        "1 corrected row was put in its place".to_owned()
    } else {
        format!("{rows} corrected rows were put in their places")
    };
    notice(table, Severity::Note, "rows-corrected", None, message, "")
}

/// Text that had to be taken as Latin-1.
pub(super) fn latin1(table: &Table) -> Notice {
    let message = "some text is not UTF-8 and was read as Latin-1".into();
    notice(table, Severity::Note, "latin-1", None, message, "")
}

pub(super) fn notice(
    table: &Table,
    severity: Severity,
    code: &'static str,
    line: Option<u64>,
    message: String,
    hint: &str,
) -> Notice {
    let (file, sheet) = (table.file.clone(), table.sheet.clone());
    Notice { file, sheet, line, severity, code, message, hint: hint.into() }
}

/// A part of an input that was refused.
#[cfg(feature = "workbook")]
pub(super) fn refused(file: &str, sheet: Option<&str>, error: &crate::error::Error) -> Notice {
    Notice {
        file: file.into(),
        sheet: sheet.map(str::to_owned),
        line: error.position().and_then(|position| position.line),
        severity: Severity::Warning,
        code: error.code(),
        message: error.kind().to_string(),
        hint: error.hint(),
    }
}
