//! A small convex programme: a linear cost, constraints that are linear but for exponentials of falling exponents, and
//! a box. It is solved by a barrier and Newton's method, and what it says is proven apart from how it was found.
//!
//! For any multipliers the Lagrangian is convex, so it lies above its tangent, and the tangent is least in a corner of
//! the box: that corner's value is a bound below the least cost, however good or bad the point and the multipliers are.
//! S. Boyd, L. Vandenberghe, Convex Optimization (2004), sections 5.1 and 11.3.

/// `constant + linear x + sum of weight exp(-rates x) <= 0`, the weights 0 or more.
#[derive(Debug, Clone)]
pub(super) struct Constraint {
    pub(super) constant: f64,
    pub(super) linear: Vec<f64>,
    /// A weight, and the place of its rates in the programme.
    pub(super) falling: Vec<(f64, usize)>,
}

/// What is to be least, and where.
#[derive(Debug, Clone)]
pub(super) struct Programme {
    pub(super) cost: Vec<f64>,
    pub(super) low: Vec<f64>,
    pub(super) high: Vec<f64>,
    /// The rates of the exponentials, for the first of the variables.
    pub(super) rates: Vec<Vec<f64>>,
    pub(super) constraints: Vec<Constraint>,
}

/// A point, and a bound that no point of the programme goes below.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    pub(super) at: Vec<f64>,
    pub(super) bound: f64,
}

/// The gap between the point and the least cost at which the barrier is let go, as a part of the scale of the cost.
const GAP: f64 = 1e-11;
/// How much thinner each barrier is than the one before.
const THINNER: f64 = 30.0;
/// A step that goes down by so little is none.
const SETTLED: f64 = 1e-9;
/// Newton steps for one barrier.
const STEPS: usize = 60;

impl Programme {
    /// The least cost from a point that lies strictly within everything, or what was found before `enough` was proven.
    /// `scale` is about what the cost is.
    pub(super) fn solve(&self, from: Vec<f64>, scale: f64, enough: f64) -> Solved {
        let count = (self.constraints.len() + 2 * self.cost.len()) as f64;
        let mut solved = Solved { at: from, bound: f64::NEG_INFINITY };
        let mut push = count / scale;
        loop {
            self.centre(&mut solved.at, push);
            solved.bound = solved.bound.max(self.bound(&solved.at, push));
            if count / push <= GAP * scale || solved.bound >= enough {
                return solved;
            }
            push *= THINNER;
        }
    }

    /// The exponentials at a point.
    fn exponentials(&self, at: &[f64]) -> Vec<f64> {
        let falling = |rates: &Vec<f64>| (-rates.iter().zip(at).map(|(k, x)| k * x).sum::<f64>()).exp();
        self.rates.iter().map(falling).collect()
    }

    /// The value of a constraint.
    fn value(constraint: &Constraint, at: &[f64], falling: &[f64]) -> f64 {
        let linear: f64 = constraint.linear.iter().zip(at).map(|(a, x)| a * x).sum();
        let sum: f64 = constraint.falling.iter().map(|&(weight, k)| weight * falling[k]).sum();
        constraint.constant + linear + sum
    }

    /// Its slopes.
    fn slopes(&self, constraint: &Constraint, falling: &[f64], into: &mut [f64]) {
        into.copy_from_slice(&constraint.linear);
        for &(weight, k) in &constraint.falling {
            for (slope, rate) in into.iter_mut().zip(&self.rates[k]) {
                *slope -= weight * falling[k] * rate;
            }
        }
    }

    /// How far within every constraint and side a point lies; none outside.
    fn rooms(&self, at: &[f64]) -> Option<Vec<f64>> {
        let falling = self.exponentials(at);
        let within = self.constraints.iter().map(|c| -Self::value(c, at, &falling));
        let sides = (0..at.len()).flat_map(|v| [at[v] - self.low[v], self.high[v] - at[v]]);
        let rooms: Vec<f64> = within.chain(sides).collect();
        rooms.iter().all(|&room| room > 0.0).then_some(rooms)
    }

