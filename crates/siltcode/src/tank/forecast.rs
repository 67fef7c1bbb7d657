//! From a start, a target, a filter and a tank to turnovers: which channel decides, or what stands in the way.
//!
//! ```
//! use siltcode::Size;
//! use siltcode::filter::{Beta, Challenge, Rating};
//! use siltcode::tank::{Forecast, Plant, Sources, Start, Target};
//! use siltcode::units::{Flow, Volume};
//!
//! let plant = Plant::new(Volume::from_m3(18.0)?, Flow::from_l_per_min(60.0)?)?;
//! let (start, target) = (Start::of_code("22/20/17".parse()?)?, Target::of_code("18/16/13".parse()?)?);
//! let (rating, dust) = ("4:3,6:20,14:1000".parse::<Rating>()?, Challenge::iso_medium_test_dust());
//! let bins = |sizes: &[Size]| Ok(rating.bins(sizes, &dust)?.into_iter().map(Beta::efficiency).collect());
//! let forecast = Forecast::new(&start, &target, bins, &Sources::NONE, &plant)?;
//!
//! let deciding = forecast.deciding();
//! assert_eq!(deciding.size.to_string(), "4 um(c)");
//! assert_eq!(deciding.turnovers.map(|turnovers| turnovers.to_string()).as_deref(), Some("5.2"));
//! assert_eq!(forecast.time()?.map(|time| time.to_string()).as_deref(), Some("25.9858 h"));
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::fmt;

use serde::{Serialize, Serializer};

use super::channel::{BinState, Channel};
use super::doubt::Doubt;
use super::endpoints::{AtSizes, Sources, Start, Target};
use super::ensemble::Ensemble;
use super::mixing::Mixing;
use super::mixing_factor::MixingFactor;
use super::plant::Plant;
use super::turnovers::Turnovers;
use crate::certainty::quadrature::crossing;
use crate::class::iso4406::RangeNumber;
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::filter::{Beta, Efficiency};
use crate::size::Size;
use crate::status::UNVERIFIED_LIMITS;
use crate::units::{Duration, Flow};

/// What a forecast takes for granted. Printed as a sentence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Assumption {
    /// The start is known only by upper bounds.
    StartAtBounds,
    /// No ingress was stated.
    NoIngress,
    /// The tank is stirred.
    Stirred,
    /// The target rests on limits that were recalled and not read anywhere.
    UnverifiedTarget,
    /// Imperfect mixing multiplies the turnovers of a stirred tank.
    MixingFactor,
    /// The mixing factor leaves the floor as it is.
    FloorOfStirredTank,
    /// Volume, flow, ratios and sources stay as they are, and nothing settles.
    Steady,
    /// The ratio of a bin holds for every particle in it.
    BinsAlike,
}

impl fmt::Display for Assumption {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::StartAtBounds => "the start is a code or a bound: the most it allows is used",
            Self::NoIngress => "no ingress was stated: nothing comes in",
            Self::Stirred => "the tank is stirred: mixing takes far less time than a turnover",
            Self::UnverifiedTarget => UNVERIFIED_LIMITS,
            Self::MixingFactor => "the mixing factor multiplies the turnovers of a stirred tank",
            Self::FloorOfStirredTank => {
                "the mixing factor does not raise the floor that ingress sets: it is that of a stirred tank; a dead \
                 zone or cells would raise it"
            }
            Self::Steady => "volume, ratios and sources stay as they are, and nothing settles",
            Self::BinsAlike => "all particles between two sizes are held back alike",
        })
    }
}

impl Serialize for Assumption {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// What would bring the floor of a channel down to its target; each alone, and more than this of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Remedy {
    /// A larger flow; none where the filter sheds too much at any flow.
    pub flow: Option<Flow>,
    /// A larger filtration ratio in every bin; none where even a perfect filter would not do.
    pub beta: Option<Beta>,
    /// The share of the ingress that may remain \[-\]; none where the filter sheds too much without any.
    pub ingress_share: Option<f64>,
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
    /// The turnovers needed; none where the target cannot be reached. No turnovers: already there.
    pub turnovers: Option<Turnovers>,
    /// What would make it reachable, where it is not and its target is above 0.
    pub remedy: Option<Remedy>,
    /// The bins, for the concentration after any number of turnovers.
    pub channel: Channel,
}

/// The forecast for every size of a target.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// One entry a size, smallest first. There is at least one.
    pub channels: Vec<ChannelForecast>,
    /// The plant.
    pub plant: Plant,
    /// What was taken for granted.
    pub assumptions: Vec<Assumption>,
}

