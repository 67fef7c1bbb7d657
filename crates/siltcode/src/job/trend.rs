//! When an element will be due: a trend of its differential pressures, carried on to the terminal one.
//!
//! Which law an element follows is not known before it is nearly full, and the laws differ most where it counts. So the
//! answer is a profile over all laws `dR/dv = K R^n` with `n` from 0 to 2: the interval holds every place that some law
//! reaches the terminal pressure at without fitting the readings much worse than the best one does. It covers the truth
//! whichever law holds, early in the life of an element as well as late.
//!
//! Beside it stands what each of the four laws says if it is taken to be the true one. Each makes a straight line of the
//! pressures along what was caught, once they are put through `(p^(1-n) - 1) / (1 - n)`. The line is fitted by least
//! squares; where it reaches the terminal pressure is an inverse regression, with Fieller's interval. The laws are compared
//! by Akaike's criterion, on the pressures themselves (the family of G. E. P. Box and D. R. Cox, Journal of the Royal
//! Statistical Society B 26 (1964) 211-252, with pressures relative to their geometric mean, so that the sums of squares
//! can be compared).
//!
//! The pressures have to be brought to rated flow first: see [`watch`](super::watch).
//!
//! ```
//! use siltcode::certainty::Level;
//! use siltcode::job::{Axis, LoadingLaw, Outlook, Trend};
//! use siltcode::tank::Turnovers;
//! use siltcode::units::Pressure;
//!
//! let bar = [0.30, 0.36, 0.47, 0.58, 0.76, 0.95, 1.22];
//! let readings = bar.iter().enumerate().map(|(i, &bar)| {
//!     Ok((Turnovers::new(0.2 * i as f64)?.into(), Pressure::from_bar(bar)?))
//! });
//! let trend = Trend::new(Axis::Turnovers, readings.collect::<siltcode::Result<_>>()?)?;
//! let Outlook::Expected(expected) = trend.outlook(Pressure::from_bar(2.2)?, Level::default())? else { panic!() };
//! assert_eq!(format!("{:.2}", expected.at.get()), "1.65");
//! let whichever = expected.mean_line;
//! assert_eq!(format!("{:.2} to {:.2}", whichever.low.get(), whichever.high.get()), "1.54 to 1.79");
//!
//! // if the growth is known to be exponential
//! let exponential = expected.under(LoadingLaw::Intermediate).unwrap();
//! assert_eq!(format!("{:.2}", exponential.at.get()), "1.71");
//! let (mean, single) = (exponential.mean_line.unwrap(), exponential.single_reading.unwrap());
//! assert_eq!(format!("{:.2} to {:.2}", mean.low.get(), mean.high.get()), "1.66 to 1.76");
//! assert_eq!(format!("{:.2} to {:.2}", single.low.get(), single.high.get()), "1.64 to 1.78");
//! # Ok::<(), siltcode::Error>(())
//! ```

use serde::Serialize;

use super::axis::{Along, Axis};
use super::due::{Due, due};
use super::line::Line;
use super::loading::LoadingLaw;
use crate::certainty::{Interval, Level};
use crate::error::{ErrorKind, Result};
use crate::units::Pressure;

/// Readings of one element, in their order: how far along the axis, and the pressure at rated flow.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    axis: Axis,
    readings: Vec<(Along, Pressure)>,
}

/// One law, fitted to the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    law: LoadingLaw,
    line: Line,
    /// The geometric mean of the pressures \[kPa\].
    mean_kpa: f64,
}

/// What the readings say of when the element will be due.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "outlook", rename_all = "kebab-case")]
pub enum Outlook {
    /// It rises, and will reach the terminal pressure.
    Expected(Expected),
    /// A constant pressure explains the readings as well: nothing says that the terminal pressure is ever reached, and the
    /// interval of where is unbounded.
    NoTrend {
        /// The relative growth, at the mean of the pressures \[1/unit of the axis\].
        growth: Interval<f64>,
    },
    /// It falls, steadily and beyond chance: see what lets the fluid past the medium.
    Falling {
        /// The relative growth, at the mean of the pressures \[1/unit of the axis\].
        growth: Interval<f64>,
    },
    /// Too few readings since the first rise of 10 % for an answer.
    TooFew {
        /// So many more are needed, once the pressure has risen by 10 %.
        lacking: usize,
        /// Whether it has risen by 10 %.
        risen: bool,
    },
}

