//! Two laws that a spectrum may follow between its sizes, and what they say there.
//!
//! With `N` particles of at least size `d`:
//!
//! - power law: `N = T d^-S`, a straight line of `ln N` over `ln d`;
//! - log-log2 law: `ln N = a - b (ln d)^2`, the straight line of the ISO 4406 graph paper (the form is recalled, not
//!   read). It holds for `d` in micrometres only, from 1 um up.
//!
//! Both fit mineral dust with one peak. Behind a fine filter the large end is cut off and both read too high there.
//! Between two counted sizes they differ by little, and the difference is returned with the answer; beyond them they
//! soon differ several times over, so nothing here reads a spectrum outside its sizes. A [`Curve`] can be asked for any
//! size, and whoever asks it beyond its two sizes extrapolates: good for a picture, never for a class.

use serde::Serialize;

use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};
use crate::spectrum::{Channel, Spectrum};

/// The form of a spectrum between two sizes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Law {
    /// `N = T d^-S`.
    Power,
    /// `ln N = a - b (ln d)^2`, `d` in um and at least 1.
    LogLog2,
}

/// One law through two points.
///
/// ```
/// use siltcode::spectrum::{Curve, Law};
/// use siltcode::{PerMl, Size};
///
/// let small = (Size::um_c(6.0)?, PerMl::new(500.0)?);
/// let large = (Size::um_c(14.0)?, PerMl::new(40.0)?);
/// let at_10 = |law| Curve::through(law, small, large)?.at(Size::um_c(10.0)?);
/// assert_eq!(format!("{:.1}", at_10(Law::Power)?), "109.1");
/// assert_eq!(format!("{:.1}", at_10(Law::LogLog2)?), "122.4");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    law: Law,
    anchor: Size,
    at_anchor: PerMl,
    slope: f64,
}

impl Law {
    /// Both laws.
    pub const BOTH: [Self; 2] = [Self::Power, Self::LogLog2];

    /// What the law is straight over.
    fn abscissa(self, um: f64) -> f64 {
        match self {
            Self::Power => um.ln(),
            Self::LogLog2 => um.ln().powi(2),
        }
    }

    fn ensure_holds_at(self, size: Size) -> Result<()> {
        if self == Self::LogLog2 && size.um() < 1.0 {
            return Err(undefined("the log-log2 law holds from 1 um up", size.to_string()));
        }
        Ok(())
    }

    /// How far `at` lies beyond `large`, in steps from `small` to `large` along the law's own axis \[-\]: above 0
    /// beyond it, between -1 and 0 between the two.
    ///
    /// # Errors
    /// `law-undefined` unless the two sizes differ and, for the log-log2 law, all are at least 1 um; `scales-mixed`.
    pub fn weight(self, small: Size, large: Size, at: Size) -> Result<f64> {
        for size in [small, large, at] {
            self.ensure_holds_at(size)?;
            ensure_one_scale(small, size)?;
        }
        let [small_x, large_x, at_x] = [small, large, at].map(|size| self.abscissa(size.um()));
        if small_x.total_cmp(&large_x).is_eq() {
            return Err(undefined("a law goes through two different sizes", small.to_string()));
        }
        Ok((at_x - large_x) / (large_x - small_x))
    }

    /// Standard deviation of `ln N` at a size, from the particles counted at two sizes of one counted volume \[-\].
    ///
    /// Counts are Poisson, and the two are nested: each particle counted at the larger size is counted at the smaller
    /// too. By the delta method, with weight `w`, `(w/k1)^2 (k1-k2) + ((1+w)/k2 - w/k1)^2 k2`. One code step is
    /// about `ln 2`.
    ///
    /// # Errors
    /// As [`weight`](Self::weight), and `law-undefined` unless `small >= large >= 1` particles.
    pub fn counting_deviation(self, small: (Size, u64), large: (Size, u64), at: Size) -> Result<f64> {
        let w = self.weight(small.0, large.0, at)?;
        if large.1 == 0 || large.1 > small.1 {
            let counts = format!("{} and {} counted", small.1, large.1);
            return Err(undefined("a law needs particles at both sizes, fewer at the larger", counts));
        }
        let (k1, k2) = (small.1 as f64, large.1 as f64);
        let (only_small, both) = (w / k1, (1.0 + w) / k2 - w / k1);
        Ok((only_small.powi(2) * (k1 - k2) + both.powi(2) * k2).sqrt())
    }
}

