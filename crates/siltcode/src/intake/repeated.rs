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
    /// Hashes of names, to be looked up.
    seen: HashSet<u64, BuildHasherDefault<Hashed>>,
    /// Hashes of names each of which stood above all before it, as numbered bottles do: none can have come before, so
    /// they are put among the others only when a name comes that does not rise.
    rising: Vec<u64>,
    /// The highest name of all.
    highest: String,
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
        let name = hash_of(&sample.id);
        let room = self.seen.len() + self.rising.len() < REMEMBERED;
        if (sample.id.len(), &sample.id) > (self.highest.len(), &self.highest) {
            self.highest.clone_from(&sample.id);
            self.rising.extend(room.then_some(name));
            return None;
        }
        self.seen.extend(self.rising.drain(..));
        if room && self.seen.insert(name) {
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

fn hash_of(name: &str) -> u64 {
    let mut hasher = DefaultHasher::new();
    name.hash(&mut hasher);
    hasher.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::Spectrum;

    fn repeated(names: &[&str]) -> Vec<usize> {
        let mut ids = RepeatedIds::default();
        let spectrum = Spectrum::from_per_ml(&[(4.0, 1.0)]).unwrap();
        let samples = names.iter().map(|name| Sample::new(*name, [spectrum.clone()]));
        let found: Vec<_> = samples.map(|sample| ids.check(&sample, "x")).collect();
        (0..names.len()).filter(|&i| found[i].is_some()).collect()
    }

    #[test]
    fn names_are_found_again_in_whatever_order_they_come() {
        assert_eq!(repeated(&["S1", "S2", "S10", "S2", "S11", "S10", "S11"]), [3, 5, 6]);
        assert_eq!(repeated(&["b", "a", "b", "a", "c", "c", "", "d", ""]), [2, 3, 5, 8]);
        assert_eq!(repeated(&["a", "a", "a"]), [1, 2]);
    }
}
