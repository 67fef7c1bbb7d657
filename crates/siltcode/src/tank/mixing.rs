//! How the fluid moves through a tank: stirred, with a dead zone, or in cells from the return to the suction.
//!
//! Each is a linear system with constant coefficients and is solved exactly; nothing is stepped. Two answers are
//! enough for any start, ingress and shedding: what is left of an even start, and what an even ingress has brought.

use std::num::NonZeroU16;

use crate::certainty::gamma::Gamma;
use crate::error::{ErrorKind, Result};
use crate::filter::{Beta, Efficiency, Share};

use super::turnovers::Turnovers;

/// A concentration where the pump draws and on average over the tank, for 1 at the start or 1 coming in a turnover.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// At the end of the tank that the suction draws from.
    pub suction: f64,
    /// In the whole tank.
    pub mean: f64,
}

impl Left {
    const fn even(value: f64) -> Self {
        Self { suction: value, mean: value }
    }

    fn weighted(self, weight: f64, other: Self, by: f64) -> Self {
        Self {
            suction: self.suction * weight + other.suction * by,
            mean: self.mean * weight + other.mean * by,
        }
    }
}

/// How the fluid moves through the tank.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum Mixing {
    /// Stirred: one concentration everywhere.
    #[default]
    Well,
    /// A stirred part and a part that hardly moves.
    DeadZone(DeadZone),
    /// So many stirred cells in a row from the return to the suction: 1 is well mixed, many displace.
    Cells(NonZeroU16),
}

/// The part of a tank that only exchanges fluid with the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeadZone {
    dead: Share,
    exchange: Share,
}

impl DeadZone {
    /// A share of the volume that exchanges fluid with the rest at a rate given as a share of the circulating flow.
    ///
    /// # Errors
    /// `dead-zone-cut-off` unless exchange > 0, where there is a dead zone: it would never be cleaned.
    pub fn new(dead: Share, exchange: Share) -> Result<Self> {
        if dead.get() > 0.0 && exchange.get() <= 0.0 {
            return Err(ErrorKind::DeadZoneCutOff { share: dead.get() }.into());
        }
        Ok(Self { dead, exchange })
    }

    /// Whether it is large enough to matter: below, both rates of decay are one in the digits of a double.
    fn is_there(self) -> bool {
        const LEAST: f64 = 1e-30;
        self.dead.get() > LEAST
    }

    /// The share of the tank's volume \[-\].
    #[must_use]
    pub const fn dead(self) -> Share {
        self.dead
    }

    /// The exchange with the rest, as a share of the circulating flow \[-\].
    #[must_use]
    pub const fn exchange(self) -> Share {
        self.exchange
    }
}

/// What a tank sees of its circulation.
///
/// Where a share `s` of the return goes straight to the suction, the suction holds `c_s = (1 - s) c + s r` for a tank
/// of `c` and a return of `r = (1 - E) c_s`. So for each `c` the tank gets back `(1 - s) (1 - E) c / (1 - s (1 - E))`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Circuit {
    /// The share of the flow that goes through the tank; the rest of the return goes straight to the suction.
    pub(super) through: f64,
    /// The share of particles held back between leaving the tank and coming back.
    pub(super) kept: f64,
    /// How often, on average, the fluid passes the filter before it comes back to the tank.
    pub(super) rounds: f64,
}

impl Circuit {
    /// The circuit of a filter of this efficiency where a share of the return goes straight to the suction.
    pub(super) fn new(efficiency: f64, short: f64) -> Self {
        let rounds = 1.0 / (1.0 - short * (1.0 - efficiency));
        Self { through: 1.0 - short, kept: efficiency * rounds, rounds }
    }

    /// The efficiency seen from the tank \[-\].
    pub(super) const fn efficiency(self) -> f64 {
        self.through * self.kept
    }
}

impl Mixing {
    /// What is left of an even start.
    ///
    /// ```
    /// use siltcode::filter::{Beta, Share};
    /// use siltcode::tank::{DeadZone, Mixing, Turnovers};
    ///
    /// let tank = Mixing::DeadZone(DeadZone::new(Share::new(0.2)?, Share::new(0.1)?)?);
    /// let left = tank.left(Beta::new(75.0)?.efficiency(), Turnovers::new(7.0)?);
    /// assert!(left.suction < 0.0095 && left.mean > 0.021); // a suction sample flatters the tank
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn left(self, efficiency: Efficiency, turnovers: Turnovers) -> Left {
        self.left_in(Circuit::new(efficiency.get(), 0.0), turnovers.get())
    }