impl Curve {
    /// The law through two points.
    ///
    /// # Errors
    /// `law-undefined` unless the sizes differ, both counts are above 0 and the log-log2 law is asked for sizes of at
    /// least 1 um; `scales-mixed`.
    pub fn through(law: Law, small: (Size, PerMl), large: (Size, PerMl)) -> Result<Self> {
        law.weight(small.0, large.0, small.0)?;
        if small.1 == PerMl::ZERO || large.1 == PerMl::ZERO {
            return Err(undefined("a law needs particles at both sizes", "0 per mL".into()));
        }
        let run = law.abscissa(large.0.um()) - law.abscissa(small.0.um());
        let slope = (small.1.get() / large.1.get()).ln() / run;
        Ok(Self { law, anchor: large.0, at_anchor: large.1, slope })
    }

    /// The law.
    #[must_use]
    pub const fn law(&self) -> Law {
        self.law
    }

    /// The slope: `S` of the power law, `b` of the log-log2 law \[-\].
    #[must_use]
    pub const fn slope(&self) -> f64 {
        self.slope
    }

    /// Particles of at least this size. Beyond the two points this is extrapolation.
    ///
    /// # Errors
    /// `law-undefined` below 1 um for the log-log2 law, `scales-mixed`, and `count-not-finite` where the result leaves
    /// the range of a double.
    pub fn at(&self, size: Size) -> Result<PerMl> {
        self.law.ensure_holds_at(size)?;
        ensure_one_scale(self.anchor, size)?;
        let run = self.law.abscissa(size.um()) - self.law.abscissa(self.anchor.um());
        PerMl::new(self.at_anchor.get() * (-self.slope * run).exp())
    }
}

/// A power law stated by its density: `n(d) = t d^-s` particles per mL and um of size (READ: tpdsci.com, `PsdPwLwAlt`).
///
/// ```
/// use siltcode::spectrum::PowerDensity;
/// use siltcode::{Size, SizeScale};
///
/// let curve = PowerDensity { at_1_um: 100_000.0, slope: 4.2 }.cumulative(SizeScale::UmC)?;
/// assert_eq!(format!("{:.2}", curve.at(Size::um_c(6.0)?)?), "101.10");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerDensity {
    /// The density at 1 um, `t` \[particles/mL/um\].
    pub at_1_um: f64,
    /// The slope of the density, `s` \[-\].
    pub slope: f64,
}

impl PowerDensity {
    /// The cumulative curve, `N(d) = t/(s-1) d^-(s-1)`.
    ///
    /// # Errors
    /// `law-undefined` unless `1 < slope < infinity`, and `count-not-finite` unless `0 <= at_1_um < infinity`.
    pub fn cumulative(self, scale: SizeScale) -> Result<Curve> {
        if !(self.slope > 1.0 && self.slope.is_finite()) {
            return Err(undefined("the slope of a density is above 1", self.slope.to_string()));
        }
        let slope = self.slope - 1.0;
        let at_anchor = PerMl::new(self.at_1_um / slope)?;
        Ok(Curve { law: Law::Power, anchor: Size::new(1.0, scale)?, at_anchor, slope })
    }
}

/// A count read between two counted sizes.
///
/// The two laws are the answer and its spread. Where a law cannot be drawn (nothing counted at the larger size, sizes
/// below 1 um) only the counts on both sides are known, and the answer lies between them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interpolated {
    /// The size asked for.
    pub size: Size,
    /// By the power law.
    pub power: Option<PerMl>,
    /// By the log-log2 law.
    pub log_log2: Option<PerMl>,
    /// Counted at the next smaller size.
    pub at_most: PerMl,
    /// Counted at the next larger size.
    pub at_least: PerMl,
}

