//! What a sample says of one size: a count, or only bounds of it; and how likely that is at a concentration.

use std::fmt;
use std::str::FromStr;

use crate::certainty::gamma::{Gamma, Shape};
use crate::class::iso4406::RangeNumber;
use crate::count::{CountedVolume, Dilution, Evidence, whole_count};
use crate::error::{Error, ErrorKind, Result};
use crate::tank::Turnovers;

/// What was seen in the counted volume \[particles\].
///
/// ```
/// use siltcode::job::progress::Seen;
///
/// assert_eq!("<500".parse::<Seen>()?, Seen::Fewer(500));
/// assert_eq!(">=20000".parse::<Seen>()?, Seen::AtLeast(20_000));
/// assert_eq!("9100".parse::<Seen>()?, Seen::Count(9_100));
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Seen {
    /// So many.
    Count(u64),
    /// Fewer than so many.
    Fewer(u64),
    /// So many or more.
    AtLeast(u64),
    /// From the first to the second, both included.
    Between(u64, u64),
}

impl Seen {
    /// What a range number says of the count in a volume.
    ///
    /// # Errors
    /// `count-impossible` where no whole number of particles in this volume gives the number.
    pub fn of_number(number: RangeNumber, volume: CountedVolume) -> Result<Self> {
        let bounds = number.bounds();
        let from = bounds.more_than.map_or(Ok(0), |low| whole_count((low * volume.ml()).floor() + 1.0))?;
        match bounds.up_to {
            None => Ok(Self::AtLeast(from)),
            Some(high) => Self::Between(from, whole_count((high * volume.ml()).floor())?).possible(),
        }
    }

    /// The same, if some count fulfils it.
    ///
    /// # Errors
    /// `count-impossible` for fewer than none, and for a low end above the high end.
    pub(super) fn possible(self) -> Result<Self> {
        match self {
            Self::Fewer(0) => Err(ErrorKind::CountImpossible { found: self.to_string() }.into()),
            Self::Between(from, to) if from > to => {
                Err(ErrorKind::CountImpossible { found: self.to_string() }.into())
            }
            _ => Ok(self),
        }
    }

    /// The count, if it is one.
    #[must_use]
    pub const fn count(self) -> Option<u64> {
        match self {
            Self::Count(raw) => Some(raw),
            _ => None,
        }
    }

    /// A count that fits, to start a search from.
    pub(super) fn about(self) -> f64 {
        match self {
            Self::Count(raw) | Self::AtLeast(raw) => raw as f64,
            Self::Fewer(raw) => raw as f64 / 2.0,
            Self::Between(from, to) => f64::midpoint(from as f64, to as f64),
        }
    }
}

impl fmt::Display for Seen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count(raw) => write!(f, "{raw}"),
            Self::Fewer(raw) => write!(f, "<{raw}"),
            Self::AtLeast(raw) => write!(f, ">={raw}"),
            Self::Between(from, to) => write!(f, "{from} to {to}"),
        }
    }
}

impl FromStr for Seen {
    type Err = Error;

    /// Reads a whole number, `<500`, `>=20000` and `>20000`.
    fn from_str(text: &str) -> Result<Self> {
        let plain = text.trim();
        let unreadable = || ErrorKind::CountUnreadable { found: plain.into() };
        let number = |digits: &str| whole_count(digits.trim().parse::<f64>().map_err(|_| unreadable())?);
        if let Some(digits) = plain.strip_prefix('<') {
            Self::Fewer(number(digits)?).possible()
        } else if let Some(digits) = plain.strip_prefix(">=") {
            number(digits).map(Self::AtLeast)
        } else if let Some(digits) = plain.strip_prefix('>') {
            number(digits).map(|raw| Self::AtLeast(raw.saturating_add(1)))
        } else {
            number(plain).map(Self::Count)
        }
    }
}

/// One size of one sample: after how many turnovers, what was seen, in how much of the sample as drawn.
///
/// ```
/// use siltcode::job::progress::{Observed, Seen};
/// use siltcode::tank::Turnovers;
/// use siltcode::{CountedVolume, Dilution};
///
/// let seen = Observed::new(Turnovers::new(2.0)?, Seen::Count(55), CountedVolume::from_ml(1.0)?, Dilution::NONE)?;
/// assert_eq!(seen.examined_ml(), 1.0);
/// assert!(Observed::new(Turnovers::NONE, Seen::Fewer(0), CountedVolume::from_ml(1.0)?, Dilution::NONE).is_err());
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    pub(super) turnovers: f64,
    pub(super) seen: Seen,
    pub(super) ml: f64,
}

impl Observed {
    /// What was seen in a counted volume of the sample, diluted so.
    ///
    /// # Errors
    /// `count-impossible` where no count fulfils `seen`.
    pub fn new(turnovers: Turnovers, seen: Seen, volume: CountedVolume, dilution: Dilution) -> Result<Self> {
        let ml = volume.ml() / dilution.factor();
        Ok(Self { turnovers: turnovers.get(), seen: seen.possible()?, ml })
    }

    /// In the order of their turnovers, those of the same in one that does not depend on how they were given.
    pub(super) fn order(&self, other: &Self) -> std::cmp::Ordering {
        let by_place = self.turnovers.total_cmp(&other.turnovers);
        by_place.then(self.seen.cmp(&other.seen)).then(self.ml.total_cmp(&other.ml))
    }

    /// What was seen.
    #[must_use]
    pub const fn seen(&self) -> Seen {
        self.seen
    }

    /// After how many turnovers.
    #[must_use]
    pub fn turnovers(&self) -> Turnovers {
        Turnovers::new(self.turnovers).unwrap_or(Turnovers::NONE)
    }

