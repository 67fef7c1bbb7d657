//! How bottles scatter, where it is not stated: what the samples say of it, and what a fit is for each possible scatter.
//!
//! The scatter of bottles is not known from a few samples, so no one value is used: every answer is an average over the
//! values it may have, each with its probability. That makes intervals as wide as few samples ask for, from the first
//! sample on, and needs no test of whether there is a scatter. The probability of a value is the likelihood of the samples
//! at it, adjusted for the numbers that were fitted (D. R. Cox, N. Reid, Journal of the Royal Statistical Society B 49
//! (1987) 1-39), times [`before`].

use std::sync::Arc;

use super::ascent::Numbers;
use super::data::Data;
use super::likelihood::{Likelihood, Local};
use super::model::Model;
use super::start;

/// The values of the coefficient of variation that are looked at, beyond counting \[-\]: our choice.
const VALUES: [f64; 9] = [0.0, 0.006, 0.012, 0.023, 0.04, 0.065, 0.105, 0.17, 0.3];

/// How probable a value is before the samples are seen, each standing for its part of the logarithmic scale: our choice.
fn before(cv: f64) -> f64 {
    /// The scatter of bottles that are drawn with usual care.
    const USUAL: f64 = 0.05;
    1.0 / (1.0 + (cv / USUAL).sqrt())
}

/// A scatter of bottles, how probable it is, and the fits at it.
#[derive(Debug, Clone)]
pub(in super::super) struct Node {
    pub(in super::super) cv: f64,
    pub(in super::super) weight: f64,
    pub(in super::super) likelihood: Likelihood,
    /// The most likely numbers of all.
    pub(in super::super) free: Numbers,
    /// The most likely numbers without any floor.
    pub(in super::super) bare: Numbers,
    /// The most likely numbers without the floors that the samples do not show.
    pub(in super::super) plain: Numbers,
    /// The likelihood ratio statistic against no such floor in the bins from each one on.
    pub(in super::super) unshown: Vec<f64>,
}

impl Node {
    /// The likelihood ratio statistic against no floor at all.
    pub(in super::super) fn floor_gain(&self) -> f64 {
        (2.0 * (self.free.value - self.bare.value)).max(0.0)
    }

    /// Takes the floors of some bins for not shown.
    pub(super) fn leave_out(&mut self, model: &Model, bins: &[usize]) {
        for from in 0..model.bins {
            let left_out = bins.iter().copied().filter(|bin| *bin >= from);
            if left_out.clone().all(|bin| self.free.x[model.floor_place(bin)] == 0.0) {
                self.unshown[from] = 0.0;
                if from == 0 {
                    self.plain = self.free.clone();
                }
                continue;
            }
            let fewer = model.without_floors(left_out);
            let found = self.likelihood.best(&fewer, &self.free.x);
            self.unshown[from] = (2.0 * (self.free.value - found.value)).max(0.0);
            if from == 0 {
                let is_bare = bins.len() == model.bins && self.bare.value > found.value;
                self.plain = if is_bare { self.bare.clone() } else { found };
                self.unshown[0] = (2.0 * (self.free.value - self.plain.value)).max(0.0);
            }
        }
    }
}

/// The bins whose floor the samples do not show, one after the other, that which is missed least first.
pub(super) fn unshown(node: &Node, model: &Model, least_gain: f64) -> Vec<usize> {
    let mut left_out: Vec<usize> =
        (0..model.bins).filter(|bin| node.free.x[model.floor_place(*bin)] == 0.0).collect();
    let mut best = node.free.clone();
    while left_out.len() < model.bins {
        let without = |bin: usize| {
            let fewer = model.without_floors(left_out.iter().copied().chain([bin]));
            (bin, node.likelihood.best(&fewer, &best.x))
        };
        let rest = (0..model.bins).filter(|bin| !left_out.contains(bin));
        let Some((bin, found)) = rest.map(without).max_by(|a, b| a.1.value.total_cmp(&b.1.value)) else {
            break;
        };
        if 2.0 * (best.value - found.value) > least_gain {
            break;
        }
        left_out.push(bin);
        best = found;
    }
    left_out.sort_unstable();
    left_out
}

/// The fits at one stated scatter, or at all that are possible.
pub(in super::super) fn nodes(data: &Arc<Data>, model: &Model, stated: Option<f64>) -> Vec<Node> {
    let values = stated.map_or(VALUES.to_vec(), |cv| vec![cv]);
    let bare_model = model.without_floors(0..model.bins);
    let mut free = start::numbers(model, data, 0.1);
    let mut bare = start::numbers(model, data, 0.0);
    let floored = model.may_have_floor(0).then(|| start::numbers(model, data, 0.9));
    let others: Vec<Vec<f64>> = floored.into_iter().chain(start::by_series(model, data)).collect();
    let mut nodes: Vec<Node> = Vec::new();
    // from the loosest on, where the search is easiest, each from the one before
    for (i, cv) in values.iter().enumerate().rev() {
        let likelihood = Likelihood::new(data, *cv);
        let no_floor = likelihood.best(&bare_model, &bare);
        let mut best = likelihood.best(model, &free);
        if i == 0 || nodes.is_empty() {
            let others = others.iter().map(|from| likelihood.best(model, from));
            best = others.fold(best, |best, other| if other.value > best.value { other } else { best });
        }
        if no_floor.value >= best.value {
            best = no_floor.clone();
        }
        (free, bare) = (best.x.clone(), no_floor.x.clone());
        nodes.push(Node {
            cv: *cv,
            weight: 1.0,
            likelihood,
            plain: best.clone(),
            free: best,
            bare: no_floor,
            unshown: vec![0.0; model.bins],
        });
    }
    nodes.reverse();
    if nodes.len() > 1 {
        weigh(&mut nodes, model);
    }
    nodes
}

fn weigh(nodes: &mut Vec<Node>, model: &Model) {
    const NEGLIGIBLE: f64 = 0.02;
    let logs: Vec<f64> = nodes.iter().map(|node| adjusted(node, model) + before(node.cv).ln()).collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|log| (log - most).exp()).sum();
    for (node, log) in nodes.iter_mut().zip(logs) {
        node.weight = (log - most).exp() / sum;
    }
    nodes.retain(|node| node.weight > NEGLIGIBLE);
    let sum: f64 = nodes.iter().map(|node| node.weight).sum();
    for node in nodes {
        node.weight /= sum;
    }
}

/// The logarithm of the likelihood less half that of the information of what was fitted.
fn adjusted(node: &Node, model: &Model) -> f64 {
    let mut local = Local::new(model.numbers());
    node.likelihood.local(model, &node.free.x, &mut local);
    let rows: Vec<usize> =
        (0..model.numbers()).filter(|place| model.least[*place] < model.most[*place]).collect();
    for place in &rows {
        local.information.add(*place, *place, 1e-9);
    }
    let determinant = local.information.root(&rows, 1e-9).map_or(0.0, |root| root.ln_determinant());
    node.free.value - determinant / 2.0
}
