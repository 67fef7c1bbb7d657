//! The certainty module against published and derived values, simulation, and bad input.

#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::float_cmp)] // small whole numbers of golden rows

use proptest::prelude::*;
use serde_json::{Map, Value, json};
use siltcode::certainty::coincidence::Coincidence;
use siltcode::certainty::corrections::{self, Net};
use siltcode::certainty::planner::{self, Sequential};
use siltcode::certainty::poisson::{self, Limits, Method};
use siltcode::certainty::runs::{Criterion, Runs};
use siltcode::certainty::{
    Context, Interval, Level, Limit, Mean, Odds, Posterior, Probability, Repeatability, Rule, RunPool,
    Scatter, Settle, assess, decision, flags, joint, precision, ratio,
};
use siltcode::{Channel, CountedVolume, Dilution, Evidence, Outcome, RangeNumber, Reading, Sample, Spectrum};
use siltcode_tests::{Draws, Example, cases, counted, per_ml, um};

fn level(value: f64) -> Level {
    Level::new(value).unwrap()
}

fn mean(value: f64) -> Mean {
    Mean::new(value).unwrap()
}

fn pair<T>(interval: Interval<T>, get: impl Fn(T) -> f64) -> Value {
    json!([get(interval.low), get(interval.high)])
}

/// Every number the row expects, computed; the row's own keys say which.
#[allow(clippy::too_many_lines)] // one arm a golden row
fn computed(row: &Example) -> Value {
    match row.id.as_str() {
        "C01" | "C02" | "C03" | "C04" | "C05" | "C06" | "C07" | "C08" | "C09" => {
            let limit = |p| pair(poisson::limit(row.raw("k"), level(p), Method::Garwood), Mean::get);
            json!({"ci95": limit(0.95), "ci90": limit(0.9)})
        }
        "C10" => {
            let (total, n) = (row.raw("total"), row.number("n"));
            let limit = |p| pair(poisson::limit(total, level(p), Method::Garwood), |mean| mean.get() / n);
            json!({"mean": total as f64 / n, "ci95": limit(0.95), "ci99": limit(0.99)})
        }
        "C11" => json!({"midp": each_limit(row, Method::MidP)}),
        "C12" => json!({"jeffreys": each_limit(row, Method::Jeffreys)}),
        "C13" | "C14" | "C15" => odds(row),
        "C16" => {
            let accepted = row.list("limit_times_volume");
            let accepted =
                accepted.iter().map(|&lv| planner::most_to_accept(mean(lv), level(row.number("cl"))));
            let accepted: Vec<Value> = accepted.map(|k| k.map_or(json!(-1), |k| json!(k))).collect();
            json!({"k_max_accept": accepted})
        }
        "C17" => plans(row),
        "C18" => sequential(row),
        "C19" | "C20" | "C21" | "C22" => yeast(row),
        "C23" => replicates(row),
        "C24" => {
            let at = |um: u8| mean(row.number(&format!("lambda{um}")));
            let corr = |small, large| precision::nested_correlation(at(small), at(large)).unwrap();
            json!({"corr_4_6": corr(4, 6), "corr_4_14": corr(4, 14), "corr_6_14": corr(6, 14)})
        }
        "C25" => together(row),
        "C26" => {
            let [first, second] =
                [("k1", "n1"), ("k2", "n2")].map(|(k, n)| counted(row.raw(k), row.number(n)));
            json!({"p": ratio::equal_by_e_test(&first, &second).get()})
        }
        "C27" => {
            let alpha = row.number("alpha");
            let net = Net::new(um(4.0), &counted(row.raw("n_on"), alpha), &counted(row.raw("n_off"), 1.0));
            json!({
                "excess": net.count().unwrap().get(),
                "li_ma_S": net.significance(),
                "profile_68": pair(net.counts(level(0.682_689_492_137_085_9)), Mean::get),
                "profile_95": pair(net.counts(level(0.95)), Mean::get),
            })
        }
        "C28" => {
            let [first, second] =
                [("k1", "V1"), ("k2", "V2")].map(|(k, v)| counted(row.raw(k), row.number(v)));
            let ratio = ratio::compare(&first, &second, level(0.95));
            json!({
                "ratio": ratio.ratio,
                "ratio_ci95": [ratio.interval.low, ratio.interval.high],
                "p_two_sided_exact_equal": ratio.p_equal.get(),
            })
        }
        "C29" => {
            let volume = CountedVolume::from_ml(row.number("V_mL")).unwrap();
            let dilution = Dilution::new(row.number("dilution_factor")).unwrap();
            let evidence = Evidence::of_run(row.raw("k"), volume, dilution);
            let u = Scatter::from_cv(row.number("u_rel_dilution")).unwrap();
            let blank = per_ml(row.number("blank_per_mL_undiluted_equiv"));
            let net = corrections::diluted(um(4.0), &evidence, u, blank).unwrap();
            json!({"conc": net.per_ml.get(), "u_abs": net.uncertainty.get(), "u_rel_of_net": net.relative()})
        }
        "C30" => {
            let counter = Coincidence::occupied(row.number("sensing_volumes_L")).unwrap();
            let truth = || row.list("true_N").into_iter().map(mean);
            json!({
                "observed": truth().map(|n| counter.observed(n).get()).collect::<Vec<_>>(),
                "loss": truth().map(|n| counter.loss(n)).collect::<Vec<_>>(),
                "inverse_of_5000_observed": counter.truth(mean(5000.0)).unwrap().get(),
                "first_order_5000": counter.first_order(mean(5000.0)).get(),
            })
        }
        "C31" => {
            let counter = Coincidence::dead_time(1.0).unwrap();
            let seen: Vec<f64> = row.list("n_tau").iter().map(|&n| counter.observed(mean(n)).get()).collect();
            let back = counter.truth(mean(row.number("observed_m_tau"))).unwrap().get();
            json!({"m_tau": seen, "n_tau_recovered": back})
        }
        "C32" => ranges(row),
        "C34" => {
            let bands = row.list("also_k");
            let risks: Vec<f64> = bands.iter().map(|&k| precision::false_accept_at_limit(k).get()).collect();
            json!({"pfa_at_limit": risks})
        }
        "C35" => {
            let cvs = || row.list("cv_reproducibility").into_iter().map(|cv| Scatter::from_cv(cv).unwrap());
            let per_cv = precision::difference_in_numbers(Scatter::from_cv(1.0).unwrap(), level(0.95)).get();
            json!({
                "sd_in_codes": cvs().map(|cv| precision::sd_in_numbers(cv).get()).collect::<Vec<_>>(),
                "R95_in_codes": cvs().map(|cv| precision::difference_in_numbers(cv, level(0.95)).get()).collect::<Vec<_>>(),
                "cv_at_which_R95_is_one_code": 1.0 / per_cv,
            })
        }
        "C36" => {
            let (limit, u) = (row.number("limit"), Scatter::from_cv(row.number("u_lognormal")).unwrap());
            let accepted = precision::guarded(per_ml(limit), u, level(1.0 - row.number("pfa"))).get();
            json!({"acceptance_limit": accepted, "factor": accepted / limit})
        }
        "C39" => {
            let scatter = Scatter::from_cv(row.number("s_R_log10") * std::f64::consts::LN_10).unwrap();
            let numbers = row.list("total_count").into_iter();
            let numbers =
                numbers.map(|total| precision::expanded_in_numbers(scatter, mean(total)).unwrap().get());
            let numbers: Vec<f64> = numbers.collect();
            let log10: Vec<f64> = numbers.iter().map(|u| u * std::f64::consts::LOG10_2).collect();
            json!({"U_log10_k2": log10, "U_in_ISO_codes_k2": numbers})
        }
        "C40" => normal_limit(row),
        id => panic!("no test for {id}"),
    }
}

