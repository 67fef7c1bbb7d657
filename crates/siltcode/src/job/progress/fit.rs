//! One series of counts over the turnovers, and the most likely curve through it.

use serde::Serialize;

use super::curve::{Curve, Search, Through};
use super::errors::StandardErrors;
use super::seen::{Observed, Seen, Term};
use crate::certainty::gamma::Gamma;
use crate::certainty::{Level, Probability, Scatter, normal};
use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::tank::Turnovers;

/// The efficiency that a tank itself shows: how fast its counts fall, per turnover \[-\], 0 or more.
///
/// In a stirred tank whose whole flow goes through the filter it is the filter's efficiency. It can lie above 1: where
/// the fluid is displaced rather than mixed, where particles settle, or where flow or volume are not as stated.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct ShownEfficiency(f64);

impl ShownEfficiency {
    /// An efficiency that a tank shows.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the value is finite and >= 0.
    pub fn new(value: f64) -> Result<Self> {
        if value.is_finite() && value >= 0.0 {
            return Ok(Self(value));
        }
        Err(ErrorKind::FactorOutOfRange { name: "efficiency that a tank shows".into(), value, least: 0.0 }
            .into())
    }

    /// No fall.
    pub(super) const NONE: Self = Self(0.0);

    /// A computed one, known to be finite and not negative.
    pub(super) const fn computed(value: f64) -> Self {
        Self(value)
    }

    /// The efficiency \[1/turnover\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// Whether a curve may have a floor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FloorRule {
    /// It may: the floor is 0 or more.
    Free,
    /// It has none. What is predicted so is too good where there is one.
    Absent,
}

/// Where the counts do not fix the rate of the fall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Edge {
    /// The counts do not fall.
    NoFall,
    /// The fall was over by the second sample: its rate has only a lower bound.
    Sudden,
}

/// How well a curve goes through its counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Goodness {
    /// Twice what the likelihood of the counts lacks to the most it can be \[-\]: about `freedom`. Bounds take no part.
    pub deviance: f64,
    /// The sum of squared residuals, each over its variance \[-\]: about `freedom`.
    pub pearson: f64,
    /// Counts less what was fitted to them \[-\].
    pub freedom: u32,
    /// How likely chance alone gives at least this deviance; none without freedom.
    pub p: Option<Probability>,
}

/// The test whether there is a floor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FloorTest {
    /// The likelihood ratio statistic against no floor \[-\].
    pub statistic: f64,
    /// How likely chance alone gives at least this: half of the tail of chi-square with one degree of freedom, since no
    /// floor is the end of what a floor can be.
    pub p: Probability,
}

/// The most likely curve through the counts of one series.
///
/// ```
/// use siltcode::certainty::Scatter;
/// use siltcode::job::progress::{Fit, FloorRule, Observed};
/// use siltcode::tank::Turnovers;
/// use siltcode::{CountedVolume, Dilution};
///
/// let (ml, none) = (CountedVolume::from_ml(1.0)?, Dilution::NONE);
/// let seen = [">=20000", "9100", "3350", "1230", "<500"];
/// let observed = |(after, seen): (u8, &str)| {
///     Observed::new(Turnovers::new(f64::from(after))?, seen.parse()?, ml, none)
/// };
/// let series = (0..).zip(seen).map(observed);
/// let series = series.collect::<siltcode::Result<Vec<_>>>()?;
/// let fit = Fit::new(&series, FloorRule::Absent, Scatter::NONE)?;
/// assert_eq!(format!("{:.3}", fit.efficiency().get()), "1.001");
/// assert_eq!(format!("{:.0}", fit.above_floor().get()), "24756");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct Fit {
    pub(super) terms: Vec<Term>,
    pub(super) curve: Curve,
    pub(super) floor: FloorRule,
    pub(super) ln_likelihood: f64,
    pub(super) edge: Option<Edge>,
    /// By how much the counts scatter more than was fitted \[-\], in variance.
    pub(super) widening: f64,
    /// The degrees of freedom that the widening rests on, where there is one.
    pub(super) scatter_freedom: Option<u32>,
    first: f64,
}

