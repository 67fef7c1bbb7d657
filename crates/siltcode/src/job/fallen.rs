//! Falls of a pressure that only rises while an element loads, told from the scatter of readings.
//!
//! The mean of the last reading, or of the last two, is compared with means of 1, 2, 4 and 8 successive readings before
//! them. The more readings there are, the more comparisons: so the risk of each is made smaller, such that all of them
//! together, in a series that never ends, raise a false alarm for at most 1.5 % of elements. For a pressure that is
//! constant in truth that is the worst case; one that rises raises fewer.

use crate::certainty::normal::upper_quantile;

/// A fall from one reading to another, both counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Fall {
    /// The last of the readings before.
    pub(super) from: usize,
    /// The first of those after.
    pub(super) to: usize,
    /// The last of those after: the same, or the next.
    pub(super) confirmed: usize,
}

/// A pressure at rated flow with its standard deviation \[kPa\].
#[derive(Debug, Clone, Copy)]
pub(super) struct Scattered {
    /// Which reading it is, counted from 0.
    pub(super) reading: usize,
    pub(super) kpa: f64,
    pub(super) deviation: f64,
}

/// A mean of successive readings, the last of which this is.
#[derive(Debug, Clone, Copy)]
struct Mean {
    reading: usize,
    kpa: f64,
    variance: f64,
}

/// The risk of a false alarm of a fall in all the readings of an element.
const RISK: f64 = 0.015;
/// How many readings are taken together before a fall, and how many at most after it.
const BEFORE: [usize; 4] = [1, 2, 4, 8];
const AFTER: usize = 2;
/// A fall that rounding could make of equal pressures, as a part of them.
const ROUNDING: f64 = 1e-9;

/// The highest mean of each length.
type Highest = [Option<Mean>; BEFORE.len()];

/// Each fall. After one the readings start anew.
pub(super) fn falls(readings: &[Scattered]) -> Vec<Fall> {
    let (mut first, mut falls, mut highest): (_, _, Highest) = (0, Vec::new(), [None; BEFORE.len()]);
    for now in 1..readings.len() {
        let deviate = deviate(now);
        let earlier = highest;
        raise(&mut highest, &readings[first..now], deviate);
        let found = [(highest, 1), (earlier, 2)].iter().find_map(|(before, after)| {
            let start = now + 1 - after;
            let from = fall(before, &mean(readings.get(start..=now)?), deviate)?;
            Some(Fall { from, to: readings[start].reading, confirmed: readings[now].reading })
                .map(|fall| (start, fall))
        });
        if let Some((start, fall)) = found {
            falls.push(fall);
            (first, highest) = (start, [None; BEFORE.len()]);
            if start < now {
                raise(&mut highest, &readings[start..now], deviate);
            }
        }
    }
    falls
}

/// How many standard deviations a comparison may show, where so many readings came before the last one. A reading adds as
/// many comparisons as there are lengths and readings, and `1 / (1 2) + 1 / (2 3) + ...` is 1 however many there are.
fn deviate(before: usize) -> f64 {
    let before = before as f64;
    let comparisons = (BEFORE.len() * AFTER) as f64 * before;
    upper_quantile(RISK / (before * (before + 1.0) * comparisons))
}

/// The mean of successive readings.
fn mean(readings: &[Scattered]) -> Mean {
    let count = readings.len() as f64;
    let squares: f64 = readings.iter().map(|reading| reading.deviation.powi(2)).sum();
    Mean {
        reading: readings.last().map_or(0, |last| last.reading),
        kpa: readings.iter().map(|reading| reading.kpa).sum::<f64>() / count,
        variance: squares / (count * count),
    }
}

/// Puts the means that end with the last of these readings in the place of lower ones.
fn raise(highest: &mut Highest, readings: &[Scattered], deviate: f64) {
    let surely = |mean: &Mean| mean.kpa - deviate * mean.variance.sqrt();
    for (highest, length) in highest.iter_mut().zip(BEFORE) {
        let Some(start) = readings.len().checked_sub(length) else { continue };
        let mean = mean(&readings[start..]);
        if highest.is_none_or(|highest| surely(&mean) >= surely(&highest)) {
            *highest = Some(mean);
        }
    }
}

/// The reading from which the pressure has fallen to a mean; none unless by more than scatter explains.
fn fall(before: &Highest, last: &Mean, deviate: f64) -> Option<usize> {
    let fallen = |before: &&Mean| {
        let scatter = deviate * (before.variance + last.variance).sqrt();
        before.kpa - last.kpa > scatter.max(ROUNDING * before.kpa)
    };
    before.iter().flatten().find(fallen).map(|before| before.reading)
}
