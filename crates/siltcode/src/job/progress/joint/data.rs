//! The samples of a job in bins: what lies between each size and the next, and bounds of what lies above a size.

use std::ops::Range;

use super::super::bottle::Bottle;
use super::super::seen::{Observed, Seen};
use crate::size::Size;

/// A count of the particles in one bin, or in a few bins in a row where a size between them was not counted.
#[derive(Debug, Clone)]
pub(in super::super) struct Cell {
    pub(in super::super) bins: Range<usize>,
    pub(in super::super) ml: f64,
    pub(in super::super) count: f64,
}

/// What a sample says of all particles from a bin on: a bound, or a code's interval.
#[derive(Debug, Clone)]
pub(super) struct Bounded {
    pub(super) from: usize,
    pub(super) observed: Observed,
}

/// One sample.
#[derive(Debug, Clone)]
pub(in super::super) struct Sampled {
    pub(in super::super) turnovers: f64,
    pub(in super::super) cells: Vec<Cell>,
    pub(super) bounded: Vec<Bounded>,
}

/// Samples in the order of their turnovers.
#[derive(Debug, Clone)]
pub(in super::super) struct Data {
    pub(in super::super) bins: usize,
    pub(in super::super) samples: Vec<Sampled>,
}

impl Data {
    /// The samples of bottles at some sizes, rising; other sizes of the bottles are left out.
    pub(in super::super) fn new(bottles: &[Bottle], sizes: &[Size]) -> Self {
        let mut bottles: Vec<&Bottle> = bottles.iter().collect();
        bottles.sort_by(|a, b| order(a, b));
        let samples = bottles.into_iter().flat_map(|bottle| samples_of(bottle, sizes));
        let samples = samples.filter(|sample| !(sample.cells.is_empty() && sample.bounded.is_empty()));
        Self { bins: sizes.len(), samples: samples.collect() }
    }

    /// The turnovers of the first and of the last sample.
    pub(in super::super) fn span(&self) -> [f64; 2] {
        let at = |sample: Option<&Sampled>| sample.map_or(0.0, |sample| sample.turnovers);
        [at(self.samples.first()), at(self.samples.last())]
    }

    /// The least turnovers between two samples that were not drawn together.
    pub(super) fn least_gap(&self) -> f64 {
        let [first, last] = self.span();
        let gaps = self.samples.windows(2).map(|pair| pair[1].turnovers - pair[0].turnovers);
        gaps.filter(|gap| *gap > 0.0).fold(last - first, f64::min)
    }

    /// The volumes of all counts and bounds that concern a bin \[mL\].
    pub(super) fn ml_of(&self, bin: usize) -> f64 {
        let cells = self.samples.iter().flat_map(|sample| &sample.cells);
        let counted: f64 = cells.filter(|cell| cell.bins.contains(&bin)).map(|cell| cell.ml).sum();
        let bounded = self.samples.iter().flat_map(|sample| &sample.bounded);
        counted + bounded.filter(|bound| bound.from <= bin).map(|bound| bound.observed.ml).sum::<f64>()
    }

    /// All counts.
    pub(in super::super) fn cells(&self) -> impl Iterator<Item = &Cell> {
        self.samples.iter().flat_map(|sample| &sample.cells)
    }
}

/// By turnovers, those of the same in an order that does not depend on how they were given.
fn order(a: &Bottle, b: &Bottle) -> std::cmp::Ordering {
    let mut by = a.turnovers().get().total_cmp(&b.turnovers().get());
    for ((size, seen), (other, also)) in a.seen().iter().zip(b.seen()) {
        by = by.then(size.um().total_cmp(&other.um())).then(seen.order(also));
    }
    by.then(a.seen().len().cmp(&b.seen().len()))
}

/// A bottle as a sample; as several where it was counted more than once at a size.
fn samples_of(bottle: &Bottle, sizes: &[Size]) -> Vec<Sampled> {
    let mut rounds: Vec<Vec<(usize, Observed)>> = Vec::new();
    let mut taken = vec![0_usize; sizes.len()];
    let mut seen: Vec<_> = bottle.seen().to_vec();
    seen.sort_by(|a, b| a.0.um().total_cmp(&b.0.um()).then(a.1.order(&b.1)));
    for (size, observed) in seen {
        let Some(bin) = sizes.iter().position(|at| *at == size) else { continue };
        if rounds.len() == taken[bin] {
            rounds.push(Vec::new());
        }
        rounds[taken[bin]].push((bin, observed));
        taken[bin] += 1;
    }
    rounds.into_iter().map(|seen| sample(bottle.turnovers().get(), sizes.len(), &seen)).collect()
}

/// Counts less the counts of the next larger size that was counted, and bounds.
///
/// Where two sizes were counted in different volumes, the difference is that of their concentrations in the smaller
/// volume.
fn sample(turnovers: f64, bins: usize, seen: &[(usize, Observed)]) -> Sampled {
    let counted: Vec<(usize, f64, f64)> = seen
        .iter()
        .filter_map(|(bin, observed)| Some((*bin, observed.seen.count()? as f64, observed.ml)))
        .collect();
    let cell = |(i, (bin, count, ml)): (usize, &(usize, f64, f64))| match counted.get(i + 1) {
        None => Cell { bins: *bin..bins, ml: *ml, count: *count },
        Some((next, larger, other)) => {
            let least = ml.min(*other);
            let between = (count * (least / ml) - larger * (least / other)).max(0.0);
            Cell { bins: *bin..*next, ml: least, count: between }
        }
    };
    let cells = counted.iter().enumerate().map(cell).collect();
    let bounded = seen.iter().filter(|(_, observed)| !matches!(observed.seen, Seen::Count(_)));
    let bounded = bounded.map(|(bin, observed)| Bounded { from: *bin, observed: *observed });
    Sampled { turnovers, cells, bounded: bounded.collect() }
}
