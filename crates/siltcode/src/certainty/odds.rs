//! The odds of each range number, given a raw count.

use std::collections::VecDeque;

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::factor::RandomFactor;
use super::gamma::nothing_beyond;
use super::level::Probability;
use super::posterior::{Posterior, inside};
use crate::class::iso4406::{Bounds, RangeNumber};
use crate::count::Evidence;

/// Numbers less likely than this are left out.
const NEGLIGIBLE: f64 = 1e-6;

/// How likely the fluid's true range number is each of those that come into question, cleanest first.
///
/// Serialised as a map from number to probability.
///
/// ```
/// use siltcode::certainty::{Odds, Scatter};
/// use siltcode::{CountedVolume, Dilution, Evidence};
///
/// let evidence = Evidence::of_run(50, CountedVolume::from_ml(5.0)?, Dilution::NONE);
/// let odds = Odds::of(&evidence, Scatter::NONE); // 10 per mL, the upper bound of number 10
/// assert_eq!(format!("{:.2}", odds.get("10".parse()?).get()), "0.49");
/// assert_eq!(format!("{:.2}", odds.get("11".parse()?).get()), "0.51");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Odds {
    cleanest: RangeNumber,
    /// Of the cleanest number and those that follow it.
    probabilities: Box<[Probability]>,
}

impl Odds {
    /// The odds of this evidence, if the concentration varies by this factor; see [`Posterior`].
    #[must_use]
    pub fn of(evidence: &Evidence, factor: impl Into<RandomFactor>) -> Self {
        let factor = factor.into();
        let counted = RangeNumber::of(evidence.per_ml());
        let Bounds { more_than, up_to } = counted.bounds();
        if factor == RandomFactor::NONE && is_far(evidence, more_than) && is_far(evidence, up_to) {
            return Self::beyond_doubt(counted);
        }
        let posterior = Posterior::new(evidence, factor);
        // Where a double cannot tell it from 0 the probability beyond an edge need not be worked out.
        let edge = |bound: Option<f64>, beyond: [f64; 2]| {
            let far = factor == RandomFactor::NONE && is_far(evidence, bound);
            bound.filter(|_| !far).map_or(beyond, |at| posterior.tails_at(at))
        };
        let lower = |number: RangeNumber| edge(number.bounds().more_than, [0.0, 1.0]);
        let upper = |number: RangeNumber| edge(number.bounds().up_to, [1.0, 0.0]);
        // From the number of the count itself outwards, until nothing worth mentioning is left on that side.
        let (below, above) = (lower(counted), upper(counted));
        let mut odds = VecDeque::from([inside(below, above)]);
        let (mut cleanest, mut end) = (counted, below);
        while let Some(next) = cleanest.cleaner().filter(|_| end[0] >= NEGLIGIBLE) {
            let start = lower(next);
            odds.push_front(inside(start, end));
            (cleanest, end) = (next, start);
        }
        let (mut dirtiest, mut start) = (counted, above);
        while let Some(next) = dirtiest.dirtier().filter(|_| start[1] >= NEGLIGIBLE) {
            let end = upper(next);
            odds.push_back(inside(start, end));
            (dirtiest, start) = (next, end);
        }
        Self::from_cleanest(cleanest, odds)
    }

    /// The odds of a number and those that follow it, without the negligible ones at either end.
    fn from_cleanest(cleanest: RangeNumber, odds: VecDeque<Probability>) -> Self {
        let negligible = |p: &Probability| p.get() < NEGLIGIBLE;
        let (first, last) =
            (odds.iter().take_while(|p| negligible(p)).count(), odds.iter().rposition(|p| !negligible(p)));
        let probabilities = odds.into_iter().take(last.map_or(0, |last| last + 1)).skip(first).collect();
        Self { cleanest: from(cleanest).nth(first).unwrap_or(cleanest), probabilities }
    }

    pub(super) fn beyond_doubt(number: RangeNumber) -> Self {
        Self { cleanest: number, probabilities: [Probability::CERTAIN].into() }
    }

    /// The probability of one number; 0 where it is below one in a million.
    #[must_use]
    pub fn get(&self, number: RangeNumber) -> Probability {
        self.iter().find(|(n, _)| *n == number).map_or(Probability::IMPOSSIBLE, |(_, p)| p)
    }

    /// The numbers and their probabilities, cleanest first.
    pub fn iter(&self) -> impl Iterator<Item = (RangeNumber, Probability)> {
        from(self.cleanest).zip(self.probabilities.iter().copied())
    }

    /// How many numbers there are: 0 to 28, and above the scale.
    pub const NUMBERS: usize = RangeNumber::ABOVE.get() as usize + 1;

    /// The probability \[-\] of each number from 0 to 28, then of above the scale.
    #[must_use]
    pub fn row(&self) -> [f64; Self::NUMBERS] {
        let mut row = [0.0; Self::NUMBERS];
        self.iter().for_each(|(number, p)| row[usize::from(number.get())] = p.get());
        row
    }

    /// The likeliest number.
    #[must_use]
    pub fn likeliest(&self) -> Option<(RangeNumber, Probability)> {
        self.iter().max_by(|a, b| a.1.get().total_cmp(&b.1.get()))
    }
}

/// A number and all that are dirtier.
fn from(cleanest: RangeNumber) -> impl Iterator<Item = RangeNumber> {
    std::iter::successors(Some(cleanest), |number| number.dirtier())
}

/// Whether the count is so far from this bound of its number that a double cannot tell from 0 the probability of being
/// beyond it.
pub(super) fn is_far(evidence: &Evidence, bound: Option<f64>) -> bool {
    bound.is_none_or(|bound| nothing_beyond(Posterior::shape_of(evidence), bound * evidence.examined_ml()))
}

impl Serialize for Odds {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.probabilities.len()))?;
        for (number, probability) in self.iter() {
            map.serialize_entry(&number.to_string(), &probability)?;
        }
        map.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::certainty::Scatter;
    use crate::count::{CountedVolume, Dilution};

    #[test]
    fn what_is_far_from_its_bounds_has_the_probability_that_the_tails_leave() {
        let volume = CountedVolume::from_ml(10.0).unwrap();
        let mut sure = 0;
        for raw in (0..100_000).step_by(37) {
            let evidence = Evidence::of_run(raw, volume, Dilution::NONE);
            let Bounds { more_than, up_to } = RangeNumber::of(evidence.per_ml()).bounds();
            if is_far(&evidence, more_than) && is_far(&evidence, up_to) {
                sure += 1;
                let posterior = Posterior::new(&evidence, Scatter::NONE);
                let tails = |bound: Option<f64>, beyond| bound.map_or(beyond, |at| posterior.tails_at(at));
                let p = inside(tails(more_than, [0.0, 1.0]), tails(up_to, [1.0, 0.0]));
                assert_eq!(p, Probability::CERTAIN, "{raw}");
            }
        }
        assert!(sure > 1000, "{sure}");
    }
}
