//! How sure a sample, a verdict or a comparison is.

use pyo3::prelude::*;
use serde::Serialize;
use siltcode::certainty::coincidence::Coincidence;
use siltcode::certainty::runs::{Criterion, Dispersion, Drift, Runs, Spread};
use siltcode::certainty::{
    Interval, Level, Limit, Mean, Posterior, Probability, RunPool, Scatter, corrections, decision, planner,
    precision, ratio,
};
use siltcode::count::whole_count;
use siltcode::{CountedVolume, Evidence, PerMl, Size};

use crate::error::Result;
use crate::given::{Counted, Given, Plain};
use crate::plain::{self, SampleGiven};

/// A sample against upper limits, each a size and a concentration \[um, particles/mL\].
#[pyfunction]
pub(crate) fn decide<'py>(
    py: Python<'py>,
    sample: SampleGiven,
    limits: Vec<(f64, f64)>,
    rule: &str,
    level: Given<Level>,
    scatter: f64,
    repeatability: Option<f64>,
) -> Result<Bound<'py, PyAny>> {
    let sample = sample.sample()?;
    let spectrum = sample.spectrum()?;
    let between = Scatter::stated(scatter)?;
    let stated = repeatability.map(Scatter::stated).transpose()?;
    let factors = RunPool::of([&sample]).repeatability(stated).factors(&sample, Some(between));
    let limit =
        |(um, per_ml)| Ok(Limit { size: Size::new(um, spectrum.scale())?, per_ml: PerMl::new(per_ml)? });
    let limits = limits.into_iter().map(limit).collect::<siltcode::Result<Vec<_>>>()?;
    let rule = plain::rule(rule, level.0)?;
    let decision = py.detach(|| decision::decide(&spectrum, &limits, rule, &factors));
    let parts = plain::out(py, &decision)?;
    parts.set_item("settle", decision.settle.map(|settle| settle.to_string()))?;
    Ok(parts)
}

#[derive(Serialize)]
pub(crate) struct Compared {
    dispersion: Dispersion,
    scatter: Scatter,
    first_differs: Probability,
    drift: Drift,
    spread: Spread,
    spread_is_exceeded: bool,
}

/// What several counts of the same fluid say of each other; nothing where nothing was counted.
#[pyfunction]
pub(crate) fn runs(
    counted: Vec<Counted>,
    spread: Option<f64>,
    level: Given<Level>,
) -> Plain<Option<Compared>> {
    let each: Vec<Evidence> = counted.into_iter().map(|counted| counted.0).collect();
    let criterion = spread.map_or(Criterion::Chance(level.0), Criterion::Fraction);
    Plain(Runs::new(&each).map(|runs| Compared {
        dispersion: runs.dispersion(),
        scatter: runs.scatter(),
        first_differs: runs.first_differs(),
        drift: runs.drift(),
        spread: runs.spread(criterion),
        spread_is_exceeded: runs.spread(criterion).is_exceeded(),
    }))
}

/// The ratio of two concentrations.
#[pyfunction]
pub(crate) fn compare(first: Counted, second: Counted, level: Given<Level>) -> Plain<ratio::RateRatio> {
    Plain(ratio::compare(&first.0, &second.0, level.0))
}

/// How likely equal concentrations give counts so far apart, by the test of the estimated rate.
#[pyfunction]
pub(crate) fn equal_by_e_test(first: Counted, second: Counted) -> f64 {
    ratio::equal_by_e_test(&first.0, &second.0).get()
}

/// The most particles at which a fluid at the limit would still be accepted too seldom to matter.
#[pyfunction]
pub(crate) fn most_to_accept(at_limit: Given<Mean>, level: Given<Level>) -> Option<u64> {
    planner::most_to_accept(at_limit.0, level.0)
}

/// A test planned before sampling.
#[pyfunction]
pub(crate) fn plan_volume(
    limit: Given<PerMl>,
    clean: Given<PerMl>,
    level: Given<Level>,
    power: Given<Level>,
) -> Result<Plain<planner::Plan>> {
    Ok(Plain(planner::volume(limit.0, clean.0, level.0, power.0)?))
}

fn sequential(clean: PerMl, limit: PerMl, risks: (f64, f64)) -> siltcode::Result<planner::Sequential> {
    planner::Sequential::new(clean, limit, Probability::new(risks.0)?, Probability::new(risks.1)?)
}

/// What to do after so many particles in so much sample.
#[pyfunction]
pub(crate) fn sequential_step(
    clean: Given<PerMl>,
    limit: Given<PerMl>,
    risks: (f64, f64),
    raw: f64,
    examined_ml: Given<CountedVolume>,
) -> Result<Plain<planner::Step>> {
    Ok(Plain(sequential(clean.0, limit.0, risks)?.step(whole_count(raw)?, examined_ml.0)))
}

