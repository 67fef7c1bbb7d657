//! How many turnovers remain until every size meets its target.

use serde::Serialize;

use super::curve::Curve;
use super::errors::StandardErrors;
use super::fit::Fit;
use super::profile::{Remaining, first_beyond};
use super::series::{LEAST_SAMPLES, LEAST_TURNOVERS, Progress, SizeProgress, Spread};
use crate::caution::{self, Caution};
use crate::certainty::quadrature::crossing;
use crate::certainty::{Level, normal};
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::size::Size;
use crate::tank::{Target, Turnovers};
use crate::units::significant;

/// What remains at one size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SizeOutlook {
    /// Particles of this size and larger.
    pub size: Size,
    /// The most there may be.
    pub target: PerMl,
    /// What the curve has at the last sample.
    pub now: PerMl,
    /// The turnovers that remain.
    pub remaining: Remaining,
    /// Whether that there is no floor was assumed, since the samples could not have shown one.
    pub no_floor_assumed: bool,
    /// Where it was: after how many more turnovers one more sample, counted in the last one's volume, would show a floor
    /// as high as the target, by the expected information; none where none would.
    pub floor_seen_after: Option<Turnovers>,
}

/// What remains until every size meets its target.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outlook {
    /// Each size that the target limits, rising.
    pub sizes: Vec<SizeOutlook>,
    /// Which of them decides: the one that is met last, or never.
    pub deciding: usize,
    /// What was taken for granted.
    pub assumptions: Vec<String>,
}

impl Progress {
    /// How many turnovers remain until a target is met at every size.
    ///
    /// # Errors
    /// `size-not-sampled` where the target limits a size at which the samples show no fall.
    pub fn outlook(&self, target: &Target) -> Result<Outlook> {
        let sizes: Vec<SizeOutlook> = target
            .limits()
            .iter()
            .map(|(size, limit)| Ok(self.at_size(*size)?.outlook(*limit, self.options.level)))
            .collect::<Result<_>>()?;
        let last = |i: &usize| sizes[*i].remaining.estimate.map_or(f64::INFINITY, Turnovers::get);
        let deciding = (0..sizes.len()).rev().max_by(|a, b| last(a).total_cmp(&last(b))).unwrap_or(0);
        let assumptions = self.assumptions(&sizes);
        Ok(Outlook { sizes, deciding, assumptions })
    }

    fn at_size(&self, size: Size) -> Result<&SizeProgress> {
        let known = || self.sizes.iter().map(|known| known.size.to_string()).collect::<Vec<_>>().join(", ");
        let unknown = || ErrorKind::SizeNotSampled { size: size.to_string(), known: known() };
        Ok(self.at(size).ok_or_else(unknown)?)
    }

    fn assumptions(&self, sizes: &[SizeOutlook]) -> Vec<String> {
        let mut assumptions = vec!["flow, filter and what comes in stay as they were".to_owned()];
        if sizes.len() > 1 {
            assumptions.push(
                "each size is a series of its own; all particles it shares with other sizes count in each"
                    .into(),
            );
        }
        assumptions.push(match self.options.spread {
            Spread::Counting => "bottles scatter by counting alone".into(),
            Spread::Stated(scatter) => {
                let cv = significant(100.0 * scatter.cv(), 3);
                format!("bottles scatter by {cv} % beyond counting, as stated")
            }
            Spread::Found => self.found_scatter(sizes),
        });
        if sizes.iter().any(|size| size.no_floor_assumed) {
            assumptions.push(format!(
                "no-floor assumption: with fewer than {LEAST_SAMPLES} samples or {LEAST_TURNOVERS} turnovers a floor cannot be seen, and would make everything here too good"
            ));
        }
        assumptions
    }

    fn found_scatter(&self, sizes: &[SizeOutlook]) -> String {
        let widened = sizes.iter().filter_map(|outlook| {
            let factor = self.at(outlook.size)?.fit.widening();
            (factor > 1.0).then(|| format!("{}: {} times", outlook.size, significant(factor, 3)))
        });
        let widened: Vec<_> = widened.collect();
        if widened.is_empty() {
            return "bottles scatter by counting alone: nothing speaks against it".into();
        }
        format!("intervals are widened by the scatter about the curve, in variance at {}", widened.join(", "))
    }
}

impl SizeProgress {
    /// How many turnovers remain until this size meets a limit.
    #[must_use]
    pub fn outlook(&self, target: PerMl, level: Level) -> SizeOutlook {
        let no_floor_assumed = self.no_floor_assumed;
        let floor_seen_after = if no_floor_assumed { self.fit.floor_seen_after(target, level) } else { None };
        let (size, now, remaining) = (self.size, self.now(), self.fit.remaining(target, level));
        SizeOutlook { size, target, now, remaining, no_floor_assumed, floor_seen_after }
    }
}

impl Fit {
    /// After how many turnovers from the last sample one more, counted in the same volume, would tell a floor of this
    /// height from none, by the expected information; none where none would.
    #[must_use]
    pub fn floor_seen_after(&self, floor: PerMl, level: Level) -> Option<Turnovers> {
        let (floor, last) = (floor.get(), self.terms.last()?);
        if self.edge.is_some() || floor == 0.0 {
            return None;
        }
        let curve = Curve { floor, ..self.curve };
        let error = |more: f64| {
            let next = std::iter::once((last.since + more, last.ml));
            let samples = self.terms.iter().map(|term| (term.since, term.ml)).chain(next);
            let told = samples.map(|(since, ml)| (since, ml / curve.at(since)));
            StandardErrors::of(&curve, told, true).and_then(|errors| errors.floor).unwrap_or(f64::INFINITY)
        };
        let most = floor / normal::upper_quantile(level.risk() / 2.0) / self.widening.sqrt();
        let lacking = |more: f64| error(more) - most;
        let [from, to] = first_beyond(0.0, last.since / 16.0, |more| lacking(more) <= 0.0)?;
        Turnovers::new(crossing(lacking, from, to)).ok()
    }
}

impl Outlook {
    /// The size that decides.
    #[must_use]
    pub fn deciding(&self) -> &SizeOutlook {
        &self.sizes[self.deciding]
    }

    /// What remains until every size meets its target: the latest of each end.
    #[must_use]
    pub fn remaining(&self) -> Remaining {
        let latest = |of: fn(&Remaining) -> Option<Turnovers>| {
            let ends = self.sizes.iter().map(|size| of(&size.remaining));
            ends.collect::<Option<Vec<_>>>()
                .map(|ends| ends.into_iter().fold(Turnovers::NONE, |a, b| if b > a { b } else { a }))
        };
        let estimate = latest(|remaining| remaining.estimate);
        let (low, high) = (latest(|remaining| remaining.low), latest(|remaining| remaining.high));
        Remaining { estimate, low, high, ..self.deciding().remaining }
    }

    /// What to beware of where the tank is circulated on and sampled again.
    #[must_use]
    pub fn cautions(&self) -> Vec<&'static Caution> {
        caution::about(&["flammable vapour", "static", "bonding", "pressure"])
    }
}
