//! How many particles are still acceptable, how much volume to count, and when to stop counting.
//!
//! All three are in expected counts at the limit: limit times examined volume. Fewer than three expected particles can
//! never accept at 95 %, since even none of them would be no surprise.

use serde::Serialize;

use super::gamma::Gamma;
use super::level::{Level, Mean, Probability};
use super::normal;
use super::poisson;
use crate::count::{CountedVolume, PerMl};
use crate::error::{ErrorKind, Result};

/// The largest count that shows, at this level, that the fluid is within a limit at which `at_limit` are expected.
///
/// The largest `k` whose one-sided upper limit ([`poisson::upper`]) is at most `at_limit`; none where not even a count
/// of zero shows it.
///
/// ```
/// use siltcode::certainty::{Level, Mean, planner};
///
/// assert_eq!(planner::most_to_accept(Mean::new(100.0)?, Level::default()), Some(83));
/// assert_eq!(planner::most_to_accept(Mean::new(2.9)?, Level::default()), None);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn most_to_accept(at_limit: Mean, level: Level) -> Option<u64> {
    let (mean, risk) = (at_limit.get().min(EXACT), level.risk());
    let accepts = |k: f64| Gamma::at(k + 1.0, mean).upper() <= risk;
    if !accepts(0.0) {
        return None;
    }
    // The normal approximation with its first corrections is within a count or two, except far out in the tails.
    let z = normal::upper_quantile(risk);
    let guess = (mean - z * mean.sqrt() + (z * z - 1.0) / 6.0).floor().clamp(0.0, EXACT);
    let (mut low, mut high) = bracket(guess, accepts);
    while high - low > 1.0 {
        let middle = f64::midpoint(low, high).floor();
        if accepts(middle) { low = middle } else { high = middle }
    }
    Some(whole(low))
}

/// Around a guess: a count that accepts, and a larger one that does not (or the last whole number). Zero accepts.
fn bracket(guess: f64, accepts: impl Fn(f64) -> bool) -> (f64, f64) {
    let (mut low, mut high, mut step) = (guess, guess + 1.0, 1.0);
    while low > 0.0 && !accepts(low) {
        high = low;
        low = (low - step).max(0.0);
        step *= 2.0;
    }
    while high < EXACT && accepts(high) {
        low = high;
        high = (high + step).min(EXACT);
        step *= 2.0;
    }
    (low, high)
}

/// The last whole number a double steps by one.
const EXACT: f64 = 9_007_199_254_740_992.0;

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // not negative; beyond 2^53 it saturates
const fn whole(k: f64) -> u64 {
    k as u64
}

/// A test planned before sampling: count this volume, accept up to that many particles.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Plan {
    /// The volume of the sample as drawn to examine \[mL\].
    pub volume: CountedVolume,
    /// Particles expected in it at the limit.
    pub at_limit: Mean,
    /// The largest count that accepts.
    pub most_to_accept: u64,
    /// How likely the clean fluid passes.
    pub power: Probability,
}

/// The least volume at which a fluid with `clean` particles passes a test against `limit` with probability `power`,
/// while one above the limit passes with at most the risk of `level`.
///
/// Power is saw-toothed in the volume; this is the first volume that reaches it.
///
/// ```
/// use siltcode::PerMl;
/// use siltcode::certainty::{Level, planner};
///
/// // Number 7 ends at 1.3 per mL; half of that is one number cleaner.
/// let plan = planner::volume(PerMl::new(1.3)?, PerMl::new(0.65)?, Level::default(), Level::new(0.9)?)?;
/// assert_eq!(format!("{:.1} mL, at most {}", plan.volume.ml(), plan.most_to_accept), "19.6 mL, at most 17");
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// # Errors
/// `quantity-out-of-range` unless `0 <= clean < limit`, or if the two are so close that more than 2^53 particles would
/// have to be counted.
pub fn volume(limit: PerMl, clean: PerMl, level: Level, power: Level) -> Result<Plan> {
    let share = clean.get() / limit.get();
    let reached = |k: f64| passes(k, share, level) >= power.get();
    let refused = || ErrorKind::QuantityOutOfRange {
        quantity: "clean concentration".into(),
        value: format!("{clean} per mL"),
        range: format!("clearly below the limit of {limit} per mL"),
    };
    if !(limit > clean && share.is_finite()) {
        return Err(refused().into());
    }
    let mut high = 1.0;
    while !reached(high - 1.0) {
        high *= 2.0;
        if high > EXACT {
            return Err(refused().into());
        }
    }
    let (mut low, mut high) = (0.0, high - 1.0);
    while low < high {
        let middle = f64::midpoint(low, high).floor();
        if reached(middle) { high = middle } else { low = middle + 1.0 }
    }
    let at_limit = poisson::upper(whole(low), level);
    Ok(Plan {
        volume: CountedVolume::from_ml(at_limit.get() / limit.get())?,
        at_limit,
        most_to_accept: whole(low),
        power: Probability::rounded(passes(low, share, level)),
    })
}

/// How likely a fluid at `share` of the limit passes, at the least volume where `k` particles still accept.
fn passes(k: f64, share: f64, level: Level) -> f64 {
    Gamma::at(k + 1.0, poisson::upper(whole(k), level).get() * share).upper()
}

/// What to do after counting so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Step {
    /// Clean: stop.
    Accept,
    /// Count more.
    Continue,
    /// At the limit or above: stop.
    Reject,
}

