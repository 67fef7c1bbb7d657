//! What a bottle's runs say against each other.

use super::{Context, Flag, Severity, doubt, percent};
use crate::certainty::level::Level;
use crate::certainty::odds::Odds;
use crate::certainty::runs::{Criterion, Direction, Runs};
use crate::count::{Evidence, PerMl};
use crate::sample::Sample;
use crate::size::Size;

/// What runs that disagree weigh: with a range number that is sure all the same they are only to be kept in mind.
pub(super) fn weight(odds: Option<&Odds>, level: Level) -> Severity {
    let is_sure = odds.and_then(Odds::likeliest).is_some_and(|(_, p)| p.get() >= level.get());
    if is_sure { Severity::Note } else { Severity::Doubt }
}

pub(super) fn of_runs(sample: &Sample, size: Size, context: &Context<'_>, weight: Severity) -> Vec<Flag> {
    let Some(evidence) = sample.evidence_of_runs(size) else {
        return spread_of_concentrations(sample, size, context.spread).into_iter().collect();
    };
    let Some(runs) = Runs::new(&evidence) else { return Vec::new() };
    let counts = || {
        let counts: Vec<_> = evidence.iter().map(|run| run.raw.to_string()).collect();
        format!("runs of {}", counts.join(", "))
    };
    let risk = context.alarm.risk();
    let dispersion = runs.dispersion();
    let of_weight =
        |code, evidence, advice| Flag { code, severity: weight, size: Some(size), evidence, advice };
    let mut flags = Vec::new();
    let is_scattered = dispersion.p_scattered.get() <= risk;
    if is_scattered || runs.is_spread_exceeded(context.spread) {
        let (range, index) = (percent(runs.range()), dispersion.index);
        let allowed =
            (!is_scattered).then(|| format!(", allowed {}", percent(runs.spread(context.spread).allowed)));
        let evidence = format!(
            "{}: index of dispersion {index:.1}, largest less smallest {range} of the mean{}",
            counts(),
            allowed.unwrap_or_default()
        );
        let advice = "shake and degas the bottle and count again; if bottles differ, draw more of them";
        flags.push(of_weight("scatter", evidence, advice));
    }
    if dispersion.p_regular.get() <= risk {
        let evidence = format!("{}: chance agrees so well {}", counts(), once_in(dispersion.p_regular.get()));
        let advice = "ask whether these are raw counts of separate runs, not averages or copies";
        flags.push(doubt("too-regular", Some(size), evidence, advice));
    }
    flags.extend(
        first_run(&evidence, &runs, risk).map(|advice| of_weight("first-run-differs", counts(), advice)),
    );
    let drift = runs.drift();
    if let Some(direction) = drift.monotone.filter(|_| drift.p.get() <= risk) {
        let advice = match direction {
            Direction::Rising => {
                "look for bubbles coming out, a leak of air, or particles stirred up; degas and count again"
            }
            Direction::Falling => {
                "look for bubbles leaving or particles settling; shake, degas and count at once"
            }
        };
        flags.push(of_weight("drift", counts(), advice));
    }
    flags
}

fn once_in(p: f64) -> String {
    if p > 1e-9 { format!("once in {:.0}", 1.0 / p) } else { "less than once in a billion".into() }
}

/// The first of three or more runs against the others, which must agree with each other.
fn first_run(evidence: &[Evidence], runs: &Runs<'_>, risk: f64) -> Option<&'static str> {
    let others_agree =
        Runs::new(&evidence[1..]).is_some_and(|others| others.dispersion().p_scattered.get() > risk);
    (others_agree && runs.first_differs().get() <= risk).then_some(
        "the line or the sensor may still have held the last sample: flush, and leave the first run out",
    )
}

/// Without raw counts only the caller's own tolerance can be checked.
fn spread_of_concentrations(sample: &Sample, size: Size, criterion: Criterion) -> Option<Flag> {
    let Criterion::Fraction(allowed) = criterion else { return None };
    let runs: Vec<f64> =
        sample.runs.iter().filter_map(|run| run.spectrum.per_ml(size)).map(PerMl::get).collect();
    let mean = runs.iter().sum::<f64>() / runs.len() as f64;
    let range = runs.iter().copied().fold(0.0, f64::max) - runs.iter().copied().fold(f64::INFINITY, f64::min);
    (runs.len() >= 2 && range > allowed * mean).then(|| {
        let evidence = format!(
            "largest less smallest run {} of the mean, allowed {}",
            percent(range / mean),
            percent(allowed)
        );
        doubt("scatter", Some(size), evidence, "shake and degas the bottle and count again")
    })
}