impl Fit {
    /// The most likely curve, of which bottles scatter beyond counting as stated.
    ///
    /// With a scatter the counts are taken as those of smaller volumes, of the relative variance `1 / k + cv^2` at the
    /// count `k` that the curve itself gives.
    ///
    /// The order in which the series is given has no meaning.
    ///
    /// # Errors
    /// `too-few-samples` unless there are two or more at different turnovers; `nothing-bounds-above` where every one is
    /// only a lower bound.
    pub fn new(series: &[Observed], floor: FloorRule, scatter: Scatter) -> Result<Self> {
        let mut series = series.to_vec();
        series.sort_by(Observed::order);
        Self::ensure_usable(&series)?;
        let first = series.first().map_or(0.0, |observed| observed.turnovers);
        let weighted = |weight: &dyn Fn(&Observed) -> f64| -> Vec<Term> {
            series.iter().map(|seen| Term::new(seen, seen.turnovers - first, weight(seen))).collect()
        };
        let mut fit = Self::of_terms(weighted(&|_| 1.0), floor, first)?;
        if scatter > Scatter::NONE {
            fit = fit.settled(&series, scatter)?;
        }
        Ok(fit)
    }

    /// Refuses a sorted series that has no fall, or only lower bounds.
    pub(super) fn ensure_usable(series: &[Observed]) -> Result<()> {
        let places = 1 + series.windows(2).filter(|pair| pair[1].turnovers > pair[0].turnovers).count();
        if series.is_empty() || places < 2 {
            let found = places.min(series.len());
            return Err(ErrorKind::TooFewSamples { found, needed: 2 }.into());
        }
        if series.iter().all(|observed| matches!(observed.seen, Seen::AtLeast(_))) {
            return Err(ErrorKind::NothingBoundsAbove {}.into());
        }
        Ok(())
    }

    /// Weights and curve by turns, until neither moves.
    fn settled(mut self, series: &[Observed], scatter: Scatter) -> Result<Self> {
        const MOST_TURNS: usize = 50;
        for _ in 0..MOST_TURNS {
            let before = self.curve;
            let terms = series.iter().map(|seen| {
                let since = seen.turnovers - self.first;
                let weight = 1.0 / (1.0 + scatter.cv().powi(2) * seen.ml * before.at(since));
                Term::new(seen, since, weight)
            });
            self = Self::of_terms(terms.collect(), self.floor, self.first)?;
            let moved = |new: f64, old: f64| (new - old).abs() > 1e-10 * old.abs();
            if !(moved(self.curve.above, before.above) || moved(self.curve.rate, before.rate)) {
                break;
            }
        }
        Ok(self)
    }

    /// The same fit, its intervals widened by what its counts scatter beyond what was fitted, if that is more than chance
    /// allows.
    ///
    /// The factor in variance is the sum of squared residuals over its degrees of freedom (quasi-likelihood: R. W. M.
    /// Wedderburn, Biometrika 61 (1974) 439-447); with it intervals are Student's, which are wide where it rests on one or
    /// two degrees of freedom.
    #[must_use]
    pub fn widened(self, alarm: Level) -> Self {
        let Goodness { pearson, freedom, p, .. } = self.goodness();
        let factor = pearson / f64::from(freedom.max(1));
        if p.is_none_or(|p| p.get() >= alarm.risk()) || factor <= 1.0 {
            return self;
        }
        Self { widening: factor, scatter_freedom: Some(freedom), ..self }
    }

    /// By how much the counts scatter more than was fitted, in variance \[-\]: 1 unless it was found.
    #[must_use]
    pub const fn widening(&self) -> f64 {
        self.widening
    }

    fn of_terms(terms: Vec<Term>, floor: FloorRule, first: f64) -> Result<Self> {
        if !terms.iter().any(Term::bounds_above) {
            return Err(ErrorKind::NothingBoundsAbove {}.into());
        }
        let search = Search { terms: &terms, floor: floor == FloorRule::Free, through: None };
        let (curve, ln_likelihood) = search.best();
        let edge = match search.is_at_end(curve.rate) {
            _ if curve.above == 0.0 => Some(Edge::NoFall),
            [true, _] => Some(Edge::NoFall),
            [_, true] => Some(Edge::Sudden),
            _ => None,
        };
        Ok(Self { terms, curve, floor, ln_likelihood, edge, widening: 1.0, scatter_freedom: None, first })
    }

