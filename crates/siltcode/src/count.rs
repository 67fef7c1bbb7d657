//! From what a counter reports to a concentration per mL, with the evidence kept.
//!
//! A counter counts `raw` particles in a counted volume of a sample diluted by a factor `D`. The concentration is
//! `D * raw / volume`. Laboratories report it per mL, per 100 mL or per L, or hand over the raw count itself: the
//! [`Basis`] says which. What the concentration rests on stays with it as [`Evidence`], because how sure a
//! cleanliness code is depends on the raw count, not on the concentration.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::error::{Error, ErrorKind, Result};
use crate::units::Shortest;

/// A particle concentration \[particles/mL\]: finite and not negative.
///
/// ```
/// use siltcode::PerMl;
///
/// assert_eq!(PerMl::new(1752.0)?.get(), 1752.0);
/// assert_eq!(PerMl::new(-1.0).unwrap_err().code(), "count-not-finite");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(transparent)]
pub struct PerMl(f64);

impl PerMl {
    /// No particles.
    pub const ZERO: Self = Self(0.0);

    /// A concentration of `value` particles per mL.
    ///
    /// # Errors
    /// `count-not-finite` unless `0 <= value < infinity`.
    pub fn new(value: f64) -> Result<Self> {
        if value.is_finite() && value >= 0.0 {
            Ok(Self(value + 0.0)) // turns -0.0 into 0.0
        } else {
            Err(ErrorKind::CountNotFinite { value }.into())
        }
    }

    /// The value \[particles/mL\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The same concentration \[particles/100 mL\].
    #[must_use]
    pub fn per_100_ml(self) -> f64 {
        self.0 * 100.0
    }
}

impl Eq for PerMl {}

impl PartialOrd for PerMl {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for PerMl {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl fmt::Display for PerMl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Shortest(self.0).fmt(f)
    }
}

/// What a reported count refers to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Particles per mL of the sample as drawn.
    PerMl,
    /// Particles per 10 mL of the sample as drawn.
    #[serde(rename = "per-10-ml")]
    Per10Ml,
    /// Particles per 100 mL of the sample as drawn.
    #[serde(rename = "per-100-ml")]
    Per100Ml,
    /// Particles per L of the sample as drawn.
    PerL,
    /// Particles counted in the counted volume of the (possibly diluted) sample.
    Raw,
}

impl Basis {
    /// The divisor that turns a count on this basis into one per mL \[mL\]; none for raw counts.
    #[must_use]
    pub const fn volume_ml(self) -> Option<f64> {
        match self {
            Self::PerMl => Some(1.0),
            Self::Per10Ml => Some(10.0),
            Self::Per100Ml => Some(100.0),
            Self::PerL => Some(1000.0),
            Self::Raw => None,
        }
    }
}

impl Basis {
    /// The concentrations, from the smallest volume to the largest.
    pub const CONCENTRATIONS: [Self; 4] = [Self::PerMl, Self::Per10Ml, Self::Per100Ml, Self::PerL];

    /// The basis of counts in this volume \[mL\]; none if no basis has it.
    #[must_use]
    pub fn of_ml(ml: f64) -> Option<Self> {
        Self::CONCENTRATIONS.into_iter().find(|basis| basis.volume_ml() == Some(ml))
    }
}

impl fmt::Display for Basis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::PerMl => "per mL",
            Self::Per10Ml => "per 10 mL",
            Self::Per100Ml => "per 100 mL",
            Self::PerL => "per L",
            Self::Raw => "raw counts",
        })
    }
}

/// The volume whose particles were counted, after dilution \[mL\]: finite and above zero.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct CountedVolume(f64);

