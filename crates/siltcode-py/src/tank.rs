//! Cleaning a tank by recirculation: turnovers and hours to a target.

use std::num::NonZeroU16;

use numpy::{IntoPyArray, PyArray1, PyReadonlyArray1};
use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::certainty::{Level, Scatter};
use siltcode::filter::{Beta, Challenge, Efficiency, Rating, Share};
use siltcode::tank::{
    Assumption, Causes, Channel, ChannelForecast, DeadZone, Decline, Doubt, Ensemble, Forecast, Mixing,
    MixingFactor, Plant, Remedy, Sources, Start, Target, Turnovers,
};
use siltcode::units::{Duration, Flow, Volume};
use siltcode::{ErrorKind, Size};

use crate::arrays::slice;
use crate::error::Result;
use crate::filters::TrainGiven;
use crate::given::Given;
use crate::plain::{self, SampleGiven, SpectrumGiven};
use crate::settling::RestGiven;
use crate::specs::SpecGiven;

/// A start or a target: a code, a sample's counts, or (a target only) a specification.
#[derive(Deserialize)]
pub(crate) struct EndGiven {
    code: Option<String>,
    sample: Option<SampleGiven>,
    spec: Option<SpecGiven>,
}

/// Everything a forecast rests on \[m3, L/min, particles/mL, particles/mL/h\].
#[derive(Deserialize)]
pub(crate) struct PassesGiven {
    start: EndGiven,
    target: EndGiven,
    beta: Option<String>,
    train: Option<TrainGiven>,
    tank: f64,
    flow: f64,
    ingress: Option<SpectrumGiven>,
    shedding: Option<SpectrumGiven>,
    bypass: f64,
    short_circuit: f64,
    dead_zone: Option<(f64, f64)>,
    cells: Option<u16>,
    margin: f64,
    scatter: f64,
    start_spread: f64,
    beta_spread: f64,
    ingress_spread: f64,
    mixing: f64,
    mixing_spread: f64,
    rest: Option<RestGiven>,
}

plain::from_plain_values! { PassesGiven EndGiven }

impl EndGiven {
    /// Where a tank starts, bottles scattering so much.
    pub(crate) fn start(&self, scatter: f64) -> siltcode::Result<Start> {
        match (&self.code, &self.sample) {
            (Some(code), _) => Start::of_code(code.parse()?),
            (None, Some(sample)) => Start::of_sample(&sample.sample()?, Scatter::from_cv(scatter)?),
            (None, None) => Err(ErrorKind::NothingCounted {}.into()),
        }
    }

    /// What a tank must meet.
    pub(crate) fn target(&self) -> siltcode::Result<Target> {
        match (&self.code, &self.sample, &self.spec) {
            (Some(code), ..) => Target::of_code(code.parse()?),
            (_, Some(sample), _) => Target::of_counts(&sample.sample()?.spectrum()?),
            (.., Some(spec)) => Target::of_spec(&spec.spec()?),
            (None, None, None) => Err(ErrorKind::NothingCounted {}.into()),
        }
    }
}

impl PassesGiven {
    fn start(&self) -> siltcode::Result<Start> {
        let start = self.start.start(self.scatter);
        match &self.rest {
            Some(rest) => start?.rested(&rest.rest()?),
            None => start,
        }
    }

    fn target(&self) -> siltcode::Result<Target> {
        self.target.target()?.with_margin(self.margin)
    }

    fn sources(&self) -> siltcode::Result<Sources> {
        let sources = match &self.ingress {
            Some(ingress) => Sources::NONE.ingress_per_hour(&ingress.spectrum()?)?,
            None => Sources::NONE,
        };
        match &self.shedding {
            Some(shedding) => sources.shedding(&shedding.spectrum()?),
            None => Ok(sources),
        }
    }

    fn plant(&self) -> siltcode::Result<Plant> {
        let mixing = mixing(self.dead_zone, self.cells)?;
        let plant = Plant::new(Volume::from_m3(self.tank)?, Flow::from_l_per_min(self.flow)?)?;
        let (bypass, short_circuit) = (Share::new(self.bypass)?, Share::new(self.short_circuit)?);
        let mixing_factor = MixingFactor::new(self.mixing)?;
        Ok(Plant { bypass, short_circuit, mixing, mixing_factor, ..plant })
    }

