//! How sure the turnovers are: start, filter, ingress and mixing each known only within a factor.
//!
//! Each cause is lognormal; of the filtration ratio it is `beta - 1`, so that the ratio stays above 1. The turnovers
//! are the mixing factor times those of the ideal tank. Given the other causes the share of mixing factors that
//! suffice is a normal probability, and the rest is a sum over evenly spaced nodes of the normal density, whose error
//! falls faster than any power of the spacing. Nothing is drawn at random: every run gives the same digits.

use std::fmt;

use serde::Serialize;

use super::channel::{Channel, Factors};
use super::turnovers::Turnovers;
use crate::certainty::quadrature::crossing;
use crate::certainty::{Level, Probability, normal};
use crate::error::{ErrorKind, Result};

/// What is known of each cause, as geometric standard deviations: 1 is certain, 1.5 within a factor of 1.5 in two
/// cases of three.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    start: f64,
    beta: f64,
    ingress: f64,
    mixing: f64,
    mixing_factor: f64,
}

/// Shares of the variance by cause; they sum to 1 \[-\].
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Causes {
    /// The start.
    pub start: f64,
    /// The filter.
    pub beta: f64,
    /// The ingress.
    pub ingress: f64,
    /// The mixing of the tank.
    pub mixing: f64,
}

/// A cause of doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// The start.
    Start,
    /// The filter.
    Beta,
    /// The ingress.
    Ingress,
    /// The mixing of the tank.
    Mixing,
}

impl Cause {
    /// What would narrow it.
    #[must_use]
    pub const fn advice(self) -> &'static str {
        match self {
            Self::Start => "count more volume, or another bottle",
            Self::Beta => "count upstream and downstream of the filter",
            Self::Ingress => "watch the counts while the filter stands still",
            Self::Mixing => "take a second sample at another point of the tank",
        }
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Start => "the start",
            Self::Beta => "the filter",
            Self::Ingress => "ingress",
            Self::Mixing => "mixing",
        })
    }
}

impl Causes {
    /// The cause of the largest share, with its share \[-\].
    #[must_use]
    pub fn largest(&self) -> (Cause, f64) {
        let shares = [
            (Cause::Start, self.start),
            (Cause::Beta, self.beta),
            (Cause::Ingress, self.ingress),
            (Cause::Mixing, self.mixing),
        ];
        shares.into_iter().fold(shares[0], |largest, next| if next.1 > largest.1 { next } else { largest })
    }
}

impl fmt::Display for Causes {
    /// The largest share in words: `mixing is 90 % of the doubt: take a second sample at another point of the tank`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (cause, share) = self.largest();
        write!(f, "{cause} is {:.0} % of the doubt: {}", 100.0 * share, cause.advice())
    }
}

/// Turnovers that are enough with a probability; none where the target may be out of reach more often than that
/// leaves room for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Planning {
    /// Enough in half of all cases: the median.
    pub p50: Option<Turnovers>,
    /// Enough in 80 % of all cases.
    pub p80: Option<Turnovers>,
    /// Enough in 90 % of all cases.
    pub p90: Option<Turnovers>,
    /// Enough in 95 % of all cases.
    pub p95: Option<Turnovers>,
}

fn at_least_one(name: &str, value: f64) -> Result<f64> {
    if value.is_finite() && value >= 1.0 {
        Ok(value)
    } else {
        Err(ErrorKind::FactorOutOfRange { name: name.into(), value, least: 1.0 }.into())
    }
}

impl Doubt {
    /// No doubt, and a tank that mixes perfectly.
    pub const NONE: Self = Self { start: 0.0, beta: 0.0, ingress: 0.0, mixing: 0.0, mixing_factor: 1.0 };

    /// With a spread of the start.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the geometric standard deviation is finite and >= 1; so for the next three.
    pub fn start(self, gsd: f64) -> Result<Self> {
        Ok(Self { start: at_least_one("spread of the start", gsd)?.ln(), ..self })
    }

    /// With a spread of `beta - 1`.
    ///
    /// # Errors
    /// As [`start`](Self::start).
    pub fn beta(self, gsd: f64) -> Result<Self> {
        Ok(Self { beta: at_least_one("spread of beta", gsd)?.ln(), ..self })
    }

    /// With a spread of the ingress.
    ///
    /// # Errors
    /// As [`start`](Self::start).
    pub fn ingress(self, gsd: f64) -> Result<Self> {
        Ok(Self { ingress: at_least_one("spread of the ingress", gsd)?.ln(), ..self })
    }

    /// With a median mixing factor, by which the ideal turnovers are multiplied, and its spread.
    ///
    /// # Errors
    /// As [`start`](Self::start), for both.
    pub fn mixing(self, factor: f64, gsd: f64) -> Result<Self> {
        let mixing_factor = at_least_one("mixing factor", factor)?;
        Ok(Self { mixing: at_least_one("spread of mixing", gsd)?.ln(), mixing_factor, ..self })
    }
}

impl Doubt {
    /// The standard deviation of the logarithm of a channel's start: its own and what was stated.
    fn start_of(&self, channel: &Channel) -> f64 {
        self.start.hypot(channel.start_log_sd())
    }
}