impl CountedVolume {
    /// A counted volume of `ml` millilitres.
    ///
    /// # Errors
    /// `volume-not-positive` unless `0 < ml < infinity`; `quantity-out-of-range` unless `1e-9 <= ml <= 1e9`, from a cube of
    /// ten micrometres to a thousand cubic metres: what lies outside is a slip of the unit.
    pub fn from_ml(ml: f64) -> Result<Self> {
        if !(ml.is_finite() && ml > 0.0) {
            return Err(ErrorKind::VolumeNotPositive { ml }.into());
        }
        within("counted volume in mL", ml, 1e-9).map(Self)
    }

    /// The volume \[mL\].
    #[must_use]
    pub const fn ml(self) -> f64 {
        self.0
    }
}

/// `value`, if it lies from `least` to a thousand million.
fn within(quantity: &str, value: f64, least: f64) -> Result<f64> {
    const MOST: f64 = 1e9;
    if (least..=MOST).contains(&value) {
        return Ok(value);
    }
    let range = format!("from {least:e} to {MOST:e}");
    Err(ErrorKind::QuantityOutOfRange { quantity: quantity.into(), value: format!("{value:e}"), range }
        .into())
}

/// Dilution factor: total volume over sample volume \[-\]. 1 is undiluted.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Dilution(f64);

impl Dilution {
    /// Not diluted.
    pub const NONE: Self = Self(1.0);

    /// A dilution by `factor`.
    ///
    /// # Errors
    /// `dilution-below-one` unless `1 <= factor < infinity`; `quantity-out-of-range` above 1e9.
    pub fn new(factor: f64) -> Result<Self> {
        if !(factor.is_finite() && factor >= 1.0) {
            return Err(ErrorKind::DilutionBelowOne { factor }.into());
        }
        within("dilution factor", factor, 1.0).map(Self)
    }

    /// The factor \[-\].
    #[must_use]
    pub const fn factor(self) -> f64 {
        self.0
    }
}

impl Default for Dilution {
    fn default() -> Self {
        Self::NONE
    }
}

/// What a concentration rests on: particles counted, in what volume, of what dilution, in how many runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Evidence {
    /// Particles counted, before any scaling.
    pub raw: u64,
    /// The volume they were counted in, over all runs, after dilution \[mL\].
    pub volume: CountedVolume,
    /// The dilution factor \[-\].
    pub dilution: Dilution,
    /// Number of runs summed.
    pub runs: u32,
}

impl Evidence {
    /// Evidence of a single run.
    #[must_use]
    pub const fn of_run(raw: u64, volume: CountedVolume, dilution: Dilution) -> Self {
        Self { raw, volume, dilution, runs: 1 }
    }

    /// The volume of the sample as drawn that was examined: counted volume over dilution \[mL\].
    #[must_use]
    pub fn examined_ml(&self) -> f64 {
        self.volume.ml() / self.dilution.factor()
    }

    /// The concentration this evidence gives: `dilution * raw / volume`.
    #[must_use]
    pub fn per_ml(&self) -> PerMl {
        PerMl(self.raw as f64 / self.examined_ml())
    }

    /// Runs taken together: counts are summed over the sum of the volumes.
    ///
    /// The dilution of the sum is the one that keeps both the counted and the examined volume right.
    #[must_use]
    pub fn summed(self, other: Self) -> Self {
        let volume = self.volume.ml() + other.volume.ml();
        let examined = self.examined_ml() + other.examined_ml();
        Self {
            raw: self.raw.saturating_add(other.raw),
            volume: CountedVolume(volume),
            dilution: Dilution((volume / examined).max(1.0)),
            runs: self.runs.saturating_add(other.runs),
        }
    }
}

/// What one size of one run says.
///
/// `<1` and `>60000` are bounds, not numbers: they are kept as such and never averaged as if they were counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading {
    /// A concentration.
    Count(PerMl),
    /// Fewer than this concentration.
    Below(PerMl),
    /// More than this concentration.
    Above(PerMl),
    /// Too many to count.
    TooMany,
    /// This size was not counted.
    NotCounted,
}

