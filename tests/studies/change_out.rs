//! When an element is due: how often the interval holds the true place, and how often alarms are false.

use std::fmt::Write;

use rayon::prelude::*;
use siltcode_tests::loading::{Cell, Outcome, alarmed, covered};

const LAWS: [f64; 5] = [0.0, 0.5, 1.0, 1.5, 2.0];
const NOISES: [f64; 3] = [0.01, 0.03, 0.05];
const ALARM_NOISES: [f64; 4] = [0.01, 0.02, 0.03, 0.05];
const SHARES: [f64; 3] = [0.5, 0.7, 0.9];
const READINGS: [u32; 2] = [6, 12];

pub(crate) fn intervals(jobs: u32) -> String {
    let mut text = format!(
        "# When an element is due\n\n\
         {jobs} elements for each cell. The pressure follows `dR/dv = K R^n` from 1 to 8 times that of the clean element; \
         readings are spread evenly up to a share of the life, and err in proportion to the pressure. Of the answers that \
         expect the terminal pressure, the part whose 95 % interval (mean line, any exponent) holds the true place, and the \
         part whose 95 % interval for a single reading holds a further reading; half the width of the former, as a part of \
         the life, at the median; the part of elements without an answer ('no trend' or 'too few').\n\n\
         | n | scatter | readings | share of life | interval holds | single reading | half width | no answer |\n\
         |---|---|---|---|---|---|---|---|\n"
    );
    let cells = LAWS.iter().flat_map(|law| NOISES.iter().map(move |noise| (*law, *noise)));
    let cells = cells.flat_map(|of| READINGS.iter().map(move |readings| (of, *readings)));
    let cells = cells.flat_map(|of| SHARES.iter().map(move |share| (of, *share)));
    for (((exponent, noise), readings), share) in cells {
        let cell = Cell { exponent, noise, share, readings };
        let outcomes: Vec<Outcome> =
            (0..u64::from(jobs)).into_par_iter().map(|job| covered(&cell, job)).collect();
        let found = Tally::new(&outcomes);
        let percent = 100.0 * noise;
        let _ = writeln!(
            text,
            "| {exponent} | {percent:.0} % | {readings} | {share} | {:.3} | {:.3} | {:.3} | {:.3} |",
            found.mean, found.single, found.half_width, found.no_answer
        );
    }
    text
}

/// What the outcomes of a cell come to.
struct Tally {
    mean: f64,
    single: f64,
    half_width: f64,
    no_answer: f64,
}

impl Tally {
    fn new(outcomes: &[Outcome]) -> Self {
        let answers: Vec<_> = outcomes.iter().filter_map(|outcome| outcome.as_ref()).collect();
        let part = |holds: usize| holds as f64 / answers.len() as f64;
        let asked: Vec<bool> = answers.iter().filter_map(|answer| answer.single).collect();
        let mut widths: Vec<f64> = answers.iter().map(|answer| 0.5 * answer.width).collect();
        widths.sort_by(f64::total_cmp);
        Self {
            mean: part(answers.iter().filter(|answer| answer.mean).count()),
            single: asked.iter().filter(|holds| **holds).count() as f64 / asked.len() as f64,
            half_width: widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN),
            no_answer: 1.0 - answers.len() as f64 / outcomes.len() as f64,
        }
    }
}

pub(crate) fn alarms(jobs: u32) -> String {
    let mut text = format!(
        "# Alarms\n\n{jobs} elements for each cell, read until the number of readings. The scatter is that of which the \
         stated error is the 95 % repeatability limit. 'False': the part of elements with an alarm though the pressure never \
         falls, after any reading where it is flat and there are at most 100, else after the last; 'found': the part with an alarm once two readings lie at 0.6 of the last before.\n\n\
         | pressure | scatter | readings | false | found |\n|---|---|---|---|---|\n"
    );
    for rises in [false, true] {
        for noise in ALARM_NOISES {
            for readings in [3, 5, 10, 30, 100, 1000] {
                let rate = |falls: bool| {
                    let job = |job: u64| usize::from(alarmed(rises, noise, readings, falls, job));
                    (0..u64::from(jobs)).into_par_iter().map(job).sum::<usize>() as f64 / f64::from(jobs)
                };
                let (kind, percent) = (if rises { "rising" } else { "flat" }, 100.0 * noise);
                // alarms at a flat pressure do not depend on the unit of the scatter
                let falsely = (rises || noise <= ALARM_NOISES[0]).then(|| format!("{:.4}", rate(false)));
                let (falsely, found) = (falsely.unwrap_or_else(|| "as above".into()), rate(true));
                let _ = writeln!(text, "| {kind} | {percent:.0} % | {readings} | {falsely} | {found:.4} |");
            }
        }
    }
    text
}
