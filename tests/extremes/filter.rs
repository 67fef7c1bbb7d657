use siltcode::filter::{Challenge, Conditions, Laminar, MeasuredBeta, PressureDrop, Rating};
use siltcode::units::{Flow, KinematicViscosity, Pressure};

use super::*;

#[test]
fn ratios() {
    for (&one, &other) in pairs(&betas(), &betas()) {
        tried("in_series", (one, other), || (one.in_series(other), one.penetration(), one.efficiency()));
        for &share in &shares() {
            tried("leaking", (one, share), || {
                let efficiency = one.efficiency();
                (
                    one.leaking(share),
                    efficiency.bypassed(share),
                    efficiency.short_circuited(share),
                    share.ceiling(),
                )
            });
        }
        tried("of", one, || Beta::of(one.efficiency())).ok();
    }
    for (&upstream, &downstream) in pairs(&per_ml(), &per_ml()) {
        tried("from_counts", (upstream, downstream), || Beta::from_counts(upstream, downstream)).ok();
        tried("from_pairs", (upstream, downstream), || Beta::from_pairs(&[(upstream, downstream); 3])).ok();
        for &beta in &betas() {
            tried("lumped", (upstream, beta), || Beta::lumped(&[(upstream, beta), (downstream, beta)])).ok();
        }
    }
    for (&beta, &factor) in pairs(&betas(), &NUMBERS) {
        tried("excess_times", (beta, factor), || beta.excess_times(factor)).ok();
    }
}

#[test]
fn measured_ratios() {
    for (one, other) in pairs(&evidence(), &evidence()) {
        for level in [Level::default(), levels()[0]] {
            tried("MeasuredBeta", (one, other, level), || {
                MeasuredBeta::of(&[*one, *other], &[*other, *other], level)
                    .map(|measured| (measured.known().ok(), measured.beta().ok()))
            })
            .ok();
        }
    }
}

#[test]
fn ratings() {
    let dust = Challenge::iso_medium_test_dust();
    let sizes = [4.0, 6.0, 14.0].map(|um| Size::um_c(um).unwrap());
    for (&low, &high) in pairs(&betas(), &betas()) {
        let Ok(rating) =
            tried("Rating", (low, high), || Rating::new(vec![(sizes[0], low), (sizes[2], high)]))
        else {
            continue;
        };
        let inputs = (low, high);
        tried("bins", inputs, || (rating.bins(&sizes, &dust).ok(), rating.bins_at_best(&sizes, &dust).ok()));
        for size in super::sizes() {
            tried("at", (inputs, size), || {
                (rating.at(size).ok(), rating.working(size).ok(), dust.per_ml(size).ok())
            });
        }
        for &beta in &betas() {
            tried("size_for", (inputs, beta), || rating.size_for(beta));
        }
        for divisor in NUMBERS {
            tried("derated", (inputs, divisor), || rating.derated(divisor)).ok();
        }
    }
}

#[test]
fn pressures() {
    let pressures = valid(Pressure::from_kpa, &[]);
    let flows = valid(Flow::from_l_per_min, &[]);
    let viscosities = valid(KinematicViscosity::from_mm2_per_s, &[]);
    for (&clean, &terminal) in pairs(&pressures, &pressures) {
        for &viscosity in &viscosities {
            tried("PressureDrop", (clean, terminal, viscosity), || {
                PressureDrop::new(clean, terminal, viscosity)
            })
            .ok();
        }
    }
    for (&rated, &read) in pairs(&flows, &flows) {
        for (i, &pressure) in pressures.iter().enumerate() {
            let viscosity = Some(viscosities[i % viscosities.len()]);
            let (rated, read) = (Conditions { viscosity, ..Conditions::of(rated) }, Conditions::of(read));
            for laminar in
                [Laminar::Throughout, Laminar::AtReading(shares()[0]), Laminar::AtRated(shares()[1])]
            {
                tried("to_rated", (pressure, rated, read), || laminar.to_rated(pressure, &read, &rated)).ok();
                tried("from_rated", (pressure, rated, read), || laminar.from_rated(pressure, &rated, &read))
                    .ok();
            }
        }
    }
}
