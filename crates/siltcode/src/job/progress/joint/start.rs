//! Where the search for the most likely numbers starts.

use super::super::fit::{Fit, FloorRule};
use super::super::seen::{Observed, Seen};
use super::data::{Data, Sampled};
use super::model::Model;
use crate::certainty::Scatter;
use crate::count::whole_count;

/// About what there was of each bin at the first sample \[particles/mL\], above 0.
pub(super) fn first_seen(data: &Data) -> Vec<f64> {
    seen(data, &data.samples.iter())
}

/// About what there is of each bin at the last sample \[particles/mL\], above 0.
pub(super) fn last_seen(data: &Data) -> Vec<f64> {
    seen(data, &data.samples.iter().rev())
}

/// What the first of these samples that saw a bin says of it; what samples saw of several bins counts half for each next.
fn seen<'a>(data: &Data, samples: &(impl Iterator<Item = &'a Sampled> + Clone)) -> Vec<f64> {
    let of = |bin: usize| {
        let cell = samples.clone().flat_map(|sample| &sample.cells).find(|cell| cell.bins.start == bin);
        let counted = cell.map(|cell| (cell.count + 0.5) / cell.ml / cell.bins.len() as f64);
        let bound = || {
            let bounded = samples.clone().flat_map(|sample| &sample.bounded).find(|bound| bound.from == bin);
            bounded.map(|bound| (bound.observed.seen.about() + 0.5) / bound.observed.ml / 2.0)
        };
        counted.or_else(bound)
    };
    let mut found: Vec<Option<f64>> = (0..data.bins).map(of).collect();
    for bin in 1..data.bins {
        found[bin] = found[bin].or(found[bin - 1].map(|below| below / 2.0));
    }
    found.into_iter().map(|per_ml| per_ml.unwrap_or(1.0)).collect()
}

/// Numbers to start from: heights of the first sample, the elements' efficiencies where they are known, else the fall from
/// first to last; a floor that is a share of what was seen last.
pub(super) fn numbers(model: &Model, data: &Data, floor: f64) -> Vec<f64> {
    const USUAL: [f64; 2] = [0.05, 2.0];
    let (first, last) = (first_seen(data), last_seen(data));
    let [from, to] = data.span();
    let mut x = vec![0.0; model.numbers()];
    for bin in 0..model.bins {
        let fall = ((first[bin] / last[bin]).ln() / (to - from)).clamp(USUAL[0], USUAL[1]);
        x[bin] = first[bin].ln();
        for period in 0..model.periods {
            let known = model.expected(bin, period).map(|(ln_rate, _)| ln_rate);
            x[model.rate(bin, period)] = known.unwrap_or(fall.ln());
        }
    }
    for (bin, last) in last.iter().enumerate() {
        x[model.floor_place(bin)] = floor * last;
    }
    x
}

/// Numbers of each bin's own most likely curve, without scatter and without what is known of the elements; none where some
/// bin was not counted by itself.
pub(super) fn by_series(model: &Model, data: &Data) -> Option<Vec<f64>> {
    let mut x = numbers(model, data, 0.0);
    for bin in 0..model.bins {
        let curve = Fit::new(&series(data, bin)?, FloorRule::Free, Scatter::NONE).ok()?.curve;
        x[bin] = curve.above.max(f64::MIN_POSITIVE).ln();
        (0..model.periods).for_each(|period| x[model.rate(bin, period)] = curve.rate.ln());
        x[model.floor_place(bin)] = curve.floor;
    }
    Some(x)
}

/// What each sample counted in a bin; none where not every one did.
fn series(data: &Data, bin: usize) -> Option<Vec<Observed>> {
    let of = |sample: &Sampled| {
        let cell = sample.cells.iter().find(|cell| cell.bins == (bin..bin + 1))?;
        let count = whole_count(cell.count.round()).ok()?;
        Some(Observed { turnovers: sample.turnovers, seen: Seen::Count(count), ml: cell.ml })
    };
    data.samples.iter().map(of).collect()
}
