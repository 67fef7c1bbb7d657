//! What a joint fit is made of: for each bin a height, a rate for each period of elements, and a floor.
//!
//! `lambda_i = a_i left_i + c_i`, where `left_i = exp(-sum of kappa_ip times the turnovers in period p)` in a stirred tank.
//! Heights and rates are kept as logarithms; a floor is 0 or more, the same in all periods.
//!
//! Where the elements are known they tie the bins together, and give way as samples come: a rate is their efficiency in the
//! bin times one factor for the whole tank (known to within [`TANK`]) times one of its own (known to within
//! [`own_spread`]). Floors are not tied: a floor that shows at a large size says nothing sure of smaller ones.

use super::data::Data;
use super::fall::Fall;
use super::linear::{Entries, Matrix};

/// Standard deviation of the logarithm of the factor that a tank has on all efficiencies: our choice. A bypass, a short
/// circuit, or a flow or a volume that is not as stated changes all of them alike.
const TANK: f64 = 0.2;

/// Standard deviation of the logarithm of an element's efficiency in a bin: our choice. `beta - 1` is known to within a
/// factor of 1.5, and no efficiency better than to 5 %.
fn own_spread(efficiency: f64) -> f64 {
    const OF_RATIO: f64 = 0.4;
    const LEAST: f64 = 0.05;
    (OF_RATIO * (1.0 - efficiency)).hypot(LEAST)
}

/// How strongly the elements' efficiencies hold the rates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) enum Hold {
    /// By their spread, about a factor for the tank that is itself uncertain.
    Usual,
    /// By their spread, about any factor.
    AnyFactor,
    /// By their spread, about this factor.
    Factor(f64),
    /// Not at all.
    Free,
}

/// What is known of a rate beforehand.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// Its place among the numbers.
    place: usize,
    ln_rate: f64,
    weight: f64,
}

/// The numbers of a joint fit: where each stands, what it may be, and what is known of it beforehand.
#[derive(Debug, Clone)]
pub(in super::super) struct Model {
    pub(super) bins: usize,
    pub(super) periods: usize,
    pub(super) fall: Fall,
    known: Vec<Known>,
    pub(super) hold: Hold,
    pub(super) least: Vec<f64>,
    pub(super) most: Vec<f64>,
}

/// The numbers of a fit, with the heights and rates that they stand for.
#[derive(Debug)]
pub(in super::super) struct Values<'a> {
    x: &'a [f64],
    /// Heights \[particles/mL\], then rates \[1/turnover\].
    powers: Vec<f64>,
}

