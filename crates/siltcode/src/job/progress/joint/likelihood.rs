//! How likely the counts of all samples are.
//!
//! All counts of a bottle share one factor, a gamma variable of mean 1 and variance `cv^2`: their sum is then negative
//! binomial, and their shares are multinomial, as without scatter. So a bottle that was drawn badly moves all sizes alike,
//! and the sizes of one bottle still tell how they fall against each other. Bounds and codes take part with the
//! probability of their interval, each size by itself; their evidence is that of a smaller volume where bottles scatter.

use std::sync::Arc;

use super::super::seen::Term;
use super::data::{Data, Sampled};
use super::linear::Matrix;
use super::model::{Model, Values};
use crate::certainty::gamma::ln_gamma;

/// Samples and how their bottles scatter: the likelihood over the numbers of a [`Model`].
#[derive(Debug, Clone)]
pub(in super::super) struct Likelihood {
    data: Arc<Data>,
    /// The variance of the factor of a bottle.
    variance: f64,
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

impl Likelihood {
    pub(in super::super) fn new(data: &Arc<Data>, cv: f64) -> Self {
        let variance = cv * cv;
        let bounds = data.samples.iter().map(|sample| {
            let terms = sample.bounded.iter().map(|bounded| {
                let weight = 1.0 / (1.0 + variance * bounded.observed.seen.about());
                (bounded.from, Term::new(&bounded.observed, 0.0, weight))
            });
            terms.collect()
        });
        let bounds = bounds.collect();
        let constant = data.samples.iter().map(|sample| constant(sample, variance)).sum();
        Self { data: Arc::clone(data), variance, bounds, constant }
    }

    /// The logarithm of the likelihood with what was known beforehand.
    pub(super) fn value(&self, model: &Model, x: &[f64]) -> f64 {
        let values = model.values(x);
        let counted: f64 = self.data.samples.iter().map(|sample| self.counted(sample, model, &values)).sum();
        let bounded = self.data.samples.iter().zip(&self.bounds).flat_map(|(sample, terms)| {
            terms.iter().map(|(from, term)| {
                let per_ml = model.sum(&values, *from..model.bins, sample.turnovers);
                term.at(per_ml.max(NOTHING)).value
            })
        });
        let value = counted + bounded.sum::<f64>() + self.constant + model.known(x, None);
        if value.is_nan() { f64::NEG_INFINITY } else { value }
    }

    fn counted(&self, sample: &Sampled, model: &Model, values: &Values) -> f64 {
        let (mut value, mut total, mut count) = (0.0, 0.0, 0.0);
        for cell in &sample.cells {
            let mean = (cell.ml * model.sum(values, cell.bins.clone(), sample.turnovers)).max(NOTHING);
            value += if cell.count > 0.0 { cell.count * mean.ln() } else { 0.0 };
            total += mean;
            count += cell.count;
        }
        if self.variance == 0.0 {
            return value - total;
        }
        value - (count + 1.0 / self.variance) * (total * self.variance).ln_1p()
    }

    /// The slope of [`value`](Self::value) and its expected information.
    pub(super) fn local(&self, model: &Model, x: &[f64], local: &mut Local) {
        local.slope.fill(0.0);
        local.information.clear();
        let (numbers, values) = (model.numbers(), model.values(x));
        let (mut own, mut shared) = (vec![0.0; numbers], vec![0.0; numbers]);
        for (sample, terms) in self.data.samples.iter().zip(&self.bounds) {
            let (mut total, mut count) = (0.0, 0.0);
            shared.fill(0.0);
            for cell in &sample.cells {
                own.fill(0.0);
                let slopes = cell.bins.clone();
                let per_ml: f64 = slopes
                    .map(|bin| model.add_slope(&values, bin, sample.turnovers, &mut own, cell.ml))
                    .sum();
                let mean = (cell.ml * per_ml).max(NOTHING);
                (total, count) = (total + mean, count + cell.count);
                add(&mut local.slope, &own, cell.count / mean);
                add(&mut shared, &own, 1.0);
                local.information.add_outer(&own, 1.0 / mean);
            }
            let scale = 1.0 + self.variance * total;
            add(&mut local.slope, &shared, -(1.0 + self.variance * count) / scale);
            if self.variance > 0.0 {
                local.information.add_outer(&shared, -self.variance / scale);
            }
            for (from, term) in terms {
                own.fill(0.0);
                let bins = *from..model.bins;
                let per_ml: f64 =
                    bins.map(|bin| model.add_slope(&values, bin, sample.turnovers, &mut own, 1.0)).sum();
                let at = term.at(per_ml.max(NOTHING));
                add(&mut local.slope, &own, at.slope);
                local.information.add_outer(&own, (-at.curve).max(0.0));
            }
        }
        model.known(x, Some((&mut local.slope, &mut local.information)));
    }

    /// Twice what the likelihood of the counts lacks to the most it can be, their sum of squared residuals over their
    /// variances, and how many there are.
    pub(in super::super) fn goodness(&self, model: &Model, x: &[f64]) -> (f64, f64, u32) {
        let (mut deviance, mut pearson, mut number) = (0.0, 0.0, 0);
        let values = model.values(x);
        for sample in &self.data.samples {
            let mut totals = [0.0; 2];
            for cell in &sample.cells {
                let mean = (cell.ml * model.sum(&values, cell.bins.clone(), sample.turnovers)).max(NOTHING);
                let off = cell.count - mean;
                pearson += off * off / mean;
                deviance += if cell.count > 0.0 { 2.0 * cell.count * (cell.count / mean).ln() } else { 0.0 };
                totals = [totals[0] + mean, totals[1] + cell.count];
                number += 1;
            }
            let [mean, count] = totals;
            let scale = 1.0 + self.variance * mean;
            pearson -= (count - mean).powi(2) * self.variance / scale;
            deviance -= 2.0 * shared(count, mean, self.variance);
        }
        (deviance.max(0.0), pearson.max(0.0), number)
    }
}

/// What the total of a bottle takes from twice the logarithm of a likelihood ratio against the counts themselves.
fn shared(count: f64, mean: f64, variance: f64) -> f64 {
    if variance == 0.0 {
        return count - mean;
    }
    (count + 1.0 / variance) * (variance * (count - mean) / (1.0 + variance * mean)).ln_1p()
}

fn add(to: &mut [f64], vector: &[f64], by: f64) {
    for (to, value) in to.iter_mut().zip(vector) {
        *to += by * value;
    }
}

/// The part of the logarithm of a bottle's likelihood that its counts alone decide.
fn constant(sample: &Sampled, variance: f64) -> f64 {
    let each: f64 = sample.cells.iter().map(|cell| ln_gamma(cell.count + 1.0)).sum();
    let count: f64 = sample.cells.iter().map(|cell| cell.count).sum();
    if variance == 0.0 {
        return -each;
    }
    ln_rising(1.0 / variance, count) + count * variance.ln() - each
}

/// The logarithm of `Gamma(a + n) / Gamma(a)`.
fn ln_rising(a: f64, n: f64) -> f64 {
    ln_gamma(a + n) - ln_gamma(a)
}
