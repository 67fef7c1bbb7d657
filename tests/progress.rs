//! The fall of one series of counts: golden rows, coverage by simulation, properties, bad input.

use proptest::prelude::*;
use serde_json::{Value, json};
use siltcode::certainty::{Level, Scatter};
use siltcode::job::progress::{
    Bottle, Edge, Fit, FloorRule, Observed, Remaining, Seen, Shortfall, ShownEfficiency, StandardErrors,
};
use siltcode::tank::Turnovers;
use siltcode::{CountedVolume, Dilution};
use siltcode_tests::{Draws, Example, beta, cases, per_ml, turnovers};
use statrs::distribution::{Discrete, Poisson};

fn ml(value: f64) -> CountedVolume {
    CountedVolume::from_ml(value).unwrap()
}

fn observed(after: f64, seen: Seen, volume: f64) -> Observed {
    Observed::new(turnovers(after), seen, ml(volume), Dilution::NONE).unwrap()
}

/// The series of a golden row.
fn series(row: &Example) -> Vec<Observed> {
    let each = row.list("turnovers").into_iter().zip(row.list("volume_mL")).zip(row.list("counts"));
    each.map(|((after, volume), count)| {
        observed(after, Seen::Count(siltcode::count::whole_count(count).unwrap()), volume)
    })
    .collect()
}

fn fit(series: &[Observed], floor: FloorRule) -> Fit {
    Fit::new(series, floor, Scatter::NONE).unwrap()
}

fn or_inf(end: Option<Turnovers>) -> Value {
    end.map_or("inf".into(), |end| end.get().into())
}

fn remaining(fit: &Fit, targets: &[f64]) -> Value {
    let each = targets.iter().map(|target| {
        let found = fit.remaining(per_ml(*target), Level::default());
        let answer = json!({
            "remaining": or_inf(found.estimate),
            "lo": or_inf(found.low),
            "hi": or_inf(found.high),
            "nll_rise_if_target_is_the_floor": found.against_never / 2.0,
        });
        (target.to_string(), answer)
    });
    Value::Object(each.collect())
}

#[test]
fn f01_without_a_floor() {
    let row = Example::one("progress", "F01");
    let fit = fit(&series(&row), FloorRule::Absent);
    let goodness = fit.goodness();
    row.answered(
        &json!({
            "a": fit.above_floor().get(),
            "k": fit.efficiency().get(),
            "negloglik": -fit.ln_likelihood(),
            "deviance": goodness.deviance,
            "p_dev": goodness.p.unwrap().get(),
        }),
        &[],
    );
}

#[test]
fn f02_with_a_floor() {
    let row = Example::one("progress", "F02");
    let fit = fit(&series(&row), FloorRule::Free);
    let errors = fit.errors().unwrap();
    let test = fit.floor_test().unwrap();
    row.answered(
        &json!({
            "a": fit.above_floor().get(),
            "k": fit.efficiency().get(),
            "c": fit.floor().get(),
            "se": [errors.above_floor, errors.efficiency, errors.floor.unwrap()],
            "corr_k_c": errors.correlation.unwrap(),
            "negloglik": -fit.ln_likelihood(),
            "deviance": fit.goodness().deviance,
            "LRT_c_eq_0": test.statistic,
            "p_boundary_mix": test.p.get(),
        }),
        &[],
    );
}

#[test]
fn f03_what_remains() {
    let row = Example::one("progress", "F03");
    let fit = fit(&series(&row), FloorRule::Free);
    row.answered(&remaining(&fit, &row.list("targets_per_mL")), &[]);
}

