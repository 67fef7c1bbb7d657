//! Tanks against their worked values, a slow integration, and what must hold of any tank.

use proptest::prelude::*;
use serde::Deserialize;
use serde_json::Value;
use siltcode::certainty::Level;
use siltcode::filter::{Beta, Challenge, Rating, Share};
use siltcode::tank::mixing::displaced;
use siltcode::tank::{
    BinState, Channel, DeadZone, Doubt, Ensemble, Forecast, Left, Mixing, Plant, Sources, Start, Target,
    Turnovers, turnovers_like_one_pass,
};
use siltcode::units::{Duration, Flow, Volume};
use siltcode::{PerMl, Size, Spectrum};
use siltcode_tests::golden;

#[derive(Deserialize)]
struct Row {
    id: String,
    inputs: String,
    expected: String,
    tolerance: String,
}

/// A worked example: its inputs, its answers, and how closely they must be met.
struct Example {
    id: String,
    inputs: Value,
    expected: Value,
    tolerance: f64,
}

fn example(file: &str, id: &str) -> Example {
    let row = golden::<Row>(file).into_iter().find(|row| row.id == id).unwrap();
    let tolerance = row.tolerance.strip_prefix("rel ").map_or(1e-15, |text| text.parse().unwrap());
    let json = |text: &str| serde_json::from_str(text).unwrap();
    Example { id: row.id, inputs: json(&row.inputs), expected: json(&row.expected), tolerance }
}

impl Example {
    fn input(&self, name: &str) -> f64 {
        self.inputs[name].as_f64().unwrap()
    }

    fn list(&self, name: &str) -> Vec<f64> {
        self.inputs[name].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    }

    fn meets(&self, pointer: &str, found: f64) {
        let expected = self.expected.pointer(pointer).and_then(Value::as_f64);
        let expected = expected.unwrap_or_else(|| panic!("{} {pointer}", self.id));
        // printed to thirteen digits, which is coarser than the tightest tolerance
        let allowed = (self.tolerance + 5e-13) * expected.abs();
        assert!((found - expected).abs() <= allowed, "{} {pointer}: {found} for {expected}", self.id);
    }
}

fn beta(value: f64) -> Beta {
    Beta::new(value).unwrap()
}

fn share(value: f64) -> Share {
    Share::new(value).unwrap()
}

fn turnovers(value: f64) -> Turnovers {
    Turnovers::new(value).unwrap()
}

fn per_ml(value: f64) -> PerMl {
    PerMl::new(value).unwrap()
}

fn one_bin(start: f64, entering: f64, ratio: f64, target: f64) -> Channel {
    Channel::new(
        vec![BinState::new(per_ml(start), per_ml(entering), beta(ratio).efficiency())],
        per_ml(target),
    )
}

fn cells(count: u16) -> Mixing {
    Mixing::Cells(count.try_into().unwrap())
}

fn left(mixing: Mixing, ratio: f64, after: f64) -> Left {
    mixing.left(beta(ratio).efficiency(), turnovers(after))
}

#[test]
fn bins_decay_apart() {
    let b12 = example("beta", "B12");
    let (starts, ratios) = (b12.list("upstream_bins"), b12.list("beta_bins"));
    for after in b12.list("turnovers") {
        for from in 0..starts.len() {
            let states = (from..starts.len())
                .map(|i| BinState::new(per_ml(starts[i]), PerMl::ZERO, beta(ratios[i]).efficiency()));
            let channel = Channel::new(states.collect(), PerMl::ZERO);
            b12.meets(&format!("/{after}/cum/{from}"), channel.after(turnovers(after)));
        }
    }
}

