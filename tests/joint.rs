//! The probability that several sizes meet their limits together, against sums over the events of a Poisson process.

#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small whole numbers of golden rows

use siltcode::certainty::{Factors, Limit, RandomFactor, Variation, joint};
use siltcode::{Channel, Spectrum};
use siltcode_tests::{Example, counted, per_ml, um};

/// Sizes of a row, smallest first.
const SIZES: [f64; 5] = [4.0, 6.0, 14.0, 21.0, 38.0];

fn degrees(row: &Example) -> Vec<f64> {
    let each = row.inputs["degrees"].as_array().unwrap();
    each.iter().map(|degrees| degrees.as_f64().unwrap_or(f64::INFINITY)).collect()
}

#[test]
fn the_joint_probability_is_what_the_events_of_a_poisson_process_give() {
    let rows = Example::all("joint");
    assert!(rows.len() >= 28, "{}", rows.len());
    for row in rows {
        let (raw, limits, log_sds) = (row.list("raw"), row.list("limit"), row.list("log_sd"));
        let channels =
            SIZES.iter().zip(&raw).map(|(&size, &raw)| Channel::counted(um(size), counted(raw as u64, 1.0)));
        let spectrum = Spectrum::cumulative(channels.collect()).unwrap();
        let limits: Vec<Limit> = SIZES
            .iter()
            .zip(limits)
            .map(|(&size, limit)| Limit { size: um(size), per_ml: per_ml(limit) })
            .collect();
        let factors = log_sds
            .iter()
            .zip(degrees(&row))
            .map(|(&log_sd, degrees)| RandomFactor::new(log_sd, degrees).unwrap());
        let each =
            SIZES.iter().zip(factors).map(|(&size, factor)| (um(size), Variation::from(factor))).collect();
        let joint = joint::meets(&spectrum, &limits, Factors::new(each, Variation::NONE));
        let each: Vec<f64> = joint.each.iter().map(|(_, p)| p.unwrap().get()).collect();
        row.answered(&serde_json::json!({"p": joint.all.unwrap().get(), "each": each}), &[]);
    }
}