    /// What is left of a height of 1 above a floor of 1, and what there is of that floor, where nothing goes straight from
    /// the return to the suction: on average over the tank, after turnovers of a rate that may be above 1.
    pub(crate) fn above_and_floor(self, rate: f64, turnovers: f64) -> [f64; 2] {
        let circuit = Circuit { through: 1.0, kept: rate, rounds: 1.0 };
        let above = self.left_in(circuit, turnovers).mean;
        [above, above + self.entered_in(circuit, turnovers).mean / self.floor_in(circuit).mean]
    }

    pub(super) fn left_in(self, circuit: Circuit, tau: f64) -> Left {
        match self {
            Self::DeadZone(zone) if zone.is_there() => zone.modes(circuit).sum(|rate| (rate * tau).exp()),
            Self::Cells(count) if count.get() > 1 => Row::new(count, circuit).turned(tau, Line::EVEN),
            _ => Left::even((-circuit.efficiency() * tau).exp()),
        }
    }

    /// What an even ingress of 1 a turnover has brought into a clean tank and left there.
    pub(super) fn entered_in(self, circuit: Circuit, tau: f64) -> Left {
        match self {
            // an even ingress into an even tank stays even where nothing is held back
            _ if circuit.efficiency() == 0.0 => Left::even(tau),
            Self::DeadZone(zone) if zone.is_there() => {
                zone.modes(circuit).sum(|rate| (rate * tau).exp_m1() / rate)
            }
            Self::Cells(count) if count.get() > 1 => {
                let row = Row::new(count, circuit);
                let floor = row.floor();
                row.turned(0.0, floor).weighted(1.0, row.turned(tau, floor), -1.0)
            }
            _ => Left::even(-(-circuit.efficiency() * tau).exp_m1() / circuit.efficiency()),
        }
    }

    /// What an even start and an even ingress a turnover still leave above their floor, on average over the tank, to its
    /// own digits.
    pub(super) fn above_floor_in(self, circuit: Circuit, start: f64, ingress: f64, tau: f64) -> f64 {
        if ingress == 0.0 {
            return start * self.left_in(circuit, tau).mean;
        }
        match self {
            Self::DeadZone(zone) if zone.is_there() => {
                zone.modes(circuit).sum(|rate| (start + ingress / rate) * (rate * tau).exp()).mean
            }
            Self::Cells(count) if count.get() > 1 => {
                let row = Row::new(count, circuit);
                let Line { suction, slope } = row.floor();
                let above = Line { suction: start - ingress * suction, slope: -ingress * slope };
                row.turned(tau, above).mean
            }
            _ => (start - ingress / circuit.efficiency()) * (-circuit.efficiency() * tau).exp(),
        }
    }

    /// What an even ingress of 1 a turnover comes to in the end.
    pub(super) fn floor_in(self, circuit: Circuit) -> Left {
        match self {
            Self::DeadZone(zone) if zone.is_there() => zone.modes(circuit).sum(|rate| -1.0 / rate),
            Self::Cells(count) if count.get() > 1 => {
                let row = Row::new(count, circuit);
                row.turned(0.0, row.floor())
            }
            _ => Left::even(1.0 / circuit.efficiency()),
        }
    }
}

/// The two ways in which a tank with a dead zone decays: rates a turnover, and the weight of each for an even start.
struct Modes([(f64, Left); 2]);

impl Modes {
    fn sum(&self, of_rate: impl Fn(f64) -> f64) -> Left {
        let [(fast, a), (slow, b)] = self.0;
        a.weighted(of_rate(fast), b, of_rate(slow))
    }
}

impl DeadZone {
    fn modes(self, circuit: Circuit) -> Modes {
        let (active, dead) = (1.0 - self.dead.get(), self.dead.get());
        let (cleaned, exchange) = (circuit.efficiency(), self.exchange.get());
        let [[a, b], [c, d]] =
            [[-(cleaned + exchange) / active, exchange / active], [exchange / dead, -exchange / dead]];
        // Roots before products, so that nothing overflows or vanishes on the way.
        let fast = f64::midpoint(a, d) - f64::hypot((a - d) / 2.0, b.sqrt() * c.sqrt());
        let slow = (cleaned / active) * (exchange / dead / fast); // the product of both is the determinant
        let mode = |rate: f64, other: f64| {
            let suction = (-cleaned / active - other) / (rate - other);
            let still = -other / (rate - other);
            (rate, Left { suction, mean: active * suction + dead * still })
        };
        Modes([mode(fast, slow), mode(slow, fast)])
    }
}

/// What a term must be of the sum to be worth adding.
const NEGLIGIBLE: f64 = 1e-18;

