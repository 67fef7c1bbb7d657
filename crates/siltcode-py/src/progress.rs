//! A job under way: the fall of its samples, what remains, and what looks wrong.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::caution::Caution;
use siltcode::certainty::{Level, Probability, Scatter, Severity};
use siltcode::filter::{Beta, Challenge, Rating};
use siltcode::job::progress::{
    Bottle, Edge, ElementPeriod, Finding, FloorRule, Goodness, Options, Outlook, Progress as Series,
    Remaining, Seen, Shortfall, ShownEfficiency, SizeProgress, Spread, StandardErrors,
};
use siltcode::tank::Turnovers;
use siltcode::{CountedVolume, Dilution, PerMl, Size};

use crate::arrays::{Floats, placed, slice};
use crate::error::Result;
use crate::given::{Given, Plain};
use crate::plain::{self, SampleGiven};
use crate::tank::{EndGiven, mixing};

/// One sample: a code, counts of a bottle, or what was seen at sizes \[um(c)\] in words; the volume \[mL\].
#[derive(Deserialize)]
struct BottleGiven {
    turnovers: f64,
    code: Option<String>,
    sample: Option<SampleGiven>,
    seen: Vec<(f64, String)>,
    volume_ml: Option<f64>,
    dilution: f64,
}

/// From how many turnovers on elements are in service, and their rating where it is known.
#[derive(Deserialize)]
struct StageGiven {
    since: f64,
    rating: Option<String>,
}

impl StageGiven {
    fn period(&self, sizes: &[Size]) -> siltcode::Result<ElementPeriod> {
        let from = Turnovers::new(self.since)?;
        let Some(rating) = &self.rating else { return Ok(ElementPeriod { from, expected: Vec::new() }) };
        let bins = rating.parse::<Rating>()?.bins(sizes, &Challenge::iso_medium_test_dust())?;
        let expected = sizes.iter().copied().zip(bins.into_iter().map(Beta::efficiency)).collect();
        Ok(ElementPeriod { from, expected })
    }
}

/// How samples are looked at; without a scatter it is looked for, with one of each size's own both parts are stated.
#[derive(Deserialize)]
pub(crate) struct ProgressGiven {
    bottles: Vec<BottleGiven>,
    floor: Option<bool>,
    scatter: Option<f64>,
    own_scatter: Option<f64>,
    stages: Vec<StageGiven>,
    dead_zone: Option<(f64, f64)>,
    cells: Option<u16>,
    level: f64,
    alarm: f64,
}

plain::from_plain_values! { ProgressGiven }

impl BottleGiven {
    fn bottle(&self) -> siltcode::Result<Bottle> {
        let turnovers = Turnovers::new(self.turnovers)?;
        let volume = self.volume_ml.map(CountedVolume::from_ml).transpose()?;
        if let Some(sample) = &self.sample {
            return Bottle::of_spectrum(turnovers, &sample.sample()?.spectrum()?, volume);
        }
        let volume = volume.ok_or(siltcode::ErrorKind::RawWithoutVolume {})?;
        if let Some(code) = &self.code {
            return Bottle::of_code(turnovers, code.parse()?, volume);
        }
        let seen = self.seen.iter().map(|(um, seen)| Ok((Size::um_c(*um)?, seen.parse::<Seen>()?)));
        let seen = seen.collect::<siltcode::Result<Vec<_>>>()?;
        Bottle::new(turnovers, seen, volume, Dilution::new(self.dilution)?)
    }
}