impl Model {
    /// What numbers stand for.
    pub(super) fn values<'a>(&self, x: &'a [f64]) -> Values<'a> {
        let logarithms = &x[..self.floor_place(0)];
        Values { x, powers: logarithms.iter().map(|log| log.exp()).collect() }
    }

    /// For samples, with the efficiency of the elements in each bin and period where it is known.
    pub(super) fn new(data: &Data, fall: Fall, expected: &[Vec<Option<f64>>]) -> Self {
        let (bins, periods) = (data.bins, fall.periods());
        let mut model = Self {
            bins,
            periods,
            fall,
            known: Vec::new(),
            hold: Hold::Usual,
            least: Vec::new(),
            most: Vec::new(),
        };
        for (period, efficiencies) in expected.iter().enumerate() {
            for (bin, efficiency) in efficiencies.iter().enumerate() {
                let Some(efficiency) = efficiency.filter(|e| *e > 0.0) else { continue };
                let (place, weight) = (model.rate(bin, period), own_spread(efficiency).powi(-2));
                model.known.push(Known { place, ln_rate: efficiency.ln(), weight });
            }
        }
        model.bound(data);
        model
    }

    /// What each number may be: heights of less than a thousandth of a particle in all volumes, and rates that leave all
    /// or nothing between two samples, are not told from others.
    fn bound(&mut self, data: &Data) {
        const LEAST_FALL: f64 = 1e-4;
        const MOST_FALL: f64 = 40.0;
        const LARGEST: f64 = 40.0;
        let [first, last] = data.span();
        self.least = vec![0.0; self.numbers()];
        self.most = vec![0.0; self.numbers()];
        for bin in 0..self.bins {
            self.least[bin] = (1e-3 / data.ml_of(bin)).ln();
            self.most[bin] = LARGEST;
            let floor = self.floor_place(bin);
            self.most[floor] = f64::MAX;
            for period in 0..self.periods {
                let rate = self.rate(bin, period);
                self.least[rate] = (LEAST_FALL / (last - first)).ln();
                self.most[rate] = self.fall.most_rate().min(MOST_FALL / data.least_gap()).ln();
            }
        }
    }

    /// The same model without a floor in some bins.
    pub(in super::super) fn without_floors(&self, bins: impl IntoIterator<Item = usize>) -> Self {
        let mut model = self.clone();
        for bin in bins {
            model.most[self.floor_place(bin)] = 0.0;
        }
        model
    }

    /// Whether a bin may have a floor.
    pub(super) fn may_have_floor(&self, bin: usize) -> bool {
        self.most[self.floor_place(bin)] > 0.0
    }

    /// The same model, its rates held otherwise.
    pub(in super::super) fn held(&self, hold: Hold) -> Self {
        Self { hold, ..self.clone() }
    }

    /// The same model, whose falls may all bend alike: slow down or speed up.
    pub(in super::super) fn bending(&self) -> Self {
        const MOST: f64 = 0.9;
        let mut model = self.clone();
        let bend = self.bend_place();
        (model.least[bend], model.most[bend]) = (-MOST, MOST);
        model
    }

    /// How many numbers there are.
    pub(super) fn numbers(&self) -> usize {
        self.bend_place() + 1
    }

    pub(super) fn rate(&self, bin: usize, period: usize) -> usize {
        self.bins + bin * self.periods + period
    }

    /// The floor of a bin \[particles/mL\].
    pub(super) fn floor_place(&self, bin: usize) -> usize {
        self.bins * (1 + self.periods) + bin
    }

    /// Sets the floors from a bin on to what they must be together: in the shape they have, else in that of the heights.
    pub(super) fn set_floors(&self, x: &mut [f64], from: usize, per_ml: f64) {
        let own: f64 = (from..self.bins).map(|bin| self.floor(x, bin)).sum();
        let heights: f64 = (from..self.bins).map(|bin| x[bin].exp()).sum();
        for bin in from..self.bins {
            let share = if own > 0.0 { self.floor(x, bin) / own } else { x[bin].exp() / heights };
            x[self.floor_place(bin)] = share * per_ml;
        }
    }

    /// By how much the fall bends over the samples.
    pub(in super::super) fn bend_place(&self) -> usize {
        self.bins * (2 + self.periods)
    }

    /// The floor of a bin \[particles/mL\].
    pub(super) fn floor(&self, x: &[f64], bin: usize) -> f64 {
        x[self.floor_place(bin)]
    }

    /// The rates of a bin in each period \[1/turnover\].
    pub(super) fn rates(&self, x: &[f64], bin: usize) -> Vec<f64> {
        (0..self.periods).map(|period| x[self.rate(bin, period)].exp()).collect()
    }

    /// The concentration of a bin after turnovers; the floor after an infinite number of them \[particles/mL\].
    pub(super) fn at(&self, values: &Values, bin: usize, turnovers: f64) -> f64 {
        let floor = values.x[self.floor_place(bin)];
        if turnovers.is_infinite() {
            return floor;
        }
        let left = self.fall.left(self.rates_of(values, bin), turnovers, values.x[self.bend_place()]);
        values.powers[bin] * left.above + floor * left.floor
    }

    /// The concentration of some bins together \[particles/mL\].
    pub(super) fn sum(&self, values: &Values, bins: std::ops::Range<usize>, turnovers: f64) -> f64 {
        bins.map(|bin| self.at(values, bin, turnovers)).sum()
    }

    fn rates_of<'a>(&self, values: &'a Values, bin: usize) -> &'a [f64] {
        &values.powers[self.rate(bin, 0)..self.rate(bin, self.periods)]
    }

    /// Adds `by` times the slope of a bin's concentration over the numbers, and gives the concentration.
    pub(super) fn add_slope(
        &self,
        values: &Values,
        bin: usize,
        turnovers: f64,
        slope: &mut [f64],
        by: f64,
    ) -> f64 {
        let mut entries = Entries::default();
        let there = self.slope(values, bin, turnovers, by, &mut entries);
        entries.add_to(slope, 1.0);
        there
    }

    /// Puts down `by` times the slope of a bin's concentration, of which few numbers have a part, and gives the concentration.
    pub(super) fn slope(
        &self,
        values: &Values,
        bin: usize,
        turnovers: f64,
        by: f64,
        slope: &mut Entries,
    ) -> f64 {
        let (place, floor) = (self.floor_place(bin), values.x[self.floor_place(bin)]);
        if turnovers.is_infinite() {
            slope.push(place, by);
            return floor;
        }
        let (bend, rates) = (values.x[self.bend_place()], self.rates_of(values, bin));
        let left = self.fall.left(rates, turnovers, bend);
        let height = values.powers[bin];
        slope.push(bin, by * height * left.above);
        for period in 0..self.periods {
            let [above, below] = self.fall.slope(rates, turnovers, bend, period, left);
            slope.push(self.rate(bin, period), by * (height * above + floor * below));
        }
        slope.push(place, by * left.floor);
        if self.most[self.bend_place()] > 0.0 {
            let fallen = self.fall.fallen(rates, turnovers);
            let lever = fallen * self.fall.behind_middle(turnovers);
            slope.push(self.bend_place(), by * height * left.above * lever);
        }
        height * left.above + floor * left.floor
    }

    /// The logarithm of what was known beforehand; its slope and information are added.
    pub(super) fn known(&self, x: &[f64], mut more: Option<(&mut [f64], &mut Matrix)>) -> f64 {
        let mut value = 0.0;
        let (centre, common) = match self.hold {
            Hold::Free => return value,
            Hold::Usual => (0.0, TANK.powi(-2)),
            Hold::AnyFactor => (0.0, 0.0),
            Hold::Factor(factor) => (factor.ln(), f64::INFINITY),
        };
        let off = |known: &Known| x[known.place] - known.ln_rate - centre;
        let shared = if common.is_infinite() {
            0.0
        } else {
            1.0 / (common + self.known.iter().map(|k| k.weight).sum::<f64>())
        };
        let shared = if shared.is_finite() { shared } else { 0.0 };
        let sum: f64 = self.known.iter().map(|known| known.weight * off(known)).sum();
        for (i, known) in self.known.iter().enumerate() {
            let pulled = known.weight * (off(known) - shared * sum);
            value -= 0.5 * pulled * off(known);
            if let Some((slope, information)) = &mut more {
                slope[known.place] -= pulled;
                for other in &self.known[..=i] {
                    let own = if other.place == known.place { known.weight } else { 0.0 };
                    let (row, column) = (known.place.max(other.place), known.place.min(other.place));
                    information.add(row, column, own - shared * known.weight * other.weight);
                }
            }
        }
        value
    }

    /// The factor that the tank has on the efficiencies of its elements, by the rates; none where no elements are known.
    pub(in super::super) fn factor(&self, x: &[f64]) -> Option<f64> {
        let weight: f64 = self.known.iter().map(|known| known.weight).sum();
        let sum: f64 = self.known.iter().map(|known| known.weight * (x[known.place] - known.ln_rate)).sum();
        (weight > 0.0).then(|| (sum / weight).exp())
    }

    /// The logarithm of the efficiency that the elements have in a bin and its standard deviation, where they are known.
    pub(super) fn expected(&self, bin: usize, period: usize) -> Option<(f64, f64)> {
        let place = self.rate(bin, period);
        let known = self.known.iter().find(|known| known.place == place)?;
        Some((known.ln_rate, known.weight.sqrt().recip()))
    }
}
