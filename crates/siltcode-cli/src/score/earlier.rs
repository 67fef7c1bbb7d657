//! Bottles drawn from the same points before, to tell what has changed since.

use std::collections::HashMap;
use std::path::PathBuf;

use siltcode::Spectrum;
use siltcode::intake::{self, Options};
use siltcode::provenance::InputDigest;

use super::say;
use crate::failure::Failure;
use crate::inputs;

/// The counts of earlier bottles, by name, and the files they came from.
#[derive(Default)]
pub(super) struct Earlier {
    bottles: HashMap<String, Spectrum>,
    pub(super) inputs: Vec<InputDigest>,
}

impl Earlier {
    /// Reads files of earlier bottles, of the same form as the others. Where a name comes twice the last one counts.
    pub(super) fn read(paths: &[PathBuf], options: &Options) -> Result<Self, Failure> {
        let mut earlier = Self::default();
        for input in inputs::list(paths)? {
            let batch = intake::read(&input.name, input.open()?, options)?;
            batch.problems.iter().for_each(say::problem);
            let counted =
                batch.samples.iter().filter_map(|sample| Some((sample.id.clone(), sample.spectrum().ok()?)));
            earlier.bottles.extend(counted);
            earlier.inputs.extend(batch.inputs);
        }
        Ok(earlier)
    }

    /// The earlier counts of the bottle of this name.
    pub(super) fn of(&self, id: &str) -> Option<&Spectrum> {
        self.bottles.get(id)
    }
}
