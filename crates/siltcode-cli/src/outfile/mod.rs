//! A file that a command writes: it destroys nothing, and is there whole or not at all.
//!
//! An input, a folder, a link, a pipe or a device is never written to, and what exists only where `--force` asks for
//! it. What is written has no name, or a temporary one, until it is complete: see [`draft`].

mod draft;
mod identity;
mod interrupt;

use std::fs::{self, Metadata};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

pub(crate) use identity::Identity;

use crate::failure::{Failure, Refusal};
use draft::Draft;

/// A file under way.
pub(crate) struct OutFile {
    draft: BufWriter<Draft>,
    place: PathBuf,
    replaces: bool,
}

impl OutFile {
    /// Begins a file, if nothing is lost by it.
    pub(crate) fn create(place: &Path, force: bool, inputs: &[Identity]) -> Result<Self, Failure> {
        let found = existing(place).map_err(|error| Failure::io("write", place.display(), &error))?;
        if let Some(found) = &found {
            refuse(place, found, force, inputs)?;
        }
        let draft = Draft::beside(place, found.map(|found| found.permissions()))
            .map_err(|error| Failure::io("write", place.display(), &error))?;
        Ok(Self { draft: BufWriter::new(draft), place: place.to_owned(), replaces: force })
    }

    /// Puts the file in its place.
    pub(crate) fn publish(self) -> Result<(), Failure> {
        let Self { draft, place, replaces } = self;
        let draft = draft.into_inner().map_err(io::IntoInnerError::into_error);
        match draft.and_then(|draft| draft.publish(&place, replaces)) {
            Ok(()) => Ok(()),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(exists(&place)),
            Err(error) => Err(Failure::io("write", place.display(), &error)),
        }
    }
}

impl Write for OutFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.draft.write(bytes).map_err(|error| self.named(&error))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.draft.flush().map_err(|error| self.named(&error))
    }
}

impl OutFile {
    /// An error that says which file it is about, since standard output can fail in the same call.
    fn named(&self, error: &io::Error) -> io::Error {
        io::Error::new(error.kind(), format!("{}: {error}", self.place.display()))
    }
}

/// What stands at the place, a link being itself and not what it leads to.
fn existing(place: &Path) -> io::Result<Option<Metadata>> {
    match fs::symlink_metadata(place) {
        Ok(found) => Ok(Some(found)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

fn refuse(place: &Path, found: &Metadata, force: bool, inputs: &[Identity]) -> Result<(), Failure> {
    let name = place.display();
    if !found.is_file() {
        let message = format!("{name} is {}, and only a plain file is written", kind(found));
        let hint = "give the name of a file that does not exist yet";
        return Err(Failure::new(Refusal::OutputNotRegular, message, hint).about(name));
    }
    let own = Identity::of_path(place);
    if own.is_some_and(|own| inputs.contains(&own) || Identity::of_standard_output().contains(&own)) {
        let message = format!("{name} is an input or the output of this very command");
        let hint = "give another name: what is read is never written over";
        return Err(Failure::new(Refusal::OutputIsInput, message, hint).about(name));
    }
    if force { Ok(()) } else { Err(exists(place)) }
}

fn exists(place: &Path) -> Failure {
    let message = format!("{} exists already", place.display());
    Failure::new(Refusal::OutputExists, message, "give another name, or --force to replace it")
        .about(place.display())
}

/// What something that is no plain file is.
fn kind(found: &Metadata) -> &'static str {
    let kind = found.file_type();
    if kind.is_dir() {
        return "a folder";
    }
    if kind.is_symlink() {
        return "a link";
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if kind.is_fifo() {
            return "a pipe";
        }
        if kind.is_socket() {
            return "a socket";
        }
    }
    "a device"
}
