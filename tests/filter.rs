//! Filtration ratios against their worked values, what must hold of any, and bad input.

#![allow(clippy::float_cmp)] // exact results are compared exactly

use proptest::prelude::*;
use serde_json::{Value, json};
use siltcode::certainty::{Interval, Level};
use siltcode::filter::{
    Beta, BetaAt, Branch, Challenge, Efficiency, Element, Kind, MeasuredBeta, PressureDrop, Price, Rating,
    Share, Stage, Train,
};
use siltcode::units::{Flow, KinematicViscosity, Pressure};
use siltcode::{Size, SizeScale, Spectrum};
use siltcode_tests::{Example, beta, cases, counted, per_ml, share, um};

fn rating(text: &str) -> Rating {
    text.parse().unwrap()
}

fn flow_of(l_per_min: f64) -> Flow {
    Flow::from_l_per_min(l_per_min).unwrap()
}

/// A cartridge rated at one size.
fn filtering(ratio: f64) -> Element {
    let rating = Rating::new(vec![(um(4.0), beta(ratio))]).unwrap();
    Element::new(Kind::Cartridge, flow_of(60.0), Some(rating)).unwrap()
}

fn empty_housing() -> Element {
    Element::new(Kind::EmptyHousing, flow_of(60.0), None).unwrap()
}

/// One element behind the other, each rated at one size.
fn series(ratios: &[f64]) -> Train {
    Train::new(ratios.iter().map(|&ratio| Stage::of(filtering(ratio))).collect()).unwrap()
}

/// The ratio of a train whose elements are rated at one size.
fn ratio(train: &Train) -> Beta {
    let bins = train.bins(&[um(4.0)], &Challenge::iso_medium_test_dust()).unwrap();
    Beta::of(bins[0]).unwrap()
}

fn assert_close(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-12 * expected.abs(), "{found} for {expected}");
}

/// A rating at the two sizes of the row.
fn two(row: &Example) -> Rating {
    let rated = [("x1", "beta1"), ("x2", "beta2")].map(|(x, b)| (um(row.number(x)), beta(row.number(b))));
    Rating::new(rated.to_vec()).unwrap()
}

fn from_counts(row: &Example, up: &str, down: &str) -> Value {
    let found = Beta::from_counts(per_ml(row.number(up)), per_ml(row.number(down))).unwrap();
    json!({"beta": found.get(), "eff": found.efficiency().get()})
}

