//! How many cases a property is tried with, and which.

use proptest::test_runner::{Config, RngSeed};

/// Where the cases of a property begin that is not explored.
const SEED: u64 = 4406;

/// So many cases, the same ones each time: a test does not fail by chance, on a change that has nothing to do with it.
///
/// With the variable `SILTCODE_EXPLORE` set to a number they are so many times as many, and others each time.
///
/// # Panics
/// If the variable holds something else.
#[must_use]
pub fn cases(number: u32) -> Config {
    let (times, rng_seed) = match std::env::var("SILTCODE_EXPLORE") {
        Ok(times) => {
            (times.parse().expect("SILTCODE_EXPLORE is how many times as many cases"), RngSeed::Random)
        }
        Err(_) => (1, RngSeed::Fixed(SEED)),
    };
    let base = Config::default();
    let max_global_rejects = base.max_global_rejects * times;
    Config { cases: number * times, rng_seed, max_global_rejects, failure_persistence: None, ..base }
}
