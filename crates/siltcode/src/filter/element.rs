//! A filter element: what it is, what it holds back, and what it can take.
//!
//! ```
//! use siltcode::filter::{Element, Kind, PressureDrop};
//! use siltcode::units::{Flow, KinematicViscosity, Mass, Pressure};
//!
//! let viscosity = KinematicViscosity::from_mm2_per_s(32.0)?;
//! let drop = PressureDrop::new(Pressure::from_kpa(20.0)?, Pressure::from_kpa(150.0)?, viscosity)?;
//! let element = Element::new(Kind::Cartridge, Flow::from_l_per_min(100.0)?, Some("4:10,6:200".parse()?))?
//!     .with_drop(drop)
//!     .with_dirt_capacity(Mass::from_grams(200.0)?);
//! // at half the flow and double the viscosity the clean element takes the same pressure
//! let clean = element.clean_at(Flow::from_l_per_min(50.0)?, KinematicViscosity::from_mm2_per_s(64.0)?);
//! assert_eq!(clean.unwrap()?.to_string(), "20 kPa");
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::fmt;

use serde::{Deserialize, Serialize};

use super::conditions::{Conditions, Laminar};
use super::rating::Rating;
use crate::error::{ErrorKind, Result};
use crate::units::{Duration, Flow, KinematicViscosity, Mass, Pressure, Shortest, Volume};

/// What an element is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A bag, mostly of felt and coarse.
    Bag,
    /// A spin-on element with its own case.
    SpinOn,
    /// A cartridge in a housing.
    Cartridge,
    /// An element whose medium swells with water; it may hold back particles too.
    WaterAbsorbing,
    /// A housing without an element: it passes flow and nothing else.
    EmptyHousing,
}

impl Kind {
    /// The word it has in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bag => "bag",
            Self::SpinOn => "spin-on",
            Self::Cartridge => "cartridge",
            Self::WaterAbsorbing => "water-absorbing",
            Self::EmptyHousing => "empty-housing",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Bag => "bag",
            Self::SpinOn => "spin-on element",
            Self::Cartridge => "cartridge",
            Self::WaterAbsorbing => "water-absorbing element",
            Self::EmptyHousing => "empty housing",
        })
    }
}

/// The differential pressure of a clean element and the one at which it is to be changed, both at rated flow and at
/// this viscosity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PressureDrop {
    clean: Pressure,
    terminal: Pressure,
    viscosity: KinematicViscosity,
}

impl PressureDrop {
    /// Clean and terminal pressure at rated flow and a viscosity.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless 0 < clean < terminal.
    pub fn new(clean: Pressure, terminal: Pressure, viscosity: KinematicViscosity) -> Result<Self> {
        if clean.kpa() > 0.0 && clean < terminal {
            return Ok(Self { clean, terminal, viscosity });
        }
        Err(ErrorKind::QuantityOutOfRange {
            quantity: "clean differential pressure".into(),
            value: clean.to_string(),
            range: format!("above 0 and below the terminal {terminal}"),
        }
        .into())
    }

    /// Of the clean element.
    #[must_use]
    pub const fn clean(&self) -> Pressure {
        self.clean
    }

    /// At which the element is to be changed, and to which its dirt capacity holds.
    #[must_use]
    pub const fn terminal(&self) -> Pressure {
        self.terminal
    }

    /// The viscosity of both.
    #[must_use]
    pub const fn viscosity(&self) -> KinematicViscosity {
        self.viscosity
    }
}

/// A price in money of the user's choice, the same throughout a calculation: finite and not negative.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Price(f64);

impl Price {
    /// A price.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless 0 <= value < infinity.
    pub fn new(value: f64) -> Result<Self> {
        if value.is_finite() && value >= 0.0 {
            return Ok(Self(value + 0.0));
        }
        let (quantity, range) = ("price".into(), "a finite number of 0 or more".into());
        Err(ErrorKind::QuantityOutOfRange { quantity, value: Shortest(value).to_string(), range }.into())
    }

    /// The amount \[money\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// A filter element. What is not known of it is left out, and nothing is made up for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    kind: Kind,
    rated_flow: Flow,
    rating: Option<Rating>,
    drop: Option<PressureDrop>,
    dirt_capacity: Option<Mass>,
    water_capacity: Option<Volume>,
    price: Option<Price>,
    change_time: Option<Duration>,
}

