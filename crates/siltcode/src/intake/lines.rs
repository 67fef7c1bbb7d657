//! Records of delimited text, one at a time, in bounded memory.
//!
//! A record is one line, or several where a quoted cell holds line breaks. A quote that is opened and never closed, or
//! that is closed only after whole rows, damages the line it stands in and no other: the lines behind it are read as if
//! it were not there.

use std::collections::VecDeque;
use std::io::{self, BufRead, BufReader, Read};

use csv::StringRecord;
use encoding_rs::{Encoding, WINDOWS_1252};
use memchr::{memchr, memchr2};

use super::decode;
use crate::error::{Error, ErrorKind, Position, Result};

/// More than any row takes up \[bytes\].
pub(super) const LONGEST_ROW: usize = 4 << 20;

/// How many lines a quoted cell may reach over.
const MOST_LINES_IN_CELL: usize = 50;

/// As a delimiter: cells parted by two or more blanks, as printed reports are.
pub const ALIGNED: u8 = b' ';

/// As a delimiter: a label and its value, parted by a colon.
pub const COLON: u8 = b':';

/// One record: where it stands, how it was written, and its cells.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Record {
    /// The line it begins in, from 1.
    pub(super) line: u64,
    /// The bytes it was read from, without the line end; empty for a record that was no text.
    pub(super) raw: Vec<u8>,
    pub(super) cells: StringRecord,
    /// A quote in this line was never closed, or only after whole rows.
    pub(super) open_quote: bool,
    /// The row is hidden in its workbook.
    pub(super) hidden: bool,
}

impl Record {
    /// A record that was no text.
    pub(super) fn of_cells(line: u64, cells: &[String]) -> Self {
        Self { line, cells: StringRecord::from(cells.to_vec()), ..Self::default() }
    }

    /// Whether nothing is written in any cell.
    pub(super) fn is_empty(&self) -> bool {
        self.cells.iter().all(|cell| cell.trim().is_empty())
    }

    /// The cells as text of their own.
    pub(super) fn texts(&self) -> Vec<String> {
        self.cells.iter().map(str::to_owned).collect()
    }

    /// The text of a cell; none where it is empty or there is no such column.
    pub(super) fn text(&self, column: Option<usize>) -> Option<&str> {
        let text = self.cells.get(column?)?.trim();
        (!text.is_empty()).then_some(text)
    }
}

impl Record {
    /// A record that was no text, corrected as comma-separated values.
    pub(super) fn of_csv(raw: &[u8], original: &Self) -> Self {
        let mut cells = StringRecord::new();
        part_quoted(raw, b',', &mut |cell| cells.push_field(&decode::cell(cell, WINDOWS_1252).0));
        Self { cells, ..original.clone() }
    }
}

/// Where records come from.
pub(super) trait Records {
    /// The next record; `spare` is one that is no longer used.
    ///
    /// # Errors
    /// `input-unreadable`.
    fn next(&mut self, spare: Record) -> Result<Option<Record>>;

    /// A corrected row in the place of a record, read as that was.
    fn reread(&mut self, raw: Vec<u8>, original: &Record) -> Record;

    /// Whether a cell had to be read as Latin-1.
    fn was_latin1(&self) -> bool {
        false
    }
}

/// Records of text.
pub(super) struct TextRecords<R> {
    input: BufReader<R>,
    delimiter: u8,
    end_of_line: u8,
    /// The number of the last line taken.
    line: u64,
    /// Lines read ahead of their turn.
    ahead: VecDeque<Vec<u8>>,
    /// How cells that are not UTF-8 are decoded.
    single_byte: &'static Encoding,
    latin1: bool,
}

impl<R: Read> TextRecords<R> {
    pub(super) fn new(input: R, delimiter: u8, end_of_line: u8) -> Self {
        let input = BufReader::with_capacity(1 << 16, input);
        Self {
            input,
            delimiter,
            end_of_line,
            line: 0,
            ahead: VecDeque::new(),
            single_byte: WINDOWS_1252,
            latin1: false,
        }
    }

    /// The same, for text whose cells are in this encoding where they are not UTF-8.
    pub(super) fn in_encoding(mut self, single_byte: &'static Encoding) -> Self {
        self.single_byte = single_byte;
        self
    }

