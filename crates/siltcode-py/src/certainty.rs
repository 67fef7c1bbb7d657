//! How sure a sample, a verdict or a comparison is; an evidence is the particles counted, the volume and the dilution.

use pyo3::prelude::*;
use serde::Serialize;
use siltcode::certainty::coincidence::Coincidence;
use siltcode::certainty::runs::{Criterion, Dispersion, Drift, Runs, Spread};
use siltcode::certainty::{
    Interval, Level, Limit, Mean, Probability, Scatter, corrections, decision, planner, precision, ratio,
};
use siltcode::count::whole_count;
use siltcode::{CountedVolume, Dilution, Evidence, PerMl, Size, SizeScale};

use crate::error::Result;
use crate::plain::{self, SampleGiven};

type Counted = (f64, f64, f64);

fn evidence((raw, volume_ml, dilution): Counted) -> siltcode::Result<Evidence> {
    Ok(Evidence::of_run(whole_count(raw)?, CountedVolume::from_ml(volume_ml)?, Dilution::new(dilution)?))
}

/// A sample against upper limits, each a size and a concentration \[um, particles/mL\].
#[pyfunction]
pub(crate) fn decide<'py>(
    py: Python<'py>,
    sample: SampleGiven,
    limits: Vec<(f64, f64)>,
    rule: &str,
    level: f64,
    scatter: f64,
) -> Result<Bound<'py, PyAny>> {
    let spectrum = sample.sample()?.spectrum()?;
    let limit =
        |(um, per_ml)| Ok(Limit { size: Size::new(um, spectrum.scale())?, per_ml: PerMl::new(per_ml)? });
    let limits = limits.into_iter().map(limit).collect::<siltcode::Result<Vec<_>>>()?;
    let (rule, scatter) = (plain::rule(rule, Level::new(level)?)?, Scatter::from_cv(scatter)?);
    let decision = py.detach(|| decision::decide(&spectrum, &limits, rule, scatter));
    let parts = plain::out(py, &decision)?;
    parts.set_item("settle", decision.settle.map(|settle| settle.to_string()))?;
    Ok(parts)
}

/// What several counts of the same fluid say of each other; nothing where nothing was counted.
#[pyfunction]
pub(crate) fn runs<'py>(
    py: Python<'py>,
    counted: Vec<Counted>,
    spread: Option<f64>,
    level: f64,
) -> Result<Bound<'py, PyAny>> {
    #[derive(Serialize)]
    struct Compared {
        dispersion: Dispersion,
        scatter: Scatter,
        first_differs: Probability,
        drift: Drift,
        spread: Spread,
        spread_is_exceeded: bool,
    }
    let each = counted.into_iter().map(evidence).collect::<siltcode::Result<Vec<_>>>()?;
    let criterion = spread.map_or(Criterion::Chance(Level::new(level)?), Criterion::Fraction);
    let compared = Runs::new(&each).map(|runs| Compared {
        dispersion: runs.dispersion(),
        scatter: runs.scatter(),
        first_differs: runs.first_differs(),
        drift: runs.drift(),
        spread: runs.spread(criterion),
        spread_is_exceeded: runs.spread(criterion).is_exceeded(),
    });
    plain::out(py, &compared)
}

/// The ratio of two concentrations.
#[pyfunction]
pub(crate) fn compare<'py>(
    py: Python<'py>,
    first: Counted,
    second: Counted,
    level: f64,
) -> Result<Bound<'py, PyAny>> {
    plain::out(py, &ratio::compare(&evidence(first)?, &evidence(second)?, Level::new(level)?))
}

/// The most particles at which a fluid at the limit would still be accepted too seldom to matter.
#[pyfunction]
pub(crate) fn most_to_accept(at_limit: f64, level: f64) -> Result<Option<u64>> {
    Ok(planner::most_to_accept(Mean::new(at_limit)?, Level::new(level)?))
}