/// A sequential plan: count until the counts themselves say enough.
///
/// Wald's sequential probability ratio test between a clean concentration and the limit. The boundaries are recalled
/// (A. Wald, Sequential Analysis, 1947), not read: results that rest on them say so.
///
/// ```
/// use siltcode::certainty::{Probability, planner::{Sequential, Step}};
/// use siltcode::{CountedVolume, PerMl};
///
/// let risk = Probability::new(0.05)?;
/// let plan = Sequential::new(PerMl::new(5.0)?, PerMl::new(10.0)?, risk, risk)?;
/// assert_eq!(plan.step(2, CountedVolume::from_ml(1.0)?), Step::Accept);
/// assert_eq!(plan.step(7, CountedVolume::from_ml(1.0)?), Step::Continue);
/// assert_eq!(plan.step(12, CountedVolume::from_ml(1.0)?), Step::Reject);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sequential {
    clean: f64,
    limit: f64,
    ln_accept: f64,
    ln_reject: f64,
}

impl Sequential {
    /// Where the boundaries come from.
    pub const STATUS: &'static str = "UNVERIFIED";

    /// A plan that rejects a fluid at `clean` with probability `false_reject`, and accepts one at `limit` with
    /// probability `false_accept`, approximately and at most.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless `0 < clean < limit` and both probabilities lie above 0 and sum to less than 1.
    pub fn new(
        clean: PerMl,
        limit: PerMl,
        false_reject: Probability,
        false_accept: Probability,
    ) -> Result<Self> {
        let out_of_range = |quantity: &str, value: String, range: &str| ErrorKind::QuantityOutOfRange {
            quantity: quantity.into(),
            value,
            range: range.into(),
        };
        if clean <= PerMl::ZERO || clean >= limit {
            let value = format!("{clean} per mL");
            return Err(out_of_range("clean concentration", value, "above 0 and below the limit").into());
        }
        let [a, b] = [false_reject, false_accept].map(Probability::get);
        if a <= 0.0 || b <= 0.0 || a + b >= 1.0 {
            let value = format!("{a} and {b}");
            return Err(out_of_range("pair of risks", value, "above 0 each and below 1 in sum").into());
        }
        Ok(Self {
            clean: clean.get(),
            limit: limit.get(),
            ln_accept: (b / (1.0 - a)).ln(),
            ln_reject: ((1.0 - b) / a).ln(),
        })
    }

    /// What to do after `raw` particles in this volume of the sample as drawn.
    #[must_use]
    pub fn step(&self, raw: u64, examined: CountedVolume) -> Step {
        let raw = raw as f64;
        if self.accept_up_to(examined).is_some_and(|most| raw <= most.get()) {
            Step::Accept
        } else if raw >= self.reject_from(examined).get() {
            Step::Reject
        } else {
            Step::Continue
        }
    }

    /// At this volume, counts up to this accept; none while not even zero does.
    #[must_use]
    pub fn accept_up_to(&self, examined: CountedVolume) -> Option<Mean> {
        Mean::new(self.boundary(self.ln_accept, examined)).ok()
    }

    /// At this volume, counts from this on reject.
    #[must_use]
    pub fn reject_from(&self, examined: CountedVolume) -> Mean {
        Mean::computed(self.boundary(self.ln_reject, examined).min(f64::MAX))
    }

    fn boundary(&self, ln_ratio: f64, examined: CountedVolume) -> f64 {
        (ln_ratio + (self.limit - self.clean) * examined.ml()) / (self.limit / self.clean).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_acceptable_count_is_the_largest() {
        for level in [0.5, 0.8, 0.95, 0.999] {
            let level = Level::new(level).unwrap();
            for at_limit in [0.7, 3.0, 9.9, 57.3, 4321.0, 1e7, 1e9] {
                let mean = Mean::new(at_limit).unwrap();
                match most_to_accept(mean, level) {
                    Some(k) => {
                        assert!(poisson::upper(k, level).get() <= at_limit * (1.0 + 1e-12), "{k}");
                        assert!(poisson::upper(k + 1, level).get() > at_limit * (1.0 - 1e-12), "{k}");
                    }
                    None => assert!(poisson::upper(0, level).get() > at_limit),
                }
            }
        }
    }

    /// The halving search against a literal walk.
    #[test]
    fn the_planned_volume_is_the_first_that_reaches_the_power() {
        for share in [0.0, 0.1, 0.3, 0.5, 0.7, 0.85] {
            for (level, power) in [(0.9, 0.5), (0.95, 0.9), (0.99, 0.95)] {
                let (level, power) = (Level::new(level).unwrap(), Level::new(power).unwrap());
                let [limit, clean] = [10.0, 10.0 * share].map(|per_ml| PerMl::new(per_ml).unwrap());
                let plan = volume(limit, clean, level, power).unwrap();
                let first =
                    (0_u32..100_000).find(|&k| passes(f64::from(k), share, level) >= power.get()).unwrap();
                assert_eq!(plan.most_to_accept, u64::from(first), "{share}");
            }
        }
    }

    #[test]
    fn plans_that_cannot_be_are_refused() {
        let per_ml = |value| PerMl::new(value).unwrap();
        let level = Level::default();
        for (limit, clean) in [(1.0, 1.0), (1.0, 2.0), (0.0, 0.0), (1.0, 1.0_f64.next_down())] {
            let refused = volume(per_ml(limit), per_ml(clean), level, level).unwrap_err();
            assert_eq!(refused.code(), "quantity-out-of-range", "{limit} {clean}");
        }
        let risk = |value| Probability::new(value).unwrap();
        assert!(Sequential::new(per_ml(0.0), per_ml(1.0), risk(0.1), risk(0.1)).is_err());
        assert!(Sequential::new(per_ml(1.0), per_ml(1.0), risk(0.1), risk(0.1)).is_err());
        assert!(Sequential::new(per_ml(1.0), per_ml(2.0), risk(0.6), risk(0.5)).is_err());
        assert!(Sequential::new(per_ml(1.0), per_ml(2.0), risk(0.0), risk(0.5)).is_err());
    }
}
