//! How bottles scatter, where it is not stated: what the samples say of it, and what a fit is for each possible scatter.
//!
//! The scatter of bottles is not known from a few samples, so no one value is used: every answer is an average over the
//! values it may have, each with its probability. That makes intervals as wide as few samples ask for, from the first
//! sample on, and needs no test of whether there is a scatter. The probability of a value is the likelihood of the samples
//! at it, adjusted for the numbers that were fitted (D. R. Cox, N. Reid, Journal of the Royal Statistical Society B 49
//! (1987) 1-39), times [`before`]. In the same way nothing is taken for granted of how much of the scatter all sizes of a
//! bottle share, unless that is stated: bottles that were drawn badly move all sizes alike, and can be told from bottles
//! whose sizes scatter apart.

use std::sync::Arc;

use super::ascent::{self, Numbers};
use super::data::Data;
use super::likelihood::{Likelihood, Local, Parts};
use super::model::Model;
use super::start;

/// The values of the coefficient of variation that are looked at, beyond counting \[-\], falling: our choice.
const VALUES: [f64; 9] = [0.3, 0.17, 0.105, 0.065, 0.04, 0.023, 0.012, 0.006, 0.0];

/// How much of the scatter, in variance, each bin may have for itself: our choice.
const OWN_SHARES: [f64; 3] = [0.0, 0.5, 1.0];

/// How probable a value is before the samples are seen, each standing for its part of the logarithmic scale: our choice, so
/// that intervals of few samples hold the truth about as often at any scatter. Small scatters are the more usual ones.
fn before(cv: f64) -> f64 {
    /// The scatter of bottles that are drawn with usual care.
    const USUAL: f64 = 0.05;
    1.0 / (1.0 + (cv / USUAL).powf(0.25))
}

/// What is said of how bottles scatter.
#[derive(Debug, Clone, Copy)]
pub(in super::super) enum Said {
    Nothing,
    /// The coefficient of variation of a count.
    Whole(f64),
    /// Both parts of it.
    Both(Parts),
}

/// A scatter of bottles, and the logarithm of how probable it is before the samples are seen.
#[derive(Debug, Clone, Copy)]
struct Possible {
    cv: f64,
    parts: Parts,
    ln_before: f64,
}

impl Said {
    /// Every scatter that is looked at: for each share of it that bins have for themselves, from the largest on.
    fn possible(self, bins: usize) -> Vec<Vec<Possible>> {
        let shares = if bins == 1 { &OWN_SHARES[..1] } else { &OWN_SHARES[..] };
        let of = |cv: f64, share: f64, before: f64| Possible {
            cv,
            parts: Parts::new(cv, share),
            ln_before: before.ln(),
        };
        match self {
            Self::Both(parts) => vec![vec![Possible { cv: parts.variance().sqrt(), parts, ln_before: 0.0 }]],
            Self::Whole(0.0) => vec![vec![of(0.0, 0.0, 1.0)]],
            Self::Whole(cv) => shares.iter().map(|share| vec![of(cv, *share, 1.0)]).collect(),
            Self::Nothing => {
                let number = shares.len() as f64;
                let at = |share: f64| {
                    // none at all is the same for every share
                    let values = VALUES.into_iter().filter(move |cv| *cv > 0.0 || share == 0.0);
                    let each = |cv: f64| before(cv) / if cv > 0.0 { number } else { 1.0 };
                    values.map(|cv| of(cv, share, each(cv))).collect()
                };
                shares.iter().map(|share| at(*share)).collect()
            }
        }
    }
}

/// A scatter of bottles, how probable it is, and the fits at it.
#[derive(Debug, Clone)]
pub(in super::super) struct Node {
    /// The coefficient of variation of a count beyond counting.
    pub(in super::super) cv: f64,
    pub(in super::super) parts: Parts,
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

/// The search for the fits at every scatter that is possible.
struct Search<'a> {
    data: &'a Arc<Data>,
    model: &'a Model,
    bare_model: Model,
    /// Where else to start from, at the first scatter and at counting alone.
    others: Vec<Vec<f64>>,
    free: Vec<f64>,
    bare: Vec<f64>,
    nodes: Vec<Node>,
    /// The logarithm of how probable each node is.
    logs: Vec<f64>,
    most: f64,
}

/// How much less probable a scatter is than the most probable one, as a logarithm, where it is left out.
const FAR: f64 = 4.0;

