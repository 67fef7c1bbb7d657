//! Text to columns, block by block.

use std::io::{self, Read};

use memchr::{memchr_iter, memrchr};

use super::block::Block;
use super::lines::LineReader;
use super::{Columns, Notice};
use crate::error::{Error, ErrorKind, Position, Result};
use crate::intake::decode::Kind;
use crate::intake::lines::{LONGEST_ROW, end_of_line};
use crate::intake::options::Options;
use crate::intake::table::first_table;
use crate::intake::{HEAD, head_of, named, rejects, sniff, unreadable};

/// How much text a block holds, unless told \[bytes\].
const BLOCK: usize = 1 << 20;

/// Reads plain rows as columns, a block of rows at a time. Memory does not grow with the input.
///
/// ```
/// use siltcode::intake::{Options, columns::{ColumnReader, RowScores}};
///
/// let text = "id,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1752,517,55\nB,100,20,3\n";
/// let options = Options::default();
/// let mut reader = ColumnReader::new("day.csv", text.as_bytes(), &options)?;
/// let (mut scores, mut dirtiest) = (RowScores::default(), 0);
/// while let Some(columns) = reader.next_block()? {
///     columns.score_into(None, &mut scores)?;
///     dirtiest = scores.numbers[0].iter().copied().fold(dirtiest, u8::max);
/// }
/// assert_eq!(dirtiest, 18);
/// # Ok::<(), siltcode::Error>(())
/// ```
pub struct ColumnReader<'a, R> {
    pub(super) lines: LineReader<'a>,
    input: R,
    /// Text that is read: what comes before `used` has become rows, what comes behind `filled` is room.
    pub(super) buffer: Vec<u8>,
    pub(super) used: usize,
    filled: usize,
    /// The line that begins at `used`.
    pub(super) line: u64,
    ended: bool,
    pub(super) block_bytes: usize,
    block: Block,
    /// What is still to be said.
    notices: Vec<Notice>,
    #[cfg(feature = "parallel")]
    pub(super) pieces: Vec<Block>,
}

impl<'a, R: Read> ColumnReader<'a, R> {
    /// Finds out how the text is written, as [`intake::read`](crate::intake::read()) does.
    ///
    /// # Errors
    /// Those of [`intake::stream`](crate::intake::stream), and `text-not-plain` if its heading or encoding says that its
    /// rows are not plain. Each names the input.
    pub fn new(name: &str, input: R, options: &'a Options) -> Result<Self> {
        Self::open(name, input, options).map_err(|error| named(error, name))
    }

    fn open(name: &str, mut input: R, options: &'a Options) -> Result<Self> {
        let head = head_of(&mut input)?;
        let refused = |found: &str| Err(ErrorKind::TextNotPlain { found: found.into() }.into());
        let mark = match Kind::of(&head) {
            _ if head.is_empty() => return Err(ErrorKind::InputEmpty {}.into()),
            Kind::Binary => return Err(ErrorKind::InputBinary {}.into()),
            Kind::Workbook => return refused("a workbook"),
            Kind::Utf16(_) => return refused("UTF-16"),
            Kind::Bytes { mark } => mark,
        };
        if head[mark..].starts_with(rejects::READ_AS.as_bytes()) {
            return refused("a file of rejected rows");
        }
        let text = &head[mark..];
        let end_of_line = end_of_line(text);
        if end_of_line != b'\n' {
            return refused("lines that end with carriage returns");
        }
        let delimiter = sniff::delimiter(text, head.len() < HEAD, end_of_line, options);
        let first = first_table(name, text, delimiter, options)?;
        if first.refused {
            return refused("rows above the heading");
        }
        let used = mark + line_start(text, first.ends);
        let line = 1 + line_feeds(&head[..used]);
        let notices = first.notices;
        let lines = LineReader::new(first.rows, delimiter)?;
        Ok(Self {
            block: lines.block(),
            lines,
            input,
            used,
            filled: head.len(),
            buffer: head,
            line,
            ended: false,
            block_bytes: BLOCK,
            notices,
            #[cfg(feature = "parallel")]
            pieces: Vec::new(),
        })
    }

    /// Takes about so much text a block, instead of 1 MiB \[bytes\]; at least a line.
    #[must_use]
    pub fn with_block_bytes(mut self, bytes: usize) -> Self {
        self.block_bytes = bytes.max(1);
        self
    }