/// Every number the row expects, computed; the row's own keys say which.
fn computed(row: &Example) -> Value {
    match row.id.as_str() {
        "B01" => {
            let efficiency = row.list("beta").into_iter().map(|b| beta(b).efficiency().get());
            json!({"eff": efficiency.collect::<Vec<_>>()})
        }
        "B02" => from_counts(row, "N_up_per_mL", "N_down_per_mL"),
        "B03" => from_counts(row, "N_up", "N_down"),
        "B04" => {
            let BetaAt::Between(found) = two(row).at(um(row.number("x"))).unwrap() else { panic!() };
            let [a, b, c] = found.map(Beta::get);
            json!({"lnb_x": a, "lnb_lnx": b, "lnbm1_lnx": c})
        }
        "B05" => {
            let sizes = two(row).size_for(beta(row.number("beta_target"))).unwrap();
            json!({"x_lnb_x": sizes[0].um(), "x_lnb_lnx": sizes[1].um()})
        }
        "B06" => {
            let pairs: Vec<_> = row.list("up").into_iter().zip(row.list("down")).collect();
            let typed: Vec<_> = pairs.iter().map(|&(up, down)| (per_ml(up), per_ml(down))).collect();
            json!({"ratio_of_means": Beta::from_pairs(&typed).unwrap().get()})
        }
        "B07" => {
            let [first, second] = ["beta1", "beta2"].map(|key| beta(row.number(key)));
            let bounds = series(&[row.number("beta1"), row.number("beta2")]).lumped(um(4.0)).unwrap();
            assert_close(bounds.high.penetration(), first.in_series(second).penetration());
            json!({
                "series_independent": first.in_series(second).get(),
                "series_lower_bound_same_survivors": Beta::of(bounds.low).unwrap().get().round(),
            })
        }
        "B08" => {
            let stages = ["beta1_by_subclass", "beta2_by_subclass"].map(|key| row.list(key));
            let lumped = |betas: &dyn Fn(usize) -> Beta| {
                let shares = row.list("fractions").into_iter().enumerate();
                Beta::lumped(&shares.map(|(i, share)| (per_ml(share), betas(i))).collect::<Vec<_>>())
                    .unwrap()
                    .get()
            };
            json!({
                "beta1_lumped": lumped(&|i| beta(stages[0][i])),
                "beta2_lumped": lumped(&|i| beta(stages[1][i])),
                "series_true": lumped(&|i| beta(stages[0][i]).in_series(beta(stages[1][i]))),
            })
        }
        "B09" => {
            let (flow, betas) = (row.list("flow_fraction"), row.list("beta"));
            let branches = flow.iter().zip(betas).map(|(&flow, ratio)| {
                let element = if ratio > 1.0 { filtering(ratio) } else { empty_housing() };
                Branch { flow: flow_of(flow), element }
            });
            let stage = Stage::parallel(branches.collect()).unwrap();
            json!({"beta_parallel": ratio(&Train::new(vec![stage]).unwrap()).get()})
        }
        "B10" => {
            let element = beta(row.number("beta_element"));
            let bypass = row.list("bypass_fraction").into_iter().map(share);
            let [leaking, ceilings]: [Vec<Value>; 2] = [
                bypass.clone().map(|bypass| json!(element.leaking(bypass).get())).collect(),
                bypass.map(|bypass| json!(bypass.ceiling().map(Beta::get))).collect(),
            ];
            json!({"beta_eff": leaking, "ceiling_1_over_b": ceilings})
        }
        "B11" => binned(row),
        "B12" => decayed(row),
        id => panic!("no test for {id}"),
    }
}

fn binned(row: &Example) -> Value {
    let [sizes, upstream, betas] =
        ["sizes", "upstream_cumulative", "beta_cumulative"].map(|key| row.list(key));
    let counts: Vec<_> = sizes.iter().copied().zip(upstream.iter().copied()).collect();
    let spectrum = Spectrum::from_per_ml(&counts).unwrap();
    let sizes: Vec<Size> = sizes.into_iter().map(um).collect();
    let rated = sizes.iter().copied().zip(betas.iter().copied().map(beta)).collect();
    let bins = Rating::new(rated).unwrap().bins(&sizes, &Challenge::of(&spectrum).unwrap()).unwrap();
    let entering: Vec<f64> = spectrum.bins().iter().map(|bin| bin.per_ml.get()).collect();
    let leaving: Vec<f64> = entering.iter().zip(&bins).map(|(n, beta)| n * beta.penetration()).collect();
    let downstream: Vec<f64> = (0..leaving.len()).map(|i| leaving[i..].iter().sum()).collect();
    json!({
        "downstream_cumulative": downstream,
        "upstream_bins": entering,
        "downstream_bins": leaving,
        "beta_bins": bins.into_iter().map(Beta::get).collect::<Vec<_>>(),
    })
}

/// Each bin decays by its own efficiency; the ratio a cumulative count shows then falls.
fn decayed(row: &Example) -> Value {
    let (starts, betas) = (row.list("upstream_bins"), row.list("beta_bins"));
    let after = |tau: f64| {
        let bins = starts.iter().zip(&betas).map(|(start, &ratio)| {
            (per_ml(start * (-beta(ratio).efficiency().get() * tau).exp()), beta(ratio))
        });
        let bins: Vec<_> = bins.collect();
        let cumulative = |i: usize| bins[i..].iter().map(|bin| bin.0.get()).sum::<f64>();
        let apparent = |i: usize| Beta::lumped(&bins[i..]).unwrap().get();
        json!({
            "cum": (0..bins.len()).map(cumulative).collect::<Vec<_>>(),
            "beta4_apparent": apparent(0),
            "beta6_apparent": apparent(1),
        })
    };
    let turnovers = row.list("turnovers").into_iter();
    turnovers.map(|tau| (tau.to_string(), after(tau))).collect::<serde_json::Map<_, _>>().into()
}

