//! A well-mixed tank: what each bin does over turnovers, and when their sum meets a target.
//!
//! `V dn/dt = R - Q E n`, so a bin goes from its start to its floor, `n = floor + (start - floor) exp(-E tau)`, where
//! `tau` counts turnovers and the floor is what one turnover brings in, over `E`.

use std::fmt;

use serde::Serialize;

use crate::count::PerMl;
use crate::error::{ErrorKind, Result};
use crate::filter::{Beta, Efficiency};
use crate::units::significant;

/// How many times the tank's volume goes through the filter \[-\].
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Turnovers(f64);

impl Turnovers {
    /// None.
    pub const NONE: Self = Self(0.0);

    /// A number of turnovers.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the value is finite and >= 0.
    pub fn new(value: f64) -> Result<Self> {
        if value.is_finite() && value >= 0.0 {
            Ok(Self(value))
        } else {
            Err(ErrorKind::FactorOutOfRange { name: "turnovers".into(), value, least: 0.0 }.into())
        }
    }

    pub(super) const fn raw(value: f64) -> Self {
        Self(value)
    }

    /// The number \[-\].
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Turnovers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&significant(self.0, 3))
    }
}

/// The turnovers of a well-mixed tank that clean as much as one true passage: `beta ln beta / (beta - 1)`.
///
/// Seven turnovers is the rule for a filtration ratio near 1090, not for every filter:
///
/// ```
/// use siltcode::{filter::Beta, tank::turnovers_like_one_pass};
///
/// assert_eq!(turnovers_like_one_pass(Beta::new(75.0)?).to_string(), "4.38");
/// assert_eq!(turnovers_like_one_pass(Beta::new(1090.0)?).to_string(), "7");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn turnovers_like_one_pass(beta: Beta) -> Turnovers {
    Turnovers(beta.get().ln() / beta.efficiency().get())
}

/// One bin of a tank: its start, what a turnover brings in, and the share a turnover takes out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BinState {
    start: f64,
    ingress: f64,
    efficiency: f64,
}

impl BinState {
    /// A bin with its start, the particles per mL that come in during one turnover, and the efficiency.
    #[must_use]
    pub const fn new(start: PerMl, ingress_per_turnover: PerMl, efficiency: Efficiency) -> Self {
        Self { start: start.get(), ingress: ingress_per_turnover.get(), efficiency: efficiency.get() }
    }

    fn floor(self) -> f64 {
        if self.ingress == 0.0 { 0.0 } else { self.ingress / self.efficiency }
    }

    fn after(self, tau: f64) -> f64 {
        self.floor() + (self.start - self.floor()) * (-self.efficiency * tau).exp()
    }

    /// The same bin with other values of the doubtful causes, each as a factor on the best estimate; the factor of
    /// beta acts on `beta - 1`.
    #[must_use]
    pub(super) fn scaled(self, start: f64, beta: f64, ingress: f64) -> Self {
        let e = self.efficiency;
        // with b = 1 / (1 - e): 1 - 1 / (1 + (b - 1) f) = e f / (1 - e + e f)
        Self {
            start: self.start * start,
            ingress: self.ingress * ingress,
            efficiency: e * beta / (1.0 - e + e * beta),
        }
    }
}

/// All particles at and above a size: bins, and the most there may be in the end.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    bins: Vec<BinState>,
    target: f64,
}

impl Channel {
    /// A channel of bins with its target.
    #[must_use]
    pub fn new(bins: Vec<BinState>, target: PerMl) -> Self {
        Self { bins, target: target.get() }
    }

    /// The concentration after so many turnovers \[1/mL\].
    #[must_use]
    pub fn after(&self, turnovers: Turnovers) -> f64 {
        self.at(turnovers.0)
    }

    /// The concentration no number of turnovers goes below \[1/mL\].
    #[must_use]
    pub fn floor(&self) -> f64 {
        self.bins.iter().map(|bin| bin.floor()).sum()
    }

    /// What one turnover brings in \[1/mL\].
    pub(super) fn ingress(&self) -> f64 {
        self.bins.iter().map(|bin| bin.ingress).sum()
    }

    fn at(&self, tau: f64) -> f64 {
        self.bins.iter().map(|bin| bin.after(tau)).sum()
    }

    /// A concentration that is at least the channel's from here on, and falls all the time.
    fn ceiling(&self, tau: f64) -> f64 {
        let above = |bin: &BinState| (bin.start - bin.floor()).max(0.0) * (-bin.efficiency * tau).exp();
        self.floor() + self.bins.iter().map(above).sum::<f64>()
    }

    /// The turnovers after which the target is met; none where the floor is not below it.
    ///
    /// ```
    /// use siltcode::{PerMl, filter::Beta, tank::{BinState, Channel}};
    ///
    /// let bin = |per_turnover| {
    ///     let efficiency = Beta::new(75.0)?.efficiency();
    ///     Ok::<_, siltcode::Error>(BinState::new(PerMl::new(20_000.0)?, PerMl::new(per_turnover)?, efficiency))
    /// };
    /// let reach = |per_turnover| Ok::<_, siltcode::Error>(Channel::new(vec![bin(per_turnover)?], PerMl::new(640.0)?).turnovers());
    /// assert_eq!(reach(100.0)?.map(|turnovers| turnovers.to_string()).as_deref(), Some("3.66"));
    /// assert_eq!(reach(1000.0)?, None); // the floor is 1014 /mL
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn turnovers(&self) -> Option<Turnovers> {
        if self.at(0.0) <= self.target {
            return Some(Turnovers::NONE);
        }
        if self.floor() >= self.target {
            return None;
        }
        if let [bin] = self.bins[..] {
            let floor = bin.floor();
            return Some(Turnovers(((bin.start - floor) / (self.target - floor)).ln() / bin.efficiency));
        }
        let mut high = 1.0;
        while self.ceiling(high) > self.target {
            high *= 2.0;
            if high > 1e12 {
                return None;
            }
        }
        Some(Turnovers(halved(0.0, high, |tau| self.at(tau) > self.target)))
    }

    /// Slopes of the logarithm of the turnovers against the logarithms of start, `beta - 1` and ingress, where the
    /// target is met. Differentiates the equation that the turnovers solve.
    pub(super) fn slopes(&self, turnovers: Turnovers) -> [f64; 3] {
        let tau = turnovers.0;
        let (mut by_tau, mut by) = (0.0, [0.0; 3]);
        for bin in &self.bins {
            let (e, floor, left) = (bin.efficiency, bin.floor(), (-bin.efficiency * tau).exp());
            let e_by_beta = e * (1.0 - e);
            by_tau -= e * (bin.start - floor) * left;
            by[0] += bin.start * left;
            by[1] -= (floor / e * (1.0 - left) + (bin.start - floor) * tau * left) * e_by_beta;
            by[2] += floor * (1.0 - left);
        }
        by.map(|by| -by / by_tau / tau)
    }

    pub(super) fn scaled(&self, start: f64, beta: f64, ingress: f64) -> Self {
        let bins = self.bins.iter().map(|bin| bin.scaled(start, beta, ingress)).collect();
        Self { bins, target: self.target }
    }
}

/// Halves an interval to the last digit: the point from which a condition no longer holds.
pub(super) fn halved(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    loop {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            return high;
        }
        if holds(middle) { low = middle } else { high = middle }
    }
}
