//! How long to book a plan whose start, ratios, ingress or mixing are in doubt.

use super::job::Job;
use super::lengthened::{Lengthened, Running};
use super::outcome::{Booked, Booking};
use super::planning::Counts;
use super::schedule::{Leg, Problem, Schedule};
use super::stage::Stage;
use crate::certainty::Level;
use crate::error::Result;
use crate::filter::{Beta, Challenge, Efficiency};
use crate::size::Size;
use crate::tank::{Doubt, Forecast, Plant, Start};
use crate::units::{Duration, Flow};

impl Job {
    /// The doubt of one filter that does on average what the stages do.
    pub(super) fn booking(
        &self,
        start: &Start,
        counts: &Counts,
        problem: &Problem,
        schedule: &Schedule,
    ) -> Result<Option<Booking>> {
        let doubtful = self.doubt != Doubt::NONE || start.log_sd().iter().any(|&sd| sd > 0.0);
        let hours: f64 = schedule.legs.iter().map(|leg| leg.time.hours()).sum();
        if !doubtful || hours <= 0.0 {
            return Ok(None);
        }
        let forecast = self.as_one_filter(start, counts, schedule, hours)?;
        let Some(nominal) = forecast.turnovers() else {
            return Ok(Some(Booking { p50: None, p90: None, conservative_by: None }));
        };
        let ensemble = forecast.ensemble(self.doubt);
        let enough = |p: f64| {
            let enough = ensemble.quantile(Level::new(p)?);
            Ok::<_, crate::Error>(enough.map(|enough| enough.get() / nominal.get()))
        };
        let (p50, p90) = (enough(0.5)?, enough(0.9)?);
        let staged = self.lengthened(start, counts, problem, schedule)?.quantile(0.9);
        let booked = |stretch: f64| Booked::new(schedule, stretch);
        let longer = p90.map(|stretch| staged.map_or(stretch, |staged| stretch.max(staged)));
        let spare =
            longer.zip(staged).map(|(longer, staged)| Duration::from_hours(hours * (longer - staged)));
        Ok(Some(Booking {
            p50: p50.map(booked).transpose()?,
            p90: longer.map(booked).transpose()?,
            conservative_by: spare.transpose()?,
        }))
    }

    /// One filter that does on average what the stages do in all their hours.
    fn as_one_filter(
        &self,
        start: &Start,
        counts: &Counts,
        schedule: &Schedule,
        hours: f64,
    ) -> Result<Forecast> {
        let dust = Challenge::iso_medium_test_dust();
        let (mut litres, mut held_back) = (0.0, vec![0.0; counts.sizes.len()]);
        for (stage, leg) in self.stages.iter().zip(&schedule.legs) {
            let moved = stage.flow.l_per_min() * leg.time.minutes();
            litres += moved;
            for (sum, bin) in held_back.iter_mut().zip(stage.train.bins(&counts.sizes, &dust)?) {
                let seen = bin.bypassed(self.bypass).short_circuited(self.short_circuit);
                *sum += moved * seen.get();
            }
        }
        let mean = |sum: &f64| match sum / litres {
            share if share > 0.0 => Ok(Beta::new(1.0 / (1.0 - share))?.efficiency()),
            _ => Ok(Efficiency::NONE),
        };
        let plant = Plant::new(self.tank, Flow::from_l_per_min(litres / hours / 60.0)?)?;
        let bins = |_: &[Size]| held_back.iter().map(mean).collect();
        Forecast::new(start, &self.target, bins, &self.sources, &plant)
    }

    /// The stages, each followed by itself, with what is in doubt of them.
    fn lengthened<'a>(
        &self,
        start: &Start,
        counts: &Counts,
        problem: &'a Problem,
        schedule: &Schedule,
    ) -> Result<Lengthened<'a>> {
        let dust = Challenge::iso_medium_test_dust();
        let used = self.stages.iter().zip(&schedule.legs).filter(|(_, leg)| leg.time.hours() > 0.0);
        let running = |(stage, leg): (&Stage, &Leg)| {
            Ok(Running {
                plant: self.plant(stage.flow)?,
                hours: leg.time.hours(),
                mixing: self.mixing,
                held_back: stage.train.bins(&counts.sizes, &dust)?,
            })
        };
        let [stated, beta, ingress, mixing] = self.doubt.deviations();
        let first = start.counts().len() - counts.sizes.len();
        Ok(Lengthened {
            bins: &problem.bins,
            limits: &problem.limits,
            stages: used.map(running).collect::<Result<_>>()?,
            start: start.log_sd()[first..].iter().map(|own| own.hypot(stated)).collect(),
            beta,
            ingress: if self.sources.ingress().is_empty() { 0.0 } else { ingress },
            mixing,
        })
    }
}
