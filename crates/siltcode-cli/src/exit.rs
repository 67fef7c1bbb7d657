//! How the command ends: its status, and what it says when it fails.

use std::fmt::Display;
use std::io::{self, ErrorKind, Write};
use std::process::ExitCode;

use siltcode::Error;

use crate::text::{BAD, HINT};

/// How a command that could do its work ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Exit {
    /// Done; with a specification, everything conforms.
    Done,
    /// Done, and something does not conform or is undecided.
    NotAllConform,
    /// Done, but some rows were rejected.
    Rejected,
}

/// Why a command could not do its work.
pub(crate) enum Failure {
    /// The request or an input could not be used.
    Unusable {
        /// What, where and why.
        message: String,
        /// What to do.
        hint: String,
    },
    /// Whoever reads the output has gone; there is nothing to say.
    ReaderGone,
}

impl Failure {
    pub(crate) fn new(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Unusable { message: message.into(), hint: hint.into() }
    }

    /// A file that could not be opened, read or written.
    pub(crate) fn io(what: &str, name: impl Display, error: &io::Error) -> Self {
        let hint = match error.kind() {
            ErrorKind::NotFound => "check the name and the folder",
            ErrorKind::PermissionDenied => "check who may read and write there",
            _ => "check the file and the disk it is on",
        };
        Self::new(format!("cannot {what} {name}: {error}"), hint)
    }
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Self::new(error.to_string(), error.hint())
    }
}

/// Failure to write standard output.
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == ErrorKind::BrokenPipe {
            return Self::ReaderGone;
        }
        Self::io("write", "the output", &error)
    }
}

/// Says on standard error why a command failed, and gives its exit status.
pub(crate) fn report(result: Result<Exit, Failure>) -> ExitCode {
    match result {
        Ok(Exit::Done) | Err(Failure::ReaderGone) => ExitCode::SUCCESS,
        Ok(Exit::NotAllConform) => ExitCode::from(1),
        Ok(Exit::Rejected) => ExitCode::from(3),
        Err(Failure::Unusable { message, hint }) => {
            let mut stderr = anstream::stderr().lock();
            let _ = writeln!(stderr, "{BAD}error:{BAD:#} {message}");
            if !hint.is_empty() {
                let _ = writeln!(stderr, "{HINT}hint:{HINT:#} {hint}");
            }
            ExitCode::from(2)
        }
    }
}

/// A command line that cannot be read, or a request for help.
pub(crate) fn usage(error: &clap::Error) -> ExitCode {
    let _ = error.print();
    if error.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS }
}
