//! Rows that sum up the runs above them, found by arithmetic: that needs no language.

use crate::count::{Basis, Reading};
use crate::sample::Sample;

use super::layout::{CountColumn, CountColumns};
use super::lines::Record;
use super::number::{self, Cell, Marks, Number};
use super::options::Form;
use super::statistic::Statistic;

/// Arithmetic is tried over no more runs than a person would sum up by hand.
const MOST_RUNS: usize = 64;

/// A chance agreement must be rarer than this for arithmetic alone to decide.
const RARE: f64 = 1e-3;

/// What a row's numbers say of the runs above it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fit {
    /// It is this summary of them: chance would hardly agree so well at all sizes.
    Is(Statistic),
    /// It agrees with this summary, but a run could agree by chance too.
    MayBe(&'static str),
    /// It is no summary of them that is known.
    None,
}

/// A summary: its name, what it is, and its value at one size.
type Known = (&'static str, Statistic, fn(&OfSize) -> f64);

/// Whether a row is a summary of the runs of the bottle above it.
pub(super) fn fit(record: &Record, bottle: &Sample, counts: &CountColumns, marks: Marks) -> Fit {
    let CountColumns::Wide { form: Form::Cumulative, runs } = counts else { return Fit::None };
    let ([columns], true) = (runs.as_slice(), (2..=MOST_RUNS).contains(&bottle.runs.len())) else {
        return Fit::None;
    };
    let sizes: Vec<OfSize> =
        columns.columns.iter().filter_map(|count| OfSize::of(count, record, bottle, marks)).collect();
    let differ = sizes.iter().any(|size| size.most > size.least);
    if sizes.is_empty() || !differ {
        return Fit::None;
    }
    let fits = |value: fn(&OfSize) -> f64| sizes.iter().all(|size| size.is(value(size)));
    let chance: f64 = sizes.iter().map(OfSize::chance).product();
    let known: [Known; 6] = [
        ("mean", Statistic::Mean, |size| size.mean),
        ("standard deviation", Statistic::Spread, |size| size.deviation(1.0)),
        ("standard deviation", Statistic::Spread, |size| size.deviation(0.0)),
        ("relative standard deviation", Statistic::Spread, |size| 100.0 * size.deviation(1.0) / size.mean),
        ("least value", Statistic::Other, |size| size.least),
        ("greatest value", Statistic::Other, |size| size.most),
    ];
    let found = known.into_iter().find(|(_, _, value)| fits(*value));
    match found {
        Some((_, statistic @ (Statistic::Mean | Statistic::Spread), _)) if chance < RARE => {
            Fit::Is(statistic)
        }
        Some((name, ..)) => Fit::MayBe(name),
        None => Fit::None,
    }
}

/// Whether a row is of the size of a deviation of the runs above it: far below all of them at every size.
pub(super) fn is_far_below(record: &Record, bottle: &Sample, counts: &CountColumns, marks: Marks) -> bool {
    const FRACTION: f64 = 0.25;
    const COUNTED: f64 = 20.0;
    let CountColumns::Wide { runs, .. } = counts else { return false };
    let ([columns], true) = (runs.as_slice(), (2..=MOST_RUNS).contains(&bottle.runs.len())) else {
        return false;
    };
    let sizes: Vec<OfSize> =
        columns.columns.iter().filter_map(|count| OfSize::of(count, record, bottle, marks)).collect();
    let compared: Vec<&OfSize> = sizes.iter().filter(|size| size.least >= COUNTED).collect();
    let agree = compared.iter().all(|size| size.most < 2.0 * size.least);
    !compared.is_empty() && agree && compared.iter().all(|size| size.cell.value < FRACTION * size.least)
}

/// The cell of one size beside the runs above it, in the unit of the cell.
struct OfSize {
    cell: Number,
    n: f64,
    mean: f64,
    squares: f64,
    least: f64,
    most: f64,
}

impl OfSize {
    fn of(count: &CountColumn, record: &Record, bottle: &Sample, marks: Marks) -> Option<Self> {
        let Ok(Cell::Number(cell)) = number::read(record.cells.get(count.column)?, marks) else {
            return None;
        };
        let of_run = |run: &crate::sample::Run| {
            let channel = run.spectrum.channel(count.size)?;
            match (count.basis, channel.reading, channel.evidence) {
                (Some(Basis::Raw), _, Some(evidence)) => Some(evidence.raw as f64),
                (Some(basis), Reading::Count(per_ml), _) => Some(per_ml.get() * basis.volume_ml()?),
                _ => None,
            }
        };
        let values: Vec<f64> = bottle.runs.iter().map(of_run).collect::<Option<_>>()?;
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares = values.iter().map(|value| (value - mean).powi(2)).sum();
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let most = values.iter().copied().fold(0.0, f64::max);
        Some(Self { cell, n, mean, squares, least, most })
    }

    fn deviation(&self, lost: f64) -> f64 {
        (self.squares / (self.n - lost)).sqrt()
    }

    /// Whether the cell is this value as printed; the runs' own rounding may move it by a little more.
    fn is(&self, value: f64) -> bool {
        let slack = 1.02 * self.cell.half_step + 1e-9 * value.abs();
        (self.cell.value - value).abs() <= slack || (value.is_nan() && self.cell.value.abs() < slack)
    }

    /// How probable it is that another run falls so near by chance.
    fn chance(&self) -> f64 {
        let width = 2.0 * self.cell.half_step;
        let spread = (2.5 * self.deviation(1.0)).max(2.5 * self.mean.sqrt() / self.n.sqrt()).max(width);
        (width / spread).min(1.0)
    }
}
