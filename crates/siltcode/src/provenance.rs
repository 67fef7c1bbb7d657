//! What a result was made from: the library's version, the tables with their editions, and the inputs' digests.
//!
//! With these a certificate can be made again years later, and compared byte for byte.

use std::fmt::Write;

use serde::Serialize;
use sha2::{Digest as _, Sha256};
use siltcode_tables::Table;

use crate::status::Status;

/// A table that a result rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TableUsed {
    /// The table's name, as `siltcode tables` lists it.
    pub name: &'static str,
    /// The standard, edition and clause it restates, from the table's own header.
    pub standard: &'static str,
}

/// An input and the digest of its bytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InputDigest {
    /// The name the caller gave.
    pub file: String,
    /// SHA-256 of the bytes read, in hexadecimal.
    pub sha256: String,
    /// How many bytes were read.
    pub bytes: u64,
}

impl InputDigest {
    /// The digest of an input whose bytes are at hand.
    ///
    /// ```
    /// use siltcode::provenance::InputDigest;
    ///
    /// let digest = InputDigest::of("abc.txt", b"abc"); // the example of FIPS 180-4
    /// assert!(digest.sha256.starts_with("ba7816bf") && digest.sha256.ends_with("f20015ad"));
    /// assert_eq!(digest.bytes, 3);
    /// ```
    #[must_use]
    pub fn of(file: &str, bytes: &[u8]) -> Self {
        Self::finished(file, Sha256::new_with_prefix(bytes), bytes.len() as u64)
    }

    /// The digest of bytes that have passed.
    pub(crate) fn finished(file: &str, hash: Sha256, bytes: u64) -> Self {
        Self { file: file.into(), sha256: hexadecimal(hash), bytes }
    }
}

fn hexadecimal(hash: Sha256) -> String {
    let mut sha256 = String::with_capacity(64);
    for byte in hash.finalize() {
        let _ = write!(sha256, "{byte:02x}");
    }
    sha256
}

/// SHA-256 of a text or of bytes, in hexadecimal.
pub(crate) fn sha256(bytes: impl AsRef<[u8]>) -> String {
    hexadecimal(Sha256::new_with_prefix(bytes))
}

/// The specification that a result was held against.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SpecUsed {
    /// Its name.
    pub name: String,
    /// The edition of the document it restates.
    pub edition: Option<String>,
    /// How well its limits are known: the weakest of them.
    pub status: Status,
    /// SHA-256 of its text, in hexadecimal; none for one that is only a code.
    pub sha256: Option<String>,
    /// Keys of the table of sources that its limits come from, each once.
    pub sources: Vec<String>,
}

/// What a result was made from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Provenance {
    /// The library and its version.
    pub library: &'static str,
    /// The tables used.
    pub tables: Vec<TableUsed>,
    /// The specification, if there was one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub specification: Option<SpecUsed>,
    /// The inputs read.
    pub inputs: Vec<InputDigest>,
}

impl Provenance {
    /// The name and version of this library.
    pub const LIBRARY: &'static str = concat!("siltcode ", env!("CARGO_PKG_VERSION"));

    /// A result made from these tables and inputs.
    #[must_use]
    pub fn new(tables: &[&Table], inputs: Vec<InputDigest>) -> Self {
        let tables =
            tables.iter().map(|table| TableUsed { name: table.name, standard: header(table, "standard") });
        Self { library: Self::LIBRARY, tables: tables.collect(), specification: None, inputs }
    }

    /// The same, held against a specification.
    #[must_use]
    pub fn held_against(self, specification: Option<SpecUsed>) -> Self {
        Self { specification, ..self }
    }
}

/// The value of one key of a table's header; empty if the header lacks it.
///
/// ```
/// use siltcode::provenance::header;
///
/// let table = siltcode::tables::table("iso4406").unwrap();
/// assert!(header(table, "standard").contains("ISO 4406"));
/// ```
#[must_use]
pub fn header(table: &Table, key: &str) -> &'static str {
    let lines = table.text.lines().take_while(|line| line.starts_with('#'));
    let mut values = lines.filter_map(|line| line.trim_start_matches('#').trim_start().split_once(':'));
    values.find(|(found, _)| found.trim() == key).map_or("", |(_, value)| value.trim())
}
