//! The files a request names: files as given, folders by what lies in them, `-` for standard input.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use siltcode::Position;
use siltcode::provenance::InputDigest;

use crate::failure::{Failure, Refusal};
use crate::outfile::Identity;

/// Endings of files that a folder is searched for.
const ENDINGS: [&str; 8] = ["csv", "tsv", "tab", "txt", "dat", "prn", "xlsx", "xlsm"];

/// What stands for standard input.
const STANDARD_INPUT: &str = "-";

/// An input that is there and can be opened.
pub(crate) struct Input {
    /// The name shown to the user.
    pub(crate) name: String,
    /// Its size \[bytes\]; 0 where it is not known beforehand.
    pub(crate) bytes: u64,
    /// Whether it was found in a folder, not named itself.
    pub(crate) found: bool,
    source: Source,
}

enum Source {
    File(PathBuf),
    StandardInput,
}

impl Input {
    /// Opens it. Inputs are opened one after the other: a folder may hold more than a process can have open.
    pub(crate) fn open(&self) -> Result<Box<dyn Read>, Failure> {
        match &self.source {
            Source::StandardInput => Ok(Box::new(io::stdin().lock())),
            Source::File(path) => {
                let file = File::open(path).map_err(|error| Failure::io("open", &self.name, &error))?;
                Ok(Box::new(file))
            }
        }
    }

    /// Whether it can be read more than once.
    pub(crate) fn is_plain_file(&self) -> bool {
        matches!(&self.source, Source::File(path) if path.is_file())
    }

    /// The plain file it is read from.
    pub(crate) fn identity(&self) -> Option<Identity> {
        match &self.source {
            Source::File(path) => Identity::of_path(path),
            Source::StandardInput => Identity::of_standard_input(),
        }
    }
}

/// What the paths of a request stand for.
pub(crate) struct Found {
    pub(crate) inputs: Vec<Input>,
    /// Files of folders that are not read.
    pub(crate) skipped: Vec<String>,
}

/// All inputs, in the order given; a folder's files in the order of their names. `-` is standard input.
///
/// Every one is looked at before the first is read, so that a missing one is found before anything is written.
///
/// # Errors
/// `output-is-input` where standard output goes to one of them: it would grow while it is read.
pub(crate) fn find(paths: &[PathBuf], recursive: bool) -> Result<Found, Failure> {
    let mut found = Found { inputs: Vec::new(), skipped: Vec::new() };
    for path in paths {
        if path.as_os_str() == STANDARD_INPUT {
            let input = standard_input(&found.inputs)?;
            found.inputs.push(input);
        } else if path.is_dir() {
            let before = found.inputs.len();
            add_folder(path, recursive, &mut found)?;
            if found.inputs.len() == before {
                return Err(no_counts(path, &found.skipped));
            }
        } else {
            found.inputs.push(input(path.clone())?);
        }
    }
    ensure_output_apart(&found.inputs)?;
    Ok(found)
}

/// All inputs, without the files of folders that are not read.
///
/// # Errors
/// As [`find`].
pub(crate) fn list(paths: &[PathBuf]) -> Result<Vec<Input>, Failure> {
    find(paths, false).map(|found| found.inputs)
}

fn standard_input(before: &[Input]) -> Result<Input, Failure> {
    if before.iter().any(|input| matches!(input.source, Source::StandardInput)) {
        let message = "standard input is named more than once";
        return Err(Failure::new(Refusal::InputRepeated, message, "give `-` once: it can be read only once"));
    }
    Ok(Input { name: "standard input".into(), bytes: 0, found: false, source: Source::StandardInput })
}

/// A plain file is opened once to see that it can be; a pipe would lose what it holds.
fn input(path: PathBuf) -> Result<Input, Failure> {
    let name = path.display().to_string();
    let unusable = |error: io::Error| Failure::io("open", &name, &error);
    let metadata = fs::metadata(&path).map_err(unusable)?;
    if metadata.is_file() {
        File::open(&path).map_err(unusable)?;
    }
    Ok(Input { bytes: metadata.len(), name, found: false, source: Source::File(path) })
}

fn ensure_output_apart(inputs: &[Input]) -> Result<(), Failure> {
    let outputs = Identity::of_standard_output();
    let is_output = |input: &&Input| input.identity().is_some_and(|input| outputs.contains(&input));
    let Some(input) = inputs.iter().find(is_output) else { return Ok(()) };
    let message = format!("{} is an input, and the output goes to it", input.name);
    let hint = "send the output to another file: an input would grow while it is read";
    Err(Failure::new(Refusal::OutputIsInput, message, hint).about(&input.name))
}

/// What a TOML file says, with its digest; what is wrong in it is said with its name.
pub(crate) fn read_toml<T>(
    name: &str,
    parse: impl Fn(&str) -> siltcode::Result<T>,
) -> Result<(T, InputDigest), Failure> {
    let read =
        if name == STANDARD_INPUT { io::read_to_string(io::stdin()) } else { fs::read_to_string(name) };
    let name = if name == STANDARD_INPUT { "standard input" } else { name };
    let text = read.map_err(|error| Failure::io("read", name, &error))?;
    let placed = |error: siltcode::Error| {
        if error.position().is_some_and(|position| position.file.is_some()) {
            return error; // of a file that this one names
        }
        let line = error.position().and_then(|position| position.line);
        error.at(Position { file: Some(name.into()), line, ..Position::default() })
    };
    Ok((parse(&text).map_err(placed)?, InputDigest::of(name, text.as_bytes())))
}

/// Whether a text names a file that is there, or standard input.
pub(crate) fn is_there(text: &str) -> bool {
    text == STANDARD_INPUT || Path::new(text).exists()
}

fn add_folder(folder: &Path, recursive: bool, found: &mut Found) -> Result<(), Failure> {
    let name = folder.display();
    let unusable = |error: io::Error| Failure::io("open", &name, &error);
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder).map_err(unusable)? {
        paths.push(entry.map_err(unusable)?.path());
    }
    paths.sort();
    for path in paths {
        if path.is_dir() && recursive {
            add_folder(&path, recursive, found)?;
        } else if is_data(&path) {
            found.inputs.push(Input { found: true, ..input(path)? });
        } else {
            found.skipped.push(path.display().to_string());
        }
    }
    Ok(())
}

fn no_counts(folder: &Path, skipped: &[String]) -> Failure {
    let others =
        if skipped.is_empty() { String::new() } else { format!("; not read: {}", skipped.join(", ")) };
    let message = format!("the folder {} holds no counts{others}", folder.display());
    let hint = format!(
        "give a folder with files ending in {}, name the file itself, or read the folders inside with --recursive",
        ENDINGS.join(", ")
    );
    Failure::new(Refusal::FolderWithoutCounts, message, hint).about(folder.display())
}

fn is_data(path: &Path) -> bool {
    let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(['.', '~']));
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    path.is_file() && !hidden && ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
}
