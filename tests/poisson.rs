//! Poisson limits against 60-digit values, and their coverage by simulation-free summation.

use serde::Deserialize;
use siltcode::certainty::poisson::{self, Limits, Method};
use siltcode::certainty::{Interval, Level, Mean};
use siltcode_tests::golden;

#[derive(Deserialize)]
struct Row {
    method: String,
    count: u64,
    level: f64,
    low: f64,
    high: f64,
}

fn method(name: &str) -> Method {
    match name {
        "garwood" => Method::Garwood,
        "mid-p" => Method::MidP,
        "jeffreys" => Method::Jeffreys,
        _ => panic!("method {name}"),
    }
}

fn miss(found: f64, expected: f64) -> f64 {
    if expected == 0.0 { found.abs() } else { (found / expected - 1.0).abs() }
}

#[test]
fn limits_match_sixty_digits() {
    let rows: Vec<Row> = golden("poisson_limits");
    assert!(rows.len() > 900);
    let mut worst = 0.0_f64;
    for row in &rows {
        let limits = poisson::limit(row.count, Level::new(row.level).unwrap(), method(&row.method));
        let miss = miss(limits.low.get(), row.low).max(miss(limits.high.get(), row.high));
        // Beyond 0.999 the level itself, one less a small risk, no longer holds the risk to twelve digits.
        let allowed = if row.level > 0.999 { 1e-16 / (1.0 - row.level) + 1e-12 } else { 1e-12 };
        assert!(miss <= allowed, "{} {} at {}: {miss:e}", row.method, row.count, row.level);
        if row.level <= 0.999 {
            worst = worst.max(miss);
        }
    }
    assert!(worst > 0.0, "a comparison that finds no rounding at all compares nothing");
}

#[test]
fn one_call_many_calls_and_the_table_agree_to_the_last_bit() {
    let counts: Vec<u64> = (0..1200).chain([10_000, 1 << 40, u64::MAX]).collect();
    for method in [Method::Garwood, Method::MidP, Method::Jeffreys] {
        let level = Level::new(0.99).unwrap();
        let mut many = Vec::new();
        poisson::limits(&counts, level, method, &mut many);
        let prepared = Limits::new(level, method);
        for (&count, many) in counts.iter().zip(&many) {
            assert_eq!(*many, poisson::limit(count, level, method), "{count}");
            assert_eq!(*many, prepared.of(count), "{count}");
        }
    }
}

#[test]
fn limits_rise_with_the_count_across_the_change_of_method() {
    for level in [Level::SMALLEST, 0.3, 0.95, 0.999_999, Level::LARGEST] {
        for method in [Method::Garwood, Method::MidP, Method::Jeffreys] {
            let limits = Limits::new(Level::new(level).unwrap(), method);
            let mut before: Option<Interval<Mean>> = None;
            for count in 0..3000 {
                let now = limits.of(count);
                assert!(now.low <= now.high && now.high.get().is_finite(), "{count} {level} {now:?}");
                let risen = before.is_none_or(|b| b.low < now.low && b.high < now.high);
                assert!(risen, "{count} at {level} {method:?}: {before:?} {now:?}");
                before = Some(now);
            }
        }
    }
}

/// The chance that the limits of a count drawn at `mean` hold `mean`, summed over all counts that matter.
fn coverage(limits: &Limits, mean: f64) -> f64 {
    let spread = 12.0 * mean.sqrt() + 30.0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to some 1e4
    let counts = (mean - spread).max(0.0) as u64..=(mean + spread) as u64;
    let ln_chance = |k: u64| k as f64 * mean.ln() - mean - statrs::function::gamma::ln_gamma(k as f64 + 1.0);
    let inside = |k: &u64| limits.of(*k).contains(&Mean::new(mean).unwrap());
    counts.filter(inside).map(|k| ln_chance(k).exp()).sum()
}

#[test]
fn exact_limits_cover_at_least_the_level_at_every_mean() {
    for level in [0.8, 0.95, 0.999] {
        let limits = Limits::new(Level::new(level).unwrap(), Method::Garwood);
        for step in 0..=500 {
            let mean = 0.1 * 10_f64.powf(f64::from(step) / 100.0); // 0.1 to 1e4
            let covered = coverage(&limits, mean);
            assert!(
                covered >= level - 1e-9 && covered <= 1.0 + 1e-9,
                "{covered} at mean {mean}, level {level}"
            );
        }
    }
}

#[test]
fn mid_p_limits_cover_the_level_on_average() {
    let limits = Limits::new(Level::default(), Method::MidP);
    let means = (0..=300).map(|step| 5.0 * 10_f64.powf(f64::from(step) / 100.0));
    let mean_coverage = means.map(|mean| coverage(&limits, mean)).sum::<f64>() / 301.0;
    assert!((mean_coverage - 0.95).abs() < 0.003, "{mean_coverage}");
}
