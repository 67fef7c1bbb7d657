//! Filters: ratings as text, and trains of stages of elements.

use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::certainty::{Interval, Level};
use siltcode::filter::rating::Rating;
use siltcode::filter::{
    Beta, BetaAt, Branch, Challenge, Efficiency, Element, Kind, MeasuredBeta, PressureDrop, Price, Share,
    Stage, Train,
};
use siltcode::units::{Duration, Flow, KinematicViscosity, Mass, Pressure, Volume};
use siltcode::{PerMl, Size, SizeScale};

use crate::error::Result;
use crate::given::{Counted, Given, Plain};
use crate::plain::{self, SampleGiven};

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

/// An element \[L/min, kPa, mm2/s, g, mL, h\].
#[derive(Deserialize)]
pub(crate) struct ElementGiven {
    kind: Kind,
    rated_flow: f64,
    flow: Option<f64>,
    beta: Option<String>,
    clean: Option<f64>,
    terminal: Option<f64>,
    viscosity: Option<f64>,
    dirt_capacity: Option<f64>,
    water_capacity: Option<f64>,
    price: Option<f64>,
    change_time: Option<f64>,
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
        let flow = Flow::from_l_per_min(self.flow.unwrap_or(self.rated_flow))?;
        Ok(Branch { flow, element: self.element()? })
    }

    fn element(&self) -> siltcode::Result<Element> {
        let rating = self.beta.as_deref().map(str::parse).transpose()?;
        let mut element = Element::new(self.kind, Flow::from_l_per_min(self.rated_flow)?, rating)?;
        if let Some(drop) = self.drop()? {
            element = element.with_drop(drop);
        }
        if let Some(grams) = self.dirt_capacity {
            element = element.with_dirt_capacity(Mass::from_grams(grams)?);
        }
        if let Some(ml) = self.water_capacity {
            element = element.with_water_capacity(Volume::from_ml(ml)?);
        }
        if let Some(price) = self.price {
            element = element.with_price(Price::new(price)?);
        }
        if let Some(hours) = self.change_time {
            element = element.with_change_time(Duration::from_hours(hours)?);
        }
        Ok(element)
    }

    /// Its pressures, where all three values are given.
    fn drop(&self) -> siltcode::Result<Option<PressureDrop>> {
        let (Some(clean), Some(terminal), Some(viscosity)) = (self.clean, self.terminal, self.viscosity)
        else {
            return Ok(None);
        };
        let viscosity = KinematicViscosity::from_mm2_per_s(viscosity)?;
        PressureDrop::new(Pressure::from_kpa(clean)?, Pressure::from_kpa(terminal)?, viscosity).map(Some)
    }
}

plain::from_plain_values! { TrainGiven ElementGiven }

/// A rating read from text and printed again.
#[pyfunction]
pub(crate) fn parse_beta(text: &str) -> Result<String> {
    Ok(text.parse::<Rating>()?.to_string())
}

/// The least and greatest ratio at each rated size.
#[pyfunction]
pub(crate) fn rated(text: &str) -> Result<Vec<(f64, f64, f64)>> {
    Ok(rated_parts(&text.parse::<Rating>()?))
}

fn rated_parts(rating: &Rating) -> Vec<(f64, f64, f64)> {
    let rated = rating.rated().iter();
    rated.map(|rated| (rated.size.um(), rated.beta.low.get(), rated.beta.high.get())).collect()
}

/// The same rating with a smaller `beta - 1`.
#[pyfunction]
pub(crate) fn beta_derated(text: &str, divisor: f64) -> Result<Vec<(f64, f64, f64)>> {
    Ok(rated_parts(&text.parse::<Rating>()?.derated(divisor)?))
}

/// The size at which a rating reaches a ratio, by the three interpolations \[um(c)\].
#[pyfunction]
pub(crate) fn size_for(text: &str, beta: Given<Beta>) -> Result<Option<[f64; 3]>> {
    Ok(text.parse::<Rating>()?.size_for(beta.0).map(|sizes| sizes.map(Size::um)))
}

/// The ratio to reckon with at a size.
#[pyfunction]
pub(crate) fn beta_working(text: &str, size: Given<Size>) -> Result<f64> {
    Ok(text.parse::<Rating>()?.working(size.0)?.get())
}

#[derive(Serialize)]
pub(crate) struct At {
    known: &'static str,
    low: f64,
    high: f64,
    rules: Option<[f64; 3]>,
}

/// How a ratio at a size is known, with its ends and, between two rated sizes, the three ways to read it.
#[pyfunction]
pub(crate) fn beta_at(text: &str, size: Given<Size>) -> Result<Plain<At>> {
    let at = |known, low: f64, high: f64, rules| At { known, low, high, rules };
    Ok(Plain(match text.parse::<Rating>()?.at(size.0)? {
        BetaAt::Rated(beta) => at("rated", beta.get(), beta.get(), None),
        BetaAt::Between(betas) => {
            let betas = betas.map(Beta::get);
            let (low, high) = betas.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), b| (l.min(*b), h.max(*b)));
            at("between", low, high, Some(betas))
        }
        BetaAt::Within(beta) => at("within", beta.low.get(), beta.high.get(), None),
        BetaAt::AtMost(beta) => at("at most", 1.0, beta.get(), None),
        BetaAt::AtLeast(beta) => at("at least", beta.get(), f64::INFINITY, None),
    }))
}

