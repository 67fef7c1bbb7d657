//! Every public calculation with the largest, the smallest and the oddest values: no panic, no number that is none, and
//! none that takes longer than a second of the processor.

#[path = "extremes/certainty.rs"]
mod certainty;
#[path = "extremes/filter.rs"]
mod filter;
#[path = "extremes/job.rs"]
mod job;
#[path = "extremes/sample.rs"]
mod sample;
#[path = "extremes/tank.rs"]
mod tank;
#[path = "extremes/text.rs"]
mod text;

use std::fmt::Debug;

use rustix::time::{ClockId, clock_gettime};
use siltcode::certainty::{Level, Mean, Scatter};
use siltcode::filter::{Beta, Efficiency, Share};
use siltcode::tank::Turnovers;
use siltcode::{CountedVolume, Dilution, Evidence, PerMl, Result, Size};

/// Numbers at the ends and in the middle of what a double holds.
const NUMBERS: [f64; 17] = [
    f64::NAN,
    f64::NEG_INFINITY,
    -1.0,
    -0.0,
    0.0,
    5e-324,
    f64::MIN_POSITIVE,
    1e-180,
    1e-9,
    0.5,
    1.0,
    7.0,
    1e9,
    1e16,
    1e180,
    f64::MAX,
    f64::INFINITY,
];

/// Raw counts at the ends and in the middle.
const RAW: [u64; 9] = [0, 1, 19, 1000, 1_000_000_000, 1 << 53, (1 << 53) + 1, u64::MAX - 1, u64::MAX];

/// What can be made of [`NUMBERS`], and of some more.
fn valid<T>(make: impl Fn(f64) -> Result<T>, more: &[f64]) -> Vec<T> {
    let valid: Vec<T> = NUMBERS.iter().chain(more).filter_map(|&number| make(number).ok()).collect();
    assert!(!valid.is_empty());
    valid
}

fn per_ml() -> Vec<PerMl> {
    valid(PerMl::new, &[])
}

fn means() -> Vec<Mean> {
    valid(Mean::new, &[20.0])
}

fn levels() -> Vec<Level> {
    valid(Level::new, &[Level::SMALLEST, Level::LARGEST, 0.95])
}

fn scatters() -> Vec<Scatter> {
    valid(Scatter::from_cv, &[Scatter::LARGEST_CV, 0.1])
}

fn volumes() -> Vec<CountedVolume> {
    valid(CountedVolume::from_ml, &[10.0])
}

fn sizes() -> Vec<Size> {
    valid(Size::um_c, &[4.0, 6.0, 14.0])
}

fn betas() -> Vec<Beta> {
    valid(Beta::new, &[1.0 + f64::EPSILON, 75.0])
}

fn shares() -> Vec<Share> {
    valid(Share::new, &[1.0 - f64::EPSILON, 0.01])
}

fn turnovers() -> Vec<Turnovers> {
    valid(Turnovers::new, &[])
}

fn efficiencies() -> Vec<Efficiency> {
    betas().into_iter().map(Beta::efficiency).collect()
}

fn evidence() -> Vec<Evidence> {
    let volumes = volumes();
    let of = |(i, &raw): (usize, &u64)| {
        let dilution = Dilution::new([1.0, 1e9][i % 2]).unwrap();
        Evidence::of_run(raw, volumes[i % volumes.len()], dilution)
    };
    RAW.iter().chain(&RAW).enumerate().map(of).collect()
}

/// All pairs.
fn pairs<'a, A, B>(left: &'a [A], right: &'a [B]) -> impl Iterator<Item = (&'a A, &'a B)> {
    left.iter().flat_map(move |a| right.iter().map(move |b| (a, b)))
}

/// The time this thread has worked \[s\].
fn worked() -> f64 {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
}

/// Tries one calculation: it ends within a second, and nothing in its result is not a number.
fn tried<T: Debug>(name: &str, inputs: impl Debug, calculation: impl FnOnce() -> T) -> T {
    let before = worked();
    let result = calculation();
    let took = worked() - before;
    assert!(took < 1.0, "{name} of {inputs:?} took {took} s");
    let shown = format!("{result:?}");
    // An error may name what it refuses, and text from outside may say anything.
    let is_number = shown.starts_with("Err(") || name == "intake" || !shown.contains("NaN");
    assert!(is_number, "{name} of {inputs:?} is {shown}");
    result
}
