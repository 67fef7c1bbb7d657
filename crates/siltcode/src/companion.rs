//! What else is measured on a bottle besides particles: water, sediment, appearance, haze, microbes.
//!
//! mg/kg, mg/L, % vol and ppm are distinct units and are never converted into each other silently: that takes a
//! density, which is a measurement of its own.

use std::fmt;
use std::str::FromStr;

use serde::{Serialize, Serializer};

use crate::error::{Error, ErrorKind, Result};
use crate::units::Shortest;

/// A measured property of a fuel or oil.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Property {
    /// Total water.
    Water,
    /// Undissolved water.
    FreeWater,
    /// Water and sediment by centrifuge.
    WaterAndSediment,
    /// Particulate by membrane filtration.
    Particulate,
    /// Total contamination by the European membrane method.
    TotalContamination,
    /// Appearance, for example clear and bright.
    Appearance,
    /// Haze rating, 1 (clearest) to 6: steps of a picture scale, never averaged.
    Haze,
    /// Aluminium and silicon (catalyst fines).
    AluminiumAndSilicon,
    /// Density.
    Density,
    /// Kinematic viscosity.
    Viscosity,
    /// Flash point.
    FlashPoint,
    /// A microbial measure, named by the user.
    Microbial(String),
}

impl Property {
    /// The properties with a fixed name.
    pub const NAMED: [Self; 11] = [
        Self::Water,
        Self::FreeWater,
        Self::WaterAndSediment,
        Self::Particulate,
        Self::TotalContamination,
        Self::Appearance,
        Self::Haze,
        Self::AluminiumAndSilicon,
        Self::Density,
        Self::Viscosity,
        Self::FlashPoint,
    ];

    /// The name in files and output.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Water => "water",
            Self::FreeWater => "free-water",
            Self::WaterAndSediment => "water-and-sediment",
            Self::Particulate => "particulate",
            Self::TotalContamination => "total-contamination",
            Self::Appearance => "appearance",
            Self::Haze => "haze",
            Self::AluminiumAndSilicon => "aluminium-and-silicon",
            Self::Density => "density",
            Self::Viscosity => "viscosity",
            Self::FlashPoint => "flash-point",
            Self::Microbial(name) => name,
        }
    }

    /// The property of this fixed name; hyphens, underscores and spaces are the same.
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        let name = text.trim().to_lowercase().replace(['_', ' '], "-");
        Self::NAMED.into_iter().find(|property| property.name() == name)
    }
}

impl fmt::Display for Property {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.name().replace('-', " "))
    }
}

impl Serialize for Property {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

/// The unit of a companion measurement.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum CompanionUnit {
    /// Milligrams per kilogram.
    MgPerKg,
    /// Milligrams per litre.
    MgPerL,
    /// Per cent by volume.
    PercentVol,
    /// Parts per million as printed: the source does not say of what.
    Ppm,
    /// Kilograms per cubic metre.
    KgPerM3,
    /// Square millimetres per second (the same as cSt).
    Mm2PerS,
    /// Degrees Celsius.
    DegC,
    /// No unit: a rating.
    None,
    /// A unit of the user's own, for example CFU/L.
    Other(String),
}

impl CompanionUnit {
    /// The unit as written.
    #[must_use]
    pub fn symbol(&self) -> &str {
        match self {
            Self::MgPerKg => "mg/kg",
            Self::MgPerL => "mg/L",
            Self::PercentVol => "% vol",
            Self::Ppm => "ppm",
            Self::KgPerM3 => "kg/m3",
            Self::Mm2PerS => "mm2/s",
            Self::DegC => "degC",
            Self::None => "",
            Self::Other(symbol) => symbol,
        }
    }
}

impl fmt::Display for CompanionUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.symbol())
    }
}

impl FromStr for CompanionUnit {
    type Err = std::convert::Infallible;

    /// Reads the common spellings; anything else is a unit of the user's own.
    fn from_str(text: &str) -> std::result::Result<Self, Self::Err> {
        let plain = text.trim().to_lowercase().replace('³', "3").replace('²', "2").replace('°', "deg");
        Ok(match plain.as_str() {
            "mg/kg" => Self::MgPerKg,
            "mg/l" | "g/m3" => Self::MgPerL,
            "% vol" | "%vol" | "vol %" | "vol%" | "% v/v" | "%(v/v)" => Self::PercentVol,
            "ppm" => Self::Ppm,
            "kg/m3" => Self::KgPerM3,
            "mm2/s" | "cst" => Self::Mm2PerS,
            "degc" | "c" | "deg c" => Self::DegC,
            "" => Self::None,
            _ => Self::Other(text.trim().into()),
        })
    }
}

impl Serialize for CompanionUnit {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.serialize_str(self.symbol())
    }
}

/// A measured value.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Measured {
    /// A number with its unit.
    Number {
        /// The value.
        value: f64,
        /// Its unit.
        unit: CompanionUnit,
    },
    /// Fewer or less than the method can see: `<30 mg/kg`.
    LessThan {
        /// The bound.
        below: f64,
        /// Its unit.
        unit: CompanionUnit,
    },
    /// Words, for an appearance.
    Words(String),
}

impl Measured {
    /// A number of this unit.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the value is finite.
    pub fn number(value: f64, unit: CompanionUnit) -> Result<Self> {
        if value.is_finite() {
            return Ok(Self::Number { value, unit });
        }
        Err(Error::from(ErrorKind::QuantityOutOfRange {
            quantity: "measurement".into(),
            value: Shortest(value).to_string(),
            range: "a finite number".into(),
        }))
    }
}

impl fmt::Display for Measured {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number { value, unit } => f.write_str(format!("{} {unit}", Shortest(*value)).trim_end()),
            Self::LessThan { below, unit } => f.write_str(format!("<{} {unit}", Shortest(*below)).trim_end()),
            Self::Words(words) => f.write_str(words),
        }
    }
}

/// One companion measurement of a bottle. It prints as its name and value: `free-water 30 ppm`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Companion {
    /// What was measured.
    pub property: Property,
    /// What came out.
    pub measured: Measured,
}

impl fmt::Display for Companion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.property.name(), self.measured)
    }
}
