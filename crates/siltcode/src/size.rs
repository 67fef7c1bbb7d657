//! Particle size and the scale it is stated in.
//!
//! A micrometre is not a micrometre: `4 um(c)` (automatic counter, calibrated to ISO 11171), `um(b)` (the same with
//! the older reference material), ACFTD (counter calibrated to ISO 4402) and the microscope's longest dimension
//! measure one particle differently. A [`Size`] therefore carries its [`SizeScale`], and sizes of two scales never
//! meet in one series.

use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;

use crate::error::{Error, ErrorKind, Result};
use crate::units::{self, Shortest};

/// What a stated size means.
///
/// Sources: ISO 11171 for um(c) and um(b), ISO 4402 for ACFTD, ISO 4407 for the microscope.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SizeScale {
    /// Automatic counter calibrated to ISO 11171: projected-area equivalent diameter, written um(c).
    UmC,
    /// Automatic counter calibrated to ISO 11171 with the later reference material, written um(b).
    UmB,
    /// Automatic counter calibrated to ISO 4402 with air cleaner fine test dust (before 1999).
    Acftd,
    /// Optical microscope, longest dimension, ISO 4407.
    Microscope,
}

impl SizeScale {
    /// All scales.
    pub const ALL: [Self; 4] = [Self::UmC, Self::UmB, Self::Acftd, Self::Microscope];

    /// The unit as written behind a size: `um(c)`.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::UmC => "um(c)",
            Self::UmB => "um(b)",
            Self::Acftd => "um(acftd)",
            Self::Microscope => "um(microscope)",
        }
    }

    /// The scale in words.
    #[must_use]
    pub const fn describe(self) -> &'static str {
        match self {
            Self::UmC => "automatic counter, ISO 11171",
            Self::UmB => "automatic counter, ISO 11171 with um(b) calibration",
            Self::Acftd => "automatic counter, ISO 4402 (ACFTD)",
            Self::Microscope => "microscope, longest dimension",
        }
    }
}

impl fmt::Display for SizeScale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.unit())
    }
}

impl FromStr for SizeScale {
    type Err = Error;

    /// Reads `um(c)`, `c`, `b`, `acftd`, `microscope` and the common spellings, in any case.
    fn from_str(text: &str) -> Result<Self> {
        let plain = text.trim().to_lowercase().replace(['µ', 'μ'], "u");
        match plain.as_str() {
            "um(c)" | "umc" | "c" | "(c)" => Ok(Self::UmC),
            "um(b)" | "umb" | "b" | "(b)" => Ok(Self::UmB),
            "um(acftd)" | "acftd" | "iso4402" | "iso 4402" => Ok(Self::Acftd),
            "um(microscope)" | "microscope" | "longest" => Ok(Self::Microscope),
            _ => Err(ErrorKind::SizeUnreadable { text: text.trim().into() }.into()),
        }
    }
}

impl serde::Serialize for SizeScale {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.serialize_str(self.unit())
    }
}

/// A particle size with its scale: `4 um(c)`.
///
/// ```
/// use siltcode::{Size, SizeScale};
///
/// let size: Size = "14 um(c)".parse()?;
/// assert_eq!(size.um(), 14.0);
/// assert_eq!(size.scale(), SizeScale::UmC);
/// assert_eq!(size.to_string(), "14 um(c)");
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// Sizes of one scale are ordered by their micrometres; sizes of two scales are not ordered at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    um: f64,
    scale: SizeScale,
}

impl Size {
    /// A size of `um` micrometres in the given scale.
    ///
    /// # Errors
    /// `size-not-positive` unless `0 < um < infinity`.
    pub fn new(um: f64, scale: SizeScale) -> Result<Self> {
        if um.is_finite() && um > 0.0 {
            Ok(Self { um, scale })
        } else {
            Err(ErrorKind::SizeNotPositive { um }.into())
        }
    }

    /// A size in um(c), the scale of automatic counters.
    ///
    /// # Errors
    /// `size-not-positive` unless `0 < um < infinity`.
    pub fn um_c(um: f64) -> Result<Self> {
        Self::new(um, SizeScale::UmC)
    }

    /// The number of micrometres, in this size's own scale \[um\].
    #[must_use]
    pub const fn um(self) -> f64 {
        self.um
    }

    /// The scale.
    #[must_use]
    pub const fn scale(self) -> SizeScale {
        self.scale
    }

    /// Refuses to go on in another scale.
    pub(crate) fn ensure_scale(self, scale: SizeScale) -> Result<()> {
        if self.scale == scale {
            return Ok(());
        }
        Err(ErrorKind::ScalesMixed { left: scale.to_string(), right: self.scale.to_string() }.into())
    }
}

impl Eq for Size {}

impl std::hash::Hash for Size {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.um.to_bits().hash(state);
        self.scale.hash(state);
    }
}

impl PartialOrd for Size {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        if self.scale == other.scale { self.um.partial_cmp(&other.um) } else { None }
    }
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match f.width() {
            None => write!(f, "{} {}", Shortest(self.um), self.scale),
            Some(_) => f.pad(&format!("{} {}", Shortest(self.um), self.scale)),
        }
    }
}

impl FromStr for Size {
    type Err = Error;

    /// Reads a number and a scale. A bare number or `µm` alone does not say its scale and is refused.
    fn from_str(text: &str) -> Result<Self> {
        let trimmed = text.trim();
        let end = units::number_end(trimmed);
        let unreadable = || Error::from(ErrorKind::SizeUnreadable { text: trimmed.into() });
        let um = trimmed[..end].parse().map_err(|_| unreadable())?;
        let scale = trimmed[end..].parse().map_err(|_| unreadable())?;
        Self::new(um, scale)
    }
}

impl serde::Serialize for Size {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_printed_reads_back() {
        for um in [4.0, 0.5, 7.777e19, 5e-324, f64::MAX] {
            let size = Size::um_c(um).unwrap();
            assert_eq!(size.to_string().parse::<Size>().unwrap(), size, "{size}");
        }
        for text in ["4e um(c)", "4e- um(c)", "e4 um(c)", "4e5", "µ"] {
            assert!(text.parse::<Size>().is_err(), "{text}");
        }
    }

    #[test]
    fn sizes_of_two_scales_are_not_ordered() {
        let counter = Size::um_c(4.0).unwrap();
        let microscope = Size::new(5.0, SizeScale::Microscope).unwrap();
        assert_eq!(counter.partial_cmp(&microscope), None);
        assert!(counter < Size::um_c(6.0).unwrap());
    }

    #[test]
    fn reads_its_own_print() {
        for scale in SizeScale::ALL {
            let size = Size::new(4.5, scale).unwrap();
            assert_eq!(size.to_string().parse::<Size>().unwrap(), size);
        }
    }

    #[test]
    fn a_bare_number_has_no_scale() {
        for text in ["4", "4 µm", "", "um(c)", "-4 um(c)", "0 um(c)", "4 um(x)", "µ", "NaN um(c)"] {
            assert!(text.parse::<Size>().is_err(), "{text}");
        }
    }
}
