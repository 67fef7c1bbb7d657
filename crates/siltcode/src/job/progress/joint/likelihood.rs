//! How likely the counts of all samples are.
//!
//! A bottle has a factor that all its sizes share, a gamma variable of mean 1 (a bottle that was drawn badly, a volume that
//! was not quite what it should be), and each bin has a factor of its own besides (particles that settled or clumped, a
//! channel that drifts). A count is then negative binomial about its mean times the shared factor. The shared factor is
//! taken at its most likely value, with what is left of the integral over it in the constant (P. S. Laplace's method); where
//! bins have no factor of their own, that is exact: the sum of a bottle is negative binomial and its shares are multinomial,
//! so that the sizes of one bottle still tell how they fall against each other. Bounds and codes take part with the
//! probability of their interval, each size by itself; their evidence is that of a smaller volume where bottles scatter.

use std::sync::Arc;

use super::super::seen::Term;
use super::data::{Data, Sampled};
use super::linear::{Entries, Matrix};
use super::model::{Model, Values};
use crate::certainty::gamma::ln_gamma;

/// The relative variances of the factor that all sizes of a bottle share, and of that of each bin alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Parts {
    pub(in super::super) shared: f64,
    pub(in super::super) own: f64,
}

impl Parts {
    /// Those of a coefficient of variation, of whose square a share is each bin's own.
    pub(in super::super) fn new(cv: f64, own_share: f64) -> Self {
        let variance = cv * cv;
        Self { shared: variance * (1.0 - own_share), own: variance * own_share }
    }

    /// The relative variance of a count beyond counting.
    pub(in super::super) fn variance(self) -> f64 {
        self.shared + self.own
    }
}

/// Samples and how their bottles scatter: the likelihood over the numbers of a [`Model`].
#[derive(Debug, Clone)]
pub(in super::super) struct Likelihood {
    data: Arc<Data>,
    parts: Parts,
    bounds: Vec<Vec<(usize, Term)>>,
    /// What does not depend on the numbers.
    constant: f64,
}

/// Concentrations below this are those of nothing.
const NOTHING: f64 = 1e-280;

/// The slope and the expected information of a value.
#[derive(Debug, Clone, Default)]
pub(super) struct Local {
    pub(super) slope: Vec<f64>,
    pub(super) information: Matrix,
}

impl Local {
    pub(super) fn new(numbers: usize) -> Self {
        Self { slope: vec![0.0; numbers], information: Matrix::zero(numbers) }
    }
}

/// The mean of a cell by the model, and its count.
type Met = (f64, f64);

impl Parts {
    /// The most likely factor of a bottle.
    fn factor(self, cells: &[Met]) -> f64 {
        const MOST_STEPS: usize = 30;
        const SETTLED: f64 = 1e-9;
        if self.shared == 0.0 {
            return 1.0;
        }
        let a = 1.0 / self.shared;
        let weighed = |of: fn(&Met) -> f64| -> f64 {
            cells.iter().map(|cell| of(cell) / (1.0 + self.own * 0.5 * (cell.0 + cell.1))).sum()
        };
        let mut factor = (weighed(|cell| cell.1) + a) / (weighed(|cell| cell.0) + a);
        if self.own == 0.0 {
            return factor;
        }
        for _ in 0..MOST_STEPS {
            let (mut slope, mut curve) = (a * (1.0 - factor), a * factor);
            for (mean, count) in cells {
                let (mean, scale) = (mean * factor, 1.0 + self.own * mean * factor);
                slope += (count - mean) / scale;
                curve += mean * (1.0 + self.own * count) / (scale * scale);
            }
            let step = (slope / curve).clamp(-1.0, 1.0);
            factor *= step.exp();
            if step.abs() < SETTLED {
                break;
            }
        }
        factor
    }

    /// The part of the logarithm of a bottle's likelihood that depends on its means.
    fn ln_likelihood(self, cells: &[Met]) -> f64 {
        self.with_factor(cells, self.factor(cells))
    }

    fn with_factor(self, cells: &[Met], factor: f64) -> f64 {
        let of = |(mean, count): &Met| {
            let mean = mean * factor;
            let ln = if *count > 0.0 { count * mean.ln() } else { 0.0 };
            ln - self.own_part(mean, *count)
        };
        cells.iter().map(of).sum::<f64>() + self.of_factor(factor)
    }

    fn own_part(self, mean: f64, count: f64) -> f64 {
        if self.own == 0.0 { mean } else { (count + 1.0 / self.own) * (self.own * mean).ln_1p() }
    }

    /// What a factor costs by itself.
    fn of_factor(self, factor: f64) -> f64 {
        let off = factor - 1.0;
        if self.shared == 0.0 { 0.0 } else { (off.ln_1p() - off) / self.shared }
    }