    /// Newton's method to where the pushed cost with the barriers is least.
    fn centre(&self, at: &mut Vec<f64>, push: f64) {
        for _ in 0..STEPS {
            let (slope, mut bend) = self.derivatives(at, push);
            let Some(step) = solve_positive(&mut bend, &slope) else { return };
            let fall: f64 = step.iter().zip(&slope).map(|(s, g)| s * g).sum();
            let moved = if fall > SETTLED { self.downhill(at, &step, fall, push) } else { None };
            let Some(moved) = moved else { return };
            *at = moved;
        }
    }

    /// The first part of a step, halved and halved, that goes down enough.
    fn downhill(&self, at: &[f64], step: &[f64], fall: f64, push: f64) -> Option<Vec<f64>> {
        let rooms = self.rooms(at)?;
        let slope: f64 = push * self.cost.iter().zip(step).map(|(c, s)| c * s).sum::<f64>();
        (0..40).map(|halvings| 0.5_f64.powi(halvings)).find_map(|part| {
            let tried: Vec<f64> = at.iter().zip(step).map(|(x, s)| x - part * s).collect();
            let nearer = self.rooms(&tried)?;
            let change =
                rooms.iter().zip(&nearer).fold(-part * slope, |sum, (now, new)| sum - (new / now).ln());
            (change <= -0.1 * part * fall).then_some(tried)
        })
    }

    /// Slope and bend of the pushed cost with the barriers.
    fn derivatives(&self, at: &[f64], push: f64) -> (Vec<f64>, Vec<Vec<f64>>) {
        let n = at.len();
        let falling = self.exponentials(at);
        let mut slope: Vec<f64> = self.cost.iter().map(|cost| push * cost).collect();
        let mut bend = vec![vec![0.0; n]; n];
        for v in 0..n {
            let (low, high) = (1.0 / (at[v] - self.low[v]), 1.0 / (self.high[v] - at[v]));
            slope[v] += high - low;
            bend[v][v] += low * low + high * high;
        }
        let mut own = vec![0.0; n];
        for constraint in &self.constraints {
            let near = -1.0 / Self::value(constraint, at, &falling);
            self.slopes(constraint, &falling, &mut own);
            for v in 0..n {
                slope[v] += near * own[v];
                for w in 0..=v {
                    bend[v][w] += near * near * own[v] * own[w];
                }
            }
            for &(weight, k) in &constraint.falling {
                let (rates, scale) = (&self.rates[k], near * weight * falling[k]);
                for v in 0..rates.len() {
                    for w in 0..=v {
                        bend[v][w] += scale * rates[v] * rates[w];
                    }
                }
            }
        }
        (slope, bend)
    }

    /// What the tangent of the Lagrangian is in its least corner.
    fn bound(&self, at: &[f64], push: f64) -> f64 {
        let falling = self.exponentials(at);
        let mut slope = self.cost.clone();
        let mut value: f64 = self.cost.iter().zip(at).map(|(c, x)| c * x).sum();
        let mut own = vec![0.0; at.len()];
        for constraint in &self.constraints {
            let room = Self::value(constraint, at, &falling);
            let multiplier = -1.0 / (push * room);
            value += multiplier * room;
            self.slopes(constraint, &falling, &mut own);
            slope.iter_mut().zip(&own).for_each(|(sum, own)| *sum += multiplier * own);
        }
        let corner = (0..at.len())
            .map(|v| slope[v] * if slope[v] > 0.0 { self.low[v] - at[v] } else { self.high[v] - at[v] });
        value + corner.sum::<f64>()
    }
}

/// The solution of a symmetric system, of which the lower triangle is given and used up; none unless it is positive
/// definite (Cholesky).
fn solve_positive(of: &mut [Vec<f64>], right: &[f64]) -> Option<Vec<f64>> {
    let n = right.len();
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| of[i][k] * of[j][k]).sum();
            let rest = of[i][j] - sum;
            of[i][j] = if i == j { rest.sqrt() } else { rest / of[j][j] };
        }
        if of[i][i].is_nan() || of[i][i] <= 0.0 {
            return None;
        }
    }
    let mut x = right.to_vec();
    for i in 0..n {
        let sum: f64 = (0..i).map(|k| of[i][k] * x[k]).sum();
        x[i] = (x[i] - sum) / of[i][i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| of[k][i] * x[k]).sum();
        x[i] = (x[i] - sum) / of[i][i];
    }
    Some(x)
}
