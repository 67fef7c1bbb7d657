//! Poisson limits and code odds over an array of raw counts.
//!
//! The peers are `scipy.special.gammaincinv` for both ends and `gammainc` at every bound, over the same number of counts:
//! `peers/run.py`.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use siltcode::certainty::poisson::{self, Method};
use siltcode::certainty::{Level, OddsByCount, Scatter};
use siltcode::{CountedVolume, Dilution};

const COUNTS: u64 = 1_000_000;

/// Counts spread evenly over the logarithm, 1 to `10^decades`, in an order that hides the branch.
fn counts(decades: f64) -> Vec<u64> {
    let golden_ratio = f64::midpoint(1.0, 5.0_f64.sqrt());
    let spread = (0..COUNTS).map(|i| (i as f64 * golden_ratio).fract());
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    spread.map(|at| 10_f64.powf(at * decades) as u64).collect()
}

fn limits(c: &mut Criterion) {
    let mut group = c.benchmark_group("poisson limits");
    group.throughput(Throughput::Elements(COUNTS)).sample_size(20);
    for (name, decades) in [("1 to 1e5", 5.0), ("1 to 1e9", 9.0)] {
        let counts = counts(decades);
        for method in [Method::Garwood, Method::MidP, Method::Jeffreys] {
            let mut limits = Vec::with_capacity(counts.len());
            group.bench_function(format!("{method:?}, {name}"), |b| {
                b.iter(|| poisson::limits(black_box(&counts), Level::default(), method, &mut limits));
            });
        }
    }
    group.finish();
    for raw in [7, 700_000] {
        c.bench_function(&format!("poisson limit, one count of {raw}"), |b| {
            b.iter(|| poisson::limit(black_box(raw), black_box(Level::default()), Method::Garwood));
        });
    }
}

fn odds(c: &mut Criterion) {
    let mut group = c.benchmark_group("code odds");
    group.throughput(Throughput::Elements(COUNTS)).sample_size(20);
    let mut rows = [[0.0; 30]; 64];
    for (name, decades) in [("1 to 1e3", 3.0), ("1 to 1e5", 5.0)] {
        let (counts, volume) = (counts(decades), CountedVolume::from_ml(10.0).unwrap());
        group.bench_function(name, |b| {
            b.iter(|| {
                let mut by_count = OddsByCount::new(volume, Dilution::NONE, Scatter::NONE);
                for counts in black_box(&counts).chunks(rows.len()) {
                    by_count.write(counts, &mut rows[..counts.len()]).unwrap();
                    black_box(&rows);
                }
            });
        });
    }
    group.finish();
}

criterion_group!(benches, limits, odds);
criterion_main!(benches);
