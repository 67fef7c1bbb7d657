//! What would settle a verdict that the counts leave open.

use std::fmt;

use serde::Serialize;

use super::factor::{RandomFactor, Variation};
use super::gamma::Shape;
use super::joint::Limit;
use super::mixture::Mixture;
use super::normal;
use crate::count::{CountedVolume, Evidence};
use crate::size::Size;

/// What would settle an undecided verdict with a probability of [`POWER`](Self::POWER), if the fluid is as it was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Settle {
    /// This size has a limit and was not counted.
    Count(Size),
    /// The raw count and the counted volume of this size were not recorded.
    Record(Size),
    /// Examine this volume of the sample in total: counting error dominates.
    Volume(CountedVolume),
    /// Count this many runs of the bottle in total, each of the same volume: runs vary more than counting error explains.
    Runs(u32),
    /// Draw more bottles, this many in total: scatter between bottles dominates, and counting more of one will not help.
    Bottles(u32),
    /// Nothing practical: the result is too close to the limit.
    TooClose,
}

impl Settle {
    /// How likely what is named settles the verdict.
    pub const POWER: f64 = 0.9;
}

impl fmt::Display for Settle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count(size) => write!(f, "count {size}"),
            Self::Record(size) => write!(f, "record the raw count and the counted volume at {size}"),
            Self::Volume(volume) => write!(f, "count about {} mL in all", rounded_up(volume.ml())),
            Self::Runs(total) => {
                write!(f, "count {total} runs in all: runs vary more than counting error explains")
            }
            Self::Bottles(total) => {
                write!(f, "draw more bottles, {total} in all: scatter between bottles dominates")
            }
            Self::TooClose => f.write_str("the result is too close to the limit to be settled by counting"),
        }
    }
}

/// A volume rounded up to two digits, as text \[mL\].
fn rounded_up(ml: f64) -> String {
    let digit = 10_f64.powf(ml.log10().floor() - 1.0);
    let up = (ml / digit - 1e-9).ceil() * digit;
    let decimals = (0..10).find(|&decimals| ml * 10_f64.powi(decimals) >= 10.0).unwrap_or(10);
    let decimals = usize::try_from(decimals).unwrap_or_default();
    format!("{up:.decimals$}")
}

/// What would tell one size from its limit, with this risk of telling it wrongly.
pub(super) fn of(evidence: &Evidence, limit: Limit, risk: f64, variation: Variation) -> Settle {
    let open = Open {
        raw: evidence.raw as f64,
        examined_ml: evidence.examined_ml(),
        runs: f64::from(evidence.runs.max(1)),
        limit: limit.per_ml.get() * evidence.examined_ml(),
        risk,
        variation,
    };
    open.settle()
}

/// A size that is too close to its limit.
struct Open {
    /// Particles counted, over all runs.
    raw: f64,
    examined_ml: f64,
    runs: f64,
    /// Particles expected at the limit.
    limit: f64,
    risk: f64,
    variation: Variation,
}

/// What there is more of.
#[derive(Clone, Copy)]
enum More {
    Volume,
    Runs,
    Bottles,
}

impl Open {
    /// More than this many times the volume, or as many runs or bottles, is not practical.
    const MOST: [f64; 3] = [1e4, 100.0, 1000.0];
    /// Beyond this many degrees of freedom more runs do not tell more of their variation.
    const MOST_DEGREES: f64 = 20.0;

    /// More of what the doubt is mostly due to; where no amount of that is enough, of the next.
    fn settle(&self) -> Settle {
        let counting = 1.0 / (self.raw + 1.0);
        let runs = self.variation.run.averaged(self.variation.share).log_sd().powi(2);
        let bottles = self.variation.between.log_sd().powi(2);
        let order: &[More] = match () {
            () if counting >= runs + bottles => &[More::Volume, More::Runs, More::Bottles],
            () if runs >= bottles => &[More::Runs, More::Bottles],
            () => &[More::Bottles],
        };
        order.iter().find_map(|more| self.enough(*more)).unwrap_or(Settle::TooClose)
    }

    fn enough(&self, more: More) -> Option<Settle> {
        let most = Self::MOST[more as usize];
        let varies = |factor: RandomFactor| factor != RandomFactor::NONE;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 2 to 1000
        match more {
            More::Volume => {
                let volume = CountedVolume::from_ml(self.examined_ml * self.least(more, most)?);
                volume.ok().map(Settle::Volume)
            }
            More::Runs if varies(self.variation.run) => {
                let total = (self.least(more, most / self.runs)? * self.runs).ceil();
                Some(Settle::Runs(total.max(self.runs + 1.0) as u32))
            }
            More::Bottles if varies(self.variation.run) || varies(self.variation.between) => {
                Some(Settle::Bottles(self.least(more, most)?.ceil().max(2.0) as u32))
            }
            More::Runs | More::Bottles => None,
        }
    }

    /// The least multiple of what there is that is enough.
    fn least(&self, more: More, most: f64) -> Option<f64> {
        let (mut low, mut high) = (0.0, most.max(1.0).ln());
        if !self.is_told(more, high.exp()) {
            return None;
        }
        while high - low > 1e-6 {
            let middle = f64::midpoint(low, high);
            if self.is_told(more, middle.exp()) { high = middle } else { low = middle }
        }
        Some(high.exp())
    }

    /// Whether so many times as much tells with the power stated: even if the new count falls out as unfavourably as it does
    /// in the rest of cases.
    fn is_told(&self, more: More, times: f64) -> bool {
        let factor = self.factor(more, times);
        let mean = self.raw.max(0.5) * times;
        let spread =
            normal::upper_quantile(1.0 - Settle::POWER) * (1.0 / mean + factor.log_sd().powi(2)).sqrt();
        let limit = self.limit * times;
        if self.raw <= self.limit {
            let count = mean * spread.exp();
            Mixture::new(Shape::new(count + 1.0), factor).tails(limit)[1] <= self.risk
        } else {
            let count = mean * (-spread).exp();
            Mixture::new(Shape::new(count + 1.0), factor).tails(limit)[0] <= self.risk
        }
    }

    fn factor(&self, more: More, times: f64) -> RandomFactor {
        let Variation { run, share, between } = self.variation;
        match more {
            More::Volume => self.variation.factor(),
            More::Runs => {
                let degrees = (self.runs * times - 1.0).min(Self::MOST_DEGREES).max(run.degrees());
                RandomFactor::computed(run.log_sd(), degrees).averaged(share / times).and(between)
            }
            More::Bottles => run.averaged(share / times).and(between.averaged(1.0 / times)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn volumes_are_rounded_up_to_two_digits() {
        for (ml, text) in [
            (0.0312, "0.032"),
            (2.206, "2.3"),
            (9.96, "10.0"),
            (10.0, "10"),
            (82.232, "83"),
            (1234.0, "1300"),
        ] {
            assert_eq!(rounded_up(ml), text, "{ml}");
        }
    }
}
