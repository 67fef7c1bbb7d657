//! How well height, rate and floor of a curve are known: standard errors from the information matrix.

use serde::Serialize;

use super::ShownEfficiency;
use super::curve::Curve;
use super::seen::Term;
use crate::count::{CountedVolume, PerMl};
use crate::tank::Turnovers;

/// Standard errors of a fitted curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StandardErrors {
    /// Of the height above the floor at the first sample \[particles/mL\].
    pub above_floor: f64,
    /// Of the efficiency that the tank shows \[-\].
    pub efficiency: f64,
    /// Of the floor \[particles/mL\]; none where no floor was fitted, or none was found.
    pub floor: Option<f64>,
    /// The correlation of efficiency and floor \[-\]; near 1 the samples cannot tell a slow fall from a high floor.
    pub correlation: Option<f64>,
}

impl StandardErrors {
    /// Those to be expected of samples that are still to be drawn, by the expected information (Fisher's).
    ///
    /// It says beforehand what a floor that high would need to be seen: over one turnover nothing, over four a few tens
    /// of counts. None where the samples do not fix the curve at all.
    ///
    /// ```
    /// use siltcode::job::progress::{ShownEfficiency, StandardErrors};
    /// use siltcode::tank::Turnovers;
    /// use siltcode::{CountedVolume, PerMl};
    ///
    /// let ml = CountedVolume::from_ml(1.0)?;
    /// let over = |last: f64| {
    ///     let samples = [0.0, 0.25, 0.5, 0.75, 1.0].map(|share| Ok((Turnovers::new(share * last)?, ml)));
    ///     let samples = samples.into_iter().collect::<siltcode::Result<Vec<_>>>()?;
    ///     let (above, efficiency, floor) = (PerMl::new(10_000.0)?, ShownEfficiency::new(0.95)?, PerMl::new(100.0)?);
    ///     let errors = StandardErrors::expected(above, efficiency, floor, &samples);
    ///     Ok::<_, siltcode::Error>(errors.and_then(|errors| errors.floor).unwrap_or(f64::INFINITY))
    /// };
    /// assert_eq!((over(1.0)?.round(), over(4.0)?.round()), (754.0, 26.0)); // around a floor of 100 per mL
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn expected(
        above_floor: PerMl,
        efficiency: ShownEfficiency,
        floor: PerMl,
        samples: &[(Turnovers, CountedVolume)],
    ) -> Option<Self> {
        let curve = Curve { above: above_floor.get(), floor: floor.get(), rate: efficiency.get() };
        let first = samples.iter().map(|(after, _)| after.get()).reduce(f64::min)?;
        let told = samples.iter().map(|(after, volume)| {
            let since = after.get() - first;
            (since, volume.ml() / curve.at(since))
        });
        Self::of(&curve, told, true)
    }

    /// Those of a curve through terms.
    pub(super) fn of_terms(curve: &Curve, terms: &[Term]) -> Option<Self> {
        let told = terms.iter().map(|term| (term.since, term.information(curve.at(term.since))));
        Self::of(curve, told, curve.floor > 0.0)
    }

    /// From what each sample tells of its concentration, so many turnovers after the first.
    pub(super) fn of(curve: &Curve, told: impl Iterator<Item = (f64, f64)>, floor: bool) -> Option<Self> {
        let variances = variances(curve, told, floor)?;
        Some(Self {
            above_floor: variances[0][0].sqrt(),
            efficiency: variances[1][1].sqrt(),
            floor: floor.then(|| variances[2][2].sqrt()),
            correlation: floor.then(|| variances[1][2] / (variances[1][1] * variances[2][2]).sqrt()),
        })
    }

    /// The same where everything scatters by a factor more in variance.
    pub(super) fn widened(self, factor: f64) -> Self {
        let root = factor.sqrt();
        Self {
            above_floor: root * self.above_floor,
            efficiency: root * self.efficiency,
            floor: self.floor.map(|error| root * error),
            correlation: self.correlation,
        }
    }
}

/// The variances and covariances of height, rate and floor, from what each sample tells of its concentration; without a
/// floor those of height and rate alone.
fn variances(curve: &Curve, told: impl Iterator<Item = (f64, f64)>, floor: bool) -> Option<[[f64; 3]; 3]> {
    let mut information = [[0.0; 3]; 3];
    for (since, told) in told {
        let gradient = gradient(curve, since);
        for (i, row) in information.iter_mut().enumerate() {
            for (j, entry) in row.iter_mut().enumerate() {
                *entry += told * gradient[i] * gradient[j];
            }
        }
    }
    if !floor {
        let [height, rate, _] = information;
        information = [[height[0], height[1], 0.0], [rate[0], rate[1], 0.0], [0.0, 0.0, 1.0]];
    }
    inverse(&information)
}

/// How the concentration follows height, rate and floor.
fn gradient(curve: &Curve, since: f64) -> [f64; 3] {
    let left = (-curve.rate * since).exp();
    [left, -curve.above * since * left, 1.0]
}

/// The inverse of a symmetric matrix that is positive; none where it is not, to within rounding.
fn inverse(matrix: &[[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let scale: [f64; 3] = std::array::from_fn(|i| matrix[i][i].sqrt());
    if !scale.iter().all(|root| *root > 0.0 && root.is_finite()) {
        return None;
    }
    let even: [[f64; 3]; 3] =
        std::array::from_fn(|i| std::array::from_fn(|j| matrix[i][j] / (scale[i] * scale[j])));
    let minor = |i: usize, j: usize| {
        let others = |k: usize| [(k + 1) % 3, (k + 2) % 3];
        let ([top, bottom], [left, right]) = (others(i), others(j));
        even[top][left] * even[bottom][right] - even[top][right] * even[bottom][left]
    };
    let determinant: f64 = (0..3).map(|j| even[0][j] * minor(0, j)).sum();
    (determinant > 1e-14).then(|| {
        std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) / (determinant * scale[i] * scale[j])))
    })
}
