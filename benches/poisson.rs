//! Poisson limits over an array of raw counts.
//!
//! The peer is `scipy.special.gammaincinv` called for both ends over the same number of counts:
//! `peers/run.py`.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use siltcode::certainty::Level;
use siltcode::certainty::poisson::{self, Method};

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

criterion_group!(benches, limits);
criterion_main!(benches);
