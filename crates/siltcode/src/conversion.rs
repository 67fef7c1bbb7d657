//! From one size scale to another: an explicit call, recorded in its result.
//!
//! um(c) and ACFTD are converted by the published pairs of sizes, in a straight line between two of them and never
//! beyond the table (no source says how to read between its rows; the straight line is a choice). um(b) and um(c)
//! differ by a factor that is from memory, and the result says so. For the microscope's longest dimension there is no
//! published conversion, so there is none here: count again, or class by a system that has sizes in both scales.
//!
//! A conversion changes the sizes, not the counts: 5 um ACFTD become 6.4 um(c), not 6.

use std::fmt;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};
use crate::spectrum::{Channel, Spectrum};
use crate::status::Status;
use crate::table;

#[derive(Deserialize)]
struct Pair {
    /// A number, or `<1.0` as one source prints it.
    acftd_um: String,
    iso11171_um_c: f64,
    #[serde(rename = "use")]
    used: String,
}

#[derive(Deserialize)]
struct Factor {
    factor: f64,
}

/// Sizes in ACFTD and um(c), rising.
static PAIRS: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    let pairs = table::rows::<Pair>(&siltcode_tables::SIZE_SCALES);
    let default = pairs.iter().filter(|pair| pair.used == "default");
    let mut pairs: Vec<(f64, f64)> =
        default.filter_map(|pair| Some((pair.acftd_um.parse().ok()?, pair.iso11171_um_c))).collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    pairs
});

/// um(c) over um(b).
static UMC_PER_UMB: LazyLock<Option<f64>> =
    LazyLock::new(|| table::rows::<Factor>(&siltcode_tables::UMB).first().map(|row| row.factor));

/// What was converted, and by what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Conversion {
    /// The scale before.
    pub from: SizeScale,
    /// The scale after.
    pub to: SizeScale,
    /// By what, in words.
    pub by: &'static str,
    /// How that is known.
    pub status: Status,
}

impl fmt::Display for Conversion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("sizes converted from {} to {} by {} ({})", self.from, self.to, self.by, self.status))
    }
}

/// A spectrum in another scale, with the record of how it got there.
#[derive(Debug, Clone, PartialEq)]
pub struct Converted {
    /// The spectrum.
    pub spectrum: Spectrum,
    /// The record; none if the scale was the wanted one already.
    pub conversion: Option<Conversion>,
}

impl Size {
    /// This size in another scale.
    ///
    /// ```
    /// use siltcode::{Size, SizeScale};
    ///
    /// let old = Size::new(15.0, SizeScale::Acftd)?;
    /// assert_eq!(old.converted(SizeScale::UmC)?.to_string(), "13.6 um(c)");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `conversion-unknown` unless both scales are um(c), um(b) or ACFTD, and `conversion-outside` unless the size lies
    /// within the published pairs (0.8 to 100 um ACFTD).
    pub fn converted(self, to: SizeScale) -> Result<Self> {
        let um = match (self.scale(), to) {
            (from, to) if from == to => return Ok(self),
            (SizeScale::UmB, _) => self.um() * umc_per_umb()?,
            (SizeScale::Acftd, _) => along(self, &PAIRS, |pair| *pair)?,
            (SizeScale::UmC, _) => self.um(),
            (SizeScale::Microscope, _) => return Err(unknown(self.scale(), to)),
        };
        let umc = Self::um_c(um)?;
        match to {
            SizeScale::UmC => Ok(umc),
            SizeScale::UmB => Self::new(um / umc_per_umb()?, to),
            SizeScale::Acftd => Self::new(along(umc, &PAIRS, |(acftd, umc)| (*umc, *acftd))?, to),
            SizeScale::Microscope => Err(unknown(self.scale(), to)),
        }
    }
}

impl Spectrum {
    /// The same counts with their sizes in another scale.
    ///
    /// # Errors
    /// Those of [`Size::converted`].
    pub fn converted(&self, to: SizeScale) -> Result<Converted> {
        let conversion = Conversion::of_scales(self.scale(), to)?;
        let channels = self
            .channels()
            .iter()
            .map(|channel| Ok(Channel { size: channel.size.converted(to)?, ..*channel }));
        let spectrum = Self::cumulative(channels.collect::<Result<_>>()?)?;
        Ok(Converted { spectrum, conversion })
    }
}

impl Conversion {
    /// What converts one scale to another; none where they are the same.
    pub(crate) fn of_scales(from: SizeScale, to: SizeScale) -> Result<Option<Self>> {
        let is = |scale| from == scale || to == scale;
        match (from == to, is(SizeScale::Microscope), is(SizeScale::UmB)) {
            (true, ..) => Ok(None),
            (_, true, _) => Err(unknown(from, to)),
            (.., true) => {
                let by = "the factor between um(b) and um(c), recalled and not read";
                Ok(Some(Self { from, to, by, status: Status::Memory }))
            }
            _ => {
                let by = "the published pairs of sizes, straight between them";
                Ok(Some(Self { from, to, by, status: Status::Read }))
            }
        }
    }
}

fn umc_per_umb() -> Result<f64> {
    UMC_PER_UMB.ok_or_else(|| unknown(SizeScale::UmB, SizeScale::UmC))
}

fn unknown(from: SizeScale, to: SizeScale) -> crate::error::Error {
    ErrorKind::ConversionUnknown { from: from.to_string(), to: to.to_string() }.into()
}

/// A size read along pairs, in a straight line between two of them.
fn along(size: Size, pairs: &[(f64, f64)], order: impl Fn(&(f64, f64)) -> (f64, f64)) -> Result<f64> {
    let um = size.um();
    for pair in pairs.windows(2) {
        let ((x0, y0), (x1, y1)) = (order(&pair[0]), order(&pair[1]));
        if (x0..=x1).contains(&um) {
            let share = (um - x0) / (x1 - x0);
            return Ok(if share < 1.0 { y0 + (y1 - y0) * share } else { y1 });
        }
    }
    let ends = [pairs.first(), pairs.last()].map(|pair| pair.map_or(0.0, |pair| order(pair).0));
    Err(ErrorKind::ConversionOutside { size: size.to_string(), from_um: ends[0], to_um: ends[1] }.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_pairs_convert_both_ways() {
        for &(acftd, umc) in PAIRS.iter() {
            let old = Size::new(acftd, SizeScale::Acftd).unwrap();
            assert_eq!(old.converted(SizeScale::UmC).unwrap().um(), umc);
            assert_eq!(Size::um_c(umc).unwrap().converted(SizeScale::Acftd).unwrap().um(), acftd);
        }
    }

    #[test]
    fn nothing_is_read_beyond_the_table() {
        let code = |size: Size, to| size.converted(to).unwrap_err().code();
        assert_eq!(code(Size::new(0.5, SizeScale::Acftd).unwrap(), SizeScale::UmC), "conversion-outside");
        assert_eq!(code(Size::um_c(71.0).unwrap(), SizeScale::Acftd), "conversion-outside");
        assert_eq!(code(Size::um_c(6.0).unwrap(), SizeScale::Microscope), "conversion-unknown");
    }

    #[test]
    fn the_factor_from_memory_says_so() {
        let spectrum = Spectrum::from_per_ml(&[(4.0, 10.0)]).unwrap();
        let converted = spectrum.converted(SizeScale::UmB).unwrap();
        assert_eq!(converted.conversion.unwrap().status, Status::Memory);
        assert!((converted.spectrum.channels()[0].size.um() - 4.454).abs() < 1e-3);
    }
}