    /// The same, for text that begins behind so many lines of an input.
    pub(super) fn behind(mut self, lines: u64) -> Self {
        self.line = lines;
        self
    }

    /// The next line, without its end; none at the end of the input.
    fn next_line(&mut self, mut spare: Vec<u8>) -> Result<Option<Vec<u8>>> {
        if let Some(line) = self.ahead.pop_front() {
            return Ok(Some(line));
        }
        spare.clear();
        let limit = LONGEST_ROW as u64;
        let read = (&mut self.input).take(limit).read_until(self.end_of_line, &mut spare);
        let read = read.map_err(|error| self.unreadable(&error))?;
        if read == 0 {
            return Ok(None);
        }
        if spare.last() == Some(&self.end_of_line) {
            spare.pop();
        } else if read >= LONGEST_ROW {
            return Err(self.unreadable(&io::Error::other("a line is longer than 4 MiB")));
        }
        if spare.last() == Some(&b'\r') {
            spare.pop();
        }
        Ok(Some(spare))
    }

    fn unreadable(&self, error: &io::Error) -> Error {
        let position = Position { line: Some(self.line + 1), ..Position::default() };
        Error::from(ErrorKind::InputUnreadable { message: error.to_string() }).at(position)
    }

    /// The lines up to the one that closes the quote opened in `first`, where the cell does not look like rows.
    fn continued(&mut self, first: &[u8]) -> Result<Option<(Vec<u8>, u64)>> {
        let mut whole = first.to_vec();
        let mut taken = Vec::new();
        let mut closed = false;
        while taken.len() < MOST_LINES_IN_CELL && whole.len() < LONGEST_ROW {
            let Some(line) = self.next_line(Vec::new())? else { break };
            whole.push(b'\n');
            whole.extend_from_slice(&line);
            taken.push(line);
            if !opens_quote(&whole, self.delimiter) {
                closed = true;
                break;
            }
        }
        if closed && !holds_rows(&whole, self.delimiter) {
            return Ok(Some((whole, taken.len() as u64)));
        }
        for line in taken.into_iter().rev() {
            self.ahead.push_front(line);
        }
        Ok(None)
    }

    /// Parts a line into cells.
    fn part(&mut self, raw: &[u8], quoted: bool, cells: &mut StringRecord) {
        cells.clear();
        let (latin1, encoding) = (&mut self.latin1, self.single_byte);
        let mut push = |cell: &[u8]| {
            let (text, was_latin1) = decode::cell(cell, encoding);
            *latin1 |= was_latin1;
            cells.push_field(&text);
        };
        match self.delimiter {
            ALIGNED => part_aligned(raw, &mut push),
            COLON => part_at_colon(raw, &mut push),
            delimiter if quoted => part_quoted(raw, delimiter, &mut push),
            delimiter => part_plain(raw, delimiter, &mut push),
        }
    }
}

impl<R: Read> Records for TextRecords<R> {
    fn next(&mut self, mut spare: Record) -> Result<Option<Record>> {
        loop {
            let Some(mut raw) = self.next_line(std::mem::take(&mut spare.raw))? else { return Ok(None) };
            self.line += 1;
            if raw.iter().all(u8::is_ascii_whitespace) {
                spare.raw = raw;
                continue;
            }
            let line = self.line;
            let quoted = memchr(b'"', &raw).is_some();
            let mut open_quote = quoted && opens_quote(&raw, self.delimiter);
            if open_quote && let Some((whole, lines)) = self.continued(&raw)? {
                (raw, open_quote) = (whole, false);
                self.line += lines;
            }
            let mut cells = std::mem::take(&mut spare.cells);
            self.part(&raw, quoted && !open_quote, &mut cells);
            return Ok(Some(Record { line, raw, cells, open_quote, hidden: false }));
        }
    }

    fn reread(&mut self, raw: Vec<u8>, original: &Record) -> Record {
        let open_quote = opens_quote(&raw, self.delimiter);
        let mut cells = StringRecord::new();
        self.part(&raw, memchr(b'"', &raw).is_some() && !open_quote, &mut cells);
        Record { line: original.line, raw, cells, open_quote, hidden: original.hidden }
    }

    fn was_latin1(&self) -> bool {
        self.latin1
    }
}

