//! How sure the turnovers are: quadrature against simulation, and what must hold of any doubt.

use std::f64::consts::TAU;

use proptest::prelude::*;
use siltcode::certainty::Level;
use siltcode::filter::Beta;
use siltcode::tank::{BinState, Channel, Doubt, Ensemble, MixingFactor, Turnovers};
use siltcode_tests::{cases, per_ml, turnovers};

/// Geometric standard deviations of start, `beta - 1`, ingress and mixing.
type Spreads = [f64; 4];

/// A cumulative channel of bins: start, ingress a turnover and filtration ratio of each, and the target.
type Bins = (&'static [(f64, f64, f64)], f64);

const MIXING: f64 = 1.2;

fn channel((bins, target): Bins, [start, beta, ingress]: [f64; 3]) -> Channel {
    let bin = |&(n, entering, ratio): &(f64, f64, f64)| {
        let ratio = Beta::new(1.0 + (ratio - 1.0) * beta).unwrap();
        BinState::new(per_ml(n * start), per_ml(entering * ingress), ratio.efficiency())
    };
    let channel = Channel::new(bins.iter().map(bin).collect(), per_ml(target));
    channel.slowed(MixingFactor::new(MIXING).unwrap())
}

fn doubt([start, beta, ingress, mixing]: Spreads) -> Doubt {
    let doubt = Doubt::NONE.start(start).and_then(|doubt| doubt.beta(beta));
    doubt.and_then(|doubt| doubt.ingress(ingress)).and_then(|doubt| doubt.mixing(mixing)).unwrap()
}

fn ensemble(channels: &[Bins], spreads: Spreads) -> Ensemble {
    let channels: Vec<Channel> = channels.iter().map(|&bins| channel(bins, [1.0; 3])).collect();
    Ensemble::new(&channels, doubt(spreads))
}

/// Uniform numbers by a multiplicative congruence: the same on every run.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.next().ln()).sqrt() * (TAU * self.next()).cos()
    }
}

/// The turnovers of drawn tanks, sorted; infinite where a target is out of reach.
fn drawn(channels: &[Bins], spreads: Spreads, draws: usize) -> Vec<f64> {
    let mut numbers = Numbers(12_345);
    let mut one = || {
        let [start, beta, ingress, mixing] = spreads.map(|gsd| (gsd.ln() * numbers.normal()).exp());
        let needed = channels.iter().map(|&bins| {
            channel(bins, [start, beta, ingress]).turnovers().map_or(f64::INFINITY, Turnovers::get)
        });
        needed.fold(0.0, f64::max) * mixing
    };
    let mut all: Vec<f64> = (0..draws).map(|_| one()).collect();
    all.sort_by(f64::total_cmp);
    all
}

const ONE: &[Bins] = &[(&[(20_000.0, 0.0, 10.0)], 640.0)];
const THREE: &[Bins] = &[
    (&[(30_000.0, 0.0, 2.0), (8_700.0, 0.0, 18.0), (1_300.0, 0.0, 1000.0)], 2500.0),
    (&[(8_700.0, 0.0, 18.0), (1_300.0, 0.0, 1000.0)], 640.0),
    (&[(1_300.0, 0.0, 1000.0)], 80.0),
];
/// In about a quarter of the draws more comes in than the filter can keep below the target.
const FED: &[Bins] = &[
    (&[(30_000.0, 900.0, 2.0), (8_700.0, 60.0, 18.0), (1_300.0, 5.0, 1000.0)], 2500.0),
    (&[(1_300.0, 5.0, 1000.0)], 80.0),
];

#[test]
fn quadrature_agrees_with_simulation_whichever_cause_is_widest() {
    const DRAWS: usize = 40_000;
    for (channels, spreads) in [
        (ONE, [1.16, 1.5, 1.0, 1.2]),   // mixing
        (ONE, [1.6, 1.5, 1.0, 1.0]),    // start, nothing of mixing
        (THREE, [1.1, 2.5, 1.0, 1.05]), // beta
        (THREE, [1.0, 1.8, 1.0, 1.0]),  // beta alone
        (FED, [1.2, 1.4, 1.3, 1.2]),
        (FED, [1.2, 1.1, 2.0, 1.0]), // ingress
        (FED, [1.1, 1.6, 1.0, 1.3]), // beta decides what is within reach
    ] {
        let (found, drawn) = (ensemble(channels, spreads), drawn(channels, spreads, DRAWS));
        let least = 4.0 * (0.25 / DRAWS as f64).sqrt(); // four standard errors
        for p in [0.02, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9, 0.98] {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let at = drawn[(p * DRAWS as f64) as usize];
            if at.is_finite() {
                let clean = found.clean_after(turnovers(at)).get();
                assert!((clean - p).abs() < least, "{spreads:?}: {clean} for {p} at {at}");
            }
        }
        let reached = drawn.partition_point(|needed| needed.is_finite()) as f64 / DRAWS as f64;
        let in_the_end = found.clean_after(turnovers(1e6)).get();
        assert!((in_the_end - reached).abs() < least, "{spreads:?}: {in_the_end} for {reached}");
    }
}