    /// The part of the logarithm of a bottle's likelihood that its counts alone decide.
    fn constant(self, sample: &Sampled) -> f64 {
        let counts = || sample.cells.iter().map(|cell| cell.count);
        let each = |count: f64| {
            let rising =
                if self.own == 0.0 { 0.0 } else { ln_rising(1.0 / self.own, count) + count * self.own.ln() };
            rising - ln_gamma(count + 1.0)
        };
        let constant: f64 = counts().map(each).sum();
        if self.shared == 0.0 {
            return constant;
        }
        let a = 1.0 / self.shared;
        let told: f64 = counts().map(|count| count / (1.0 + self.own * count)).sum();
        // the gamma integral over the factor against its largest value: exact where bins have no factor of their own
        let n = a + told;
        constant + ln_gamma(n) - n * n.ln() + n - (ln_gamma(a) - a * a.ln() + a)
    }
}

impl Likelihood {
    pub(in super::super) fn new(data: &Arc<Data>, parts: Parts) -> Self {
        let bounds = data.samples.iter().map(|sample| {
            let terms = sample.bounded.iter().map(|bounded| {
                let weight = 1.0 / (1.0 + parts.variance() * bounded.observed.seen.about());
                (bounded.from, Term::new(&bounded.observed, 0.0, weight))
            });
            terms.collect()
        });
        let bounds = bounds.collect();
        let constant = data.samples.iter().map(|sample| parts.constant(sample)).sum();
        Self { data: Arc::clone(data), parts, bounds, constant }
    }

    /// The logarithm of the likelihood with what was known beforehand, its slope and its expected information.
    pub(super) fn local(&self, model: &Model, x: &[f64], local: &mut Local) -> f64 {
        local.slope.fill(0.0);
        local.information.clear();
        let values = model.values(x);
        let (mut own, mut shared) = (Entries::default(), vec![0.0; model.numbers()]);
        let (mut value, mut cells) = (self.constant, Vec::with_capacity(model.bins));
        for (sample, terms) in self.data.samples.iter().zip(&self.bounds) {
            meet(sample, model, &values, &mut cells);
            let factor = self.parts.factor(&cells);
            value += self.parts.with_factor(&cells, factor);
            let mut told = 0.0;
            shared.fill(0.0);
            for (cell, (mean, count)) in sample.cells.iter().zip(&cells) {
                own.clear();
                for bin in cell.bins.clone() {
                    model.slope(&values, bin, sample.turnovers, cell.ml / mean, &mut own);
                }
                let seen = mean * factor;
                own.add_to(&mut local.slope, (count - seen) / (1.0 + self.parts.own * seen));
                let weight = mean / (1.0 + self.parts.own * mean);
                told += weight;
                own.add_to(&mut shared, weight);
                local.information.add_entries(&own, weight);
            }
            if self.parts.shared > 0.0 {
                let by = -self.parts.shared / (1.0 + self.parts.shared * told);
                local.information.add_outer(&shared, by);
            }
            for (from, term) in terms {
                own.clear();
                let bins = *from..model.bins;
                let per_ml: f64 =
                    bins.map(|bin| model.slope(&values, bin, sample.turnovers, 1.0, &mut own)).sum();
                let at = term.at(per_ml.max(NOTHING));
                value += at.value;
                own.add_to(&mut local.slope, at.slope);
                local.information.add_entries(&own, (-at.curve).max(0.0));
            }
        }
        value += model.known(x, Some((&mut local.slope, &mut local.information)));
        if value.is_nan() { f64::NEG_INFINITY } else { value }
    }

    /// Twice what the likelihood of the counts lacks to the most it can be, their sum of squared residuals over their
    /// variances, and how many there are.
    pub(in super::super) fn goodness(&self, model: &Model, x: &[f64]) -> (f64, f64, u32) {
        let (mut deviance, mut pearson, mut number) = (0.0, 0.0, 0);
        let (values, mut cells) = (model.values(x), Vec::with_capacity(model.bins));
        for sample in &self.data.samples {
            meet(sample, model, &values, &mut cells);
            let (mut together, mut told) = (0.0, 0.0);
            for (mean, count) in &cells {
                let scale = 1.0 + self.parts.own * mean;
                pearson += (count - mean).powi(2) / (mean * scale);
                together += (count - mean) / scale;
                told += mean / scale;
                number += 1;
            }
            pearson -= together * together * self.parts.shared / (1.0 + self.parts.shared * told);
            let saturated: Vec<Met> = cells.iter().map(|(_, count)| (count.max(NOTHING), *count)).collect();
            deviance += 2.0 * (self.parts.ln_likelihood(&saturated) - self.parts.ln_likelihood(&cells));
        }
        (deviance.max(0.0), pearson.max(0.0), number)
    }
}

/// What the model has in the cells of a sample, beside what was counted.
fn meet(sample: &Sampled, model: &Model, values: &Values, cells: &mut Vec<Met>) {
    cells.clear();
    cells.extend(sample.cells.iter().map(|cell| {
        let per_ml = model.sum(values, cell.bins.clone(), sample.turnovers);
        ((cell.ml * per_ml).max(NOTHING), cell.count)
    }));
}

/// The logarithm of `Gamma(a + n) / Gamma(a)`.
fn ln_rising(a: f64, n: f64) -> f64 {
    ln_gamma(a + n) - ln_gamma(a)
}
