//! The last sample against the one before, and against the fall up to then.
//!
//! What bottles scatter is taken from the samples before the last: a rise would hide itself in a scatter that it made.

use super::{Finding, doubt};
use crate::certainty::normal;
use crate::count::PerMl;
use crate::job::progress::joint::{Cell, Joint};
use crate::job::progress::series::Progress;
use crate::units::significant;

/// A bin in the last sample and in the one before it.
struct Pair {
    bin: usize,
    per_ml: [f64; 2],
    /// The logarithm of the last over the one before.
    ln_ratio: f64,
    count: f64,
    ml: f64,
    /// The relative variance of their ratio by counting.
    counting: f64,
    turnovers: f64,
}

impl Progress {
    pub(super) fn last_sample(&self, limits: &[Option<PerMl>]) -> Vec<Finding> {
        let (Some(earlier), pairs) = (self.before_last(), pairs(&self.joint)) else { return Vec::new() };
        let earlier = &earlier;
        let number = pairs.len() as f64;
        let rising = pairs.iter().map(|pair| (pair, number * pair.chance_of_rise(earlier)));
        let least = |a: &(&Pair, f64), b: &(&Pair, f64)| a.1.total_cmp(&b.1);
        if let Some((pair, chance)) = rising.min_by(least).filter(|(_, chance)| *chance < self.rare()) {
            return vec![self.rising(pair, chance)];
        }
        let is_open = |pair: &&Pair| limits[pair.bin].is_none_or(|limit| self.sizes[pair.bin].now > limit);
        let stays = pairs.iter().filter(is_open).filter(|pair| pair.is_not_less(earlier));
        let chances = stays.filter_map(|pair| {
            let chance = earlier.chance_above(pair.bin, pair.turnovers, pair.count, pair.ml)?;
            Some((pair, number * chance))
        });
        let stalled = chances.min_by(least).filter(|(_, chance)| *chance < self.rare());
        stalled.map(|(pair, chance)| self.stalled(pair, earlier, chance)).into_iter().collect()
    }

    fn rising(&self, pair: &Pair, chance: f64) -> Finding {
        let evidence =
            format!("{} between the last two samples; chance {}", pair.print(), significant(chance, 2));
        let meaning = [
            "water or dirt came in",
            "sediment was stirred up",
            "the filter sheds, is ruptured or bypassed",
            "a bottle was not clean",
        ];
        let advice = "draw two more bottles at once: if they agree, look at the element and at what comes in before going on";
        doubt("rising", evidence, meaning, advice).at(self.sizes[pair.bin].size)
    }

    fn stalled(&self, pair: &Pair, earlier: &Joint, chance: f64) -> Finding {
        let expected = significant(earlier.bin_at(pair.bin, pair.turnovers), 3);
        let evidence = format!(
            "{} between the last two samples, where the fall so far leaves {expected}; chance {}",
            pair.print(),
            significant(chance, 2)
        );
        let meaning = [
            "the floor is reached: as much comes in or is shed as is caught",
            "the flow has dropped",
            "a part of the tank is not reached",
        ];
        let advice = "read flow and pressures, sample after the filter, and stop what comes in; more turnovers alone may not help";
        doubt("stalled", evidence, meaning, advice).at(self.sizes[pair.bin].size)
    }
}

impl Pair {
    fn print(&self) -> String {
        let [before, last] = self.per_ml.map(|per_ml| significant(per_ml, 4));
        format!("from {before} to {last} per mL")
    }

    fn deviate(&self, cv: f64) -> f64 {
        self.ln_ratio / (self.counting + 2.0 * cv * cv).sqrt()
    }

    /// How likely chance alone lifts the last sample as far above the one before.
    fn chance_of_rise(&self, earlier: &Joint) -> f64 {
        earlier.average(|node| normal::upper_tail(self.deviate(node.cv)))
    }

    /// Whether a fall between the two cannot be told from chance.
    fn is_not_less(&self, earlier: &Joint) -> bool {
        const CHANCE: f64 = 0.025;
        earlier.average(|node| normal::upper_tail(-self.deviate(node.cv))) > CHANCE
    }
}

/// The bins that were counted both in the last sample and in the one before it.
fn pairs(joint: &Joint) -> Vec<Pair> {
    let samples = &joint.data.samples;
    let Some(last) = samples.last() else { return Vec::new() };
    let Some(before) = samples.iter().rfind(|sample| sample.turnovers < last.turnovers) else {
        return Vec::new();
    };
    let pair = |cell: &Cell| {
        let other = before.cells.iter().find(|other| other.bins == cell.bins)?;
        let single = cell.bins.len() == 1;
        let half = |cell: &Cell| cell.count + 0.5;
        single.then(|| Pair {
            bin: cell.bins.start,
            per_ml: [other.count / other.ml, cell.count / cell.ml],
            ln_ratio: (half(cell) / cell.ml / (half(other) / other.ml)).ln(),
            count: cell.count,
            ml: cell.ml,
            counting: 1.0 / half(other) + 1.0 / half(cell),
            turnovers: last.turnovers,
        })
    };
    last.cells.iter().filter_map(pair).collect()
}