/// So many particles that only the stated scatter is left, which is so small that a lognormal factor is a normal one.
fn normal_limit(row: &Example) -> Value {
    let (raw, u) = (row.raw("k"), row.number("u_relative"));
    let spectrum = Spectrum::cumulative(vec![Channel::counted(um(4.0), counted(raw, 1.0))]).unwrap();
    let level = level(row.number("confidence"));
    let decide = |rule: Rule| {
        let at = move |z: f64| Limit { size: um(4.0), per_ml: per_ml(raw as f64 * (1.0 + z * u)) };
        let decide = |z: f64| decision::decide(&spectrum, &[at(z)], rule, Scatter::from_cv(u).unwrap());
        row.list("z").into_iter().map(decide).collect::<Vec<_>>()
    };
    let outcomes = |rule: Rule| -> Value {
        let outcome = |decision: &decision::Decision| serde_json::to_value(decision.outcome).unwrap();
        decide(rule).iter().map(outcome).collect()
    };
    let p: Vec<f64> = decide(Rule::Conformity(level)).iter().map(|found| found.p.unwrap().get()).collect();
    json!({
        "p_conform": p,
        "guard_band": outcomes(Rule::GuardBand(level)),
        "conformity": outcomes(Rule::Conformity(level)),
    })
}

fn each_limit(row: &Example, method: Method) -> Vec<Value> {
    let level = level(row.number("cl"));
    row.list("k").iter().map(|&k| pair(poisson::limit(k as u64, level, method), Mean::get)).collect()
}