impl ProgressGiven {
    fn progress(&self) -> siltcode::Result<Series> {
        let bottles = self.bottles.iter().enumerate().map(|(i, given)| placed(given.bottle(), i));
        let bottles = bottles.collect::<siltcode::Result<Vec<_>>>()?;
        let spread = match (self.scatter, self.own_scatter) {
            (None, _) => Spread::Found,
            (Some(shared), Some(own)) => {
                Spread::Parts { shared: Scatter::from_cv(shared)?, own: Scatter::from_cv(own)? }
            }
            (Some(0.0), None) => Spread::Counting,
            (Some(cv), None) => Spread::Stated(Scatter::from_cv(cv)?),
        };
        let rule = |floor| if floor { FloorRule::Free } else { FloorRule::Absent };
        let (level, alarm) = (Level::new(self.level)?, Level::new(self.alarm)?);
        let mut sizes: Vec<Size> =
            bottles.iter().flat_map(|bottle| bottle.seen().iter().map(|(size, _)| *size)).collect();
        sizes.sort_by(|a, b| a.um().total_cmp(&b.um()));
        sizes.dedup();
        let elements = self.stages.iter().map(|stage| stage.period(&sizes));
        let elements = elements.collect::<siltcode::Result<Vec<_>>>()?;
        let (floor, mixing) = (self.floor.map(rule), mixing(self.dead_zone, self.cells)?);
        let options = Options { floor, spread, level, alarm, elements, mixing };
        Series::new(&bottles, options)
    }
}

/// A fitted job.
#[pyclass(frozen, module = "siltcode._native")]
pub(crate) struct Progress(Series);

#[pyfunction]
pub(crate) fn fit_progress(py: Python<'_>, given: ProgressGiven) -> Result<Progress> {
    Ok(Progress(py.detach(|| given.progress())?))
}

#[derive(Serialize)]
struct FitParts {
    size: Size,
    size_um: f64,
    efficiency: f64,
    efficiencies: Vec<ShownEfficiency>,
    above_floor_per_ml: f64,
    floor_per_ml: f64,
    now_per_ml: f64,
    errors: Option<StandardErrors>,
    edge: Option<Edge>,
    seen: Vec<(Turnovers, String, f64, Option<f64>)>,
}

impl FitParts {
    fn new(progress: &SizeProgress) -> Self {
        let seen = progress.observed.iter().map(|observed| {
            let (seen, ml) = (observed.seen(), observed.examined_ml());
            (observed.turnovers(), seen.to_string(), ml, seen.count().map(|raw| raw as f64 / ml))
        });
        Self {
            size: progress.size,
            size_um: progress.size.um(),
            efficiency: progress.efficiency().get(),
            efficiencies: progress.efficiencies.clone(),
            above_floor_per_ml: progress.above_floor.get(),
            floor_per_ml: progress.floor.get(),
            now_per_ml: progress.now.get(),
            errors: progress.errors,
            edge: progress.edge,
            seen: seen.collect(),
        }
    }
}

/// What holds for all bins together.
#[derive(Serialize)]
struct WholeParts {
    ln_likelihood: f64,
    goodness: Goodness,
    floor_statistic: Option<f64>,
    floor_p: Option<Probability>,
    floor_shown: bool,
    scatter: f64,
    span: [Turnovers; 2],
}

impl WholeParts {
    fn new(series: &Series) -> Self {
        let test = series.floor_test();
        Self {
            ln_likelihood: series.ln_likelihood(),
            goodness: series.goodness(),
            floor_statistic: test.map(|test| test.statistic),
            floor_p: test.map(|test| test.p),
            floor_shown: series.is_floor_shown(),
            scatter: series.scatter().cv(),
            span: series.span(),
        }
    }
}

#[derive(Serialize)]
struct FindingParts {
    code: &'static str,
    severity: Severity,
    size: Option<String>,
    evidence: String,
    meaning: Vec<String>,
    advice: &'static str,
}

impl From<Finding> for FindingParts {
    fn from(finding: Finding) -> Self {
        let Finding { code, severity, size, evidence, meaning, advice } = finding;
        Self { code, severity, size: size.map(|size| size.to_string()), evidence, meaning, advice }
    }
}

#[derive(Serialize)]
struct RemainingParts {
    size: String,
    size_um: f64,
    target_per_ml: f64,
    now_per_ml: f64,
    estimate: Option<Turnovers>,
    low: Option<Turnovers>,
    high: Option<Turnovers>,
    against_never: f64,
    floor_seen_after: Option<Turnovers>,
}

