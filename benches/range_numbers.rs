//! Range numbers over an array.
//!
//! The peer is a binary search of the same bounds, one value at a time: what `RangeNumber::of` does.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use siltcode::bulk::{range_numbers, range_numbers_f32};
use siltcode::{PerMl, RangeNumber};

const COUNTS: u32 = 1_000_000;

/// Concentrations spread evenly over the logarithm of the whole scale, in an order that hides the branch.
fn concentrations() -> Vec<f64> {
    let golden_ratio = f64::midpoint(1.0, 5.0_f64.sqrt());
    (0..COUNTS).map(|i| 10_f64.powf((f64::from(i) * golden_ratio).fract() * 9.0 - 2.5)).collect()
}

fn numbers(c: &mut Criterion) {
    let per_ml = concentrations();
    #[allow(clippy::cast_possible_truncation)] // to single precision
    let single: Vec<f32> = per_ml.iter().map(|&value| value as f32).collect();
    let typed: Vec<PerMl> = per_ml.iter().map(|&value| PerMl::new(value).unwrap_or(PerMl::ZERO)).collect();
    let mut out = vec![0; per_ml.len()];
    let mut group = c.benchmark_group("range numbers");
    group.throughput(Throughput::Elements(u64::from(COUNTS))).sample_size(30);
    group.bench_function("array", |b| b.iter(|| black_box(range_numbers(black_box(&per_ml), &mut out))));
    group.bench_function("array, single precision", |b| {
        b.iter(|| black_box(range_numbers_f32(black_box(&single), &mut out)));
    });
    group.bench_function("binary search", |b| {
        b.iter(|| {
            for (number, &per_ml) in out.iter_mut().zip(black_box(&typed)) {
                *number = RangeNumber::of(per_ml).get();
            }
        });
    });
    group.finish();
}

criterion_group!(benches, numbers);
criterion_main!(benches);
