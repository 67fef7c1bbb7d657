//! Volume, flow, pressure and the other quantities of a filtration job, in SI and US customary units.
//!
//! Each quantity is a type of its own, so a flow can not be handed in where a volume is meant. It is made by a
//! constructor that names the unit or read from text, and printed in either system. The factors stand in
//! `reference-tables/units.csv`.
//!
//! ```
//! use siltcode::units::{Flow, Volume};
//!
//! let tank: Volume = "4,750 gal".parse()?;
//! assert_eq!(tank.to_string(), "17.9807 m3");
//! assert_eq!(Flow::from_l_per_min(60.0)?.us(), "15.8503 gpm");
//!
//! let error = "60".parse::<Flow>().unwrap_err();
//! assert_eq!(error.code(), "quantity-unreadable");
//! # Ok::<(), siltcode::Error>(())
//! ```
//!
//! Numbers are written with a decimal point. Groups of three digits may be set apart by a comma, an apostrophe or a
//! space (`4,750 gal`, `18 000 L`); a decimal comma is refused rather than guessed, and so is a point that may set apart
//! thousands of a volume, a flow or a mass (`18.000 L`).

mod shortest;
mod text;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::error::{Error, ErrorKind, Result};

pub(crate) use shortest::Shortest;
pub(crate) use text::number_end;
pub use text::significant;

/// The values of a range, in words.
macro_rules! range_words {
    (Finite) => {
        "a finite number"
    };
    (ZeroOrMore) => {
        "a finite number of 0 or more"
    };
    (AboveZero) => {
        "a finite number above 0"
    };
    (FromAbsoluteZero) => {
        "a finite temperature from absolute zero up"
    };
}

/// What values a quantity may take.
#[derive(Debug, Clone, Copy)]
enum Range {
    Finite,
    ZeroOrMore,
    AboveZero,
    FromAbsoluteZero,
}

impl Range {
    fn holds(self, base: f64) -> bool {
        base.is_finite()
            && match self {
                Self::Finite => true,
                Self::ZeroOrMore => base >= 0.0,
                Self::AboveZero => base > 0.0,
                Self::FromAbsoluteZero => text::unit("temperature", "K").of_base(base) >= 0.0,
            }
    }

    const fn words(self) -> &'static str {
        match self {
            Self::Finite => range_words!(Finite),
            Self::ZeroOrMore => range_words!(ZeroOrMore),
            Self::AboveZero => range_words!(AboveZero),
            Self::FromAbsoluteZero => range_words!(FromAbsoluteZero),
        }
    }
}

/// A kind of quantity: its name, its values, and the units it is printed in, each list from the largest unit down.
#[derive(Debug, Clone, Copy)]
struct Kind {
    name: &'static str,
    range: Range,
    si: &'static [&'static str],
    us: &'static [&'static str],
}

impl Kind {
    fn to_base(self, value: f64, symbol: &str) -> Result<f64> {
        let base = text::unit(self.name, symbol).to_base(value);
        if self.range.holds(base) {
            return Ok(base + 0.0); // turns -0.0 into 0.0
        }
        let (quantity, value) = (self.name.to_owned(), format!("{} {symbol}", Shortest(value)));
        Err(ErrorKind::QuantityOutOfRange { quantity, value, range: self.range.words().into() }.into())
    }

    fn value(self, base: f64, symbol: &str) -> f64 {
        text::unit(self.name, symbol).of_base(base)
    }

    /// What a user wrote, refused where it may mean two things.
    fn asked(self, text: &str) -> Result<f64> {
        if ["volume", "flow", "mass"].contains(&self.name)
            && let Some([thousands, decimals]) = text::readings(text)
        {
            let text = text.trim().into();
            return Err(ErrorKind::QuantityAmbiguous { text, thousands, decimals }.into());
        }
        self.read(text)
    }

    fn read(self, text: &str) -> Result<f64> {
        let unreadable = || ErrorKind::QuantityUnreadable {
            text: text.trim().into(),
            quantity: self.name.into(),
            units: text::symbols(self.name).join(", "),
        };
        let (value, symbol) = text::number_and_unit(text).ok_or_else(unreadable)?;
        let unit = text::find_unit(self.name, symbol).ok_or_else(unreadable)?;
        self.to_base(value, &unit.symbol)
    }

    /// In the largest of the units that gives 1 or more, else in the last.
    fn print(self, base: f64, units: &[&str], digits: usize) -> String {
        let fits = |symbol: &&&str| self.value(base, symbol).abs() >= 1.0;
        let symbol = units.iter().find(fits).or(units.last()).copied().unwrap_or_default();
        format!("{} {symbol}", significant(self.value(base, symbol), digits))
    }
}

/// Digits of a quantity printed for people.
const PRINTED_DIGITS: usize = 6;

/// Digits of a quantity in JSON: what a double holds for certain through a change of unit.
const STORED_DIGITS: usize = 14;

