//! What varies beside counting: random factors on the concentration.

use super::level::Scatter;
use crate::error::{ErrorKind, Result};
use crate::size::Size;

/// A random factor on a concentration: `exp(s T)`, with `T` a variable of Student's distribution.
///
/// Its spread is known from a limited number of runs, which is why the variable is Student's; a stated [`Scatter`] is
/// taken as known, and gives a lognormal factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RandomFactor {
    log_sd: f64,
    degrees: f64,
}

impl RandomFactor {
    /// No variation: always 1.
    pub const NONE: Self = Self { log_sd: 0.0, degrees: f64::INFINITY };

    /// A factor whose logarithm has the scale `log_sd` \[-\] and this number of degrees of freedom \[-\].
    ///
    /// # Errors
    /// `quantity-out-of-range` unless `log_sd` is 0 to 10 and `degrees` at least 1.
    pub fn new(log_sd: f64, degrees: f64) -> Result<Self> {
        let out_of_range = |quantity: &str, value: f64, range: &str| {
            let (quantity, value, range) = (quantity.into(), value.to_string(), range.into());
            Err(ErrorKind::QuantityOutOfRange { quantity, value, range }.into())
        };
        if !(0.0..=Scatter::LARGEST_CV).contains(&log_sd) {
            return out_of_range("scale of a random factor's logarithm", log_sd, "0 to 10");
        }
        if degrees.is_nan() || degrees < 1.0 {
            return out_of_range("degrees of freedom", degrees, "at least 1");
        }
        Ok(Self::computed(log_sd, degrees))
    }

    /// The same, of values known to be in range.
    pub(crate) fn computed(log_sd: f64, degrees: f64) -> Self {
        if log_sd > 0.0 { Self { log_sd, degrees } } else { Self::NONE }
    }

    /// The scale of its logarithm \[-\]: about its coefficient of variation, where that is small.
    #[must_use]
    pub const fn log_sd(self) -> f64 {
        self.log_sd
    }

    /// The number of degrees of freedom \[-\]: infinite where the spread is taken as known.
    #[must_use]
    pub const fn degrees(self) -> f64 {
        self.degrees
    }

    /// The factor of a mean whose variance is this share of a single value's \[-\].
    #[must_use]
    pub fn averaged(self, share: f64) -> Self {
        let variance = self.log_sd.powi(2).exp_m1();
        Self::computed((variance * share).ln_1p().sqrt(), self.degrees)
    }

    /// The factor on a part, where the whole is `ratio` times as large and varies by this one.
    fn scaled(self, ratio: f64) -> Self {
        Self::computed((self.log_sd * ratio).min(Scatter::LARGEST_CV), self.degrees)
    }

    /// Both factors together: their variances are added, and their degrees of freedom combined as F. E. Satterthwaite
    /// does (Biometrics Bulletin 2 (1946) 110-114).
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        let [a, b] = [self, other].map(|factor| factor.log_sd.powi(2));
        let share = |variance: f64, degrees: f64| {
            if variance > 0.0 { (variance / (a + b)).powi(2) / degrees } else { 0.0 }
        };
        Self::computed((a + b).sqrt(), (share(a, self.degrees) + share(b, other.degrees)).recip())
    }
}

impl From<Scatter> for RandomFactor {
    fn from(scatter: Scatter) -> Self {
        Self::computed(scatter.log_sd(), f64::INFINITY)
    }
}

/// What makes the concentration of one size vary beside counting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variation {
    /// That of a single run of the bottle.
    pub run: RandomFactor,
    /// How much less the mean of all runs varies, as a share of the variance \[-\]: 1 over their number, for equal volumes.
    pub share: f64,
    /// That of the bottle, among bottles of the same fluid.
    pub between: RandomFactor,
}

impl Variation {
    /// Nothing varies.
    pub const NONE: Self = Self { run: RandomFactor::NONE, share: 1.0, between: RandomFactor::NONE };

    /// Whether nothing varies, whatever the number of runs.
    fn is_none(&self) -> bool {
        self.run == RandomFactor::NONE && self.between == RandomFactor::NONE
    }

    /// The factor on the mean of all runs.
    #[must_use]
    pub fn factor(&self) -> RandomFactor {
        self.run.averaged(self.share).and(self.between)
    }
}

impl<T: Into<RandomFactor>> From<T> for Variation {
    fn from(between: T) -> Self {
        Self { between: between.into(), ..Self::NONE }
    }
}

/// The variations of one bottle, size by size. All sizes vary together: a run that sees more of one sees more of all.
///
/// ```
/// use siltcode::Size;
/// use siltcode::certainty::{Factors, Scatter};
///
/// let factors = Factors::from(Scatter::from_cv(0.1)?);
/// assert_eq!(format!("{:.4}", factors.of(Size::um_c(4.0)?).log_sd()), "0.0998");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Factors {
    each: Vec<(Size, Variation)>,
    /// That of a size that is not listed.
    other: Variation,
}

impl Factors {
    /// Those listed; a size that is not listed has `other`.
    #[must_use]
    pub const fn new(each: Vec<(Size, Variation)>, other: Variation) -> Self {
        Self { each, other }
    }

    /// The factor of one size.
    #[must_use]
    pub fn of(&self, size: Size) -> RandomFactor {
        self.variation(size).factor()
    }

    /// What makes one size vary.
    #[must_use]
    pub fn variation(&self, size: Size) -> Variation {
        self.each.iter().find(|(listed, _)| *listed == size).map_or(self.other, |(_, variation)| *variation)
    }

    /// Whether anything varies beside counting, at any size.
    #[must_use]
    pub fn is_counting_only(&self) -> bool {
        self.each.iter().map(|(_, variation)| variation).chain([&self.other]).all(Variation::is_none)
    }

    /// The same where a size's concentration is only part of what varies: `ratio` says how many times larger that is.
    pub(super) fn scaled(&self, ratio: impl Fn(Size) -> f64) -> Self {
        let scaled = |&(size, variation): &(Size, Variation)| {
            let run = variation.run.scaled(ratio(size));
            (size, Variation { run, ..variation })
        };
        Self { each: self.each.iter().map(scaled).collect(), ..self.clone() }
    }
}

impl Default for Factors {
    /// Counting alone.
    fn default() -> Self {
        Self::new(Vec::new(), Variation::NONE)
    }
}

impl From<Scatter> for Factors {
    fn from(scatter: Scatter) -> Self {
        Self::new(Vec::new(), scatter.into())
    }
}

impl From<&Self> for Factors {
    fn from(factors: &Self) -> Self {
        factors.clone()
    }
}
