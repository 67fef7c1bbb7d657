//! Rows of delimited text, one at a time, in bounded memory.

use std::cell::Cell;
use std::io::{self, Read};

use csv::{ByteRecord, ReaderBuilder, StringRecord, Terminator};

use crate::error::{ErrorKind, Result};

use super::decode;
use super::row::Row;

/// More than any row takes up \[bytes\].
pub(super) const LONGEST_ROW: usize = 4 << 20;

/// Where rows come from.
pub(super) trait Rows {
    /// The next row; the record is one that is no longer used.
    fn next_row(&mut self, spare: StringRecord) -> Result<Option<Row>>;

    /// Whether a cell had to be read as Latin-1.
    fn was_latin1(&self) -> bool {
        false
    }
}

/// Rows of text.
///
/// Lines end with a line feed; a carriage return before it is trimmed with its cell. Empty lines are passed over, but
/// they count.
pub(super) struct TextRows<R> {
    reader: csv::Reader<Watched<R>>,
    latin1: bool,
}

impl<R: Read> TextRows<R> {
    /// Rows parted by `delimiter`; they may differ in length, and none is a header.
    pub(super) fn new(input: R, delimiter: u8) -> Self {
        let input = Watched { inner: input, since_row: Cell::new(0), total: 0, last: b'\n' };
        let mut builder = ReaderBuilder::new();
        builder.delimiter(delimiter).has_headers(false).flexible(true).terminator(Terminator::Any(b'\n'));
        Self { reader: builder.from_reader(input), latin1: false }
    }

    /// The line the row just read begins in: what was read up to its end, less the lines it takes up itself.
    fn line(&self, record: &ByteRecord) -> u64 {
        let end = self.reader.position();
        let unended = end.byte() == self.reader.get_ref().total && self.reader.get_ref().last != b'\n';
        let inside = record.as_slice().iter().filter(|&&byte| byte == b'\n').count() as u64;
        (end.line() + u64::from(unended)).saturating_sub(1 + inside)
    }

    /// How much the rows took up so far \[bytes\].
    pub(super) fn bytes_read(&self) -> usize {
        usize::try_from(self.reader.position().byte()).unwrap_or(usize::MAX)
    }

    /// Cells that are not UTF-8 are decoded one by one.
    fn decoded(&mut self, bytes: &ByteRecord) -> StringRecord {
        let mut record = StringRecord::new();
        for cell in bytes {
            let (text, latin1) = decode::cell(cell);
            self.latin1 |= latin1;
            record.push_field(&text);
        }
        record
    }
}

impl<R: Read> Rows for TextRows<R> {
    fn next_row(&mut self, spare: StringRecord) -> Result<Option<Row>> {
        let mut bytes = spare.into_byte_record();
        self.reader.get_ref().since_row.set(0);
        let read = self.reader.read_byte_record(&mut bytes);
        if !read.map_err(|error| ErrorKind::InputUnreadable { message: error.to_string() })? {
            return Ok(None);
        }
        let line = self.line(&bytes);
        let record = StringRecord::from_byte_record(bytes);
        Ok(Some((line, record.unwrap_or_else(|error| self.decoded(&error.into_byte_record())))))
    }

    fn was_latin1(&self) -> bool {
        self.latin1
    }
}

/// A reader that knows how far it is, and fails when one row takes up more than any row can: a quote was opened and
/// never closed.
struct Watched<R> {
    inner: R,
    since_row: Cell<usize>,
    total: u64,
    last: u8,
}

impl<R: Read> Read for Watched<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.since_row.get() > LONGEST_ROW {
            return Err(io::Error::other("a row is longer than 4 MiB; a quote was opened and never closed"));
        }
        let read = self.inner.read(buffer)?;
        self.since_row.set(self.since_row.get() + read);
        self.total += read as u64;
        self.last = buffer[..read].last().copied().unwrap_or(self.last);
        Ok(read)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Vec<u64> {
        let mut rows = TextRows::new(text.as_bytes(), b',');
        std::iter::from_fn(|| rows.next_row(StringRecord::new()).unwrap().map(|(line, _)| line)).collect()
    }

    #[test]
    fn lines_are_those_an_editor_shows() {
        assert_eq!(lines("a\nb\nc\n"), [1, 2, 3]);
        assert_eq!(lines("a\r\nb\r\nc"), [1, 2, 3]);
        assert_eq!(lines("\n\na\n\nb"), [3, 5]);
        assert_eq!(lines("a,\"two\nlines\"\nb\n"), [1, 3]);
    }

    #[test]
    fn a_quote_never_closed_does_not_swallow_the_input() {
        let text = format!("a,b\n\"{}", "x\n".repeat(4 << 20));
        let mut rows = TextRows::new(text.as_bytes(), b',');
        assert!(rows.next_row(StringRecord::new()).is_ok());
        assert_eq!(rows.next_row(StringRecord::new()).unwrap_err().code(), "input-unreadable");
    }
}
