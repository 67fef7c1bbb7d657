//! Rejected rows written out, so that the corrected file can be read again.
//!
//! The rows stand byte for byte as they stood. Each group of rows opens with a line of its own that says how they were
//! read (`# siltcode: delimiter=semicolon decimal=comma per=100mL bottle="W-12"`), and their heading; each row has the
//! reason above it, in a line that is passed over when the file is read. Headings and rows come with the lines they
//! stood in, each with a check value, so that corrected ones can replace them ([`super::corrections`]).

use std::io::Write;
use std::sync::Arc;

use csv::WriterBuilder;

use super::corrections::{self, Correction};
use super::options::{Decimal, Form, Options};
use super::problem::{Problem, RejectedRow, Table};
use super::sniff::{self, delimiter_named};
use super::table::Origin;
use crate::count::{Basis, CountedVolume, Dilution};

/// What the lines of our own begin with.
pub(super) const MARK: &str = "# siltcode";

/// What the line begins with that says how the rows below it were read.
pub(super) const READ_AS: &str = "# siltcode:";

/// What the line begins with that says where the rows below it stood, and why they were rejected.
const ROWS: &str = "# siltcode rows=";

/// A file of rejected rows is read whole; one that is longer is no such file \[bytes\].
pub(super) const LONGEST_REJECTS: u64 = 256 << 20;

/// Whether a text is a file of rejected rows.
pub(super) fn is_rejects(text: &[u8]) -> bool {
    text.starts_with(READ_AS.as_bytes())
}

/// What rows have in common that stand below one line of ours: their table, and the bottle and run that they are of.
type Group = (Arc<Table>, Option<String>, Option<String>);

/// Writes rejected rows.
pub struct RejectWriter<W: Write> {
    out: W,
    group: Option<Group>,
}

impl<W: Write> RejectWriter<W> {
    /// A writer of rejected rows.
    pub const fn new(out: W) -> Self {
        Self { out, group: None }
    }

    /// Writes the rows of one problem.
    ///
    /// # Errors
    /// Those of the writer underneath.
    pub fn write(&mut self, problem: &Problem) -> std::io::Result<()> {
        let is_same = |(table, bottle, run): &Group| {
            Arc::ptr_eq(table, &problem.table) && *bottle == problem.bottle && *run == problem.run
        };
        if !self.group.as_ref().is_some_and(is_same) {
            self.begin_group(problem)?;
            self.group = Some((Arc::clone(&problem.table), problem.bottle.clone(), problem.run.clone()));
        }
        let mut rows: Vec<&RejectedRow> = problem.rows.iter().collect();
        rows.sort_by_key(|row| row.line);
        let line = problem.position.line.unwrap_or(0);
        let column =
            problem.position.column.as_ref().map_or(String::new(), |column| format!(", column {column}"));
        let places = corrections::places_of(rows.iter().copied());
        let why = format!(
            "{ROWS}{places} rejected line {line}{column}: {}: {}. {}",
            problem.code, problem.message, problem.hint
        );
        writeln!(self.out, "{}", why.replace(['\n', '\r'], " "))?;
        rows.into_iter().try_for_each(|row| self.row(row))
    }

    /// Everything is written out; gives back the writer underneath.
    ///
    /// # Errors
    /// Those of the writer underneath.
    pub fn finish(mut self) -> std::io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }

    fn begin_group(&mut self, problem: &Problem) -> std::io::Result<()> {
        let table = &problem.table;
        write!(self.out, "{READ_AS} file={}", quoted(&table.file))?;
        if let Some(sheet) = &table.sheet {
            write!(self.out, " sheet={}", quoted(sheet))?;
        }
        let is_text = table.heading.iter().chain(&problem.rows).any(|row| !row.bytes.is_empty());
        if !is_text {
            write!(self.out, " delimiter=comma")?;
        }
        for (name, value) in &table.read_as {
            write!(self.out, " {name}={}", quoted(value))?;
        }
        if let Some(bottle) = &problem.bottle {
            write!(self.out, " bottle={}", quoted(bottle))?;
        }
        if let Some(run) = &problem.run {
            write!(self.out, " run={}", quoted(run))?;
        }
        if !table.heading.is_empty() {
            write!(self.out, " heading={}", corrections::places_of(table.heading.iter()))?;
        }
        writeln!(self.out)?;
        table.heading.iter().try_for_each(|line| self.row(line))
    }

    /// A row as it stood; a row of a workbook as comma-separated values.
    fn row(&mut self, row: &RejectedRow) -> std::io::Result<()> {
        if row.bytes.is_empty() {
            let mut csv = WriterBuilder::new().flexible(true).from_writer(&mut self.out);
            csv.write_record(&row.cells).map_err(|error| match error.into_kind() {
                csv::ErrorKind::Io(error) => error, // a full disk must be told from a bad file
                other => std::io::Error::other(format!("{other:?}")),
            })?;
            return csv.flush();
        }
        self.out.write_all(&row.bytes)?;
        self.out.write_all(b"\n")
    }
}

