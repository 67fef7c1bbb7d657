//! Tanks against their worked values.

use siltcode::PerMl;
use siltcode::certainty::Level;
use siltcode::tank::mixing::displaced;
use siltcode::tank::{
    BinState, Channel, DeadZone, Doubt, Ensemble, Left, Mixing, MixingFactor, Plant, Reynolds, Target,
    turnovers_like_one_pass,
};
use siltcode::units::{Flow, KinematicViscosity, Length, Volume};
use siltcode_tests::{Example, beta, cells, one_bin, per_ml, share, turnovers};

fn left(mixing: Mixing, ratio: f64, after: f64) -> Left {
    mixing.left(beta(ratio).efficiency(), turnovers(after))
}

#[test]
fn bins_decay_apart() {
    let b12 = Example::one("beta", "B12");
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
    let t01 = Example::one("tank", "T01");
    let left = 1.0 - t01.number("fraction_removed");
    let perfect = one_bin(1.0, 0.0, f64::INFINITY, left);
    t01.meets("/turnovers", perfect.turnovers().unwrap().get());
    let t02 = Example::one("tank", "T02");
    for (i, changes) in t02.list("ACH").into_iter().enumerate() {
        for (j, removal) in t02.list("removal").into_iter().enumerate() {
            let needed = one_bin(1.0, 0.0, f64::INFINITY, 1.0 - removal).turnovers().unwrap().get();
            let minutes = 60.0 * needed / changes;
            t02.meets(&format!("/minutes/{i}/{j}"), minutes);
            let printed = t02.expected["printed"][i][j].as_f64().unwrap();
            assert!((minutes - printed).abs() < 1.0);
        }
    }
    let t03 = Example::one("tank", "T03");
    for (i, after) in t03.list("turnovers").into_iter().enumerate() {
        t03.meets(&format!("/fraction_treated/{i}"), 1.0 - perfect.after(turnovers(after)));
    }
    Example::one("tank", "T04").meets("/exchange", 1.0 - perfect.after(turnovers(3.0)));
    Example::one("tank", "T05").meets("/new_fraction", 1.0 - perfect.after(turnovers(0.5)));
    let t06 = Example::one("tank", "T06");
    let flow = Flow::from_us_gpm(t06.number("flow_gpm")).unwrap();
    let plant = Plant::new(Volume::from_us_gallons(t06.number("volume_gal")).unwrap(), flow).unwrap();
    t06.meets("/minutes", plant.time(turnovers(t06.number("multiple"))).unwrap().minutes());
    t06.meets("/minutes_two_pass", 2.0 * plant.time(turnovers(t06.number("multiple"))).unwrap().minutes());
    let seen = turnovers(t06.number("multiple")).passed_at_least(1).get();
    t06.meets("/fraction_seen_by_filter", seen);
    let t07 = Example::one("tank", "T07");
    for (i, ratio) in t07.list("beta").into_iter().enumerate() {
        t07.meets(
            &format!("/turnovers_equal_to_one_true_pass/{i}"),
            turnovers_like_one_pass(beta(ratio)).get(),
        );
    }
    let exact = t07.expected["beta_for_which_7_is_exact"].as_f64().unwrap();
    assert!((turnovers_like_one_pass(beta(exact)).get() - 7.0).abs() < 1e-10);
    let t08 = Example::one("tank", "T08");
    for (i, ratio) in t08.list("beta").into_iter().enumerate() {
        let needed = one_bin(2.0, 0.0, ratio, 1.0).turnovers().unwrap();
        t08.meets(&format!("/turnovers_per_ISO_code/{i}"), needed.get());
        t08.meets(&format!("/codes_per_turnover/{i}"), 1.0 / needed.get());
    }
}

