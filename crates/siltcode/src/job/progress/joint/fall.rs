//! What is left of a bin after turnovers, in one or more periods of elements, in a stirred tank or another.

use crate::tank::Mixing;

/// How a bin falls over the turnovers.
#[derive(Debug, Clone)]
pub(in super::super) struct Fall {
    /// The turnovers of the first sample, from which heights count in a stirred tank.
    first: f64,
    /// From the first sample to the last.
    span: f64,
    /// Where each period of elements starts, rising; the first before everything.
    starts: Vec<f64>,
    mixing: Mixing,
}

/// What is left for a height of 1 above a floor of 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Left {
    pub(super) above: f64,
    pub(super) floor: f64,
}

impl Fall {
    pub(in super::super) fn new([first, last]: [f64; 2], later_periods: &[f64], mixing: Mixing) -> Self {
        let mut starts = vec![f64::NEG_INFINITY];
        starts.extend(later_periods);
        Self { first, span: last - first, starts, mixing }
    }

    pub(in super::super) fn periods(&self) -> usize {
        self.starts.len()
    }

    /// The largest rate that has a meaning.
    pub(super) fn most_rate(&self) -> f64 {
        if matches!(self.mixing, Mixing::Cells(_)) { 1.0 } else { f64::INFINITY }
    }

    /// The turnovers in a period up to a place.
    fn within(&self, period: usize, turnovers: f64) -> f64 {
        let from = self.starts[period].max(self.first);
        let to = self.starts.get(period + 1).copied().unwrap_or(f64::INFINITY);
        (turnovers.min(to) - from).max(0.0)
    }

    /// What is left after turnovers, from the rates of the periods.
    pub(super) fn left(&self, rates: &[f64], turnovers: f64, bend: f64) -> Left {
        if self.mixing != Mixing::Well {
            let [above, floor] = self.mixing.above_and_floor(rates[0].min(self.most_rate()), turnovers);
            return Left { above, floor };
        }
        Left { above: (-self.fallen(rates, turnovers) * self.bent(turnovers, bend)).exp(), floor: 1.0 }
    }

    /// The sum of the turnovers in each period times its rate.
    pub(super) fn fallen(&self, rates: &[f64], turnovers: f64) -> f64 {
        (0..self.periods()).map(|period| self.within(period, turnovers) * rates[period]).sum()
    }

    /// By what a bend changes the fall up to a place: more before the middle of the samples, less behind it.
    fn bent(&self, turnovers: f64, bend: f64) -> f64 {
        1.0 - bend * self.behind_middle(turnovers)
    }

    /// How far behind the middle of the samples, as a part of them.
    pub(super) fn behind_middle(&self, turnovers: f64) -> f64 {
        (turnovers - self.first) / self.span - 0.5
    }

    /// How what is left follows the logarithm of the rate of a period: \[above the floor, of the floor\].
    pub(super) fn slope(
        &self,
        rates: &[f64],
        turnovers: f64,
        bend: f64,
        period: usize,
        left: Left,
    ) -> [f64; 2] {
        const STEP: f64 = 1e-4;
        if self.mixing == Mixing::Well {
            let fallen = self.within(period, turnovers) * rates[period];
            return [-left.above * fallen * self.bent(turnovers, bend), 0.0];
        }
        let [up, down] = [STEP, -STEP].map(|step| self.left(&[rates[0] * (1.0 + step)], turnovers, bend));
        [(up.above - down.above) / (2.0 * STEP), (up.floor - down.floor) / (2.0 * STEP)]
    }
}
