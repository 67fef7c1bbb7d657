//! Bottle names that come twice.

use std::collections::HashSet;
use std::hash::{BuildHasherDefault, DefaultHasher, Hash, Hasher};

use crate::sample::Sample;

use super::problem::{Notice, Severity};

/// How many names are remembered; beyond it memory would grow with the input.
const REMEMBERED: usize = 1 << 20;

/// Finds bottles whose name another bottle had, over all inputs it is shown.
///
/// Both bottles stand in the result: which of them is meant, only the laboratory knows. Of very long inputs the first
/// million names are remembered.
#[derive(Debug, Default)]
pub struct RepeatedIds {
    seen: HashSet<u64, BuildHasherDefault<Hashed>>,
}

/// The hasher of what is a hash already.
#[derive(Debug, Default)]
struct Hashed(u64);

impl Hasher for Hashed {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        let mut hasher = DefaultHasher::new();
        hasher.write(bytes);
        self.0 = hasher.finish();
    }

    fn write_u64(&mut self, hash: u64) {
        self.0 = hash;
    }
}

impl RepeatedIds {
    /// A notice if a bottle of this name was shown before.
    pub fn check(&mut self, sample: &Sample, file: &str) -> Option<Notice> {
        let mut hasher = DefaultHasher::new();
        sample.id.hash(&mut hasher);
        let name = hasher.finish();
        if self.seen.len() < REMEMBERED && self.seen.insert(name) {
            return None;
        }
        self.seen.contains(&name).then(|| Notice {
            file: file.into(),
            sheet: None,
            line: None,
            severity: Severity::Warning,
            code: "repeated-id",
            message: format!("a second bottle is named {}; both are listed", sample.id),
            hint: "if they are one bottle, give the runs different labels; if not, rename one".into(),
        })
    }
}
