//! With what confidence a target is met by some number of turnovers.
//!
//! At each possible scatter of bottles the curves that meet the target just then are compared with the best of all; the
//! root of the likelihood ratio statistic is about a standard normal variable, and the confidence is the average over the
//! scatters. Read along the turnovers it rises from 0 to 1; the interval lies between two of its values.
//!
//! Where the samples do not show a floor, a curve that meets the target early is compared with the best curve that has
//! none: a floor cannot be below 0, so chance alone always finds a little of one, and would promise too late an end. This
//! gives way as the floor is shown.

use super::super::fit::FloorRule;
use super::{Joint, Node, Through};
use crate::certainty::normal;

/// Turnovers over those sampled after which a curve without a floor has never met its target.
const ENDLESS: f64 = 1e5;

/// Confidences along the turnovers, each search starting where the one before ended.
#[derive(Debug)]
pub(in super::super) struct Confidence<'a> {
    joint: &'a Joint,
    from: usize,
    per_ml: f64,
    warm: Vec<Option<Vec<f64>>>,
}

impl Joint {
    /// Confidences that all bins from one on together meet a concentration above 0.
    pub(in super::super) fn confidence(&self, from: usize, per_ml: f64) -> Confidence<'_> {
        Confidence { joint: self, from, per_ml, warm: vec![None; self.nodes.len()] }
    }

    /// What a chance finding of a floor may hide of the best curve's likelihood.
    fn by_chance(&self, node: &Node, from: usize) -> f64 {
        if self.floor.is_some() {
            return 0.0;
        }
        let gain = node.unshown[from];
        gain.min((2.0 * self.by_chance - gain).max(0.0))
    }
}

impl Confidence<'_> {
    /// The standard normal deviate of the confidence that the target is met by then.
    pub(in super::super) fn by(&mut self, turnovers: f64) -> f64 {
        let through = Through { turnovers, from: self.from, per_ml: self.per_ml };
        let roots: Vec<f64> = (0..self.joint.nodes.len()).map(|i| self.root(i, through)).collect();
        if let [root] = roots[..] {
            return root;
        }
        let beyond = |sign: f64| -> f64 {
            let nodes = self.joint.nodes.iter().zip(&roots);
            nodes.map(|(node, root)| node.weight * normal::upper_tail(sign * root)).sum()
        };
        let [not_yet, met] = [beyond(1.0), beyond(-1.0)].map(|tail| tail.max(f64::MIN_POSITIVE));
        if met < not_yet { -normal::upper_quantile(met) } else { normal::upper_quantile(not_yet) }
    }

    /// That of the confidence that it is ever met.
    pub(in super::super) fn ever(&mut self) -> f64 {
        let [first, last] = self.joint.data.span();
        let has_floor = self.joint.floor != Some(FloorRule::Absent);
        self.by(if has_floor { f64::INFINITY } else { last + ENDLESS * (last - first) })
    }

    /// The signed root of the statistic at one scatter: above 0 where the best curve has met the target by then.
    fn root(&mut self, i: usize, through: Through) -> f64 {
        let (joint, node) = (self.joint, &self.joint.nodes[i]);
        let off = through.off(&joint.model, &node.free.x);
        let mut from = self.warm[i].clone().unwrap_or_else(|| node.free.x.clone());
        if through.turnovers.is_infinite() {
            joint.model.set_floors(&mut from, self.from, self.per_ml);
        }
        let found = node.likelihood.best_through(&joint.model, &from, through);
        let mut statistic = 2.0 * (node.free.value - found.value);
        if off > 0.0 {
            statistic -= joint.by_chance(node, self.from);
        }
        if through.turnovers.is_finite() {
            self.warm[i] = Some(found.x);
        }
        statistic.max(0.0).sqrt() * if off > 0.0 { -1.0 } else { 1.0 }
    }
}