/// Cells in a row. A particle moves on at random times, so its moves are Poisson distributed, and each time round it
/// meets the filter once: a sum over the moves is the exact solution.
struct Row {
    cells: f64,
    through: f64,
    passing: f64,
}

/// Concentrations along the row: at the suction, and how much more a cell nearer to the return has.
#[derive(Clone, Copy)]
struct Line {
    suction: f64,
    slope: f64,
}

impl Line {
    const EVEN: Self = Self { suction: 1.0, slope: 0.0 };

    /// The sum over so many cells, the first of them `from` cells away from the suction.
    fn sum(self, cells: f64, from: f64) -> f64 {
        cells * (self.suction + self.slope * (from + (cells - 1.0) / 2.0))
    }
}

impl Row {
    fn new(cells: NonZeroU16, circuit: Circuit) -> Self {
        Self {
            cells: f64::from(cells.get()),
            through: circuit.through,
            passing: (1.0 - circuit.kept).max(0.0),
        }
    }

    /// Where an ingress of 1 a turnover ends: it gathers on the way to the suction.
    fn floor(&self) -> Line {
        let suction = 1.0 / (self.through * (1.0 - self.passing));
        Line { suction, slope: -1.0 / (self.through * self.cells) }
    }

    /// What has become of concentrations along the row.
    fn turned(&self, tau: f64, start: Line) -> Left {
        let moves = (self.cells * self.through * tau).min(f64::MAX);
        if self.passing > 0.0 && moves > Self::EVENED_OUT * self.cells * self.cells {
            return self.evened_out(moves, start);
        }
        self.summed(moves, start)
    }

    /// The sum over the moves that are likely.
    fn summed(&self, moves: f64, start: Line) -> Left {
        let likeliest = moves.floor();
        let reach = (12.0 * moves.sqrt() + 40.0).ceil();
        if self.passing.powf((moves - reach) / self.cells - 1.0) == 0.0 {
            return Left::even(0.0);
        }
        let top = if likeliest < 1.0 { -moves } else { Gamma::ln_term(likeliest, moves) }.exp();
        let mut sum = Left::even(0.0);
        // Upwards both the chance of so many moves and what they leave fall; downwards what they leave rises, and their
        // product falls from somewhere on.
        let (mut n, mut p, mut place) = (likeliest, top, self.moved(likeliest));
        while n <= likeliest + reach && p > NEGLIGIBLE * top {
            sum = sum.weighted(1.0, self.hold(&place, start), p);
            n += 1.0;
            p *= moves / n;
            self.forth(&mut place);
        }
        let (mut n, mut p, mut place, mut last) = (likeliest, top, self.moved(likeliest), f64::INFINITY);
        while n > 0.0 && n > likeliest - reach {
            p *= n / moves;
            n -= 1.0;
            self.back(&mut place);
            let left = self.hold(&place, start);
            let term = p * left.mean.abs().max(left.suction.abs());
            sum = sum.weighted(1.0, left, p);
            if term < last && term < NEGLIGIBLE * sum.mean.abs().min(sum.suction.abs()) {
                break;
            }
            last = term;
        }
        sum
    }

    /// From this many times the square of the cells on, the place within a round is even to `exp(-2 pi^2 * 10)`.
    const EVENED_OUT: f64 = 10.0;

    /// After very many moves each place within a round is equally likely, and the sum over the rounds is the generating
    /// function of a Poisson number: `E[x^N] = exp(moves (x - 1))`, with `x` what one cell's move lets pass.
    fn evened_out(&self, moves: f64, start: Line) -> Left {
        let ln_x = self.passing.ln() / self.cells;
        let of_rounds = (moves * ln_x.exp_m1()).exp();
        if of_rounds == 0.0 {
            return Left::even(0.0);
        }
        let mut place = Moved { rounds: 0.0, cells: 0.0, passed: 1.0 };
        let mut sum = Left::even(0.0);
        while place.cells < self.cells {
            let weight = of_rounds * (-ln_x * place.cells).exp() / self.cells;
            sum = sum.weighted(1.0, self.hold(&place, start), weight);
            place.cells += 1.0;
        }
        sum
    }

    fn moved(&self, moves: f64) -> Moved {
        let rounds = (moves / self.cells).floor();
        let cells = moves - rounds * self.cells; // exact: both are whole
        Moved { rounds, cells, passed: self.passing.powf(rounds) }
    }

    /// One move more.
    fn forth(&self, moved: &mut Moved) {
        moved.cells += 1.0;
        if moved.cells >= self.cells {
            let passed = moved.passed * self.passing;
            *moved = Moved { rounds: moved.rounds + 1.0, cells: 0.0, passed };
        }
    }

