//! How much runs vary, pooled over a batch, and what that makes of intervals and verdicts: simulation and golden rows.

use serde_json::{Value, json};
use siltcode::certainty::{
    Context, Decision, Factors, Limit, Posterior, Repeatability, RepeatabilitySource, Rule, RunPool, Scatter,
    Settle, decision,
};
use siltcode::{Channel, CountedVolume, Dilution, Evidence, Outcome, Sample, Spectrum};
use siltcode_tests::batches::{Batch, Cell};
use siltcode_tests::flagged::{Bottles, ON_BINS, ON_RUNS, Passed, is_flagged, share};
use siltcode_tests::{Draws, Example, counted, per_ml, um};

/// A bottle counted at 4 um in runs of these volumes \[mL\].
fn bottle(runs: &[(u64, f64)]) -> Sample {
    let run = |&(raw, ml): &(u64, f64)| {
        Spectrum::cumulative(vec![Channel::counted(um(4.0), counted(raw, ml))]).unwrap()
    };
    Sample::new("bottle", runs.iter().map(run))
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().unwrap()
}

#[test]
fn the_pool_is_what_scipy_and_statsmodels_solve() {
    for row in Example::all("repeatability").into_iter().filter(|row| row.inputs.get("runs").is_some()) {
        let bottles = list(&row.inputs["runs"]).iter().zip(list(&row.inputs["volumes_ml"]));
        let of_bottle = |(runs, volumes): (&Value, &Value)| {
            let run = |(raw, ml): (&Value, &Value)| (raw.as_u64().unwrap(), ml.as_f64().unwrap());
            bottle(&list(runs).iter().zip(list(volumes)).map(run).collect::<Vec<_>>())
        };
        let samples: Vec<Sample> = bottles.map(of_bottle).collect();
        let pooled = RunPool::of(&samples).repeatability(None);
        let found = pooled.sizes()[0];
        row.answered(
            &json!({"cv": found.cv.cv(), "effective_number": found.effective_number, "bottles": found.bottles}),
            &[],
        );
    }
}

/// The estimating equation of Paule and Mandel sums `(result - mean)^2 / (variance + tau^2)` over all results, and comes to
/// one less than their number. Each result is put in as a bottle of two runs whose counts differ by as much, in a unit that
/// makes them large: `n / (n - 1)` times the term, for the one degree of freedom a bottle has.
#[test]
fn a_published_example_comes_out_as_printed() {
    const UNIT: f64 = 1e10;
    let rows = Example::all("repeatability");
    let row = rows.iter().find(|row| row.inputs.get("results").is_some()).unwrap();
    let (results, variances) = (row.list("results"), row.list("variances"));
    let printed = row.expected["sd"].as_f64().unwrap();
    let weights = || variances.iter().map(|variance| 1.0 / (variance + printed * printed));
    let mean = weights().zip(&results).map(|(w, x)| w * x).sum::<f64>() / weights().sum::<f64>();
    let n = results.len() as f64;
    let of_result = |(&x, &variance): (&f64, &f64)| {
        let both = 2.0 * UNIT / variance;
        let apart = ((x - mean).powi(2) / variance * n / (n - 1.0) * both).sqrt();
        let count = |raw: f64| (siltcode::count::whole_count(raw.round()).unwrap(), 1.0);
        bottle(&[count(f64::midpoint(both, apart)), count(f64::midpoint(both, -apart))])
    };
    let samples: Vec<Sample> = results.iter().zip(&variances).map(of_result).collect();
    let found = RunPool::of(&samples).repeatability(None).sizes()[0].cv.cv();
    row.answered(&json!({"sd": found * UNIT.sqrt()}), &[]);
}

/// What a size's probability is does not depend on the limits beside it, and a count of none accepts only where its one-sided
/// upper limit does.
#[test]
fn one_prior_holds_for_all_limits() {
    let volume = CountedVolume::from_ml(1.0).unwrap();
    let none = |um_c: f64| Channel::counted(um(um_c), Evidence::of_run(0, volume, Dilution::NONE));
    let spectrum = Spectrum::cumulative([4.0, 6.0, 14.0].map(none).to_vec()).unwrap();
    let limit = |um_c: f64, limit: f64| Limit { size: um(um_c), per_ml: per_ml(limit) };
    let decide = |limits: &[Limit]| decision::decide(&spectrum, limits, Rule::default(), Factors::default());
    let alone = decide(&[limit(4.0, 3.0)]);
    let nested = decide(&[limit(4.0, 3.0), limit(6.0, 3.0), limit(14.0, 3.0)]);
    assert_eq!((alone.outcome, nested.outcome), (Outcome::Conforms, Outcome::Conforms));
    assert!((alone.p.unwrap().get() - nested.p.unwrap().get()).abs() < 1e-12);
    assert_eq!(decide(&[limit(4.0, 1.95)]).outcome, Outcome::Undecided);
}

