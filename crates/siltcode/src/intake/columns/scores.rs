//! Columns to range numbers and outcomes.

use super::Columns;
use crate::bulk::{self, NOT_COUNTED, Scores, Target};
use crate::class::iso4406::Code;
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};

/// The scores of rows, as bytes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RowScores {
    /// The range numbers at the three sizes of the code; see [`bulk`] for what the bytes mean.
    pub numbers: [Vec<u8>; 3],
    /// The outcome of each row, as [`bulk::outcome_of`] reads it; empty without a target.
    pub outcomes: Vec<u8>,
}

/// How a whole array is scored.
type Scorer = fn(bulk::Columns<'_>, &Target, Scores<'_>) -> Result<()>;
type Numberer = fn(&[f64], &mut [u8]) -> Result<()>;

impl Columns {
    /// The scale of the sizes; um(c) where there are none.
    #[must_use]
    pub fn scale(&self) -> SizeScale {
        self.counts.first().map_or(SizeScale::UmC, |counts| counts.size.scale())
    }

    /// The range numbers of each row at the sizes of the code in the scale of the counts, and its outcome against a
    /// target. Sizes without a column are not counted.
    ///
    /// # Errors
    /// `scales-mixed` if the target's sizes are in another scale; `lengths-differ` if columns were changed in length.
    pub fn score(&self, target: Option<&Target>) -> Result<RowScores> {
        let mut out = RowScores::default();
        self.score_into(target, &mut out)?;
        Ok(out)
    }

    /// [`score`](Self::score) in place of earlier scores, whose memory is used again.
    ///
    /// # Errors
    /// As there; `out` then holds no scores worth reading.
    pub fn score_into(&self, target: Option<&Target>, out: &mut RowScores) -> Result<()> {
        self.score_by(target, out, bulk::range_numbers, bulk::score)
    }

    /// [`score`](Self::score) on all threads.
    ///
    /// # Errors
    /// As there.
    #[cfg(feature = "parallel")]
    pub fn par_score(&self, target: Option<&Target>) -> Result<RowScores> {
        let mut out = RowScores::default();
        self.score_by(target, &mut out, bulk::par_range_numbers, bulk::par_score)?;
        Ok(out)
    }

    fn score_by(
        &self,
        target: Option<&Target>,
        out: &mut RowScores,
        number: Numberer,
        score: Scorer,
    ) -> Result<()> {
        let (rows, scale) = (self.len(), self.scale());
        let of_code = Code::sizes_um(scale).map(|um| um.and_then(|um| Size::new(um, scale).ok()));
        let counted = of_code.map(|size| size.and_then(|size| self.of_size(size)));
        let not_counted = if counted.contains(&None) { vec![f64::NAN; rows] } else { Vec::new() };
        let per_ml = counted.map(|column| column.unwrap_or(&not_counted));
        out.resize(rows, target.is_some());
        let [a, b, c] = &mut out.numbers;
        let mut numbers = [a, b, c].map(Vec::as_mut_slice);
        let Some(target) = target else {
            return per_ml.into_iter().zip(&mut numbers).try_for_each(|(column, out)| number(column, out));
        };
        if target.scale() != scale {
            let (left, right) = (scale.to_string(), target.scale().to_string());
            return Err(ErrorKind::ScalesMixed { left, right }.into());
        }
        score(per_ml, target, Scores { numbers, outcomes: &mut out.outcomes })
    }
}

impl RowScores {
    fn resize(&mut self, rows: usize, judged: bool) {
        self.numbers.iter_mut().for_each(|numbers| numbers.resize(rows, NOT_COUNTED));
        self.outcomes.resize(if judged { rows } else { 0 }, 0);
    }
}