/// A value in quotes where it needs them.
fn quoted(value: &str) -> String {
    let plain =
        !value.is_empty() && value.chars().all(|c| !c.is_whitespace() && !matches!(c, '"' | '\\' | '='));
    if plain { value.to_owned() } else { format!("{value:?}") }
}

/// A part of a file of rejected rows: how it was read, and its lines.
pub(super) struct Section<'t> {
    pub(super) origin: Origin,
    /// The input its rows come from, and the sheet.
    pub(super) file: Option<String>,
    pub(super) sheet: Option<String>,
    /// The lines its heading stood in.
    heading: Option<String>,
    pub(super) options: Options,
    pub(super) text: &'t [u8],
    /// How many lines stand above it.
    pub(super) lines_above: u64,
}

/// The parts of a file that opens with a line of ours.
pub(super) fn sections<'t>(file: &str, text: &'t [u8], options: &Options) -> Vec<Section<'t>> {
    let mut sections: Vec<Section<'t>> = Vec::new();
    let mut begin = 0;
    let mut line = 0;
    let mut at = 0;
    while at < text.len() {
        let end = text[at..].iter().position(|&byte| byte == b'\n').map_or(text.len(), |end| at + end + 1);
        if text[at..end].starts_with(READ_AS.as_bytes()) {
            if let Some(last) = sections.last_mut() {
                last.text = &text[begin..at];
            }
            let directive = String::from_utf8_lossy(&text[at + READ_AS.len()..end]);
            sections.push(Section::of(file, directive.trim(), options, line));
            begin = at;
        }
        line += 1;
        at = end;
    }
    if let Some(last) = sections.last_mut() {
        last.text = &text[begin..];
    }
    sections
}

