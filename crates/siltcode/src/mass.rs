//! What the particles of a sample weigh: an interval, with the assumptions it rests on.
//!
//! A particle of size `d` and density `rho` weighs `F rho pi/6 d^3`, with `F` the share it fills of the sphere of its
//! size; over a spectrum that is `F rho pi/6` times the integral of `d^3 dN`. Nothing of it was measured but the counts,
//! so density, shape and the largest size are each given as least and most, and both laws of the spectrum take part.
//!
//! Use it to judge how an element loads up, not in place of a weighed filter. Few large particles weigh as much as all
//! others: counts up to 14 um leave a factor of two to the largest size alone. Particles below the smallest counted size
//! are not in it. Test dust of known mass comes out twice as heavy as it is when its grains are taken for spheres of
//! their projected area: a shape of 1 is an upper end.
//!
//! ```
//! use siltcode::mass::MassAssumptions;
//! use siltcode::units::Density;
//! use siltcode::{Size, Spectrum};
//!
//! let spectrum = Spectrum::from_per_ml(&[(4.0, 2000.0), (6.0, 500.0), (14.0, 40.0)])?;
//! let density = Density::from_kg_per_litre(2.65)?;
//! let assumed = MassAssumptions {
//!     density: (density, density),
//!     shape: (0.5, 1.0),
//!     largest: (Size::um_c(30.0)?, Size::um_c(70.0)?),
//! };
//! let mass = spectrum.mass(assumed)?;
//! let (least, most) = mass.spread();
//! assert_eq!(format!("{least} to {most}"), "0.478262 mg/L to 1.34999 mg/L");
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::f64::consts::FRAC_PI_6;

use serde::Serialize;

use crate::certainty::quadrature::integral;
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::size::Size;
use crate::spectrum::{Curve, Law, Spectrum};
use crate::table::constant;
use crate::units::{Density, MassConcentration};

/// Relative error of an integral over a bin.
const RELATIVE_ERROR: f64 = 1e-12;

/// What a mass estimate takes for granted, each as least and most.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MassAssumptions {
    /// Density of the particles.
    pub density: (Density, Density),
    /// Volume of a particle over that of the sphere of its size \[-\]; 1 for spheres.
    pub shape: (f64, f64),
    /// Size of the largest particle.
    pub largest: (Size, Size),
}

/// The mass of the particles between two sizes, as least and most under each law.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MassBin {
    /// The smaller size.
    pub from: Size,
    /// The larger size; none above the largest counted size, where the law of the last two sizes is carried on up to
    /// the assumed largest particle.
    pub to: Option<Size>,
    /// By the power law.
    pub power: (MassConcentration, MassConcentration),
    /// By the log-log2 law.
    pub log_log2: (MassConcentration, MassConcentration),
}

/// The mass of the particles of a sample.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MassEstimate {
    /// Size by size, smallest first.
    pub bins: Vec<MassBin>,
    /// What it takes for granted.
    pub assumed: MassAssumptions,
    total: [(MassConcentration, MassConcentration); 2],
}

impl MassAssumptions {
    /// Spheres of one density, none larger than a size.
    #[must_use]
    pub const fn spheres(density: Density, largest: Size) -> Self {
        Self { density: (density, density), shape: (1.0, 1.0), largest: (largest, largest) }
    }

    /// Spheres of the density of test dust, none larger than the largest size that is usually counted, or the largest
    /// that was, where that is larger. Both stand in the table of constants: what a plan assumes where nothing is said.
    ///
    /// ```
    /// use siltcode::{Size, mass::MassAssumptions};
    ///
    /// let assumed = MassAssumptions::of_test_dust(Size::um_c(14.0)?)?;
    /// assert_eq!(assumed.density.1.kg_per_m3(), 2650.0);
    /// assert_eq!(assumed.largest.1.um(), 70.0);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// None: the table holds usable values.
    pub fn of_test_dust(counted_to: Size) -> Result<Self> {
        let density = Density::from_kg_per_m3(constant("test-dust-density"))?;
        let usual = Size::new(constant("largest-counted-size"), counted_to.scale())?;
        Ok(Self::spheres(density, if counted_to.um() > usual.um() { counted_to } else { usual }))
    }

    fn ensure_usable(&self, counted_to: Size) -> Result<()> {
        let unusable = |quantity: &str, value: String, range: String| {
            Err(ErrorKind::QuantityOutOfRange { quantity: quantity.into(), value, range }.into())
        };
        let (least, most) = self.density;
        if least > most {
            return unusable("density", format!("{least} to {most}"), "rising".into());
        }
        let (least, most) = self.shape;
        if !(least > 0.0 && least <= most && most.is_finite()) {
            return unusable("shape", format!("{least} to {most}"), "above 0, finite and rising".into());
        }
        let (least, most) = self.largest;
        if counted_to <= least && least <= most {
            return Ok(());
        }
        unusable("largest size", format!("{least} to {most}"), format!("{counted_to} or more and rising"))
    }

