//! Bytes to text: UTF-8, UTF-16 and Latin-1, with a digest of what was read.
//!
//! UTF-16 is turned into UTF-8 as it streams. Everything else is left as bytes, because every delimiter is ASCII, and
//! each cell is decoded on its own: as UTF-8, or where it is not, as Windows-1252 (of which Latin-1 is a part).

use std::borrow::Cow;
use std::io::{self, Read};

use encoding_rs::{CoderResult, Decoder, Encoding, UTF_16BE, UTF_16LE, WINDOWS_1250, WINDOWS_1252};
use sha2::{Digest as _, Sha256};

use crate::provenance::InputDigest;

/// A reader that digests what passes.
pub(super) struct Digested<R> {
    inner: R,
    hash: Sha256,
    bytes: u64,
}

impl<R: Read> Digested<R> {
    pub(super) fn new(inner: R) -> Self {
        Self { inner, hash: Sha256::new(), bytes: 0 }
    }

    /// The digest of everything read.
    pub(super) fn finish(self, file: &str) -> InputDigest {
        InputDigest::finished(file, self.hash, self.bytes)
    }
}

impl<R: Read> Read for Digested<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.inner.read(buffer)?;
        self.hash.update(&buffer[..read]);
        self.bytes += read as u64;
        Ok(read)
    }
}

/// What the first bytes of an input say it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A zip archive, as an XLSX workbook is.
    Workbook,
    /// Text in UTF-16.
    Utf16(&'static Encoding),
    /// Text in UTF-8 or a single-byte encoding; so many bytes of byte-order mark stand before it.
    Bytes { mark: usize },
    /// Anything else.
    Binary,
}

impl Kind {
    pub(super) fn of(head: &[u8]) -> Self {
        match head {
            [b'P', b'K', 3, 4, ..] => Self::Workbook,
            [0xFF, 0xFE, ..] => Self::Utf16(UTF_16LE),
            [0xFE, 0xFF, ..] => Self::Utf16(UTF_16BE),
            [0xEF, 0xBB, 0xBF, ..] => Self::Bytes { mark: 3 },
            _ => Self::without_mark(head),
        }
    }

    /// UTF-16 without a mark shows as text with a NUL in every second byte; any other NUL is no text.
    fn without_mark(head: &[u8]) -> Self {
        let nuls = |odd: usize| head.iter().skip(odd).step_by(2).filter(|&&byte| byte == 0).count();
        let (even, odd) = (nuls(0), nuls(1));
        match (even, odd) {
            (0, 0) => Self::Bytes { mark: 0 },
            (0, odd) if odd * 4 > head.len() => Self::Utf16(UTF_16LE),
            (even, 0) if even * 4 > head.len() => Self::Utf16(UTF_16BE),
            _ => Self::Binary,
        }
    }
}

/// A reader that turns UTF-16 into UTF-8.
pub(super) struct Utf8<R> {
    inner: R,
    decoder: Decoder,
    raw: Vec<u8>,
    at: usize,
    ended: bool,
    /// The decoder has given its last; it must not be asked again.
    done: bool,
}

impl<R: Read> Utf8<R> {
    pub(super) fn new(inner: R, encoding: &'static Encoding) -> Self {
        Self { inner, decoder: encoding.new_decoder(), raw: Vec::new(), at: 0, ended: false, done: false }
    }

    fn refill(&mut self) -> io::Result<()> {
        const BLOCK: usize = 1 << 16;
        self.raw.resize(BLOCK, 0);
        let read = self.inner.read(&mut self.raw)?;
        self.raw.truncate(read);
        self.at = 0;
        self.ended = read == 0;
        Ok(())
    }
}

impl<R: Read> Read for Utf8<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        const LONGEST: usize = 8; // room for a character, so that the decoder always gets on
        if buffer.len() < LONGEST {
            return Err(io::Error::other("the buffer is too small to decode into"));
        }
        while !self.done {
            if self.at == self.raw.len() && !self.ended {
                self.refill()?;
            }
            let (result, read, written, _) =
                self.decoder.decode_to_utf8(&self.raw[self.at..], buffer, self.ended);
            self.at += read;
            self.done = self.ended && result == CoderResult::InputEmpty;
            if written > 0 {
                return Ok(written);
            }
        }
        Ok(0)
    }
}

/// A cell as text, and whether it had to be taken as a text of single bytes.
pub(super) fn cell<'b>(bytes: &'b [u8], single_byte: &'static Encoding) -> (Cow<'b, str>, bool) {
    match std::str::from_utf8(bytes) {
        Ok(text) => (Cow::Borrowed(text), false),
        Err(_) => (single_byte.decode_without_bom_handling(bytes).0, true),
    }
}

/// The single-byte encoding of a text that is not UTF-8: Windows-1250 (Central Europe) where bytes stand inside words
/// that are letters there and signs in Windows-1252; else Windows-1252.
pub(super) fn single_byte_encoding(head: &[u8]) -> &'static Encoding {
    const LETTERS_IN_1250_ONLY: [u8; 7] = [0x9C, 0x9F, 0xA5, 0xB3, 0xB9, 0xBF, 0x8C];
    let is_letter = |byte: u8| byte.is_ascii_alphabetic() || byte >= 0xC0;
    let inside = |window: &&[u8]| {
        LETTERS_IN_1250_ONLY.contains(&window[1]) && is_letter(window[0]) && is_letter(window[2])
    };
    let found = head.windows(3).filter(inside).count();
    if found >= 2 && std::str::from_utf8(head).is_err() { WINDOWS_1250 } else { WINDOWS_1252 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knows_kinds_by_their_first_bytes() {
        let utf16: Vec<u8> = "id,4".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(Kind::of(&utf16), Kind::Utf16(UTF_16LE));
        assert_eq!(Kind::of(b"\xEF\xBB\xBFid"), Kind::Bytes { mark: 3 });
        assert_eq!(Kind::of(b"PK\x03\x04rest"), Kind::Workbook);
        assert_eq!(Kind::of(b"\x7fELF\0\0\0\x01\x02\0"), Kind::Binary);
        assert_eq!(Kind::of("Zählung".as_bytes()), Kind::Bytes { mark: 0 });
    }

    #[test]
    fn utf16_streams_to_utf8() {
        let text = "bottle;4 µm\r\n".repeat(9000);
        let bytes: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let mut read = String::new();
        Utf8::new(bytes.as_slice(), UTF_16BE).read_to_string(&mut read).unwrap();
        assert_eq!(read, text);
    }

    #[test]
    fn a_digest_counts_and_hashes() {
        let mut digested = Digested::new(&b"abc"[..]);
        io::copy(&mut digested, &mut io::sink()).unwrap();
        let digest = digested.finish("x");
        assert_eq!(digest.bytes, 3);
        // FIPS 180-4, example of one block
        assert_eq!(digest.sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
