//! Where the pressure reaches the terminal one, whatever exponent of the loading laws an element follows.
//!
//! The interval is that of the profile: a place belongs to it unless the best curve of the family that reaches the
//! terminal pressure there has a sum of squares beyond the least of all curves by more than `t^2 s^2`, with `t` of Student
//! and `s^2` the scatter, both on N - 3 degrees of freedom. For one law alone it is Fieller's interval. Its end is
//! infinite exactly where a constant pressure is not beyond it either (D. J. Venzon, S. H. Moolgavkar, Applied Statistics
//! 37 (1988) 87-94).

use super::family::{Curve, Fitted, Point};
use crate::certainty::{Interval, Level, student};

/// The place where a pressure is reached, over the whole family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Due {
    /// The exponent `n` that fits best.
    pub(super) exponent: f64,
    /// Where the best curve reaches the pressure.
    pub(super) at: f64,
    /// Where the mean pressure may reach it.
    pub(super) mean: Interval<f64>,
    /// Where a single further reading may; none where that is unbounded.
    pub(super) single: Option<Interval<f64>>,
}

/// Numbers of a curve, and the scatter.
const PARAMETERS: f64 = 3.0;
/// A part of the square of the rise that rounding may make of a sum of squares.
const ROUNDING: f64 = 1e-20;
/// By what part of the distance to the middle of the readings the search for an end starts, and how much longer each
/// step is than the one before.
const STEP: (f64, f64) = (0.05, 1.6);
/// Steps of that search before an end is given up.
const STEPS: usize = 120;
/// A place known to this part of its distance is known well enough.
const EXACT: f64 = 1e-9;

/// A search for places.
struct Profile<'a> {
    points: &'a [Point],
    /// The logarithm of the terminal pressure.
    terminal: f64,
    best: Fitted,
    /// The most that the sum of squares may be.
    most: f64,
}

/// Where the pressure of this logarithm is reached; none unless the readings rise, beyond what a constant pressure can
/// explain. The points lie at two places or more, in order, and are more than three.
pub(super) fn due(points: &[Point], terminal: f64, level: Level) -> Option<Due> {
    let (&first, &last) = (points.first()?, points.last()?);
    let degrees = points.len() as f64 - PARAMETERS;
    if degrees < 1.0 {
        return None;
    }
    let best = Curve { first, second: last, power: 0.0 }.best(points, [true; 3]);
    let flat = flat(points);
    let within = best.squares * (1.0 + student::two_sided(level, degrees).powi(2) / degrees);
    let profile = Profile { points, terminal, best, most: within.max(best.squares + ROUNDING * flat) };
    if flat <= profile.most || best.curve.second.1 <= best.curve.first.1 {
        return None;
    }
    let at = best.curve.place_of(terminal);
    let ends = |squares: &dyn Fn(f64) -> f64| {
        Some(Interval { low: profile.end(at, -1.0, squares)?, high: profile.end(at, 1.0, squares)? })
    };
    let mean = ends(&|place| profile.of_mean(place))?;
    let single = ends(&|place| profile.of_single(place));
    Some(Due { exponent: 1.0 - best.curve.power, at, mean, single })
}

/// The sum of squares about a constant pressure.
fn flat(points: &[Point]) -> f64 {
    let mean = points.iter().map(|point| point.1).sum::<f64>() / points.len() as f64;
    points.iter().map(|point| (point.1 - mean).powi(2)).sum()
}

impl Profile<'_> {
    /// The first and the last place with a reading.
    fn places(&self) -> (f64, f64) {
        let place = |point: Option<&Point>| point.map_or(0.0, |point| point.0);
        (place(self.points.first()), place(self.points.last()))
    }

    /// A curve that reaches the terminal pressure at a place. It stands on the end of the readings that lies further from
    /// there, so that it is sure to reach all of them.
    fn through(&self, place: f64) -> Curve {
        let (first, last) = self.places();
        let end = if place - first >= last - place { first } else { last };
        let log = self.best.curve.at(end).unwrap_or(self.terminal);
        Curve { first: (end, log), second: (place, self.terminal), power: self.best.curve.power }
    }

    /// The least squares of a curve that reaches the terminal pressure at a place.
    fn of_mean(&self, place: f64) -> f64 {
        self.through(place).best(self.points, [true, false, true]).squares
    }

    /// The least squares of a curve with a further reading of the terminal pressure at a place.
    fn of_single(&self, place: f64) -> f64 {
        let points = [self.points, &[(place, self.terminal)]].concat();
        self.through(place).best(&points, [true; 3]).squares
    }

    /// The end of the interval to one side of a place within it; none where it has none.
    fn end(&self, from: f64, side: f64, squares: &dyn Fn(f64) -> f64) -> Option<f64> {
        let (first, last) = self.places();
        let mut step = STEP.0 * (from - f64::midpoint(first, last)).abs().max(last - first);
        let over = |place: f64| squares(place) - self.most;
        let mut inside = (from, over(from).min(0.0));
        for _ in 0..STEPS {
            let place = inside.0 + side * step;
            let found = over(place);
            if found > 0.0 {
                return Some(root(&over, inside, (place, found)));
            }
            inside = (place, found);
            step *= STEP.1;
        }
        None
    }
}

/// Where a function changes its sign between two places, by false position in the manner of Illinois: the end that stays
/// counts for half, so that both ends close in.
fn root(of: &dyn Fn(f64) -> f64, mut within: (f64, f64), mut beyond: (f64, f64)) -> f64 {
    let mut stayed = 0;
    for _ in 0..STEPS {
        let width = beyond.0 - within.0;
        if width.abs() <= EXACT * (within.0.abs() + beyond.0.abs()) {
            break;
        }
        let part = (-within.1 / (beyond.1 - within.1)).clamp(0.01, 0.99);
        let place = within.0 + part * width;
        let found = of(place);
        if found > 0.0 {
            beyond = (place, found);
            if stayed == 1 {
                within.1 *= 0.5;
            }
            stayed = 1;
        } else {
            within = (place, found);
            if stayed == -1 {
                beyond.1 *= 0.5;
            }
            stayed = -1;
        }
    }
    f64::midpoint(within.0, beyond.0)
}
