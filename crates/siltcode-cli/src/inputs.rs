//! The files a request names: files as given, folders by what lies in them.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use siltcode::Position;
use siltcode::provenance::InputDigest;

use crate::exit::Failure;

/// Endings of files that a folder is searched for.
const ENDINGS: [&str; 9] = ["csv", "tsv", "tab", "txt", "dat", "prn", "md", "xlsx", "xlsm"];

/// An input that could be opened.
pub(crate) struct Input {
    /// The name shown to the user.
    pub(crate) name: String,
    /// The open file.
    pub(crate) file: File,
    /// Its size \[bytes\].
    pub(crate) bytes: u64,
}

/// What the paths of a request stand for.
pub(crate) struct Found {
    pub(crate) inputs: Vec<Input>,
    /// Files of folders that are not read.
    pub(crate) skipped: Vec<String>,
}

/// All inputs, in the order given; a folder's files in the order of their names. `-` is standard input.
///
/// Every file is opened before the first is read, so that a missing one is found before anything is written.
pub(crate) fn find(paths: &[PathBuf], recursive: bool) -> Result<Found, Failure> {
    let mut found = Found { inputs: Vec::new(), skipped: Vec::new() };
    for path in paths {
        if path.is_dir() {
            let before = found.inputs.len();
            add_folder(path, recursive, &mut found)?;
            if found.inputs.len() == before {
                return Err(no_counts(path, &found.skipped));
            }
        } else {
            found.inputs.push(open(path)?);
        }
    }
    Ok(found)
}

/// All inputs, without the files of folders that are not read.
pub(crate) fn open_all(paths: &[PathBuf]) -> Result<Vec<Input>, Failure> {
    find(paths, false).map(|found| found.inputs)
}

fn open(path: &Path) -> Result<Input, Failure> {
    let name = path.display().to_string();
    let file = File::open(path).map_err(|error| Failure::io("open", &name, &error))?;
    let bytes = file.metadata().map_err(|error| Failure::io("open", &name, &error))?.len();
    Ok(Input { name, file, bytes })
}

/// What a TOML file says, with its digest; what is wrong in it is said with its name.
pub(crate) fn read_toml<T>(
    name: &str,
    parse: impl Fn(&str) -> siltcode::Result<T>,
) -> Result<(T, InputDigest), Failure> {
    let text = fs::read_to_string(name).map_err(|error| Failure::io("read", name, &error))?;
    let placed = |error: siltcode::Error| {
        let line = error.position().and_then(|position| position.line);
        error.at(Position { file: Some(name.into()), line, ..Position::default() })
    };
    Ok((parse(&text).map_err(placed)?, InputDigest::of(name, text.as_bytes())))
}

fn add_folder(folder: &Path, recursive: bool, found: &mut Found) -> Result<(), Failure> {
    let name = folder.display();
    let entries = fs::read_dir(folder).map_err(|error| Failure::io("open", &name, &error))?;
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.sort();
    for path in paths {
        if path.is_dir() && recursive {
            add_folder(&path, recursive, found)?;
        } else if is_data(&path) {
            found.inputs.push(open(&path)?);
        } else {
            found.skipped.push(path.display().to_string());
        }
    }
    Ok(())
}

fn no_counts(folder: &Path, skipped: &[String]) -> Failure {
    let others =
        if skipped.is_empty() { String::new() } else { format!("; not read: {}", skipped.join(", ")) };
    Failure::new(
        format!("the folder {} holds no counts{others}", folder.display()),
        format!(
            "give a folder with files ending in {}, name the file itself, or read the folders inside with --recursive",
            ENDINGS.join(", ")
        ),
    )
}

fn is_data(path: &Path) -> bool {
    let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(['.', '~']));
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    path.is_file() && !hidden && ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
}