fn odds(row: &Example) -> Value {
    let evidence = counted(row.raw("k"), row.number("V_mL"));
    let odds: Map<String, Value> = Odds::of(&evidence, Scatter::NONE)
        .iter()
        .map(|(number, p)| (number.to_string(), json!(p.get())))
        .collect();
    let at_most = Posterior::new(&evidence, Scatter::NONE).at_most(per_ml(10.0));
    json!({
        "conc": evidence.per_ml().get(),
        "point_code": RangeNumber::of(evidence.per_ml()).get(),
        "ge_flag": evidence.raw < siltcode::class::iso4406::FEW_BELOW,
        "code_probs": odds,
        "P_le_10": at_most.get(),
    })
}

fn plans(row: &Example) -> Value {
    let [confidence, power] = ["confidence", "power"].map(|key| level(row.number(key)));
    let plan = |share: &Value| {
        let clean = per_ml(share.as_f64().unwrap());
        let plan = planner::volume(per_ml(1.0), clean, confidence, power).unwrap();
        let plan =
            json!({"LV": plan.at_limit.get(), "k_accept": plan.most_to_accept, "power": plan.power.get()});
        (share.to_string(), plan)
    };
    row.inputs["true_over_limit"].as_array().unwrap().iter().map(plan).collect::<Map<_, _>>().into()
}

fn sequential(row: &Example) -> Value {
    let risk = |key| Probability::new(row.number(key)).unwrap();
    let [clean, limit] = ["lambda0", "lambda1"].map(|key| per_ml(row.number(key)));
    let plan = Sequential::new(clean, limit, risk("alpha"), risk("beta")).unwrap();
    let volumes = || row.list("V_mL").into_iter().map(|ml| CountedVolume::from_ml(ml).unwrap());
    json!({
        "accept_clean_if_k_le": volumes().map(|v| plan.accept_up_to(v).unwrap().get()).collect::<Vec<_>>(),
        "reject_if_k_ge": volumes().map(|v| plan.reject_from(v).get()).collect::<Vec<_>>(),
    })
}

fn yeast(row: &Example) -> Value {
    let frequencies = row.inputs["freq"].as_object().unwrap().iter();
    let squares: Vec<Evidence> = frequencies
        .flat_map(|(k, n)| {
            vec![counted(k.parse().unwrap(), 1.0); usize::try_from(n.as_u64().unwrap()).unwrap()]
        })
        .collect();
    let dispersion = Runs::new(&squares).unwrap().dispersion();
    json!({
        "n": squares.len(),
        "mean": squares.iter().map(|square| square.raw).sum::<u64>() as f64 / squares.len() as f64,
        "VMR": dispersion.index,
        "D": dispersion.statistic,
        "p_upper": dispersion.p_scattered.get(),
        "p_lower": dispersion.p_regular.get(),
    })
}

fn replicates(row: &Example) -> Value {
    let bottles = row.inputs["replicate_counts"].as_array().unwrap().iter();
    let bottles: Vec<Evidence> = bottles.map(|k| counted(k.as_u64().unwrap(), 1.0)).collect();
    let runs = Runs::new(&bottles).unwrap();
    let (dispersion, cv) = (runs.dispersion(), runs.scatter().cv());
    json!({
        "VMR": dispersion.index,
        "D": dispersion.statistic,
        "p": dispersion.p_scattered.get(),
        "nb_k_moment": 1.0 / (cv * cv),
        "between_bottle_cv": cv,
    })
}

/// The rows of C25 as a spectrum with its limits.
fn nested(bins: &[f64], ml: f64, limits: &[f64]) -> (Spectrum, Vec<Limit>) {
    let sizes = [4.0, 6.0, 14.0, 21.0, 38.0, 70.0];
    let cumulative = |i: usize| bins[i..].iter().sum::<f64>() as u64;
    let channels =
        (0..bins.len()).map(|i| Channel::counted(um(sizes[i]), counted(cumulative(i), ml))).collect();
    let limits = limits
        .iter()
        .zip(sizes)
        .map(|(&limit, size)| Limit { size: um(size), per_ml: per_ml(limit) })
        .collect();
    (Spectrum::cumulative(channels).unwrap(), limits)
}

