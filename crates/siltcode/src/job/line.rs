//! A straight line by ordinary least squares, and where it reaches a value.

use crate::certainty::{Interval, Level, student};

/// The line `y = middle.y + slope (x - middle.x)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    /// Points it was drawn through; three or more.
    points: f64,
    /// The mean of the points.
    middle: (f64, f64),
    /// The sum of squares of x about its mean; above 0.
    spread: f64,
    pub(super) slope: f64,
    /// The standard deviation of a point about the line.
    pub(super) deviation: f64,
}

impl Line {
    /// Through three points or more; none where they do not differ in x, or too much for a double.
    pub(super) fn through(points: &[(f64, f64)]) -> Option<Self> {
        let n = points.len() as f64;
        let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(|point| of(point) / n).sum::<f64>();
        let middle = (mean(|point| point.0), mean(|point| point.1));
        let from_middle = || points.iter().map(|point| (point.0 - middle.0, point.1 - middle.1));
        let spread: f64 = from_middle().map(|(x, _)| x * x).sum();
        let slope = from_middle().map(|(x, y)| x * y).sum::<f64>() / spread;
        let squares: f64 = from_middle().map(|(x, y)| (y - slope * x).powi(2)).sum();
        let deviation = (squares / (n - 2.0)).sqrt();
        let usable = points.len() > 2 && spread > 0.0 && spread.is_finite() && deviation.is_finite();
        usable.then_some(Self { points: n, middle, spread, slope, deviation })
    }

    /// The mean square of what the points lie off.
    pub(super) fn mean_square(&self) -> f64 {
        self.deviation.powi(2) * (self.points - 2.0) / self.points
    }

    pub(super) fn at(&self, x: f64) -> f64 {
        self.middle.1 + self.slope * (x - self.middle.0)
    }

    fn deviate(&self, level: Level) -> f64 {
        student::two_sided(level, self.points - 2.0)
    }

    /// The interval of the slope.
    pub(super) fn slope_interval(&self, level: Level) -> Interval<f64> {
        let reach = self.deviate(level) * self.deviation / self.spread.sqrt();
        Interval { low: self.slope - reach, high: self.slope + reach }
    }

    /// Where it reaches a value.
    pub(super) fn reaches(&self, y: f64) -> f64 {
        self.middle.0 + (y - self.middle.1) / self.slope
    }

    /// Fieller's interval of where the mean line (`readings` infinite) or the mean of so many further readings reaches a
    /// value; none where the interval of the slope holds 0, since it is unbounded then (E. C. Fieller, Journal of the
    /// Royal Statistical Society B 16 (1954) 175-185).
    pub(super) fn fieller(&self, y: f64, readings: f64, level: Level) -> Option<Interval<f64>> {
        let t = self.deviate(level) * self.deviation / self.slope;
        let g = t * t / self.spread;
        if g.is_nan() || g >= 1.0 {
            return None;
        }
        let from_middle = (y - self.middle.1) / self.slope;
        let variance =
            (1.0 - g) * (1.0 / self.points + 1.0 / readings) + from_middle * from_middle / self.spread;
        let reach = t.abs() * variance.sqrt() / (1.0 - g);
        let centre = self.middle.0 + from_middle / (1.0 - g);
        Some(Interval { low: centre - reach, high: centre + reach })
    }
}