fn part_plain(raw: &[u8], delimiter: u8, push: &mut impl FnMut(&[u8])) {
    let mut rest = raw;
    while let Some(at) = memchr(delimiter, rest) {
        push(&rest[..at]);
        rest = &rest[at + 1..];
    }
    push(rest);
}

/// Cells in quotes where they begin with one; a doubled quote stands for itself.
fn part_quoted(raw: &[u8], delimiter: u8, push: &mut impl FnMut(&[u8])) {
    let mut rest = raw;
    loop {
        let blanks = rest.iter().take_while(|&&byte| byte == b' ').count();
        let end = if rest.get(blanks) == Some(&b'"') {
            let (cell, end) = unquoted(&rest[blanks + 1..], delimiter);
            push(&cell);
            blanks + 1 + end
        } else {
            let end = memchr(delimiter, rest).unwrap_or(rest.len());
            push(&rest[..end]);
            end
        };
        if end >= rest.len() {
            return;
        }
        rest = &rest[end + 1..];
    }
}

/// The text of a cell behind its opening quote, and where the cell ends.
fn unquoted(rest: &[u8], delimiter: u8) -> (Vec<u8>, usize) {
    let mut cell = Vec::new();
    let mut at = 0;
    while let Some(quote) = memchr(b'"', &rest[at..]).map(|found| at + found) {
        cell.extend_from_slice(&rest[at..quote]);
        if rest.get(quote + 1) != Some(&b'"') {
            let end = memchr(delimiter, &rest[quote + 1..]).map_or(rest.len(), |found| quote + 1 + found);
            cell.extend_from_slice(&rest[quote + 1..end]);
            return (cell, end);
        }
        cell.push(b'"');
        at = quote + 2;
    }
    cell.extend_from_slice(&rest[at..]);
    (cell, rest.len())
}

/// Whether a quote that a cell begins with is still open at the end.
fn opens_quote(raw: &[u8], delimiter: u8) -> bool {
    if matches!(delimiter, ALIGNED | COLON) {
        return false;
    }
    let (mut at, mut begins) = (0, true);
    while let Some(&byte) = raw.get(at) {
        if begins && byte == b'"' {
            let Some(end) = quote_end(raw, at + 1) else { return true };
            (at, begins) = (end, false);
        } else {
            begins = byte == delimiter || (begins && byte == b' ');
            at += 1;
        }
    }
    false
}

/// Behind the quote that closes a cell whose text begins at `at`.
fn quote_end(raw: &[u8], mut at: usize) -> Option<usize> {
    while let Some(found) = memchr(b'"', raw.get(at..)?) {
        if raw.get(at + found + 1) != Some(&b'"') {
            return Some(at + found + 1);
        }
        at += found + 2;
    }
    None
}

/// Whether any line inside the quotes of a record looks like a row: it holds two delimiters or more.
fn holds_rows(whole: &[u8], delimiter: u8) -> bool {
    let mut cells = Vec::new();
    part_quoted(whole, delimiter, &mut |cell| cells.push(cell.to_vec()));
    let over_lines = cells.iter().filter(|cell| memchr(b'\n', cell).is_some());
    over_lines.flat_map(|cell| cell.split(|&byte| byte == b'\n')).any(|line| {
        let marks = line.iter().filter(|&&byte| byte == delimiter).count();
        // A comma or two is prose; a comma with no blank behind it parts cells.
        let tight = line.windows(2).filter(|pair| pair[0] == delimiter && pair[1] != b' ').count();
        if delimiter == b',' { tight >= 2 } else { marks >= 2 }
    })
}

/// Two or more blanks, or a tab, part cells; a size is not parted from its unit (`> 4  um`).
fn part_aligned(raw: &[u8], push: &mut impl FnMut(&[u8])) {
    let raw = raw.trim_ascii();
    let gap = |from: usize| (from..raw.len()).find(|&at| raw[at] == b'\t' || raw[at..].starts_with(b"  "));
    let behind = |at: usize| raw.len() - raw[at..].trim_ascii_start().len();
    let mut begin = 0;
    let mut from = 0;
    while let Some(at) = gap(from) {
        let next = behind(at);
        if is_size_without_unit(&raw[begin..at]) && is_micrometre(&raw[next..]) {
            from = next;
            continue;
        }
        push(&raw[begin..at]);
        (begin, from) = (next, next);
    }
    push(&raw[begin..]);
}