fn together(row: &Example) -> Value {
    let (bins, limits) = (row.list("raw_bins"), row.list("limits_cum_per_mL"));
    let (spectrum, limits) = nested(&bins, row.number("V_mL"), &limits);
    let joint = joint::meets(&spectrum, &limits, Scatter::NONE);
    let each: Vec<f64> = joint.each.iter().map(|(_, p)| p.unwrap().get()).collect();
    json!({"P_joint": joint.all.unwrap().get(), "P_marginals": each})
}

fn ranges(row: &Example) -> Value {
    let allowed = |m: u64, count: u64| {
        let runs = vec![counted(count, 1.0); usize::try_from(m).unwrap()];
        Runs::new(&runs).unwrap().spread(Criterion::Chance(level(0.95))).allowed
    };
    let [runs, counts] = ["runs", "mean_count"].map(|key| row.inputs[key].as_array().unwrap());
    let [runs, counts] =
        [runs, counts].map(|values| values.iter().map(|v| v.as_u64().unwrap()).collect::<Vec<_>>());
    json!({
        "q95": runs.iter().map(|&m| allowed(m, 1)).collect::<Vec<_>>(),
        "max_DQ_percent": runs.iter().map(|&m| counts.iter().map(|&k| 100.0 * allowed(m, k)).collect()).collect::<Vec<Vec<f64>>>(),
    })
}

/// What a row also states and the library does not return: arithmetic on its other values.
const NOT_RETURNED: [&str; 7] =
    ["var", "poisson_cv", "product_of_marginals", "frechet_lower", "frechet_upper", "statistic", "mean"];

/// Where we differ from a row, by how much, and why.
const DIFFERENCES: [(&str, f64, &str); 1] =
    [("C39", 5e-6, "the standard prints (log10 e)^2 rounded, as 0.18861; the library does not round it")];

#[test]
fn golden_values() {
    let mut compared = 0;
    for row in Example::all("certainty") {
        if row.status == "MEMORY" {
            continue; // recalled values test nothing
        }
        let found = computed(&row);
        let differs = DIFFERENCES.iter().find(|(id, ..)| *id == row.id);
        let row = match differs {
            Some((_, size, _)) => row.within(*size),
            None => row,
        };
        row.answered(&found, &NOT_RETURNED);
        compared += 1;
    }
    assert!(compared >= 34, "{compared}");
}

#[test]
fn simulated_bottles_lie_within_exact_limits_as_often_as_promised() {
    let mut draws = Draws(4406);
    let limits = Limits::new(Level::default(), Method::Garwood);
    for true_mean in [0.1, 0.5, 1.0, 3.0, 10.0, 30.0, 100.0, 1e3, 1e4] {
        let bottles = if true_mean > 500.0 { 500 } else { 4000 };
        let covered =
            (0..bottles).filter(|_| limits.of(draws.poisson(true_mean)).contains(&mean(true_mean))).count();
        let share = covered as f64 / f64::from(bottles);
        // three standard deviations of the simulation itself below the level
        let least = 0.95 - 3.0 * (0.95 * 0.05 / f64::from(bottles)).sqrt();
        assert!(share >= least, "{share} at {true_mean}");
    }
}

#[test]
fn the_joint_probability_is_what_simulation_finds() {
    let mut draws = Draws(14);
    for (bins, limits, cv) in [
        (vec![70.0, 22.0, 3.0], vec![2500.0, 640.0, 80.0], 0.0),
        (vec![70.0, 22.0, 3.0], vec![2500.0, 640.0, 80.0], 0.25),
        (vec![40.0, 0.0, 6.0, 0.0, 1.0, 0.0], vec![1200.0, 200.0, 190.0, 60.0, 50.0, 11.0], 0.0),
        (vec![12.0, 5.0, 9.0, 2.0], vec![800.0, 400.0, 320.0, 80.0], 0.5),
    ] {
        let ml = 0.05;
        let scatter = Scatter::from_cv(cv).unwrap();
        let (spectrum, limits) = nested(&bins, ml, &limits);
        let joint = joint::meets(&spectrum, &limits, scatter).all.unwrap().get();
        let trials = 200_000;
        let met = (0..trials).filter(|_| {
            let factor = (scatter.log_sd() * draws.normal()).exp() / ml;
            let mut sum = draws.gamma(1);
            (0..bins.len()).rev().all(|i| {
                sum += draws.gamma(bins[i] as u32);
                sum * factor <= limits[i].per_ml.get()
            })
        });
        let found = met.count() as f64 / f64::from(trials);
        let sd = (joint * (1.0 - joint) / f64::from(trials)).sqrt();
        assert!((found - joint).abs() < 4.0 * sd, "{bins:?} cv {cv}: {joint}, simulated {found} +- {sd}");
    }
}