fn sizes(ums: &[f64]) -> siltcode::Result<Vec<Size>> {
    ums.iter().map(|&um| Size::new(um, SizeScale::UmC)).collect()
}

/// What a filter was tested with: the counts of a sample, else medium test dust.
fn challenge(sample: Option<&SampleGiven>) -> siltcode::Result<Challenge> {
    match sample {
        Some(sample) => Challenge::of(&sample.sample()?.spectrum()?),
        None => Ok(Challenge::iso_medium_test_dust()),
    }
}

/// The ratio in each bin between rising sizes, the last one open, as reckoned with or at best.
#[pyfunction]
pub(crate) fn beta_bins(
    text: &str,
    ums: Vec<f64>,
    tested_with: Option<SampleGiven>,
    at_best: bool,
) -> Result<Vec<f64>> {
    let (rating, sizes, dust) = (text.parse::<Rating>()?, sizes(&ums)?, challenge(tested_with.as_ref())?);
    let bins = if at_best { rating.bins_at_best(&sizes, &dust) } else { rating.bins(&sizes, &dust) };
    Ok(bins?.into_iter().map(Beta::get).collect())
}

/// The efficiency of a train in each bin between rising sizes, the last one open, as reckoned with or at best.
#[pyfunction]
pub(crate) fn train_bins(
    train: TrainGiven,
    ums: Vec<f64>,
    tested_with: Option<SampleGiven>,
    at_best: bool,
) -> Result<Vec<f64>> {
    let (train, sizes, dust) = (train.train()?, sizes(&ums)?, challenge(tested_with.as_ref())?);
    let bins = if at_best { train.bins_at_best(&sizes, &dust) } else { train.bins(&sizes, &dust) };
    Ok(bins?.into_iter().map(Efficiency::get).collect())
}

/// The least and greatest efficiency of a train at and above a size.
#[pyfunction]
pub(crate) fn train_lumped(train: TrainGiven, size: Given<Size>) -> Result<(f64, f64)> {
    let Interval { low, high } = train.train()?.lumped(size.0)?;
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

/// The ratio of counts before and behind a filter.
#[pyfunction]
pub(crate) fn measured_beta<'py>(
    py: Python<'py>,
    upstream: Vec<Counted>,
    downstream: Vec<Counted>,
    level: Given<Level>,
) -> Result<Bound<'py, PyAny>> {
    let side = |counts: Vec<Counted>| counts.into_iter().map(|counted| counted.0).collect::<Vec<_>>();
    let measured = MeasuredBeta::of(&side(upstream), &side(downstream), level.0)?;
    let parts = plain::out(py, &measured)?;
    parts.set_item("beta", measured.beta().map(Beta::get).ok())?;
    Ok(parts)
}

/// The differential pressure of a clean element at a flow and viscosity \[kPa\]; nothing where its own are not known.
#[pyfunction]
pub(crate) fn clean_at(
    element: ElementGiven,
    flow: Given<Flow>,
    viscosity: Given<KinematicViscosity>,
) -> Result<Option<f64>> {
    Ok(element.element()?.clean_at(flow.0, viscosity.0).transpose()?.map(Pressure::kpa))
}

/// What a differential pressure read at a flow and viscosity is at rated ones \[kPa\]; nothing likewise.
#[pyfunction]
pub(crate) fn at_rated(
    element: ElementGiven,
    reading: Given<Pressure>,
    flow: Given<Flow>,
    viscosity: Given<KinematicViscosity>,
) -> Result<Option<f64>> {
    Ok(element.element()?.at_rated(reading.0, flow.0, viscosity.0).transpose()?.map(Pressure::kpa))
}

/// The ratio of two elements in series, for one and the same particle.
#[pyfunction]
pub(crate) fn in_series(first: Given<Beta>, second: Given<Beta>) -> f64 {
    first.0.in_series(second.0).get()
}

/// The ratio of an element that a share of the flow gets past.
#[pyfunction]
pub(crate) fn leaking(beta: Given<Beta>, leak: Given<Share>) -> f64 {
    beta.0.leaking(leak.0).get()
}

/// The ratio that no filter exceeds which a share of the flow gets past; nothing without such a share.
#[pyfunction]
pub(crate) fn ceiling(leak: Given<Share>) -> Option<f64> {
    leak.0.ceiling().map(Beta::get)
}

/// The ratio of concentrations before and behind a filter, in pairs.
#[pyfunction]
pub(crate) fn ratio_of_pairs(pairs: Vec<(Given<PerMl>, Given<PerMl>)>) -> Result<f64> {
    let pairs: Vec<_> = pairs.into_iter().map(|(upstream, downstream)| (upstream.0, downstream.0)).collect();
    Ok(Beta::from_pairs(&pairs)?.get())
}

/// The ratio of all particles together, from what enters in each bin and the ratio there.
#[pyfunction]
pub(crate) fn ratio_of_bins(bins: Vec<(Given<PerMl>, Given<Beta>)>) -> Result<f64> {
    let bins: Vec<_> = bins.into_iter().map(|(entering, beta)| (entering.0, beta.0)).collect();
    Ok(Beta::lumped(&bins)?.get())
}