#[test]
fn a_stated_variation_counts_as_four_degrees_and_is_contradicted_aloud() {
    let cv = |value| Scatter::stated(value).unwrap();
    let stated = Repeatability::stated(cv(0.02)).entries().next().unwrap();
    assert_eq!((stated.source, stated.effective_number), (RepeatabilitySource::Stated, 4.0));
    let mut draws = Draws(8);
    let mut quiet = || draws.poisson(20_000.0);
    let batch: Vec<Sample> =
        (0..10).map(|_| bottle(&[(quiet(), 10.0), (quiet(), 10.0), (quiet(), 10.0)])).collect();
    let pool = RunPool::of(&batch);
    let (own, both) = (pool.repeatability(None), pool.repeatability(Some(cv(0.05))));
    let [own, merged] = [&own, &both].map(|known| known.sizes()[0]);
    assert_eq!(merged.source, RepeatabilitySource::RunsAndStated);
    let expected =
        (4.0 * 0.05_f64.powi(2) + own.effective_number * own.cv.cv().powi(2)) / merged.effective_number;
    assert!((merged.cv.cv().powi(2) / expected - 1.0).abs() < 1e-12);
    assert!(both.contradicted().is_some_and(|found| found.observed < found.stated));
    assert!(pool.repeatability(Some(own.cv)).contradicted().is_none());
    for bad in [-0.01, 1.01, f64::NAN, 2.0] {
        assert_eq!(Scatter::stated(bad).unwrap_err().code(), "quantity-out-of-range");
    }
}

#[test]
fn one_run_and_runs_without_particles_say_nothing_of_their_variation() {
    let pool = RunPool::of(&[bottle(&[(900, 1.0)]), bottle(&[(0, 1.0), (0, 1.0)])]);
    let known = pool.repeatability(None);
    assert_eq!(known.entries().count(), 0);
    assert!(known.factors(&bottle(&[(900, 1.0)]), None).is_counting_only());
    // a bottle of one run takes what the batch says, in full
    let batch = RunPool::of(&[bottle(&[(20_310, 10.0), (19_480, 10.0), (20_760, 10.0)])]).repeatability(None);
    let [one, three] = [vec![(900, 1.0)], vec![(900, 1.0), (912, 1.0), (880, 1.0)]]
        .map(|runs| batch.factors(&bottle(&runs), None).of(um(4.0)).log_sd());
    assert!((one / three / 3.0_f64.sqrt() - 1.0).abs() < 1e-3, "{one} {three}");
    let interval = |sample: &Sample| {
        let evidence = sample.spectrum().unwrap().channels()[0].evidence.unwrap();
        let factor = batch.factors(sample, None).of(um(4.0));
        Posterior::new(&evidence, factor).interval(Context::default().level)
    };
    let (narrow, wide) =
        (interval(&bottle(&[(900, 1.0), (912, 1.0), (880, 1.0)])), interval(&bottle(&[(900, 1.0)])));
    assert!(wide.high > narrow.high && wide.low < narrow.low);
}

/// One good bottle in a hundred raises a flag over all sizes and tests, whether by itself or in a batch, and whether runs vary
/// beyond counting or not; what is wrong is still found. `make study NAME=flags` prints the large study.
#[test]
fn good_bottles_are_left_alone_and_bad_ones_found() {
    let mut draws = Draws(99);
    for (sizes, cv, per_ml) in [(3, 0.0, 2000.0), (6, 0.0, 2000.0), (3, 0.02, 20_000.0)] {
        let of = Bottles { sizes, per_ml, ml: 1.0, cv };
        let known = of.batch(&mut draws);
        let batch = share(3000, || is_flagged(&of.drawn(&[1.0; 3], &mut draws), Some(&known), &ON_RUNS));
        assert!(batch <= 0.01 + 3.0 * 0.0018, "{of:?}, batch: {batch}");
        let alone = share(3000, || is_flagged(&of.drawn(&[1.0; 3], &mut draws), None, &ON_RUNS));
        assert!(cv > 0.0 || alone <= 0.01 + 3.0 * 0.0018, "{of:?}, alone: {alone}");
    }
    let quiet = |ml: f64| Bottles { sizes: 3, per_ml: 2000.0, ml, cv: 0.0 };
    let mut found = |of: Bottles, factors: [f64; 3]| {
        let known = quiet(of.ml).batch(&mut draws);
        share(1500, || is_flagged(&of.drawn(&factors, &mut draws), Some(&known), &ON_RUNS))
    };
    let powers = [
        ("scatter", found(Bottles { cv: 0.05, ..quiet(10.0) }, [1.0; 3]), 0.9),
        ("first run", found(quiet(1.0), [1.1, 1.0, 1.0]), 0.75),
        ("drift", found(quiet(1.0), [0.95, 1.0, 1.05]), 0.6),
    ];
    for (what, power, least) in powers {
        assert!(power >= least - 3.0 * 0.012, "{what}: {power} of {least}");
    }
}