#[test]
fn f04_bounds_take_part() {
    let row = Example::one("progress", "F04");
    let seen = row.inputs["obs"].as_array().unwrap().iter().map(|seen| {
        seen.as_str().map_or_else(|| Seen::Count(seen.as_u64().unwrap()), |text| text.parse().unwrap())
    });
    let each = row.list("turnovers").into_iter().zip(seen);
    let all: Vec<_> = each.map(|(after, seen)| observed(after, seen, row.number("volume_mL"))).collect();
    let counts: Vec<_> = all.iter().copied().filter(|seen| seen.seen().count().is_some()).collect();
    let (kept, dropped) = (fit(&all, FloorRule::Absent), fit(&counts, FloorRule::Absent));
    // a height counts from the first sample: that of the counts alone is one turnover later
    let at_the_start = dropped.above_floor().get() * dropped.efficiency().get().exp();
    row.answered(
        &json!({
            "a": kept.above_floor().get(),
            "k": kept.efficiency().get(),
            "negloglik": -kept.ln_likelihood(),
            "a_dropping_censored": at_the_start,
            "k_dropping_censored": dropped.efficiency().get(),
        }),
        &[],
    );
}

#[test]
fn f05_a_floor_cannot_be_seen_early() {
    let row = Example::one("progress", "F05");
    let (k, volume) = (row.number("k"), ml(row.number("volume_mL")));
    let spans = row.inputs["five_equispaced_samples_over"].as_array().unwrap();
    let found = spans.iter().map(|span| {
        let span = span.as_str().unwrap();
        let last: f64 = span.strip_prefix("0..").unwrap().parse().unwrap();
        let samples: Vec<_> = (0..5).map(|i| (turnovers(last * f64::from(i) / 4.0), volume)).collect();
        let shown = ShownEfficiency::new(k).unwrap();
        let (above, floor) = (per_ml(row.number("a")), per_ml(row.number("c")));
        let errors = StandardErrors::expected(above, shown, floor, &samples).unwrap();
        let answer = json!({
            "rel_se_k": errors.efficiency / k,
            "se_c": errors.floor.unwrap(),
            "corr_k_c": errors.correlation.unwrap(),
        });
        (span.to_owned(), answer)
    });
    row.answered(&Value::Object(found.collect()), &[]);
}

#[test]
fn f06_what_would_explain_a_slow_fall() {
    let row = Example::one("progress", "F06");
    let shown = |key| ShownEfficiency::new(row.number(key)).unwrap();
    let expected = beta(1.0 / (1.0 - row.number("E_spec"))).efficiency();
    let found = Shortfall::new(shown("k_fit"), shown("se_k"), expected);
    row.answered(
        &json!({
            "ratio": found.ratio,
            "bypass_if_all_bypass": found.bypass,
            "short_circuit_if_all_short": found.short_circuit,
            "z": found.z,
            "p_one_sided": found.p.get(),
        }),
        &[],
    );
}

#[test]
fn f07_a_floor_near_the_target() {
    let row = Example::one("progress", "F07");
    let series = series(&row);
    let (with, without) = (fit(&series, FloorRule::Free), fit(&series, FloorRule::Absent));
    let test = with.floor_test().unwrap();
    let targets = row.list("targets_per_mL");
    let level = Level::default();
    let naive = |target: &f64| without.remaining(per_ml(*target), level).estimate.unwrap().get();
    row.answered(
        &json!({
            "a": with.above_floor().get(),
            "k": with.efficiency().get(),
            "c": with.floor().get(),
            "deviance_with_floor": with.goodness().deviance,
            "k_if_floor_ignored": without.efficiency().get(),
            "deviance_if_floor_ignored": without.goodness().deviance,
            "p_gof_floor_ignored": without.goodness().p.unwrap().get(),
            "LRT_c_eq_0": test.statistic,
            "p_boundary_mix": test.p.get(),
            "naive_remaining_no_floor": targets.iter().map(naive).collect::<Vec<_>>(),
            "remaining": remaining(&with, &targets),
        }),
        &[],
    );
}

