use siltcode::job::logged::turnovers as logged;
use siltcode::job::{CapacityUsed, Loading, LoadingLaw, LogEntry, Resistance, Suction, SuctionLine};
use siltcode::units::{Density, Duration, Flow, Head, Pressure, Volume};

use super::*;

const LAWS: [LoadingLaw; 5] = [
    LoadingLaw::Cake,
    LoadingLaw::Intermediate,
    LoadingLaw::Standard,
    LoadingLaw::Complete,
    LoadingLaw::Cubic,
];

#[test]
fn loading() {
    let resistances = valid(Resistance::new, &[1.0 + f64::EPSILON, 8.0]);
    for (law, &resistance) in pairs(&LAWS, &resistances) {
        let loading = tried("loading", (law, resistance), || law.loading(resistance));
        tried("resistance", (law, resistance), || law.resistance(loading)).ok();
        for &terminal in &resistances {
            tried("used", (law, resistance, terminal), || law.used(resistance, terminal)).ok();
        }
        for &loading in &valid(Loading::new, &[]) {
            tried("resistance", (law, loading), || law.resistance(loading)).ok();
        }
        for &used in &valid(CapacityUsed::new, &[]) {
            tried("resistance_at", (law, used, resistance), || law.resistance_at(used, resistance)).ok();
        }
    }
    let pressures = valid(Pressure::from_kpa, &[]);
    for (&one, &other) in pairs(&pressures, &pressures) {
        tried("of", (one, other), || Resistance::of(one, other)).ok();
    }
}

#[test]
fn suction() {
    let pressures = valid(Pressure::from_kpa, &[]);
    for (&one, &other) in pairs(&pressures, &pressures) {
        for &density in &valid(Density::from_kg_per_m3, &[]) {
            let inlet =
                |suction: Suction| (suction.inlet(), suction.vacuum().ok(), suction.head_available().ok());
            tried("of_gauge", (one, other, density), || {
                Suction::of_gauge(one, other, one, density).map(inlet)
            })
            .ok();
            for &lift in &valid(Head::from_metres, &[]) {
                let line = SuctionLine { atmosphere: one, lift, line_loss: other, element_drop: one };
                tried("of_line", (line, density), || Suction::of_line(&line, other, density).map(inlet)).ok();
                tried("pressure_in", (lift, density), || lift.pressure_in(density)).ok();
            }
        }
    }
}

#[test]
fn logs() {
    let (times, flows) = (valid(Duration::from_hours, &[]), valid(Flow::from_l_per_min, &[]));
    for (&time, &flow) in pairs(&times, &flows) {
        for &tank in &valid(Volume::from_m3, &[]) {
            let log = [
                LogEntry::of_flow(Duration::from_hours(0.0).unwrap(), flow),
                LogEntry::of_flow(time, flow),
                LogEntry::of_total(times[times.len() - 1], tank),
            ];
            tried("turnovers", (log.len(), time, flow, tank), || {
                logged(&log, tank, time).map(|logged| (logged.turnovers(), logged))
            })
            .ok();
        }
    }
}
