//! From a start, a target, a filter and a tank to turnovers: which channel decides, or what stands in the way.
//!
//! ```
//! use siltcode::filter::{Challenge, Rating};
//! use siltcode::tank::{Forecast, Plant, forecast::upper_bounds};
//! use siltcode::units::{Flow, Volume};
//!
//! let plant = Plant::new(Volume::from_m3(18.0)?, Flow::from_l_per_min(60.0)?)?;
//! let rating: Rating = "4:3,6:20,14:1000".parse()?;
//! let (start, target) = (upper_bounds("22/20/17".parse()?)?, upper_bounds("18/16/13".parse()?)?);
//! let forecast = Forecast::new(&start, &target, &rating, &Challenge::iso_medium_test_dust(), &[], &plant)?;
//! assert_eq!(forecast.deciding().map(|channel| channel.size.to_string()).as_deref(), Some("4 um(c)"));
//! assert_eq!(forecast.turnovers().map(|turnovers| turnovers.to_string()).as_deref(), Some("5.08"));
//! # Ok::<(), siltcode::Error>(())
//! ```

use serde::Serialize;

use super::cleanup::{BinState, Channel, Turnovers, halved};
use crate::class::iso4406::Code;
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::filter::{Beta, Challenge, Efficiency, Rating, Share};
use crate::size::{Size, SizeScale};
use crate::spec::{Demand, Spec};
use crate::spectrum::Spectrum;
use crate::units::{Duration, Flow, Volume};

/// Cumulative counts at sizes, or counts per mL that come in each hour.
pub type AtSizes = [(Size, PerMl)];

/// A tank and its circulation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plant {
    /// The fluid in the tank.
    pub volume: Volume,
    /// The flow through the circulation.
    pub flow: Flow,
    /// The share of the flow that avoids the medium.
    pub bypass: Share,
    /// The share of the return that goes straight to the suction.
    pub short_circuit: Share,
}

impl Plant {
    /// A well-mixed tank whose whole flow passes the medium.
    ///
    /// # Errors
    /// `no-flow` unless volume > 0 and flow > 0.
    pub fn new(volume: Volume, flow: Flow) -> Result<Self> {
        if volume.litres() > 0.0 && flow.l_per_min() > 0.0 {
            Ok(Self { volume, flow, bypass: Share::NONE, short_circuit: Share::NONE })
        } else {
            Err(ErrorKind::NoFlow {}.into())
        }
    }

    /// The efficiency seen from the tank.
    #[must_use]
    pub fn efficiency(&self, beta: Beta) -> Efficiency {
        beta.efficiency().bypassed(self.bypass).short_circuited(self.short_circuit)
    }

    /// The time of one turnover \[h\].
    fn turnover_hours(&self) -> f64 {
        self.volume.litres() / self.flow.l_per_min() / 60.0
    }

    /// How long so many turnovers take.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the time leaves the range of a double.
    pub fn time(&self, turnovers: Turnovers) -> Result<Duration> {
        Duration::from_hours(turnovers.get() * self.turnover_hours())
    }

    /// How many turnovers fit into a time.
    ///
    /// # Errors
    /// `factor-out-of-range` where the number leaves the range of a double.
    pub fn turnovers(&self, time: Duration) -> Result<Turnovers> {
        Turnovers::new(time.hours() / self.turnover_hours())
    }
}

/// What would bring the floor of a channel down to its target; each alone, and more than this of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Remedy {
    /// A larger flow.
    pub flow: Flow,
    /// A larger filtration ratio in every bin; none where even a perfect filter would not do.
    pub beta: Option<Beta>,
    /// The share of the ingress that may remain \[-\].
    pub ingress_share: f64,
}

/// One size of the target.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelForecast {
    /// The size at and above which particles count.
    pub size: Size,
    /// The start.
    pub start: PerMl,
    /// The most there may be in the end.
    pub target: PerMl,
    /// What no number of turnovers goes below.
    pub floor: PerMl,
    /// The turnovers needed; none where the target cannot be reached.
    pub turnovers: Option<Turnovers>,
    /// What would make it reachable.
    pub remedy: Option<Remedy>,
    /// The bins, for the concentration after any number of turnovers.
    pub channel: Channel,
}

/// The forecast for every size of a target.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// One entry a size, smallest first.
    pub channels: Vec<ChannelForecast>,
}

impl Forecast {
    /// Works out every channel.
    ///
    /// `ingress_per_hour` holds the particles per mL of tank, at and above each size, that come in each hour; it may
    /// be empty.
    ///
    /// # Errors
    /// `start-missing` where a size of the target or of the ingress is not among the start's;
    /// `target-without-particles`; `beta-not-rated`, `betas-inconsistent` as in [`Rating::bins`].
    pub fn new(
        start: &AtSizes,
        target: &AtSizes,
        rating: &Rating,
        challenge: &Challenge,
        ingress_per_hour: &AtSizes,
        plant: &Plant,
    ) -> Result<Self> {
        let smallest = target.iter().map(|(size, _)| size.um()).reduce(f64::min);
        let smallest = smallest.ok_or(ErrorKind::TargetWithoutParticles {})?;
        if let Some((size, _)) =
            target.iter().chain(ingress_per_hour).find(|(size, _)| at(start, *size).is_none())
        {
            return Err(ErrorKind::StartMissing { size: size.to_string() }.into());
        }
        let start: Vec<_> = start.iter().copied().filter(|(size, _)| size.um() >= smallest).collect();
        let sizes: Vec<Size> = start.iter().map(|&(size, _)| size).collect();
        let betas = rating.bins(&sizes, challenge)?;
        let ingress = rates(&sizes, ingress_per_hour);
        let bin = |i: usize| {
            let between = |n: f64, above: Option<f64>| PerMl::new((n - above.unwrap_or(0.0)).max(0.0));
            let first = between(start[i].1.get(), start.get(i + 1).map(|next| next.1.get()))?;
            let hourly = between(ingress[i], ingress.get(i + 1).copied())?;
            let entering = PerMl::new(hourly.get() * plant.turnover_hours())?;
            Ok(BinState::new(first, entering, plant.efficiency(betas[i])))
        };
        let bins: Vec<BinState> = (0..sizes.len()).map(bin).collect::<Result<_>>()?;
        let channels = target.iter().map(|&(size, limit)| {
            let from = sizes.iter().position(|&at| at == size).unwrap_or(0);
            ChannelForecast::new(size, start[from].1, limit, bins[from..].to_vec(), plant)
        });
        Ok(Self { channels: channels.collect::<Result<_>>()? })
    }

