//! Range numbers of three columns and the outcome of each row under a specification.
//!
//! The peers are one bottle after another, checked with everything said of it, and numpy: `peers/run.py`.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use siltcode::bulk::{self, Columns, Scores, Target};
use siltcode::{Sample, SizeScale, Spec, Spectrum};

const ROWS: u32 = 100_000;

/// Counts at 4, 6 and 14 um(c), the first spread evenly over the logarithm from 10 to 1e5 per mL.
fn columns() -> [Vec<f64>; 3] {
    let golden_ratio = f64::midpoint(1.0, 5.0_f64.sqrt());
    let fine = |row: u32| 10_f64.powf((f64::from(row) * golden_ratio).fract() * 4.0 + 1.0);
    [1.0, 0.3, 0.03].map(|share| (0..ROWS).map(|row| share * fine(row)).collect())
}

fn rows(c: &mut Criterion) {
    let columns = columns();
    let spec = Spec::from_code("18/16/13".parse().unwrap(), SizeScale::UmC).unwrap();
    let target = Target::of(&spec).unwrap();
    let mut numbers = [0; 3].map(|byte: u8| vec![byte; ROWS as usize]);
    let mut outcomes = vec![0; ROWS as usize];
    let mut group = c.benchmark_group("three channels with outcome");
    group.throughput(Throughput::Elements(u64::from(ROWS))).sample_size(20);
    group.bench_function("arrays", |b| {
        b.iter(|| {
            let numbers = numbers.each_mut().map(Vec::as_mut_slice);
            let per_ml: Columns<'_> = black_box(columns.each_ref().map(Vec::as_slice));
            bulk::score(per_ml, &target, Scores { numbers, outcomes: &mut outcomes })
        });
    });
    group.bench_function("bottles", |b| {
        b.iter(|| {
            for row in 0..columns[0].len() {
                let [fine, middle, coarse] = columns.each_ref().map(|column| column[row]);
                let counted = Spectrum::from_per_ml(&[(4.0, fine), (6.0, middle), (14.0, coarse)]).unwrap();
                black_box(spec.check(&Sample::new("bottle", [counted])).unwrap());
            }
        });
    });
    group.finish();
}

criterion_group!(benches, rows);
criterion_main!(benches);
