//! How fast particles settle in a liquid at rest, and how many are still in it after a time.
//!
//! Stokes' law: `v = g (rho_p - rho_f) d^2 / (18 mu)`. It holds for single spheres in still liquid, few enough not to
//! hinder one another, at small Reynolds numbers `rho_f v d / mu`: well below 0.1, reading high above it, and not at all
//! from 1 on, where it is refused (both limits are recalled from textbooks, UNVERIFIED). Water drops and bubbles follow it
//! with their own density; what is lighter than the liquid rises, at a negative speed.
//!
//! A tank at rest is cleaner at the top, not clean: what has settled lies on the floor and comes back when it is
//! stirred.
//!
//! ```
//! use siltcode::Size;
//! use siltcode::settling::Liquid;
//! use siltcode::units::{Density, Duration, DynamicViscosity, Length};
//!
//! let oil = Liquid { density: Density::from_kg_per_m3(850.0)?, viscosity: DynamicViscosity::from_mpa_s(10.0)? };
//! let grain = oil.settling(Size::um_c(10.0)?, Density::from_kg_per_m3(2650.0)?)?;
//! assert_eq!(grain.speed().to_string(), "35.3039 mm/h");
//!
//! let depth = Length::from_metres(2.0)?;
//! assert_eq!(grain.time_over(depth).unwrap().to_string(), "56.6509 h");
//! let after_a_day = grain.left_at_rest(Duration::from_hours(24.0)?, depth);
//! assert_eq!(format!("{after_a_day:.3}"), "0.576");
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::sync::LazyLock;

use crate::error::{ErrorKind, Result};
use crate::size::Size;
use crate::table;
use crate::units::{Density, Duration, DynamicViscosity, Length, Speed, significant};

/// A liquid that particles settle in, at its temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Liquid {
    /// Its density.
    pub density: Density,
    /// Its viscosity.
    pub viscosity: DynamicViscosity,
}

/// How particles of one size and density settle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settling {
    speed: Speed,
    reynolds: f64,
}

/// What Stokes' law needs of the table of constants.
struct Stokes {
    gravity_m_s2: f64,
    good_below: f64,
    limit: f64,
}

static STOKES: LazyLock<Stokes> = LazyLock::new(|| Stokes {
    gravity_m_s2: table::constant("standard-gravity"),
    good_below: table::constant("stokes-reynolds-good"),
    limit: table::constant("stokes-reynolds-limit"),
});

impl Liquid {
    /// How particles of this size and density settle in it.
    ///
    /// The size is taken for the diameter of a sphere, as um(c) states it; a longest dimension makes it too fast.
    ///
    /// # Errors
    /// `stokes-law-left` unless `Re < 1`.
    pub fn settling(&self, size: Size, particle: Density) -> Result<Settling> {
        let metres = size.um() * 1e-6;
        let heavier_by = particle.kg_per_m3() - self.density.kg_per_m3();
        let speed = STOKES.gravity_m_s2 * heavier_by * metres.powi(2) / (18.0 * self.viscosity.pa_s());
        let reynolds = self.density.kg_per_m3() * speed.abs() * metres / self.viscosity.pa_s();
        if reynolds < STOKES.limit {
            return Ok(Settling { speed: Speed::from_m_per_s(speed)?, reynolds });
        }
        let (size, reynolds) = (size.to_string(), significant(reynolds, 3));
        Err(ErrorKind::StokesLawLeft { size, reynolds, limit: STOKES.limit }.into())
    }
}

impl Settling {
    /// The speed, downwards; negative for what rises.
    #[must_use]
    pub const fn speed(&self) -> Speed {
        self.speed
    }

    /// The Reynolds number of the particle \[-\].
    #[must_use]
    pub const fn reynolds(&self) -> f64 {
        self.reynolds
    }

    /// Whether the law reads high here: `0.1 <= Re < 1`.
    #[must_use]
    pub fn reads_high(&self) -> bool {
        self.reynolds >= STOKES.good_below
    }

    /// How long it takes over a height; none for what does not move.
    #[must_use]
    pub fn time_over(&self, height: Length) -> Option<Duration> {
        Duration::from_seconds(height.metres() / self.speed.m_per_s().abs()).ok()
    }

    /// The share still in a column that stood still for a time, averaged over its height: `1 - v t / H` \[-\].
    #[must_use]
    pub fn left_at_rest(&self, time: Duration, height: Length) -> f64 {
        (1.0 - self.heights_fallen(time, height)).max(0.0)
    }

    /// The share still in a column kept evenly stirred above its floor: `exp(-v t / H)` \[-\].
    #[must_use]
    pub fn left_stirred(&self, time: Duration, height: Length) -> f64 {
        (-self.heights_fallen(time, height)).exp()
    }

    /// `v t / H` \[-\]; 0 for what does not move.
    fn heights_fallen(&self, time: Duration, height: Length) -> f64 {
        let metres = self.speed.m_per_s().abs() * time.seconds();
        if metres > 0.0 { metres / height.metres() } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn water() -> Liquid {
        Liquid {
            density: Density::from_kg_per_m3(998.0).unwrap(),
            viscosity: DynamicViscosity::from_mpa_s(1.0).unwrap(),
        }
    }

    fn in_water(um: f64, kg_per_m3: f64) -> Result<Settling> {
        water().settling(Size::um_c(um).unwrap(), Density::from_kg_per_m3(kg_per_m3).unwrap())
    }

    #[test]
    fn the_law_is_refused_where_it_does_not_hold() {
        assert!(!in_water(20.0, 2650.0).unwrap().reads_high());
        assert!(in_water(80.0, 2650.0).unwrap().reads_high());
        assert_eq!(in_water(200.0, 2650.0).unwrap_err().code(), "stokes-law-left");
        assert_eq!(in_water(1e200, 2650.0).unwrap_err().code(), "stokes-law-left");
    }

    #[test]
    fn what_is_lighter_rises_and_leaves_the_same_way() {
        let drop = in_water(20.0, 800.0).unwrap();
        assert!(drop.speed().mm_per_h() < 0.0);
        let (hour, metre) = (Duration::from_hours(1.0).unwrap(), Length::from_metres(1.0).unwrap());
        assert!((0.0..1.0).contains(&drop.left_at_rest(hour, metre)));
    }

    #[test]
    fn what_does_not_move_stays_and_no_height_holds_nothing() {
        let hour = Duration::from_hours(1.0).unwrap();
        let none = Length::from_metres(0.0).unwrap();
        let still = in_water(20.0, 998.0).unwrap();
        assert_eq!(still.time_over(Length::from_metres(1.0).unwrap()), None);
        assert_eq!((still.left_at_rest(hour, none), still.left_stirred(hour, none)), (1.0, 1.0));
        let grain = in_water(20.0, 2650.0).unwrap();
        assert_eq!((grain.left_at_rest(hour, none), grain.left_stirred(hour, none)), (0.0, 0.0));
    }
}
