//! How the resistance of an element grows with what it has caught.
//!
//! At constant flow `dR/dv = K R^n`, with `R` the resistance over that of the clean element and `v` what was caught, as
//! mass or as volume filtered. Each `n` is a law; `K v` is the loading:
//!
//! | law | n | R | holds for |
//! |---|---|---|---|
//! | cake | 0 | `1 + K v` | all |
//! | intermediate | 1 | `exp(K v)` | all |
//! | standard | 3/2 | `(1 - K v / 2)^-2` | `K v < 2` |
//! | complete | 2 | `1 / (1 - K v)` | `K v < 1` |
//! | cubic | | `1 + (K v)^3` | all |
//!
//! The last is that of hydraulic elements: "approximately a 3rd order function". Half the terminal differential pressure
//! is not half the life: at a terminal pressure of eight times the clean one it is 43 % of it for a pure cake, and 86 %
//! where pores are blocked completely.
//!
//! ```
//! use siltcode::job::{LoadingLaw, Resistance};
//!
//! let (half, terminal) = (Resistance::new(4.0)?, Resistance::new(8.0)?);
//! let used = |law: LoadingLaw| Ok::<_, siltcode::Error>(format!("{:.2}", law.used(half, terminal)?.get()));
//! assert_eq!(used(LoadingLaw::Cake)?, "0.43");
//! assert_eq!(used(LoadingLaw::Intermediate)?, "0.67");
//! assert_eq!(used(LoadingLaw::Standard)?, "0.77");
//! assert_eq!(used(LoadingLaw::Complete)?, "0.86");
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};
use crate::units::{Pressure, significant};

/// A law by which the resistance of an element grows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LoadingLaw {
    /// A cake grows on the surface.
    Cake,
    /// Particles settle on one another and on open pores alike: exponential.
    Intermediate,
    /// Pores become narrower.
    Standard,
    /// Each particle closes a pore.
    Complete,
    /// The rise of hydraulic elements, with the third power of what was caught.
    Cubic,
}

/// What was caught, times the constant of the law: `K v` \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Loading(f64);

/// The resistance of an element over that of the clean one: 1 or more \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Resistance(f64);

/// The share of an element's dirt capacity that is used; above 1 past its terminal pressure \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct CapacityUsed(f64);

/// A finite number of `least` or more.
fn number(name: &str, value: f64, least: f64) -> Result<f64> {
    if value.is_finite() && value >= least {
        return Ok(value + 0.0);
    }
    Err(ErrorKind::FactorOutOfRange { name: name.into(), value, least }.into())
}

impl Loading {
    /// A loading.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the value is finite and >= 0.
    pub fn new(value: f64) -> Result<Self> {
        number("loading", value, 0.0).map(Self)
    }

    /// The number \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl Resistance {
    /// Of a clean element.
    pub const CLEAN: Self = Self(1.0);

    /// A resistance.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the value is finite and >= 1.
    pub fn new(value: f64) -> Result<Self> {
        number("resistance over that of the clean element", value, 1.0).map(Self)
    }

    /// That of an element with this differential pressure, both at rated flow.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless 0 < clean <= pressure.
    pub fn of(pressure: Pressure, clean: Pressure) -> Result<Self> {
        if clean.kpa() > 0.0 && clean <= pressure {
            return Self::new(pressure.kpa() / clean.kpa());
        }
        Err(ErrorKind::QuantityOutOfRange {
            quantity: "clean differential pressure".into(),
            value: clean.to_string(),
            range: format!("above 0 and at most {pressure}"),
        }
        .into())
    }

    /// The number \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl CapacityUsed {
    /// A share of the capacity.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the value is finite and >= 0.
    pub fn new(value: f64) -> Result<Self> {
        number("share of the capacity", value, 0.0).map(Self)
    }

    /// The share \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl LoadingLaw {
    /// Every law.
    pub const ALL: [Self; 5] = [Self::Cake, Self::Intermediate, Self::Standard, Self::Complete, Self::Cubic];

    /// The laws of `dR/dv = K R^n`, each a straight line in `v` once the resistance is put through
    /// [`straight`](Self::straight).
    pub(super) const BLOCKING: [Self; 4] = [Self::Cake, Self::Intermediate, Self::Standard, Self::Complete];

