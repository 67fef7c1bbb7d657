//! How many turnovers remain: the profile likelihood of when the curve meets a target.
//!
//! For each number of turnovers the most likely curve is looked for that passes through the target just then; the
//! interval holds those numbers whose curve is not much less likely than the best of all. Its upper end is infinite
//! exactly where a curve whose floor is the target cannot be excluded.

use serde::Serialize;

use super::curve::Search;
use super::fit::{Edge, Fit, FloorRule};
use crate::certainty::quadrature::crossing;
use crate::certainty::{Level, normal, student};
use crate::count::PerMl;
use crate::tank::Turnovers;

/// How many turnovers remain after the last sample until a target is met.
///
/// ```
/// use siltcode::certainty::{Level, Scatter};
/// use siltcode::job::progress::{Fit, FloorRule, Observed, Seen};
/// use siltcode::tank::Turnovers;
/// use siltcode::{CountedVolume, Dilution, PerMl};
///
/// let seen = [(0.0, 5031, 0.5), (1.0, 2012, 0.5), (2.0, 1589, 1.0), (3.0, 1420, 2.0), (4.0, 1705, 5.0)];
/// let series = seen.map(|(after, raw, ml)| {
///     let volume = CountedVolume::from_ml(ml)?;
///     Observed::new(Turnovers::new(after)?, Seen::Count(raw), volume, Dilution::NONE)
/// });
/// let series = series.into_iter().collect::<siltcode::Result<Vec<_>>>()?;
/// let fit = Fit::new(&series, FloorRule::Free, Scatter::NONE)?;
/// let to = |per_ml| Ok::<_, siltcode::Error>(fit.remaining(PerMl::new(per_ml)?, Level::default()).to_string());
/// assert_eq!(to(200.0)?, "1.04 (0.789 to 1.44)");
/// assert_eq!(to(130.0)?, "2.84 (1.73 to no end)"); // the floor may be there
/// assert_eq!(to(110.0)?, "never (2.26 to no end)");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Remaining {
    /// By the most likely curve; 0 where the target is met, none where it is never met.
    pub estimate: Option<Turnovers>,
    /// The low end; none where even that the target is ever met can be excluded.
    pub low: Option<Turnovers>,
    /// The high end; none where that it is never met cannot be excluded.
    pub high: Option<Turnovers>,
    /// The likelihood ratio statistic against "it is never met", with which `high` is decided \[-\].
    pub against_never: f64,
    /// The level of the interval.
    pub level: Level,
}

impl std::fmt::Display for Remaining {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let or = |end: Option<Turnovers>, none: &str| end.map_or(none.to_owned(), |end| end.to_string());
        match self.low {
            None => f.write_str("never"),
            Some(low) => {
                write!(f, "{} ({low} to {})", or(self.estimate, "never"), or(self.high, "no end"))
            }
        }
    }
}

/// Doublings of a number of turnovers after which it is taken for endless.
const DOUBLINGS: usize = 60;

impl Fit {
    /// How many turnovers remain after the last sample until the curve meets a target.
    ///
    /// The curves that are compared have no floor where this one was fitted without; then "never" is a tank that does
    /// not get cleaner at all.
    #[must_use]
    pub fn remaining(&self, target: PerMl, level: Level) -> Remaining {
        let (target, last) = (target.get(), self.last());
        let limit = self.limit(level);
        let against_never = self.against_never(target);
        let after = |since: f64| Turnovers::new((since - last).max(0.0)).ok();
        let loss = |since: f64| self.loss(self.through(since, target).best().1);
        let met = self.meets_after(target);
        let low = match met {
            Some(met) if met <= last => Some(last),
            Some(met) => Some(crossing(|since| loss(since) - limit, last, met)),
            None if against_never >= limit || target == 0.0 => None,
            None => first_beyond(last, self.step(), |since| loss(since) < limit)
                .map(|[from, to]| crossing(|since| loss(since) - limit, from, to)),
        };
        let high = met.filter(|_| against_never >= limit).and_then(|met| {
            let from = met.max(last);
            let [from, to] = first_beyond(from, self.step(), |since| loss(since) >= limit)?;
            Some(crossing(|since| limit - loss(since), from, to))
        });
        Remaining {
            estimate: met.and_then(after),
            low: low.and_then(after),
            high: high.and_then(after),
            against_never,
            level,
        }
    }

    /// When the curve meets a target, in turnovers since the first sample; none where it never does.
    fn meets_after(&self, target: f64) -> Option<f64> {
        let curve = &self.curve;
        if self.edge == Some(Edge::NoFall) {
            return (curve.at(self.last()) <= target).then_some(0.0);
        }
        let height = target - curve.floor;
        (height > 0.0).then(|| ((curve.above / height).ln() / curve.rate).max(0.0))
    }

    /// The statistic against "it is never met".
    fn against_never(&self, target: f64) -> f64 {
        self.loss(match self.floor {
            FloorRule::Free => self.through(f64::INFINITY, target).best().1,
            FloorRule::Absent => {
                Search { terms: &self.terms, floor: false, through: None }.best_level(target)
            }
        })
    }

    /// How large the statistic may be at a level: chi-square's with one degree of freedom, or, where the scatter itself
    /// was estimated, F's.
    fn limit(&self, level: Level) -> f64 {
        match self.scatter_freedom {
            None => normal::upper_quantile(level.risk() / 2.0).powi(2),
            Some(freedom) => student::two_sided(level, f64::from(freedom)).powi(2),
        }
    }

    /// A first step of turnovers.
    fn step(&self) -> f64 {
        self.last() / 16.0
    }
}

/// The first of doubling steps at whose end something holds that does not before, from where on it does not.
pub(super) fn first_beyond(from: f64, step: f64, mut holds: impl FnMut(f64) -> bool) -> Option<[f64; 2]> {
    let mut before = from;
    for i in 0..DOUBLINGS {
        let after = from + step * 2.0_f64.powf(i as f64);
        if holds(after) {
            return Some([before, after]);
        }
        before = after;
    }
    None
}