/// Jobs of a known fall, seven samples each: the interval holds the true number of turnovers as often as it says.
#[test]
fn intervals_cover_what_they_should() {
    let mut draws = Draws(7001);
    let (above, rate, floor, target, jobs) = (9_000.0_f64, 0.9_f64, 60.0, 90.0, 400);
    let truth = (above / (target - floor)).ln() / rate - 6.0;
    for scatter in [Scatter::NONE, Scatter::from_cv(0.05).unwrap()] {
        let mut covered = 0;
        for _ in 0..jobs {
            let series: Vec<_> =
                [(0.0, 0.2), (1.0, 0.2), (2.0, 0.5), (3.0, 1.0), (4.0, 2.0), (5.0, 5.0), (6.0, 10.0)]
                    .map(|(after, volume)| {
                        let factor =
                            (scatter.log_sd() * draws.normal() - scatter.log_sd().powi(2) / 2.0).exp();
                        let mean = volume * factor * (above * (-rate * after).exp() + floor);
                        observed(after, Seen::Count(draws.poisson(mean)), volume)
                    })
                    .to_vec();
            let found = Fit::new(&series, FloorRule::Free, scatter).unwrap();
            let found = found.remaining(per_ml(target), Level::default());
            let above = found.high.is_none_or(|high| high.get() >= truth);
            covered += i32::from(above && found.low.is_some_and(|low| low.get() <= truth));
        }
        let (share, sd) = (f64::from(covered) / f64::from(jobs), (0.95 * 0.05 / f64::from(jobs)).sqrt());
        assert!((share - 0.95).abs() < 3.0 * sd, "{share} at {scatter:?}");
    }
}

/// Without a floor the interval holds the truth as well, and a target that is the floor is found to be one in few jobs.
#[test]
fn a_floor_is_not_seen_where_there_is_none() {
    let mut draws = Draws(7002);
    let jobs = 400;
    let seen = (0..jobs).filter(|_| {
        let series: Vec<_> = [0.0, 1.0, 2.0, 3.0, 4.0]
            .map(|after: f64| {
                observed(after, Seen::Count(draws.poisson(2_000.0 * (-0.9 * after).exp())), 1.0)
            })
            .to_vec();
        fit(&series, FloorRule::Free).floor_test().unwrap().p.get() < 0.05
    });
    let (share, sd) = (seen.count() as f64 / f64::from(jobs), (0.05 * 0.95 / f64::from(jobs)).sqrt());
    assert!((share - 0.05).abs() < 3.0 * sd, "{share}");
}

fn any_series() -> impl Strategy<Value = Vec<Observed>> {
    series_of(0..8)
}

fn counted_series() -> impl Strategy<Value = Vec<Observed>> {
    series_of(3..4)
}

fn series_of(kinds: std::ops::Range<u8>) -> impl Strategy<Value = Vec<Observed>> {
    let one = (0.0..6.0, 0..30_000_u64, 0.1..20.0, kinds);
    prop::collection::vec(one, 2..7).prop_map(|samples| {
        let seen = |raw: u64, kind: u8| match kind {
            0 => Seen::Fewer(raw + 1),
            1 => Seen::AtLeast(raw),
            2 => Seen::Between(raw, 2 * raw),
            _ => Seen::Count(raw),
        };
        samples.into_iter().map(|(after, raw, ml, kind)| observed(after, seen(raw, kind), ml)).collect()
    })
}