    /// The channel that takes longest, or the first that cannot reach its target.
    #[must_use]
    pub fn deciding(&self) -> Option<&ChannelForecast> {
        let turnovers = |channel: &ChannelForecast| channel.turnovers.map_or(f64::INFINITY, Turnovers::get);
        self.channels
            .iter()
            .reduce(|worst, next| if turnovers(next) > turnovers(worst) { next } else { worst })
    }

    /// The turnovers after which every target is met; none where one cannot be reached.
    #[must_use]
    pub fn turnovers(&self) -> Option<Turnovers> {
        self.deciding()?.turnovers
    }

    /// The concentrations after so many turnovers, at the sizes of the target.
    #[must_use]
    pub fn after(&self, turnovers: Turnovers) -> Vec<(Size, f64)> {
        self.channels.iter().map(|channel| (channel.size, channel.channel.after(turnovers))).collect()
    }
}

impl ChannelForecast {
    fn new(size: Size, start: PerMl, target: PerMl, bins: Vec<BinState>, plant: &Plant) -> Result<Self> {
        let channel = Channel::new(bins, target);
        let (floor, turnovers) = (PerMl::new(channel.floor())?, channel.turnovers());
        let remedy = match turnovers {
            None if target.get() > 0.0 => Some(Remedy::new(&channel, floor, target, plant)?),
            _ => None,
        };
        Ok(Self { size, start, target, floor, turnovers, remedy, channel })
    }
}

impl Remedy {
    fn new(channel: &Channel, floor: PerMl, target: PerMl, plant: &Plant) -> Result<Self> {
        let excess = floor.get() / target.get();
        let needed = channel.ingress() / target.get();
        let seen = |beta: f64| Ok::<f64, crate::Error>(plant.efficiency(Beta::new(beta)?).get());
        let beta = if seen(f64::INFINITY)? > needed {
            let ratio = |e: f64| 1.0 / (1.0 - e);
            let e = halved(0.0, 1.0, |e| seen(ratio(e)).unwrap_or(0.0) < needed);
            Some(Beta::new(ratio(e))?)
        } else {
            None
        };
        Ok(Self {
            flow: Flow::from_l_per_min(plant.flow.l_per_min() * excess)?,
            beta,
            ingress_share: 1.0 / excess,
        })
    }
}

fn at(counts: &AtSizes, size: Size) -> Option<PerMl> {
    counts.iter().find(|(at, _)| *at == size).map(|&(_, count)| count)
}

/// Rates at all sizes: where none is given, that of the next larger size, so that the bin in between has none.
fn rates(sizes: &[Size], given: &AtSizes) -> Vec<f64> {
    let mut larger = 0.0;
    let mut rates: Vec<f64> = sizes
        .iter()
        .rev()
        .map(|&size| {
            larger = at(given, size).map_or(larger, PerMl::get);
            larger
        })
        .collect();
    rates.reverse();
    rates
}

/// The upper bounds of a code's range numbers, at its sizes in um(c).
///
/// # Errors
/// `start-missing` where a number stands above the scale, which has no upper bound.
pub fn upper_bounds(code: Code) -> Result<Vec<(Size, PerMl)>> {
    let places = Code::sizes_um(SizeScale::UmC).into_iter().zip(code.range_numbers());
    let bounded = places.filter_map(|(um, number)| Some((um?, number?))).map(|(um, number)| {
        let size = Size::um_c(um)?;
        let upper = number.upper().ok_or_else(|| ErrorKind::StartMissing { size: size.to_string() })?;
        Ok((size, upper))
    });
    bounded.collect()
}

/// The most a spectrum may hold at each size that was counted or bounded from above.
///
/// # Errors
/// None in practice: the counts of a spectrum are valid.
pub fn at_most(spectrum: &Spectrum) -> Result<Vec<(Size, PerMl)>> {
    let counted =
        spectrum.channels().iter().filter(|c| c.reading.is_counted() && c.reading.at_most().is_finite());
    counted.map(|c| Ok((c.size, PerMl::new(c.reading.at_most())?))).collect()
}

/// What a specification allows at each size.
///
/// # Errors
/// `target-without-particles` where it limits none.
pub fn limits(spec: &Spec) -> Result<Vec<(Size, PerMl)>> {
    let mut limits: Vec<(Size, PerMl)> = Vec::new();
    for requirement in &spec.requirements {
        let Demand::Particles { size, limit } = requirement.demand else { continue };
        let Some(upper) = limit.upper() else { continue };
        match limits.iter_mut().find(|(at, _)| *at == size) {
            Some(entry) if upper < entry.1 => entry.1 = upper,
            Some(_) => {}
            None => limits.push((size, upper)),
        }
    }
    limits.sort_by(|a, b| a.0.um().total_cmp(&b.0.um()));
    if limits.is_empty() { Err(ErrorKind::TargetWithoutParticles {}.into()) } else { Ok(limits) }
}