impl Forecast {
    /// Works out every channel.
    ///
    /// `bins` gives the efficiency of the filter in each bin between the sizes it is asked for, the last bin open: of a
    /// [rating](crate::filter::Rating::bins) or a [train](crate::filter::Train::bins) under the dust of its test, or
    /// the user's own.
    ///
    /// # Errors
    /// `start-missing` where a size of the target or of the sources is not among the start's; `lengths-differ` unless
    /// there is one efficiency for each size; those of `bins`.
    pub fn new(
        start: &Start,
        target: &Target,
        bins: impl FnOnce(&[Size]) -> Result<Vec<Efficiency>>,
        sources: &Sources,
        plant: &Plant,
    ) -> Result<Self> {
        ensure_known(start, target, sources)?;
        let smallest = target.limits()[0].0.um();
        let first = start.counts().partition_point(|(size, _)| size.um() < smallest);
        let counts = &start.counts()[first..];
        let sizes: Vec<Size> = counts.iter().map(|&(size, _)| size).collect();
        let held_back = bins(&sizes)?;
        if held_back.len() != sizes.len() {
            return Err(ErrorKind::LengthsDiffer { input: sizes.len(), output: held_back.len() }.into());
        }
        let bins = states(counts, &held_back, sources, plant)?;
        let channels = target.limits().iter().map(|&(size, limit)| {
            let from = sizes.iter().position(|&at| at == size).unwrap_or(0);
            let channel = Channel::new(bins[from..].to_vec(), limit).mixed(plant.mixing);
            let channel = channel.slowed(plant.mixing_factor);
            let channel = channel.doubted(start.log_sd()[first + from]);
            ChannelForecast::new(size, counts[from].1, limit, channel, plant)
        });
        let assumptions = assumptions(start, target, sources, plant);
        Ok(Self { channels: channels.collect::<Result<_>>()?, plant: *plant, assumptions })
    }

    /// The channel that takes longest, or the first that cannot reach its target.
    #[must_use]
    pub fn deciding(&self) -> &ChannelForecast {
        let turnovers = |i: usize| self.channels[i].turnovers.map_or(f64::INFINITY, Turnovers::get);
        let later = |worst, next| if turnovers(next) > turnovers(worst) { next } else { worst };
        &self.channels[(0..self.channels.len()).fold(0, later)]
    }

    /// How sure the turnovers are, with what is stated of each cause and what the start's counts say themselves.
    #[must_use]
    pub fn ensemble(&self, doubt: Doubt) -> Ensemble {
        let channels: Vec<Channel> = self.channels.iter().map(|channel| channel.channel.clone()).collect();
        Ensemble::new(&channels, doubt)
    }

    /// The turnovers after which every target is met; none where one cannot be reached.
    #[must_use]
    pub fn turnovers(&self) -> Option<Turnovers> {
        self.deciding().turnovers
    }

    /// The turnovers of a tank that is stirred, without the [mixing factor](MixingFactor); none where a target cannot be
    /// reached.
    #[must_use]
    pub fn nominal(&self) -> Option<Turnovers> {
        let factor = self.plant.mixing_factor.get();
        self.turnovers().map(|turnovers| Turnovers::computed(turnovers.get() / factor))
    }

    /// The time after which every target is met; none where one cannot be reached.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the time leaves the range of a double.
    pub fn time(&self) -> Result<Option<Duration>> {
        self.turnovers().map(|turnovers| self.plant.time(turnovers)).transpose()
    }

    /// The concentrations after so many turnovers, at the sizes of the target.
    ///
    /// # Errors
    /// `count-not-finite` where a concentration leaves the range of a double.
    pub fn after(&self, turnovers: Turnovers) -> Result<Vec<(Size, PerMl)>> {
        let at =
            |channel: &ChannelForecast| Ok((channel.size, PerMl::new(channel.channel.after(turnovers))?));
        self.channels.iter().map(at).collect()
    }
}

impl ChannelForecast {
    fn new(size: Size, start: PerMl, target: PerMl, channel: Channel, plant: &Plant) -> Result<Self> {
        let (floor, turnovers) = (PerMl::new(channel.floor().min(f64::MAX))?, channel.turnovers());
        let remedy = match turnovers {
            None if target.get() > 0.0 => Some(Remedy::new(&channel, target, plant)?),
            _ => None,
        };
        Ok(Self { size, start, target, floor, turnovers, remedy, channel })
    }

    /// The turnovers from the target to the next cleaner range number, at this size; none where that cannot be
    /// reached. Every number further takes at least as many.
    #[must_use]
    pub fn turnovers_per_further_number(&self) -> Option<Turnovers> {
        let target = RangeNumber::of(self.target).get();
        let cleaner = RangeNumber::new(target.checked_sub(1)?).ok()?.upper()?;
        let further = self.channel.turnovers_to(cleaner.get())?.get() - self.turnovers?.get();
        Turnovers::new(further).ok()
    }
}