impl Section<'_> {
    /// What a line of ours says of how the rows below it were read. What the caller gives takes precedence over it.
    fn of(file: &str, directive: &str, given: &Options, lines_above: u64) -> Self {
        let origin = Origin { file: file.to_owned(), ..Origin::default() };
        let (file, sheet, heading) = (None, None, None);
        let mut section =
            Self { origin, file, sheet, heading, options: given.clone(), text: &[], lines_above };
        for (name, value) in pairs(directive) {
            section.learn(&name, value);
        }
        section
    }

    fn learn(&mut self, name: &str, value: String) {
        let options = &mut self.options;
        match name {
            "file" => self.file = Some(value),
            "sheet" => self.sheet = Some(value),
            "heading" => self.heading = Some(value),
            "run" => self.origin.only_run = Some(value),
            "diluted" => self.origin.as_diluted = true,
            "bottle" => {
                self.origin.only = Some(vec![value.clone()]);
                self.origin.bottle = Some(value);
            }
            "delimiter" => options.delimiter = options.delimiter.or_else(|| delimiter_named(&value)),
            "decimal" => {
                let decimal = match value.as_str() {
                    "comma" => Some(Decimal::Comma),
                    "dot" | "point" => Some(Decimal::Dot),
                    _ => None,
                };
                options.decimal = options.decimal.or(decimal);
            }
            "per" => options.basis = options.basis.or_else(|| basis_named(&value)),
            "scale" => options.scale = options.scale.or_else(|| value.parse().ok()),
            "form" => {
                let form = match value.as_str() {
                    "differential" => Some(Form::Differential),
                    "cumulative" => Some(Form::Cumulative),
                    _ => None,
                };
                options.form = options.form.or(form);
            }
            "volume" => {
                let volume = value.parse().ok().and_then(|ml| CountedVolume::from_ml(ml).ok());
                options.volume = options.volume.or(volume);
            }
            "dilution" => {
                let dilution = value.parse().ok().and_then(|factor| Dilution::new(factor).ok());
                options.dilution = options.dilution.or(dilution);
            }
            _ => {}
        }
    }

    /// How many lines of ours it holds.
    pub(super) fn comments(&self) -> u64 {
        self.text.split(|&byte| byte == b'\n').filter(|line| line.starts_with(MARK.as_bytes())).count() as u64
    }

    /// Its headings and rows, each with the line it stood in.
    pub(super) fn corrections(&self, file: &str) -> Vec<Correction> {
        let delimiter = sniff::delimiter(self.text, true, b'\n', &self.options);
        let mut found = Vec::new();
        let mut places = self.heading.clone();
        let (mut begin, mut begin_line, mut line, mut at) = (0, self.lines_above, self.lines_above, 0);
        let mut take = |places: Option<String>, text: &[u8], above: u64| {
            let rows = places
                .and_then(|places| corrections::placed(&places, text, delimiter, &(file.to_owned(), above)));
            found.extend(rows.into_iter().flatten());
        };
        while at < self.text.len() {
            let end = self.text[at..].iter().position(|&byte| byte == b'\n');
            let end = end.map_or(self.text.len(), |end| at + end + 1);
            line += 1;
            if self.text[at..end].starts_with(MARK.as_bytes()) {
                if at > 0 {
                    take(places.take(), &self.text[begin..at], begin_line);
                }
                let row = String::from_utf8_lossy(&self.text[at..end]).into_owned();
                let of_rows = row.strip_prefix(ROWS).and_then(|rest| rest.split_whitespace().next());
                places = of_rows.map(str::to_owned).or(places);
                (begin, begin_line) = (end, line);
            }
            at = end;
        }
        take(places, &self.text[begin..], begin_line);
        found
    }
}

/// The basis of this value of the option `per`, in any case.
fn basis_named(name: &str) -> Option<Basis> {
    let all = Basis::CONCENTRATIONS.into_iter().chain([Basis::Raw]);
    all.into_iter().find(|&basis| super::settle::per_name(basis).eq_ignore_ascii_case(name))
}

/// `name=value` and `name="value with blanks"`.
fn pairs(text: &str) -> Vec<(String, String)> {
    let mut pairs = Vec::new();
    let mut rest = text.trim_start();
    while let Some((name, behind)) = rest.split_once('=') {
        let (value, left) = if let Some(inner) = behind.strip_prefix('"') {
            unquoted(inner)
        } else {
            let end = behind.find(char::is_whitespace).unwrap_or(behind.len());
            (behind[..end].to_owned(), &behind[end..])
        };
        pairs.push((name.trim().to_owned(), value));
        rest = left.trim_start();
    }
    pairs
}

fn unquoted(inner: &str) -> (String, &str) {
    let mut value = String::new();
    let mut chars = inner.char_indices();
    while let Some((at, c)) = chars.next() {
        match c {
            '"' => return (value, &inner[at + 1..]),
            '\\' => match chars.next() {
                Some((_, 'n')) => value.push('\n'),
                Some((_, 't')) => value.push('\t'),
                Some((_, other)) => value.push(other),
                None => {}
            },
            other => value.push(other),
        }
    }
    (value, "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_survive_being_written() {
        for value in ["comma", "W 12", "a\"b", "x=y", "", "back\\slash", "caf\u{e9} 3"] {
            let text = format!("first=1 name={} last=2", quoted(value));
            let expected = [("first", "1"), ("name", value), ("last", "2")];
            let found = pairs(&text);
            assert_eq!(found.len(), 3, "{text}");
            for ((name, value), (expected_name, expected_value)) in found.iter().zip(expected) {
                assert_eq!((name.as_str(), value.as_str()), (expected_name, expected_value));
            }
        }
    }
}
