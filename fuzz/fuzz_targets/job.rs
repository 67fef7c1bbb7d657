//! Any text as a job of staged filtration. Planning is left out: what it may cost is bounded elsewhere.
#![no_main]

use libfuzzer_sys::fuzz_target;
use siltcode::plan::Job;

fuzz_target!(|text: &str| {
    if let Ok(job) = Job::from_toml(text) {
        let _ = format!("{job:?}");
    }
});
