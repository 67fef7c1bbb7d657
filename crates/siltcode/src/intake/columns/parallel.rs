//! The same over all threads of the current pool: stretches of whole lines, each read as on one thread and put together
//! in their order, so the rows are the same however many there are.

use std::io::Read;

use memchr::memchr;
use rayon::prelude::*;

use super::Columns;
use super::block::Block;
use super::reader::{ColumnReader, line_feeds};
use crate::error::Result;

impl<R: Read> ColumnReader<'_, R> {
    /// [`next_block`](Self::next_block) on all threads of the current pool, each with as much text as a block holds.
    ///
    /// # Errors
    /// As there.
    pub fn par_next_block(&mut self) -> Result<Option<&Columns>> {
        self.next_by(Self::par_advance)
    }

    /// All rows that are left, in one.
    pub(super) fn par_rest(self) -> Result<Columns> {
        self.rest_by(Self::par_advance)
    }

    fn par_advance(&mut self, out: &mut Block) -> Result<bool> {
        let lines = self.fill(self.block_bytes.saturating_mul(rayon::current_num_threads()))?;
        let texts = pieces(&self.buffer[lines.clone()], self.block_bytes);
        // Lines are counted first, so that each piece knows the line it begins in.
        let feeds: Vec<u64> = texts.par_iter().map(|text| line_feeds(text)).collect();
        let mut work = Vec::with_capacity(texts.len());
        for (text, feeds) in texts.into_iter().zip(feeds) {
            work.push((text, self.line));
            self.line += feeds;
        }
        while self.pieces.len() < work.len() {
            self.pieces.push(self.lines.block());
        }
        let reader = &self.lines;
        self.pieces.par_iter_mut().zip(&work).for_each(|(piece, &(text, line))| {
            piece.clear();
            piece.last_aside = None;
            reader.read(text, line, piece);
        });
        for piece in &mut self.pieces[..work.len()] {
            out.stopped = match &piece.first {
                Some((line, id)) if out.last() == Some(id) => Some(reader.two_rows(*line)),
                _ => out.append(piece),
            };
            if out.stopped.is_some() {
                break;
            }
        }
        self.used = lines.end;
        self.close(!lines.is_empty(), out)
    }
}

/// Whole lines, parted into stretches of about so many bytes.
fn pieces(mut text: &[u8], bytes: usize) -> Vec<&[u8]> {
    let mut pieces = Vec::new();
    while !text.is_empty() {
        let from = bytes.min(text.len()) - 1;
        let end = memchr(b'\n', &text[from..]).map_or(text.len(), |end| from + end + 1);
        let (piece, rest) = text.split_at(end);
        pieces.push(piece);
        text = rest;
    }
    pieces
}