#[derive(Serialize)]
struct OutlookParts {
    remaining: Remaining,
    deciding: usize,
    sizes: Vec<RemainingParts>,
    assumptions: Vec<String>,
    cautions: Vec<&'static Caution>,
}

impl From<Outlook> for OutlookParts {
    fn from(outlook: Outlook) -> Self {
        let (remaining, cautions) = (outlook.remaining(), outlook.cautions());
        let sizes = outlook.sizes.into_iter().map(|size| RemainingParts {
            size: size.size.to_string(),
            size_um: size.size.um(),
            target_per_ml: size.target.get(),
            now_per_ml: size.now.get(),
            estimate: size.remaining.estimate,
            low: size.remaining.low,
            high: size.remaining.high,
            against_never: size.remaining.against_never,
            floor_seen_after: size.floor_seen_after,
        });
        let (sizes, deciding) = (sizes.collect(), outlook.deciding);
        Self { remaining, deciding, sizes, assumptions: outlook.assumptions, cautions }
    }
}

#[pymethods]
impl Progress {
    fn fits<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &self.0.sizes().iter().map(FitParts::new).collect::<Vec<_>>())
    }

    fn whole<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &WholeParts::new(&self.0))
    }

    fn outlook<'py>(&self, py: Python<'py>, target: EndGiven) -> Result<Bound<'py, PyAny>> {
        plain::out(py, &OutlookParts::from(self.0.outlook(&target.target()?)?))
    }

    fn findings<'py>(&self, py: Python<'py>, target: Option<EndGiven>) -> Result<Bound<'py, PyAny>> {
        let target = target.map(|target| target.target()).transpose()?;
        let findings = self.0.findings(target.as_ref()).into_iter().map(FindingParts::from);
        plain::out(py, &findings.collect::<Vec<_>>())
    }

    /// What there is of a size and larger after turnovers \[particles/mL\].
    fn path<'py>(
        &self,
        py: Python<'py>,
        place: usize,
        turnovers: Floats<'py>,
    ) -> Result<Bound<'py, PyArray1<f64>>> {
        let at = |(i, after): (usize, &f64)| {
            let after = placed(Turnovers::new(*after), i)?;
            let size = self.0.sizes().get(place).map(|size| size.size);
            Ok(size.and_then(|size| self.0.path(size, after)).map_or(f64::NAN, PerMl::get))
        };
        let along = slice(&turnovers)?.iter().enumerate().map(at);
        Ok(along.collect::<siltcode::Result<Vec<f64>>>()?.into_pyarray(py))
    }
}

/// Standard errors to be expected of samples still to be drawn; nothing where they do not fix the curve.
#[pyfunction]
pub(crate) fn expected_errors(
    above_floor: Given<PerMl>,
    efficiency: f64,
    floor: Given<PerMl>,
    turnovers: Vec<f64>,
    volumes: Vec<f64>,
) -> Result<Plain<Option<StandardErrors>>> {
    let samples = turnovers.into_iter().zip(volumes).enumerate().map(|(i, (after, ml))| {
        let sample = Turnovers::new(after).and_then(|after| Ok((after, CountedVolume::from_ml(ml)?)));
        placed(sample, i)
    });
    let samples = samples.collect::<siltcode::Result<Vec<_>>>()?;
    let shown = ShownEfficiency::new(efficiency)?;
    Ok(Plain(StandardErrors::expected(above_floor.0, shown, floor.0, &samples)))
}

/// How far an efficiency lies below that of a filter of a ratio, and what would explain it.
#[pyfunction]
pub(crate) fn shortfall(shown: f64, standard_error: f64, beta: Given<Beta>) -> Result<Plain<Shortfall>> {
    let (shown, error) = (ShownEfficiency::new(shown)?, ShownEfficiency::new(standard_error)?);
    Ok(Plain(Shortfall::new(shown, error, beta.0.efficiency())))
}