/// A test planned before sampling.
#[pyfunction]
pub(crate) fn plan_volume<'py>(
    py: Python<'py>,
    limit: f64,
    clean: f64,
    level: f64,
    power: f64,
) -> Result<Bound<'py, PyAny>> {
    let (limit, clean) = (PerMl::new(limit)?, PerMl::new(clean)?);
    plain::out(py, &planner::volume(limit, clean, Level::new(level)?, Level::new(power)?)?)
}

/// What to do after so many particles in so much sample.
#[pyfunction]
pub(crate) fn sequential_step<'py>(
    py: Python<'py>,
    clean: f64,
    limit: f64,
    risks: (f64, f64),
    raw: f64,
    examined_ml: f64,
) -> Result<Bound<'py, PyAny>> {
    let (accept, reject) = (Probability::new(risks.0)?, Probability::new(risks.1)?);
    let plan = planner::Sequential::new(PerMl::new(clean)?, PerMl::new(limit)?, accept, reject)?;
    plain::out(py, &plan.step(whole_count(raw)?, CountedVolume::from_ml(examined_ml)?))
}

/// The concentration of a diluted sample with its standard uncertainty.
#[pyfunction]
pub(crate) fn diluted<'py>(
    py: Python<'py>,
    um: f64,
    counted: Counted,
    dilution_cv: f64,
    blank_per_ml: f64,
) -> Result<Bound<'py, PyAny>> {
    let (size, blank) = (Size::um_c(um)?, PerMl::new(blank_per_ml)?);
    let corrected = corrections::diluted(size, &evidence(counted)?, Scatter::from_cv(dilution_cv)?, blank)?;
    plain::out(py, &corrected)
}

/// A count less its blank.
#[pyfunction]
pub(crate) fn less_blank<'py>(
    py: Python<'py>,
    um: f64,
    sample: Counted,
    blank: Counted,
    level: f64,
) -> Result<Bound<'py, PyAny>> {
    #[derive(Serialize)]
    struct NetParts {
        per_ml: Option<PerMl>,
        interval_per_ml: Interval<PerMl>,
        significance: f64,
    }
    let net = corrections::Net::new(Size::um_c(um)?, &evidence(sample)?, &evidence(blank)?);
    let level = Level::new(level)?;
    let parts = NetParts {
        per_ml: net.per_ml().ok(),
        interval_per_ml: net.interval(level),
        significance: net.significance(),
    };
    plain::out(py, &parts)
}

/// The particles behind an observed count, and the share that coincidence hid.
#[pyfunction]
pub(crate) fn coincidence(observed: f64, occupied: f64) -> Result<(f64, f64)> {
    let coincidence = Coincidence::occupied(occupied)?;
    let truth = coincidence.truth(Mean::new(observed)?)?;
    Ok((truth.get(), coincidence.loss(truth)))
}

/// The concentration up to which a result of this relative uncertainty is accepted.
#[pyfunction]
pub(crate) fn guarded(limit: f64, relative: f64, level: f64) -> Result<f64> {
    Ok(precision::guarded(PerMl::new(limit)?, Scatter::from_cv(relative)?, Level::new(level)?).get())
}

/// A relative standard deviation, and the difference it explains at a level, in range numbers.
#[pyfunction]
pub(crate) fn in_numbers(relative: f64, level: f64) -> Result<(f64, f64)> {
    let (scatter, level) = (Scatter::from_cv(relative)?, Level::new(level)?);
    Ok((precision::sd_in_numbers(scatter).get(), precision::difference_in_numbers(scatter, level).get()))
}

/// The counts of all runs together: sizes, readings in words and numbers, evidence; with the code, if there is one.
#[pyfunction]
pub(crate) fn combined<'py>(py: Python<'py>, sample: SampleGiven) -> Result<Bound<'py, PyAny>> {
    plain::out(py, &sample.sample()?.spectrum()?)
}

/// The counts of all runs together in another scale of sizes, and what they were converted by.
#[pyfunction]
pub(crate) fn converted<'py>(py: Python<'py>, sample: SampleGiven, scale: &str) -> Result<Bound<'py, PyAny>> {
    let converted = sample.sample()?.spectrum()?.converted(scale.parse::<SizeScale>()?)?;
    let parts = (converted.spectrum, converted.conversion);
    plain::out(py, &parts)
}