/// Scatter makes every probability less sure, and none of it is the plain result.
#[test]
fn odds_with_scatter_are_those_of_simulation() {
    let mut draws = Draws(6);
    for (k, ml, cv) in [(50, 5.0, 0.3), (2000, 1.0, 0.1), (3, 1.0, 1.0), (0, 2.0, 0.5)] {
        let scatter = Scatter::from_cv(cv).unwrap();
        let evidence = counted(k, ml);
        let odds = Odds::of(&evidence, scatter);
        let total: f64 = odds.iter().map(|(_, p)| p.get()).sum();
        assert!((total - 1.0).abs() < 1e-4, "{total}");
        let trials = 20_000;
        let mut seen = [0_u32; 30];
        for _ in 0..trials {
            let fluid =
                draws.gamma_half(u32::try_from(k).unwrap()) / ml * (scatter.log_sd() * draws.normal()).exp();
            seen[usize::from(RangeNumber::of(per_ml(fluid)).get())] += 1;
        }
        for (number, p) in odds.iter() {
            let found = f64::from(seen[usize::from(number.get())]) / f64::from(trials);
            let sd = (p.get() * (1.0 - p.get()) / f64::from(trials)).sqrt();
            assert!((found - p.get()).abs() < 4.5 * sd + 1e-4, "{k} {number}: {} simulated {found}", p.get());
        }
    }
}

/// Both ways to integrate, and the closed form, meet where they border on each other.
#[test]
fn scatter_sets_in_without_a_jump() {
    for k in [0, 1, 17, 400, 100_000] {
        let evidence = counted(k, 1.0);
        let at = |cv: f64| {
            Posterior::new(&evidence, Scatter::from_cv(cv).unwrap())
                .at_most(per_ml(k as f64 * 1.03 + 0.4))
                .get()
        };
        let border = (1.0 / (k as f64 + 0.5)).exp_m1().sqrt().min(10.0);
        assert!((at(0.0) - at(1e-5)).abs() < 1e-4, "{k}");
        if border < 10.0 {
            assert!((at(border * (1.0 - 1e-9)) - at(border * (1.0 + 1e-9))).abs() < 1e-8, "{k}");
        }
    }
}

fn bottle(runs: &[&[(f64, u64)]], ml: f64) -> Sample {
    let run = |counts: &&[(f64, u64)]| {
        let channels = counts.iter().map(|&(size, raw)| Channel::counted(um(size), counted(raw, ml)));
        Spectrum::cumulative(channels.collect()).unwrap()
    };
    Sample::new("bottle", runs.iter().map(run))
}

