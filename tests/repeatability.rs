//! How much runs vary, pooled over a batch, and what that makes of intervals and verdicts: simulation and golden rows.

use serde_json::{Value, json};
use siltcode::certainty::{
    Context, Factors, Limit, Posterior, Repeatability, RepeatabilitySource, Rule, RunPool, Scatter, decision,
    flags,
};
use siltcode::{Channel, CountedVolume, Dilution, Evidence, Outcome, Sample, Spectrum};
use siltcode_tests::batches::{Batch, Cell};
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
    for row in Example::all("repeatability") {
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

/// Three runs of three sizes; the first run, or each, larger by a share.
fn runs_of(mean: f64, ml: f64, cv: f64, larger: [f64; 3], draws: &mut Draws) -> Sample {
    let run = |factor: f64, draws: &mut Draws| {
        let factor = factor * (cv * draws.normal()).exp();
        let bins = [0.75, 0.23, 0.02].map(|share| draws.count(share * mean * ml * factor));
        let raw = [bins.iter().sum(), bins[1] + bins[2], bins[2]];
        let channels =
            [4.0, 6.0, 14.0].iter().zip(raw).map(|(&size, raw)| Channel::counted(um(size), counted(raw, ml)));
        Spectrum::cumulative(channels.collect()).unwrap()
    };
    Sample::new("bottle", larger.map(|factor| run(factor, draws)))
}

const SIGNS: [&str; 5] = ["scatter", "too-regular", "first-run-differs", "rising", "falling"];

fn is_flagged(sample: &Sample, known: Option<&Repeatability>, codes: &[&str]) -> bool {
    let context = Context { repeatability: known, ..Context::default() };
    let found = flags::of(sample, &sample.spectrum().unwrap(), &context);
    found.iter().any(|flag| codes.contains(&flag.code))
}

/// One good bottle in a hundred raises a flag over all sizes and tests, whether by itself or in a batch, and whether runs vary
/// beyond counting or not; what is wrong is still found.
#[test]
fn good_bottles_are_left_alone_and_bad_ones_found() {
    let mut draws = Draws(99);
    let good = [1.0; 3];
    let batch = |cv: f64, mean: f64, draws: &mut Draws| {
        let samples: Vec<Sample> = (0..40).map(|_| runs_of(mean, 1.0, cv, good, draws)).collect();
        RunPool::of(&samples).repeatability(None)
    };
    let share = |trials: u32, is: &mut dyn FnMut() -> bool| {
        f64::from((0..trials).map(|_| u32::from(is())).sum::<u32>()) / f64::from(trials)
    };
    let alone = share(3000, &mut || is_flagged(&runs_of(2000.0, 1.0, 0.0, good, &mut draws), None, &SIGNS));
    assert!(alone <= 0.01 + 3.0 * 0.0018, "alone {alone}");
    for (cv, mean) in [(0.0, 2000.0), (0.02, 20_000.0)] {
        let known = batch(cv, mean, &mut draws);
        let found =
            share(3000, &mut || is_flagged(&runs_of(mean, 1.0, cv, good, &mut draws), Some(&known), &SIGNS));
        assert!(found <= 0.01 + 3.0 * 0.0018, "batch at {cv}: {found}");
    }
    let [small, large] = [2000.0, 20_000.0].map(|mean| batch(0.0, mean, &mut draws));
    let mut found = |known: &Repeatability, ml: f64, cv: f64, larger: [f64; 3]| {
        share(1500, &mut || is_flagged(&runs_of(2000.0, ml, cv, larger, &mut draws), Some(known), &SIGNS))
    };
    let powers = [
        ("scatter", found(&large, 10.0, 0.05, good), 0.9),
        ("first run", found(&small, 1.0, 0.0, [1.1, 1.0, 1.0]), 0.75),
        ("drift", found(&small, 1.0, 0.0, [0.95, 1.0, 1.05]), 0.6),
    ];
    for (what, power, least) in powers {
        assert!(power >= least - 3.0 * 0.012, "{what}: {power} of {least}");
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
