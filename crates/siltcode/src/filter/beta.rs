//! The filtration ratio: how many particles enter a filter for each that leaves.
//!
//! ```
//! use siltcode::{PerMl, filter::Beta};
//!
//! let beta = Beta::from_counts(PerMl::new(4000.0)?, PerMl::new(750.0)?)?;
//! assert_eq!(format!("{:.2}", beta.get()), "5.33");
//! assert_eq!(beta.efficiency().get(), 0.8125);
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::fmt;

use serde::Serialize;

use crate::count::PerMl;
use crate::error::{ErrorKind, Result};

/// A share of the flow, 0 to 1 \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Share(f64);

impl Share {
    /// Nothing.
    pub const NONE: Self = Self(0.0);

    /// A share.
    ///
    /// # Errors
    /// `share-out-of-range` unless 0 <= value < 1.
    pub fn new(value: f64) -> Result<Self> {
        if (0.0..1.0).contains(&value) {
            Ok(Self(value))
        } else {
            Err(ErrorKind::ShareOutOfRange { value }.into())
        }
    }

    /// The share \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The filtration ratio that no filter exceeds while this share of the flow passes it by: `1 / b`; none for
    /// nothing.
    #[must_use]
    pub fn ceiling(self) -> Option<Beta> {
        Beta::new(1.0 / self.0).ok().filter(|beta| *beta != Beta::INFINITE)
    }
}

/// The share of particles a filter holds back in one passage, 0 to 1 \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Efficiency(f64);

impl Efficiency {
    /// Nothing is held back.
    pub const NONE: Self = Self(0.0);
    /// Nothing passes.
    pub const WHOLE: Self = Self(1.0);

    /// The efficiency \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The share that passes \[-\].
    #[must_use]
    pub fn penetration(self) -> f64 {
        1.0 - self.0
    }

    /// From the share that passes, freed of rounding beyond 0 and 1.
    pub(super) const fn of_passed(passed: f64) -> Self {
        Self((1.0 - passed).clamp(0.0, 1.0))
    }

    /// That of a ratio whose `beta - 1` is a factor of this one's: what a spread of `beta - 1` does to it.
    #[must_use]
    pub fn excess_times(self, factor: f64) -> Self {
        // with b = 1 / (1 - e): 1 - 1 / (1 + (b - 1) f) = e f / (1 - e + e f)
        Self::of_passed((1.0 - self.0) / (1.0 - self.0 + self.0 * factor))
    }

    /// What is left of it where a share of the flow avoids the medium: `(1 - b) E`.
    #[must_use]
    pub fn bypassed(self, bypass: Share) -> Self {
        Self((1.0 - bypass.0) * self.0)
    }

    /// What is left of it, seen from the tank, where a share of the return goes straight to the suction:
    /// `E (1 - s) / (1 - s (1 - E))`.
    #[must_use]
    pub fn short_circuited(self, short: Share) -> Self {
        Self(self.0 * (1.0 - short.0) / (1.0 - short.0 * (1.0 - self.0)))
    }
}

/// A filtration ratio: particles entering over particles leaving, 1 or more \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Beta(f64);

impl Beta {
    /// Above this a published ratio rests on so few particles downstream that it means "at least".
    pub const CERTAIN_UP_TO: Self = Self(1000.0);

    /// The ratio of a filter that lets nothing through.
    pub const INFINITE: Self = Self(f64::INFINITY);

    /// The ratio of a filter that holds back nothing.
    pub const ONE: Self = Self(1.0);

    /// A filtration ratio; infinity stands for a filter that lets nothing through.
    ///
    /// # Errors
    /// `beta-below-one` unless value >= 1.
    pub fn new(value: f64) -> Result<Self> {
        if value >= 1.0 { Ok(Self(value)) } else { Err(ErrorKind::BetaBelowOne { value }.into()) }
    }

    /// The ratio of the particles entering to those leaving.
    ///
    /// # Errors
    /// `beta-below-one` unless upstream >= downstream and anything came in.
    pub fn from_counts(upstream: PerMl, downstream: PerMl) -> Result<Self> {
        Self::new(upstream.get() / downstream.get())
    }

    /// The ratio over several pairs of counts (upstream, downstream): the ratio of the averages.
    ///
    /// The average of the ratios would let one small downstream count decide; only the ratio of sums conserves
    /// particles. [`MeasuredBeta`](super::MeasuredBeta) does the same with the counts' own doubt.
    ///
    /// # Errors
    /// As [`from_counts`](Self::from_counts).
    pub fn from_pairs(pairs: &[(PerMl, PerMl)]) -> Result<Self> {
        let sums = pairs.iter().fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0.get(), sum.1 + pair.1.get()));
        Self::new(sums.0 / sums.1)
    }

    /// The ratio of all bins together, each given by what enters and its own ratio: what a cumulative count shows.
    ///
    /// ```
    /// use siltcode::{PerMl, filter::Beta};
    ///
    /// let half = PerMl::new(0.5)?;
    /// let lumped = Beta::lumped(&[(half, Beta::new(2.0)?), (half, Beta::new(20.0)?)])?;
    /// assert_eq!(lumped.to_string(), "3.636"); // the particles that pass easily decide
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `beta-below-one` where nothing enters.
    pub fn lumped(bins: &[(PerMl, Self)]) -> Result<Self> {
        let entering: f64 = bins.iter().map(|bin| bin.0.get()).sum();
        let leaving: f64 = bins.iter().map(|bin| bin.0.get() * bin.1.penetration()).sum();
        Self::new(entering / leaving)
    }

    /// The ratio of a filter whose efficiency is known.
    ///
    /// # Errors
    /// None: an efficiency is 0 to 1.
    pub fn of(efficiency: Efficiency) -> Result<Self> {
        Self::new(1.0 / (1.0 - efficiency.0))
    }

    /// The ratio \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }

    /// `1 - 1 / beta`.
    #[must_use]
    pub fn efficiency(self) -> Efficiency {
        Efficiency(1.0 - 1.0 / self.0)
    }

    /// `1 / beta`, the share that passes \[-\].
    #[must_use]
    pub fn penetration(self) -> f64 {
        1.0 / self.0
    }

    /// With `beta - 1` times a factor: what derating and doubt act on, since beta stays at or above 1.
    ///
    /// # Errors
    /// `beta-below-one` unless factor >= 0.
    pub fn excess_times(self, factor: f64) -> Result<Self> {
        Self::new(1.0 + (self.0 - 1.0) * factor)
    }

    /// Two filters one behind the other, for particles that meet the same two ratios (one bin).
    #[must_use]
    pub fn in_series(self, second: Self) -> Self {
        Self(self.0 * second.0)
    }

    /// With a share of the flow past the medium: `1 / ((1 - b) / beta + b)`, always below `1 / b`.
    ///
    /// ```
    /// use siltcode::filter::{Beta, Share};
    ///
    /// let leaking = Beta::new(1000.0)?.leaking(Share::new(0.01)?);
    /// assert_eq!(format!("{:.1}", leaking.get()), "91.0");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn leaking(self, bypass: Share) -> Self {
        Self(1.0 / ((1.0 - bypass.0) / self.0 + bypass.0))
    }
}

impl fmt::Display for Beta {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&crate::units::significant(self.0, 4))
    }
}
