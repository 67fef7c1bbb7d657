//! The odds of many raw counts, each distinct one worked out once.

use std::ops::Range;

use super::factor::RandomFactor;
use super::odds::{Odds, is_far};
use crate::bulk::{range_number_of, same_length};
use crate::class::iso4406::{Bounds, RangeNumber};
use crate::count::{CountedVolume, Dilution, Evidence};
use crate::error::Result;

/// Range numbers 0 to 28, and above the scale.
const NUMBERS: usize = Odds::NUMBERS;

/// Room for the numbers that most raw counts leave in question.
const NARROW: usize = 4;

/// The probability of each of them \[-\].
type Row = [f64; NUMBERS];

/// The odds of many raw counts of one volume, dilution and random factor, as rows: each distinct count is worked out once.
///
/// Most large counts lie so far within their number that they leave no doubt of it. Which they are is known beforehand.
///
/// ```
/// use siltcode::certainty::{OddsByCount, Scatter};
/// use siltcode::{CountedVolume, Dilution};
///
/// let mut odds = OddsByCount::new(CountedVolume::from_ml(1.0)?, Dilution::NONE, Scatter::NONE);
/// let mut rows = [[0.0; 30]; 2];
/// odds.write(&[1900, 12], &mut rows)?;
/// assert_eq!(rows[0][18], 1.0);
/// assert_eq!(rows[1][9..13].iter().map(|p| (p * 100.0).round()).collect::<Vec<_>>(), [0.0, 25.0, 72.0, 3.0]);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct OddsByCount {
    volume: CountedVolume,
    dilution: Dilution,
    factor: RandomFactor,
    /// For each number the raw counts that leave no doubt of it, where that is known beforehand.
    sure: [Range<usize>; NUMBERS],
    /// What was worked out; it begins with each number beyond doubt.
    known: Vec<Known>,
    /// Rows that take more room than most.
    wide: Vec<Row>,
    /// The place in `known` of a raw count, as far as this goes; [`UNKNOWN`](Self::UNKNOWN) until asked for.
    places: Vec<u32>,
    /// A raw count that is not remembered, with its row.
    last: Option<(u64, Row)>,
}

impl OddsByCount {
    /// Raw counts below this are remembered, in some thirty megabytes at most.
    const REMEMBERED: usize = 1 << 17;

    const UNKNOWN: u32 = u32::MAX;

    /// Nothing worked out yet.
    #[must_use]
    pub fn new(volume: CountedVolume, dilution: Dilution, factor: impl Into<RandomFactor>) -> Self {
        let factor = factor.into();
        let numbers = || RangeNumber::all().chain([RangeNumber::ABOVE]);
        let mut sure = [const { 0..0 }; NUMBERS];
        if factor == RandomFactor::NONE {
            for (sure, number) in sure.iter_mut().zip(numbers()) {
                *sure = beyond_doubt(number, |raw| Evidence::of_run(raw as u64, volume, dilution));
            }
        }
        let certain = numbers().filter_map(|number| Narrow::of(&Odds::beyond_doubt(number).row()));
        let known = certain.map(Known::Narrow).collect();
        Self { volume, dilution, factor, sure, known, wide: Vec::new(), places: Vec::new(), last: None }
    }

    /// Writes the odds of each raw count \[particles\], as [`Odds::of`] gives them, to the same place of `out`: of the
    /// numbers 0 to 28, then of above the scale.
    ///
    /// # Errors
    /// `lengths-differ` unless `out.len() == raw.len()`; `out` is then left as it was.
    pub fn write(&mut self, raw: &[u64], out: &mut [Row]) -> Result<()> {
        same_length(raw.len(), out.len())?;
        for (row, &raw) in out.iter_mut().zip(raw) {
            match usize::try_from(raw) {
                Ok(at) if at < Self::REMEMBERED => match self.known(at) {
                    Known::Narrow(narrow) => narrow.write(row),
                    Known::Wide(place) => row.clone_from(&self.wide[place]),
                },
                _ => *row = self.not_remembered(raw),
            }
        }
        Ok(())
    }

    #[allow(clippy::cast_possible_truncation)] // as many as are remembered at most
    fn known(&mut self, at: usize) -> Known {
        if at >= self.places.len() {
            self.make_places(at);
        }
        if self.places[at] == Self::UNKNOWN {
            self.places[at] = self.known.len() as u32;
            let row = self.worked_out(at as u64);
            let known = Narrow::of(&row).map_or(Known::Wide(self.wide.len()), Known::Narrow);
            if let Known::Wide(_) = known {
                self.wide.push(row);
            }
            self.known.push(known);
        }
        self.known[self.places[at] as usize]
    }

    /// Places for raw counts up to this one and somewhat beyond.
    fn make_places(&mut self, at: usize) {
        let more = self.places.len()..(2 * at).clamp(1000, Self::REMEMBERED);
        self.places.resize(more.end, Self::UNKNOWN);
        for (number, sure) in (0..).zip(&self.sure) {
            let (start, end) = (sure.start.max(more.start), sure.end.min(more.end));
            self.places.get_mut(start..end).into_iter().for_each(|places| places.fill(number));
        }
    }

