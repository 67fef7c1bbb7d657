//! The published specifications that come with the library.
//!
//! Each stands in `reference-tables/specs/` with its edition, its scope and the status of every row. A scope such as
//! "at the point of manufacture only" is part of the result: it says that the comparison may be shown, but that a
//! stored fuel is not off specification because of it.

use crate::error::{ErrorKind, Result};
use crate::spec::Spec;

/// The names of all published specifications, in alphabetical order.
pub fn names() -> impl Iterator<Item = &'static str> {
    siltcode_tables::SPECS.iter().map(|table| table.name)
}

/// The published specification of this name.
///
/// ```
/// use siltcode::spec::published;
///
/// let spec = published::spec("wwfc-diesel")?;
/// assert_eq!(spec.requirements.len(), 3);
/// assert_eq!(published::spec("wwfc").unwrap_err().code(), "spec-unknown");
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// # Errors
/// `spec-unknown` if there is none of this name.
pub fn spec(name: &str) -> Result<Spec> {
    let table = siltcode_tables::spec(name.trim()).ok_or_else(|| ErrorKind::SpecUnknown {
        name: name.trim().into(),
        known: names().collect::<Vec<_>>().join(", "),
    })?;
    Spec::from_toml(table.text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_published_specification_reads() {
        for name in names() {
            let spec = spec(name).unwrap_or_else(|error| panic!("{name}: {error}"));
            assert_eq!(spec.name, name);
            assert!(spec.requirements.iter().all(|requirement| requirement.source.is_some()), "{name}");
        }
    }
}