/// The turnovers a target needs, as a distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Ensemble {
    doubt: Doubt,
    /// Ideal turnovers (infinite where unreachable) and their weight.
    ideal: Vec<(f64, f64)>,
    causes: Option<Causes>,
}

/// Nodes reach this many standard deviations to each side.
const REACH: f64 = 8.0;

/// Nodes and weights of the normal density; one node where there is no doubt.
fn nodes(certain: bool, step: f64) -> Vec<(f64, f64)> {
    if certain {
        return vec![(0.0, 1.0)];
    }
    let mut nodes = Vec::new();
    let mut z = -REACH;
    while z <= REACH {
        nodes.push((z, (-0.5 * z * z).exp()));
        z += step;
    }
    let sum: f64 = nodes.iter().map(|node| node.1).sum();
    nodes.iter().map(|node| (node.0, node.1 / sum)).collect()
}

impl Ensemble {
    /// The distribution for channels that must all reach their targets. What is unknown of the start is the same for
    /// all channels, which share their particles.
    #[must_use]
    pub fn new(channels: &[Channel], doubt: Doubt) -> Self {
        let step = if doubt.ingress > 0.0 { 0.5 } else { 0.25 };
        let certain = doubt.start == 0.0 && channels.iter().all(|channel| channel.start_log_sd() == 0.0);
        let mut ideal = Vec::new();
        for (start, by_start) in nodes(certain, step) {
            for (beta, by_beta) in nodes(doubt.beta == 0.0, step) {
                for (ingress, by_ingress) in nodes(doubt.ingress == 0.0, step) {
                    let needed = channels.iter().map(|channel| {
                        let by = Factors {
                            start: (start * doubt.start_of(channel)).exp(),
                            beta: (beta * doubt.beta).exp(),
                            ingress: (ingress * doubt.ingress).exp(),
                        };
                        channel.scaled(&by).turnovers().map_or(f64::INFINITY, Turnovers::get)
                    });
                    ideal.push((needed.fold(0.0, f64::max), by_start * by_beta * by_ingress));
                }
            }
        }
        Self { doubt, ideal, causes: causes(channels, doubt) }
    }

    /// The probability that so many turnovers are enough.
    #[must_use]
    pub fn clean_after(&self, turnovers: Turnovers) -> Probability {
        let log = (turnovers.get() / self.doubt.mixing_factor).ln();
        let enough = |ideal: f64| match ideal {
            0.0 => 1.0,
            _ if !ideal.is_finite() || log == f64::NEG_INFINITY => 0.0,
            _ if self.doubt.mixing == 0.0 => f64::from(u8::from(log >= ideal.ln())),
            _ => normal::upper_tail((ideal.ln() - log) / self.doubt.mixing),
        };
        let sum: f64 = self.ideal.iter().map(|&(ideal, weight)| weight * enough(ideal)).sum();
        Probability::new(sum.clamp(0.0, 1.0)).unwrap_or(Probability::IMPOSSIBLE)
    }

    /// The turnovers that are enough with this probability; none where the target may be out of reach more often
    /// than that leaves room for.
    #[must_use]
    pub fn quantile(&self, level: Level) -> Option<Turnovers> {
        let short = |turnovers: f64| self.clean_after(Turnovers::computed(turnovers)).get() < level.get();
        if !short(0.0) {
            return Some(Turnovers::NONE);
        }
        let mut high = 1.0;
        while short(high) {
            high *= 2.0;
            if high > 1e12 {
                return None;
            }
        }
        let missing = |turnovers: f64| if short(turnovers) { 1.0 } else { -1.0 };
        Some(Turnovers::computed(crossing(missing, 0.0, high)))
    }

    /// The values to plan with.
    #[must_use]
    pub fn planning(&self) -> Planning {
        let enough = |p: f64| Level::new(p).ok().and_then(|level| self.quantile(level));
        Planning { p50: enough(0.5), p80: enough(0.8), p90: enough(0.9), p95: enough(0.95) }
    }

    /// The mean number of turnovers; infinite where the target may be out of reach.
    #[must_use]
    pub fn mean(&self) -> f64 {
        let ideal: f64 = self.ideal.iter().map(|(ideal, weight)| ideal * weight).sum();
        ideal * self.doubt.mixing_factor * (0.5 * self.doubt.mixing.powi(2)).exp()
    }

    /// The share of each cause in the variance, by the slopes at the best estimate of the channel that decides;
    /// none without doubt, or where the target is met or out of reach.
    #[must_use]
    pub const fn causes(&self) -> Option<Causes> {
        self.causes
    }
}

fn causes(channels: &[Channel], doubt: Doubt) -> Option<Causes> {
    let needed: Vec<f64> =
        channels.iter().map(|c| c.turnovers().map(Turnovers::get)).collect::<Option<_>>()?;
    let (i, _) = needed.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let slopes = channels[i].slopes()?;
    let squares = [
        slopes.start * doubt.start_of(&channels[i]),
        slopes.beta * doubt.beta,
        slopes.ingress * doubt.ingress,
        slopes.mixing * doubt.mixing,
    ]
    .map(|part| part * part);
    let sum: f64 = squares.iter().sum();
    let [start, beta, ingress, mixing] = squares.map(|square| square / sum);
    (sum > 0.0).then_some(Causes { start, beta, ingress, mixing })
}