macro_rules! quantities {
    ($(
        $(#[$doc:meta])*
        $type:ident $name:literal $range:ident si $si:tt us $us:tt { $($make:ident $get:ident $symbol:literal)+ }
    )*) => { $(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $type(f64);

        impl $type {
            const KIND: Kind = Kind { name: $name, range: Range::$range, si: &$si, us: &$us };

            $(
                #[doc = concat!("The ", $name, " of this many ", $symbol, ".")]
                ///
                /// # Errors
                #[doc = concat!("`quantity-out-of-range` unless the value is ", range_words!($range), ".")]
                pub fn $make(value: f64) -> Result<Self> {
                    Self::KIND.to_base(value, $symbol).map(Self)
                }

                #[doc = concat!("The ", $name, " \\[", $symbol, "\\].")]
                #[must_use]
                pub fn $get(self) -> f64 {
                    Self::KIND.value(self.0, $symbol)
                }
            )+

            /// Printed in US customary units.
            #[must_use]
            pub fn us(self) -> String {
                Self::KIND.print(self.0, Self::KIND.us, PRINTED_DIGITS)
            }
        }

        impl fmt::Display for $type {
            /// Prints in SI units (with litres, minutes, hours and degrees Celsius), to six digits.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&Self::KIND.print(self.0, Self::KIND.si, PRINTED_DIGITS))
            }
        }

        impl FromStr for $type {
            type Err = Error;

            /// Reads a number and a unit of either system.
            fn from_str(text: &str) -> Result<Self> {
                Self::KIND.asked(text).map(Self)
            }
        }

        impl Serialize for $type {
            /// The text with its SI unit.
            fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
                serializer.serialize_str(&Self::KIND.print(self.0, Self::KIND.si, STORED_DIGITS))
            }
        }

        impl<'de> Deserialize<'de> for $type {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> std::result::Result<Self, D::Error> {
                let text = String::deserialize(deserializer)?;
                Self::KIND.read(&text).map(Self).map_err(serde::de::Error::custom)
            }
        }
    )*

        #[cfg(test)]
        const KINDS: &[(Kind, &[&str])] = &[$(($type::KIND, &[$($symbol),+])),*];
    };
}

quantities! {
    /// A volume of fluid, of a tank or a line. (The volume a counter examined is
    /// [`CountedVolume`](crate::CountedVolume).)
    Volume "volume" ZeroOrMore si ["m3", "L", "mL"] us ["gal"] {
        from_m3 m3 "m3"
        from_litres litres "L"
        from_ml ml "mL"
        from_us_gallons us_gallons "gal"
    }

    /// A volume flow through a pump or a filter.
    Flow "flow" ZeroOrMore si ["L/min"] us ["gpm"] {
        from_l_per_min l_per_min "L/min"
        from_m3_per_h m3_per_h "m3/h"
        from_us_gpm us_gpm "gpm"
    }

    /// A pressure, gauge or differential; a vacuum is negative.
    Pressure "pressure" Finite si ["kPa"] us ["psi"] {
        from_pa pa "Pa"
        from_kpa kpa "kPa"
        from_bar bar "bar"
        from_psi psi "psi"
        from_in_hg in_hg "inHg"
    }

    /// A temperature: at least absolute zero.
    Temperature "temperature" FromAbsoluteZero si ["degC"] us ["degF"] {
        from_kelvin kelvin "K"
        from_celsius celsius "degC"
        from_fahrenheit fahrenheit "degF"
    }

    /// A length of time.
    Duration "time" ZeroOrMore si ["h", "min", "s"] us ["h", "min", "s"] {
        from_seconds seconds "s"
        from_minutes minutes "min"
        from_hours hours "h"
        from_days days "d"
        from_years years "y"
    }

    /// A length: a bore, a height, a depth.
    Length "length" ZeroOrMore si ["m", "mm"] us ["ft", "in"] {
        from_metres metres "m"
        from_mm mm "mm"
        from_inches inches "in"
        from_feet feet "ft"
    }

    /// A height of liquid, as pumps are rated by: upwards, or downwards where negative.
    Head "head" Finite si ["m"] us ["ft"] {
        from_metres metres "m"
        from_feet feet "ft"
    }

    /// A mass of dirt or water.
    Mass "mass" ZeroOrMore si ["kg", "g", "mg"] us ["lb"] {
        from_kg kg "kg"
        from_grams grams "g"
        from_mg mg "mg"
        from_pounds pounds "lb"
    }

    /// A mass of dirt or water in a volume of fluid.
    MassConcentration "mass concentration" ZeroOrMore si ["mg/L"] us ["mg/L"] {
        from_mg_per_litre mg_per_litre "mg/L"
        from_grams_per_litre grams_per_litre "g/L"
    }

    /// A density.
    Density "density" AboveZero si ["kg/m3"] us ["kg/L"] {
        from_kg_per_m3 kg_per_m3 "kg/m3"
        from_kg_per_litre kg_per_litre "kg/L"
    }

    /// A kinematic viscosity.
    KinematicViscosity "kinematic viscosity" AboveZero si ["mm2/s"] us ["cSt"] {
        from_m2_per_s m2_per_s "m2/s"
        from_mm2_per_s mm2_per_s "mm2/s"
    }

    /// A dynamic viscosity.
    DynamicViscosity "dynamic viscosity" AboveZero si ["mPa.s"] us ["cP"] {
        from_pa_s pa_s "Pa.s"
        from_mpa_s mpa_s "mPa.s"
    }

    /// A speed of falling in a liquid; rising is negative.
    Speed "speed" Finite si ["m/h", "mm/h"] us ["in/h"] {
        from_m_per_s m_per_s "m/s"
        from_mm_per_h mm_per_h "mm/h"
    }
}

