//! One channel of a tank: its bins, each with its own decay, and when their sum meets a target.
//!
//! Every bin starts even and goes to its floor: `n = start left(tau) + ingress entered(tau) + shed / E (1 - left(tau))`,
//! where `tau` counts turnovers, `left` and `entered` come from the [mixing](super::mixing), and `E` is the filter's
//! efficiency. In a stirred tank without short circuit `left` is `exp(-E tau)`.

use crate::count::PerMl;
use crate::filter::{Efficiency, Share};

use super::mixing::{Circuit, Left, Mixing};
use super::mixing_factor::MixingFactor;
use super::turnovers::Turnovers;

/// One bin of a tank: its start, what comes in, and how it is cleaned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BinState {
    pub(super) start: f64,
    ingress: f64,
    pub(super) shed: f64,
    pub(super) efficiency: f64,
    short: f64,
    circuit: Circuit,
}

impl BinState {
    /// A bin with its start, the particles per mL of tank that come in during one turnover, and the efficiency.
    #[must_use]
    pub fn new(start: PerMl, ingress_per_turnover: PerMl, efficiency: Efficiency) -> Self {
        let (start, ingress, efficiency) = (start.get(), ingress_per_turnover.get(), efficiency.get());
        Self { start, ingress, shed: 0.0, efficiency, short: 0.0, circuit: Circuit::new(efficiency, 0.0) }
    }

    /// The same bin where the filter sheds so many particles into each mL that it returns.
    ///
    /// Shedding is like ingress but for its floor, which no flow lowers.
    #[must_use]
    pub fn shedding(self, returned: PerMl) -> Self {
        Self { shed: returned.get(), ..self }
    }

    /// The same bin where a share of the return goes straight to the suction.
    #[must_use]
    pub fn short_circuited(self, short: Share) -> Self {
        Self { short: short.get(), circuit: Circuit::new(self.efficiency, short.get()), ..self }
    }

    fn floor(&self, mixing: Mixing) -> f64 {
        if self.efficiency == 0.0 {
            let endless = self.ingress > 0.0 || self.shed > 0.0;
            return if endless { f64::INFINITY } else { self.start };
        }
        let entered =
            if self.ingress == 0.0 { 0.0 } else { self.ingress * mixing.floor_in(self.circuit).mean };
        entered + self.shed_floor()
    }

    /// What shedding alone comes to, everywhere in the tank.
    pub(super) fn shed_floor(&self) -> f64 {
        if self.shed == 0.0 { 0.0 } else { self.shed / self.efficiency }
    }

    /// The concentration at the suction end of the tank, and on average over it.
    fn after(&self, mixing: Mixing, tau: f64) -> Left {
        let left = mixing.left_in(self.circuit, tau);
        let entered = if self.ingress == 0.0 { left } else { mixing.entered_in(self.circuit, tau) };
        let shed = self.shed_floor();
        let sum = |left: f64, entered: f64| shed + (self.start - shed) * left + self.ingress * entered;
        Left { suction: sum(left.suction, entered.suction), mean: sum(left.mean, entered.mean) }
    }

    /// What the mean still is above its floor, to its own digits.
    fn above_floor(&self, mixing: Mixing, tau: f64) -> f64 {
        mixing.above_floor_in(self.circuit, self.start - self.shed_floor(), self.ingress, tau)
    }

    /// What comes back to the tank while its suction end holds so much.
    fn returned(&self, suction: f64) -> f64 {
        (1.0 - self.circuit.kept) * suction + self.circuit.rounds * self.shed
    }

    /// What the suction line carries: the tank's suction end, and what came straight from the return.
    fn drawn(&self, mixing: Mixing, tau: f64) -> f64 {
        let suction = self.after(mixing, tau).suction;
        (1.0 - self.short) * suction + self.short * self.returned(suction)
    }

    /// By how much the mean changes a turnover: the mass balance of the tank.
    fn change(&self, mixing: Mixing, tau: f64) -> f64 {
        let suction = self.after(mixing, tau).suction;
        self.ingress + self.circuit.through * (self.returned(suction) - suction)
    }

    /// By how much the mean changes with the logarithm of `beta - 1`.
    fn change_by_beta(&self, mixing: Mixing, tau: f64) -> f64 {
        if mixing != Mixing::Well || self.short > 0.0 {
            let at =
                |log: f64| self.scaled(&Factors { beta: log.exp(), ..Factors::NONE }).after(mixing, tau).mean;
            return (8.0 * (at(STEP) - at(-STEP)) - (at(2.0 * STEP) - at(-2.0 * STEP))) / (12.0 * STEP);
        }
        let (e, floor, left) = (self.efficiency, self.floor(mixing), (-self.efficiency * tau).exp());
        -(floor / e * (1.0 - left) + (self.start - floor) * tau * left) * e * (1.0 - e)
    }

