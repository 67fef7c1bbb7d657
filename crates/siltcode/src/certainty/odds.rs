//! The odds of each range number, given a raw count.

use std::collections::VecDeque;

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::gamma::nothing_beyond;
use super::level::{Probability, Scatter};
use super::posterior::{Posterior, inside};
use crate::class::iso4406::RangeNumber;
use crate::count::{CountedVolume, Dilution, Evidence};

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
    /// The odds of this evidence, if bottles scatter this much; see [`Posterior`].
    #[must_use]
    pub fn of(evidence: &Evidence, scatter: Scatter) -> Self {
        let counted = RangeNumber::of(evidence.per_ml());
        if scatter == Scatter::NONE && leaves_no_doubt(evidence, counted) {
            return Self::beyond_doubt(counted);
        }
        let posterior = Posterior::new(evidence, scatter);
        let edge = |bound: Option<f64>, beyond: [f64; 2]| bound.map_or(beyond, |at| posterior.tails_at(at));
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

    fn beyond_doubt(number: RangeNumber) -> Self {
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

/// Whether the count is so far from both bounds of its number that a double cannot tell the probability from 1.
fn leaves_no_doubt(evidence: &Evidence, counted: RangeNumber) -> bool {
    let bounds = counted.bounds();
    let far = |bound: f64| nothing_beyond(Posterior::shape_of(evidence), bound * evidence.examined_ml());
    bounds.more_than.is_none_or(far) && bounds.up_to.is_none_or(far)
}

/// The odds of many raw counts of one volume, dilution and scatter: each distinct count is worked out once.
///
/// ```
/// use siltcode::certainty::{OddsByCount, Scatter};
/// use siltcode::{CountedVolume, Dilution};
///
/// let mut odds = OddsByCount::new(CountedVolume::from_ml(5.0)?, Dilution::NONE, Scatter::NONE);
/// let likeliest = [50, 52, 50].map(|raw| odds.of(raw).likeliest().unwrap().0.to_string());
/// assert_eq!(likeliest, ["11", "11", "11"]);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct OddsByCount {
    volume: CountedVolume,
    dilution: Dilution,
    scatter: Scatter,
    /// What was worked out; it begins with each number beyond doubt, which most counts share.
    known: Vec<Odds>,
    /// The place of a raw count's odds, as far as this goes; [`UNKNOWN`](Self::UNKNOWN) until asked for.
    places: Vec<u32>,
    /// A raw count beyond that, with its odds.
    last: Option<(u64, Odds)>,
}

impl OddsByCount {
    /// Raw counts below this are remembered: some tens of megabytes at most.
    const REMEMBERED: usize = 1 << 18;

    const UNKNOWN: u32 = u32::MAX;

    /// Nothing worked out yet.
    #[must_use]
    pub fn new(volume: CountedVolume, dilution: Dilution, scatter: Scatter) -> Self {
        let known = RangeNumber::all().chain([RangeNumber::ABOVE]).map(Odds::beyond_doubt).collect();
        Self { volume, dilution, scatter, known, places: Vec::new(), last: None }
    }

    /// The odds of a raw count, as [`Odds::of`] gives them.
    pub fn of(&mut self, raw: u64) -> &Odds {
        match usize::try_from(raw) {
            Ok(at) if at < Self::REMEMBERED => {
                if self.places.len() <= at {
                    self.places.resize(at + 1, Self::UNKNOWN);
                }
                if self.places[at] == Self::UNKNOWN {
                    self.places[at] = self.place(self.worked_out(raw));
                }
                &self.known[self.places[at] as usize]
            }
            _ => {
                let kept = self.last.take().filter(|(known, _)| *known == raw);
                let odds = kept.unwrap_or_else(|| (raw, self.worked_out(raw)));
                &self.last.insert(odds).1
            }
        }
    }

    fn worked_out(&self, raw: u64) -> Odds {
        Odds::of(&Evidence::of_run(raw, self.volume, self.dilution), self.scatter)
    }

    /// Where these odds are kept.
    #[allow(clippy::cast_possible_truncation)] // as many as are remembered at most
    fn place(&mut self, odds: Odds) -> u32 {
        if *odds.probabilities == [Probability::CERTAIN] {
            return u32::from(odds.cleanest.get());
        }
        self.known.push(odds);
        self.known.len() as u32 - 1
    }
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

    #[test]
    fn what_leaves_no_doubt_has_the_probability_that_the_tails_leave() {
        let volume = CountedVolume::from_ml(10.0).unwrap();
        let mut sure = 0;
        for raw in (0..100_000).step_by(37) {
            let evidence = Evidence::of_run(raw, volume, Dilution::NONE);
            let counted = RangeNumber::of(evidence.per_ml());
            if leaves_no_doubt(&evidence, counted) {
                sure += 1;
                let posterior = Posterior::new(&evidence, Scatter::NONE);
                let tails = |bound: Option<f64>, beyond| bound.map_or(beyond, |at| posterior.tails_at(at));
                let bounds = counted.bounds();
                let p = inside(tails(bounds.more_than, [0.0, 1.0]), tails(bounds.up_to, [1.0, 0.0]));
                assert_eq!(p, Probability::CERTAIN, "{raw}");
            }
        }
        assert!(sure > 1000, "{sure}");
    }

    #[test]
    fn odds_by_count_are_those_of_each_count() {
        let volume = CountedVolume::from_ml(10.0).unwrap();
        for scatter in [Scatter::NONE, Scatter::from_cv(0.1).unwrap()] {
            let mut by_count = OddsByCount::new(volume, Dilution::NONE, scatter);
            for raw in [7, 0, 7, 3000, 170_000, 0, 1 << 20, 1 << 20, (1 << 20) + 1, 1 << 20] {
                let alone = Odds::of(&Evidence::of_run(raw, volume, Dilution::NONE), scatter);
                assert_eq!(by_count.of(raw), &alone, "{raw}");
            }
            let above = CountedVolume::from_ml(1e-6).unwrap();
            let mut by_count = OddsByCount::new(above, Dilution::NONE, scatter);
            let odds = by_count.of(200_000).clone();
            assert_eq!(odds.likeliest().map(|(number, _)| number), Some(RangeNumber::ABOVE));
        }
    }
}