    /// One move less, where there was one.
    fn back(&self, moved: &mut Moved) {
        moved.cells -= 1.0;
        if moved.cells < 0.0 {
            let rounds = moved.rounds - 1.0;
            *moved = Moved { rounds, cells: self.cells - 1.0, passed: self.passing.powf(rounds) };
        }
    }

    /// What each cell holds is what was that far behind it, filtered once for each round.
    fn hold(&self, moved: &Moved, start: Line) -> Left {
        // cells nearer to the return than that are refilled through the filter once more
        let direct = start.sum(self.cells - moved.cells, moved.cells);
        let filtered = self.passing * start.sum(moved.cells, 0.0);
        Left {
            suction: moved.passed * (start.suction + start.slope * moved.cells),
            mean: moved.passed * (direct + filtered) / self.cells,
        }
    }
}

/// How far everything has moved: whole rounds, what they let pass, and cells beyond.
struct Moved {
    rounds: f64,
    cells: f64,
    passed: f64,
}

/// What is left without any mixing, where the return pushes the fluid to the suction: each whole turnover divides by
/// the filtration ratio, and within a turnover the mean falls in a straight line. The limit of many cells.
///
/// ```
/// use siltcode::{filter::Beta, tank::{Turnovers, mixing::displaced}};
///
/// let left = displaced(Beta::new(10.0)?, Turnovers::new(1.5)?);
/// assert!((left.suction - 0.1).abs() < 1e-15 && (left.mean - 0.055).abs() < 1e-15);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn displaced(beta: Beta, turnovers: Turnovers) -> Left {
    let (whole, part) = (turnovers.get().floor(), turnovers.get().fract());
    let suction = beta.penetration().powf(whole);
    Left { suction, mean: suction * (1.0 - part * beta.efficiency().get()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_moves_are_summed_as_few_are() {
        for (cells, kept, moves) in [(2, 0.5, 60.0), (7, 0.1, 700.0), (30, 1e-3, 2e4)] {
            let circuit = Circuit { through: 1.0, kept, rounds: 1.0 };
            let row = Row::new(NonZeroU16::new(cells).unwrap(), circuit);
            let start = Line { suction: 2.0, slope: -0.01 };
            let [one, other] = [row.summed(moves, start), row.evened_out(moves, start)];
            assert!((one.mean / other.mean - 1.0).abs() < 1e-11, "{one:?} {other:?}");
            assert!((one.suction / other.suction - 1.0).abs() < 1e-11, "{one:?} {other:?}");
        }
    }

    #[test]
    fn a_filter_that_lets_nothing_pass_leaves_a_number() {
        for cells in [2, 3, 9] {
            let row = Mixing::Cells(NonZeroU16::new(cells).unwrap());
            for moves in [0.0, 1.0, 15.0, 50.0, 200.0, 700.0, 800.0, 1e9] {
                for kept in [1.0 - f64::EPSILON, 1.0, 1.0 + f64::EPSILON] {
                    let circuit = Circuit { through: 1.0, kept, rounds: 1.0 };
                    let left = row.left_in(circuit, moves / f64::from(cells));
                    assert!(
                        (0.0..=1.0).contains(&left.mean) && left.suction >= 0.0,
                        "{cells} {moves} {kept}: {left:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_least_of_everything_is_no_nan() {
        let tiny = [f64::MIN_POSITIVE, 1e-180, 1e-12, 0.5, 1.0 - f64::EPSILON];
        for i in 0..tiny.len().pow(3) {
            let [dead, exchange, kept] =
                [i, i / tiny.len(), i / tiny.len().pow(2)].map(|i| tiny[i % tiny.len()]);
            let zone = DeadZone::new(Share::new(dead).unwrap(), Share::new(exchange).unwrap()).unwrap();
            let circuit = Circuit::new(kept, 0.0);
            for tau in [0.0, 1e-180, 1.0, 1e15, f64::MAX] {
                let left = Mixing::DeadZone(zone).left_in(circuit, tau);
                let inside = -1e-12..=1.0 + 1e-12;
                assert!(
                    inside.contains(&left.mean) && inside.contains(&left.suction),
                    "{dead:e} {exchange:e} {kept:e} {tau:e}: {left:?}"
                );
                let entered = Mixing::DeadZone(zone).entered_in(circuit, tau);
                assert!(
                    !entered.mean.is_nan() && !entered.suction.is_nan(),
                    "{dead:e} {exchange:e} {kept:e} {tau:e}"
                );
            }
        }
    }
}
