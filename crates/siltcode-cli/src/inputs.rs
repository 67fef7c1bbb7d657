//! The files a request names: files as given, folders by what lies in them.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use siltcode::Position;
use siltcode::provenance::InputDigest;

use crate::exit::Failure;

/// Endings of files that a folder is searched for.
const ENDINGS: [&str; 6] = ["csv", "tsv", "txt", "dat", "xlsx", "xlsm"];

/// An input that could be opened.
pub(crate) struct Input {
    /// The name shown to the user.
    pub(crate) name: String,
    /// The open file.
    pub(crate) file: File,
    /// Its size \[bytes\].
    pub(crate) bytes: u64,
}

/// All inputs, in the order given; a folder's files in the order of their names.
///
/// Every file is opened before the first is read, so that a missing one is found before anything is written.
pub(crate) fn open_all(paths: &[PathBuf]) -> Result<Vec<Input>, Failure> {
    let mut inputs = Vec::new();
    for path in paths {
        if path.is_dir() {
            for file in files_of(path)? {
                inputs.push(open(&file)?);
            }
        } else {
            inputs.push(open(path)?);
        }
    }
    Ok(inputs)
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

fn files_of(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let name = folder.display();
    let entries = fs::read_dir(folder).map_err(|error| Failure::io("open", &name, &error))?;
    let mut files: Vec<PathBuf> =
        entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|p| is_data(p)).collect();
    files.sort();
    if files.is_empty() {
        return Err(Failure::new(
            format!("the folder {name} holds no counts"),
            format!("give a folder with files ending in {}, or name the file itself", ENDINGS.join(", ")),
        ));
    }
    Ok(files)
}

fn is_data(path: &Path) -> bool {
    let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(['.', '~']));
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    path.is_file() && !hidden && ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
}