#[test]
fn ingress_floors_and_what_is_out_of_reach() {
    let t09 = Example::one("tank", "T09");
    let entering =
        |row: &Example| row.number("ingress_per_mL_min") * row.number("V_L") / row.number("Q_L_min");
    let (start, ratio, target) = (t09.number("n0"), t09.number("beta"), t09.number("n_target"));
    let tank = one_bin(start, entering(&t09), ratio, target);
    t09.meets("/n_inf", tank.floor());
    t09.meets("/turnovers", tank.turnovers().unwrap().get());
    let (volume, flow) = (t09.number("V_L"), t09.number("Q_L_min"));
    let plant =
        Plant::new(Volume::from_litres(volume).unwrap(), Flow::from_l_per_min(flow).unwrap()).unwrap();
    t09.meets("/hours", plant.time(tank.turnovers().unwrap()).unwrap().hours());
    t09.meets("/n_at_3_turnovers", tank.after(turnovers(3.0)));
    t09.meets("/turnovers_no_ingress", one_bin(start, 0.0, ratio, target).turnovers().unwrap().get());
    let t10 = Example::one("tank", "T10");
    let tank = one_bin(start, entering(&t10), t10.number("beta"), t10.number("n_target"));
    t10.meets("/n_inf", tank.floor());
    assert_eq!(tank.turnovers(), None);
    let t11 = Example::one("tank", "T11");
    for (i, ratio) in t11.list("beta").into_iter().enumerate() {
        let upstream = one_bin(0.0, 100.0, ratio, 1.0).floor();
        t11.meets(&format!("/n_upstream/{i}"), upstream);
        t11.meets(&format!("/n_downstream/{i}"), upstream * beta(ratio).penetration());
    }
}

#[test]
fn flow_that_misses_the_filter_or_the_tank() {
    let t12 = Example::one("tank", "T12");
    let (short, bypass) = (share(t12.number("short_circuit_s")), share(t12.number("bypass_b")));
    for (i, ratio) in t12.list("beta").into_iter().enumerate() {
        let whole = beta(ratio).efficiency();
        t12.meets(&format!("/E_short/{i}"), whole.short_circuited(short).get());
        t12.meets(&format!("/E_bypass/{i}"), whole.bypassed(bypass).get());
        t12.meets(&format!("/E_both/{i}"), whole.bypassed(bypass).short_circuited(short).get());
    }
    let t13 = Example::one("tank", "T13");
    let dead = share(1.0 - t13.number("active_fraction"));
    let zone = Mixing::DeadZone(DeadZone::new(dead, share(t13.number("exchange_over_Q"))).unwrap());
    for after in t13.list("turnovers") {
        let found = left(zone, t13.number("beta"), after);
        t13.meets(&format!("/{after}/c1"), found.suction);
        t13.meets(&format!("/{after}/c2"), (found.mean - (1.0 - dead.get()) * found.suction) / dead.get());
        t13.meets(&format!("/{after}/mean"), found.mean);
        t13.meets(&format!("/{after}/well_mixed"), left(Mixing::Well, t13.number("beta"), after).mean);
    }
    let t14 = Example::one("tank", "T14");
    for (i, after) in t14.list("turnovers").into_iter().enumerate() {
        let found = displaced(beta(t14.number("beta")), turnovers(after));
        t14.meets(&format!("/suction/{i}"), found.suction);
        t14.meets(&format!("/tank_mean/{i}"), found.mean);
    }
    let t15 = Example::one("tank", "T15");
    for (i, count) in t15.list("cells").into_iter().enumerate() {
        let found =
            left(cells(format!("{count}").parse().unwrap()), t15.number("beta"), t15.number("turnovers"));
        t15.meets(&format!("/suction/{i}"), found.suction);
        t15.meets(&format!("/mean/{i}"), found.mean);
    }
    let limit = displaced(beta(t15.number("beta")), turnovers(t15.number("turnovers")));
    t15.meets("/plug_mean_limit", limit.mean);
    let t16 = Example::one("tank", "T16");
    let bin = BinState::new(per_ml(t16.number("n0")), PerMl::ZERO, beta(t16.number("beta")).efficiency());
    let shedding = Channel::new(vec![bin.shedding(per_ml(t16.number("shed_per_mL")))], PerMl::ZERO);
    t16.meets("/n_inf", shedding.floor());
    for (i, after) in t16.list("turnovers").into_iter().enumerate() {
        t16.meets(&format!("/n/{i}"), shedding.after(turnovers(after)));
    }
    let t20 = Example::one("tank", "T20");
    for (i, after) in t20.list("turnovers").into_iter().map(turnovers).enumerate() {
        t20.meets(&format!("/P_never_filtered/{i}"), after.passed_at_least(1).complement().get());
        t20.meets(&format!("/P_filtered_at_least_twice/{i}"), after.passed_at_least(2).get());
        t20.meets(&format!("/remaining/{i}"), left(Mixing::Well, t20.number("beta"), after.get()).mean);
    }
}