    fn doubt(&self) -> siltcode::Result<Doubt> {
        Doubt::NONE
            .start(self.start_spread)?
            .beta(self.beta_spread)?
            .ingress(self.ingress_spread)?
            .mixing(self.mixing_spread)
    }

    /// The least, or the most, that the filter may hold back in each bin, under the dust of its test.
    fn bins(&self, sizes: &[Size], best: bool) -> siltcode::Result<Vec<Efficiency>> {
        let dust = Challenge::iso_medium_test_dust();
        if let Some(train) = &self.train {
            let train = train.train()?;
            return if best { train.bins_at_best(sizes, &dust) } else { train.bins_at_worst(sizes, &dust) };
        }
        let rating: Rating = self.beta.as_deref().unwrap_or_default().parse()?;
        let bins =
            if best { rating.bins_at_best(sizes, &dust)? } else { rating.bins_at_worst(sizes, &dust)? };
        Ok(bins.into_iter().map(Beta::efficiency).collect())
    }
}

/// A forecast and its doubt.
#[pyclass(frozen, module = "siltcode._native")]
pub(crate) struct Passes {
    forecast: Forecast,
    ensemble: Ensemble,
    /// The turnovers if every ratio is the best that its rating allows.
    best: Option<Turnovers>,
}

#[pyfunction]
pub(crate) fn passes(py: Python<'_>, given: PassesGiven) -> Result<Passes> {
    let made = py.detach(|| {
        let (start, target, sources, plant) =
            (given.start()?, given.target()?, given.sources()?, given.plant()?);
        let forecast =
            |best| Forecast::new(&start, &target, |sizes| given.bins(sizes, best), &sources, &plant);
        let best = forecast(true).ok().and_then(|best| best.turnovers());
        let forecast = forecast(false)?;
        let ensemble = forecast.ensemble(given.doubt()?);
        Ok::<_, siltcode::Error>(Passes { forecast, ensemble, best })
    });
    Ok(made?)
}

#[derive(Serialize)]
struct ChannelParts {
    size_um: f64,
    start_per_ml: f64,
    target_per_ml: f64,
    floor_per_ml: f64,
    turnovers: Option<Turnovers>,
    per_further_number: Option<Turnovers>,
    remedy: Option<RemedyParts>,
}

/// What would make a target reachable \[L/min\].
#[derive(Serialize)]
pub(crate) struct RemedyParts {
    flow: Option<f64>,
    beta: Option<f64>,
    ingress_share: Option<f64>,
}

impl From<Remedy> for RemedyParts {
    fn from(remedy: Remedy) -> Self {
        Self {
            flow: remedy.flow.map(Flow::l_per_min),
            beta: remedy.beta.map(Beta::get),
            ingress_share: remedy.ingress_share,
        }
    }
}

#[derive(Serialize)]
struct Parts<'a> {
    turnovers: Option<Turnovers>,
    nominal: Option<Turnovers>,
    at_best_rating: Option<Turnovers>,
    unverified: bool,
    hours: Option<f64>,
    deciding: Size,
    channels: Vec<ChannelParts>,
    causes: Option<Causes>,
    advice: Option<String>,
    transfers: Option<u32>,
    mean: f64,
    assumptions: &'a [Assumption],
}

