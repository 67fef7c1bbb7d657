//! The two laws of a spectrum, through two points in um(c).

use pyo3::prelude::*;
use siltcode::count::whole_count;
use siltcode::spectrum::{Curve, Law, PowerDensity};
use siltcode::{PerMl, Size, SizeScale};

use crate::error::Result;
use crate::given::Given;
use crate::plain;

/// A size and the particles at and above it \[um, particles/mL\].
type Point = (Given<Size>, Given<PerMl>);

fn curve(law: &str, small: Point, large: Point) -> siltcode::Result<Curve> {
    Curve::through(plain::law(law)?, (small.0.0, small.1.0), (large.0.0, large.1.0))
}

/// The slope of a law.
#[pyfunction]
pub(crate) fn law_slope(law: &str, small: Point, large: Point) -> Result<f64> {
    Ok(curve(law, small, large)?.slope())
}

/// What a law says at a size \[particles/mL\].
#[pyfunction]
pub(crate) fn law_at(law: &str, small: Point, large: Point, size: Given<Size>) -> Result<f64> {
    Ok(curve(law, small, large)?.at(size.0)?.get())
}

/// How far a size lies beyond the larger of two, in steps from one to the other along the law's axis.
#[pyfunction]
pub(crate) fn law_weight(
    law: &str,
    small: Given<Size>,
    large: Given<Size>,
    size: Given<Size>,
) -> Result<f64> {
    Ok(plain::law(law)?.weight(small.0, large.0, size.0)?)
}

/// The standard deviation of ln N at a size, from the particles counted at two sizes.
#[pyfunction]
pub(crate) fn counting_deviation(
    law: &str,
    small: (Given<Size>, f64),
    large: (Given<Size>, f64),
    size: Given<Size>,
) -> Result<f64> {
    let counted = |(size, raw): (Given<Size>, f64)| Ok::<_, siltcode::Error>((size.0, whole_count(raw)?));
    let law: Law = plain::law(law)?;
    Ok(law.counting_deviation(counted(small)?, counted(large)?, size.0)?)
}

/// The particles at and above a size of a power law that is stated by its density \[particles/mL\].
#[pyfunction]
pub(crate) fn power_density(at_1_um: f64, slope: f64, size: Given<Size>) -> Result<f64> {
    Ok(PowerDensity { at_1_um, slope }.cumulative(SizeScale::UmC)?.at(size.0)?.get())
}