    /// The next rows; none behind the last. They take the place of the rows before, and use their memory again.
    ///
    /// # Errors
    /// `text-not-plain` with its line if a row says more than columns hold, `input-unreadable`. Reading has then ended:
    /// what was not handed on yet is not.
    pub fn next_block(&mut self) -> Result<Option<&Columns>> {
        self.next_by(Self::advance)
    }

    pub(super) fn next_by(
        &mut self,
        advance: fn(&mut Self, &mut Block) -> Result<bool>,
    ) -> Result<Option<&Columns>> {
        let mut block = std::mem::take(&mut self.block);
        block.clear();
        let more = advance(self, &mut block);
        self.block = block;
        Ok(more?.then_some(&self.block.columns))
    }

    /// All rows that are left, in one.
    pub(super) fn rest(self) -> Result<Columns> {
        self.rest_by(Self::advance)
    }

    pub(super) fn rest_by(mut self, advance: fn(&mut Self, &mut Block) -> Result<bool>) -> Result<Columns> {
        let mut block = std::mem::take(&mut self.block);
        while advance(&mut self, &mut block)? {}
        Ok(block.columns)
    }

    /// Adds the rows of the next stretch of text; whether there was any, or anything to say.
    fn advance(&mut self, out: &mut Block) -> Result<bool> {
        let lines = self.fill(self.block_bytes)?;
        let text = &self.buffer[lines.clone()];
        self.lines.read(text, self.line, out);
        self.line += line_feeds(text);
        self.used = lines.end;
        self.close(!lines.is_empty(), out)
    }

    /// What is to be done once the rows of a block are added.
    pub(super) fn close(&mut self, filled: bool, out: &mut Block) -> Result<bool> {
        if let Some(error) = out.stopped.take() {
            self.ended = true;
            self.used = self.filled;
            return Err(error);
        }
        if self.ended && self.used == self.filled {
            self.notices.extend(std::mem::take(&mut out.passed).notices(self.lines.table()));
        }
        let said = !self.notices.is_empty();
        out.columns.notices.append(&mut self.notices);
        Ok(filled || said)
    }

    /// Reads on until there are `bytes` bytes, or a line, or nothing is left; gives back where the whole lines stand.
    pub(super) fn fill(&mut self, bytes: usize) -> Result<std::ops::Range<usize>> {
        self.buffer.copy_within(self.used..self.filled, 0);
        self.filled -= self.used;
        self.used = 0;
        let mut searched = 0;
        let mut wanted = bytes;
        loop {
            self.read_up_to(wanted)?;
            if self.ended {
                return Ok(0..self.filled);
            }
            if let Some(end) = memrchr(b'\n', &self.buffer[searched..self.filled]) {
                return Ok(0..searched + end + 1);
            }
            if self.filled > LONGEST_ROW {
                return Err(self.too_long());
            }
            searched = self.filled;
            wanted = self.filled.saturating_mul(2);
        }
    }

    fn read_up_to(&mut self, bytes: usize) -> Result<()> {
        self.buffer.resize(self.buffer.len().max(bytes), 0);
        while self.filled < bytes && !self.ended {
            match self.input.read(&mut self.buffer[self.filled..bytes]) {
                Ok(0) => self.ended = true,
                Ok(read) => self.filled += read,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(self.stop(unreadable(&error))),
            }
        }
        Ok(())
    }

    fn too_long(&mut self) -> Error {
        let message = "a row is longer than 4 MiB".into();
        self.stop(ErrorKind::InputUnreadable { message }.into())
    }

    fn stop(&mut self, error: Error) -> Error {
        self.ended = true;
        self.used = self.filled;
        let file = Some(self.lines.table().file.clone());
        error.at(Position { file, line: Some(self.line), ..Position::default() })
    }
}

/// Where the line behind this one begins.
fn line_start(text: &[u8], line: u64) -> usize {
    let last = usize::try_from(line).unwrap_or(usize::MAX);
    memchr_iter(b'\n', text).nth(last.saturating_sub(1)).map_or(text.len(), |end| end + 1)
}

pub(super) fn line_feeds(text: &[u8]) -> u64 {
    memchr_iter(b'\n', text).count() as u64
}
