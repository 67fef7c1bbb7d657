//! How the time to read an input grows with what it holds: rows, runs of one bottle, remarks, columns, empty lines, files.
//!
//! The time of one element must stay the same from a thousand to a million of them; the throughput shows it.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use siltcode::intake::{self, Options};

const HEADING: &str = "bottle,run,remark,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\n";

/// An input of this many elements.
type Made = fn(usize) -> String;

fn joined(heading: &str, n: usize, row: impl Fn(usize) -> String) -> String {
    let mut text = heading.to_owned();
    (0..n).for_each(|i| text.push_str(&row(i)));
    text
}

fn rows(n: usize) -> String {
    joined(HEADING, n, |i| format!("B{i},1,,1752,517,55\n"))
}

fn runs_of_one_bottle(n: usize) -> String {
    joined(HEADING, n, |i| format!("B,{i},,1752,517,55\n"))
}

fn remarks_of_one_bottle(n: usize) -> String {
    joined(HEADING, n, |i| format!("B,{i},remark {i},1752,517,55\n"))
}

fn empty_lines(n: usize) -> String {
    format!("{HEADING}B,1,,1752,517,55\n{}", "\n".repeat(n))
}

fn note_columns(n: usize) -> String {
    let names = joined("bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL", n, |i| format!(",note {i}"));
    format!("{names}\n{}", joined("B,1752,517,55", n, |i| format!(",{i}")))
}

fn growth(c: &mut Criterion) {
    let many = [1_000, 10_000, 100_000, 1_000_000];
    let few = [100, 1_000, 10_000];
    let inputs: [(&str, Made, &[usize]); 5] = [
        ("rows", rows, &many),
        ("runs of one bottle", runs_of_one_bottle, &many),
        ("remarks of one bottle", remarks_of_one_bottle, &many[..3]),
        ("empty lines", empty_lines, &many),
        ("note columns", note_columns, &few),
    ];
    for (name, made, sizes) in inputs {
        let mut group = c.benchmark_group(name);
        for &n in sizes {
            let text = made(n);
            group.throughput(Throughput::Elements(n as u64)).sample_size(10);
            group.bench_with_input(BenchmarkId::from_parameter(n), &text, |b, text| {
                b.iter(|| black_box(intake::read("growth", text.as_bytes(), &Options::default())));
            });
        }
        group.finish();
    }
}

criterion_group!(benches, growth);
criterion_main!(benches);