/// The signs on bins: found where fine particles stay or large ones rise, and not where all fall.
#[test]
fn signs_on_bins_are_found_with_bottle_scatter() {
    let before = [6800.0, 2040.0, 160.0];
    let mut draws = Draws(3);
    for (code, after) in ON_BINS.into_iter().zip([[6800.0, 855.0, 45.0], [3500.0, 1260.0, 240.0]]) {
        for (cv, is_stated) in [(0.0, false), (0.05, false), (0.05, true)] {
            let mut raised = |after| {
                let passed = Passed { before, after, cv, is_stated };
                share(1500, || passed.is_flagged(code, &mut draws))
            };
            let (found, falling, same) = (raised(after), raised([3500.0, 855.0, 45.0]), raised(before));
            assert!(found >= 0.8 - 3.0 * 0.011, "{code} at {cv}: {found}");
            assert!(falling.max(same) <= 0.01 + 3.0 * 0.0026, "{code} at {cv}: {falling} {same}");
        }
    }
}

/// Decides one size counted so often, with what varies beside counting.
fn decided(raw: u64, ml: f64, limit: f64, factors: impl Into<Factors>) -> Decision {
    let spectrum = Spectrum::cumulative(vec![Channel::counted(um(4.0), counted(raw, ml))]).unwrap();
    let limit = Limit { size: um(4.0), per_ml: per_ml(limit) };
    decision::decide(&spectrum, &[limit], Rule::default(), factors)
}

/// Decides a bottle by its own runs.
fn by_runs(runs: &[(u64, f64)], limit: f64) -> Decision {
    let sample = bottle(runs);
    let factors = RunPool::of([&sample]).repeatability(None).factors(&sample, None);
    let limit = Limit { size: um(4.0), per_ml: per_ml(limit) };
    decision::decide(&sample.spectrum().unwrap(), &[limit], Rule::default(), factors)
}

/// What is named to settle a verdict settles it in nine of ten cases if the fluid is as it was found, on either side of the
/// limit: a volume, runs or bottles, whichever the doubt is mostly due to.
#[test]
fn what_would_settle_it_does_so_with_the_power_stated() {
    let mut draws = Draws(31);
    let is_settled = |decision: &Decision| decision.outcome != Outcome::Undecided;
    for raw in [84_u64, 112] {
        let found = decided(raw, 1.0, 100.0, Scatter::NONE);
        let Some(Settle::Volume(volume)) = found.settle else { panic!("{found:?}") };
        let more = |raw: u64| decided(raw, volume.ml(), 100.0, Scatter::NONE);
        let power = share(2000, || is_settled(&more(draws.count(raw as f64 * volume.ml()))));
        assert!((0.87..0.95).contains(&power), "{raw}: {volume:?} settles {power}");
    }
    for limit in [2050.0, 1950.0] {
        let runs = [20_310, 19_480, 20_210].map(|raw| (raw, 10.0));
        let found = by_runs(&runs, limit);
        let Some(Settle::Runs(total)) = found.settle else { panic!("{found:?}") };
        let cv = RunPool::of([&bottle(&runs)]).repeatability(None).sizes()[0].cv;
        let mut run = || {
            let factor = (cv.log_sd() * draws.normal()).exp();
            draws.count(20_000.0 * factor)
        };
        let power = share(1000, || {
            let runs: Vec<(u64, f64)> = (0..total).map(|_| (run(), 10.0)).collect();
            is_settled(&by_runs(&runs, limit))
        });
        assert!((0.85..0.98).contains(&power), "{limit}: {total} runs settle {power}");
    }
    for limit in [110.0, 91.0] {
        let scatter = |bottles: u32| Scatter::from_cv(0.1 / f64::from(bottles).sqrt()).unwrap();
        let found = decided(10_000, 100.0, limit, scatter(1));
        let Some(Settle::Bottles(total)) = found.settle else { panic!("{found:?}") };
        let mut bottle = || {
            let factor = (scatter(1).log_sd() * draws.normal()).exp();
            draws.count(10_000.0 * factor)
        };
        let power = share(2000, || {
            let raw = (0..total).map(|_| bottle()).sum();
            is_settled(&decided(raw, 100.0 * f64::from(total), limit, scatter(total)))
        });
        assert!((0.86..0.97).contains(&power), "{limit}: {total} bottles settle {power}");
    }
}

/// A small study with fixed seeds: `make study NAME=repeatability` prints the large one.
#[test]
fn intervals_hold_and_false_acceptance_stays_low() {
    let mut draws = Draws(14);
    for (bottles, simulated) in [(1, 1200), (5, 2000), (40, 2000)] {
        for (runs, cv, mean) in [(2, 0.02, 20_000.0), (3, 0.05, 300.0), (5, 0.0, 2000.0)] {
            let cell = Cell { runs, cv, mean, bottles, batch: Batch::Alike, is_stated: false };
            let found = cell.simulated(simulated, &mut draws);
            // What the large study must show, less three standard deviations of this one: bottles of a batch share what is
            // known of their runs, and so are no independent draws.
            let sd = (0.05 * 0.95 / f64::from(simulated) * if bottles == 1 { 1.0 } else { 3.0 }).sqrt();
            assert!(found.coverage() >= 0.93 - 3.0 * sd, "{cell:?}: {}", found.coverage());
            assert!(found.false_acceptance() <= 0.065 + 3.0 * sd, "{cell:?}: {}", found.false_acceptance());
        }
    }
}
