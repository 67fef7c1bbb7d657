//! Filters: ratings as text, and trains of stages of elements.

use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::certainty::{Interval, Level};
use siltcode::filter::rating::Rating;
use siltcode::filter::{
    Beta, BetaAt, Branch, Challenge, Efficiency, Element, Kind, MeasuredBeta, Share, Stage, Train,
};
use siltcode::units::Flow;
use siltcode::{CountedVolume, Dilution, Evidence, Size, SizeScale, count::whole_count};

use crate::error::Result;
use crate::plain;

/// Stages in the order of the flow, and the share of it that misses them all.
#[derive(Deserialize)]
pub(crate) struct TrainGiven {
    stages: Vec<StageGiven>,
    bypass: f64,
}

/// Elements side by side, and the share that gets past them.
#[derive(Deserialize)]
struct StageGiven {
    elements: Vec<ElementGiven>,
    leak: f64,
}

/// An element \[flows in L/min\].
#[derive(Deserialize)]
struct ElementGiven {
    kind: Kind,
    rated_flow: f64,
    flow: Option<f64>,
    beta: Option<String>,
}

impl TrainGiven {
    pub(crate) fn train(&self) -> siltcode::Result<Train> {
        let stages = self.stages.iter().map(StageGiven::stage).collect::<siltcode::Result<_>>()?;
        Ok(Train::new(stages)?.bypassed(Share::new(self.bypass)?))
    }
}

impl StageGiven {
    fn stage(&self) -> siltcode::Result<Stage> {
        let branches = self.elements.iter().map(ElementGiven::branch).collect::<siltcode::Result<_>>()?;
        Ok(Stage::parallel(branches)?.leaking(Share::new(self.leak)?))
    }
}

impl ElementGiven {
    fn branch(&self) -> siltcode::Result<Branch> {
        let rating = self.beta.as_deref().map(str::parse).transpose()?;
        let element = Element::new(self.kind, Flow::from_l_per_min(self.rated_flow)?, rating)?;
        Ok(Branch { flow: Flow::from_l_per_min(self.flow.unwrap_or(self.rated_flow))?, element })
    }
}

plain::from_plain_values! { TrainGiven }

/// A rating read from text and printed again.
#[pyfunction]
pub(crate) fn parse_beta(text: &str) -> Result<String> {
    Ok(text.parse::<Rating>()?.to_string())
}

/// The least and greatest ratio at each rated size.
#[pyfunction]
pub(crate) fn rated(text: &str) -> Result<Vec<(f64, f64, f64)>> {
    let rating = text.parse::<Rating>()?;
    let each =
        rating.rated().iter().map(|rated| (rated.size.um(), rated.beta.low.get(), rated.beta.high.get()));
    Ok(each.collect())
}

/// How a ratio at a size is known, with its ends and, between two rated sizes, the three ways to read it.
#[pyfunction]
pub(crate) fn beta_at<'py>(py: Python<'py>, text: &str, um: f64) -> Result<Bound<'py, PyAny>> {
    #[derive(Serialize)]
    struct At {
        known: &'static str,
        low: f64,
        high: f64,
        rules: Option<[f64; 3]>,
    }
    let at = |known, low: f64, high: f64, rules| At { known, low, high, rules };
    let found = match text.parse::<Rating>()?.at(Size::um_c(um)?)? {
        BetaAt::Rated(beta) => at("rated", beta.get(), beta.get(), None),
        BetaAt::Between(betas) => {
            let betas = betas.map(Beta::get);
            let (low, high) = betas.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), b| (l.min(*b), h.max(*b)));
            at("between", low, high, Some(betas))
        }
        BetaAt::Within(beta) => at("within", beta.low.get(), beta.high.get(), None),
        BetaAt::AtMost(beta) => at("at most", 1.0, beta.get(), None),
        BetaAt::AtLeast(beta) => at("at least", beta.get(), f64::INFINITY, None),
    };
    plain::out(py, &found)
}

fn sizes(ums: &[f64]) -> siltcode::Result<Vec<Size>> {
    ums.iter().map(|&um| Size::new(um, SizeScale::UmC)).collect()
}

/// The ratio in each bin between rising sizes, the last one open, under medium test dust.
#[pyfunction]
pub(crate) fn beta_bins(text: &str, ums: Vec<f64>) -> Result<Vec<f64>> {
    let bins = text.parse::<Rating>()?.bins(&sizes(&ums)?, &Challenge::iso_medium_test_dust())?;
    Ok(bins.into_iter().map(Beta::get).collect())
}

/// The efficiency of a train in each bin between rising sizes, the last one open, under medium test dust.
#[pyfunction]
pub(crate) fn train_bins(train: TrainGiven, ums: Vec<f64>) -> Result<Vec<f64>> {
    let bins = train.train()?.bins(&sizes(&ums)?, &Challenge::iso_medium_test_dust())?;
    Ok(bins.into_iter().map(Efficiency::get).collect())
}

/// The least and greatest efficiency of a train at and above a size.
#[pyfunction]
pub(crate) fn train_lumped(train: TrainGiven, um: f64) -> Result<(f64, f64)> {
    let Interval { low, high } = train.train()?.lumped(Size::um_c(um)?)?;
    Ok((low.get(), high.get()))
}

/// The ratio that a train cannot exceed, and the elements whose flow is above their rated flow.
#[pyfunction]
pub(crate) fn train_limits(train: TrainGiven) -> Result<(Option<f64>, Vec<String>)> {
    let train = train.train()?;
    let overloaded = train.overloaded().map(|branch| {
        format!("{} at {}, rated for {}", branch.element.kind(), branch.flow, branch.element.rated_flow())
    });
    Ok((train.ceiling().map(Beta::get), overloaded.collect()))
}

/// The ratio of counts before and behind a filter, each particles counted, volume and dilution.
#[pyfunction]
pub(crate) fn measured_beta<'py>(
    py: Python<'py>,
    upstream: Vec<(f64, f64, f64)>,
    downstream: Vec<(f64, f64, f64)>,
    level: f64,
) -> Result<Bound<'py, PyAny>> {
    let evidence = |(raw, ml, dilution): (f64, f64, f64)| -> siltcode::Result<Evidence> {
        Ok(Evidence::of_run(whole_count(raw)?, CountedVolume::from_ml(ml)?, Dilution::new(dilution)?))
    };
    let side = |counts: Vec<_>| counts.into_iter().map(evidence).collect::<siltcode::Result<Vec<_>>>();
    let measured = MeasuredBeta::of(&side(upstream)?, &side(downstream)?, Level::new(level)?)?;
    let parts = plain::out(py, &measured)?;
    parts.set_item("beta", measured.beta().map(Beta::get).ok())?;
    Ok(parts)
}