impl Remedy {
    fn new(channel: &Channel, target: PerMl, plant: &Plant) -> Result<Self> {
        let (target, shed) = (target.get(), channel.shed_floor());
        let excess = (channel.floor() - shed) / (target - shed);
        // what holds back nothing lets ingress gather without end, at any flow
        let possible = shed < target && excess.is_finite();
        let enough =
            |beta: Beta| channel.with_efficiency(beta.efficiency().bypassed(plant.bypass)).floor() < target;
        Ok(Self {
            flow: possible.then(|| Flow::from_l_per_min(plant.flow.l_per_min() * excess)).transpose()?,
            beta: least_beta(enough),
            ingress_share: possible.then_some(1.0 / excess),
        })
    }
}

/// The least ratio that is enough; none where no filter is.
pub(super) fn least_beta(enough: impl Fn(Beta) -> bool) -> Option<Beta> {
    if !enough(Beta::INFINITE) {
        return None;
    }
    // halved in the logarithm of beta - 1
    let beta = |log: f64| Beta::new(1.0 + log.exp()).ok();
    let short = |log: f64| if beta(log).is_some_and(&enough) { -1.0 } else { 1.0 };
    beta(crossing(short, LEAST_LOG, -LEAST_LOG))
}

/// The logarithm of the least `beta - 1` that a double can tell from 0.
const LEAST_LOG: f64 = -36.0;

fn assumptions(start: &Start, target: &Target, sources: &Sources, plant: &Plant) -> Vec<Assumption> {
    let slowed = plant.mixing_factor > MixingFactor::NONE;
    let said = [
        (target.is_unverified(), Assumption::UnverifiedTarget),
        (start.is_bounds(), Assumption::StartAtBounds),
        (sources.ingress().is_empty(), Assumption::NoIngress),
        (plant.mixing == Mixing::Well && !slowed, Assumption::Stirred),
        (slowed, Assumption::MixingFactor),
        (slowed && !sources.ingress().is_empty(), Assumption::FloorOfStirredTank),
        (true, Assumption::Steady),
        (true, Assumption::BinsAlike),
    ];
    said.into_iter().filter_map(|(holds, assumption)| holds.then_some(assumption)).collect()
}

fn ensure_known(start: &Start, target: &Target, sources: &Sources) -> Result<()> {
    let asked = [target.limits(), sources.ingress(), sources.shed()].into_iter().flatten();
    let known: Vec<Size> = start.counts().iter().map(|&(size, _)| size).collect();
    match asked.map(|&(size, _)| size).find(|size| !known.contains(size)) {
        Some(size) => {
            let known = known.iter().map(Size::to_string).collect::<Vec<_>>().join(", ");
            Err(ErrorKind::StartMissing { size: size.to_string(), known }.into())
        }
        None => Ok(()),
    }
}

fn states(
    counts: &AtSizes,
    held_back: &[Efficiency],
    sources: &Sources,
    plant: &Plant,
) -> Result<Vec<BinState>> {
    let cumulative: Vec<f64> = counts.iter().map(|count| count.1.get()).collect();
    let (start, ingress, shed) =
        (bands(&cumulative), bands(&rates(counts, sources.ingress())), bands(&rates(counts, sources.shed())));
    let bin = |i: usize| {
        let entering = PerMl::new(ingress[i] * plant.turnover_hours())?;
        let bin = BinState::new(PerMl::new(start[i])?, entering, held_back[i].bypassed(plant.bypass));
        Ok(bin.shedding(PerMl::new(shed[i])?).short_circuited(plant.short_circuit))
    };
    (0..counts.len()).map(bin).collect()
}

/// What lies between each size and the next.
pub(crate) fn bands(cumulative: &[f64]) -> Vec<f64> {
    let above = |i: usize| cumulative.get(i + 1).copied().unwrap_or(0.0);
    cumulative.iter().enumerate().map(|(i, n)| (n - above(i)).max(0.0)).collect()
}

/// Rates at all sizes: where none is given, that of the next larger size, so that the bin in between has none.
pub(crate) fn rates(counts: &AtSizes, given: &AtSizes) -> Vec<f64> {
    let at = |size: Size| given.iter().find(|(at, _)| *at == size).map(|(_, rate)| rate.get());
    let mut larger = 0.0;
    let mut rates: Vec<f64> = counts
        .iter()
        .rev()
        .map(|&(size, _)| {
            larger = at(size).unwrap_or(larger);
            larger
        })
        .collect();
    rates.reverse();
    rates
}