proptest! {
    #![proptest_config(cases(200))]

    #[test]
    fn any_series_is_answered_or_refused(series in any_series(), target in 0.0..1e5, floor: bool, cv in 0.0..0.5) {
        let rule = if floor { FloorRule::Free } else { FloorRule::Absent };
        match Fit::new(&series, rule, Scatter::from_cv(cv).unwrap()) {
            Err(error) => prop_assert!(["too-few-samples", "nothing-bounds-above"].contains(&error.code())),
            Ok(fit) => {
                let found = fit.remaining(per_ml(target), Level::default());
                let order = [found.low, found.estimate, found.high];
                let known: Vec<f64> = order.into_iter().flatten().map(Turnovers::get).collect();
                prop_assert!(known.is_sorted(), "{found:?}");
                prop_assert!(found.against_never >= 0.0 && fit.ln_likelihood().is_finite());
                prop_assert!(fit.floor().get() >= 0.0 && fit.efficiency().get() >= 0.0);
            }
        }
    }

    #[test]
    fn the_order_of_samples_has_no_meaning(series in any_series(), turn in 0..7_usize) {
        let mut turned = series.clone();
        turned.rotate_left(turn % series.len());
        let of = |series: &[Observed]| Fit::new(series, FloorRule::Free, Scatter::NONE).map(|fit| {
            (fit.above_floor(), fit.efficiency(), fit.floor(), fit.remaining(per_ml(50.0), Level::default()))
        });
        prop_assert_eq!(of(&series), of(&turned));
    }

    #[test]
    fn no_curve_that_was_drawn_beats_the_most_likely(
        series in counted_series(), above in 0.0..1e5, rate in 0.0..5.0_f64, floor in 0.0..1e4,
    ) {
        if let Ok(fit) = Fit::new(&series, FloorRule::Free, Scatter::NONE) {
            let first = series.iter().map(|seen| seen.turnovers().get()).fold(f64::INFINITY, f64::min);
            let drawn: f64 = series.iter().map(|seen| {
                let since = seen.turnovers().get() - first;
                let mean: f64 = 1e-300_f64.max(seen.examined_ml() * (above * (-rate * since).exp() + floor));
                let raw = seen.seen().count().unwrap();
                Poisson::new(mean).unwrap().ln_pmf(raw)
            }).sum();
            prop_assert!(fit.ln_likelihood() >= drawn - 1e-6 * drawn.abs(), "{} {drawn}", fit.ln_likelihood());
        }
    }
}

#[test]
fn more_volume_narrows_the_interval_about_the_same_curve() {
    let row = Example::one("progress", "F02");
    let of = |times: u64| {
        let more: Vec<_> = series(&row)
            .iter()
            .map(|seen| {
                let raw = seen.seen().count().unwrap() * times;
                observed(seen.turnovers().get(), Seen::Count(raw), seen.examined_ml() * times as f64)
            })
            .collect();
        let fit = fit(&more, FloorRule::Free);
        (fit.efficiency().get(), fit.remaining(per_ml(100.0), Level::default()))
    };
    let width = |found: &Remaining| found.high.unwrap().get() - found.low.unwrap().get();
    let ((k, one), (same, four)) = (of(25), of(100));
    assert!((k - same).abs() < 1e-9);
    assert!((width(&one) / width(&four) - 2.0).abs() < 0.05, "{one} {four}");
}

#[test]
fn what_cannot_be_used_is_refused() {
    let count = |after, raw| observed(after, Seen::Count(raw), 1.0);
    let error = |series: &[Observed]| Fit::new(series, FloorRule::Free, Scatter::NONE).unwrap_err();
    assert_eq!(error(&[]).code(), "too-few-samples");
    assert_eq!(error(&[count(1.0, 5), count(1.0, 7)]).code(), "too-few-samples");
    let bounds = [observed(0.0, Seen::AtLeast(9), 1.0), observed(1.0, Seen::AtLeast(5), 1.0)];
    assert_eq!(error(&bounds).code(), "nothing-bounds-above");
    assert_eq!("<0".parse::<Seen>().unwrap_err().code(), "count-impossible");
    assert_eq!("many".parse::<Seen>().unwrap_err().code(), "count-unreadable");
    let tiny = Bottle::of_code(Turnovers::NONE, "5/4/3".parse().unwrap(), ml(1.0));
    assert_eq!(tiny.unwrap_err().code(), "count-impossible");
    let nothing = fit(&[count(0.0, 0), count(1.0, 0)], FloorRule::Free);
    assert_eq!(nothing.edge(), Some(Edge::NoFall));
    assert_eq!(nothing.remaining(per_ml(1.0), Level::default()).estimate, Some(Turnovers::NONE));
    assert_eq!(nothing.remaining(per_ml(0.0), Level::default()).to_string(), "0 (0 to no end)");
    let some = fit(&[count(0.0, 90), count(1.0, 40), count(4.0, 3)], FloorRule::Free);
    assert_eq!(some.remaining(per_ml(0.0), Level::default()).to_string(), "never");
}
