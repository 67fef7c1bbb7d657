//! A rest before the cleaning: what the tank drops while it stands still.

use super::endpoints::Start;
use crate::count::PerMl;
use crate::error::Result;
use crate::settling::Liquid;
use crate::size::Size;
use crate::units::{Density, Duration, Length};

/// A tank left to itself for a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// The liquid.
    pub liquid: Liquid,
    /// The density of the particles.
    pub particle: Density,
    /// The depth of the liquid.
    pub depth: Length,
    /// How long it stands.
    pub time: Duration,
}

impl Start {
    /// What is still afloat after a rest, on average over the depth. What has settled lies on the floor and comes back
    /// when it is stirred, so this is where a cleaning starts only if the floor is left alone.
    ///
    /// Every particle between two sizes is taken to fall as slowly as the smallest of them, so no less than this has
    /// settled.
    ///
    /// ```
    /// use siltcode::Spectrum;
    /// use siltcode::settling::Liquid;
    /// use siltcode::tank::{Start, rest::Rest};
    /// use siltcode::units::{Density, Duration, DynamicViscosity, Length};
    ///
    /// let rest = Rest {
    ///     liquid: Liquid { density: Density::from_kg_per_m3(850.0)?, viscosity: DynamicViscosity::from_mpa_s(10.0)? },
    ///     particle: Density::from_kg_per_m3(2650.0)?,
    ///     depth: Length::from_metres(2.0)?,
    ///     time: Duration::from_hours(24.0)?,
    /// };
    /// let start = Start::of_counts(&Spectrum::from_per_ml(&[(4.0, 9000.0), (10.0, 1000.0)])?)?.rested(&rest)?;
    /// assert_eq!(start.counts()[1].1.get().round(), 576.0);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `stokes-law-left` where the particles fall too fast for Stokes' law.
    pub fn rested(&self, rest: &Rest) -> Result<Self> {
        let mut left = self.counts().to_vec();
        let mut above = (0.0, 0.0);
        for (i, &(size, per_ml)) in self.counts().iter().enumerate().rev() {
            let afloat = above.1 + (per_ml.get() - above.0).max(0.0) * rest.left(size)?;
            above = (per_ml.get(), afloat);
            left[i].1 = PerMl::new(afloat)?;
        }
        Ok(self.with_counts(left))
    }
}

impl Rest {
    /// The share of particles of this size that is still afloat \[-\].
    ///
    /// # Errors
    /// `stokes-law-left` where they fall too fast for Stokes' law.
    pub fn left(&self, size: Size) -> Result<f64> {
        Ok(self.liquid.settling(size, self.particle)?.left_at_rest(self.time, self.depth))
    }
}