#[pymethods]
impl Passes {
    fn parts<'py>(&self, py: Python<'py>) -> Result<Bound<'py, PyAny>> {
        let forecast = &self.forecast;
        let channels = forecast.channels.iter().map(|channel| ChannelParts {
            size_um: channel.size.um(),
            start_per_ml: channel.start.get(),
            target_per_ml: channel.target.get(),
            floor_per_ml: channel.floor.get(),
            turnovers: channel.turnovers,
            per_further_number: channel.turnovers_per_further_number(),
            remedy: channel.remedy.map(RemedyParts::from),
        });
        let parts = Parts {
            turnovers: forecast.turnovers(),
            nominal: forecast.nominal(),
            at_best_rating: self.best,
            unverified: forecast.assumptions.contains(&Assumption::UnverifiedTarget),
            hours: forecast.time()?.map(Duration::hours),
            deciding: forecast.deciding().size,
            channels: channels.collect(),
            causes: self.ensemble.causes(),
            advice: self.ensemble.causes().map(|causes| causes.to_string()),
            transfers: forecast.transfers(),
            mean: self.ensemble.mean(),
            assumptions: &forecast.assumptions,
        };
        plain::out(py, &parts)
    }

    /// The turnovers that are enough with this probability; nothing where no number is.
    fn quantile(&self, p: Given<Level>) -> Option<f64> {
        self.ensemble.quantile(p.0).map(Turnovers::get)
    }

    fn hours(&self, turnovers: Given<Turnovers>) -> Result<f64> {
        Ok(self.forecast.plant.time(turnovers.0)?.hours())
    }

    /// The turnovers within a time.
    fn turnovers(&self, time: Given<Duration>) -> Result<f64> {
        Ok(self.forecast.plant.turnovers(time.0)?.get())
    }

    /// The time while the flow goes in a straight line to another \[h\]; nothing where no time is enough.
    fn hours_declining(&self, to: Given<Flow>, over: Given<Duration>) -> Result<Option<f64>> {
        let decline = Decline::new(&self.forecast.plant, to.0, over.0)?;
        Ok(self.forecast.time_declining(&decline)?.map(Duration::hours))
    }

    /// The turnovers within a time while the flow goes in a straight line to another.
    fn turnovers_declining(
        &self,
        time: Given<Duration>,
        to: Given<Flow>,
        over: Given<Duration>,
    ) -> Result<f64> {
        Ok(Decline::new(&self.forecast.plant, to.0, over.0)?.turnovers(time.0)?.get())
    }

    /// The ratio that would be enough in so many turnovers, at each size of the target.
    fn beta_for(&self, turnovers: Given<Turnovers>) -> Vec<Option<f64>> {
        let needed = self.forecast.beta_for(turnovers.0);
        needed.into_iter().map(|(_, beta)| beta.map(Beta::get)).collect()
    }

    /// The flow that would be enough in this time \[h to L/min\].
    fn flow_for(&self, time: Given<Duration>) -> Result<Option<f64>> {
        Ok(self.forecast.flow_for(time.0)?.map(Flow::l_per_min))
    }

    fn code_after(&self, turnovers: Given<Turnovers>) -> Result<String> {
        Ok(self.forecast.code_after(turnovers.0)?.to_string())
    }

    /// The concentrations at each size of the target after so many transfers into a clean tank.
    fn transferred(&self, transfers: u32) -> Vec<f64> {
        self.forecast.channels.iter().map(|channel| channel.channel.transferred(transfers)).collect()
    }

    /// The probability that so many turnovers are enough, for each.
    fn clean_after<'py>(
        &self,
        py: Python<'py>,
        turnovers: PyReadonlyArray1<'py, f64>,
    ) -> Result<Bound<'py, PyArray1<f64>>> {
        let each = slice(&turnovers)?.iter();
        let each = each.map(|&turnovers| Ok(self.ensemble.clean_after(Turnovers::new(turnovers)?).get()));
        Ok(each.collect::<siltcode::Result<Vec<f64>>>()?.into_pyarray(py))
    }

    /// The concentrations at each size of the target after each number of turnovers, one size after the other: on
    /// average over the tank, or at the suction.
    fn path<'py>(
        &self,
        py: Python<'py>,
        turnovers: PyReadonlyArray1<'py, f64>,
        at_suction: bool,
    ) -> Result<Vec<Bound<'py, PyArray1<f64>>>> {
        let turnovers = slice(&turnovers)?.iter().map(|&turnovers| Turnovers::new(turnovers));
        let turnovers = turnovers.collect::<siltcode::Result<Vec<_>>>()?;
        let at = if at_suction { Channel::at_suction } else { Channel::after };
        let of_size = |channel: &ChannelForecast| {
            let along = turnovers.iter().map(|&turnovers| at(&channel.channel, turnovers));
            along.collect::<Vec<f64>>().into_pyarray(py)
        };
        Ok(self.forecast.channels.iter().map(of_size).collect())
    }
}

/// A share of the volume that hardly moves with its exchange, or so many cells in a row; a stirred tank without either.
pub(crate) fn mixing(dead_zone: Option<(f64, f64)>, cells: Option<u16>) -> siltcode::Result<Mixing> {
    Ok(match (dead_zone, cells.and_then(NonZeroU16::new)) {
        (Some((dead, exchange)), _) => {
            Mixing::DeadZone(DeadZone::new(Share::new(dead)?, Share::new(exchange)?)?)
        }
        (None, Some(cells)) => Mixing::Cells(cells),
        (None, None) => Mixing::Well,
    })
}