impl Element {
    /// An element with its rated flow and, where it holds back particles to a known degree, its rating.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the rated flow is above 0; `housing-rated` for an empty housing with a rating.
    pub fn new(kind: Kind, rated_flow: Flow, rating: Option<Rating>) -> Result<Self> {
        if kind == Kind::EmptyHousing && rating.is_some() {
            return Err(ErrorKind::HousingRated {}.into());
        }
        if rated_flow.l_per_min() <= 0.0 {
            let (quantity, value) = ("rated flow".into(), rated_flow.to_string());
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into());
        }
        Ok(Self {
            kind,
            rated_flow,
            rating,
            drop: None,
            dirt_capacity: None,
            water_capacity: None,
            price: None,
            change_time: None,
        })
    }

    /// With its differential pressures.
    #[must_use]
    pub fn with_drop(self, drop: PressureDrop) -> Self {
        Self { drop: Some(drop), ..self }
    }

    /// With the test dust it holds until the terminal pressure. Soft sludge and water block it at a small part of this.
    #[must_use]
    pub fn with_dirt_capacity(self, mass: Mass) -> Self {
        Self { dirt_capacity: Some(mass), ..self }
    }

    /// With the free water it binds until the terminal pressure.
    #[must_use]
    pub fn with_water_capacity(self, volume: Volume) -> Self {
        Self { water_capacity: Some(volume), ..self }
    }

    /// With its price.
    #[must_use]
    pub fn with_price(self, price: Price) -> Self {
        Self { price: Some(price), ..self }
    }

    /// With the time it takes to change it.
    #[must_use]
    pub fn with_change_time(self, time: Duration) -> Self {
        Self { change_time: Some(time), ..self }
    }

    /// What it is.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// The flow up to which its rating and its pressures are claimed.
    #[must_use]
    pub const fn rated_flow(&self) -> Flow {
        self.rated_flow
    }

    /// What it holds back.
    #[must_use]
    pub const fn rating(&self) -> Option<&Rating> {
        self.rating.as_ref()
    }

    /// Its differential pressures.
    #[must_use]
    pub const fn drop(&self) -> Option<PressureDrop> {
        self.drop
    }

    /// The test dust it holds until the terminal pressure.
    #[must_use]
    pub const fn dirt_capacity(&self) -> Option<Mass> {
        self.dirt_capacity
    }

    /// The free water it binds until the terminal pressure.
    #[must_use]
    pub const fn water_capacity(&self) -> Option<Volume> {
        self.water_capacity
    }

    /// Its price.
    #[must_use]
    pub const fn price(&self) -> Option<Price> {
        self.price
    }

    /// The time it takes to change it.
    #[must_use]
    pub const fn change_time(&self) -> Option<Duration> {
        self.change_time
    }

    /// The conditions to which its pressures belong. None where they are not known.
    #[must_use]
    pub fn rated(&self) -> Option<Conditions> {
        let viscosity = Some(self.drop?.viscosity);
        Some(Conditions { flow: self.rated_flow, viscosity, density: None })
    }

    /// The differential pressure of the clean element at another flow and viscosity: in proportion to both, which holds
    /// while the flow through the medium is laminar and the housing takes little. None where it is not known.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the result leaves the range of a double.
    #[must_use]
    pub fn clean_at(&self, flow: Flow, viscosity: KinematicViscosity) -> Option<Result<Pressure>> {
        let read = Conditions { flow, viscosity: Some(viscosity), density: None };
        Some(Laminar::Throughout.from_rated(self.drop?.clean, &self.rated()?, &read))
    }

    /// What a differential pressure read at another flow and viscosity is at rated flow and the viscosity of the
    /// element's own pressures: only that can be held against the terminal one. Laminar, as
    /// [`clean_at`](Self::clean_at); [`Laminar`] has other shares. None where the element's pressures are not known.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the flow read is above 0.
    #[must_use]
    pub fn at_rated(
        &self,
        reading: Pressure,
        flow: Flow,
        viscosity: KinematicViscosity,
    ) -> Option<Result<Pressure>> {
        let read = Conditions { flow, viscosity: Some(viscosity), density: None };
        Some(Laminar::Throughout.to_rated(reading, &read, &self.rated()?))
    }
}