#[test]
fn published_turnovers() {
    let t01 = example("tank", "T01");
    let left = 1.0 - t01.input("fraction_removed");
    let perfect = one_bin(1.0, 0.0, f64::INFINITY, left);
    t01.meets("/turnovers", perfect.turnovers().unwrap().get());
    let t02 = example("tank", "T02");
    for (i, changes) in t02.list("ACH").into_iter().enumerate() {
        for (j, removal) in t02.list("removal").into_iter().enumerate() {
            let needed = one_bin(1.0, 0.0, f64::INFINITY, 1.0 - removal).turnovers().unwrap().get();
            let minutes = 60.0 * needed / changes;
            t02.meets(&format!("/minutes/{i}/{j}"), minutes);
            let printed = t02.expected["printed"][i][j].as_f64().unwrap();
            assert!((minutes - printed).abs() < 1.0);
        }
    }
    let t03 = example("tank", "T03");
    for (i, after) in t03.list("turnovers").into_iter().enumerate() {
        t03.meets(&format!("/fraction_treated/{i}"), 1.0 - perfect.after(turnovers(after)));
    }
    example("tank", "T04").meets("/exchange", 1.0 - perfect.after(turnovers(3.0)));
    example("tank", "T05").meets("/new_fraction", 1.0 - perfect.after(turnovers(0.5)));
    let t06 = example("tank", "T06");
    let flow = Flow::from_us_gpm(t06.input("flow_gpm")).unwrap();
    let plant = Plant::new(Volume::from_us_gallons(t06.input("volume_gal")).unwrap(), flow).unwrap();
    t06.meets("/minutes", plant.time(turnovers(t06.input("multiple"))).unwrap().minutes());
    let t07 = example("tank", "T07");
    for (i, ratio) in t07.list("beta").into_iter().enumerate() {
        t07.meets(
            &format!("/turnovers_equal_to_one_true_pass/{i}"),
            turnovers_like_one_pass(beta(ratio)).get(),
        );
    }
    let exact = t07.expected["beta_for_which_7_is_exact"].as_f64().unwrap();
    assert!((turnovers_like_one_pass(beta(exact)).get() - 7.0).abs() < 1e-10);
    let t08 = example("tank", "T08");
    for (i, ratio) in t08.list("beta").into_iter().enumerate() {
        let needed = one_bin(2.0, 0.0, ratio, 1.0).turnovers().unwrap();
        t08.meets(&format!("/turnovers_per_ISO_code/{i}"), needed.get());
    }
}

#[test]
fn ingress_floors_and_what_is_out_of_reach() {
    let t09 = example("tank", "T09");
    let entering = |row: &Example| row.input("ingress_per_mL_min") * row.input("V_L") / row.input("Q_L_min");
    let (start, ratio, target) = (t09.input("n0"), t09.input("beta"), t09.input("n_target"));
    let tank = one_bin(start, entering(&t09), ratio, target);
    t09.meets("/n_inf", tank.floor());
    t09.meets("/turnovers", tank.turnovers().unwrap().get());
    t09.meets("/n_at_3_turnovers", tank.after(turnovers(3.0)));
    t09.meets("/turnovers_no_ingress", one_bin(start, 0.0, ratio, target).turnovers().unwrap().get());
    let t10 = example("tank", "T10");
    let tank = one_bin(start, entering(&t10), t10.input("beta"), t10.input("n_target"));
    t10.meets("/n_inf", tank.floor());
    assert_eq!(tank.turnovers(), None);
    let t11 = example("tank", "T11");
    for (i, ratio) in t11.list("beta").into_iter().enumerate() {
        t11.meets(&format!("/n_upstream/{i}"), one_bin(0.0, 100.0, ratio, 1.0).floor());
    }
}

