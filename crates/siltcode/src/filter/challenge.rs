//! The distribution of sizes that a filter was tested with.

use std::sync::LazyLock;

use serde::Deserialize;

use super::beta::{Beta, Efficiency};
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};
use crate::spectrum::Spectrum;
use crate::table;

/// The cumulative distribution a filter was tested with.
///
/// A published ratio is for all particles at and above its size, in this mixture; the ratio of a bin follows from it
/// only once the mixture is known.
///
/// ```
/// use siltcode::{Size, filter::Challenge};
///
/// let dust = Challenge::iso_medium_test_dust();
/// assert_eq!(dust.per_ml(Size::um_c(10.0)?)?.get(), 1830.0);
/// assert_eq!(dust.per_ml(Size::um_c(100.0)?).unwrap_err().code(), "challenge-outside");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Challenge {
    scale: SizeScale,
    /// Size \[um\] and particles at and above it \[1/mL\], sizes rising; at least one, all above 0.
    rows: Vec<(f64, f64)>,
}

#[derive(Deserialize)]
struct Window {
    size_umc: f64,
    min_10mg_l: f64,
    max_10mg_l: f64,
}

static TEST_DUST: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    let rows = table::rows::<Window>(&siltcode_tables::ISO_MEDIUM_TEST_DUST);
    rows.into_iter().map(|row| (row.size_umc, f64::midpoint(row.min_10mg_l, row.max_10mg_l))).collect()
});

impl Challenge {
    /// ISO medium test dust: the centres of the windows that ISO 16889 allows at 10 mg/L. That they stand for the
    /// test of a given filter is an assumption.
    #[must_use]
    pub fn iso_medium_test_dust() -> Self {
        Self { scale: SizeScale::UmC, rows: TEST_DUST.clone() }
    }

    /// The counts of a spectrum as challenge. Sizes without a plain count above 0 are passed over.
    ///
    /// # Errors
    /// `nothing-counted` unless at least one size has a count above 0.
    pub fn of(spectrum: &Spectrum) -> Result<Self> {
        let counted = spectrum.channels().iter().filter_map(|channel| {
            let per_ml = channel.reading.count()?.get();
            (per_ml > 0.0).then_some((channel.size.um(), per_ml))
        });
        let rows: Vec<_> = counted.collect();
        if rows.is_empty() {
            return Err(ErrorKind::NothingCounted {}.into());
        }
        Ok(Self { scale: spectrum.scale(), rows })
    }

    /// Particles at and above a size: straight between two sizes in the logarithms of both.
    ///
    /// # Errors
    /// `scales-mixed`, and `challenge-outside` unless the size lies within the distribution.
    pub fn per_ml(&self, size: Size) -> Result<PerMl> {
        size.ensure_scale(self.scale)?;
        let um = size.um();
        let outside = || ErrorKind::ChallengeOutside {
            size: size.to_string(),
            from_um: self.rows[0].0,
            to_um: self.rows[self.rows.len() - 1].0,
        };
        if let Some(&(_, per_ml)) = self.rows.iter().find(|row| row.0.total_cmp(&um).is_eq()) {
            return PerMl::new(per_ml);
        }
        let around = self.rows.windows(2).find(|pair| pair[0].0 < um && um < pair[1].0);
        let &[(x0, n0), (x1, n1)] = around.ok_or_else(outside)? else { return Err(outside().into()) };
        PerMl::new(n0 * (n1 / n0).powf((um / x0).ln() / (x1 / x0).ln()))
    }

    /// The ratio for all particles at and above the first of these rising sizes, of a filter with these efficiencies in
    /// the bins from each to the next; the last bin is open.
    ///
    /// ```
    /// use siltcode::filter::{Beta, Challenge, Rating};
    /// use siltcode::Size;
    ///
    /// let (dust, rating): (_, Rating) = (Challenge::iso_medium_test_dust(), "4:3,6:20".parse()?);
    /// let sizes = [Size::um_c(4.0)?, Size::um_c(6.0)?];
    /// let bins: Vec<_> = rating.bins(&sizes, &dust)?.into_iter().map(Beta::efficiency).collect();
    /// assert_eq!(dust.ratio(&sizes, &bins)?.to_string(), "3"); // as rated
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// As [`per_ml`](Self::per_ml); `lengths-differ` unless there is one efficiency for each size; `nothing-counted`
    /// without one.
    pub fn ratio(&self, sizes: &[Size], bins: &[Efficiency]) -> Result<Beta> {
        if sizes.len() != bins.len() {
            return Err(ErrorKind::LengthsDiffer { input: sizes.len(), output: bins.len() }.into());
        }
        let counts: Vec<f64> =
            sizes.iter().map(|&size| Ok(self.per_ml(size)?.get())).collect::<Result<_>>()?;
        let all = *counts.first().ok_or(ErrorKind::NothingCounted {})?;
        let above = |i: usize| counts.get(i + 1).copied().unwrap_or(0.0);
        let held: f64 = bins.iter().enumerate().map(|(i, bin)| (counts[i] - above(i)) * bin.get()).sum();
        Beta::of(Efficiency::of_passed(1.0 - held / all))
    }
}
