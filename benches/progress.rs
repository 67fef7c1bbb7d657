//! Progress of a job of eight samples and three bins: the fit, what remains to a target, and what is found.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use siltcode::certainty::Scatter;
use siltcode::filter::Beta;
use siltcode::job::progress::{Bottle, ElementPeriod, Options, Progress, Seen, Spread};
use siltcode::tank::{Target, Turnovers};
use siltcode::{CountedVolume, Dilution, Size, Spectrum};

const SIZES: [f64; 3] = [4.0, 6.0, 14.0];
const RATIOS: [f64; 3] = [2.337, 18.43, 1000.0];
/// Bottles of an invented job differ by these factors.
const BOTTLES: [f64; 8] = [1.03, 0.95, 1.06, 0.99, 0.93, 1.02, 1.05, 0.97];

fn bottles() -> siltcode::Result<Vec<Bottle>> {
    let bottle = |(after, factor): (usize, &f64)| {
        let turnovers = 0.7 * after as f64;
        let bin = |start: f64, ratio: f64| start * factor * (-(1.0 - 1.0 / ratio) * turnovers).exp() + 3.0;
        let bins: Vec<f64> =
            [15_000.0, 4_600.0, 400.0].into_iter().zip(RATIOS).map(|(n, r)| bin(n, r)).collect();
        let seen = SIZES.iter().enumerate().map(|(from, um)| {
            let count = siltcode::count::whole_count((10.0 * bins[from..].iter().sum::<f64>()).round())?;
            Ok((Size::um_c(*um)?, Seen::Count(count)))
        });
        let seen = seen.collect::<siltcode::Result<Vec<_>>>()?;
        Bottle::new(Turnovers::new(turnovers)?, seen, CountedVolume::from_ml(10.0)?, Dilution::NONE)
    };
    BOTTLES.iter().enumerate().map(bottle).collect()
}

fn options(spread: Spread) -> siltcode::Result<Options> {
    let rated = SIZES.into_iter().zip(RATIOS);
    let expected = rated.map(|(um, ratio)| Ok((Size::um_c(um)?, Beta::new(ratio)?.efficiency())));
    let expected = expected.collect::<siltcode::Result<_>>()?;
    let elements = vec![ElementPeriod { from: Turnovers::NONE, expected }];
    Ok(Options { spread, elements, ..Options::default() })
}

fn progress(c: &mut Criterion) {
    let bottles = bottles().expect("the samples are possible");
    let limits = Spectrum::from_per_ml(&[(4.0, 160.0), (6.0, 40.0), (14.0, 10.0)]);
    let target = limits.and_then(|limits| Target::of_counts(&limits)).expect("the limits are counts");
    let mut group = c.benchmark_group("progress, 8 samples, 3 bins");
    for (name, spread) in [
        ("stated scatter", Spread::Stated(Scatter::from_cv(0.05).expect("5 % is possible"))),
        ("scatter not stated", Spread::Found),
    ] {
        let options = options(spread).expect("the elements are possible");
        let fit = || Progress::new(black_box(&bottles), options.clone()).expect("there are samples");
        group.bench_function(format!("fit and outlook, {name}"), |b| b.iter(|| fit().outlook(&target)));
        group.bench_function(format!("findings, {name}"), |b| {
            let progress = fit();
            b.iter(|| progress.findings(Some(&target)));
        });
    }
    group.finish();
}

criterion_group!(benches, progress);
criterion_main!(benches);