    /// The same bin with other values of the doubtful causes.
    fn scaled(&self, by: &Factors) -> Self {
        let e = self.efficiency;
        // with b = 1 / (1 - e): 1 - 1 / (1 + (b - 1) f) = e f / (1 - e + e f)
        let efficiency = (e * by.beta / (1.0 - e + e * by.beta)).min(1.0);
        let (start, ingress) = (self.start * by.start, self.ingress * by.ingress);
        Self { start, ingress, efficiency, circuit: Circuit::new(efficiency, self.short), ..*self }
    }
}

/// Step of a logarithm for a difference of fourth order.
const STEP: f64 = 1e-3;

/// Factors on the best estimates of what is doubtful; that of beta acts on `beta - 1`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Factors {
    pub(super) start: f64,
    pub(super) beta: f64,
    pub(super) ingress: f64,
}

impl Factors {
    pub(super) const NONE: Self = Self { start: 1.0, beta: 1.0, ingress: 1.0 };
}

/// Turnovers for each unit of the logarithm of a cause \[-\].
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Slopes {
    /// Of the start.
    pub start: f64,
    /// Of `beta - 1`; a slope for the logarithm of beta is this times `beta / (beta - 1)`.
    pub beta: f64,
    /// Of the ingress.
    pub ingress: f64,
    /// Of the mixing factor.
    pub mixing: f64,
}

/// What each cause has left in a tank \[1/mL\].
#[derive(Debug, Clone, Copy)]
pub(super) struct Parts {
    pub(super) start: f64,
    pub(super) ingress: f64,
    pub(super) shed: f64,
}

/// All particles at and above a size: bins, and the most there may be in the end.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    pub(super) bins: Vec<BinState>,
    target: f64,
    mixing: Mixing,
    mixing_factor: MixingFactor,
    start_log_sd: f64,
}

impl Channel {
    /// A channel of bins with its target, in a stirred tank.
    #[must_use]
    pub fn new(bins: Vec<BinState>, target: PerMl) -> Self {
        let (mixing, mixing_factor) = (Mixing::Well, MixingFactor::NONE);
        Self { bins, target: target.get(), mixing, mixing_factor, start_log_sd: 0.0 }
    }

    /// The same channel in a tank whose fluid moves in another way.
    #[must_use]
    pub fn mixed(self, mixing: Mixing) -> Self {
        Self { mixing, ..self }
    }

    /// The same channel where imperfect mixing multiplies the turnovers.
    #[must_use]
    pub fn slowed(self, mixing_factor: MixingFactor) -> Self {
        Self { mixing_factor, ..self }
    }

    /// The turnovers of a stirred tank that clean as much.
    fn ideal(&self, turnovers: f64) -> f64 {
        turnovers / self.mixing_factor.get()
    }

    /// The same channel with the standard deviation of the logarithm of its start.
    pub(super) fn doubted(self, start_log_sd: f64) -> Self {
        Self { start_log_sd, ..self }
    }

    pub(super) const fn start_log_sd(&self) -> f64 {
        self.start_log_sd
    }

    pub(super) const fn target(&self) -> f64 {
        self.target
    }

    /// What each cause has left in the tank after so many turnovers, with these factors on it \[1/mL\].
    pub(super) fn parts(&self, by: &Factors, tau: f64) -> Parts {
        let tau = self.ideal(tau);
        let mut parts = Parts { start: 0.0, ingress: 0.0, shed: 0.0 };
        for bin in self.bins.iter().map(|bin| bin.scaled(by)) {
            let left = self.mixing.left_in(bin.circuit, tau).mean;
            parts.start += bin.start * left;
            parts.shed += bin.shed_floor() * (1.0 - left);
            if bin.ingress > 0.0 {
                parts.ingress += bin.ingress * self.mixing.entered_in(bin.circuit, tau).mean;
            }
        }
        parts
    }

    /// What is left of one turnover's ingress, so many turnovers after it came \[1/mL\].
    pub(super) fn entering_left(&self, tau: f64) -> f64 {
        let tau = self.ideal(tau);
        let left: f64 =
            self.bins.iter().map(|bin| bin.ingress * self.mixing.left_in(bin.circuit, tau).mean).sum();
        self.ideal(left)
    }

    /// The concentration of the tank, on average over it, after so many turnovers \[1/mL\].
    #[must_use]
    pub fn after(&self, turnovers: Turnovers) -> f64 {
        self.at(turnovers.get())
    }

    /// What a sample of the suction line shows after so many turnovers \[1/mL\]: less than the tank holds, unless the
    /// tank is stirred and nothing goes straight from the return to the suction.
    #[must_use]
    pub fn at_suction(&self, turnovers: Turnovers) -> f64 {
        let tau = self.ideal(turnovers.get());
        self.bins.iter().map(|bin| bin.drawn(self.mixing, tau)).sum()
    }

    /// The concentration no number of turnovers goes below \[1/mL\].
    #[must_use]
    pub fn floor(&self) -> f64 {
        self.bins.iter().map(|bin| bin.floor(self.mixing)).sum()
    }

    /// The part of the floor that the filter sheds, whatever the flow \[1/mL\].
    pub(super) fn shed_floor(&self) -> f64 {
        self.bins.iter().map(BinState::shed_floor).sum()
    }