#[test]
fn flow_that_misses_the_filter_or_the_tank() {
    let t12 = example("tank", "T12");
    let (short, bypass) = (share(t12.input("short_circuit_s")), share(t12.input("bypass_b")));
    for (i, ratio) in t12.list("beta").into_iter().enumerate() {
        let whole = beta(ratio).efficiency();
        t12.meets(&format!("/E_short/{i}"), whole.short_circuited(short).get());
        t12.meets(&format!("/E_bypass/{i}"), whole.bypassed(bypass).get());
        t12.meets(&format!("/E_both/{i}"), whole.bypassed(bypass).short_circuited(short).get());
    }
    let t13 = example("tank", "T13");
    let dead = share(1.0 - t13.input("active_fraction"));
    let zone = Mixing::DeadZone(DeadZone::new(dead, share(t13.input("exchange_over_Q"))).unwrap());
    for after in t13.list("turnovers") {
        let found = left(zone, t13.input("beta"), after);
        t13.meets(&format!("/{after}/c1"), found.suction);
        t13.meets(&format!("/{after}/c2"), (found.mean - (1.0 - dead.get()) * found.suction) / dead.get());
        t13.meets(&format!("/{after}/mean"), found.mean);
        t13.meets(&format!("/{after}/well_mixed"), left(Mixing::Well, t13.input("beta"), after).mean);
    }
    let t14 = example("tank", "T14");
    for (i, after) in t14.list("turnovers").into_iter().enumerate() {
        let found = displaced(beta(t14.input("beta")), turnovers(after));
        t14.meets(&format!("/suction/{i}"), found.suction);
        t14.meets(&format!("/tank_mean/{i}"), found.mean);
    }
    let t15 = example("tank", "T15");
    for (i, count) in t15.list("cells").into_iter().enumerate() {
        let found =
            left(cells(format!("{count}").parse().unwrap()), t15.input("beta"), t15.input("turnovers"));
        t15.meets(&format!("/suction/{i}"), found.suction);
        t15.meets(&format!("/mean/{i}"), found.mean);
    }
    let limit = displaced(beta(t15.input("beta")), turnovers(t15.input("turnovers")));
    t15.meets("/plug_mean_limit", limit.mean);
    let t16 = example("tank", "T16");
    let bin = BinState::new(per_ml(t16.input("n0")), PerMl::ZERO, beta(t16.input("beta")).efficiency());
    let shedding = Channel::new(vec![bin.shedding(per_ml(t16.input("shed_per_mL")))], PerMl::ZERO);
    t16.meets("/n_inf", shedding.floor());
    for (i, after) in t16.list("turnovers").into_iter().enumerate() {
        t16.meets(&format!("/n/{i}"), shedding.after(turnovers(after)));
    }
    let t20 = example("tank", "T20");
    for (i, after) in t20.list("turnovers").into_iter().map(turnovers).enumerate() {
        t20.meets(&format!("/P_never_filtered/{i}"), after.passed_at_least(1).complement().get());
        t20.meets(&format!("/P_filtered_at_least_twice/{i}"), after.passed_at_least(2).get());
        t20.meets(&format!("/remaining/{i}"), left(Mixing::Well, t20.input("beta"), after.get()).mean);
    }
}

#[test]
fn the_slowest_channel_decides() {
    let t21 = example("tank", "T21");
    let plant = Plant::new(
        Volume::from_litres(t21.input("V_L")).unwrap(),
        Flow::from_l_per_min(t21.input("Q_L_min")).unwrap(),
    );
    let tank = plant.unwrap();
    let target = Target::of_code("18/16/13".parse().unwrap()).unwrap();
    for (i, (ratio, start)) in t21.list("beta").into_iter().zip(t21.list("n0")).enumerate() {
        let needed = one_bin(start, 0.0, ratio, target.limits()[i].1.get()).turnovers().unwrap();
        t21.meets(&format!("/turnovers_each/{i}"), needed.get());
        if i == 0 {
            t21.meets("/hours", tank.time(needed).unwrap().hours());
        }
    }
}

#[test]
fn quantiles_of_uncertain_inputs() {
    for id in ["U02", "U03", "U04"] {
        let row = example("ensemble", id);
        let tank = one_bin(row.input("n0"), 0.0, row.input("beta_median"), row.input("nT"));
        let doubt = Doubt::NONE
            .start(row.input("u_ln_n0").exp())
            .and_then(|doubt| doubt.beta(row.input("gsd_of_beta_minus_1")))
            .and_then(|doubt| doubt.mixing(row.input("mixing_median"), row.input("gsd_mixing")))
            .unwrap();
        let ensemble = Ensemble::new(&[tank], doubt);
        let quantile = |p: f64| ensemble.quantile(Level::new(p).unwrap()).unwrap().get();
        row.meets("/mean", ensemble.mean());
        row.meets("/q05", quantile(0.05));
        row.meets("/q50", quantile(0.5));
        row.meets("/q95", quantile(0.95));
        if id == "U02" {
            example("ensemble", "U05").meets("/q90", quantile(0.9));
            let causes = ensemble.causes().unwrap();
            let u06 = example("ensemble", "U06");
            u06.meets("/share/initial count", causes.start);
            u06.meets("/share/beta", causes.beta);
            u06.meets("/share/mixing", causes.mixing);
        }
    }
}

