//! Looking at the head of an input: what parts its cells, where its heading stands, how it writes decimals.

use csv::StringRecord;

use crate::error::{Error, ErrorKind, Result};

use super::layout::Layout;
use super::number::{self, Cell, Marks};
use super::options::{Decimal, Options};
use super::text::{Rows, TextRows};

/// What was found at the head of an input.
#[derive(Debug)]
pub(super) struct Found {
    /// The byte between cells.
    pub(super) delimiter: u8,
    /// The lines before the heading.
    pub(super) preamble: Vec<Vec<String>>,
    /// The heading: one line, or two where the units stand on a line of their own.
    pub(super) heading: Vec<Vec<String>>,
    /// The columns.
    pub(super) layout: Layout,
    /// The line the heading begins in, from 1.
    pub(super) line: u64,
    /// The line the heading ends in.
    pub(super) last_line: u64,
    /// How decimals are written.
    pub(super) marks: Marks,
    /// Numbers that could be read either way were met, and nothing settled it.
    pub(super) unsettled: bool,
}

/// A line of the head: where it stands and its cells.
pub(super) type Line = (u64, Vec<String>);

/// What parts cells, in the order of trust where two would do.
pub(super) const DELIMITERS: [u8; 4] = [b';', b'\t', b'|', b','];

/// How many lines a heading is looked for in.
const LOOKED_AT: usize = 200;

/// Finds delimiter, heading and decimal mark in the first bytes of a text.
///
/// # Errors
/// `heading-not-found`, or why the only heading found cannot be used.
pub(super) fn at_text(head: &[u8], options: &Options) -> Result<Found> {
    let candidates = options.delimiter.map_or(DELIMITERS.to_vec(), |delimiter| vec![delimiter]);
    let mut refused = None;
    let mut best: Option<Found> = None;
    for delimiter in candidates {
        match at_lines(&lines(head, delimiter), delimiter, options) {
            Ok(found) if best.as_ref().is_none_or(|best| best.weight() < found.weight()) => {
                best = Some(found);
            }
            Ok(_) => {}
            Err(error) => refused = refused.filter(is_telling).or(Some(error)),
        }
    }
    best.ok_or_else(|| refused.unwrap_or_else(|| ErrorKind::InputEmpty {}.into()))
}

fn is_telling(error: &Error) -> bool {
    error.code() != "heading-not-found"
}

/// Finds the heading among lines that are already parted into cells.
///
/// # Errors
/// As [`at_text`].
pub(super) fn at_lines(lines: &[Line], delimiter: u8, options: &Options) -> Result<Found> {
    let mut refused = None;
    for at in 0..lines.len().min(LOOKED_AT) {
        match heading_at(&lines[at..], options) {
            Ok(Some((height, layout))) => return Ok(found(lines, at, height, layout, delimiter, options)),
            Ok(None) => {}
            Err(error) => refused = refused.or(Some(error)),
        }
    }
    let first =
        || lines.first().map(|(_, cells)| cells.join(" ").trim().chars().take(60).collect::<String>());
    match (refused, first()) {
        (Some(error), _) => Err(error),
        (None, Some(first)) => Err(ErrorKind::HeadingNotFound { first }.into()),
        (None, None) => Err(ErrorKind::InputEmpty {}.into()),
    }
}

impl Found {
    /// Better is the delimiter that names more counts, then the one with more columns.
    fn weight(&self) -> (usize, usize) {
        (self.layout.count_columns().len() + usize::from(self.layout.id.is_some()), self.layout.width)
    }
}

fn found(
    lines: &[Line],
    at: usize,
    height: usize,
    layout: Layout,
    delimiter: u8,
    options: &Options,
) -> Found {
    let (marks, unsettled) = marks(&lines[at + height..], &layout, delimiter, options);
    let cells = |lines: &[Line]| lines.iter().map(|(_, cells)| cells.clone()).collect();
    Found {
        delimiter,
        preamble: cells(&lines[..at]),
        heading: cells(&lines[at..at + height]),
        layout,
        line: lines[at].0,
        last_line: lines[at + height - 1].0,
        marks,
        unsettled,
    }
}

/// Whether a heading begins here, and of how many lines.
fn heading_at(lines: &[Line], options: &Options) -> Result<Option<(usize, Layout)>> {
    let Some((_, names)) = lines.first() else { return Ok(None) };
    if let Some((_, units)) = lines.get(1).filter(|(_, units)| may_be_units(units)) {
        let joined: Vec<String> = (names.iter().enumerate())
            .map(|(column, name)| format!("{name} {}", units.get(column).map_or("", String::as_str)))
            .collect();
        let stands_alone = matches!(Layout::of(units, options), Ok(Some(_)));
        if let (false, Ok(Some(layout))) = (stands_alone, Layout::of(&joined, options)) {
            return Ok(Some((2, layout)));
        }
    }
    Ok(Layout::of(names, options)?.map(|layout| (1, layout)))
}