/// What a row states beside the answers: traps.
const NOT_RETURNED: [&str; 3] = ["mean_of_ratios_WRONG", "exp_mean_log", "product_of_lumped_WRONG"];

#[test]
fn golden_values() {
    let rows = Example::all("beta");
    assert_eq!(rows.len(), 12);
    for row in rows {
        row.answered(&computed(&row), &NOT_RETURNED);
    }
}

/// What a pressure read at a flow and a viscosity is at the rated flow and the viscosity of the reference.
fn at_rated(row: &Example, rated: f64, [flow, reading, measured, reference]: [f64; 4]) -> f64 {
    let nu = |value| KinematicViscosity::from_mm2_per_s(value).unwrap();
    let kpa = |value| Pressure::from_kpa(value).unwrap();
    let drop = PressureDrop::new(kpa(1.0), kpa(100.0), nu(reference)).unwrap();
    let element = Element::new(Kind::Cartridge, flow_of(rated), None).unwrap().with_drop(drop);
    let found = element.at_rated(kpa(reading), flow_of(flow), nu(measured)).unwrap().unwrap();
    let clean = element.clean_at(flow_of(flow), nu(measured)).unwrap().unwrap();
    assert!((clean.kpa() * found.kpa() - reading).abs() < 1e-12, "{}: one undoes the other", row.id);
    found.kpa()
}

#[test]
fn golden_pressures() {
    for row in Example::all("element") {
        let get = |key| row.number(key);
        match row.id.as_str() {
            "L04" => {
                let read = [get("flow_gpm"), get("dP_psi"), 32.0, 32.0];
                row.meets("/dP_at_rated", at_rated(&row, get("rated_gpm"), read));
            }
            "L06" => {
                let read = [get("Q_meas"), get("dP"), get("nu_meas_cSt"), get("nu_ref_cSt")];
                row.meets("/dP_ref_laminar", at_rated(&row, get("Q_ref"), read));
            }
            id => panic!("no test for {id}"),
        }
    }
}

#[test]
fn what_misses_the_medium_sets_a_ceiling() {
    let leaking = Train::new(vec![Stage::of(filtering(1000.0)).leaking(share(0.01))]).unwrap();
    assert_close(leaking.ceiling().unwrap().get(), 100.0);
    assert_close(ratio(&leaking).get(), beta(1000.0).leaking(share(0.01)).get());
    // a second stage sees what leaks past the first: only what leaks past both is not met
    let twice = [0.01, 0.02].map(|leak| Stage::of(filtering(200.0)).leaking(share(leak)));
    let twice = Train::new(twice.to_vec()).unwrap();
    assert_close(twice.ceiling().unwrap().get(), 5000.0);
    let bypassed = twice.bypassed(share(0.05));
    assert_close(bypassed.ceiling().unwrap().get(), 1.0 / (0.05 + 0.95 * 0.0002));
    assert!(ratio(&bypassed) < bypassed.ceiling().unwrap());
    assert_eq!(series(&[3.0, 75.0]).ceiling(), None);
    assert_eq!(Train::new(vec![Stage::of(empty_housing())]).unwrap().ceiling(), None); // nothing to be capped
}

#[test]
fn elements_without_a_ratio() {
    let absorber = Element::new(Kind::WaterAbsorbing, flow_of(60.0), None).unwrap();
    let alone = Train::new(vec![Stage::of(absorber)]).unwrap();
    let bounds = alone.lumped(um(4.0)).unwrap();
    assert_eq!((bounds.low, bounds.high), (Efficiency::NONE, Efficiency::WHOLE));
    let dust = Challenge::iso_medium_test_dust();
    assert_eq!(alone.bins(&[um(4.0)], &dust).unwrap_err().code(), "beta-missing");
    let nothing = Element::new(Kind::WaterAbsorbing, flow_of(60.0), Some(rating("4:1"))).unwrap();
    let bins = Train::new(vec![Stage::of(nothing)]).unwrap().bins(&[um(4.0)], &dust).unwrap();
    assert_eq!(bins, [Efficiency::NONE]);
    let housing = Train::new(vec![Stage::of(empty_housing())]).unwrap().lumped(um(4.0)).unwrap();
    assert_eq!(housing.high, Efficiency::NONE);
}

