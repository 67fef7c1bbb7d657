//! Output that is held back until it is sure, or large.
//!
//! An input that turns out unusable must leave no half-written output, so what is written is kept until the command
//! is done. A large result cannot be kept: beyond the limit it flows, and memory stays bounded.

use std::io::{self, Write};

const LIMIT: usize = 8 << 20;

/// A writer that keeps up to 8 MiB before it lets anything through.
pub(crate) struct Held<W: Write> {
    inner: W,
    kept: Vec<u8>,
}

impl<W: Write> Held<W> {
    pub(crate) fn new(inner: W) -> Self {
        Self { inner, kept: Vec::new() }
    }

    /// Lets everything through. Without this call what is still kept is dropped.
    pub(crate) fn release(mut self) -> io::Result<()> {
        self.inner.write_all(&self.kept)?;
        self.inner.flush()
    }
}

impl<W: Write> Write for Held<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.kept.extend_from_slice(bytes);
        if self.kept.len() > LIMIT {
            self.inner.write_all(&self.kept)?;
            self.kept.clear();
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
