//! Tanks that are not stirred evenly, against a slow integration, their balance and their limits.

use proptest::prelude::*;
use siltcode::PerMl;
use siltcode::filter::{Beta, Efficiency};
use siltcode::tank::mixing::displaced;
use siltcode::tank::{BinState, Channel, DeadZone, Left, Mixing};
use siltcode_tests::{cases, cells, per_ml, share, turnovers};

/// A tank with one bin.
#[derive(Debug, Clone)]
struct Tank {
    mixing: Mixing,
    start: f64,
    ingress: f64,
    shed: f64,
    ratio: f64,
    short: f64,
}

fn efficiency(ratio: f64) -> Efficiency {
    Beta::new(ratio).unwrap().efficiency()
}

fn dead_zone(dead: f64, exchange: f64) -> Mixing {
    Mixing::DeadZone(DeadZone::new(share(dead), share(exchange)).unwrap())
}

impl Tank {
    fn channel(&self) -> Channel {
        let bin = BinState::new(per_ml(self.start), per_ml(self.ingress), efficiency(self.ratio));
        let bin = bin.shedding(per_ml(self.shed)).short_circuited(share(self.short));
        Channel::new(vec![bin], PerMl::ZERO).mixed(self.mixing)
    }

    /// The suction line for what the tank holds at its suction end: `c_s = (1 - s) c + s (c_s / beta + shed)`.
    fn suction(&self, tank: f64) -> f64 {
        ((1.0 - self.short) * tank + self.short * self.shed) / (1.0 - self.short / self.ratio)
    }

    /// The parts of the volume, and the balance of each, written down as it stands in a textbook.
    fn parts(&self) -> Vec<f64> {
        match self.mixing {
            Mixing::Well => vec![1.0],
            Mixing::DeadZone(zone) => vec![1.0 - zone.dead().get(), zone.dead().get()],
            Mixing::Cells(count) => vec![1.0 / f64::from(count.get()); usize::from(count.get())],
        }
    }

    fn slopes(&self, parts: &[f64], held: &[f64]) -> Vec<f64> {
        let drawn_from = if matches!(self.mixing, Mixing::Cells(_)) { held.len() - 1 } else { 0 };
        let returned = self.suction(held[drawn_from]) / self.ratio + self.shed;
        let through = 1.0 - self.short;
        let gain = |i: usize| match self.mixing {
            Mixing::DeadZone(zone) => {
                let exchanged = zone.exchange().get() * (held[1] - held[0]);
                if i == 0 { through * (returned - held[0]) + exchanged } else { -exchanged }
            }
            _ => through * (if i == 0 { returned } else { held[i - 1] } - held[i]),
        };
        (0..held.len()).map(|i| gain(i) / parts[i] + self.ingress).collect()
    }

    /// Runge and Kutta in small steps: slow, and sharing nothing with the closed forms.
    fn integrated(&self, tau: f64) -> Left {
        const STEPS: u32 = 16_000;
        let (parts, step) = (self.parts(), tau / f64::from(STEPS));
        let along = |held: &[f64], slopes: &[f64], step: f64| -> Vec<f64> {
            held.iter().zip(slopes).map(|(n, slope)| n + step * slope).collect()
        };
        let mut held = vec![self.start; parts.len()];
        for _ in 0..STEPS {
            let a = self.slopes(&parts, &held);
            let b = self.slopes(&parts, &along(&held, &a, step / 2.0));
            let c = self.slopes(&parts, &along(&held, &b, step / 2.0));
            let d = self.slopes(&parts, &along(&held, &c, step));
            let mean = |i: usize| (a[i] + 2.0 * b[i] + 2.0 * c[i] + d[i]) / 6.0;
            held = (0..held.len()).map(|i| held[i] + step * mean(i)).collect();
        }
        let end = if matches!(self.mixing, Mixing::Cells(_)) { held.len() - 1 } else { 0 };
        let mean = parts.iter().zip(&held).map(|(part, n)| part * n).sum();
        Left { suction: self.suction(held[end]), mean }
    }
}

fn mixings() -> impl Strategy<Value = Mixing> {
    prop_oneof![
        Just(Mixing::Well),
        (0.01..0.6_f64, 0.02..0.9_f64).prop_map(|(dead, exchange)| dead_zone(dead, exchange)),
        (1..9_u16).prop_map(cells),
    ]
}

