//! Confidence levels, probabilities, expected counts and intervals.

use std::fmt;

use serde::ser::SerializeTuple;
use serde::{Serialize, Serializer};

use crate::count::{Evidence, PerMl};
use crate::error::{ErrorKind, Result};
use crate::units::Shortest;

/// A confidence level \[-\]: from [`Level::SMALLEST`] to [`Level::LARGEST`], the range that is tested.
///
/// ```
/// use siltcode::certainty::Level;
///
/// assert_eq!(Level::default().get(), 0.95);
/// assert_eq!(Level::new(95.0).unwrap_err().code(), "level-out-of-range");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Level(f64);

impl Level {
    /// The smallest level.
    pub const SMALLEST: f64 = 1e-12;
    /// The largest level.
    pub const LARGEST: f64 = 1.0 - 1e-12;

    /// A level of `value`, as a fraction: 0.95 is 95 %.
    ///
    /// # Errors
    /// `level-out-of-range` unless `1e-12 <= value <= 1 - 1e-12`.
    pub fn new(value: f64) -> Result<Self> {
        if (Self::SMALLEST..=Self::LARGEST).contains(&value) {
            Ok(Self(value))
        } else {
            Err(ErrorKind::LevelOutOfRange { value }.into())
        }
    }

    /// The level as a fraction \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// What is left outside: one less the level \[-\].
    #[must_use]
    pub const fn risk(self) -> f64 {
        1.0 - self.0
    }
}

impl Default for Level {
    /// 95 %.
    fn default() -> Self {
        Self(0.95)
    }
}

/// A probability: 0 to 1 \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Probability(f64);

impl Probability {
    /// Cannot be.
    pub const IMPOSSIBLE: Self = Self(0.0);
    /// Sure.
    pub const CERTAIN: Self = Self(1.0);

    /// A probability of `value`, as a fraction.
    ///
    /// # Errors
    /// `probability-out-of-range` unless `0 <= value <= 1`.
    pub fn new(value: f64) -> Result<Self> {
        if (0.0..=1.0).contains(&value) {
            Ok(Self(value + 0.0))
        } else {
            Err(ErrorKind::ProbabilityOutOfRange { value }.into())
        }
    }

    /// A computed probability, freed of rounding beyond 0 and 1.
    pub(crate) const fn rounded(value: f64) -> Self {
        Self(value.clamp(0.0, 1.0))
    }

    /// The probability as a fraction \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The probability of the opposite.
    #[must_use]
    pub const fn complement(self) -> Self {
        Self(1.0 - self.0)
    }
}

impl fmt::Display for Probability {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Shortest(self.0).fmt(f)
    }
}

/// The count to be expected in a counted volume \[particles\]: 0 or more, not necessarily whole.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Mean(f64);

impl Mean {
    /// No particles.
    pub const ZERO: Self = Self(0.0);

    /// An expected count of `particles`.
    ///
    /// # Errors
    /// `count-not-finite` unless `0 <= particles < infinity`.
    pub fn new(particles: f64) -> Result<Self> {
        if particles.is_finite() && particles >= 0.0 {
            Ok(Self(particles + 0.0))
        } else {
            Err(ErrorKind::CountNotFinite { value: particles }.into())
        }
    }

    /// What is expected to be counted of this concentration with the volume and dilution of `evidence`.
    #[must_use]
    pub fn of(per_ml: PerMl, evidence: &Evidence) -> Self {
        Self((per_ml.get() * evidence.examined_ml()).min(f64::MAX))
    }

    /// A computed mean, known to be finite and not negative.
    pub(crate) const fn computed(particles: f64) -> Self {
        Self(particles)
    }

    /// The expected count \[particles\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The concentration that gives this expected count with the volume and dilution of `evidence`.
    #[must_use]
    pub fn per_ml(self, evidence: &Evidence) -> PerMl {
        PerMl::new((self.0 / evidence.examined_ml()).min(f64::MAX)).unwrap_or(PerMl::ZERO)
    }
}

/// From a low to a high end, both included. Printed and serialised as the pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval<T> {
    /// The low end.
    pub low: T,
    /// The high end.
    pub high: T,
}

impl<T: PartialOrd> Interval<T> {
    /// Whether `value` lies inside.
    #[must_use]
    pub fn contains(&self, value: &T) -> bool {
        self.low <= *value && *value <= self.high
    }
}

impl<T> Interval<T> {
    /// Both ends put through a rising function.
    #[must_use]
    pub fn map<U>(self, mut rising: impl FnMut(T) -> U) -> Interval<U> {
        Interval { low: rising(self.low), high: rising(self.high) }
    }
}

impl Interval<PerMl> {
    /// The same with another source of error, which moves either end by as much: the squares of the distances add up, as
    /// seen from the middle.
    pub(super) fn widened(self, by: f64) -> Self {
        if by <= 0.0 {
            return self;
        }
        let (low, high) = (self.low.get(), self.high.get());
        let (middle, half) = (f64::midpoint(low, high), (high - low) / 2.0);
        let half = half.hypot(by);
        let end = |per_ml: f64| PerMl::new(per_ml.clamp(0.0, f64::MAX)).unwrap_or(PerMl::ZERO);
        Self { low: end(middle - half), high: end(middle + half) }
    }
}

impl<T: Serialize> Serialize for Interval<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut pair = serializer.serialize_tuple(2)?;
        pair.serialize_element(&self.low)?;
        pair.serialize_element(&self.high)?;
        pair.end()
    }
}

/// How much bottles of the same fluid scatter beyond counting: a coefficient of variation of the concentration \[-\].
///
/// ```
/// use siltcode::certainty::Scatter;
///
/// assert_eq!(Scatter::from_cv(0.16)?.cv(), 0.16); // 16 %
/// assert_eq!(Scatter::from_cv(-0.1).unwrap_err().code(), "quantity-out-of-range");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, Default, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Scatter(f64);

impl Scatter {
    /// Counting alone.
    pub const NONE: Self = Self(0.0);
    /// Beyond this a factor has no meaning: bottles that differ tenfold are not bottles of one fluid.
    pub const LARGEST_CV: f64 = 10.0;

    /// A scatter of this coefficient of variation, as a fraction.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless `0 <= cv <= 10`.
    pub fn from_cv(cv: f64) -> Result<Self> {
        if (0.0..=Self::LARGEST_CV).contains(&cv) {
            return Ok(Self(cv + 0.0));
        }
        Err(ErrorKind::QuantityOutOfRange {
            quantity: "coefficient of variation between bottles".into(),
            value: Shortest(cv).to_string(),
            range: "0 to 10, as a fraction".into(),
        }
        .into())
    }

    /// A scatter that someone states, as a fraction: at most 1, since a per cent is what is meant above that.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless `0 <= cv <= 1`.
    pub fn stated(cv: f64) -> Result<Self> {
        if (0.0..=1.0).contains(&cv) {
            return Self::from_cv(cv);
        }
        Err(ErrorKind::QuantityOutOfRange {
            quantity: "coefficient of variation".into(),
            value: cv.to_string(),
            range: "0 to 1, as a fraction".into(),
        }
        .into())
    }

    /// The coefficient of variation \[-\].
    #[must_use]
    pub const fn cv(self) -> f64 {
        self.0
    }

    /// The standard deviation of the logarithm of a lognormal factor with this coefficient of variation \[-\].
    #[must_use]
    pub fn log_sd(self) -> f64 {
        self.0.powi(2).ln_1p().sqrt()
    }
}