    /// The height above the floor at the first sample \[particles/mL\].
    #[must_use]
    pub fn above_floor(&self) -> PerMl {
        per_ml(self.curve.above)
    }

    /// The efficiency that the tank shows; 0 where the counts do not fall.
    #[must_use]
    pub fn efficiency(&self) -> ShownEfficiency {
        ShownEfficiency(if self.edge == Some(Edge::NoFall) { 0.0 } else { self.curve.rate })
    }

    /// The floor \[particles/mL\].
    #[must_use]
    pub fn floor(&self) -> PerMl {
        per_ml(self.curve.floor)
    }

    /// Where the counts do not fix the rate of the fall.
    #[must_use]
    pub const fn edge(&self) -> Option<Edge> {
        self.edge
    }

    /// Standard errors; none where the rate is not fixed.
    #[must_use]
    pub fn errors(&self) -> Option<StandardErrors> {
        let errors = self.edge.is_none().then(|| StandardErrors::of_terms(&self.curve, &self.terms))?;
        errors.map(|errors| errors.widened(self.widening))
    }

    /// The logarithm of the likelihood \[-\].
    #[must_use]
    pub const fn ln_likelihood(&self) -> f64 {
        self.ln_likelihood
    }

    /// The turnovers of the first and of the last sample.
    #[must_use]
    pub fn span(&self) -> [Turnovers; 2] {
        [self.first, self.first + self.last()].map(|at| Turnovers::new(at).unwrap_or(Turnovers::NONE))
    }

    /// The curve after so many turnovers, counted as the samples' are; before the first sample, as at it.
    #[must_use]
    pub fn at(&self, turnovers: Turnovers) -> PerMl {
        per_ml(self.curve.at((turnovers.get() - self.first).max(0.0)))
    }

    /// Turnovers from the first sample to the last.
    pub(super) fn last(&self) -> f64 {
        self.terms.last().map_or(0.0, |term| term.since)
    }

    /// How well the curve goes through the counts.
    #[must_use]
    pub fn goodness(&self) -> Goodness {
        let counts =
            self.terms.iter().filter_map(|term| Some((term, term.weight * term.seen.count()? as f64)));
        let (mut deviance, mut pearson, mut number) = (0.0, 0.0, 0);
        for (term, count) in counts {
            let mean = term.ml * self.curve.at(term.since);
            let saturated = if count > 0.0 { Gamma::ln_term(count, count) } else { 0.0 };
            deviance += 2.0 * (saturated - term.at(self.curve.at(term.since)).value);
            pearson += if mean > 0.0 { (count - mean).powi(2) / mean } else { 0.0 };
            number += 1;
        }
        let fitted = 2 + u32::from(self.floor == FloorRule::Free && self.curve.floor > 0.0);
        let freedom = u32::saturating_sub(number, fitted);
        let deviance = deviance.max(0.0);
        let p = (freedom > 0).then(|| chance_above(deviance, freedom));
        Goodness { deviance, pearson, freedom, p }
    }

    /// The likelihood ratio statistic against a curve of this likelihood.
    pub(super) fn loss(&self, ln_likelihood: f64) -> f64 {
        (2.0 * (self.ln_likelihood - ln_likelihood) / self.widening).max(0.0)
    }

    /// The search among the curves that pass through a place.
    pub(super) fn through(&self, since: f64, per_ml: f64) -> Search<'_> {
        let through = Some(Through { since, per_ml });
        Search { terms: &self.terms, floor: self.floor == FloorRule::Free, through }
    }

    /// The test whether there is a floor; none where the curve was not allowed one.
    #[must_use]
    pub fn floor_test(&self) -> Option<FloorTest> {
        let none = Search { terms: &self.terms, floor: false, through: None };
        (self.floor == FloorRule::Free).then(|| {
            let statistic = self.loss(none.best().1);
            FloorTest { statistic, p: Probability::rounded(normal::upper_tail(statistic.sqrt())) }
        })
    }
}

/// How likely a chi-square variable lies above a value.
pub(super) fn chance_above(statistic: f64, freedom: u32) -> Probability {
    Probability::rounded(Gamma::at(f64::from(freedom) / 2.0, statistic / 2.0).upper())
}

fn per_ml(value: f64) -> PerMl {
    PerMl::new(value).unwrap_or(PerMl::ZERO)
}
