//! Rows of three counts against a specification.

use crate::class::iso4406::Code;
use crate::count::{PerMl, Reading};
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};
use crate::spec::{Demand, Outcome, ParticleLimit, Spec};
use crate::spectrum::{Channel, Spectrum};

use super::{NOT_COUNTED, same_length};

/// The byte of a row whose counts cannot be: one of them is negative, or they rise with size.
pub const IMPOSSIBLE: u8 = u8::MAX;

/// Three columns of cumulative concentrations \[particles/mL\], one for each size of the code, smallest size first.
pub type Columns<'a> = [&'a [f64]; 3];

/// Where the scores of rows go.
#[derive(Debug)]
pub struct Scores<'a> {
    /// The range numbers of each column.
    pub numbers: [&'a mut [u8]; 3],
    /// The outcome of each row: 0 conforms, 1 undecided, 2 does not conform, or [`IMPOSSIBLE`].
    pub outcomes: &'a mut [u8],
}

impl Scores<'_> {
    pub(super) fn ensure_length(&self, per_ml: Columns<'_>) -> Result<()> {
        let rows = per_ml[0].len();
        let columns = per_ml.iter().map(|column| column.len());
        let places = self.numbers.iter().map(|numbers| numbers.len()).chain([self.outcomes.len()]);
        columns.chain(places).try_for_each(|length| same_length(rows, length))
    }
}

/// Rows looked at together: where all are counted, their outcomes need less than half of the comparisons.
const BLOCK: usize = 64;

/// The outcome that a byte stands for; none for [`IMPOSSIBLE`].
#[must_use]
pub const fn outcome_of(byte: u8) -> Option<Outcome> {
    match byte {
        0 => Some(Outcome::Conforms),
        1 => Some(Outcome::Undecided),
        2 => Some(Outcome::DoesNotConform),
        _ => None,
    }
}

/// What one column of counts is held against.
#[derive(Debug, Clone, Copy)]
struct Bar {
    /// The most allowed \[particles/mL\]; infinity where there is no limit.
    limit: f64,
    /// The outcome where it was not counted.
    missing: u8,
}

impl Bar {
    const NONE: Self = Self { limit: f64::INFINITY, missing: Outcome::Conforms as u8 };
}

/// A specification, ready for rows of three counts.
///
/// Whatever it asks beyond the three sizes of the code, such as water, cannot be told from the rows; then the best
/// outcome is undecided, as in [`Spec::check`](crate::Spec::check).
#[derive(Debug, Clone)]
pub struct Target {
    scale: SizeScale,
    bars: [Bar; 3],
    /// The outcome of a row without particles.
    best: u8,
}

impl Target {
    /// The target that a specification sets for the sizes of the code in its own size scale.
    ///
    /// # Errors
    /// `target-alternatives` if a particle count is one of several alternatives.
    pub fn of(spec: &Spec) -> Result<Self> {
        let particles = || {
            spec.requirements.iter().filter_map(|requirement| match requirement.demand {
                Demand::Particles { size, limit } => Some((size, limit, &requirement.alternative)),
                Demand::Companion { .. } => None,
            })
        };
        if let Some((size, ..)) = particles().find(|(.., alternative)| alternative.is_some()) {
            return Err(ErrorKind::TargetAlternatives { size: size.to_string() }.into());
        }
        let scale = particles().next().map_or(SizeScale::UmC, |(size, ..)| size.scale());
        let sizes = Code::sizes_um(scale).map(|um| um.and_then(|um| Size::new(um, scale).ok()));
        let bars = sizes.map(|size| {
            let own = particles().filter(|(other, ..)| Some(*other) == size);
            own.fold(Bar::NONE, |bar, (_, limit, _)| bar.and(limit))
        });
        let clean = sizes.into_iter().flatten().map(|size| Channel::new(size, Reading::Count(PerMl::ZERO)));
        let best = spec.check_counts(&Spectrum::cumulative(clean.collect())?, &[]).outcome as u8;
        Ok(Self { scale, bars, best })
    }

    /// The scale of its sizes.
    #[must_use]
    pub const fn scale(&self) -> SizeScale {
        self.scale
    }

    #[allow(clippy::inline_always)] // so that it takes on the instructions of its caller
    #[allow(clippy::needless_bitwise_bool)] // without a branch
    #[inline(always)]
    fn outcome(&self, [fine, middle, coarse]: [f64; 3]) -> u8 {
        let [a, b, c] = self.bars;
        let over = (fine > a.limit) | (middle > b.limit) | (coarse > c.limit);
        let missing = a.missing(fine).max(b.missing(middle)).max(c.missing(coarse));
        let rises = (middle > fine) | (coarse > middle) | (coarse > fine);
        let negative = (fine < 0.0) | (middle < 0.0) | (coarse < 0.0);
        let outcome = if over { Outcome::DoesNotConform as u8 } else { self.best.max(missing) };
        if rises | negative { IMPOSSIBLE } else { outcome }
    }

    /// The outcome of a row whose counts are all counts, as wide as a count, so that many are compared at once.
    #[allow(clippy::inline_always)] // as `outcome`
    #[allow(clippy::needless_bitwise_bool)] // as `outcome`
    #[inline(always)]
    fn outcome_of_counts(&self, [fine, middle, coarse]: [f64; 3]) -> u64 {
        let [a, b, c] = self.bars;
        let over = (fine > a.limit) | (middle > b.limit) | (coarse > c.limit);
        let rises = (middle > fine) | (coarse > middle);
        let outcome = if over { Outcome::DoesNotConform as u64 } else { u64::from(self.best) };
        if rises { u64::from(IMPOSSIBLE) } else { outcome }
    }

    /// The outcome of each row, given the range numbers of its counts; all are equally long.
    #[allow(clippy::inline_always)] // as `outcome`
    #[inline(always)]
    pub(super) fn write(&self, per_ml: Columns<'_>, numbers: [&[u8]; 3], out: &mut [u8]) {
        let target = self.clone(); // a local copy cannot overlap with `out`
        for (block, out) in out.chunks_mut(BLOCK).enumerate() {
            let rows = block * BLOCK..block * BLOCK + out.len();
            let [fine, middle, coarse] = per_ml.map(|column| &column[rows.clone()]);
            let columns =
                fine.iter().zip(middle).zip(coarse).map(|((&fine, &middle), &coarse)| [fine, middle, coarse]);
            // what was not counted is the largest byte there is, and so found without a branch for each
            let largest =
                |numbers: &[u8]| numbers[rows.clone()].iter().fold(0, |most, &number| number.max(most));
            if numbers.map(largest).contains(&NOT_COUNTED) {
                out.iter_mut().zip(columns).for_each(|(outcome, row)| *outcome = target.outcome(row));
            } else {
                let mut wide = [0; BLOCK];
                wide.iter_mut()
                    .zip(columns)
                    .for_each(|(outcome, row)| *outcome = target.outcome_of_counts(row));
                #[allow(clippy::cast_possible_truncation)] // each is a byte
                out.iter_mut().zip(wide).for_each(|(outcome, wide)| *outcome = wide as u8);
            }
        }
    }
}

impl Bar {
    fn and(self, limit: ParticleLimit) -> Self {
        let upper = limit.upper().map_or(f64::INFINITY, PerMl::get);
        Self { limit: self.limit.min(upper), missing: Outcome::Undecided as u8 }
    }

    #[allow(clippy::inline_always)] // as `Target::outcome`
    #[inline(always)]
    fn missing(self, per_ml: f64) -> u8 {
        if per_ml.is_nan() { self.missing } else { Outcome::Conforms as u8 }
    }
}