prop_compose! {
    fn tanks()(
        mixing in mixings(),
        start in 0.0..1e5_f64,
        ingress in prop_oneof![Just(0.0), 0.0..1e3_f64],
        shed in prop_oneof![Just(0.0), 0.0..1e2_f64],
        ratio in 1.05..1000.0_f64,
        short in prop_oneof![Just(0.0), 0.0..0.9_f64],
    ) -> Tank {
        Tank { mixing, start, ingress, shed, ratio, short }
    }
}

proptest! {
    #![proptest_config(cases(32))]

    #[test]
    fn closed_forms_match_an_integration(tank in tanks(), tau in 0.0..8.0_f64) {
        let (channel, slow) = (tank.channel(), tank.integrated(tau));
        let near = |found: f64, slow: f64| (found - slow).abs() <= 1e-9 * slow.max(1.0);
        prop_assert!(near(channel.after(turnovers(tau)), slow.mean), "{} {:?}", channel.after(turnovers(tau)), slow);
        prop_assert!(near(channel.at_suction(turnovers(tau)), slow.suction), "{} {:?}", channel.at_suction(turnovers(tau)), slow);
    }

    #[test]
    fn no_particle_is_lost(tank in tanks(), tau in 0.1..8.0_f64) {
        // Simpson's rule over what the filter takes out of the suction line and sheds into the return
        const PIECES: u32 = 2000;
        let channel = tank.channel();
        let net = |i: u32| {
            let suction = channel.at_suction(turnovers(tau * f64::from(i) / f64::from(PIECES)));
            (1.0 - 1.0 / tank.ratio) * suction - tank.shed
        };
        let weight = |i: u32| if i == 0 || i == PIECES { 1.0 } else if i % 2 == 1 { 4.0 } else { 2.0 };
        let taken = (0..=PIECES).map(|i| weight(i) * net(i)).sum::<f64>() * tau / f64::from(PIECES) / 3.0;
        let (before, after) = (tank.start + tank.ingress * tau, channel.after(turnovers(tau)) + taken);
        prop_assert!((before - after).abs() <= 1e-7 * before.max(tank.shed), "{} {}", before, after);
    }

    #[test]
    fn one_cell_and_no_dead_zone_are_stirred(tank in tanks(), tau in 0.0..10.0_f64) {
        let stirred = Tank { mixing: Mixing::Well, ..tank.clone() }.channel();
        for mixing in [cells(1), dead_zone(0.0, 0.1), dead_zone(1e-9, 0.5)] {
            let found = Tank { mixing, ..tank.clone() }.channel();
            let near = |a: f64, b: f64| (a - b).abs() <= 1e-6 * a.max(1e-3 * tank.start);
            prop_assert!(near(stirred.after(turnovers(tau)), found.after(turnovers(tau))));
            prop_assert!(near(stirred.at_suction(turnovers(tau)), found.at_suction(turnovers(tau))));
        }
    }

    #[test]
    fn the_floor_is_where_it_ends(tank in tanks()) {
        let channel = tank.channel();
        let end = channel.after(turnovers(1e5));
        prop_assert!((end - channel.floor()).abs() <= 1e-9 * channel.floor().max(1e-6), "{} {}", end, channel.floor());
    }

    #[test]
    fn many_cells_displace(ratio in 1.5..100.0_f64, part in 0.1..0.9_f64, whole in 0..4_u8) {
        let tau = turnovers(f64::from(whole) + part);
        let limit = displaced(Beta::new(ratio).unwrap(), tau);
        let distance = |count: u16| (cells(count).left(efficiency(ratio), tau).mean / limit.mean - 1.0).abs();
        prop_assert!(distance(50_000) < 0.03);
        prop_assert!(distance(50_000) <= distance(500) + 1e-3);
    }

    #[test]
    fn unevenness_never_helps_the_mean(ratio in 1.5..1000.0_f64, tau in 0.1..8.0_f64, dead in 0.05..0.6_f64) {
        let left = |mixing: Mixing| mixing.left(efficiency(ratio), turnovers(tau)).mean;
        let tighter = [0.02, 0.1, 0.5].map(|exchange| left(dead_zone(dead, exchange)));
        prop_assert!(tighter[0] >= tighter[1] && tighter[1] >= tighter[2]);
        prop_assert!(tighter[2] >= left(Mixing::Well));
        prop_assert!(left(cells(4)) <= left(Mixing::Well)); // but a row from return to suction does
    }
}

#[test]
fn after_a_stop_the_suction_sample_of_a_dead_zone_is_seen_to_have_flattered() {
    let left = dead_zone(0.2, 0.1).left(efficiency(75.0), turnovers(7.0));
    assert!(left.mean > 2.0 * left.suction);
}
