//! All bins of a job fitted together, and what that says of when they meet a target.

mod against;
mod ascent;
mod confidence;
mod data;
mod fall;
mod likelihood;
mod linear;
mod model;
mod remaining;
mod scatter;
mod sight;
mod start;

use std::sync::Arc;

use super::bottle::Bottle;
use super::errors::StandardErrors;
use super::fit::FloorRule;
use crate::certainty::gamma::Gamma;
use crate::certainty::quadrature::crossing;
use crate::size::Size;
use crate::tank::Mixing;
pub(super) use ascent::{Numbers, Through};
pub(super) use data::{Cell, Data};
use fall::Fall;
use likelihood::Local;
pub(super) use likelihood::Parts;
use model::Hold;
pub(super) use model::Model;
pub(super) use scatter::{Node, Said};

/// The chance to find at least this statistic against no floor where there is none: as many floors as bins, each found
/// above 0 half of the time (S. G. Self, K.-Y. Liang, Journal of the American Statistical Association 82 (1987) 605-610).
/// The bins share a floor, so the true chance is smaller.
pub(super) fn floor_by_chance(statistic: f64, bins: usize) -> f64 {
    let (mut share, mut chance) = (0.5_f64.powi(i32::try_from(bins).unwrap_or(i32::MAX)), 0.0);
    for found in 1..=bins {
        share *= (bins + 1 - found) as f64 / found as f64;
        chance += share * Gamma::at(found as f64 / 2.0, statistic / 2.0).upper();
    }
    chance
}

/// The chance to take a floor for shown in a job without one, at a scatter of bottles that is rather too large.
const CHANCE: f64 = 0.01;

/// The share of what the scatter may be that lies below one that is rather too large.
const RATHER_LARGE: f64 = 0.92;

/// The chance to find more of a floor than is made up for.
const HIDDEN: f64 = 0.05;

/// The scatter below which it lies with a probability.
fn reached(nodes: &[Node], share: f64) -> usize {
    let mut below = 0.0;
    let is_reached = |node: &Node| {
        below += node.weight;
        below >= share
    };
    nodes.iter().position(is_reached).unwrap_or(nodes.len() - 1)
}

/// The most probable of the nodes that scatter as much as one does.
fn heaviest_beside(nodes: &[Node], place: usize) -> usize {
    let alike = (0..nodes.len()).filter(|other| nodes[*other].cv.total_cmp(&nodes[place].cv).is_eq());
    alike.max_by(|a, b| nodes[*a].weight.total_cmp(&nodes[*b].weight)).unwrap_or(place)
}

/// The statistic against no floor in so many bins that is exceeded with a chance.
fn exceeded(bins: usize, chance: f64) -> f64 {
    const MOST: f64 = 1e3;
    crossing(|statistic| floor_by_chance(statistic, bins) - chance, 1e-3, MOST)
}

/// What a joint fit is made from.
pub(super) struct Given<'a> {
    pub(super) bottles: &'a [Bottle],
    /// The sizes that are fitted, rising.
    pub(super) sizes: &'a [Size],
    /// Whether there may be a floor; none where that is for the samples to show.
    pub(super) floor: Option<FloorRule>,
    /// What is said of how bottles scatter.
    pub(super) scatter: Said,
    /// Where later periods of elements start.
    pub(super) later_periods: &'a [f64],
    /// The efficiency in each period and bin, where it is known.
    pub(super) expected: &'a [Vec<Option<f64>>],
    pub(super) mixing: Mixing,
}

/// All bins fitted together, at each scatter of bottles that is possible.
#[derive(Debug, Clone)]
pub(super) struct Joint {
    pub(super) data: Arc<Data>,
    pub(super) model: Model,
    pub(super) nodes: Vec<Node>,
    floor: Option<FloorRule>,
    centre: usize,
    /// The bins whose floor the samples do not show.
    unshown: Vec<usize>,
    /// The statistic of so many floors that chance alone exceeds with [`HIDDEN`].
    by_chance: f64,
}

impl Joint {
    pub(super) fn new(given: &Given) -> Self {
        let data = Arc::new(Data::new(given.bottles, given.sizes));
        let fall = Fall::new(data.span(), given.later_periods, given.mixing);
        let model = Model::new(&data, fall, given.expected);
        let bins = model.bins;
        let model =
            if given.floor == Some(FloorRule::Absent) { model.without_floors(0..bins) } else { model };
        let mut nodes = scatter::nodes(&data, &model, given.scatter);
        let centre = heaviest_beside(&nodes, reached(&nodes, 0.5));
        let unshown = match given.floor {
            Some(FloorRule::Free) => Vec::new(),
            Some(FloorRule::Absent) => (0..bins).collect(),
            None => {
                let rather_large = &nodes[heaviest_beside(&nodes, reached(&nodes, RATHER_LARGE))];
                scatter::unshown(rather_large, &model, exceeded(1, CHANCE / bins as f64))
            }
        };
        for node in &mut nodes {
            node.leave_out(&model, &unshown);
        }
        let by_chance = exceeded(unshown.len().max(1), HIDDEN);
        Self { data, model, nodes, floor: given.floor, centre, unshown, by_chance }
    }

