//! Forecasts: what must hold of any, questions asked the other way round, declining flow, and bad input.

use proptest::prelude::*;
use siltcode::filter::{Beta, Challenge, Rating, Share};
use siltcode::tank::{
    BinState, Channel, DeadZone, Decline, Doubt, Forecast, Mixing, Plant, Sources, Start, Target, Turnovers,
};
use siltcode::units::{Duration, Flow, Volume};
use siltcode::{PerMl, Size, Spectrum};
use siltcode_tests::{beta, cases, cells, per_ml, share, turnovers};

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
    #![proptest_config(cases(48))]

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
