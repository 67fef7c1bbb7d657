use std::num::NonZeroU16;

use siltcode::tank::mixing::displaced;
use siltcode::tank::{
    BinState, Channel, DeadZone, Decline, Doubt, Ensemble, Mixing, Plant, Reynolds, turnovers_like_one_pass,
};
use siltcode::units::{Duration, Flow, KinematicViscosity, Length, Volume};

use super::*;

fn mixings() -> Vec<Mixing> {
    let zones: Vec<Mixing> = pairs(&shares(), &shares())
        .filter_map(|(&dead, &exchange)| DeadZone::new(dead, exchange).ok().map(Mixing::DeadZone))
        .collect();
    let cells = [1, 2, 7, u16::MAX].map(|cells| Mixing::Cells(NonZeroU16::new(cells).unwrap()));
    [Mixing::Well].into_iter().chain(cells).chain(zones).collect()
}

#[test]
fn what_is_left() {
    for (mixing, &efficiency) in pairs(&mixings(), &efficiencies()) {
        for &turnovers in &turnovers() {
            let left = tried("left", (mixing, efficiency, turnovers), || mixing.left(efficiency, turnovers));
            let is_share = |value: f64| (-1e-9..=1.0 + 1e-9).contains(&value);
            assert!(
                is_share(left.mean) && is_share(left.suction),
                "{mixing:?} {efficiency:?} {turnovers:?} {left:?}"
            );
        }
    }
    for (&beta, &turnovers) in pairs(&betas(), &turnovers()) {
        tried("displaced", (beta, turnovers), || (displaced(beta, turnovers), turnovers_like_one_pass(beta)));
        tried("passed", turnovers, || [0, 1, u32::MAX].map(|times| turnovers.passed_at_least(times)));
    }
}

#[test]
fn channels() {
    // Beyond these counts, and 1e100 turnovers, what flows in comes to more than a double holds.
    let counts: Vec<_> = per_ml().into_iter().filter(|count| count.get() <= 1e180).collect();
    let (counts, few) = (counts, [Mixing::Well, mixings()[2], mixings()[40]]);
    for (&start, &ingress) in pairs(&counts, &counts) {
        for (i, &efficiency) in efficiencies().iter().enumerate() {
            let bin =
                tried("BinState", (start, ingress, efficiency), || BinState::new(start, ingress, efficiency));
            let shed = bin.shedding(counts[i % counts.len()]).short_circuited(shares()[i % shares().len()]);
            for (state, mixing) in pairs(&[bin, shed], &few) {
                let target = counts[(i + 3) % counts.len()];
                let channel = Channel::new(vec![*state], target).mixed(*mixing);
                let inputs = (state, mixing, target);
                tried("turnovers", inputs, || (channel.turnovers(), channel.slopes()));
                tried("floor", inputs, || channel.floor());
                tried("transfers", inputs, || (channel.transferred(u32::MAX), channel.transfers()));
                for &turnovers in turnovers().iter().filter(|turnovers| turnovers.get() <= 1e100) {
                    tried("after", (inputs, turnovers), || {
                        (channel.after(turnovers), channel.at_suction(turnovers))
                    });
                }
            }
        }
    }
}

#[test]
fn doubts() {
    let counts = per_ml();
    for (i, &start) in counts.iter().enumerate() {
        let state = BinState::new(start, counts[(i + 5) % counts.len()], efficiencies()[i % 4]);
        let channel = Channel::new(vec![state], counts[(i + 2) % counts.len()]);
        for gsd in [1.0, 1.0 + f64::EPSILON, 1.5, 1e3, f64::MAX] {
            let Ok(doubt) =
                Doubt::NONE.start(gsd).and_then(|doubt| doubt.beta(gsd)?.ingress(gsd)?.mixing(gsd))
            else {
                continue;
            };
            let ensemble =
                tried("Ensemble", (&channel, gsd), || Ensemble::new(std::slice::from_ref(&channel), doubt));
            tried("planning", (&channel, gsd), || (ensemble.planning(), ensemble.causes()));
            for &level in &levels() {
                tried("quantile", (&channel, gsd, level), || ensemble.quantile(level));
            }
            for &turnovers in &turnovers() {
                tried("clean_after", (&channel, gsd, turnovers), || ensemble.clean_after(turnovers));
            }
        }
    }
}

#[test]
fn plants_lines_and_declines() {
    let (volumes, flows) = (valid(Volume::from_m3, &[]), valid(Flow::from_l_per_min, &[]));
    let times = valid(Duration::from_hours, &[]);
    for (&volume, &flow) in pairs(&volumes, &flows) {
        let Ok(plant) = tried("Plant", (volume, flow), || Plant::new(volume, flow)) else { continue };
        for &turnovers in &turnovers() {
            tried("time", (volume, flow, turnovers), || plant.time(turnovers)).ok();
        }
        for (&time, &to) in pairs(&times, &flows) {
            tried("turnovers", (volume, flow, time), || plant.turnovers(time)).ok();
            if let Ok(decline) = tried("Decline", (volume, flow, to, time), || Decline::new(&plant, to, time))
            {
                for &time in &times {
                    tried("declining", (volume, flow, to, time), || decline.turnovers(time)).ok();
                }
            }
        }
        tried("time_for", (volume, flow), || flow.time_for(volume));
    }
    for (&flow, &bore) in pairs(&flows, &valid(Length::from_mm, &[])) {
        for viscosity in valid(KinematicViscosity::from_mm2_per_s, &[]) {
            let number =
                tried("in_pipe", (flow, bore, viscosity), || Reynolds::in_pipe(flow, bore, viscosity));
            assert!(number.get() >= 0.0);
        }
    }
}
