//! Forecasts of many scenarios, three channels each, by the closed form.
//!
//! `peers/run.py` puts the same beside numpy and scipy.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use siltcode::tank::bulk::{Columns, turnovers};

const SCENARIOS: u32 = 1_000_000;

/// Numbers from 0 to 1 in an order that hides the branch: multiples of an irrational number.
fn spread(by: f64, scale: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..SCENARIOS).map(|i| scale((f64::from(i) * by).fract())).collect()
}

/// Start, target, ratio and ingress of one channel.
fn channel(cleanest: f64) -> [Vec<f64>; 4] {
    let target = spread(0.618_033_988_75, |at| cleanest * 10_f64.powf(at));
    let times = spread(0.414_213_562_37, |at| 10_f64.powf(0.5 + 2.0 * at));
    let beta = spread(0.732_050_807_57, |at| 1.0 + 10_f64.powf(3.0 * at));
    let part = spread(0.236_067_977_5, |at| 0.9 * at);
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).collect();
    let (start, ingress) = (product(&target, &times), product(&target, &part));
    [start, target, beta, ingress]
}

fn forecasts(c: &mut Criterion) {
    let channels = [1000.0, 300.0, 40.0].map(channel);
    let columns =
        channels.each_ref().map(|[start, target, beta, ingress]| Columns { start, target, beta, ingress });
    let mut needed = vec![0.0; SCENARIOS as usize];
    let mut group = c.benchmark_group("forecast");
    group.throughput(Throughput::Elements(u64::from(SCENARIOS))).sample_size(20);
    group.bench_function("1e6 scenarios of three channels", |b| {
        b.iter(|| turnovers(black_box(&columns), &mut needed));
    });
    group.finish();
}

criterion_group!(benches, forecasts);
criterion_main!(benches);
