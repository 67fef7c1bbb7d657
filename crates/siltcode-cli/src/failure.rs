//! Why a command could not do its work: in words, and as JSON for programs.

use std::fmt::Display;
use std::io::{self, ErrorKind};

use serde::Serialize;
use siltcode::{Error, Position};

/// What the command refuses beside what the library does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Refusal {
    /// The command line cannot be read.
    CommandLine,
    /// A file cannot be opened, read or written.
    FileUnusable,
    /// A folder holds no files of counts.
    FolderWithoutCounts,
    /// No bottle was found in any input.
    NoBottle,
    /// Standard input is named more than once.
    InputRepeated,
    /// A file to be written is an input, or the standard output.
    OutputIsInput,
    /// A file to be written exists.
    OutputExists,
    /// What is to be written is a folder, a link, a pipe or a device.
    OutputNotRegular,
    /// There is no table of this name.
    TableUnknown,
    /// A file does not hold just the bottle that is asked for.
    BottleNotFound,
    /// A counted volume is given for a start that is no counts.
    CountedWithoutCounts,
    /// Text that is no dead zone.
    DeadZoneUnreadable,
}

impl Refusal {
    /// The stable code.
    pub(crate) const fn code(self) -> &'static str {
        match self {
            Self::CommandLine => "command-line-unreadable",
            Self::FileUnusable => "file-unusable",
            Self::FolderWithoutCounts => "folder-without-counts",
            Self::NoBottle => "no-bottle",
            Self::InputRepeated => "input-repeated",
            Self::OutputIsInput => "output-is-input",
            Self::OutputExists => "output-exists",
            Self::OutputNotRegular => "output-not-regular",
            Self::TableUnknown => "table-unknown",
            Self::BottleNotFound => "bottle-not-found",
            Self::CountedWithoutCounts => "counted-without-counts",
            Self::DeadZoneUnreadable => "dead-zone-unreadable",
        }
    }
}

/// Why a command could not do its work.
pub(crate) enum Failure {
    /// The request or an input could not be used.
    Unusable(Box<Unusable>),
    /// Whoever reads the output has gone; there is nothing to say.
    ReaderGone,
}

/// What could not be used, where, and what to do.
pub(crate) struct Unusable {
    pub(crate) code: &'static str,
    pub(crate) message: String,
    pub(crate) hint: String,
    pub(crate) position: Position,
}

impl Failure {
    pub(crate) fn new(refusal: Refusal, message: impl Into<String>, hint: impl Into<String>) -> Self {
        let (code, position) = (refusal.code(), Position::default());
        Self::Unusable(Box::new(Unusable { code, message: message.into(), hint: hint.into(), position }))
    }

    /// The same failure, about this file.
    pub(crate) fn about(mut self, file: impl Display) -> Self {
        if let Self::Unusable(unusable) = &mut self {
            unusable.position.file = Some(file.to_string());
        }
        self
    }

    /// A file that could not be opened, read or written.
    pub(crate) fn io(what: &str, name: impl Display, error: &io::Error) -> Self {
        let hint = match error.kind() {
            ErrorKind::NotFound => "check the name and the folder",
            ErrorKind::PermissionDenied => "check who may read and write there",
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
                "make room on that disk, or write to another"
            }
            _ => "check the file and the disk it is on",
        };
        Self::new(Refusal::FileUnusable, format!("cannot {what} {name}: {error}"), hint).about(name)
    }
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Self::Unusable(Box::new(Unusable {
            code: error.code(),
            message: error.kind().to_string(),
            hint: error.hint(),
            position: error.position().cloned().unwrap_or_default(),
        }))
    }
}

/// Failure to write standard output.
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == ErrorKind::BrokenPipe {
            return Self::ReaderGone;
        }
        let Self::Unusable(mut unusable) = Self::io("write", "the output", &error) else {
            return Self::ReaderGone;
        };
        unusable.position.file = None;
        Self::Unusable(unusable)
    }
}

impl Unusable {
    /// The message with its place, for a reader.
    pub(crate) fn in_words(&self) -> String {
        let place = self.position.to_string();
        // A file that could not be opened is named in the message already.
        if place.is_empty() || self.message.contains(&place) {
            return self.message.clone();
        }
        format!("{} ({place})", self.message)
    }

    /// The failure as a document of its own.
    pub(crate) fn document(&self) -> Document<'_> {
        let Self { code, message, hint, position } = self;
        Document { schema: "siltcode.error/1", code, message, hint, position }
    }
}

/// A failure as JSON, schema `siltcode.error/1`.
#[derive(Serialize)]
pub(crate) struct Document<'a> {
    schema: &'static str,
    code: &'a str,
    message: &'a str,
    hint: &'a str,
    #[serde(flatten)]
    position: &'a Position,
}