#[test]
fn without_doubt_the_best_estimate_is_certain() {
    let found = ensemble(THREE, [1.0; 4]);
    let needed = THREE.iter().map(|&bins| channel(bins, [1.0; 3]).turnovers().unwrap().get());
    let needed = needed.fold(0.0, f64::max);
    for p in [0.05, 0.5, 0.95] {
        let quantile = found.quantile(Level::new(p).unwrap()).unwrap().get();
        assert!((quantile / needed - 1.0).abs() < 1e-14);
    }
    assert!(found.clean_after(turnovers(needed * 1.001)).get() > 0.999);
    assert!(found.clean_after(turnovers(needed * 0.999)).get() < 0.001);
    assert_eq!(found.causes(), None);
}

#[test]
fn what_may_be_out_of_reach_has_no_high_quantile_and_no_mean() {
    let found = ensemble(FED, [1.2, 1.4, 1.3, 1.2]);
    assert!(found.quantile(Level::new(0.5).unwrap()).is_some());
    assert_eq!(found.quantile(Level::new(0.99).unwrap()), None);
    assert_eq!(found.planning().p50, found.quantile(Level::new(0.5).unwrap()));
    assert!(found.mean().is_infinite());
    assert!(ensemble(THREE, [1.2, 1.4, 1.0, 1.2]).mean().is_finite());
}

#[test]
fn the_same_bytes_on_every_run() {
    let text = || serde_json::to_string(&ensemble(FED, [1.2, 1.4, 1.3, 1.2]).planning()).unwrap();
    let threads: Vec<_> = (0..4).map(|_| std::thread::spawn(text)).collect();
    for thread in threads {
        assert_eq!(thread.join().unwrap(), text());
    }
}

fn spreads() -> impl Strategy<Value = Spreads> {
    let gsd = || prop_oneof![Just(1.0), 1.01..2.5_f64];
    [gsd(), gsd(), gsd(), gsd()]
}

fn quantile_is_enough(channels: &[Bins], spreads: Spreads, p: f64) {
    let found = ensemble(channels, spreads);
    let Some(quantile) = found.quantile(Level::new(p).unwrap()) else { return };
    let clean = |times: f64| found.clean_after(turnovers(quantile.get() * times)).get();
    let (before, after) = (clean(1.0 - 1e-9), clean(1.0 + 1e-9));
    assert!(before <= p + 1e-4 && after >= p - 1e-4, "{before} {after}");
}

#[test]
fn a_quantile_of_one_narrow_spread_is_enough() {
    quantile_is_enough(FED, [1.0, 1.0, 1.01, 1.0], 0.02);
}

proptest! {
    #![proptest_config(cases(16))]

    #[test]
    fn a_quantile_is_enough_with_its_probability(spreads in spreads(), p in 0.02..0.98_f64, fed in any::<bool>()) {
        quantile_is_enough(if fed { FED } else { THREE }, spreads, p);
    }

    #[test]
    fn more_turnovers_are_never_less_likely_to_be_enough(spreads in spreads(), at in 0.1..20.0_f64) {
        let found = ensemble(THREE, spreads);
        let clean = |at: f64| found.clean_after(turnovers(at)).get();
        prop_assert!(clean(at) <= clean(at * 1.1) + 1e-9);
    }

    #[test]
    fn shares_of_doubt_sum_to_one(spreads in spreads()) {
        let Some(causes) = ensemble(THREE, spreads).causes() else {
            prop_assert!(spreads.iter().enumerate().all(|(i, gsd)| i == 2 || *gsd <= 1.0));
            return Ok(());
        };
        let sum = causes.start + causes.beta + causes.ingress + causes.mixing;
        prop_assert!((sum - 1.0).abs() < 1e-12);
        prop_assert!(causes.ingress <= 0.0); // nothing comes in
    }
}