impl Flow {
    /// How long this flow takes to move this volume; none at zero flow.
    ///
    /// ```
    /// use siltcode::units::{Flow, Volume};
    ///
    /// let hours = Flow::from_l_per_min(60.0)?.time_for(Volume::from_m3(18.0)?).map(|time| time.to_string());
    /// assert_eq!(hours.as_deref(), Some("5 h"));
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn time_for(self, volume: Volume) -> Option<Duration> {
        Duration::from_minutes(volume.litres() / self.l_per_min()).ok()
    }
}

impl DynamicViscosity {
    /// The kinematic viscosity of a fluid of this density.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the quotient leaves the range of a double.
    pub fn over(self, density: Density) -> Result<KinematicViscosity> {
        KinematicViscosity::from_m2_per_s(self.pa_s() / density.kg_per_m3())
    }

    /// Reads a viscosity of either kind; a kinematic one is that of a fluid of this density.
    ///
    /// ```
    /// use siltcode::units::{Density, DynamicViscosity};
    ///
    /// let density = Density::from_kg_per_litre(0.85)?;
    /// assert_eq!(DynamicViscosity::of_either("20 cSt", density)?.to_string(), "17 mPa.s");
    /// assert_eq!(DynamicViscosity::of_either("17 cP", density)?.to_string(), "17 mPa.s");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `quantity-unreadable` unless the text is a viscosity; `quantity-out-of-range` unless it is above 0 and the
    /// product lies within the range of a double.
    pub fn of_either(text: &str, density: Density) -> Result<Self> {
        match text.parse::<KinematicViscosity>() {
            Ok(kinematic) => kinematic.times(density),
            Err(error) if error.code() == "quantity-out-of-range" => Err(error),
            Err(_) => text.parse(),
        }
    }
}

impl KinematicViscosity {
    /// The dynamic viscosity of a fluid of this density.
    ///
    /// # Errors
    /// `quantity-out-of-range` where the product leaves the range of a double.
    pub fn times(self, density: Density) -> Result<DynamicViscosity> {
        DynamicViscosity::from_pa_s(self.m2_per_s() * density.kg_per_m3())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_named_here_stands_in_the_table() {
        for (kind, named) in KINDS {
            for symbol in kind.si.iter().chain(kind.us).chain(*named) {
                assert!(text::symbols(kind.name).contains(symbol), "{}: {symbol}", kind.name);
            }
        }
    }

    #[test]
    fn every_unit_of_the_table_reads_back() {
        for (kind, _) in KINDS {
            for symbol in text::symbols(kind.name) {
                let base = kind.read(&format!("12.5 {symbol}")).unwrap();
                assert!((kind.value(base, symbol) - 12.5).abs() < 1e-12, "{symbol}");
            }
        }
    }

    #[test]
    fn json_is_the_text_and_comes_back() {
        let flow = Flow::from_us_gpm(16.0).unwrap();
        let back: Flow = serde_json::from_str(&serde_json::to_string(&flow).unwrap()).unwrap();
        assert!((back.us_gpm() - 16.0).abs() < 1e-12);
        assert!(serde_json::from_str::<Flow>("\"16 m3\"").is_err());
    }

    #[test]
    fn a_value_out_of_range_is_named() {
        let error = Volume::from_litres(-1.0).unwrap_err();
        assert_eq!(error.to_string(), "volume -1 L is not a finite number of 0 or more");
        assert!("-300 degC".parse::<Temperature>().is_err());
        assert!(Density::from_kg_per_m3(0.0).is_err());
        assert!(Flow::from_m3_per_h(f64::INFINITY).is_err());
    }

    #[test]
    fn either_viscosity_is_read_with_the_density() {
        let density = Density::from_kg_per_m3(850.0).unwrap();
        let kinematic = KinematicViscosity::from_mm2_per_s(20.0).unwrap();
        let back = kinematic.times(density).unwrap().over(density).unwrap();
        assert!((back.mm2_per_s() - 20.0).abs() < 1e-12);
        for unreadable in ["20", "20 L/min", "0 cSt", "-1 cP", ""] {
            assert!(DynamicViscosity::of_either(unreadable, density).is_err(), "{unreadable}");
        }
        let most = KinematicViscosity::from_mm2_per_s(f64::MAX).unwrap();
        assert!(most.times(density).is_ok());
        assert!(most.times(Density::from_kg_per_m3(f64::MAX).unwrap()).is_err());
    }

    #[test]
    fn temperatures_shift() {
        let t: Temperature = "104 °F".parse().unwrap();
        assert!((t.celsius() - 40.0).abs() < 1e-9);
        assert_eq!(t.to_string(), "40 degC");
        assert_eq!(Temperature::from_celsius(-40.0).unwrap().us(), "-40 degF");
    }
}
