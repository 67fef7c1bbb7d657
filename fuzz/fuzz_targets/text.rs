//! Any bytes as an input of counts: read, scored and written out as rejects, without a panic, and every row accounted for.
#![no_main]

use libfuzzer_sys::fuzz_target;
use siltcode::intake::{self, Options, RejectWriter, columns};
use siltcode::{Scoring, score};

fuzz_target!(|bytes: &[u8]| {
    let Ok(batch) = intake::read("fuzz", bytes, &Options::default()) else { return };
    let mut rejects = RejectWriter::new(Vec::new());
    for problem in &batch.problems {
        rejects.write(problem).expect("a vector takes everything");
    }
    let scoring = Scoring::default();
    for sample in &batch.samples {
        // A bottle that cannot be scored says why.
        if let Err(error) = score(sample, &scoring) {
            assert!(!error.to_string().is_empty());
        }
    }
    let _ = columns::read("fuzz", bytes, &Options::default());
});
