//! Looking at the head of a text: what parts its cells.

use super::decode::single_byte_encoding;
use super::heading;
use super::layout::{CountColumns, Layout};
use super::lines::{ALIGNED, COLON, Record, Records, TextRecords};
use super::options::Options;
use super::row::printed_code;
use super::table::{LINES_BELOW, find_heading, is_count, is_group};

/// What parts cells, in the order of trust where two would do.
pub(super) const DELIMITERS: [u8; 4] = [b';', b'\t', b'|', b','];

/// How many records are looked at.
const LOOKED_AT: usize = 300;

/// How well a delimiter parts a text: whether a table was found and of what kind, and what its heading names.
type Weight = (u8, (usize, usize));

/// The delimiter that parts the head of a text best.
pub(super) fn delimiter(head: &[u8], whole: bool, end_of_line: u8, options: &Options) -> u8 {
    if let Some(delimiter) = options.delimiter {
        return delimiter;
    }
    let best = |candidates: &[u8]| {
        let weighed = candidates
            .iter()
            .map(|&delimiter| (weight(&records(head, whole, delimiter, end_of_line), options), delimiter));
        // The first of equals is trusted most.
        weighed.fold(None, |best: Option<(Weight, u8)>, next| match best {
            Some(best) if best.0 >= next.0 => Some(best),
            _ => Some(next),
        })
    };
    let ((class, _), delimiter) = best(&DELIMITERS).unwrap_or(((0, (0, 0)), b','));
    if class >= WITH_ROWS {
        return delimiter;
    }
    match best(&[ALIGNED, COLON]) {
        Some(((printed, _), other)) if printed > class => other,
        _ if class > 0 => delimiter,
        _ => most_common(head),
    }
}

const WITH_ROWS: u8 = 3;

/// The records of the head; the last line may be cut and is left out unless it is all there is.
fn records(head: &[u8], whole: bool, delimiter: u8, end_of_line: u8) -> Vec<Record> {
    let end = head.iter().rposition(|&byte| byte == end_of_line).map_or(head.len(), |end| end + 1);
    let end = if whole { head.len() } else { end };
    let mut text =
        TextRecords::new(&head[..end], delimiter, end_of_line).in_encoding(single_byte_encoding(head));
    let next = || text.next(Record::default()).ok().flatten();
    std::iter::from_fn(next).take(LOOKED_AT).filter(|record| !record.is_empty()).collect()
}

fn weight(records: &[Record], options: &Options) -> Weight {
    let mut best = (0, (0, 0));
    for (at, record) in records.iter().enumerate() {
        let group = at.checked_sub(1).map(|above| &records[above]).filter(|line| is_group(line));
        let following = &records[at + 1..records.len().min(at + 1 + LINES_BELOW)];
        let weight = match find_heading(group, record, following, options) {
            Ok(Some(found)) if has_rows(&found.heading.layout, &records[at + 1..]) => {
                (WITH_ROWS, found.heading.layout.weight())
            }
            Ok(Some(found)) => (1, found.heading.layout.weight()),
            Err(_) if record.cells.len() > 1 => (WITH_ROWS, (record.cells.len(), record.cells.len())),
            _ => match of_sizes_down(record, following, options) {
                Some(weight) => weight,
                None => continue,
            },
        };
        best = best.max(weight);
    }
    best
}

/// A table with a row per size that begins here.
fn of_sizes_down(record: &Record, following: &[Record], options: &Options) -> Option<Weight> {
    let names = record.texts();
    let rows: Vec<Vec<String>> = following.iter().map(Record::texts).collect();
    if let Some(layout) = Layout::across(&names, &rows, None, options) {
        return Some((2, layout.weight()));
    }
    let alone = is_size_row(&names) && rows.first().is_some_and(|next| is_size_row(next));
    alone.then_some((2, (1, names.len())))
}

/// `>=4 um(c)  1752`: a size and its count.
fn is_size_row(cells: &[String]) -> bool {
    let size =
        cells.first().and_then(|cell| heading::counts(cell)).is_some_and(|counts| counts.size.is_some());
    size && cells.iter().skip(1).any(|cell| is_count(cell))
}

/// Whether a row under the heading holds counts, or codes, where it names them.
fn has_rows(layout: &Layout, rows: &[Record]) -> bool {
    let columns = layout.count_columns();
    let holds = |record: &Record| {
        if let CountColumns::Codes { column } = layout.counts {
            return record.text(Some(column)).is_some_and(|text| printed_code(text).is_ok());
        }
        let filled = columns.iter().filter(|&&column| record.cells.get(column).is_some_and(is_count)).count();
        filled > 0 && 2 * filled >= columns.len()
    };
    rows.iter().any(holds)
}

fn most_common(head: &[u8]) -> u8 {
    let count = |delimiter: u8| head.iter().filter(|&&byte| byte == delimiter).count();
    DELIMITERS.into_iter().rev().max_by_key(|&delimiter| count(delimiter)).unwrap_or(b',')
}

/// The value of the option that names a delimiter.
pub(super) const fn delimiter_name(delimiter: u8) -> &'static str {
    match delimiter {
        b';' => "semicolon",
        b'\t' => "tab",
        b'|' => "pipe",
        ALIGNED => "blanks",
        COLON => "colon",
        _ => "comma",
    }
}

/// The delimiter of this name.
pub(super) fn delimiter_named(name: &str) -> Option<u8> {
    [b';', b'\t', b'|', ALIGNED, COLON, b','].into_iter().find(|&delimiter| delimiter_name(delimiter) == name)
}