impl Reading {
    /// The concentration, if it is one.
    #[must_use]
    pub const fn count(self) -> Option<PerMl> {
        match self {
            Self::Count(value) => Some(value),
            _ => None,
        }
    }

    /// The least concentration this reading allows \[particles/mL\]; infinite for too many to count.
    #[must_use]
    pub const fn at_least(self) -> f64 {
        match self {
            Self::Count(value) | Self::Above(value) => value.get(),
            Self::Below(_) | Self::NotCounted => 0.0,
            Self::TooMany => f64::INFINITY,
        }
    }

    /// The greatest concentration this reading allows \[particles/mL\].
    #[must_use]
    pub const fn at_most(self) -> f64 {
        match self {
            Self::Count(value) | Self::Below(value) => value.get(),
            Self::Above(_) | Self::TooMany | Self::NotCounted => f64::INFINITY,
        }
    }

    /// Whether the size was looked at, with whatever outcome.
    #[must_use]
    pub const fn is_counted(self) -> bool {
        !matches!(self, Self::NotCounted)
    }
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count(value) => write!(f, "{value}"),
            Self::Below(value) => write!(f, "<{value}"),
            Self::Above(value) => write!(f, ">{value}"),
            Self::TooMany => f.write_str("too many to count"),
            Self::NotCounted => f.write_str("not counted"),
        }
    }
}

impl Serialize for Reading {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        match self {
            Self::Count(value) => value.serialize(serializer),
            Self::NotCounted => serializer.serialize_none(),
            other => serializer.collect_str(other),
        }
    }
}

/// A whole number of particles.
///
/// # Errors
/// `raw-not-whole` unless `value` is a whole number and `0 <= value <= 2^53`.
pub fn whole_count(value: f64) -> Result<u64> {
    const LARGEST: f64 = 9_007_199_254_740_992.0; // 2^53, the last whole number a double steps by one
    if (0.0..=LARGEST).contains(&value) && value.fract() == 0.0 {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked on the line above
        Ok(value as u64)
    } else {
        Err(Error::from(ErrorKind::RawNotWhole { value }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn evidence(raw: u64, ml: f64, factor: f64) -> Evidence {
        Evidence::of_run(raw, CountedVolume::from_ml(ml).unwrap(), Dilution::new(factor).unwrap())
    }

    #[test]
    fn dilution_scales_the_concentration_not_the_raw_count() {
        let tenfold = evidence(400, 1.0, 20.0);
        assert_eq!(tenfold.per_ml().get(), 8000.0);
        assert_eq!(tenfold.raw, 400);
    }

    #[test]
    fn runs_are_summed_over_summed_volume() {
        let both = evidence(10, 5.0, 1.0).summed(evidence(50, 10.0, 1.0));
        assert_eq!((both.raw, both.volume.ml(), both.runs), (60, 15.0, 2));
        assert_eq!(both.per_ml().get(), 4.0);
    }

    #[test]
    fn runs_of_two_dilutions_keep_the_examined_volume() {
        let both = evidence(100, 10.0, 1.0).summed(evidence(10, 10.0, 10.0));
        assert!((both.per_ml().get() - 10.0).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_cannot_be() {
        assert!(PerMl::new(f64::NAN).is_err());
        assert!(CountedVolume::from_ml(0.0).is_err());
        assert!(Dilution::new(0.5).is_err());
        assert_eq!(CountedVolume::from_ml(1e-300).unwrap_err().code(), "quantity-out-of-range");
        assert_eq!(Dilution::new(1e300).unwrap_err().code(), "quantity-out-of-range");
        assert!(whole_count(1.5).is_err());
        assert!(whole_count(-1.0).is_err());
        assert_eq!(whole_count(19.0).unwrap(), 19);
    }

    #[test]
    fn minus_zero_is_zero() {
        assert!(PerMl::new(-0.0).unwrap().get().is_sign_positive());
    }
}