/// The fits at one stated scatter, or at all that are possible.
pub(in super::super) fn nodes(data: &Arc<Data>, model: &Model, said: Said) -> Vec<Node> {
    let floored = model.may_have_floor(0).then(|| start::numbers(model, data, 0.9));
    let others = floored.into_iter().chain(start::by_series(model, data)).collect();
    let mut search = Search {
        data,
        model,
        bare_model: model.without_floors(0..model.bins),
        others,
        free: start::numbers(model, data, 0.1),
        bare: start::numbers(model, data, 0.0),
        nodes: Vec::new(),
        logs: Vec::new(),
        most: f64::NEG_INFINITY,
    };
    for possible in said.possible(model.bins) {
        // from the loosest on, where the search is easiest, each from the one before
        let loosest = search.free.clone();
        for possible in possible {
            search.look_at(possible);
        }
        search.free = search.nodes.first().map_or(loosest, |node| node.free.x.clone());
    }
    search.weighed()
}

impl Search<'_> {
    /// The fit at a scatter, unless it is out of the question.
    fn look_at(&mut self, possible: Possible) {
        let likelihood = Likelihood::new(self.data, possible.parts);
        let is_first = self.nodes.is_empty();
        if !is_first && self.about(&likelihood) + possible.ln_before < self.most - 2.0 * FAR {
            return;
        }
        let mut free = likelihood.best(self.model, &self.free);
        if is_first || possible.cv == 0.0 {
            let others = self.others.iter().map(|from| likelihood.best(self.model, from));
            free = others.fold(free, |best, other| if other.value > best.value { other } else { best });
        }
        self.free.clone_from(&free.x);
        let log = adjusted(&likelihood, self.model, &free) + possible.ln_before;
        self.most = self.most.max(log);
        self.logs.push(log);
        self.nodes.push(Node {
            cv: possible.cv,
            parts: possible.parts,
            weight: 1.0,
            likelihood,
            bare: free.clone(),
            plain: free.clone(),
            free,
            unshown: vec![0.0; self.model.bins],
        });
    }

    /// About how probable a scatter is by the samples: what one step from the fit at another gains.
    fn about(&self, likelihood: &Likelihood) -> f64 {
        let mut local = Local::new(self.model.numbers());
        let value = likelihood.local(self.model, &self.free, &mut local);
        let gain = ascent::expected_gain(self.model, &self.free, &local);
        value + gain - ln_information(&mut local, self.model) / 2.0
    }

    /// Leaves the most probable nodes; what another had goes to that whose scatter is nearest to its own.
    fn thin(&mut self) {
        /// As many as change answers by less than chance does.
        const MOST: usize = 8;
        const LEAST_CV: f64 = 1e-3;
        while self.nodes.len() > MOST {
            let places = 0..self.nodes.len();
            let least = places.min_by(|a, b| self.nodes[*a].weight.total_cmp(&self.nodes[*b].weight));
            let gone = self.nodes.remove(least.unwrap_or(0));
            let off = |node: &&mut Node| (node.cv.max(LEAST_CV) / gone.cv.max(LEAST_CV)).ln().abs();
            // of two that are as near, the larger one
            let nearest =
                self.nodes.iter_mut().min_by(|a, b| off(a).total_cmp(&off(b)).then(b.cv.total_cmp(&a.cv)));
            if let Some(nearest) = nearest {
                nearest.weight += gone.weight;
            }
        }
    }

    /// The nodes that count, with their weights and their fits without a floor, by their scatter.
    fn weighed(mut self) -> Vec<Node> {
        const NEGLIGIBLE: f64 = 0.005;
        let share = |logs: &[f64], most: f64| logs.iter().map(|log| (log - most).exp()).sum::<f64>();
        let sum = share(&self.logs, self.most);
        for (node, log) in self.nodes.iter_mut().zip(&self.logs) {
            node.weight = (log - self.most).exp() / sum;
        }
        self.nodes.retain(|node| node.weight > NEGLIGIBLE);
        self.thin();
        let sum: f64 = self.nodes.iter().map(|node| node.weight).sum();
        for node in &mut self.nodes {
            node.weight /= sum;
            node.bare = node.likelihood.best(&self.bare_model, &self.bare);
            self.bare.clone_from(&node.bare.x);
            if node.bare.value >= node.free.value {
                node.free = node.bare.clone();
            }
            node.plain = node.free.clone();
        }
        self.nodes.sort_by(|a, b| a.cv.total_cmp(&b.cv));
        self.nodes
    }
}

/// The logarithm of the likelihood less half that of the information of what was fitted.
fn adjusted(likelihood: &Likelihood, model: &Model, numbers: &Numbers) -> f64 {
    let mut local = Local::new(model.numbers());
    likelihood.local(model, &numbers.x, &mut local);
    numbers.value - ln_information(&mut local, model) / 2.0
}

fn ln_information(local: &mut Local, model: &Model) -> f64 {
    let rows: Vec<usize> =
        (0..model.numbers()).filter(|place| model.least[*place] < model.most[*place]).collect();
    for place in &rows {
        local.information.add(*place, *place, 1e-9);
    }
    local.information.root(&rows, 1e-9).map_or(0.0, |root| root.ln_determinant())
}