#[test]
fn elements_and_trains_that_cannot_be_are_refused() {
    let code = |refused: siltcode::Result<Element>| refused.unwrap_err().code();
    assert_eq!(code(Element::new(Kind::EmptyHousing, flow_of(60.0), Some(rating("4:3")))), "housing-rated");
    assert_eq!(code(Element::new(Kind::Bag, flow_of(0.0), None)), "quantity-out-of-range");
    let [low, high] = [20.0, 150.0].map(|kpa| Pressure::from_kpa(kpa).unwrap());
    let viscosity = KinematicViscosity::from_mm2_per_s(3.0).unwrap();
    for (clean, terminal) in [(high, low), (low, low), (Pressure::from_kpa(0.0).unwrap(), low)] {
        let refused = PressureDrop::new(clean, terminal, viscosity);
        assert_eq!(refused.unwrap_err().code(), "quantity-out-of-range");
    }
    for price in [-1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(Price::new(price).unwrap_err().code(), "quantity-out-of-range");
    }
    assert_eq!(Train::new(Vec::new()).unwrap_err().code(), "train-empty");
    assert_eq!(Stage::parallel(Vec::new()).unwrap_err().code(), "train-empty");
    let still = vec![Branch { flow: flow_of(0.0), element: filtering(3.0) }];
    assert_eq!(Stage::parallel(still).unwrap_err().code(), "train-empty");
    let pushed = vec![Branch { flow: flow_of(90.0), element: filtering(3.0) }];
    let pushed = Train::new(vec![Stage::parallel(pushed).unwrap(), Stage::of(filtering(75.0))]).unwrap();
    assert_eq!(pushed.overloaded().count(), 1);
}

#[test]
fn outside_the_rated_sizes_stands_a_bound() {
    let filter = rating("4:3,6:20,14:1000");
    assert_eq!(filter.at(um(3.0)).unwrap(), BetaAt::AtMost(beta(3.0)));
    assert_eq!(filter.at(um(14.0)).unwrap(), BetaAt::Rated(beta(1000.0)));
    assert_eq!(filter.at(um(21.0)).unwrap(), BetaAt::AtLeast(beta(1000.0)));
    assert_eq!(filter.at(um(3.0)).unwrap().efficiency().low, Efficiency::NONE);
    assert_eq!(filter.at(um(21.0)).unwrap().efficiency().high, Efficiency::WHOLE);
    assert_eq!(filter.working(um(3.0)).unwrap_err().code(), "beta-not-rated");
    assert_eq!(filter.size_for(beta(2.0)), None);
    assert_eq!(filter.size_for(beta(20.0)), Some([um(6.0); 3]));
}

#[test]
fn a_ratio_too_large_to_measure_is_at_least() {
    assert_eq!(rating("14:5000").at(um(14.0)).unwrap(), BetaAt::AtLeast(Beta::CERTAIN_UP_TO));
    assert_eq!(rating("14:>200").at(um(14.0)).unwrap(), BetaAt::AtLeast(beta(200.0)));
    let BetaAt::AtLeast(bound) = rating("6:20,14:5000").at(um(10.0)).unwrap() else { panic!() };
    let BetaAt::Between(found) = rating("6:20,14:1000").at(um(10.0)).unwrap() else { panic!() };
    assert!(found.iter().all(|&beta| beta >= bound));
}

#[test]
fn nominal_ratings_are_the_users_interval() {
    let nominal = rating("10:2..20");
    assert_eq!(nominal.at(um(10.0)).unwrap(), BetaAt::Within(Interval { low: beta(2.0), high: beta(20.0) }));
    let BetaAt::Within(between) = rating("6:2..4,10:10").at(um(8.0)).unwrap() else { panic!() };
    let [BetaAt::Between(least), BetaAt::Between(most)] =
        ["6:2,10:10", "6:4,10:10"].map(|text| rating(text).at(um(8.0)).unwrap())
    else {
        panic!()
    };
    assert!(least.iter().chain(&most).all(|beta| between.contains(beta)));
    assert_eq!("10:20..2".parse::<Rating>().unwrap_err().code(), "quantity-out-of-range");
}

