//! How many turnovers remain until every size meets its target.

use serde::Serialize;

use super::fit::FloorRule;
use super::joint::Parts;
use super::profile::Remaining;
use super::series::{Progress, Spread};
use crate::caution::{self, Caution};
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::size::Size;
use crate::tank::{Target, Turnovers};
use crate::units::significant;

/// What remains at one size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SizeOutlook {
    /// Particles of this size and larger.
    pub size: Size,
    /// The most there may be.
    pub target: PerMl,
    /// What the curve has at the last sample.
    pub now: PerMl,
    /// The turnovers that remain.
    pub remaining: Remaining,
    /// Where a floor as high as the target cannot be ruled out: after how many more turnovers one more sample, counted in
    /// the last one's volume, would tell it from none, by the expected information; none where none would.
    pub floor_seen_after: Option<Turnovers>,
}

/// What remains until every size meets its target.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outlook {
    /// Each size that the target limits, rising.
    pub sizes: Vec<SizeOutlook>,
    /// Which of them decides: the one that is met last, or never.
    pub deciding: usize,
    /// What was taken for granted.
    pub assumptions: Vec<String>,
}

impl Progress {
    /// How many turnovers remain until a target is met at every size.
    ///
    /// # Errors
    /// `size-not-sampled` where the target limits a size at which the samples show no fall.
    pub fn outlook(&self, target: &Target) -> Result<Outlook> {
        let sizes: Vec<SizeOutlook> = target
            .limits()
            .iter()
            .map(|(size, limit)| Ok(self.size_outlook(self.bin_of(*size)?, *limit)))
            .collect::<Result<_>>()?;
        let last = |i: &usize| sizes[*i].remaining.estimate.map_or(f64::INFINITY, Turnovers::get);
        let deciding = (0..sizes.len()).rev().max_by(|a, b| last(a).total_cmp(&last(b))).unwrap_or(0);
        let assumptions = self.assumptions(&sizes);
        Ok(Outlook { sizes, deciding, assumptions })
    }

    fn bin_of(&self, size: Size) -> Result<usize> {
        let known = || self.sizes.iter().map(|known| known.size.to_string()).collect::<Vec<_>>().join(", ");
        let unknown = || ErrorKind::SizeNotSampled { size: size.to_string(), known: known() };
        Ok(self.sizes.iter().position(|known| known.size == size).ok_or_else(unknown)?)
    }

    fn assumptions(&self, sizes: &[SizeOutlook]) -> Vec<String> {
        let mut assumptions = vec!["flow, elements and ingress stay as they were".to_owned()];
        if self.options.elements.iter().any(|period| !period.expected.is_empty()) {
            assumptions.push(
                "the elements work about as rated, all sizes alike: the fewer the samples, the more rests on this".into(),
            );
        }
        let percent = |cv: f64| significant(100.0 * cv, 2);
        assumptions.push(match self.options.spread {
            Spread::Counting => "bottles scatter by counting alone".into(),
            Spread::Stated(scatter) => {
                let found = self.found_sharing();
                format!("bottles scatter by {} % beyond counting, as stated{found}", percent(scatter.cv()))
            }
            Spread::Parts { shared, own } => format!(
                "bottles scatter by {} % beyond counting, all sizes of a bottle alike, and each size by {} % besides, as stated",
                percent(shared.cv()),
                percent(own.cv())
            ),
            Spread::Found => self.found_scatter(),
        });
        if self.options.floor == Some(FloorRule::Absent) {
            assumptions.push("there is no floor, as stated: with one, everything here is too good".into());
        } else if !self.is_floor_shown() && sizes.iter().any(|size| size.remaining.high.is_none()) {
            assumptions.push(
                "no floor is shown yet: estimates have none, but one as high as the target cannot be ruled out".into(),
            );
        }
        assumptions
    }

    /// The range that holds what the scatter may be, but for one chance in ten.
    fn found_scatter(&self) -> String {
        const OUTSIDE: f64 = 0.05;
        let percent = |cv: f64| significant(100.0 * cv, 2);
        let nodes = &self.joint.nodes;
        let reached = |share: f64| {
            let mut below = 0.0;
            let node = nodes.iter().find(|node| {
                below += node.weight;
                below > share
            });
            node.or(nodes.last()).map_or(0.0, |node| node.cv)
        };
        let [low, high] = [OUTSIDE, 1.0 - OUTSIDE].map(reached).map(percent);
        format!(
            "bottles scatter by {low} to {high} % beyond counting, estimated from the samples{}",
            self.found_sharing()
        )
    }

    /// How much of the scatter all sizes of a bottle share, where the samples tell.
    fn found_sharing(&self) -> &'static str {
        const NEARLY_SURE: f64 = 0.9;
        let nodes = || self.joint.nodes.iter().filter(|node| node.cv > 0.0);
        let whole: f64 = nodes().map(|node| node.weight).sum();
        let share = |of: fn(&Parts) -> bool| {
            nodes().filter(|node| of(&node.parts)).map(|node| node.weight).sum::<f64>()
        };
        if self.sizes.len() == 1 || whole == 0.0 {
            ""
        } else if share(|parts| parts.own == 0.0) > NEARLY_SURE * whole {
            ", all sizes of a bottle alike"
        } else if share(|parts| parts.shared == 0.0) > NEARLY_SURE * whole {
            ", each size of a bottle by itself"
        } else {
            ", in part all sizes of a bottle alike, in part each by itself"
        }
    }
}

impl Progress {
    /// How many turnovers remain until one of the fitted sizes meets a limit.
    fn size_outlook(&self, bin: usize, target: PerMl) -> SizeOutlook {
        let progress = &self.sizes[bin];
        let (size, now, level) = (progress.size, progress.now, self.options.level);
        let remaining = self.joint.remaining(bin, target.get(), level);
        let is_open = self.options.floor.is_none() && remaining.high.is_none();
        let seen_after = is_open.then(|| self.joint.floor_seen_after(bin, target.get(), level)).flatten();
        let floor_seen_after = seen_after.and_then(|after| Turnovers::new(after).ok());
        SizeOutlook { size, target, now, remaining, floor_seen_after }
    }
}

impl Outlook {
    /// The size that decides.
    #[must_use]
    pub fn deciding(&self) -> &SizeOutlook {
        &self.sizes[self.deciding]
    }

    /// What remains until every size meets its target: the latest of each end.
    #[must_use]
    pub fn remaining(&self) -> Remaining {
        let latest = |of: fn(&Remaining) -> Option<Turnovers>| {
            let ends = self.sizes.iter().map(|size| of(&size.remaining));
            ends.collect::<Option<Vec<_>>>()
                .map(|ends| ends.into_iter().fold(Turnovers::NONE, |a, b| if b > a { b } else { a }))
        };
        let estimate = latest(|remaining| remaining.estimate);
        let (low, high) = (latest(|remaining| remaining.low), latest(|remaining| remaining.high));
        Remaining { estimate, low, high, ..self.deciding().remaining }
    }

    /// What to beware of where the tank is circulated on and sampled again.
    #[must_use]
    pub fn cautions(&self) -> Vec<&'static Caution> {
        caution::about(&["flammable vapour", "static", "bonding", "pressure"])
    }
}
