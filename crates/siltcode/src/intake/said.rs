//! What is said of a table beside its bottles: how it was read, what was assumed, what was passed over.

use crate::count::Basis;

use super::layout::{CountColumns, Layout};
use super::look::Found;
use super::number::Marks;
use super::options::{Decimal, Form};
use super::problem::{Notice, Severity, Table};

/// How many lines a notice lists.
const LISTED: usize = 5;

/// How the table was read, and what was assumed where its heading was silent.
pub(super) fn of_heading(found: &Found, table: &Table) -> Vec<Notice> {
    let mut notices = vec![read_as(found, table)];
    let warning =
        |code, message: &str, hint| notice(table, Severity::Warning, code, None, message.into(), hint);
    if found.layout.assumed.basis {
        notices.push(warning(
            "basis-assumed",
            "no heading says what volume the counts refer to: taken as per mL",
            "say it in the headings (`4 um(c) /mL`) or as an option",
        ));
    }
    if found.layout.assumed.scale {
        notices.push(warning(
            "scale-assumed",
            "no heading says the scale of the sizes: taken as um(c), automatic counter",
            "say it in the headings (`4 um(c)`) or as an option",
        ));
    }
    if found.unsettled {
        notices.push(warning(
            "decimal-assumed",
            "numbers such as 1,234 can be read two ways, and nothing settles it",
            "say which mark parts the decimals as an option",
        ));
    }
    notices
}

fn read_as(found: &Found, table: &Table) -> Notice {
    let layout = &found.layout;
    let parted = match found.delimiter {
        b',' => "commas, ",
        b';' => "semicolons, ",
        b'\t' => "tabs, ",
        b'|' => "bars, ",
        _ => "",
    };
    let shape = match layout.counts {
        CountColumns::Wide { .. } => "a column per size",
        CountColumns::Long { .. } => "a row per size",
    };
    let form = match layout.form() {
        Form::Cumulative => "cumulative",
        Form::Differential => "per size band",
    };
    let decimal = match found.marks {
        Marks::Given(Decimal::Comma) | Marks::Found(Decimal::Comma) => "decimal comma",
        Marks::Given(Decimal::Dot) | Marks::Found(Decimal::Dot) => "decimal point",
        Marks::Mixed => "decimal commas and points",
    };
    let (basis, scale) = basis_and_scale(layout);
    let message = format!("read as {parted}{decimal}; {shape}, {basis}, {scale}, {form}");
    let hint = "say otherwise with the options for reading";
    notice(table, Severity::Note, "read-as", Some(found.line), message, hint)
}

fn basis_and_scale(layout: &Layout) -> (Basis, String) {
    match &layout.counts {
        CountColumns::Wide { columns, .. } => {
            columns.first().map_or((Basis::PerMl, String::new()), |c| (c.basis, c.size.scale().to_string()))
        }
        CountColumns::Long { basis, scale, .. } => (basis.otherwise, scale.otherwise.to_string()),
    }
}

/// Rows that sum up others, by their lines.
#[derive(Debug, Clone, Default)]
pub(super) struct Summaries {
    /// The first lines, as many as are listed.
    lines: Vec<u64>,
    more: bool,
}

impl Summaries {
    pub(super) fn add(&mut self, line: u64) {
        if self.lines.len() < LISTED {
            self.lines.push(line);
        } else {
            self.more = true;
        }
    }

    /// Those of the lines that follow.
    #[cfg(feature = "parallel")]
    pub(super) fn append(&mut self, other: &Self) {
        other.lines.iter().for_each(|line| self.add(*line));
        self.more |= other.more;
    }

    pub(super) fn notice(&self, table: &Table) -> Option<Notice> {
        let lines = self.lines.iter().map(u64::to_string).collect::<Vec<_>>().join(", ");
        let more = if self.more { ", ..." } else { "" };
        let message = format!("rows that sum up others were passed over: line {lines}{more}");
        let hint = "rename the bottle if it was one";
        let said = || notice(table, Severity::Note, "summary-rows", None, message, hint);
        (!self.lines.is_empty()).then(said)
    }
}

/// Text that had to be taken as Latin-1.
pub(super) fn latin1(table: &Table) -> Notice {
    let message = "some text is not UTF-8 and was read as Latin-1".into();
    notice(table, Severity::Note, "latin-1", None, message, "")
}

fn notice(
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
