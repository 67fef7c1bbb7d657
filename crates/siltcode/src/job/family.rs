//! The family of loading laws `dR/dv = K R^n` with any exponent from 0 to 2, fitted to pressures by least squares.
//!
//! With `w = 1 - n` the pressure to the power of `w` is linear along the axis. So a curve is given by its pressures at two
//! places: anywhere else the pressure is their power mean with exponent `w`, which is the geometric mean for `w = 0`. No
//! constant is needed that could become infinite.
//!
//! Gauges and the correction to rated flow err in proportion to the pressure, so the squares are those of logarithms. They
//! are made least by the method of Levenberg and Marquardt (D. W. Marquardt, Journal of the Society for Industrial and
//! Applied Mathematics 11 (1963) 431-441), with `w` kept between its bounds.

/// A reading: the place along the axis, and the logarithm of the pressure.
pub(super) type Point = (f64, f64);

/// A curve of the family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Curve {
    /// A place, and the logarithm of the pressure there.
    pub(super) first: Point,
    /// Another place, and the logarithm of the pressure there.
    pub(super) second: Point,
    /// `w = 1 - n`, from -1 to 1.
    pub(super) power: f64,
}

/// Which numbers of a curve a fit may change: the pressure at the first place, that at the second, the power.
pub(super) type Free = [bool; 3];

/// A fitted curve, with its sum of squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fitted {
    pub(super) curve: Curve,
    pub(super) squares: f64,
}

/// The least and the greatest power. A fit starts from both, and from the curve's own, so that the least of several minima
/// is found.
const ENDS: [f64; 2] = [-1.0, 1.0];
/// Rounds of a fit.
const ROUNDS: usize = 100;
/// Below this product of power and rise a series replaces a difference that would lose its digits.
const SMALL: f64 = 1e-3;
/// A fall of the squares, as a part of them, that is not worth another round.
const SETTLED: f64 = 1e-12;
/// The least and the most damping of a step.
const DAMPING: (f64, f64) = (1e-12, 1e12);

impl Curve {
    /// How far a place lies from the first to the second, and the rise between the two.
    fn part(&self, x: f64) -> (f64, f64) {
        ((x - self.first.0) / (self.second.0 - self.first.0), self.second.1 - self.first.1)
    }

    /// The logarithm of the pressure at a place; none where the law has none so far on or so far back.
    pub(super) fn at(&self, x: f64) -> Option<f64> {
        let (part, rise) = self.part(x);
        let bend = self.power * rise;
        if bend.abs() < SMALL * SMALL {
            return Some(self.first.1 + rise * part * (1.0 + 0.5 * bend * (1.0 - part)));
        }
        let grown = part * bend.exp_m1();
        (grown > -1.0).then(|| self.first.1 + grown.ln_1p() / self.power)
    }

    /// How the logarithm of the pressure at a place changes with each number of the curve.
    fn slopes(&self, x: f64) -> [f64; 3] {
        let (part, rise) = self.part(x);
        let bend = self.power * rise;
        let grown = part * bend.exp_m1();
        let second = part * bend.exp() / (1.0 + grown);
        let power = if bend.abs() < SMALL {
            0.5 * rise * rise * part * (1.0 - part) * (1.0 + bend * (1.0 - 2.0 * part) * 2.0 / 3.0)
        } else {
            (second * rise - grown.ln_1p() / self.power) / self.power
        };
        [(1.0 - part) / (1.0 + grown), second, power]
    }

    /// Where the curve has this logarithm of the pressure.
    pub(super) fn place_of(&self, log: f64) -> f64 {
        let (rise, wanted) = (self.second.1 - self.first.1, log - self.first.1);
        let part = if (self.power * rise).abs() < SMALL * SMALL {
            wanted / rise * (1.0 + 0.5 * self.power * (wanted - rise))
        } else {
            (self.power * wanted).exp_m1() / (self.power * rise).exp_m1()
        };
        self.first.0 + part * (self.second.0 - self.first.0)
    }

    /// The sum of squares about the curve; infinite where a reading lies beyond the end of the law.
    fn squares(&self, points: &[Point]) -> f64 {
        let square = |&(x, log): &Point| self.at(x).map_or(f64::INFINITY, |at| (log - at).powi(2));
        points.iter().map(square).sum()
    }

    /// The same curve with its numbers changed.
    fn stepped(&self, step: [f64; 3]) -> Self {
        Self {
            first: (self.first.0, self.first.1 + step[0]),
            second: (self.second.0, self.second.1 + step[1]),
            power: (self.power + step[2]).clamp(ENDS[0], ENDS[1]),
        }
    }

    /// The curve with the least squares downhill from this one.
    pub(super) fn descend(self, points: &[Point], free: Free) -> Fitted {
        let mut now = Fitted { curve: self, squares: self.squares(points) };
        let mut damping = SMALL;
        for _ in 0..ROUNDS {
            let Some((next, damped)) = now.step(points, free, damping) else { break };
            let fall = now.squares - next.squares;
            (now, damping) = (next, damped);
            if fall <= SETTLED * now.squares {
                break;
            }
        }
        now
    }