impl Interpolated {
    /// What a law says, as least and most: one value, or the counts on both sides where the law cannot be drawn.
    #[must_use]
    pub fn under(&self, law: Law) -> (PerMl, PerMl) {
        let value = match law {
            Law::Power => self.power,
            Law::LogLog2 => self.log_log2,
        };
        value.map_or((self.at_least, self.at_most), |value| (value, value))
    }

    /// The least and the most of both laws.
    #[must_use]
    pub fn spread(&self) -> (PerMl, PerMl) {
        let [one, other] = Law::BOTH.map(|law| self.under(law));
        (one.0.min(other.0), one.1.max(other.1))
    }
}

impl Spectrum {
    /// The count at a size between two counted ones, by both laws; none at or outside the ends of what was counted.
    ///
    /// Only plain counts take part, as in [`bins`](Self::bins).
    ///
    /// ```
    /// use siltcode::{Size, Spectrum};
    ///
    /// let spectrum = Spectrum::from_per_ml(&[(6.0, 500.0), (14.0, 40.0)])?;
    /// let (least, most) = spectrum.between(Size::um_c(10.0)?).unwrap().spread();
    /// assert_eq!(format!("{least:.0} to {most:.0}"), "109 to 122");
    /// assert!(spectrum.between(Size::um_c(21.0)?).is_none());
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn between(&self, size: Size) -> Option<Interpolated> {
        let point = |channel: &Channel| Some((channel.size, channel.reading.count()?));
        let small = self.channels().iter().filter(|c| c.size < size).filter_map(point).next_back()?;
        let large = self.channels().iter().filter(|c| c.size > size).find_map(point)?;
        let value = |law| {
            let value = Curve::through(law, small, large).ok()?.at(size).ok()?;
            Some(value.clamp(large.1, small.1))
        };
        let (power, log_log2) = (value(Law::Power), value(Law::LogLog2));
        Some(Interpolated { size, power, log_log2, at_most: small.1, at_least: large.1 })
    }
}

fn undefined(needs: &str, found: String) -> crate::error::Error {
    ErrorKind::LawUndefined { needs: needs.into(), found }.into()
}

fn ensure_one_scale(one: Size, other: Size) -> Result<()> {
    if one.scale() == other.scale() {
        return Ok(());
    }
    Err(ErrorKind::ScalesMixed { left: one.scale().to_string(), right: other.scale().to_string() }.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_at_the_larger_size_leaves_the_counts_on_both_sides() {
        let spectrum = Spectrum::from_per_ml(&[(4.0, 3.0), (14.0, 0.0)]).unwrap();
        let between = spectrum.between(Size::um_c(6.0).unwrap()).unwrap();
        assert_eq!((between.power, between.log_log2), (None, None));
        assert_eq!(between.spread(), (PerMl::ZERO, PerMl::new(3.0).unwrap()));
    }

    #[test]
    fn no_law_is_drawn_where_it_does_not_hold() {
        let size = |um| Size::um_c(um).unwrap();
        let one = PerMl::new(1.0).unwrap();
        for (law, small, large) in [
            (Law::LogLog2, (size(0.5), one), (size(2.0), one)),
            (Law::Power, (size(4.0), one), (size(4.0), one)),
            (Law::Power, (size(4.0), one), (size(6.0), PerMl::ZERO)),
        ] {
            assert_eq!(Curve::through(law, small, large).unwrap_err().code(), "law-undefined");
        }
        let microscope = Size::new(15.0, SizeScale::Microscope).unwrap();
        assert_eq!(Law::Power.weight(size(4.0), size(6.0), microscope).unwrap_err().code(), "scales-mixed");
        assert!(Law::Power.counting_deviation((size(4.0), 5), (size(6.0), 9), size(10.0)).is_err());
    }
}
