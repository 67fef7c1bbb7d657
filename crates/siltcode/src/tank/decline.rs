//! A flow that declines while the filter loads up.

use super::forecast::Forecast;
use super::plant::Plant;
use super::turnovers::Turnovers;
use crate::certainty::quadrature::{crossing, integral};
use crate::error::{ErrorKind, Result};
use crate::units::{Duration, Flow};

/// A flow that goes from the plant's in a straight line over a time to another, and stays there.
///
/// ```
/// use siltcode::tank::{Decline, Plant};
/// use siltcode::units::{Duration, Flow, Volume};
///
/// let plant = Plant::new(Volume::from_m3(18.0)?, Flow::from_l_per_min(60.0)?)?;
/// let decline = Decline::new(&plant, Flow::from_l_per_min(30.0)?, Duration::from_hours(20.0)?)?;
/// assert_eq!(decline.turnovers(Duration::from_hours(20.0)?)?.get(), 3.0); // instead of 4
/// assert_eq!(decline.turnovers(Duration::from_hours(30.0)?)?.get(), 4.0);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decline {
    plant: Plant,
    to: Flow,
    over: Duration,
}

impl Decline {
    /// A decline from the plant's flow.
    ///
    /// # Errors
    /// `no-flow` unless the flow in the end is above 0; `decline-rises` where it is above the plant's.
    pub fn new(plant: &Plant, to: Flow, over: Duration) -> Result<Self> {
        plant.with_flow(to)?;
        if to > plant.flow {
            return Err(ErrorKind::DeclineRises { from: plant.flow.to_string(), to: to.to_string() }.into());
        }
        Ok(Self { plant: *plant, to, over })
    }

    /// The plant once the flow has declined.
    ///
    /// # Errors
    /// None: the flow was checked.
    pub fn in_the_end(&self) -> Result<Plant> {
        self.plant.with_flow(self.to)
    }

    /// The turnovers within a time.
    ///
    /// # Errors
    /// `factor-out-of-range` where the number leaves the range of a double.
    pub fn turnovers(&self, time: Duration) -> Result<Turnovers> {
        Turnovers::new(self.at(time.hours()))
    }

    fn at(&self, hours: f64) -> f64 {
        let slope = hours.min(self.over.hours());
        let lost = 1.0 - self.to.l_per_min() / self.plant.flow.l_per_min();
        let part = if self.over.hours() > 0.0 { slope / self.over.hours() } else { 0.0 };
        let hours_at_first_flow = slope * (1.0 - lost * part / 2.0) + (hours - slope) * (1.0 - lost);
        hours_at_first_flow / self.plant.turnover_hours()
    }
}

/// The error allowed of what has come in, as a part of what comes in.
const ERROR: f64 = 1e-12;

impl Forecast {
    /// The time after which every target is met while the flow declines; none where the flow in the end would not
    /// hold one of them.
    ///
    /// The turnovers needed are those of a constant flow only where nothing comes in: ingress goes on by the hour.
    ///
    /// # Errors
    /// `no-flow` where the plant's volume or flow was set to 0 since, `quantity-out-of-range` where the time leaves the
    /// range of a double.
    pub fn time_declining(&self, decline: &Decline) -> Result<Option<Duration>> {
        let slower = decline.to.l_per_min() / self.plant.flow.l_per_min();
        let holds = |channel: &super::ChannelForecast| channel.channel.at_flow(slower).turnovers().is_some();
        if !self.channels.iter().all(holds) {
            return Ok(None);
        }
        let short = |hours: f64| if self.met_after(hours, decline) { -1.0 } else { 1.0 };
        if short(0.0) < 0.0 {
            return Duration::from_hours(0.0).map(Some);
        }
        let mut high = self.plant.turnover_hours();
        while short(high) > 0.0 && high < f64::MAX / 2.0 {
            high *= 2.0;
        }
        Duration::from_hours(crossing(short, 0.0, high)).map(Some)
    }

    fn met_after(&self, hours: f64, decline: &Decline) -> bool {
        let turnovers = decline.at(hours);
        self.channels.iter().all(|forecast| {
            let channel = &forecast.channel;
            let entered = |since: f64| {
                channel.entering_left(turnovers - decline.at(since)) / self.plant.turnover_hours()
            };
            let allowed = ERROR * forecast.target.get();
            let mut pieces = [0.0, hours.min(decline.over.hours()), hours];
            let ingress = integral(entered, &mut pieces, allowed);
            channel.at_flow(f64::INFINITY).after(Turnovers::computed(turnovers)) + ingress
                <= forecast.target.get()
        })
    }
}