    /// The best of the curves downhill from this one, with its own power to start from and with both ends.
    pub(super) fn best(self, points: &[Point], free: Free) -> Fitted {
        let starts = ENDS.into_iter().chain([self.power]);
        let fits = starts.map(|power| Self { power, ..self }.descend(points, free));
        let least = |a: Fitted, b: Fitted| if b.squares < a.squares { b } else { a };
        fits.reduce(least).unwrap_or(Fitted { curve: self, squares: f64::INFINITY })
    }
}

impl Fitted {
    /// A step that lowers the squares, with the damping that the next one starts from; none where there is none.
    fn step(&self, points: &[Point], free: Free, mut damping: f64) -> Option<(Self, f64)> {
        if !self.squares.is_finite() {
            return None;
        }
        let (mut pull, mut bend) = ([0.0; 3], [[0.0; 3]; 3]);
        for &(x, log) in points {
            let (slopes, off) = (self.curve.slopes(x), log - self.curve.at(x)?);
            for i in 0..3 {
                pull[i] += slopes[i] * off;
                for j in 0..3 {
                    bend[i][j] += slopes[i] * slopes[j];
                }
            }
        }
        let held =
            (self.curve.power >= ENDS[1] && pull[2] > 0.0) || (self.curve.power <= ENDS[0] && pull[2] < 0.0);
        let free = [free[0], free[1], free[2] && !held];
        while damping <= DAMPING.1 {
            let curve = self.curve.stepped(solved(bend, pull, free, damping));
            let squares = curve.squares(points);
            if squares < self.squares {
                return Some((Self { curve, squares }, (0.1 * damping).max(DAMPING.0)));
            }
            damping *= 10.0;
        }
        None
    }
}

/// The step of the free numbers that solves the damped normal equations (Cholesky); 0 where they say nothing.
fn solved(mut of: [[f64; 3]; 3], mut right: [f64; 3], free: Free, damping: f64) -> [f64; 3] {
    for i in 0..3 {
        of[i][i] *= 1.0 + damping;
        if !free[i] {
            right[i] = 0.0;
            of[i] = [0.0; 3];
            for row in &mut of {
                row[i] = 0.0;
            }
            of[i][i] = 1.0;
        }
    }
    for i in 0..3 {
        for j in 0..=i {
            let rest = of[i][j] - (0..j).map(|k| of[i][k] * of[j][k]).sum::<f64>();
            of[i][j] = if i == j { rest.sqrt() } else { rest / of[j][j] };
        }
        if of[i][i].is_nan() || of[i][i] <= 0.0 {
            return [0.0; 3];
        }
    }
    for i in 0..3 {
        let sum: f64 = (0..i).map(|k| of[i][k] * right[k]).sum();
        right[i] = (right[i] - sum) / of[i][i];
    }
    for i in (0..3).rev() {
        let sum: f64 = (i + 1..3).map(|k| of[k][i] * right[k]).sum();
        right[i] = (right[i] - sum) / of[i][i];
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_passes_through_its_points_and_back() {
        for power in [-1.0, -0.5, -1e-9, 0.0, 1e-7, 1e-4, 0.3, 1.0] {
            let curve = Curve { first: (1.0, 0.2), second: (5.0, 1.7), power };
            for (x, log) in [curve.first, curve.second] {
                assert!((curve.at(x).unwrap() - log).abs() < 1e-12, "{power}");
            }
            for x in [0.0, 2.0, 5.5] {
                assert!((curve.place_of(curve.at(x).unwrap()) - x).abs() < 1e-9, "{power} {x}");
            }
            // pressure to the power is linear
            let lifted = |x: f64| (power * curve.at(x).unwrap()).exp_m1() / power;
            if power.abs() > 1e-5 {
                let off = lifted(3.0) - f64::midpoint(lifted(1.0), lifted(5.0));
                assert!(off.abs() < 1e-9, "{power}: {off}");
            }
        }
        let blocked = Curve { first: (0.0, 0.0), second: (1.0, 1.0), power: -1.0 };
        assert_eq!(blocked.at(2.0), None, "complete blocking ends");
    }

    #[test]
    fn slopes_are_those_of_differences() {
        for power in [-0.999, -0.4, -2e-4, 3e-4, 0.0, 0.5, 0.999] {
            let curve = Curve { first: (1.0, 0.2), second: (5.0, 1.7), power };
            for x in [0.0, 2.0, 4.5, 5.5] {
                for i in 0..3 {
                    let moved = |by: f64| {
                        let mut step = [0.0; 3];
                        step[i] = by;
                        curve.stepped(step).at(x).unwrap()
                    };
                    let by = if i == 2 { 1e-4 } else { 1e-6 };
                    let difference = (moved(by) - moved(-by)) / (2.0 * by);
                    let found = curve.slopes(x)[i];
                    assert!((found - difference).abs() < 1e-6 * (1.0 + found.abs()), "{power} {x} {i}");
                }
            }
        }
    }

    #[test]
    fn a_curve_is_found_again() {
        for power in [-1.0, -0.5, 0.0, 0.5, 1.0] {
            let curve = Curve { first: (0.0, 0.2), second: (7.0, 1.7), power };
            let points: Vec<Point> =
                (0..8).map(|i| (f64::from(i), curve.at(f64::from(i)).unwrap())).collect();
            let found = Curve { first: points[0], second: points[7], power: 0.2 }.best(&points, [true; 3]);
            assert!(found.squares < 1e-18, "{power}: {found:?}");
            assert!((found.curve.power - power).abs() < 1e-6, "{power}: {found:?}");
        }
    }
}