    /// The fits at the middle of what the scatter may be.
    pub(super) fn centre(&self) -> &Node {
        &self.nodes[self.centre]
    }

    /// Whether a floor is shown by the samples, or was said to be there.
    pub(super) fn is_floor_shown(&self) -> bool {
        self.unshown.len() < self.model.bins
    }

    /// The best estimate: with those floors only that are shown.
    pub(super) fn best(&self) -> &Numbers {
        &self.centre().plain
    }

    /// The concentration of all bins from one on together, by the best estimate \[particles/mL\].
    pub(super) fn at(&self, from: usize, turnovers: f64) -> f64 {
        self.model.sum(&self.model.values(&self.best().x), from..self.model.bins, turnovers)
    }

    /// The concentration of one bin, by the best estimate \[particles/mL\].
    pub(super) fn bin_at(&self, bin: usize, turnovers: f64) -> f64 {
        self.model.at(&self.model.values(&self.best().x), bin, turnovers)
    }

    /// The floor of all bins from one on together, by the best estimate \[particles/mL\].
    pub(super) fn floor_from(&self, from: usize) -> f64 {
        self.at(from, f64::INFINITY)
    }

    /// The height of a bin above its floor at the first sample \[particles/mL\].
    pub(super) fn height(&self, bin: usize) -> f64 {
        self.best().x[bin].exp()
    }

    /// The floor of a bin \[particles/mL\].
    pub(super) fn floor(&self, bin: usize) -> f64 {
        self.model.floor(&self.best().x, bin)
    }

    /// The rates of a bin in each period of elements \[1/turnover\].
    pub(super) fn rates(&self, bin: usize) -> Vec<f64> {
        self.model.rates(&self.best().x, bin)
    }

    /// Whether the last rate of a bin lies at the end of what rates may be: \[at the least, at the most\].
    pub(super) fn rate_at_end(&self, bin: usize) -> [bool; 2] {
        const NEAR: f64 = 1e-9;
        let place = self.model.rate(bin, self.model.periods - 1);
        let x = &self.best().x;
        let is_empty = x[bin] <= self.model.least[bin] + NEAR;
        [
            x[place] <= self.model.least[place] + NEAR || is_empty,
            x[place] >= self.model.most[place] - NEAR && !is_empty,
        ]
    }

    /// The variances of the numbers of the best estimate, by the expected information: column by column of what is asked.
    pub(super) fn variance(
        &self,
        model: &Model,
        numbers: &Numbers,
        slopes: &[Vec<f64>],
    ) -> Option<Vec<Vec<f64>>> {
        let mut local = Local::new(model.numbers());
        self.centre().likelihood.local(model, &numbers.x, &mut local);
        let floors = model.floor_place(0)..model.floor_place(model.bins);
        let is_free = |place: &usize| {
            let is_missing = floors.contains(place) && numbers.x[*place] == 0.0;
            model.least[*place] < model.most[*place] && !is_missing
        };
        let rows: Vec<usize> = (0..model.numbers()).filter(is_free).collect();
        let root = local.information.root(&rows, 0.0)?;
        let columns: Vec<Vec<f64>> = slopes.iter().map(|slope| root.solve(slope)).collect();
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        Some(slopes.iter().map(|slope| columns.iter().map(|column| dot(slope, column)).collect()).collect())
    }

    /// Standard errors of a bin's height, rate and floor; none where the samples do not fix them.
    pub(super) fn errors(&self, bin: usize) -> Option<StandardErrors> {
        let (model, best) = (&self.model, self.best());
        let unit = |place: usize, by: f64| {
            let mut slope = vec![0.0; model.numbers()];
            slope[place] = by;
            slope
        };
        let rate = model.rate(bin, model.periods - 1);
        let mut floor = vec![0.0; model.numbers()];
        floor[model.floor_place(bin)] = 1.0;
        let slopes = [unit(bin, best.x[bin].exp()), unit(rate, best.x[rate].exp()), floor];
        let variance = self.variance(model, best, &slopes)?;
        let has_floor = self.floor(bin) > 0.0;
        let [height, rate, floor]: [f64; 3] = std::array::from_fn(|i| variance[i][i].sqrt());
        Some(StandardErrors {
            above_floor: height,
            efficiency: rate,
            floor: has_floor.then_some(floor),
            correlation: has_floor.then(|| variance[1][2] / (rate * floor)),
        })
    }
}
