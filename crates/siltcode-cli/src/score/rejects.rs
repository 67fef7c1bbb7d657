//! The file of rejected rows: written beside its place and moved there at the end, so that it is never half of itself.

use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use siltcode::intake::{Problem, RejectWriter};

use crate::exit::Failure;

/// Where rejected rows go, if anywhere.
pub(super) struct Rejects {
    open: Option<Open>,
}

struct Open {
    writer: RejectWriter<BufWriter<File>>,
    beside: PathBuf,
    place: PathBuf,
}

impl Rejects {
    pub(super) fn new(place: Option<&Path>) -> Result<Self, Failure> {
        let Some(place) = place else { return Ok(Self { open: None }) };
        let mut beside = place.as_os_str().to_owned();
        beside.push(".part");
        let beside = PathBuf::from(beside);
        let file = File::create(&beside).map_err(|error| Failure::io("write", beside.display(), &error))?;
        let writer = RejectWriter::new(BufWriter::new(file));
        Ok(Self { open: Some(Open { writer, beside, place: place.to_owned() }) })
    }

    pub(super) fn write(&mut self, problem: &Problem) -> io::Result<()> {
        self.open.as_mut().map_or(Ok(()), |open| open.writer.write(problem))
    }

    /// Puts the file in its place; it is empty if nothing was rejected.
    pub(super) fn finish(&mut self) -> Result<(), Failure> {
        let Some(open) = self.open.take() else { return Ok(()) };
        let moved = open.writer.finish().and_then(|_| fs::rename(&open.beside, &open.place));
        moved.map_err(|error| Failure::io("write", open.place.display(), &error))
    }
}

impl Drop for Rejects {
    /// A run that failed leaves nothing behind.
    fn drop(&mut self) {
        if let Some(open) = &self.open {
            let _ = fs::remove_file(&open.beside);
        }
    }
}
