//! The questions the other way round: the ratio, the flow or the code that so many turnovers or hours come to.

use super::forecast::{Forecast, least_beta};
use super::turnovers::Turnovers;
use crate::certainty::quadrature::crossing;
use crate::class::iso4406::Code;
use crate::count::{PerMl, Reading};
use crate::error::Result;
use crate::filter::Beta;
use crate::size::Size;
use crate::spectrum::{Channel, Spectrum};
use crate::units::{Duration, Flow};

/// One moment of a cleaning.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Moment {
    /// The turnovers so far.
    pub turnovers: Turnovers,
    /// The time so far.
    pub time: Duration,
    /// What the tank holds on average at the sizes of the target \[1/mL\].
    pub tank: Vec<PerMl>,
    /// What a sample of the suction line shows at those sizes \[1/mL\].
    pub suction: Vec<PerMl>,
}

impl Forecast {
    /// The filtration ratio that would be enough in so many turnovers, at each size of the target and the same in
    /// every bin; none where even a perfect filter would not do.
    ///
    /// ```
    /// # use siltcode::tank::{Forecast, Plant, Sources, Start, Target, Turnovers};
    /// # use siltcode::{Size, filter::Beta, units::{Flow, Volume}};
    /// # let plant = Plant::new(Volume::from_m3(18.0)?, Flow::from_l_per_min(60.0)?)?;
    /// # let (start, target) = (Start::of_code("22/20/17".parse()?)?, Target::of_code("18/16/13".parse()?)?);
    /// # let bins = |sizes: &[Size]| Ok(vec![Beta::new(75.0)?.efficiency(); sizes.len()]);
    /// let forecast = Forecast::new(&start, &target, bins, &Sources::NONE, &plant)?;
    /// let needed = forecast.beta_for(Turnovers::new(4.0)?);
    /// assert_eq!(needed[0].1.map(|beta| beta.to_string()).as_deref(), Some("3.259")); // ln 16 / 4 = 1 - 1 / beta
    /// assert_eq!(forecast.beta_for(Turnovers::new(2.0)?)[0].1, None);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn beta_for(&self, turnovers: Turnovers) -> Vec<(Size, Option<Beta>)> {
        let needed = self.channels.iter().map(|channel| {
            let enough = |beta: Beta| {
                let held_back = beta.efficiency().bypassed(self.plant.bypass);
                channel.channel.with_efficiency(held_back).after(turnovers) <= channel.target.get()
            };
            (channel.size, least_beta(enough))
        });
        needed.collect()
    }

    /// The flow that would be enough in this time, for every size of the target; none where no flow is. What the filter
    /// holds back is taken to be the same at any flow, which a flow far above its rating is not.
    ///
    /// ```
    /// # use siltcode::tank::{Forecast, Plant, Sources, Start, Target};
    /// # use siltcode::{Size, filter::Beta, units::{Duration, Flow, Volume}};
    /// # let plant = Plant::new(Volume::from_m3(18.0)?, Flow::from_l_per_min(60.0)?)?;
    /// # let (start, target) = (Start::of_code("22/20/17".parse()?)?, Target::of_code("18/16/13".parse()?)?);
    /// # let bins = |sizes: &[Size]| Ok(vec![Beta::new(75.0)?.efficiency(); sizes.len()]);
    /// let forecast = Forecast::new(&start, &target, bins, &Sources::NONE, &plant)?;
    /// let flow = forecast.flow_for(Duration::from_hours(8.0)?)?;
    /// assert_eq!(flow.map(|flow| flow.to_string()).as_deref(), Some("105.966 L/min"));
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `factor-out-of-range`, `quantity-out-of-range` where a result leaves the range of a double.
    pub fn flow_for(&self, time: Duration) -> Result<Option<Flow>> {
        let now = self.plant.turnovers(time)?.get();
        let short = |log: f64| {
            let faster = log.exp();
            let enough = self.channels.iter().all(|channel| {
                let reached = channel.channel.at_flow(faster).after(Turnovers::computed(now * faster));
                reached <= channel.target.get()
            });
            if enough { -1.0 } else { 1.0 }
        };
        if short(-WIDEST_LOG) < 0.0 {
            return Flow::from_l_per_min(0.0).map(Some);
        }
        if short(WIDEST_LOG) > 0.0 {
            return Ok(None);
        }
        let faster = crossing(short, -WIDEST_LOG, WIDEST_LOG).exp();
        Flow::from_l_per_min(self.plant.flow.l_per_min() * faster).map(Some)
    }

    /// The code after so many turnovers, of the sizes of the target that belong to a code.
    ///
    /// # Errors
    /// `nothing-counted` where none does, `count-not-finite` where a concentration leaves the range of a double.
    pub fn code_after(&self, turnovers: Turnovers) -> Result<Code> {
        let counts = self.after(turnovers)?;
        let channels = counts.into_iter().map(|(size, per_ml)| Channel::new(size, Reading::Count(per_ml)));
        Code::of(&Spectrum::cumulative(channels.collect())?)
    }

    /// The concentrations from the start to so many turnovers, in equal steps, for plotting.
    ///
    /// # Errors
    /// `count-not-finite`, `quantity-out-of-range` where a value leaves the range of a double.
    pub fn path(&self, until: Turnovers, steps: u16) -> Result<Vec<Moment>> {
        let at = |step: u16| until.get() * f64::from(step) / f64::from(steps.max(1));
        (0..=steps.max(1)).map(|step| self.moment(Turnovers::computed(at(step)))).collect()
    }

    fn moment(&self, turnovers: Turnovers) -> Result<Moment> {
        let channels = || self.channels.iter().map(|channel| &channel.channel);
        Ok(Moment {
            turnovers,
            time: self.plant.time(turnovers)?,
            tank: channels().map(|channel| PerMl::new(channel.after(turnovers))).collect::<Result<_>>()?,
            suction: channels()
                .map(|channel| PerMl::new(channel.at_suction(turnovers)))
                .collect::<Result<_>>()?,
        })
    }
}

/// Logarithm of the largest change of flow that is looked at.
const WIDEST_LOG: f64 = 100.0;
