//! How the command ends: its status, and what it says when it fails.

use std::io::Write;
use std::process::ExitCode;

use clap::error::ErrorKind;

use crate::failure::{Failure, Refusal, Unusable};
use crate::json;
use crate::printed::{self, Printed, plain};
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

/// Says on standard error why a command failed, in words or as one JSON document, and gives its exit status.
pub(crate) fn report(result: Result<Exit, Failure>, as_json: bool) -> ExitCode {
    match result {
        Ok(Exit::Done) | Err(Failure::ReaderGone) => ExitCode::SUCCESS,
        Ok(Exit::NotAllConform) => ExitCode::from(1),
        Ok(Exit::Rejected) => ExitCode::from(3),
        Err(Failure::Unusable(unusable)) => {
            // Where standard error cannot be written either, the status is all that is left.
            let _ = if as_json { in_json(&unusable) } else { in_words(&unusable) };
            ExitCode::from(2)
        }
    }
}

fn in_json(unusable: &Unusable) -> std::io::Result<()> {
    json::line(&mut std::io::stderr().lock(), &unusable.document())
}

fn in_words(unusable: &Unusable) -> std::io::Result<()> {
    let mut stderr = printed::stderr();
    writeln!(stderr, "{BAD}error:{BAD:#} {}", plain(&unusable.in_words()))?;
    if !unusable.hint.is_empty() {
        writeln!(stderr, "{HINT}hint:{HINT:#} {}", plain(&unusable.hint))?;
    }
    Ok(())
}

/// A command line that cannot be read, or a request for help.
pub(crate) fn usage(error: &clap::Error, arguments: &[std::ffi::OsString]) -> ExitCode {
    if !error.use_stderr() {
        let _ = error.print();
        return ExitCode::SUCCESS;
    }
    let text = error.render().to_string();
    if asks_for_json(arguments) {
        let message = text.lines().next().unwrap_or_default().trim_start_matches("error: ");
        let hint = "see `siltcode help` and `siltcode help COMMAND`";
        return report(Err(Failure::new(Refusal::CommandLine, message, hint)), true);
    }
    let is_plain = arguments.iter().all(|argument| {
        let argument = argument.to_string_lossy();
        plain(&argument) == argument
    });
    let _ = if is_plain || error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        error.print()
    } else {
        Printed::plain(std::io::stderr().lock()).write_all(text.as_bytes())
    };
    ExitCode::from(2)
}

/// Whether a command line that cannot be read as a whole asks for JSON.
fn asks_for_json(arguments: &[std::ffi::OsString]) -> bool {
    let pairs = arguments.windows(2).any(|pair| pair[0] == "--format" && pair[1] == "json");
    pairs || arguments.iter().any(|argument| argument == "--format=json")
}