#[test]
fn a_line_flushed_and_a_tank_transferred() {
    let t18 = Example::one("tank", "T18");
    let (flow, bore) =
        (Flow::from_us_gpm(t18.number("Q_gpm")).unwrap(), Length::from_inches(t18.number("d_in")).unwrap());
    let viscosity = KinematicViscosity::from_mm2_per_s(t18.number("nu_cSt")).unwrap();
    let number = Reynolds::in_pipe(flow, bore, viscosity);
    t18.meets("/Re", number.get());
    assert_eq!(t18.expected["turbulent_flush_ok_ge_4000"], number.flushes());
    assert!(!Reynolds::in_pipe(Flow::from_us_gpm(12.6).unwrap(), bore, viscosity).flushes());
    let t19 = Example::one("tank", "T19");
    let ratio = t19.number("beta");
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
    let t21 = Example::one("tank", "T21");
    let plant = Plant::new(
        Volume::from_litres(t21.number("V_L")).unwrap(),
        Flow::from_l_per_min(t21.number("Q_L_min")).unwrap(),
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
    let u01 = Example::one("ensemble", "U01");
    let tank = one_bin(u01.number("n0"), 0.0, u01.number("beta"), u01.number("nT"));
    u01.meets("/N", tank.turnovers().unwrap().get());
    let slopes = tank.slopes().unwrap();
    let by_beta = slopes.beta * u01.number("beta") / (u01.number("beta") - 1.0);
    u01.meets("/dN_dlnn0", slopes.start);
    u01.meets("/dN_dlnbeta", by_beta);
    u01.meets("/u_N", (slopes.start * u01.number("u_ln_n0")).hypot(by_beta * u01.number("gsd_beta").ln()));
}

#[test]
fn quantiles_of_uncertain_inputs() {
    for id in ["U02", "U03", "U04"] {
        let row = Example::one("ensemble", id);
        let tank = one_bin(row.number("n0"), 0.0, row.number("beta_median"), row.number("nT"));
        let doubt = Doubt::NONE
            .start(row.number("u_ln_n0").exp())
            .and_then(|doubt| doubt.beta(row.number("gsd_of_beta_minus_1")))
            .and_then(|doubt| doubt.mixing(row.number("gsd_mixing")))
            .unwrap();
        let slowed = tank.clone().slowed(MixingFactor::new(row.number("mixing_median")).unwrap());
        let ensemble = Ensemble::new(std::slice::from_ref(&slowed), doubt);
        // the quick answer: slopes at the best estimate
        let slopes = tank.slopes().unwrap();
        let causes = [
            slopes.start * row.number("u_ln_n0"),
            slopes.beta * row.number("gsd_of_beta_minus_1").ln(),
            slopes.mixing * row.number("gsd_mixing").ln(),
        ];
        let (nominal, z) = (slopes.mixing * row.number("mixing_median"), 1.644_853_626_951_472_2);
        let relative = causes.iter().map(|part| part * part).sum::<f64>().sqrt() / slopes.mixing;
        row.meets("/delta_lognormal_q95", nominal * (z * relative).exp());
        row.meets("/delta_normal_q95", nominal * (1.0 + z * relative));
        let quantile = |p: f64| ensemble.quantile(Level::new(p).unwrap()).unwrap().get();
        row.meets("/mean", ensemble.mean());
        row.meets("/q05", quantile(0.05));
        row.meets("/q50", quantile(0.5));
        row.meets("/q95", quantile(0.95));
        if id == "U02" {
            Example::one("ensemble", "U05").meets("/q90", quantile(0.9));
            let causes = ensemble.causes().unwrap();
            assert_eq!(
                causes.to_string(),
                "mixing is 90 % of the doubt: take a second sample at another point of the tank"
            );
            let u06 = Example::one("ensemble", "U06");
            u06.meets("/share/initial count", causes.start);
            u06.meets("/share/beta", causes.beta);
            u06.meets("/share/mixing", causes.mixing);
        }
    }
}