/// A line of units holds words, and no number anywhere.
fn may_be_units(cells: &[String]) -> bool {
    let is_number = |cell: &String| {
        matches!(
            number::read(cell, Marks::Mixed),
            Ok(Cell::Number(_) | Cell::Below(_) | Cell::Above(_) | Cell::TooMany)
        )
    };
    let says_units =
        |cell: &String| cell.contains(['/', '(', '[', '%']) || cell.to_lowercase().contains("ml");
    cells.iter().any(says_units) && !cells.iter().any(is_number)
}

/// The lines of the head, parted; the last one may be cut and is left out unless it is all there is.
fn lines(head: &[u8], delimiter: u8) -> Vec<Line> {
    let end = head.iter().rposition(|&byte| byte == b'\n').map_or(head.len(), |end| end + 1);
    let mut rows = TextRows::new(&head[..end], delimiter);
    let next = || rows.next_row(StringRecord::new()).ok().flatten();
    std::iter::from_fn(next)
        .take(2 * LOOKED_AT)
        .map(|(line, row)| (line, row.iter().map(str::to_owned).collect()))
        .collect()
}

/// So many numbers such as `1,234` settle by themselves that the comma marks thousands.
const SEVERAL: usize = 4;

/// How the table writes its decimals, and whether that is only assumed.
fn marks(rows: &[Line], layout: &Layout, delimiter: u8, options: &Options) -> (Marks, bool) {
    if let Some(decimal) = options.decimal {
        return (Marks::Given(decimal), false);
    }
    let mut columns = layout.count_columns();
    columns.extend(layout.companions.iter().map(|(column, ..)| *column));
    let cells = rows.iter().flat_map(|(_, cells)| columns.iter().filter_map(|&column| cells.get(column)));
    let (mut dot, mut comma, mut either) = (false, false, 0);
    for readings in cells.filter_map(|cell| number::readings(cell)) {
        dot |= readings.proves() == Some(Decimal::Dot);
        comma |= readings.proves() == Some(Decimal::Comma);
        either += usize::from(readings.is_ambiguous());
    }
    match (dot, comma) {
        (true, true) => (Marks::Mixed, false),
        (true, false) => (Marks::Found(Decimal::Dot), false),
        (false, true) => (Marks::Found(Decimal::Comma), false),
        (false, false) if delimiter == b';' => (Marks::Found(Decimal::Comma), either > 0),
        // Several numbers that all end in a group of three are thousands; one may be chance.
        (false, false) => (Marks::Found(Decimal::Dot), (1..SEVERAL).contains(&either)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(text: &str) -> Found {
        at_text(text.as_bytes(), &Options::default()).unwrap()
    }

    #[test]
    fn finds_each_delimiter() {
        for (text, delimiter) in [
            ("id,4 um,6 um\nA,1,2\n", b','),
            ("id;4 um;6 um\nA;1,5;2,5\n", b';'),
            ("id\t4 um\t6 um\nA\t1\t2\n", b'\t'),
            ("id|4 um|6 um\nA|1|2\n", b'|'),
        ] {
            assert_eq!(look(text).delimiter, delimiter, "{text}");
        }
    }

    #[test]
    fn finds_the_heading_below_a_preamble() {
        let found = look("Laboratory of the harbour\nprinted, 4 pages\n\nid,4 um,6 um\nA,1,2\n");
        assert_eq!((found.line, found.preamble.len()), (4, 2));
    }

    #[test]
    fn joins_units_on_a_line_of_their_own() {
        let found = look("id;4 um(c);6 um(c)\n;per 100 mL;per 100 mL\nA;1;2\n");
        assert_eq!(found.heading.len(), 2);
        assert!(!found.layout.assumed.basis);
    }

    #[test]
    fn decimal_marks_are_settled_over_the_table() {
        let comma = Marks::Found(Decimal::Comma);
        assert_eq!(look("id;4 um;6 um\nA;1,234;2,5\n").marks, comma);
        assert_eq!(look("id,4 um,6 um\nA,\"1,234\",2.5\n").marks, Marks::Found(Decimal::Dot));
        assert_eq!(look("id;4 um;6 um\nA;1,25;2.5\n").marks, Marks::Mixed);
        assert!(look("id;4 um;6 um\nA;1,234;2\n").unsettled);
    }

    #[test]
    fn says_what_it_saw_instead_of_a_heading() {
        let error = at_text(b"shopping list\nmilk\n", &Options::default()).unwrap_err();
        assert_eq!(error.code(), "heading-not-found");
        assert!(error.to_string().contains("shopping list"));
    }
}