#[test]
fn a_measured_ratio_is_as_sure_as_its_fewer_counts() {
    let of = |up: u64, down: u64| {
        MeasuredBeta::of(&[counted(up, 10.0)], &[counted(down, 10.0)], Level::default()).unwrap()
    };
    assert_eq!(of(4000, 750).known().unwrap(), BetaAt::Rated(beta(4000.0 / 750.0)));
    let none_behind = of(400, 0);
    assert_eq!(none_behind.ratio.ratio, None);
    let BetaAt::AtLeast(bound) = none_behind.known().unwrap() else { panic!() };
    // 97.5 % limit for none counted beside 400: the odds at which p^400 is 0.025
    assert!((bound.get() / (1.0 / (0.025_f64.powf(-1.0 / 400.0) - 1.0)) - 1.0).abs() < 1e-6, "{bound}");
    assert_eq!(of(100_000, 50).known().unwrap(), BetaAt::AtLeast(Beta::CERTAIN_UP_TO));
    assert_eq!(of(100, 200).known().unwrap_err().code(), "beta-below-one");
    assert_eq!(MeasuredBeta::of(&[], &[], Level::default()).unwrap_err().code(), "nothing-counted");
    let volumes = MeasuredBeta::of(&[counted(100, 1.0)], &[counted(100, 10.0)], Level::default()).unwrap();
    assert_eq!(volumes.beta().unwrap(), beta(10.0));
}

#[test]
fn pairs_that_cannot_both_hold_are_refused_with_the_reason() {
    let dust = Challenge::iso_medium_test_dust();
    let refused = |text: &str| {
        let error = rating(text).bins(&[um(4.0), um(6.0)], &dust).unwrap_err();
        (error.code(), error.to_string())
    };
    let (code, text) = refused("4:100,6:2");
    assert_eq!(code, "betas-inconsistent");
    assert!(text.contains("more particles would leave above the larger size"), "{text}");
    let (code, text) = refused("4:1.01,6:1000");
    assert_eq!(code, "betas-inconsistent");
    assert!(text.contains("would leave than enter"), "{text}");
}

#[test]
fn bins_outside_the_challenge_are_refused_only_where_it_matters() {
    let dust = Challenge::iso_medium_test_dust();
    let beyond = [um(50.0), um(70.0)];
    assert_eq!(rating("14:1000").bins(&beyond, &dust).unwrap(), [beta(1000.0); 2]);
    let refused = rating("50:200,70:1000").bins(&beyond, &dust).unwrap_err();
    assert_eq!(refused.code(), "challenge-outside");
}

#[test]
fn the_best_of_a_rating_is_no_worse_than_its_least() {
    let dust = Challenge::iso_medium_test_dust();
    let sizes = [4.0, 5.0, 6.0, 14.0, 21.0].map(um);
    let rough = rating("4:3..5,6:20,14:>75");
    let (least, best) = (rough.bins(&sizes, &dust).unwrap(), rough.bins_at_best(&sizes, &dust).unwrap());
    // a single bin may come out lower, where the ratio above it is what rose; all above a size together do not
    let above: Vec<f64> = sizes.iter().map(|&size| dust.per_ml(size).unwrap().get()).collect();
    let entering = |i: usize| per_ml(above[i] - above.get(i + 1).copied().unwrap_or(0.0));
    for (i, &size) in sizes.iter().enumerate() {
        let lumped = |bins: &[Beta]| {
            Beta::lumped(&(i..bins.len()).map(|j| (entering(j), bins[j])).collect::<Vec<_>>())
                .map(Beta::penetration)
        };
        let known = rough.at(size).unwrap();
        assert!((lumped(&least).unwrap() - known.working().unwrap().penetration()).abs() < 1e-12);
        assert!((lumped(&best).unwrap() - known.greatest().penetration()).abs() < 1e-12);
    }
    assert_eq!((least[3], best[3]), (beta(75.0), Beta::INFINITE));
    let exact = rating("4:3,6:20,14:1000");
    let sizes = [4.0, 6.0, 14.0].map(um);
    assert_eq!(exact.bins(&sizes, &dust).unwrap(), exact.bins_at_best(&sizes, &dust).unwrap());
    let train = Train::new(vec![Stage::of(
        Element::new(Kind::Cartridge, flow_of(60.0), Some(rating("4:>3"))).unwrap(),
    )]);
    let [least, best] = [Train::bins, Train::bins_at_best]
        .map(|bins| bins(train.as_ref().unwrap(), &[um(4.0)], &dust).unwrap()[0]);
    assert_eq!((Beta::of(least).unwrap().get().round(), best), (3.0, Efficiency::WHOLE));
}