    /// The mass of what fills this much in spheres \[um3/mL\].
    fn mass(&self, spheres: (f64, f64)) -> Result<(MassConcentration, MassConcentration)> {
        let least = mass(spheres.0 * self.shape.0, self.density.0)?;
        Ok((least, mass(spheres.1 * self.shape.1, self.density.1)?))
    }
}

impl MassEstimate {
    /// What a law says, as least and most.
    #[must_use]
    pub const fn under(&self, law: Law) -> (MassConcentration, MassConcentration) {
        match law {
            Law::Power => self.total[0],
            Law::LogLog2 => self.total[1],
        }
    }

    /// The least and the most of both laws.
    #[must_use]
    pub fn spread(&self) -> (MassConcentration, MassConcentration) {
        let [one, other] = self.total;
        (if one.0 < other.0 { one.0 } else { other.0 }, if one.1 > other.1 { one.1 } else { other.1 })
    }
}

impl Spectrum {
    /// The mass of the particles from the smallest counted size up.
    ///
    /// Only plain counts take part, as in [`bins`](Self::bins). Where no law can be drawn (nothing counted at the
    /// larger size, one size only) the particles of a bin weigh at least as if all had its smaller size, and at most as
    /// if all had its larger size.
    ///
    /// # Errors
    /// `nothing-counted` without a plain count, and `quantity-out-of-range` unless `density`, `shape` and `largest`
    /// rise, `shape` is above 0 and finite, and `largest` has the spectrum's scale and at least its largest size.
    pub fn mass(&self, assumed: MassAssumptions) -> Result<MassEstimate> {
        let points: Vec<Point> =
            self.channels().iter().filter_map(|c| Some((c.size, c.reading.count()?))).collect();
        let last = points.last().ok_or(ErrorKind::NothingCounted {})?;
        assumed.ensure_usable(last.0)?;
        let mut bins = Vec::with_capacity(points.len());
        let mut spheres = [(0.0, 0.0); 2];
        for i in 0..points.len() {
            let of_bin = Law::BOTH.map(|law| bin_spheres(law, &points, i, assumed.largest));
            for (sum, bin) in spheres.iter_mut().zip(of_bin) {
                *sum = (sum.0 + bin.0, sum.1 + bin.1);
            }
            let [power, log_log2] = of_bin.map(|spheres| assumed.mass(spheres));
            let to = points.get(i + 1).map(|point| point.0);
            bins.push(MassBin { from: points[i].0, to, power: power?, log_log2: log_log2? });
        }
        let [power, log_log2] = spheres.map(|spheres| assumed.mass(spheres));
        Ok(MassEstimate { bins, assumed, total: [power?, log_log2?] })
    }
}

/// The mass of spheres of one size.
///
/// ```
/// use siltcode::mass::mass_of_spheres;
/// use siltcode::units::Density;
/// use siltcode::{PerMl, Size};
///
/// let mass = mass_of_spheres(PerMl::new(1000.0)?, Size::um_c(10.0)?, Density::from_kg_per_litre(2.65)?)?;
/// assert_eq!(mass.to_string(), "1.38754 mg/L");
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// # Errors
/// `quantity-out-of-range` where the product leaves the range of a double.
pub fn mass_of_spheres(count: PerMl, size: Size, density: Density) -> Result<MassConcentration> {
    mass(count.get() * cube(size), density)
}

/// A size with the particles at and above it.
type Point = (Size, PerMl);

/// What the particles of a bin fill, as cubes of their sizes \[um3/mL\], least and most.
fn bin_spheres(law: Law, points: &[Point], i: usize, largest: (Size, Size)) -> (f64, f64) {
    let (from, to) = (points[i], points.get(i + 1));
    let particles = from.1.get() - to.map_or(0.0, |to| to.1.get());
    let ends = to.map_or(largest, |to| (to.0, to.0));
    let curve = match to {
        Some(to) => Curve::through(law, from, *to).ok(),
        None => i.checked_sub(1).and_then(|below| Curve::through(law, points[below], from).ok()),
    };
    match curve {
        _ if particles <= 0.0 => (0.0, 0.0),
        Some(curve) if curve.slope() > 0.0 => (cubes(&curve, from, ends.0), cubes(&curve, from, ends.1)),
        _ => (particles * cube(from.0), particles * cube(ends.1)),
    }
}