/// When the element will be due.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Expected {
    /// What it is stated along.
    pub axis: Axis,
    /// The terminal pressure, at rated flow.
    pub terminal: Pressure,
    /// The last reading.
    pub last: Along,
    /// The level of the intervals.
    pub level: Level,
    /// Where the curve that fits best reaches the terminal pressure.
    pub at: Along,
    /// The exponent `n` of that curve, from 0 to 2 \[-\].
    pub exponent: f64,
    /// The interval of where the mean pressure reaches it, whatever the exponent.
    pub mean_line: Interval<Along>,
    /// The interval of where a single reading does, whatever the exponent; none where unbounded.
    pub single_reading: Option<Interval<Along>>,
    /// What each law says if it is the true one, the one first that fits best.
    pub laws: Vec<Answer>,
    /// From the soonest to the latest of the laws. The interval over all exponents is wider where the readings scatter, and
    /// narrower where they tell the laws apart.
    pub spread: Interval<Along>,
}

/// What one law says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Answer {
    /// The law.
    pub law: LoadingLaw,
    /// Akaike's criterion: the smaller, the better it fits. Below 2 apart they can hardly be told from each other.
    pub aic: f64,
    /// Where the line reaches the terminal pressure.
    pub at: Along,
    /// The interval of where the mean pressure reaches it; none where unbounded.
    pub mean_line: Option<Interval<Along>>,
    /// The interval of where a single reading does; none where unbounded.
    pub single_reading: Option<Interval<Along>>,
}

/// Readings asked for since the first rise.
pub(super) const LEAST_READINGS: usize = 4;
/// That rise, over the first reading.
const FIRST_RISE: f64 = 1.1;
/// Parameters of a fit: where the line starts, its slope, the scatter.
const PARAMETERS: f64 = 3.0;

impl Trend {
    /// Readings of one element in their order, each at rated flow.
    ///
    /// # Errors
    /// `axis-not-rising` unless each reading stands as far along the axis as the one before, or further.
    pub fn new(axis: Axis, readings: Vec<(Along, Pressure)>) -> Result<Self> {
        match readings.windows(2).find(|pair| pair[0].0 > pair[1].0) {
            None => Ok(Self { axis, readings }),
            Some(pair) => {
                let (before, after) = (axis.print(pair[0].0), axis.print(pair[1].0));
                Err(ErrorKind::AxisNotRising { before, after }.into())
            }
        }
    }

    /// The readings.
    #[must_use]
    pub fn readings(&self) -> &[(Along, Pressure)] {
        &self.readings
    }

    /// Readings of 0 or less, which no law knows: a gauge that does not move yet, or hangs. They are left out.
    #[must_use]
    pub fn left_out(&self) -> usize {
        self.readings.len() - self.usable().count()
    }

    fn usable(&self) -> impl Iterator<Item = (f64, f64)> {
        let each = self.readings.iter().map(|(along, pressure)| (along.get(), pressure.kpa()));
        each.filter(|&(_, kpa)| kpa > 0.0)
    }

    /// A law of [`BLOCKING`](LoadingLaw::BLOCKING), fitted.
    ///
    /// # Errors
    /// `readings-too-few` unless three readings above 0 stand at two places or more, not too far apart for a double.
    fn fit(&self, law: LoadingLaw) -> Result<Fit> {
        let found = self.usable().count();
        let mean_kpa = (self.usable().map(|(_, kpa)| kpa.ln()).sum::<f64>() / found as f64).exp();
        let points: Vec<_> = self.usable().map(|(x, kpa)| (x, law.straight(kpa / mean_kpa))).collect();
        let line = Line::through(&points).ok_or(ErrorKind::ReadingsTooFew { found, least: 3 })?;
        Ok(Fit { law, line, mean_kpa })
    }

    /// The four laws, the one first that fits best.
    ///
    /// # Errors
    /// `readings-too-few` unless three readings above 0 stand at two places or more.
    pub fn fits(&self) -> Result<Vec<Fit>> {
        let mut fits =
            LoadingLaw::BLOCKING.map(|law| self.fit(law)).into_iter().collect::<Result<Vec<_>>>()?;
        fits.sort_by(|one, other| self.aic(one).total_cmp(&self.aic(other)));
        Ok(fits)
    }

    /// Akaike's criterion of a fit, but for what is the same for all: with pressures relative to their geometric mean the
    /// change of variable multiplies the density by 1.
    fn aic(&self, fit: &Fit) -> f64 {
        2.0 * PARAMETERS + self.usable().count() as f64 * fit.line.mean_square().ln()
    }