#[test]
fn a_ratio_of_one_holds_back_nothing_and_an_interval_may_begin_there() {
    assert_eq!(Beta::new(1.0).unwrap(), Beta::ONE);
    assert_eq!(Beta::ONE.efficiency(), Efficiency::NONE);
    let (dust, sizes) = (Challenge::iso_medium_test_dust(), [um(4.0), um(6.0), um(14.0)]);
    let least = |text: &str| rating(text).bins_at_worst(&sizes, &dust).unwrap();
    let most = |text: &str| rating(text).bins_at_best(&sizes, &dust).unwrap();
    // at worst nothing between 4 and 6 um(c) is held back, at best as the same ratio everywhere
    assert_eq!(least("4:1..75,6:75,14:75"), [Beta::ONE, beta(75.0), beta(75.0)]);
    assert_eq!(most("4:1..75,6:75,14:75"), [beta(75.0); 3]);
    assert_eq!(least("5:200"), [Beta::ONE, beta(200.0), beta(200.0)]);
    assert_eq!(rating("4:1,6:75").bins(&sizes[..2], &dust).unwrap_err().code(), "betas-inconsistent");
    // between a ratio of 1 and another, the rule that is straight in ln (beta - 1) stays at 1
    let BetaAt::Between([_, _, odds_rule]) = rating("4:1,14:75").at(um(6.0)).unwrap() else { panic!() };
    assert_eq!(odds_rule, Beta::ONE);
}

#[test]
fn bad_input_is_named() {
    for value in [1.0_f64.next_down(), 0.5, 0.0, -3.0, f64::NAN, f64::NEG_INFINITY] {
        assert_eq!(Beta::new(value).unwrap_err().code(), "beta-below-one");
    }
    for value in [1.0, -0.1, f64::NAN] {
        assert_eq!(Share::new(value).unwrap_err().code(), "share-out-of-range");
    }
    for text in ["", "4-3", "4:", ":3", "4:3;6:20", "4:a", "4:3,", "4:2..", "4:..", "4:>"] {
        assert_eq!(text.parse::<Rating>().unwrap_err().code(), "beta-unreadable", "{text}");
    }
    assert_eq!("4:3,4:5".parse::<Rating>().unwrap_err().code(), "size-repeated");
    assert_eq!("0:3".parse::<Rating>().unwrap_err().code(), "size-not-positive");
    assert_eq!("4:0.9".parse::<Rating>().unwrap_err().code(), "beta-below-one");
    let old = Size::new(5.0, SizeScale::Acftd).unwrap();
    let mixed = Rating::new(vec![(um(4.0), beta(3.0)), (old, beta(20.0))]);
    assert_eq!(mixed.unwrap_err().code(), "scales-mixed");
    assert_eq!(rating("4:3").at(old).unwrap_err().code(), "scales-mixed");
    assert_eq!(Challenge::iso_medium_test_dust().per_ml(old).unwrap_err().code(), "scales-mixed");
    assert_eq!(rating("4:3").derated(0.5).unwrap_err().code(), "factor-out-of-range");
}

