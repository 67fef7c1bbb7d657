//! Tanks against their worked values, a slow integration, and what must hold of any tank.

use proptest::prelude::*;
use serde::Deserialize;
use serde_json::Value;
use siltcode::certainty::Level;
use siltcode::filter::{Beta, Challenge, Rating, Share};
use siltcode::tank::bulk::{self, Columns};
use siltcode::tank::mixing::displaced;
use siltcode::tank::{
    BinState, Channel, DeadZone, Decline, Doubt, Ensemble, Forecast, Left, Mixing, Plant, Reynolds, Sources,
    Start, Target, Turnovers, turnovers_like_one_pass,
};
use siltcode::units::{Duration, Flow, KinematicViscosity, Length, Volume};
use siltcode::{PerMl, Size, Spectrum};
use siltcode_tests::{beta, cells, golden, per_ml, share, turnovers};

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

fn one_bin(start: f64, entering: f64, ratio: f64, target: f64) -> Channel {
    Channel::new(
        vec![BinState::new(per_ml(start), per_ml(entering), beta(ratio).efficiency())],
        per_ml(target),
    )
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
    t06.meets("/minutes_two_pass", 2.0 * plant.time(turnovers(t06.input("multiple"))).unwrap().minutes());
    let seen = turnovers(t06.input("multiple")).passed_at_least(1).get();
    t06.meets("/fraction_seen_by_filter", seen);
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
        t08.meets(&format!("/codes_per_turnover/{i}"), 1.0 / needed.get());
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
    let (volume, flow) = (t09.input("V_L"), t09.input("Q_L_min"));
    let plant =
        Plant::new(Volume::from_litres(volume).unwrap(), Flow::from_l_per_min(flow).unwrap()).unwrap();
    t09.meets("/hours", plant.time(tank.turnovers().unwrap()).unwrap().hours());
    t09.meets("/n_at_3_turnovers", tank.after(turnovers(3.0)));
    t09.meets("/turnovers_no_ingress", one_bin(start, 0.0, ratio, target).turnovers().unwrap().get());
    let t10 = example("tank", "T10");
    let tank = one_bin(start, entering(&t10), t10.input("beta"), t10.input("n_target"));
    t10.meets("/n_inf", tank.floor());
    assert_eq!(tank.turnovers(), None);
    let t11 = example("tank", "T11");
    for (i, ratio) in t11.list("beta").into_iter().enumerate() {
        let upstream = one_bin(0.0, 100.0, ratio, 1.0).floor();
        t11.meets(&format!("/n_upstream/{i}"), upstream);
        t11.meets(&format!("/n_downstream/{i}"), upstream * beta(ratio).penetration());
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
fn a_line_flushed_and_a_tank_transferred() {
    let t18 = example("tank", "T18");
    let (flow, bore) =
        (Flow::from_us_gpm(t18.input("Q_gpm")).unwrap(), Length::from_inches(t18.input("d_in")).unwrap());
    let viscosity = KinematicViscosity::from_mm2_per_s(t18.input("nu_cSt")).unwrap();
    let number = Reynolds::in_pipe(flow, bore, viscosity);
    t18.meets("/Re", number.get());
    assert_eq!(t18.expected["turbulent_flush_ok_ge_4000"], number.flushes());
    assert!(!Reynolds::in_pipe(Flow::from_us_gpm(12.6).unwrap(), bore, viscosity).flushes());
    let t19 = example("tank", "T19");
    let ratio = t19.input("beta");
    for (i, transfers) in [1, 2, 3].into_iter().enumerate() {
        let left = t19.expected["remaining_fraction"][i].as_f64().unwrap();
        let tank = one_bin(1.0, 0.0, ratio, left);
        t19.meets(&format!("/remaining_fraction/{i}"), tank.transferred(transfers));
        assert_eq!(tank.transfers(), Some(transfers));
        let same = f64::from(transfers) * turnovers_like_one_pass(beta(ratio)).get();
        t19.meets(&format!("/well_mixed_turnovers_for_same/{i}"), same);
        t19.meets(&format!("/well_mixed_turnovers_for_same/{i}"), tank.turnovers().unwrap().get());
    }
    let shedding =
        |shed: f64| BinState::new(per_ml(100.0), PerMl::ZERO, beta(10.0).efficiency()).shedding(per_ml(shed));
    assert_eq!(Channel::new(vec![shedding(2.0)], per_ml(2.0)).transfers(), None); // goes to 2 / 0.9
    assert_eq!(Channel::new(vec![shedding(1.0)], per_ml(2.0)).transfers(), Some(3)); // 11, 2.1, 1.21
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
fn slopes_of_the_turnovers() {
    let u01 = example("ensemble", "U01");
    let tank = one_bin(u01.input("n0"), 0.0, u01.input("beta"), u01.input("nT"));
    u01.meets("/N", tank.turnovers().unwrap().get());
    let slopes = tank.slopes().unwrap();
    let by_beta = slopes.beta * u01.input("beta") / (u01.input("beta") - 1.0);
    u01.meets("/dN_dlnn0", slopes.start);
    u01.meets("/dN_dlnbeta", by_beta);
    u01.meets("/u_N", (slopes.start * u01.input("u_ln_n0")).hypot(by_beta * u01.input("gsd_beta").ln()));
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
        let ensemble = Ensemble::new(std::slice::from_ref(&tank), doubt);
        // the quick answer: slopes at the best estimate
        let slopes = tank.slopes().unwrap();
        let causes = [
            slopes.start * row.input("u_ln_n0"),
            slopes.beta * row.input("gsd_of_beta_minus_1").ln(),
            slopes.mixing * row.input("gsd_mixing").ln(),
        ];
        let (nominal, z) = (slopes.mixing * row.input("mixing_median"), 1.644_853_626_951_472_2);
        let relative = causes.iter().map(|part| part * part).sum::<f64>().sqrt() / slopes.mixing;
        row.meets("/delta_lognormal_q95", nominal * (z * relative).exp());
        row.meets("/delta_normal_q95", nominal * (1.0 + z * relative));
        let quantile = |p: f64| ensemble.quantile(Level::new(p).unwrap()).unwrap().get();
        row.meets("/mean", ensemble.mean());
        row.meets("/q05", quantile(0.05));
        row.meets("/q50", quantile(0.5));
        row.meets("/q95", quantile(0.95));
        if id == "U02" {
            example("ensemble", "U05").meets("/q90", quantile(0.9));
            let causes = ensemble.causes().unwrap();
            assert_eq!(
                causes.to_string(),
                "mixing is 90 % of the doubt: take a second sample at another point of the tank"
            );
            let u06 = example("ensemble", "U06");
            u06.meets("/share/initial count", causes.start);
            u06.meets("/share/beta", causes.beta);
            u06.meets("/share/mixing", causes.mixing);
        }
    }
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
    fn the_inverse_questions_undo_the_forecast(ratio in 1.5..500.0_f64, ingress in 0.0..20.0_f64) {
        let forecast = planned(60.0, ratio, ingress);
        let Some(needed) = forecast.turnovers() else { return Ok(()) };
        let time = forecast.time().unwrap().unwrap();
        let flow = forecast.flow_for(time).unwrap().unwrap();
        prop_assert!((flow.l_per_min() / 60.0 - 1.0).abs() < 1e-9, "{flow}");
        let deciding = forecast.deciding().size;
        let found = forecast.beta_for(needed).into_iter().find(|(size, _)| *size == deciding).unwrap();
        prop_assert!((found.1.unwrap().get() / ratio - 1.0).abs() < 1e-7, "{:?}", found);
        let just_past = turnovers(needed.get() * (1.0 + 1e-9));
        prop_assert!(forecast.code_after(just_past).unwrap() <= "18/16/13".parse().unwrap());
        let short = forecast.code_after(turnovers(needed.get() * 0.99)).unwrap();
        let met: siltcode::Code = "18/16/13".parse().unwrap();
        prop_assert_ne!(short.partial_cmp(&met), Some(std::cmp::Ordering::Less));
        prop_assert_ne!(short, met);
    }

    #[test]
    fn a_flow_that_does_not_decline_is_constant(ratio in 1.5..500.0_f64, ingress in 0.0..20.0_f64, hours in 0.0..40.0_f64) {
        let forecast = planned(60.0, ratio, ingress);
        let same = Decline::new(&forecast.plant, forecast.plant.flow, Duration::from_hours(hours).unwrap()).unwrap();
        let (found, constant) = (forecast.time_declining(&same).unwrap(), forecast.time().unwrap());
        prop_assert_eq!(found.is_some(), constant.is_some());
        let Some((found, constant)) = found.zip(constant) else { return Ok(()) };
        prop_assert!((found.hours() / constant.hours() - 1.0).abs() < 1e-8, "{} {}", found, constant);
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
fn hours_of_a_declining_flow() {
    let forecast = planned(60.0, 75.0, 0.0);
    let needed = forecast.turnovers().unwrap().get(); // 2.81, each 5 h at 60 L/min
    let decline = |to: f64, hours: f64| {
        let to = Flow::from_l_per_min(to).unwrap();
        Decline::new(&forecast.plant, to, Duration::from_hours(hours).unwrap()).unwrap()
    };
    let hours =
        |forecast: &Forecast, decline: &Decline| forecast.time_declining(decline).unwrap().unwrap().hours();
    // half the flow from 4 h on, three quarters of it on the way
    assert!((hours(&forecast, &decline(30.0, 4.0)) - (4.0 + (needed - 0.6) * 10.0)).abs() < 1e-9);
    assert!((hours(&forecast, &decline(30.0, 0.0)) - needed * 10.0).abs() < 1e-9);
    // with ingress, against the balance in steps
    let fed = planned(60.0, 75.0, 40.0);
    let found = hours(&fed, &decline(30.0, 20.0));
    let (steps, efficiency) = (20_000, 1.0 - 1.0 / 75.0);
    let step = found / f64::from(steps);
    let flow = |t: f64| 0.2 * (1.0 - 0.5 * (t / 20.0).min(1.0)); // turnovers an hour
    let slope = |t: f64, n: f64| 40.0 - flow(t) * efficiency * n;
    let end = (0..steps).fold(40_000.0, |n, i| {
        let t = f64::from(i) * step;
        let a = slope(t, n);
        let b = slope(t + step / 2.0, n + step / 2.0 * a);
        let c = slope(t + step / 2.0, n + step / 2.0 * b);
        n + step / 6.0 * (a + 2.0 * b + 2.0 * c + slope(t + step, n + step * c))
    });
    assert!((end / 2500.0 - 1.0).abs() < 1e-9, "{end}");
    // the flow in the end would not hold the target
    let held = planned(60.0, 75.0, 400.0);
    assert!(held.turnovers().is_some() && held.time_declining(&decline(30.0, 20.0)).unwrap().is_none());
    assert_eq!(
        Decline::new(&plant(60.0), Flow::from_l_per_min(0.0).unwrap(), Duration::from_hours(1.0).unwrap())
            .unwrap_err()
            .code(),
        "no-flow"
    );
}

#[test]
fn many_scenarios_are_each_a_channel() {
    let draw = |i: u32, by: f64| (f64::from(i) * by).fract();
    let rows: Vec<[f64; 4]> = (0..3000)
        .map(|i| {
            let target = 10_f64.powf(1.0 + 2.0 * draw(i, 0.618));
            let start = target * 10_f64.powf(3.0 * draw(i, 0.414) - 0.2);
            let ratio = 1.0 + 10_f64.powf(4.0 * draw(i, 0.732) - 1.0);
            [start, target, ratio, if i % 3 == 0 { 0.0 } else { target * draw(i, 0.236) }]
        })
        .collect();
    let column = |at: usize| rows.iter().map(|row| row[at]).collect::<Vec<f64>>();
    let [start, target, ratio, ingress] = [0, 1, 2, 3].map(column);
    let columns = |from: usize, to: usize| Columns {
        start: &start[from..to],
        target: &target[from..to],
        beta: &ratio[from..to],
        ingress: &ingress[from..to],
    };
    let mut found = vec![f64::NAN; 1500];
    bulk::turnovers(&[columns(0, 1500), columns(1500, 3000)], &mut found).unwrap();
    let one = |row: &[f64; 4]| {
        one_bin(row[0], row[3], row[2], row[1]).turnovers().map_or(f64::INFINITY, Turnovers::get)
    };
    for (i, found) in found.into_iter().enumerate() {
        let expected = one(&rows[i]).max(one(&rows[i + 1500]));
        let same = found.to_bits() == expected.to_bits(); // 0 and infinity
        assert!(same || (found / expected - 1.0).abs() < 1e-12, "{i}: {found} for {expected}");
    }
    let bad = Columns {
        start: &[1.0; 4],
        target: &[0.5; 4],
        beta: &[1.0, f64::NAN, 75.0, f64::INFINITY],
        ingress: &[0.0, 0.0, -1.0, 0.0],
    };
    let mut found = [0.0; 4];
    bulk::turnovers(&[bad], &mut found).unwrap();
    assert!(found[..3].iter().all(|found| found.is_nan()), "{found:?}");
    assert!((found[3] - 2.0_f64.ln()).abs() < 1e-15);
    bulk::turnovers(&[bad, Columns { beta: &[75.0; 4], ingress: &[0.0; 4], ..bad }], &mut found).unwrap();
    assert!(found[..3].iter().all(|found| found.is_nan()), "{found:?}");
    assert_eq!(bulk::turnovers(&[bad], &mut [0.0; 3]).unwrap_err().code(), "lengths-differ");
}

#[test]
fn already_there_and_one_number_further() {
    let start = Start::of_code("15/13/10".parse().unwrap()).unwrap();
    let target = Target::of_code("18/16/13".parse().unwrap()).unwrap();
    let bins = |sizes: &[Size]| Ok(vec![beta(75.0).efficiency(); sizes.len()]);
    let there = Forecast::new(&start, &target, bins, &Sources::NONE, &plant(60.0)).unwrap();
    assert_eq!(there.turnovers(), Some(Turnovers::NONE));
    let no_flow = Flow::from_l_per_min(0.0).unwrap();
    assert_eq!(there.flow_for(Duration::from_hours(1.0).unwrap()).unwrap(), Some(no_flow));
    let further = planned(60.0, 75.0, 0.0).channels[0].turnovers_per_further_number().unwrap();
    let from_18_to_17 = (2500.0_f64 / 1300.0).ln() / (1.0 - 1.0 / 75.0); // the table's bounds are not quite doubled
    assert!((further.get() / from_18_to_17 - 1.0).abs() < 1e-12);
}

#[test]
fn a_filter_that_holds_nothing_back_changes_nothing() {
    let bin = BinState::new(per_ml(100.0), PerMl::ZERO, siltcode::filter::Efficiency::NONE);
    for mixing in [Mixing::Well, cells(3), Mixing::DeadZone(DeadZone::new(share(0.2), share(0.1)).unwrap())] {
        let channel = Channel::new(vec![bin], per_ml(10.0)).mixed(mixing);
        assert!((channel.after(turnovers(5.0)) - 100.0).abs() < 1e-9, "{mixing:?}");
        assert_eq!(channel.turnovers(), None);
        assert_eq!(channel.transfers(), None);
    }
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