    fn not_remembered(&mut self, raw: u64) -> Row {
        let kept = self.last.filter(|(known, _)| *known == raw);
        self.last.insert(kept.unwrap_or_else(|| (raw, self.worked_out(raw)))).1
    }

    fn evidence(&self, raw: u64) -> Evidence {
        Evidence::of_run(raw, self.volume, self.dilution)
    }

    fn worked_out(&self, raw: u64) -> Row {
        Odds::of(&self.evidence(raw), self.factor).row()
    }
}

/// The odds of a raw count, in little room if they can be.
#[derive(Debug, Clone, Copy)]
enum Known {
    Narrow(Narrow),
    /// The place of its row.
    Wide(usize),
}

/// Odds of a few numbers that follow each other; all others have none.
#[derive(Debug, Clone, Copy)]
struct Narrow {
    cleanest: usize,
    odds: [f64; NARROW],
}

impl Narrow {
    fn of(row: &Row) -> Option<Self> {
        let first = row.iter().position(|&p| p > 0.0)?;
        let cleanest = first.min(NUMBERS - NARROW);
        let (odds, beyond) = row[cleanest..].split_first_chunk()?;
        beyond.iter().all(|&p| p == 0.0).then_some(Self { cleanest, odds: *odds })
    }

    fn write(self, row: &mut Row) {
        *row = [0.0; NUMBERS];
        row[self.cleanest..][..NARROW].copy_from_slice(&self.odds);
    }
}

/// The raw counts that leave no doubt of a number, of those that are remembered. The farther from a bound the surer, so
/// they have no gap.
fn beyond_doubt(number: RangeNumber, evidence: impl Fn(usize) -> Evidence) -> Range<usize> {
    let from = |holds: &dyn Fn(&Evidence) -> bool| {
        first_where(OddsByCount::REMEMBERED, |raw| {
            let evidence = evidence(raw);
            let counted = range_number_of(evidence.per_ml().get());
            counted > number.get() || (counted == number.get() && holds(&evidence))
        })
    };
    let Bounds { more_than, up_to } = number.bounds();
    from(&|evidence| is_far(evidence, more_than))..from(&|evidence| !is_far(evidence, up_to))
}

/// The least number below `end` from which on `holds`, or `end`.
fn first_where(end: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, end);
    while low < high {
        let middle = usize::midpoint(low, high);
        if holds(middle) { high = middle } else { low = middle + 1 }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::certainty::{Probability, Scatter};

    fn alone(raw: u64, volume: CountedVolume, scatter: Scatter) -> Odds {
        Odds::of(&Evidence::of_run(raw, volume, Dilution::NONE), scatter)
    }

    #[test]
    fn they_are_those_of_each_count() {
        let few = [7, 0, 7, 3000, 0, 130_000, 1 << 20, 1 << 20, (1 << 20) + 1, 1 << 20, u64::MAX];
        let many = (0..140_000).step_by(97);
        let raw: Vec<u64> = few.into_iter().chain(many).collect();
        for (scatter, ml) in [(0.0, 1e-6), (0.0, 0.05), (0.0, 10.0), (0.0, 1e6), (0.1, 10.0)] {
            let (scatter, volume) = (Scatter::from_cv(scatter).unwrap(), CountedVolume::from_ml(ml).unwrap());
            let mut by_count = OddsByCount::new(volume, Dilution::NONE, scatter);
            let mut rows = vec![[7.0; NUMBERS]; raw.len()];
            by_count.write(&raw, &mut rows).unwrap();
            for (row, &raw) in rows.iter().zip(&raw) {
                assert_eq!(row, &alone(raw, volume, scatter).row(), "{raw} in {ml} mL");
            }
        }
    }

    #[test]
    fn lengths_must_agree() {
        let volume = CountedVolume::from_ml(10.0).unwrap();
        let mut by_count = OddsByCount::new(volume, Dilution::NONE, Scatter::NONE);
        assert_eq!(by_count.write(&[1], &mut []).unwrap_err().code(), "lengths-differ");
    }

    #[test]
    fn the_ends_of_what_is_sure_are_sure() {
        let volume = CountedVolume::from_ml(10.0).unwrap();
        let by_count = OddsByCount::new(volume, Dilution::NONE, Scatter::NONE);
        let sure: Vec<_> = by_count.sure.iter().filter(|range| !range.is_empty()).collect();
        assert!(sure.len() > 5, "{sure:?}");
        for range in sure {
            for raw in [range.start as u64, range.end as u64 - 1] {
                assert_eq!(
                    alone(raw, volume, Scatter::NONE).likeliest().unwrap().1,
                    Probability::CERTAIN,
                    "{raw}"
                );
            }
        }
    }
}