    /// A count with its evidence.
    #[must_use]
    pub fn counted(turnovers: Turnovers, evidence: &Evidence) -> Self {
        Self { turnovers: turnovers.get(), seen: Seen::Count(evidence.raw), ml: evidence.examined_ml() }
    }

    /// The volume of the sample as drawn that was examined \[mL\].
    #[must_use]
    pub const fn examined_ml(&self) -> f64 {
        self.ml
    }
}

/// A logarithm with its first two derivatives.
#[derive(Debug, Clone, Copy)]
pub(super) struct Local {
    pub(super) value: f64,
    pub(super) slope: f64,
    pub(super) curve: f64,
}

/// The likelihood of one observation as a function of the concentration.
///
/// A Poisson count of a weight `w` is one of `w` times the volume: what is left of its evidence where bottles scatter
/// beyond counting.
#[derive(Debug, Clone)]
pub(super) struct Term {
    /// Turnovers since the first sample.
    pub(super) since: f64,
    pub(super) seen: Seen,
    /// The volume, with its weight \[mL\].
    pub(super) ml: f64,
    pub(super) weight: f64,
    chance: Chance,
}

#[derive(Debug, Clone)]
enum Chance {
    Nothing,
    Point(Box<Shape>),
    AtLeast(Box<Shape>),
    Fewer(Box<Shape>),
    Between(Box<[Shape; 2]>),
}

impl Term {
    pub(super) fn new(observed: &Observed, since: f64, weight: f64) -> Self {
        let shape = |raw: u64| Shape::new(weight * raw as f64);
        let chance = match observed.seen {
            Seen::Count(0) => Chance::Nothing,
            Seen::Count(raw) => Chance::Point(Box::new(shape(raw))),
            Seen::Between(from, to) if from == to && from > 0 => Chance::Point(Box::new(shape(from))),
            Seen::Between(0, to) => Chance::Fewer(Box::new(shape(to.saturating_add(1)))),
            Seen::Between(from, to) => Chance::Between(Box::new([shape(from), shape(to.saturating_add(1))])),
            Seen::Fewer(raw) => Chance::Fewer(Box::new(shape(raw))),
            Seen::AtLeast(raw) => Chance::AtLeast(Box::new(shape(raw.max(1)))),
        };
        Self { since, seen: observed.seen, ml: weight * observed.ml, weight, chance }
    }

    /// A concentration that fits \[particles/mL\].
    pub(super) fn about(&self) -> f64 {
        self.weight * self.seen.about() / self.ml
    }

    /// Whether it says anything against any number of particles.
    pub(super) const fn bounds_above(&self) -> bool {
        !matches!(self.chance, Chance::AtLeast(_))
    }

    /// The logarithm of the likelihood at a concentration \[particles/mL\], and its slope and curvature over it.
    pub(super) fn at(&self, per_ml: f64) -> Local {
        let mean = self.ml * per_ml;
        let Local { value, slope, curve } = match &self.chance {
            Chance::Nothing => Local { value: -mean, slope: -1.0, curve: 0.0 },
            Chance::Point(shape) => {
                let raw = shape.get();
                Local { value: shape.ln_term(mean), slope: raw / mean - 1.0, curve: -raw / (mean * mean) }
            }
            Chance::AtLeast(shape) => Tail::of(shape, mean).reached(),
            Chance::Fewer(shape) => Tail::of(shape, mean).missed(),
            Chance::Between(shapes) => between(&Tail::of(&shapes[0], mean), &Tail::of(&shapes[1], mean)),
        };
        Local { value, slope: slope * self.ml, curve: curve * self.ml * self.ml }
    }

    /// What a count, or a bound, is expected to tell of the concentration \[mL2\].
    pub(super) fn information(&self, per_ml: f64) -> f64 {
        match self.seen {
            Seen::Count(_) => self.ml / per_ml,
            _ => -self.at(per_ml).curve,
        }
    }
}

/// The chance that a Poisson count reaches a bound, as a function of its mean: that of a gamma variable to be below it.
struct Tail {
    gamma: Gamma,
    /// Logarithm of the density.
    ln_density: f64,
    /// Its slope.
    slope: f64,
}

impl Tail {
    fn of(shape: &Shape, mean: f64) -> Self {
        let (gamma, a) = (shape.at(mean), shape.get());
        Self { gamma, ln_density: gamma.ln_term + (a / mean).ln(), slope: (a - 1.0) / mean - 1.0 }
    }

    fn reached(&self) -> Local {
        let rate = (self.ln_density - self.gamma.ln_lower).exp();
        Local { value: self.gamma.ln_lower, slope: rate, curve: rate * (self.slope - rate) }
    }

    fn missed(&self) -> Local {
        let rate = (self.ln_density - self.gamma.ln_upper).exp();
        Local { value: self.gamma.ln_upper, slope: -rate, curve: -rate * (self.slope + rate) }
    }
}

/// The chance to reach the first bound and not the second, from those tails that are not near 1.
fn between(from: &Tail, to: &Tail) -> Local {
    let less = |large: f64, small: f64| large + (-(small - large).exp()).ln_1p();
    let value = if from.gamma.ln_lower < from.gamma.ln_upper {
        less(from.gamma.ln_lower, to.gamma.ln_lower)
    } else {
        less(to.gamma.ln_upper, from.gamma.ln_upper)
    };
    let [enters, leaves] = [from, to].map(|tail| (tail.ln_density - value).exp());
    let slope = enters - leaves;
    Local { value, slope, curve: enters * from.slope - leaves * to.slope - slope * slope }
}
