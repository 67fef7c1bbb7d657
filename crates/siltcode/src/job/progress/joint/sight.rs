//! When a floor would be seen.

use std::sync::Arc;

use super::super::profile::first_beyond;
use super::data::{Cell, Data, Sampled};
use super::likelihood::{Likelihood, Local};
use super::{Joint, Numbers};
use crate::certainty::quadrature::crossing;
use crate::certainty::{Level, normal};

impl Joint {
    /// After how many turnovers from the last sample one more, counted in the same volume, would tell a floor of this height
    /// from none, by the expected information; none where none would.
    pub(in super::super) fn floor_seen_after(&self, from: usize, per_ml: f64, level: Level) -> Option<f64> {
        let floored = self.with_floor(from, per_ml)?;
        let ml = self.data.samples.last()?.cells.first()?.ml;
        let most = per_ml / normal::upper_quantile(level.risk() / 2.0);
        let lacking = |more: f64| {
            let error = self.floor_error(&floored, from, more, ml).unwrap_or(f64::MAX);
            error - most
        };
        let [first, last] = self.data.span();
        let [from, to] = first_beyond(0.0, (last - first) / 16.0, |more| lacking(more) <= 0.0)?;
        Some(crossing(lacking, from, to))
    }

    /// The best estimate without a floor, and one of this height put under it.
    fn with_floor(&self, from: usize, per_ml: f64) -> Option<Numbers> {
        let mut numbers = self.centre().plain.clone();
        let floored = self.model.bins > from && per_ml > 0.0;
        self.model.set_floors(&mut numbers.x, from, per_ml);
        floored.then_some(numbers)
    }

    /// The standard error of the floor from one bin on, with one sample more.
    fn floor_error(&self, numbers: &Numbers, from: usize, more: f64, ml: f64) -> Option<f64> {
        let model = &self.model;
        let (turnovers, x) = (self.data.span()[1] + more, &numbers.x);
        let values = model.values(x);
        let cell =
            |bin: usize| Cell { bins: bin..bin + 1, ml, count: ml * model.at(&values, bin, turnovers) };
        let sample = Sampled { turnovers, cells: (0..model.bins).map(cell).collect(), bounded: Vec::new() };
        let mut samples = self.data.samples.clone();
        samples.push(sample);
        let data = Arc::new(Data { bins: model.bins, samples });
        let mut local = Local::new(model.numbers());
        Likelihood::new(&data, self.centre().parts).local(model, x, &mut local);
        let mut slope = vec![0.0; model.numbers()];
        for bin in from..model.bins {
            slope[model.floor_place(bin)] = 1.0;
        }
        let rows: Vec<usize> = (0..model.numbers()).filter(|place| *place != model.bend_place()).collect();
        let root = local.information.root(&rows, 0.0)?;
        let column = root.solve(&slope);
        Some(slope.iter().zip(&column).map(|(a, b)| a * b).sum::<f64>().sqrt())
    }
}