    /// When the terminal pressure is reached.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the terminal pressure is above 0, and where an answer leaves the range of a double.
    pub fn outlook(&self, terminal: Pressure, level: Level) -> Result<Outlook> {
        if terminal.kpa() <= 0.0 {
            let (quantity, value) = ("terminal differential pressure".into(), terminal.to_string());
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into());
        }
        let (since_rise, risen) = self.since_rise();
        let too_few = Outlook::TooFew { lacking: LEAST_READINGS.saturating_sub(since_rise).max(1), risen };
        let Ok(fits) = self.fits() else { return Ok(too_few) };
        let growth = fits[0].line.slope_interval(level);
        let enough = if risen { since_rise } else { self.usable().count() } >= LEAST_READINGS;
        if !enough {
            return Ok(too_few);
        }
        if growth.high < 0.0 {
            return Ok(Outlook::Falling { growth });
        }
        if !risen {
            return Ok(if growth.low <= 0.0 { Outlook::NoTrend { growth } } else { too_few });
        }
        let points: Vec<_> = self.usable().map(|(x, kpa)| (x, kpa.ln())).collect();
        match due(&points, terminal.kpa().ln(), level) {
            None => Ok(Outlook::NoTrend { growth }),
            Some(due) => self.expected(&fits, due, terminal, level).map(Outlook::Expected),
        }
    }

    /// The readings since the first that was 10 % above the first of all, that one included; and whether there was one.
    fn since_rise(&self) -> (usize, bool) {
        let first = self.usable().next().map_or(f64::INFINITY, |(_, kpa)| kpa);
        let since = self.usable().skip_while(|(_, kpa)| *kpa < FIRST_RISE * first).count();
        (since, since > 0)
    }

    fn expected(&self, fits: &[Fit], due: Due, terminal: Pressure, level: Level) -> Result<Expected> {
        let answer = |fit: &Fit| self.answer(fit, terminal, level);
        let laws = fits.iter().map(answer).collect::<Result<Vec<_>>>()?;
        let ends = laws.iter().map(|answer| answer.at.get());
        let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), at| (l.min(at), h.max(at)));
        Ok(Expected {
            axis: self.axis,
            terminal,
            last: self.readings.last().map_or(Along::START, |reading| reading.0),
            level,
            at: Along::new(due.at)?,
            exponent: due.exponent,
            mean_line: due.mean.map(Along::computed),
            single_reading: due.single.map(|ends| ends.map(Along::computed)),
            laws,
            spread: Interval { low, high }.map(Along::computed),
        })
    }

    fn answer(&self, fit: &Fit, terminal: Pressure, level: Level) -> Result<Answer> {
        let straight = fit.law.straight(terminal.kpa() / fit.mean_kpa);
        let interval = |readings: f64| {
            let ends = fit.line.fieller(straight, readings, level).filter(|ends| ends.high.is_finite());
            ends.map(|ends| ends.map(Along::computed))
        };
        Ok(Answer {
            law: fit.law,
            aic: self.aic(fit),
            at: Along::new(fit.line.reaches(straight))?,
            mean_line: interval(f64::INFINITY),
            single_reading: interval(1.0),
        })
    }
}

/// Whether readings sink beyond chance: whether the relative growth is below 0 at this risk.
pub(super) fn sinks(readings: impl Iterator<Item = (Along, Pressure)>, risk: f64) -> bool {
    let usable = readings.filter(|(_, pressure)| pressure.kpa() > 0.0);
    let points: Vec<_> = usable.map(|(along, pressure)| (along.get(), pressure.kpa().ln())).collect();
    let line = Line::through(&points).filter(|_| points.len() >= LEAST_READINGS);
    let level = Level::new(1.0 - 2.0 * risk).ok();
    line.zip(level).is_some_and(|(line, level)| line.slope_interval(level).high < 0.0)
}

impl Fit {
    /// The law.
    #[must_use]
    pub const fn law(&self) -> LoadingLaw {
        self.law
    }

    /// The pressure the line has at a place; none where the law has none so far back or so far on.
    #[must_use]
    pub fn at(&self, along: Along) -> Option<Pressure> {
        let ratio = self.law.ratio(self.line.at(along.get())).filter(|ratio| *ratio > 0.0)?;
        Pressure::from_kpa(ratio * self.mean_kpa).ok()
    }

    /// The constant `K` of the law, for an element that is clean where the axis is 0 \[1/unit of the axis\]; none where
    /// the line has no pressure there.
    #[must_use]
    pub fn constant(&self) -> Option<f64> {
        self.law.steepness(self.line.at(0.0)).map(|steepness| self.line.slope / steepness)
    }

    /// The standard deviation of a reading about the line, relative to the geometric mean of the pressures \[-\].
    #[must_use]
    pub const fn deviation(&self) -> f64 {
        self.line.deviation
    }
}

impl Expected {
    /// The law that fits best of the four.
    #[must_use]
    pub fn best(&self) -> Option<&Answer> {
        self.laws.first()
    }

    /// What a law says; none for the cubic, which is not fitted.
    #[must_use]
    pub fn under(&self, law: LoadingLaw) -> Option<&Answer> {
        self.laws.iter().find(|answer| answer.law == law)
    }

    /// From the last reading to a place; 0 where that was passed.
    #[must_use]
    pub fn remaining(&self, at: Along) -> Along {
        Along::computed((at.get() - self.last.get()).max(0.0))
    }
}