/// The balance of bins in steps of Runge and Kutta: slow, and sharing nothing with the closed form.
fn integrated(bins: &[(f64, f64, f64)], tau: f64) -> f64 {
    const STEPS: u32 = 4000;
    let step = tau / f64::from(STEPS);
    let integrate = |&(start, entering, efficiency): &(f64, f64, f64)| {
        let slope = |n: f64| entering - efficiency * n;
        (0..STEPS).fold(start, |n, _| {
            let a = slope(n);
            let b = slope(n + step / 2.0 * a);
            let c = slope(n + step / 2.0 * b);
            n + step / 6.0 * (a + 2.0 * b + 2.0 * c + slope(n + step * c))
        })
    };
    bins.iter().map(integrate).sum()
}

fn plant(flow: f64) -> Plant {
    Plant::new(Volume::from_m3(18.0).unwrap(), Flow::from_l_per_min(flow).unwrap()).unwrap()
}

fn hourly(per_hour: f64) -> Sources {
    Sources::NONE.ingress_per_hour(&Spectrum::from_per_ml(&[(4.0, per_hour)]).unwrap()).unwrap()
}

/// From 22/20/17 to 18/16/13 with one ratio in every bin.
fn planned(flow: f64, ratio: f64, ingress: f64) -> Forecast {
    let start = Start::of_code("22/20/17".parse().unwrap()).unwrap();
    let target = Target::of_code("18/16/13".parse().unwrap()).unwrap();
    let ratios = |sizes: &[Size]| Ok(vec![beta(ratio).efficiency(); sizes.len()]);
    Forecast::new(&start, &target, ratios, &hourly(ingress), &plant(flow)).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn closed_form_matches_integration(
        bins in prop::collection::vec((0.0..1e5_f64, 0.0..1e3_f64, 0.05..0.99_f64), 1..5),
        tau in 0.0..12.0_f64,
    ) {
        let states = bins.iter().map(|&(start, entering, efficiency)| {
            BinState::new(per_ml(start), per_ml(entering), beta(1.0 / (1.0 - efficiency)).efficiency())
        });
        let found = Channel::new(states.collect(), PerMl::ZERO).after(turnovers(tau));
        let slow = integrated(&bins, tau);
        prop_assert!((found - slow).abs() <= 1e-9 * slow.max(1.0), "{} {}", found, slow);
    }

    #[test]
    fn more_flow_more_beta_and_less_ingress_never_take_longer(
        flow in 20.0..200.0_f64, ratio in 1.5..500.0_f64, ingress in 0.0..50.0_f64, more in 1.01..3.0_f64,
    ) {
        let time = |flow: f64, ratio: f64, ingress: f64| {
            planned(flow, ratio, ingress).turnovers().map_or(f64::INFINITY, |needed| needed.get() / flow)
        };
        let base = time(flow, ratio, ingress) * (1.0 + 1e-9);
        prop_assert!(time(flow * more, ratio, ingress) <= base);
        prop_assert!(time(flow, ratio * more, ingress) <= base);
        prop_assert!(time(flow, ratio, ingress / more) <= base);
    }

    #[test]
    fn the_target_is_met_when_said_and_not_before(ratio in 1.5..500.0_f64, ingress in 0.0..100.0_f64) {
        for channel in planned(60.0, ratio, ingress).channels {
            let Some(needed) = channel.turnovers else { continue };
            prop_assert!(channel.channel.after(needed) <= channel.target.get() * (1.0 + 1e-9));
            let before = turnovers(needed.get() * 0.999);
            prop_assert!(channel.channel.after(before) > channel.target.get() * (1.0 - 1e-9));
        }
    }

    #[test]
    fn one_cell_and_no_dead_zone_are_well_mixed(ratio in 1.1..1000.0_f64, tau in 0.0..10.0_f64) {
        let mixed = one_bin(1.0, 0.0, ratio, 0.0).after(turnovers(tau));
        let zone = Mixing::DeadZone(DeadZone::new(Share::NONE, share(0.1)).unwrap());
        for mixing in [cells(1), zone] {
            let found = left(mixing, ratio, tau);
            prop_assert!((found.suction / mixed - 1.0).abs() < 1e-10 && (found.mean / mixed - 1.0).abs() < 1e-10);
        }
    }
}