/// The integral of `d^3 dN` under a law that goes through a point, from there to a size \[um3/mL\].
fn cubes(curve: &Curve, (from, per_ml): Point, to: Size) -> f64 {
    let (x, slope) = (from.um().ln(), curve.slope());
    // At e^y times the size: how steeply ln N falls there, and how far it has fallen.
    let falling = |y: f64| match curve.law() {
        Law::Power => (slope, slope * y),
        Law::LogLog2 => (2.0 * slope * (x + y), slope * y * (2.0 * x + y)),
    };
    let density = |y: f64| {
        let (steep, fallen) = falling(y);
        steep * (3.0 * y - fallen).exp()
    };
    let run = (to.um() / from.um()).ln();
    let rough = integral(density, &mut [0.0, run], f64::INFINITY);
    per_ml.get() * cube(from) * integral(density, &mut [0.0, run], rough * RELATIVE_ERROR)
}

fn cube(size: Size) -> f64 {
    size.um().powi(3)
}

/// The mass of spheres whose sizes cubed sum up to this \[um3/mL\].
fn mass(cubes: f64, density: Density) -> Result<MassConcentration> {
    MassConcentration::from_mg_per_litre(1e-6 * density.kg_per_litre() * FRAC_PI_6 * cubes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quartz() -> Density {
        Density::from_kg_per_litre(2.65).unwrap()
    }

    fn spheres(counts: &[(f64, f64)], largest: f64) -> Result<MassEstimate> {
        let assumed = MassAssumptions::spheres(quartz(), Size::um_c(largest).unwrap());
        Spectrum::from_per_ml(counts).unwrap().mass(assumed)
    }

    #[test]
    fn both_laws_agree_with_a_sum_over_thin_slices() {
        let counts = [(4.0, 2000.0), (6.0, 500.0), (14.0, 40.0)];
        let estimate = spheres(&counts, 70.0).unwrap();
        for law in Law::BOTH {
            let point = |i: usize| (Size::um_c(counts[i].0).unwrap(), PerMl::new(counts[i].1).unwrap());
            let sum = [(0, 1, 6.0), (1, 2, 14.0), (1, 2, 70.0)].map(|(small, large, to)| {
                let curve = Curve::through(law, point(small), point(large)).unwrap();
                let from = if to > 14.0 { 14.0 } else { counts[small].0 };
                let step = (to / from).powf(1.0 / 20_000.0);
                let slice = |k: i32| {
                    let (low, high) = (from * step.powi(k), from * step.powi(k + 1));
                    let at = |um| curve.at(Size::um_c(um).unwrap()).unwrap().get();
                    (at(low) - at(high)) * (low * high).powf(1.5)
                };
                (0..20_000).map(slice).sum::<f64>()
            });
            let expected = mass(sum.iter().sum(), quartz()).unwrap().mg_per_litre();
            let found = estimate.under(law).0.mg_per_litre();
            assert!((found / expected - 1.0).abs() < 1e-6, "{law:?}: {found} and {expected}");
        }
    }

    #[test]
    fn where_no_law_can_be_drawn_the_sizes_are_the_bounds() {
        let of = |um: f64, count: f64| {
            mass_of_spheres(PerMl::new(count).unwrap(), Size::um_c(um).unwrap(), quartz()).unwrap()
        };
        let one_size = spheres(&[(6.0, 500.0)], 30.0).unwrap();
        assert_eq!(one_size.spread(), (of(6.0, 500.0), of(30.0, 500.0)));
        let none_above = spheres(&[(6.0, 500.0), (14.0, 0.0)], 30.0).unwrap();
        assert_eq!(none_above.spread(), (of(6.0, 500.0), of(14.0, 500.0)));
        let level = spheres(&[(6.0, 5.0), (14.0, 5.0)], 30.0).unwrap();
        assert_eq!(level.spread(), (of(14.0, 5.0), of(30.0, 5.0)));
    }

    #[test]
    fn assumptions_that_cannot_be_are_refused() {
        assert_eq!(spheres(&[(14.0, 5.0)], 10.0).unwrap_err().code(), "quantity-out-of-range");
        let spectrum = Spectrum::from_per_ml(&[(14.0, 5.0)]).unwrap();
        let usable = MassAssumptions::spheres(quartz(), Size::um_c(70.0).unwrap());
        let old = Size::new(70.0, crate::SizeScale::Acftd).unwrap();
        for assumed in [
            MassAssumptions { shape: (0.0, 1.0), ..usable },
            MassAssumptions { shape: (1.0, f64::NAN), ..usable },
            MassAssumptions { shape: (1.0, 0.5), ..usable },
            MassAssumptions { largest: (old, old), ..usable },
            MassAssumptions { density: (quartz(), Density::from_kg_per_litre(1.0).unwrap()), ..usable },
        ] {
            assert_eq!(spectrum.mass(assumed).unwrap_err().code(), "quantity-out-of-range");
        }
    }
}
