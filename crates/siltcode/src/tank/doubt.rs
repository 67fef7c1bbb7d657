//! What is known of each cause of doubt, and the share of each in what is not known.

use std::fmt;

use serde::Serialize;

use super::channel::Channel;
use super::turnovers::Turnovers;
use crate::error::{ErrorKind, Result};

/// What is known of each cause, as geometric standard deviations: 1 is certain, 1.5 within a factor of 1.5 in two
/// cases of three.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    start: f64,
    pub(super) beta: f64,
    pub(super) ingress: f64,
    pub(super) mixing: f64,
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
    /// The share of a cause \[-\].
    #[must_use]
    pub const fn share(&self, cause: Cause) -> f64 {
        match cause {
            Cause::Start => self.start,
            Cause::Beta => self.beta,
            Cause::Ingress => self.ingress,
            Cause::Mixing => self.mixing,
        }
    }

    /// The cause of the largest share, with its share \[-\].
    #[must_use]
    pub fn largest(&self) -> (Cause, f64) {
        let all = [Cause::Start, Cause::Beta, Cause::Ingress, Cause::Mixing]
            .map(|cause| (cause, self.share(cause)));
        all.into_iter().fold(all[0], |largest, next| if next.1 > largest.1 { next } else { largest })
    }
}

impl fmt::Display for Causes {
    /// The largest share in words: `mixing is 90 % of the doubt: take a second sample at another point of the tank`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (cause, share) = self.largest();
        write!(f, "{cause} is {:.0} % of the doubt: {}", 100.0 * share, cause.advice())
    }
}

fn at_least_one(name: &str, value: f64) -> Result<f64> {
    if value.is_finite() && value >= 1.0 {
        Ok(value)
    } else {
        Err(ErrorKind::FactorOutOfRange { name: name.into(), value, least: 1.0 }.into())
    }
}

impl Doubt {
    /// No doubt.
    pub const NONE: Self = Self { start: 0.0, beta: 0.0, ingress: 0.0, mixing: 0.0 };

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

    /// With a spread of the [mixing factor](super::MixingFactor), which multiplies the turnovers.
    ///
    /// # Errors
    /// As [`start`](Self::start).
    pub fn mixing(self, gsd: f64) -> Result<Self> {
        Ok(Self { mixing: at_least_one("spread of mixing", gsd)?.ln(), ..self })
    }
}

impl Doubt {
    /// Standard deviations of logarithms: of the start, of `beta - 1`, of the ingress and of mixing \[-\].
    pub(crate) const fn deviations(self) -> [f64; 4] {
        [self.start, self.beta, self.ingress, self.mixing]
    }

    /// The standard deviation of the logarithm of a channel's start: its own and what was stated.
    pub(super) fn start_of(&self, channel: &Channel) -> f64 {
        self.start.hypot(channel.start_log_sd())
    }
}

pub(super) fn causes(channels: &[Channel], doubt: Doubt) -> Option<Causes> {
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
