//! The probability that three limits are met together, of bottles whose runs vary.
//!
//! Bottles are drawn over what there is: some particles to some ten million, sizes close together and far apart, runs that
//! vary by 0.1 to 30 % and are known from 1 to infinitely many degrees of freedom, the same for all sizes or not, all limits
//! within three standard deviations. Each is timed by itself; the one in the middle and the slowest are measured.

use std::hint::black_box;
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use siltcode::certainty::{Factors, Joint, Limit, RandomFactor, Variation, joint};
use siltcode::{Channel, CountedVolume, Dilution, Evidence, PerMl, Result, Size, Spectrum};

const SIZES: [f64; 3] = [4.0, 6.0, 14.0];
const BOTTLES: usize = 200;
/// Each is timed so many times, and its least time counts: what else runs only adds.
const TIMES: usize = 3;

struct Bottle {
    spectrum: Spectrum,
    limits: Vec<Limit>,
    factors: Factors,
}

/// Numbers evenly spread over 0 to 1, the same each time: multiples of an irrational number.
struct Spread(f64);

impl Spread {
    fn over(&mut self, low: f64, high: f64) -> f64 {
        self.0 = (self.0 + 0.754_877_666_246_693).fract();
        low + (high - low) * self.0
    }

    fn of(&mut self, choices: &[f64]) -> f64 {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a place in a short list
        let place = self.over(0.0, choices.len() as f64) as usize;
        choices[place.min(choices.len() - 1)]
    }
}

fn bottle(spread: &mut Spread) -> Result<Bottle> {
    const DEGREES: [f64; 6] = [1.0, 2.0, 4.0, 8.5, 20.0, f64::INFINITY];
    let largest = 10_f64.powf(spread.over(0.5, 7.3));
    let [second, third] = [spread.over(0.1, 1.0), spread.over(0.02, 1.0)];
    let raw = [largest, largest * second, largest * second * third].map(f64::round);
    let common = spread.over(0.0, 1.0) < 0.7;
    let alike = (10_f64.powf(spread.over(-3.0, -0.5)), spread.of(&DEGREES));
    let volume = CountedVolume::from_ml(1.0)?;
    let (mut channels, mut limits, mut factors) = (Vec::new(), Vec::new(), Vec::new());
    for (um, raw) in SIZES.into_iter().zip(raw) {
        let own = (10_f64.powf(spread.over(-3.0, -0.5)), spread.of(&DEGREES));
        let (log_sd, degrees) = if common { alike } else { own };
        let sd = (1.0 / (raw + 1.0) + log_sd * log_sd).sqrt();
        let size = Size::um_c(um)?;
        let evidence = Evidence::of_run(siltcode::count::whole_count(raw)?, volume, Dilution::NONE);
        channels.push(Channel::counted(size, evidence));
        limits.push(Limit { size, per_ml: PerMl::new((raw + 1.0) * (sd * spread.over(-3.0, 3.0)).exp())? });
        factors.push((size, Variation::from(RandomFactor::new(log_sd, degrees)?)));
    }
    let spectrum = Spectrum::cumulative(channels)?;
    Ok(Bottle { spectrum, limits, factors: Factors::new(factors, Variation::NONE) })
}

fn meets(bottle: &Bottle) -> Joint {
    joint::meets(black_box(&bottle.spectrum), black_box(&bottle.limits), &bottle.factors)
}

fn time_of(bottle: &Bottle) -> Duration {
    let once = || {
        let start = Instant::now();
        black_box(meets(bottle));
        start.elapsed()
    };
    (0..TIMES).map(|_| once()).min().unwrap_or_default()
}

fn three_limits(c: &mut Criterion) {
    let mut spread = Spread(0.0);
    let bottles: Vec<Bottle> =
        (0..BOTTLES).map(|_| bottle(&mut spread).expect("what is drawn is possible")).collect();
    let mut timed: Vec<_> = bottles.iter().map(|bottle| (time_of(bottle), bottle)).collect();
    timed.sort_by_key(|(time, _)| *time);
    let mut group = c.benchmark_group("three limits together");
    for (name, place) in
        [("in the middle", BOTTLES / 2), ("one in a hundred", BOTTLES * 99 / 100), ("slowest", BOTTLES - 1)]
    {
        group.bench_function(name, |b| b.iter(|| meets(timed[place].1)));
    }
    group.bench_function(format!("{BOTTLES} bottles"), |b| {
        b.iter(|| bottles.iter().map(meets).map(|joint| joint.each.len()).sum::<usize>());
    });
    group.finish();
}

criterion_group!(benches, three_limits);
criterion_main!(benches);
