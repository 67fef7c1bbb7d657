//! What the samples say against a job that goes as it should: chances, each an average over what the scatter may be.

use super::super::fit::FloorRule;
use super::{Hold, Joint, Model, Numbers};
use crate::certainty::normal;

/// The factor of the tank on its elements' efficiencies beyond which its pace is looked at: our choice, twice what tanks
/// usually differ by.
const PACE: f64 = 0.75;

/// That the tank is slower, or faster, than its elements.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Pace {
    /// What the tank shows of the elements' efficiency.
    pub(in super::super) factor: f64,
    /// The bound that it is compared with.
    pub(in super::super) bound: f64,
    /// How likely chance alone takes it beyond the bound.
    pub(in super::super) chance: f64,
}

/// That a larger size falls more slowly than a smaller one, each against its elements where they are known.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Odds {
    pub(in super::super) smaller: usize,
    pub(in super::super) larger: usize,
    /// The rate of the smaller over that of the larger, each over what its elements give.
    pub(in super::super) factor: f64,
    pub(in super::super) chance: f64,
}

impl Joint {
    /// The pace of the tank against its elements; none where they are not known, or it is within what is usual.
    pub(in super::super) fn pace(&self) -> Option<Pace> {
        let any = self.model.held(Hold::AnyFactor);
        let centre = self.centre();
        let factor = self.model.factor(&centre.likelihood.best(&any, &centre.free.x).x)?;
        let bound = if factor < 1.0 { PACE } else { 1.0 / PACE };
        if (PACE..=1.0 / PACE).contains(&factor) {
            return None;
        }
        let at_bound = self.model.held(Hold::Factor(bound));
        let chance = self.average(|node| {
            let free = node.likelihood.best(&any, &node.free.x);
            let is_beyond = self.model.factor(&free.x).is_some_and(|f| (f < bound) == (factor < 1.0));
            let held = node.likelihood.best(&at_bound, &free.x);
            let root = (2.0 * (free.value - held.value)).max(0.0).sqrt();
            normal::upper_tail(if is_beyond { root } else { -root })
        });
        Some(Pace { factor, bound, chance })
    }

    /// The larger size that is most at odds with a smaller one; the chance is over all pairs.
    pub(in super::super) fn odds(&self) -> Option<Odds> {
        let model = self.model.held(Hold::Free);
        let numbers = self.centre().likelihood.best(&model, &self.centre().free.x);
        let pairs = (0..model.bins)
            .flat_map(|smaller| (smaller + 1..model.bins).map(move |larger| (smaller, larger)));
        let number = model.bins * model.bins.saturating_sub(1) / 2;
        let odds = pairs.filter_map(|(smaller, larger)| self.odds_of(&model, &numbers, smaller, larger));
        let most = odds.min_by(|a, b| a.chance.total_cmp(&b.chance))?;
        Some(Odds { chance: (most.chance * number as f64).min(1.0), ..most })
    }

    fn odds_of(&self, model: &Model, numbers: &Numbers, smaller: usize, larger: usize) -> Option<Odds> {
        let period = model.periods - 1;
        let [small, large] = [smaller, larger].map(|bin| model.rate(bin, period));
        let is_fixed =
            |place: usize| numbers.x[place] > model.least[place] && numbers.x[place] < model.most[place];
        if !(is_fixed(small) && is_fixed(large)) {
            return None;
        }
        let mut slope = vec![0.0; model.numbers()];
        (slope[small], slope[large]) = (1.0, -1.0);
        let expected = [smaller, larger].map(|bin| model.expected(bin, period));
        let (usual, spread) = match expected {
            [Some((a, u)), Some((b, v))] => (a - b, u * u + v * v),
            _ => (0.0, 0.0),
        };
        let variance = self.variance(model, numbers, &[slope])?[0][0];
        let off = numbers.x[small] - numbers.x[large] - usual;
        let chance = normal::upper_tail(off / (variance + spread).sqrt());
        Some(Odds { smaller, larger, factor: off.exp(), chance })
    }

    /// How strongly all falls bend alike, and how likely chance alone bends them as much, either way.
    pub(in super::super) fn bend(&self) -> Option<(f64, f64)> {
        const LEAST_SAMPLES: usize = 4;
        if self.data.samples.len() < LEAST_SAMPLES {
            return None;
        }
        let model = self.model.bending();
        let centre = self.centre();
        let bend = centre.likelihood.best(&model, &centre.free.x).x[model.bend_place()];
        let chance = self.average(|node| {
            let found = node.likelihood.best(&model, &node.free.x);
            2.0 * normal::upper_tail((2.0 * (found.value - node.free.value)).max(0.0).sqrt())
        });
        Some((bend, chance))
    }

    /// How likely chance alone lifts the last count of a bin as far above what this fit, of the samples before, expects.
    pub(in super::super) fn chance_above(
        &self,
        bin: usize,
        turnovers: f64,
        count: f64,
        ml: f64,
    ) -> Option<f64> {
        let (model, numbers) = (&self.model, self.best());
        let (values, mut slope) = (model.values(&numbers.x), vec![0.0; model.numbers()]);
        let expected = model.at(&values, bin, turnovers);
        model.add_slope(&values, bin, turnovers, &mut slope, 1.0 / expected);
        let fitted = self.variance(model, numbers, &[slope])?[0][0];
        let counted = 1.0 / (ml * expected);
        let off = ((count + 0.5) / (ml * expected + 0.5)).ln();
        Some(self.average(|node| normal::upper_tail(off / (fitted + counted + node.cv.powi(2)).sqrt())))
    }

    /// The average over the scatters of a chance.
    pub(in super::super) fn average(&self, chance: impl Fn(&super::Node) -> f64) -> f64 {
        self.nodes.iter().map(|node| node.weight * chance(node)).sum()
    }

    /// Whether a floor is left for the samples to show.
    pub(in super::super) fn is_floor_open(&self) -> bool {
        self.floor != Some(FloorRule::Absent)
    }
}