/// Rising sizes with ratios that never fall.
fn rising() -> impl Strategy<Value = Vec<(f64, f64)>> {
    prop::collection::vec((0.5..10.0_f64, 1.05..4.0_f64), 2..6).prop_map(|steps| {
        let mut at = (1.0, 1.0);
        let grow = |(wider, larger): (f64, f64)| {
            at = (at.0 + wider, (at.1 * larger).min(990.0));
            at
        };
        steps.into_iter().map(grow).collect()
    })
}

/// Their product is 100 000 at most: beyond it the efficiency has too few digits left below 1.
fn ratios_of_stages() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(1.01..900.0_f64, 1..5).prop_map(|ratios| {
        let lower = (1e5_f64.ln() / ratios.iter().map(|ratio| ratio.ln()).sum::<f64>()).min(1.0);
        ratios.into_iter().map(|ratio| ratio.powf(lower)).collect()
    })
}

proptest! {
    #![proptest_config(cases(64))]

    #[test]
    fn interpolations_stay_between_the_rated_ratios(rated in rising(), where_to in 0.0..1.0_f64) {
        let filter = Rating::new(rated.iter().map(|&(x, b)| (um(x), beta(b))).collect()).unwrap();
        for pair in rated.windows(2) {
            let size = pair[0].0 + where_to * (pair[1].0 - pair[0].0);
            let found = filter.at(um(size)).unwrap();
            let working = found.working().unwrap().get();
            prop_assert!(working >= pair[0].1 * (1.0 - 1e-12) && working <= pair[1].1 * (1.0 + 1e-12));
            prop_assert!(found.efficiency().contains(&beta(working).efficiency()));
        }
    }

    #[test]
    fn a_size_for_a_ratio_has_that_ratio(rated in rising(), where_to in 0.01..0.99_f64) {
        let filter = Rating::new(rated.iter().map(|&(x, b)| (um(x), beta(b))).collect()).unwrap();
        let (first, last) = (rated[0].1, rated[rated.len() - 1].1);
        let sought = first + where_to * (last - first);
        prop_assume!(sought > first);
        for (i, size) in filter.size_for(beta(sought)).unwrap().into_iter().enumerate() {
            let found = match filter.at(size).unwrap() {
                BetaAt::Between(found) => found[i].get(),
                other => other.working().unwrap().get(),
            };
            prop_assert!((found / sought - 1.0).abs() < 1e-9, "{} for {}", found, sought);
        }
    }

    #[test]
    fn bins_lumped_again_are_the_rating(rated in rising()) {
        let sizes: Vec<Size> = rated.iter().map(|&(x, _)| um(x)).collect();
        let filter = Rating::new(rated.iter().map(|&(x, b)| (um(x), beta(b))).collect()).unwrap();
        let counts: Vec<_> = rated.iter().map(|&(x, _)| (x, 1e6 * x.powf(-3.0))).collect();
        let spectrum = Spectrum::from_per_ml(&counts).unwrap();
        let Ok(bins) = filter.bins(&sizes, &Challenge::of(&spectrum).unwrap()) else { return Ok(()) };
        let entering: Vec<_> = spectrum.bins().iter().map(|bin| bin.per_ml).zip(bins).collect();
        for (i, &(_, ratio)) in rated.iter().enumerate() {
            let lumped = Beta::lumped(&entering[i..]).unwrap().get();
            prop_assert!((lumped / ratio - 1.0).abs() < 1e-9, "{} for {}", lumped, ratio);
        }
    }

    #[test]
    fn a_rating_reads_back(rated in rising()) {
        let rounded = rated.iter().map(|&(x, b)| (um((x * 8.0).round() / 8.0), beta((b * 8.0).ceil() / 8.0 + 0.125)));
        let Ok(filter) = Rating::new(rounded.collect()) else { return Ok(()) };
        let back = rating(&filter.to_string());
        for (a, b) in filter.rated().iter().zip(back.rated()) {
            prop_assert_eq!(a.size, b.size);
            prop_assert!((a.beta.low.get() / b.beta.low.get() - 1.0).abs() < 1e-3); // printed to four digits
        }
    }

    #[test]
    fn derating_and_leaking_only_take_away(ratio in 1.001..1e6_f64, divisor in 1.0..10.0_f64, bypass in 0.0..0.9_f64) {
        let filter = Rating::new(vec![(um(4.0), beta(ratio))]).unwrap();
        let before = filter.working(um(4.0)).unwrap();
        prop_assert!(filter.derated(divisor).unwrap().working(um(4.0)).unwrap() <= before);
        let leaking = beta(ratio).leaking(share(bypass)).get();
        prop_assert!(leaking <= ratio * (1.0 + 1e-12));
        prop_assert!(share(bypass).ceiling().is_none_or(|ceiling| leaking < ceiling.get()));
        let seen = beta(ratio).efficiency().bypassed(share(bypass)).get();
        prop_assert!((seen - (1.0 - 1.0 / leaking)).abs() < 1e-12);
    }

    #[test]
    fn the_bins_of_a_train_lie_within_its_bounds(
        first in rising(), gains in prop::collection::vec(1.0..5.0_f64, 6), leak in 0.0..0.2_f64,
    ) {
        let sizes: Vec<Size> = first.iter().map(|&(x, _)| um(x)).collect();
        let rated = |gain: &dyn Fn(usize) -> f64| {
            let pairs = first.iter().enumerate().map(|(i, &(x, b))| (um(x), beta((b * gain(i)).min(999.0))));
            let rating = Rating::new(pairs.collect()).unwrap();
            Stage::of(Element::new(Kind::Cartridge, flow_of(60.0), Some(rating)).unwrap())
        };
        let mut grown = 1.0;
        let gains: Vec<f64> = gains.iter().map(|gain| { grown *= gain; grown }).collect();
        let train = Train::new(vec![rated(&|_| 1.0).leaking(share(leak)), rated(&|i| gains[i])]).unwrap();
        let counts: Vec<_> = first.iter().map(|&(x, _)| (x, 1e6 * x.powf(-3.0))).collect();
        let spectrum = Spectrum::from_per_ml(&counts).unwrap();
        let Ok(bins) = train.bins(&sizes, &Challenge::of(&spectrum).unwrap()) else { return Ok(()) };
        // the bounds need both stages to find the same bins hard to catch
        prop_assume!(bins.windows(2).all(|pair| pair[0] <= pair[1]));
        let entering: Vec<f64> = spectrum.bins().iter().map(|bin| bin.per_ml.get()).collect();
        for i in 0..sizes.len() {
            let caught: f64 = entering[i..].iter().zip(&bins[i..]).map(|(n, e)| n * e.get()).sum();
            let seen = caught / entering[i..].iter().sum::<f64>();
            let bounds = train.lumped(sizes[i]).unwrap();
            prop_assert!(bounds.low.get() <= seen + 1e-9 && seen <= bounds.high.get() + 1e-9, "{:?} {}", bounds, seen);
        }
    }

    #[test]
    fn more_stages_never_catch_less(ratios in ratios_of_stages(), leak in 0.0..0.5_f64) {
        let whole = ratio(&series(&ratios));
        let product: f64 = ratios.iter().product();
        prop_assert!((whole.penetration() * product - 1.0).abs() < 1e-9);
        let mut stages = series(&ratios).stages().to_vec();
        stages.push(Stage::of(empty_housing()));
        prop_assert_eq!(ratio(&Train::new(stages.clone()).unwrap()), whole); // an empty housing changes nothing
        stages[0] = stages[0].clone().leaking(share(leak));
        prop_assert!(ratio(&Train::new(stages).unwrap()) <= whole);
    }

    #[test]
    fn equal_elements_side_by_side_are_one(ratio_each in 1.01..900.0_f64, flows in prop::collection::vec(0.1..90.0_f64, 1..5)) {
        let branches = flows.iter().map(|&flow| Branch { flow: flow_of(flow), element: filtering(ratio_each) });
        let train = Train::new(vec![Stage::parallel(branches.collect()).unwrap()]).unwrap();
        prop_assert!((ratio(&train).get() / ratio_each - 1.0).abs() < 1e-9);
    }
}
