//! What a differential pressure is at another flow, viscosity and density.
//!
//! `dP = a mu Q + b rho Q^2`: through the medium the flow is laminar, through ports and housing it is not. With
//! `mu = nu rho` the density is a factor of both parts, `dP = rho (a nu Q + b Q^2)`. How the two share the pressure is
//! seldom known; without a word on it all of it is taken for laminar, which reads low where the flow has to be scaled up.
//!
//! ```
//! use siltcode::filter::{Conditions, Laminar, Share};
//! use siltcode::units::{Flow, Pressure};
//!
//! let (read, rated) = (Conditions::of(Flow::from_us_gpm(150.0)?), Conditions::of(Flow::from_us_gpm(300.0)?));
//! let reading = Pressure::from_psi(8.0)?;
//! assert_eq!(Laminar::Throughout.to_rated(reading, &read, &rated)?.us(), "16 psi");
//! assert_eq!(Laminar::AtReading(Share::new(0.7)?).to_rated(reading, &read, &rated)?.us(), "20.8 psi");
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::fmt;

use super::beta::Share;
use crate::error::{ErrorKind, Result};
use crate::units::{Density, Flow, KinematicViscosity, Pressure, significant};

/// What a differential pressure belongs to. A viscosity or a density that is missing here or in the other conditions is
/// taken to be the same in both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// The flow through the element.
    pub flow: Flow,
    /// The viscosity, at the temperature of the reading.
    pub viscosity: Option<KinematicViscosity>,
    /// The density.
    pub density: Option<Density>,
}

impl Conditions {
    /// A flow, of a fluid that stays the same.
    #[must_use]
    pub const fn of(flow: Flow) -> Self {
        Self { flow, viscosity: None, density: None }
    }

    /// By how much the laminar and the quadratic part grow from here to there \[-\].
    fn growth(&self, to: &Self) -> (f64, f64) {
        let both = |from: Option<f64>, to: Option<f64>| from.zip(to).map_or(1.0, |(from, to)| to / from);
        let flow = to.flow.l_per_min() / self.flow.l_per_min();
        let density = both(self.density.map(Density::kg_per_m3), to.density.map(Density::kg_per_m3));
        let [from, to] = [self, to].map(|conditions| conditions.viscosity.map(KinematicViscosity::mm2_per_s));
        (flow * density * both(from, to), flow * density * flow)
    }
}

/// How much of a differential pressure is laminar.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum Laminar {
    /// All of it.
    #[default]
    Throughout,
    /// This share of it as it was read.
    AtReading(Share),
    /// This share of it at rated flow.
    AtRated(Share),
}

impl Laminar {
    /// A pressure that was read, brought to rated conditions: only that can be held against a limit.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the flow read is above 0 and the result is finite.
    pub fn to_rated(self, reading: Pressure, read: &Conditions, rated: &Conditions) -> Result<Pressure> {
        if read.flow.l_per_min() <= 0.0 {
            let (quantity, value) = ("flow of a reading".into(), read.flow.to_string());
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into());
        }
        Pressure::from_kpa(reading.kpa() * self.growth(read, rated))
    }

    /// What a pressure at rated conditions is expected to read at others.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the result leaves the range of a double.
    pub fn from_rated(self, pressure: Pressure, rated: &Conditions, read: &Conditions) -> Result<Pressure> {
        let flows = read.flow.l_per_min() > 0.0;
        Pressure::from_kpa(if flows { pressure.kpa() / self.growth(read, rated) } else { 0.0 })
    }

    /// The pressure at rated conditions over that read \[-\].
    fn growth(self, read: &Conditions, rated: &Conditions) -> f64 {
        let (linear, square) = read.growth(rated);
        match self {
            Self::Throughout => linear,
            Self::AtReading(share) => share.get() * linear + (1.0 - share.get()) * square,
            Self::AtRated(share) => 1.0 / (share.get() / linear + (1.0 - share.get()) / square),
        }
    }
}

impl fmt::Display for Laminar {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = |share: Share| significant(100.0 * share.get(), 3);
        match self {
            Self::Throughout => f.write_str("the whole pressure is taken for laminar"),
            Self::AtReading(share) => write!(f, "{} % of each reading is laminar", percent(*share)),
            Self::AtRated(share) => {
                write!(f, "{} % of the pressure at rated flow is laminar", percent(*share))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(l_per_min: f64, mm2_per_s: f64, kg_per_m3: f64) -> Conditions {
        Conditions {
            flow: Flow::from_l_per_min(l_per_min).unwrap(),
            viscosity: Some(KinematicViscosity::from_mm2_per_s(mm2_per_s).unwrap()),
            density: Some(Density::from_kg_per_m3(kg_per_m3).unwrap()),
        }
    }

    #[test]
    fn each_way_of_sharing_is_that_of_the_formula() {
        // dP = a mu Q + b rho Q^2 with a = 3, b = 0.01, worked out at both conditions
        let (read, rated) = (at(40.0, 95.0, 870.0), at(60.0, 32.0, 850.0));
        let parts = |c: &Conditions| {
            let (flow, density) = (c.flow.l_per_min(), c.density.unwrap().kg_per_m3());
            (3.0 * c.viscosity.unwrap().mm2_per_s() * density * flow, 0.01 * density * flow * flow)
        };
        let (laminar, other) = parts(&read);
        let (laminar_rated, other_rated) = parts(&rated);
        let reading = Pressure::from_kpa(laminar + other).unwrap();
        let share = |part: f64, rest: f64| Share::new(part / (part + rest)).unwrap();
        for said in
            [Laminar::AtReading(share(laminar, other)), Laminar::AtRated(share(laminar_rated, other_rated))]
        {
            let found = said.to_rated(reading, &read, &rated).unwrap();
            assert!((found.kpa() / (laminar_rated + other_rated) - 1.0).abs() < 1e-12, "{said}: {found}");
            let back = said.from_rated(found, &rated, &read).unwrap();
            assert!((back.kpa() / reading.kpa() - 1.0).abs() < 1e-12, "{said}: {back}");
        }
    }

    #[test]
    fn without_flow_nothing_is_brought_to_rated_flow() {
        let still = Conditions::of(Flow::from_l_per_min(0.0).unwrap());
        let rated = at(60.0, 32.0, 850.0);
        for said in [Laminar::Throughout, Laminar::AtReading(Share::NONE), Laminar::AtRated(Share::NONE)] {
            let error = said.to_rated(Pressure::from_kpa(1.0).unwrap(), &still, &rated).unwrap_err();
            assert_eq!(error.code(), "quantity-out-of-range");
            assert_eq!(said.from_rated(Pressure::from_kpa(1.0).unwrap(), &rated, &still).unwrap().kpa(), 0.0);
        }
    }
}
