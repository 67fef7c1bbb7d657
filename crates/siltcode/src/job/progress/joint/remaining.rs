//! How many turnovers remain until all bins from one on together meet a target.

use super::super::profile::{Remaining, first_beyond};
use super::Joint;
use crate::certainty::{Level, normal};
use crate::tank::{Turnovers, settled_crossing};

/// A change of turnovers that is none, as a part of them.
const SETTLED: f64 = 1e-7;

/// The same where the confidence is an average over a few scatters.
const ABOUT: f64 = 1e-3;

impl Joint {
    /// The turnovers that remain after the last sample, by the best estimate, and their interval.
    pub(in super::super) fn remaining(&self, from: usize, target: f64, level: Level) -> Remaining {
        let [first, last] = self.data.span();
        let after = |turnovers: f64| Turnovers::new((turnovers - last).max(0.0)).ok();
        if target == 0.0 {
            return self.to_nothing(from, level);
        }
        let limit = normal::upper_quantile(level.risk() / 2.0);
        let mut confidence = self.confidence(from, target);
        let (ever, now) = (confidence.ever(), confidence.by(last));
        let met = self.meets_after(from, target);
        let settled = if self.nodes.len() == 1 { SETTLED } else { ABOUT };
        let step = (last - first) / 16.0;
        let mut crosses = |aim: f64, beyond: f64, step: f64| {
            let (mut low, mut high) = ((beyond, aim - confidence.by(beyond)), (beyond, 0.0));
            first_beyond(beyond, step, |at| {
                high = (at, aim - confidence.by(at));
                if high.1 >= 0.0 {
                    low = high;
                }
                high.1 < 0.0
            })?;
            Some(settled_crossing(|at| aim - confidence.by(at), low, high, settled))
        };
        let low = if now > -limit {
            Some(last)
        } else if ever <= -limit {
            None
        } else {
            crosses(-limit, last, met.map_or(step, |met| (met - last).max(step) / 2.0))
        };
        let high = if ever < limit {
            None
        } else if now >= limit {
            Some(last)
        } else {
            let beyond = met.unwrap_or(last).max(low.unwrap_or(last));
            crosses(limit, beyond, (beyond - low.unwrap_or(last)).max(step))
        };
        let estimate = met.map(|met| met.max(low.unwrap_or(met)).min(high.unwrap_or(f64::INFINITY)));
        Remaining {
            estimate: estimate.and_then(after),
            low: low.and_then(after),
            high: high.and_then(after),
            against_never: ever * ever,
            level,
        }
    }

    /// When the best estimate meets a target, counted as the samples' turnovers are; none where it never does.
    fn meets_after(&self, from: usize, target: f64) -> Option<f64> {
        let [first, last] = self.data.span();
        let above = |turnovers: f64| self.at(from, turnovers) / target - 1.0;
        if above(last) <= 0.0 {
            return Some(last);
        }
        if above(f64::INFINITY) >= 0.0 || (from..self.model.bins).all(|bin| self.rate_at_end(bin)[0]) {
            return None;
        }
        let [low, high] = first_beyond(last, (last - first) / 16.0, |at| above(at) < 0.0)?;
        Some(settled_crossing(above, (low, above(low)), (high, above(high)), SETTLED))
    }

    /// No curve meets a target of nothing, unless nothing was seen.
    fn to_nothing(&self, from: usize, level: Level) -> Remaining {
        let is_empty = (from..self.model.bins).all(|bin| self.rate_at_end(bin)[0] && self.floor(bin) == 0.0)
            && self.data.cells().filter(|cell| cell.bins.end > from).all(|cell| cell.count == 0.0);
        let zero = is_empty.then_some(Turnovers::NONE);
        Remaining { estimate: zero, low: zero, high: None, against_never: f64::INFINITY, level }
    }
}