/// The count up to which to accept, if there is one yet, and that from which to reject, in so much sample.
#[pyfunction]
pub(crate) fn sequential_bounds(
    clean: Given<PerMl>,
    limit: Given<PerMl>,
    risks: (f64, f64),
    examined_ml: Given<CountedVolume>,
) -> Result<(Option<f64>, f64)> {
    let plan = sequential(clean.0, limit.0, risks)?;
    Ok((plan.accept_up_to(examined_ml.0).map(Mean::get), plan.reject_from(examined_ml.0).get()))
}

/// The concentration of a diluted sample with its standard uncertainty.
#[pyfunction]
pub(crate) fn diluted(
    size: Given<Size>,
    counted: Counted,
    dilution_cv: Given<Scatter>,
    blank_per_ml: Given<PerMl>,
) -> Result<Plain<corrections::Corrected>> {
    Ok(Plain(corrections::diluted(size.0, &counted.0, dilution_cv.0, blank_per_ml.0)?))
}

#[derive(Serialize)]
pub(crate) struct NetParts {
    per_ml: Option<PerMl>,
    interval_per_ml: Interval<PerMl>,
    significance: f64,
}

/// A count less its blank.
#[pyfunction]
pub(crate) fn less_blank(
    size: Given<Size>,
    sample: Counted,
    blank: Counted,
    level: Given<Level>,
) -> Plain<NetParts> {
    let net = corrections::Net::new(size.0, &sample.0, &blank.0);
    Plain(NetParts {
        per_ml: net.per_ml().ok(),
        interval_per_ml: net.interval(level.0),
        significance: net.significance(),
    })
}

/// A counter by its number of sensing volumes, or by its dead time over the counting time.
pub(crate) fn counter(volumes: Option<f64>, dead_time: Option<f64>) -> siltcode::Result<Option<Coincidence>> {
    let volumes = volumes.map(Coincidence::occupied).transpose()?;
    Ok(volumes.or(dead_time.map(Coincidence::dead_time).transpose()?))
}

#[derive(Serialize)]
pub(crate) struct Hidden {
    truth: f64,
    observed: f64,
    loss: f64,
    first_order: f64,
    near_saturation: bool,
}

/// What coincidence makes of the particles that there were, or were counted; nothing without a counter.
#[pyfunction]
pub(crate) fn coincidence(
    count: Given<Mean>,
    is_truth: bool,
    volumes: Option<f64>,
    dead_time: Option<f64>,
) -> Result<Plain<Option<Hidden>>> {
    let hidden = counter(volumes, dead_time)?.map(|counter| -> siltcode::Result<_> {
        let truth = if is_truth { count.0 } else { counter.truth(count.0)? };
        Ok(Hidden {
            truth: truth.get(),
            observed: counter.observed(truth).get(),
            loss: counter.loss(truth),
            first_order: counter.first_order(truth).get(),
            near_saturation: counter.is_near_saturation(truth),
        })
    });
    Ok(Plain(hidden.transpose()?))
}

/// The concentration up to which a result of this relative uncertainty is accepted.
#[pyfunction]
pub(crate) fn guarded(limit: Given<PerMl>, relative: Given<Scatter>, level: Given<Level>) -> f64 {
    precision::guarded(limit.0, relative.0, level.0).get()
}

/// A relative standard deviation, and the difference it explains at a level, in range numbers.
#[pyfunction]
pub(crate) fn in_numbers(relative: Given<Scatter>, level: Given<Level>) -> (f64, f64) {
    let difference = precision::difference_in_numbers(relative.0, level.0);
    (precision::sd_in_numbers(relative.0).get(), difference.get())
}

/// The expanded uncertainty of a result from so many particles, in range numbers.
#[pyfunction]
pub(crate) fn expanded_in_numbers(scatter: Given<Scatter>, total: Given<Mean>) -> Result<f64> {
    Ok(precision::expanded_in_numbers(scatter.0, total.0)?.get())
}

/// The chance to accept an item at the limit behind a guard band of so many standard uncertainties.
#[pyfunction]
pub(crate) fn false_accept_at_limit(bands: f64) -> f64 {
    precision::false_accept_at_limit(bands).get()
}

/// How strongly the counts at two nested sizes move together.
#[pyfunction]
pub(crate) fn nested_correlation(smaller: Given<Mean>, larger: Given<Mean>) -> Result<f64> {
    Ok(precision::nested_correlation(smaller.0, larger.0)?)
}

/// The concentration behind a count: its two-sided and its one-sided limits.
#[pyfunction]
pub(crate) fn posterior(
    counted: Counted,
    scatter: Given<Scatter>,
    level: Given<Level>,
) -> Plain<[Interval<PerMl>; 2]> {
    let posterior = Posterior::new(&counted.0, scatter.0);
    Plain([posterior.interval(level.0), posterior.one_sided(level.0)])
}

/// How likely the concentration behind a count is at most this.
#[pyfunction]
pub(crate) fn at_most(counted: Counted, scatter: Given<Scatter>, per_ml: Given<PerMl>) -> f64 {
    Posterior::new(&counted.0, scatter.0).at_most(per_ml.0).get()
}