/// `> 4`, `>=14`: a comparison and a number.
fn is_size_without_unit(cell: &[u8]) -> bool {
    let text = String::from_utf8_lossy(cell);
    let number = text.trim_start_matches(['>', '=', '\u{2265}']).trim();
    number.len() < text.len() && number.parse::<f64>().is_ok()
}

fn is_micrometre(rest: &[u8]) -> bool {
    let unit: Vec<u8> = rest.iter().copied().take(3).collect();
    unit.starts_with(b"um") || unit.starts_with("\u{b5}m".as_bytes()) || unit.starts_with(b"\xb5m")
}

/// The first colon with a blank behind it parts a label from its value.
fn part_at_colon(raw: &[u8], push: &mut impl FnMut(&[u8])) {
    let raw = raw.trim_ascii();
    let is_mark = |at: usize| raw[at] == b':' && raw.get(at + 1).is_none_or(u8::is_ascii_whitespace);
    match (0..raw.len()).find(|&at| is_mark(at)) {
        Some(at) => {
            push(raw[..at].trim_ascii());
            push(raw[at + 1..].trim_ascii());
        }
        None => push(raw),
    }
}

/// What ends the lines of a text: a line feed, or in old files a carriage return alone.
pub(super) fn end_of_line(head: &[u8]) -> u8 {
    match memchr2(b'\n', b'\r', head) {
        Some(at) if head[at] == b'\r' && memchr(b'\n', head).is_none() => b'\r',
        _ => b'\n',
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn records(text: &str, delimiter: u8) -> Vec<Record> {
        let mut records = TextRecords::new(text.as_bytes(), delimiter, end_of_line(text.as_bytes()));
        std::iter::from_fn(|| records.next(Record::default()).unwrap()).collect()
    }

    fn cells(text: &str, delimiter: u8) -> Vec<Vec<String>> {
        records(text, delimiter).iter().map(Record::texts).collect()
    }

    #[test]
    fn lines_are_those_an_editor_shows() {
        let lines = |text| records(text, b',').iter().map(|record| record.line).collect::<Vec<_>>();
        assert_eq!(lines("a\nb\nc\n"), [1, 2, 3]);
        assert_eq!(lines("a\r\nb\r\nc"), [1, 2, 3]);
        assert_eq!(lines("a\rb\rc"), [1, 2, 3]);
        assert_eq!(lines("\n\na\n\nb"), [3, 5]);
        assert_eq!(lines("a,\"two\nlines\"\nb\n"), [1, 3]);
    }

    #[test]
    fn quotes_hold_delimiters_and_doubled_quotes() {
        assert_eq!(cells("a;\"b;c\";\"3\"\" hose\"", b';'), [["a", "b;c", "3\" hose"]]);
        assert_eq!(cells("3/4\" valve;5\" hose", b';'), [["3/4\" valve", "5\" hose"]]);
        assert_eq!(cells("a, \"b\", c", b','), [["a", "b", " c"]]);
    }

    #[test]
    fn an_open_quote_damages_its_own_line_only() {
        let found = records("A;1;\"note;3\nB;2;x;4\nC;3;y;5\n", b';');
        assert_eq!(found.iter().map(|record| record.open_quote).collect::<Vec<_>>(), [true, false, false]);
        assert_eq!(found[1].texts(), ["B", "2", "x", "4"]);
        // closed, but only after whole rows
        let found = records("A;1;\"note\nB;2;x;4\nC;3;\"y\";5\n", b';');
        assert_eq!(found.iter().map(|record| record.open_quote).collect::<Vec<_>>(), [true, false, false]);
    }

    #[test]
    fn prose_may_reach_over_lines() {
        let found = records("A,1,\"dark, cloudy,\nand wet\",3\nB,2,x,4\n", b',');
        assert_eq!((found.len(), found[0].open_quote, found[1].line), (2, false, 3));
    }

    #[test]
    fn printed_reports_part_cells_by_blanks_or_colons() {
        assert_eq!(cells("Run 1    1752.5   517\tx", ALIGNED), [["Run 1", "1752.5", "517", "x"]]);
        assert_eq!(cells("Drawn: 10:40", COLON), [["Drawn", "10:40"]]);
    }
}