#[test]
fn what_would_make_it_reachable_does() {
    let stuck = planned(60.0, 5.0, 500.0);
    let deciding = stuck.deciding();
    let remedy = deciding.remedy.unwrap();
    assert_eq!(deciding.turnovers, None);
    assert!(planned(remedy.flow.unwrap().l_per_min() * 1.001, 5.0, 500.0).turnovers().is_some());
    assert!(planned(remedy.flow.unwrap().l_per_min() * 0.999, 5.0, 500.0).turnovers().is_none());
    assert!(planned(60.0, 5.0, 500.0 * remedy.ingress_share.unwrap() * 0.999).turnovers().is_some());
    assert_eq!(remedy.beta, None); // 2500 /mL come in a turnover, against a target of 2500
}

#[test]
fn bad_requests_are_named() {
    let still = Plant::new(Volume::from_m3(18.0).unwrap(), Flow::from_l_per_min(0.0).unwrap());
    assert_eq!(still.unwrap_err().code(), "no-flow");
    assert_eq!(Doubt::NONE.beta(0.5).unwrap_err().code(), "factor-out-of-range");
    assert_eq!(DeadZone::new(share(0.1), Share::NONE).unwrap_err().code(), "dead-zone-cut-off");
    assert!((plant(60.0).turnovers(Duration::from_hours(10.0).unwrap()).unwrap().get() - 2.0).abs() < 1e-12);
    for (code, refused) in [(">28/20/17", "start-unbounded"), ("*/20/17", "start-unbounded")] {
        assert_eq!(Start::of_code(code.parse().unwrap()).unwrap_err().code(), refused, "{code}");
    }
    let start = Start::of_code("22/20/17".parse().unwrap()).unwrap();
    let target = Target::of_code("18/16/13".parse().unwrap()).unwrap();
    assert_eq!(target.clone().with_margin(0.9).unwrap_err().code(), "factor-out-of-range");
    let none = Target::of_spec(&siltcode::Spec::from_toml("water = \"200 mg/kg\"").unwrap());
    assert_eq!(none.unwrap_err().code(), "target-without-particles");
    let forecast = |target: &Target, rating: &str, sources: &Sources| {
        let rating: Rating = rating.parse().unwrap();
        let dust = Challenge::iso_medium_test_dust();
        let ratios =
            |sizes: &[Size]| Ok(rating.bins(sizes, &dust)?.into_iter().map(Beta::efficiency).collect());
        Forecast::new(&start, target, ratios, sources, &plant(60.0))
    };
    let counted = |um| Spectrum::from_per_ml(&[(um, 1.0)]).unwrap();
    let (other, stray) =
        (Target::of_counts(&counted(21.0)).unwrap(), Sources::NONE.ingress_per_hour(&counted(5.0)).unwrap());
    let refused =
        |target: &Target, rating: &str, sources: &Sources| forecast(target, rating, sources).unwrap_err();
    let error = refused(&other, "4:3,6:20,14:1000", &Sources::NONE);
    assert_eq!(error.code(), "start-missing");
    assert!(error.hint().contains("4 um(c), 6 um(c), 14 um(c)"), "{}", error.hint());
    assert_eq!(refused(&target, "4:3,6:20,14:1000", &stray).code(), "start-missing");
    assert_eq!(refused(&target, "6:20,14:1000", &Sources::NONE).code(), "beta-not-rated");
    let short = Forecast::new(&start, &target, |_| Ok(Vec::new()), &Sources::NONE, &plant(60.0));
    assert_eq!(short.unwrap_err().code(), "lengths-differ");
}