    /// `1 - n`; none for the cubic.
    const fn power(self) -> Option<f64> {
        match self {
            Self::Cake => Some(1.0),
            Self::Intermediate => Some(0.0),
            Self::Standard => Some(-0.5),
            Self::Complete => Some(-1.0),
            Self::Cubic => None,
        }
    }

    /// The loading at a ratio of resistances: `(R^(1-n) - 1) / (1 - n)`.
    pub(super) fn straight(self, ratio: f64) -> f64 {
        match self.power() {
            None => (ratio - 1.0).cbrt(),
            Some(0.0) => ratio.ln(),
            Some(power) => (power * ratio.ln()).exp_m1() / power,
        }
    }

    /// The ratio at a loading, of which [`straight`](Self::straight) is the inverse; none where the law has no such.
    pub(super) fn ratio(self, straight: f64) -> Option<f64> {
        match self.power() {
            None => Some(1.0 + straight.powi(3)),
            Some(0.0) => Some(straight.exp()),
            Some(power) => self.steepness(straight).map(|steepness| steepness.powf(1.0 / power)),
        }
    }

    /// `R^(1-n)` at a loading, with which loadings grow where the unit of resistance is made `R` times as large; none
    /// where the law has no ratio there, nor for the cubic.
    pub(super) fn steepness(self, straight: f64) -> Option<f64> {
        self.power().map(|power| 1.0 + power * straight).filter(|steepness| *steepness > 0.0)
    }

    /// The resistance of an element that is so loaded.
    ///
    /// ```
    /// use siltcode::job::{Loading, LoadingLaw};
    ///
    /// assert_eq!(LoadingLaw::Complete.resistance(Loading::new(0.75)?)?.get(), 4.0);
    /// let error = LoadingLaw::Complete.resistance(Loading::new(1.0)?).unwrap_err();
    /// assert_eq!(error.code(), "loading-law-left");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `loading-law-left` unless `K v < 1` (complete) or `K v < 2` (standard); `factor-out-of-range` where the
    /// resistance leaves the range of a double.
    pub fn resistance(self, loading: Loading) -> Result<Resistance> {
        let left = || ErrorKind::LoadingLawLeft {
            law: self.to_string(),
            loading: significant(loading.0, 6),
            limit: self.power().map_or(f64::INFINITY, |power| -1.0 / power),
        };
        Resistance::new(self.ratio(loading.0).ok_or_else(left)?)
    }

    /// The loading at which an element has this resistance.
    #[must_use]
    pub fn loading(self, resistance: Resistance) -> Loading {
        Loading(self.straight(resistance.0))
    }

    /// The share of the dirt capacity that is used at a resistance, where the capacity is stated to a terminal one.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the terminal resistance is above 1.
    pub fn used(self, now: Resistance, terminal: Resistance) -> Result<CapacityUsed> {
        CapacityUsed::new(self.loading(now).0 / self.capacity(terminal)?)
    }

    /// The resistance once this share of the capacity is used: [`used`](Self::used) the other way round.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the terminal resistance is above 1; as [`resistance`](Self::resistance) where more
    /// is used than the law can tell of.
    pub fn resistance_at(self, used: CapacityUsed, terminal: Resistance) -> Result<Resistance> {
        self.resistance(Loading::new(used.0 * self.capacity(terminal)?)?)
    }

    /// The loading at the terminal resistance, above 0.
    fn capacity(self, terminal: Resistance) -> Result<f64> {
        let loading = self.loading(terminal).0;
        if loading > 0.0 {
            return Ok(loading);
        }
        let (quantity, value) = ("terminal resistance over the clean one".into(), terminal.0.to_string());
        Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 1".into() }.into())
    }
}

impl fmt::Display for LoadingLaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Cake => "cake",
            Self::Intermediate => "intermediate",
            Self::Standard => "standard",
            Self::Complete => "complete",
            Self::Cubic => "cubic",
        })
    }
}

impl FromStr for LoadingLaw {
    type Err = Error;

    /// Reads the name of a law.
    fn from_str(text: &str) -> Result<Self> {
        let found = Self::ALL.into_iter().find(|law| law.to_string().eq_ignore_ascii_case(text.trim()));
        let range = "one of cake, intermediate, standard, complete, cubic".into();
        let unknown =
            ErrorKind::QuantityOutOfRange { quantity: "loading law".into(), value: text.into(), range };
        found.ok_or_else(|| unknown.into())
    }
}