    fn at(&self, tau: f64) -> f64 {
        let tau = self.ideal(tau);
        self.bins.iter().map(|bin| bin.after(self.mixing, tau).mean).sum()
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
        self.turnovers_to(self.target)
    }

    /// The turnovers after which the concentration is at most this.
    pub(super) fn turnovers_to(&self, target: f64) -> Option<Turnovers> {
        if self.at(0.0) <= target {
            return Some(Turnovers::NONE);
        }
        let floor = self.floor();
        if floor.is_nan() || floor >= target {
            return None;
        }
        if let ([bin], Mixing::Well) = (&self.bins[..], self.mixing) {
            let (above, allowed) = (bin.start - floor, target - floor);
            let ratio = above / allowed;
            let falls = if ratio.is_finite() { ratio.ln() } else { above.ln() - allowed.ln() };
            let needed = falls / bin.circuit.efficiency();
            return Some(Turnovers::computed(needed * self.mixing_factor.get()));
        }
        let above_floor =
            |tau: f64| self.bins.iter().map(|bin| bin.above_floor(self.mixing, tau)).sum::<f64>();
        let above = |tau: f64| (above_floor(tau) / (target - floor)).ln();
        first_below(above, SETTLED).map(|needed| Turnovers::computed(needed * self.mixing_factor.get()))
    }

    /// How the turnovers to the target change with each cause; none where it is met already or out of reach.
    ///
    /// Differentiates the equation that the turnovers solve.
    #[must_use]
    pub fn slopes(&self) -> Option<Slopes> {
        let tau = self.turnovers()?.get();
        let sum = |of: &dyn Fn(&BinState) -> f64| self.bins.iter().map(of).sum::<f64>();
        let (ideal, parts) = (self.ideal(tau), self.parts(&Factors::NONE, tau));
        let by_tau = self.ideal(sum(&|bin| bin.change(self.mixing, ideal)));
        let slopes = Slopes {
            start: -parts.start / by_tau,
            beta: -sum(&|bin| bin.change_by_beta(self.mixing, ideal)) / by_tau,
            ingress: -parts.ingress / by_tau,
            mixing: tau,
        };
        (tau > 0.0 && by_tau < 0.0).then_some(slopes) // nothing moves where the last digits have vanished
    }

    /// The same channel behind a filter of this efficiency in every bin.
    pub(super) fn with_efficiency(&self, efficiency: Efficiency) -> Self {
        let efficiency = efficiency.get();
        let bin =
            |bin: &BinState| BinState { efficiency, circuit: Circuit::new(efficiency, bin.short), ..*bin };
        Self { bins: self.bins.iter().map(bin).collect(), ..*self }
    }

    /// The same channel at so many times the flow: as much less comes in during one turnover.
    pub(super) fn at_flow(&self, times: f64) -> Self {
        self.scaled(&Factors { ingress: 1.0 / times, ..Factors::NONE })
    }

    pub(super) fn scaled(&self, by: &Factors) -> Self {
        Self { bins: self.bins.iter().map(|bin| bin.scaled(by)).collect(), ..*self }
    }
}

/// A change of the turnovers that is rounding, as a part of them.
pub(super) const SETTLED: f64 = 1e-14;

/// More turnovers than anyone can run.
pub(super) const ENDLESS: f64 = 1e9;

/// Where a function that is above 0 at 0 first comes down to it, to within a part of it; none before it is [`ENDLESS`].
pub(super) fn first_below(above: impl Fn(f64) -> f64, settled: f64) -> Option<f64> {
    let at = |tau: f64| (tau, above(tau));
    let (mut low, mut high) = (at(0.0), at(1.0));
    while high.1 > 0.0 {
        (low, high) = (high, at(2.0 * high.0));
        if high.0 > ENDLESS {
            return None;
        }
    }
    Some(crossing(above, low, high, settled))
}

/// Where a function comes down to 0 between two of its points, the first of them above it, to within a part of the place.
///
/// The function is near to a straight line: false position, with the end that stays halved (Illinois). Where it is no
/// number (the logarithm of what lies below the floor) it counts as below.
pub(crate) fn crossing(
    mut above: impl FnMut(f64) -> f64,
    low: (f64, f64),
    high: (f64, f64),
    settled: f64,
) -> f64 {
    let number = |y: f64| if y.is_nan() { f64::NEG_INFINITY } else { y };
    let ((mut low, mut at_low), (mut high, mut at_high)) = (low, high);
    (at_low, at_high) = (number(at_low), number(at_high));
    let (mut last, mut side) = (low, None);
    for _ in 0..200 {
        let straight = (low * at_high - high * at_low) / (at_high - at_low);
        let tau = if straight > low && straight < high { straight } else { f64::midpoint(low, high) };
        let found = number(above(tau));
        let stays = if found > 0.0 {
            (low, at_low) = (tau, found);
            &mut at_high
        } else {
            (high, at_high) = (tau, found);
            &mut at_low
        };
        if side.replace(found > 0.0) == Some(found > 0.0) {
            *stays *= 0.5;
        }
        if found == 0.0 || (tau - last).abs() <= settled * tau.abs() {
            return tau;
        }
        last = tau;
    }
    high
}
