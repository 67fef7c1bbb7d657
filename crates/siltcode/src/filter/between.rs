//! What is known of a ratio at a size, and between two rated sizes.
//!
//! No published rule of interpolation could be read, so three that are in use stand side by side, and their spread is
//! the doubt of choosing one.

use super::beta::{Beta, Efficiency};
use crate::certainty::Interval;

/// What a rating says at a size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BetaAt {
    /// Rated at this size.
    Rated(Beta),
    /// Between two rated sizes: `ln beta` straight over the size, `ln beta` over the logarithm of the size, and
    /// `ln (beta - 1)` over the logarithm of the size. Their spread is the doubt of interpolating.
    Between([Beta; 3]),
    /// Within an interval that the user gave, or between two rated sizes of which one has an interval.
    Within(Interval<Beta>),
    /// Below the smallest rated size: more than 1 and at most this.
    AtMost(Beta),
    /// Above the largest rated size, or too large to be measured: at least this.
    AtLeast(Beta),
}

impl BetaAt {
    /// The ratio to reckon with: the value, or the smallest that is possible; none where only a ceiling is known.
    #[must_use]
    pub fn working(self) -> Option<Beta> {
        match self {
            Self::Rated(beta) | Self::AtLeast(beta) => Some(beta),
            Self::Between(found) => Some(range(found).low),
            Self::Within(interval) => Some(interval.low),
            Self::AtMost(_) => None,
        }
    }

    /// The largest ratio that is possible: infinite where only a lower bound is known.
    #[must_use]
    pub fn greatest(self) -> Beta {
        match self {
            Self::Rated(beta) | Self::AtMost(beta) => beta,
            Self::Between(found) => range(found).high,
            Self::Within(interval) => interval.high,
            Self::AtLeast(_) => Beta::INFINITE,
        }
    }

    /// The efficiencies that are possible.
    #[must_use]
    pub fn efficiency(self) -> Interval<Efficiency> {
        match self {
            Self::Rated(beta) => Interval { low: beta.efficiency(), high: beta.efficiency() },
            Self::Between(found) => range(found).map(Beta::efficiency),
            Self::Within(interval) => interval.map(Beta::efficiency),
            Self::AtMost(beta) => Interval { low: Efficiency::NONE, high: beta.efficiency() },
            Self::AtLeast(beta) => Interval { low: beta.efficiency(), high: Efficiency::WHOLE },
        }
    }
}

/// A scale of sizes and one of ratios in which a curve of ratios is taken as straight, each with its inverse.
#[derive(Clone, Copy)]
pub(super) struct Rule {
    x: fn(f64) -> f64,
    um: fn(f64) -> f64,
    y: fn(f64) -> f64,
    beta: fn(f64) -> f64,
}

pub(super) const RULES: [Rule; 3] = [
    Rule { x: |um| um, um: |x| x, y: f64::ln, beta: f64::exp },
    Rule { x: f64::ln, um: f64::exp, y: f64::ln, beta: f64::exp },
    Rule { x: f64::ln, um: f64::exp, y: |beta| (beta - 1.0).ln(), beta: |y| 1.0 + y.exp() },
];

impl Rule {
    pub(super) fn ratio(self, low: (f64, f64), high: (f64, f64), um: f64) -> f64 {
        let [x0, x1, x] = [low.0, high.0, um].map(self.x);
        let [y0, y1] = [low.1, high.1].map(self.y);
        if y0 == f64::NEG_INFINITY {
            return 1.0; // a straight line from minus infinity stays there
        }
        (self.beta)(y0 + (x - x0) / (x1 - x0) * (y1 - y0))
    }

    pub(super) fn size(self, low: (f64, f64), high: (f64, f64), beta: f64) -> f64 {
        let [x0, x1] = [low.0, high.0].map(self.x);
        let [y0, y1, y] = [low.1, high.1, beta].map(self.y);
        (self.um)(x0 + (y - y0) / (y1 - y0) * (x1 - x0))
    }
}

/// The smallest and the largest of three ratios.
pub(super) fn range([a, b, c]: [Beta; 3]) -> Interval<Beta> {
    [b, c].into_iter().fold(Interval { low: a, high: a }, |found, beta| Interval {
        low: if beta < found.low { beta } else { found.low },
        high: if beta > found.high { beta } else { found.high },
    })
}