fn codes(sample: &Sample, context: &Context<'_>) -> Vec<&'static str> {
    flags::of(sample, &sample.spectrum().unwrap(), context).iter().map(|flag| flag.code).collect()
}

/// How much runs vary in a batch of bottles that vary by counting error alone.
fn quiet_batch(bottles: usize) -> Repeatability {
    let mut draws = Draws(40);
    let run = |draws: &mut Draws| {
        let larger = [2000.0, 500.0, 50.0].map(|mean| draws.poisson(mean));
        vec![(4.0, larger.iter().sum::<u64>()), (6.0, larger[1] + larger[2]), (14.0, larger[2])]
    };
    let samples: Vec<Sample> = (0..bottles)
        .map(|_| {
            let runs: Vec<_> = (0..3).map(|_| run(&mut draws)).collect();
            bottle(&runs.iter().map(|run| &run[..]).collect::<Vec<_>>(), 1.0)
        })
        .collect();
    RunPool::of(&samples).repeatability(None)
}

#[test]
fn each_sign_raises_its_own_flag() {
    let plain = Context::default();
    let one = |raw: u64| bottle(&[&[(4.0, raw)]], 1.0);
    assert_eq!(codes(&one(900), &plain), [""; 0]);
    assert_eq!(codes(&one(19), &plain), ["few-raw-counts"]);
    assert_eq!(codes(&bottle(&[&[(4.0, 50)]], 5.0), &plain), ["near-class-edge"]);
    let runs = |counts: [u64; 3]| {
        bottle(&counts.map(|k| [(4.0, k)]).iter().map(|r| &r[..]).collect::<Vec<_>>(), 1.0)
    };
    assert_eq!(codes(&runs([950, 1120, 890]), &plain), ["scatter"]);
    assert_eq!(codes(&runs([900, 900, 900]), &plain), ["too-regular"]);
    assert_eq!(codes(&runs([5, 5, 5]), &plain), ["few-raw-counts"]);
    assert_eq!(codes(&runs([940, 905, 925]), &plain), [""; 0]);
    // without a batch to tell it, runs may differ by 5 % before the first of them is suspected
    assert_eq!(codes(&runs([1040, 905, 890]), &plain), ["scatter"]);
    assert_eq!(codes(&runs([1100, 905, 890]), &plain), ["scatter", "first-run-differs"]);
    assert_eq!(codes(&runs([2700, 905, 890]), &plain), ["near-class-edge", "scatter", "first-run-differs"]);
    let batch = quiet_batch(40);
    let in_batch = Context { repeatability: Some(&batch), ..plain };
    assert_eq!(codes(&runs([1100, 905, 890]), &in_batch), ["scatter", "first-run-differs"]);
    assert_eq!(codes(&runs([820, 905, 1010]), &in_batch), ["scatter", "rising"]);
    assert_eq!(codes(&runs([940, 905, 925]), &in_batch), [""; 0]);
    let strict = Context { spread: Criterion::Fraction(0.03), ..plain };
    assert_eq!(codes(&runs([940, 905, 925]), &strict), ["scatter"]);
    let counter = Context { coincidence: Some(Coincidence::occupied(1200.0).unwrap()), ..plain };
    assert_eq!(codes(&one(900), &counter), ["near-saturation"]);
}

#[test]
fn readings_methods_and_blanks_raise_flags() {
    let plain = Context::default();
    let too_many =
        Sample::new("x", [Spectrum::cumulative(vec![Channel::new(um(4.0), Reading::TooMany)]).unwrap()]);
    assert_eq!(codes(&too_many, &plain), ["too-many-to-count"]);

    let crowded = Sample::new("x", [Spectrum::from_per_ml(&[(4.0, 41_000.0), (70.0, 1.0)]).unwrap()]);
    let jet = Context { method: Some("IP 564"), ..plain };
    assert_eq!(codes(&crowded, &jet), ["above-method-range", "size-outside-method"]);
    let mut noted = crowded.clone();
    noted.notes.push(("Test method".into(), "ip 577/12".into()));
    assert_eq!(codes(&noted, &plain), [""; 0]);
    let unknown = Context { method: Some("in-house"), ..plain };
    assert_eq!(codes(&crowded, &unknown), ["method-not-known"]);

    let sample = bottle(&[&[(4.0, 900)]], 1.0);
    let [dirty, clean] = [880, 90].map(|raw| bottle(&[&[(4.0, raw)]], 1.0).spectrum().unwrap());
    assert_eq!(codes(&sample, &Context { blank: Some(&dirty), ..plain }), ["blank-too-dirty"]);
    assert_eq!(codes(&sample, &Context { blank: Some(&clean), ..plain }), [""; 0]);
}

#[test]
fn shifts_between_passes_raise_flags() {
    let before = bottle(&[&[(4.0, 9000), (6.0, 2200), (14.0, 160)]], 1.0).spectrum().unwrap();
    let context = Context { earlier: Some(&before), ..Context::default() };
    let after = |counts: [u64; 3]| {
        let [a, b, c] = counts;
        bottle(&[&[(4.0, a), (6.0, b), (14.0, c)]], 1.0)
    };
    assert_eq!(codes(&after([4400, 900, 45]), &context), [""; 0]);
    assert_eq!(codes(&after([8950, 900, 45]), &context), ["fine-stays-coarse-falls"]);
    assert_eq!(codes(&after([4400, 1500, 240]), &context), ["possible-water-or-air"]);
}

#[test]
fn a_verdict_names_its_rule_its_odds_and_what_would_settle_it() {
    let judge = |raw: u64, ml: f64, limit: f64, rule: Rule, cv: f64| {
        let spectrum = bottle(&[&[(14.0, raw)]], ml).spectrum().unwrap();
        let limit = Limit { size: um(14.0), per_ml: per_ml(limit) };
        decision::decide(&spectrum, &[limit], rule, Scatter::from_cv(cv).unwrap())
    };
    let guard = Rule::GuardBand(Level::default());
    // limit times volume of 100: 83 is the most to accept, golden row C16
    assert_eq!(judge(83, 1.0, 100.0, guard, 0.0).outcome, Outcome::Conforms);
    assert_eq!(judge(84, 1.0, 100.0, guard, 0.0).outcome, Outcome::Undecided);
    assert_eq!(judge(130, 1.0, 100.0, guard, 0.0).outcome, Outcome::DoesNotConform);
    assert_eq!(judge(84, 1.0, 100.0, Rule::SimpleAcceptance, 0.0).outcome, Outcome::Conforms);
    let near = judge(84, 1.0, 100.0, Rule::default(), 0.0);
    assert_eq!((near.outcome, near.deciding), (Outcome::Undecided, Some(um(14.0))));
    assert!((near.p.unwrap().get() + near.false_accept.unwrap().get() - 1.0).abs() < 1e-15);

    // the volume it names does settle it
    let Some(Settle::Volume(volume)) = near.settle else { panic!("{:?}", near.settle) };
    let more = judge((84.0 * volume.ml()).floor() as u64, volume.ml(), 100.0, guard, 0.0);
    assert_eq!(more.outcome, Outcome::Conforms);
    // and where bottles scatter, it names bottles instead
    assert!(matches!(judge(8400, 100.0, 100.0, guard, 0.3).settle, Some(Settle::Bottles(20..=30))));
    assert_eq!(judge(100, 1.0, 100.0, guard, 0.0).settle, Some(Settle::TooClose));
}

#[test]
fn nothing_is_decided_without_evidence() {
    let spectrum = Spectrum::from_per_ml(&[(4.0, 10.0)]).unwrap();
    let limit = |size| Limit { size: um(size), per_ml: per_ml(1e6) };
    let bare = decision::decide(&spectrum, &[limit(4.0)], Rule::default(), Scatter::NONE);
    assert_eq!(
        (bare.outcome, bare.p, bare.settle),
        (Outcome::Undecided, None, Some(Settle::Record(um(4.0))))
    );
    let missing = decision::decide(&spectrum, &[limit(6.0)], Rule::SimpleAcceptance, Scatter::NONE);
    assert_eq!((missing.outcome, missing.settle), (Outcome::Undecided, Some(Settle::Count(um(6.0)))));
    let none = decision::decide(&spectrum, &[], Rule::default(), Scatter::NONE);
    assert_eq!((none.outcome, none.deciding), (Outcome::Undecided, None));
}

#[test]
fn sizes_in_volumes_of_their_own_have_bounds_only() {
    let channels =
        vec![Channel::counted(um(4.0), counted(95, 0.05)), Channel::counted(um(14.0), counted(30, 0.5))];
    let spectrum = Spectrum::cumulative(channels).unwrap();
    let limits =
        [(4.0, 2500.0), (14.0, 80.0)].map(|(size, limit)| Limit { size: um(size), per_ml: per_ml(limit) });
    let joint = joint::meets(&spectrum, &limits, Scatter::NONE);
    assert_eq!(joint.all, None);
    let [a, b] = [0, 1].map(|i| joint.each[i].1.unwrap().get());
    assert!((joint.bounds.low.get() - (a + b - 1.0)).abs() < 1e-12 && joint.bounds.high.get() == a.min(b));
}

#[test]
fn bad_input_is_refused_with_a_code_and_a_hint() {
    let refusals = [
        ("volume-not-positive", CountedVolume::from_ml(0.0).unwrap_err()),
        ("dilution-below-one", Dilution::new(-2.0).unwrap_err()),
        ("level-out-of-range", Level::new(0.0).unwrap_err()),
        ("level-out-of-range", Level::new(1.0).unwrap_err()),
        ("level-out-of-range", Level::new(f64::NAN).unwrap_err()),
        ("probability-out-of-range", Probability::new(-0.1).unwrap_err()),
        ("quantity-out-of-range", Scatter::from_cv(f64::INFINITY).unwrap_err()),
        ("blank-above-sample", Net::new(um(4.0), &counted(3, 1.0), &counted(5, 1.0)).per_ml().unwrap_err()),
        (
            "blank-above-sample",
            corrections::diluted(um(4.0), &counted(3, 1.0), Scatter::NONE, per_ml(4.0)).unwrap_err(),
        ),
        ("quantity-out-of-range", Coincidence::occupied(100.0).unwrap().truth(mean(100.0)).unwrap_err()),
        ("count-not-finite", Mean::new(f64::NEG_INFINITY).unwrap_err()),
    ];
    for (code, error) in refusals {
        assert_eq!(error.code(), code);
        assert!(!error.hint().is_empty() && !error.to_string().is_empty(), "{code}");
    }
}

#[test]
fn an_assessment_serialises_as_the_report_needs_it() {
    let sample = bottle(&[&[(4.0, 9000), (14.0, 50)]], 5.0);
    let assessment = assess(&sample, &sample.spectrum().unwrap(), &Context::default());
    let json = serde_json::to_value(&assessment).unwrap();
    let fine = &json["channels"][0];
    assert_eq!(fine["odds"], json!({"18": 1.0}));
    assert!(
        fine["interval_per_ml"][0].as_f64().unwrap() < 1800.0
            && fine["interval_per_ml"][1].as_f64().unwrap() > 1800.0
    );
    assert_eq!(json["flags"][0]["code"], "near-class-edge");
    assert_eq!(json["unknown"], Value::Null);
}

/// Every number in a JSON value is one: serde writes NaN and infinity as null, where none is expected.
fn has_null(value: &Value) -> bool {
    match value {
        Value::Null => true,
        Value::Array(values) => values.iter().any(has_null),
        Value::Object(map) => map.iter().any(|(key, value)| {
            let optional = ["size", "scatter", "unknown", "settle", "deciding"].contains(&key.as_str());
            has_null(value) && !optional
        }),
        _ => false,
    }
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn no_input_panics_or_gives_no_number(
        bins in proptest::collection::vec(prop_oneof![0_u64..4, 0_u64..500, 0_u64..1_000_000_000, Just(1_u64 << 51)], 1..5),
        ml in prop_oneof![1e-3..1e3, Just(1e-9), Just(1e9)],
        factor in prop_oneof![1.0_f64..1e6, Just(1e9)],
        limit in prop_oneof![0.0..1e4, Just(0.0), Just(1e300)],
        cv in prop_oneof![Just(0.0), Just(0.0), 0.0..1.0, Just(10.0)],
        p in prop_oneof![0.5..0.999, Just(1e-12), Just(1.0 - 1e-12)],
    ) {
        let volume = CountedVolume::from_ml(ml).unwrap();
        let channel = |i: usize| {
            let raw = bins[i..].iter().sum();
            Channel::counted(um(4.0 + i as f64), Evidence::of_run(raw, volume, Dilution::new(factor).unwrap()))
        };
        let spectrum = Spectrum::cumulative((0..bins.len()).map(channel).collect()).unwrap();
        let sample = Sample::new("x", [spectrum.clone(), spectrum.clone()]);
        let scatter = Scatter::from_cv(cv).unwrap();
        let context = Context { level: level(p), scatter: Some(scatter), blank: Some(&spectrum), earlier: Some(&spectrum), ..Context::default() };
        let assessment = assess(&sample, &spectrum, &context);
        prop_assert!(!has_null(&serde_json::to_value(&assessment).unwrap()), "{assessment:?}");
        let limits: Vec<Limit> = (0..bins.len()).map(|i| Limit { size: um(4.0 + i as f64), per_ml: per_ml(limit / (i + 1) as f64) }).collect();
        for rule in [Rule::SimpleAcceptance, Rule::GuardBand(level(p)), Rule::Conformity(level(p))] {
            let decision = decision::decide(&spectrum, &limits, rule, scatter);
            prop_assert!(!has_null(&serde_json::to_value(&decision).unwrap()), "{decision:?}");
            let joint = decision.p.unwrap().get();
            let least = decision.each.iter().map(|judged| judged.p.unwrap().get()).fold(1.0, f64::min);
            prop_assert!(joint <= least + if cv == 0.0 { 1e-6 } else { 1e-4 }, "{joint} {least}");
        }
        for (a, b) in spectrum.channels().iter().zip(&spectrum.channels()[1..]) {
            let ratio = ratio::compare(&b.evidence.unwrap(), &a.evidence.unwrap(), level(p));
            prop_assert!(ratio.interval.low <= ratio.interval.high, "{ratio:?}");
        }
        let _ = planner::most_to_accept(Mean::of(per_ml(limit), &spectrum.channels()[0].evidence.unwrap()), level(p));
    }
}
