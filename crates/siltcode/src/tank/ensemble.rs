//! How sure the turnovers are: start, filter, ingress and mixing each known only within a factor.
//!
//! Each cause is lognormal; of the filtration ratio it is `beta - 1`, so that the ratio stays above 1. The turnovers
//! are those of the best estimate times a factor for mixing. More of a cause always makes the tank dirtier, or always
//! cleaner: so for given values of the others, the part of one cause that still meets the target is a normal
//! probability. That is done for the widest cause; the others are summed over nodes of the normal
//! density. Nothing is drawn at random: every run gives the same digits.

use serde::Serialize;

use super::channel::{Channel, ENDLESS, Factors, crossing, first_below};
use super::doubt::{Cause, Causes, Doubt, causes};
use super::nodes::{Grid, LEAST_WEIGHT, REACH, ROUNDING};
use super::turnovers::Turnovers;
use crate::certainty::normal::{upper_quantile, upper_tail};
use crate::certainty::{Level, Probability};

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

/// The turnovers a target needs, as a distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Ensemble {
    channels: Vec<Channel>,
    doubt: Doubt,
    causes: Option<Causes>,
    cases: Cases,
}

/// What a probability is summed over, by the cause whose part is a normal probability.
#[derive(Debug, Clone, PartialEq)]
enum Cases {
    /// Nothing is in doubt.
    One,
    /// Mixing: it multiplies turnovers that the other causes have settled.
    Mixing(Vec<Ideal>),
    /// Another cause.
    Other(Cause, Vec<Node>),
}

/// One combination of the causes that are summed over, each in its standard deviations; 0 for the one that is not.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Node {
    start: f64,
    beta: f64,
    ingress: f64,
    mixing: f64,
    weight: f64,
}

impl Node {
    const BEST: Self = Self { start: 0.0, beta: 0.0, ingress: 0.0, mixing: 0.0, weight: 1.0 };
}

/// The turnovers of the ideal tank in combinations that come to about the same, by their logarithm.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Ideal {
    log: f64,
    weight: f64,
}

impl Ensemble {
    /// The distribution for channels that must all reach their targets. What is unknown of the start is the same for
    /// all channels, which share their particles.
    #[must_use]
    pub fn new(channels: &[Channel], doubt: Doubt) -> Self {
        let causes = causes(channels, doubt);
        let mut ensemble = Self { channels: channels.to_vec(), doubt, causes, cases: Cases::One };
        ensemble.cases = match widest(channels, doubt, causes) {
            None => Cases::One,
            Some(Cause::Mixing) => Cases::Mixing(ensemble.ideals()),
            Some(cause) => Cases::Other(cause, ensemble.combined(Some(cause))),
        };
        ensemble
    }

    /// The turnovers of all combinations of the causes other than mixing, those that mixing blurs into one together.
    fn ideals(&self) -> Vec<Ideal> {
        let ideal = |node: Node| Ideal { log: self.ideal(&node).ln(), weight: node.weight };
        let mut ideals: Vec<Ideal> = self.combined(Some(Cause::Mixing)).into_iter().map(ideal).collect();
        ideals.sort_by(|a, b| a.log.total_cmp(&b.log));
        let mut groups: Vec<(f64, Ideal)> = Vec::new();
        for ideal in ideals {
            match groups.last_mut() {
                Some((from, group))
                    if ideal.log.total_cmp(from).is_eq()
                        || ideal.log - *from < BLURRED * self.doubt.mixing =>
                {
                    *group = group.and(ideal);
                }
                _ => groups.push((ideal.log, ideal)),
            }
        }
        groups.into_iter().map(|(_, group)| group).collect()
    }

    /// The combinations of all causes in doubt but one.
    fn combined(&self, but: Option<Cause>) -> Vec<Node> {
        let summed = |cause| Some(cause) != but && spread(&self.channels, self.doubt, cause) > 0.0;
        let dimensions = [Cause::Start, Cause::Beta, Cause::Ingress, Cause::Mixing].map(summed);
        let grid = match dimensions.iter().filter(|summed| **summed).count() {
            _ if but == Some(Cause::Beta) => Grid::COARSE,
            3 => Grid::NARROW,
            _ => Grid::WIDE,
        };
        let [start, beta, ingress, mixing] = dimensions;
        let mut nodes = Vec::new();
        let beta_from =
            if ingress { None } else { self.least_beta().filter(|_| but != Some(Cause::Ingress)) };
        for (beta, by_beta) in grid.above(beta, beta_from) {
            let ingress_to = self.most_ingress(if but == Some(Cause::Beta) { REACH } else { beta });
            for (ingress, by_ingress) in grid.below(ingress, ingress_to) {
                for (start, by_start) in grid.all(start) {
                    for (mixing, by_mixing) in grid.all(mixing) {
                        let weight = by_beta * by_ingress * by_start * by_mixing;
                        if weight > LEAST_WEIGHT {
                            nodes.push(Node { start, beta, ingress, mixing, weight });
                        }
                    }
                }
            }
        }
        nodes
    }

    /// What the causes of a combination do to each channel.
    fn factors<'a>(&'a self, node: &Node) -> impl Iterator<Item = (&'a Channel, Factors)> {
        let (start, beta) = (node.start, (node.beta * self.doubt.beta).exp());
        let ingress = (node.ingress * self.doubt.ingress).exp();
        self.channels.iter().map(move |channel| {
            let start = (start * self.doubt.start_of(channel)).exp();
            (channel, Factors { start, beta, ingress })
        })
    }

    /// The turnovers of the ideal tank; infinite where a target is out of reach.
    fn ideal(&self, node: &Node) -> f64 {
        let needed = self.factors(node).map(|(channel, factors)| {
            channel.scaled(&factors).turnovers().map_or(f64::INFINITY, Turnovers::get)
        });
        needed.fold(0.0, f64::max)
    }

    /// How far beta may fall short of its best estimate for every target to stay above its floor, in standard
    /// deviations; none where that cannot be lost.
    fn least_beta(&self) -> Option<f64> {
        let excess = |beta: f64| {
            let by = Factors { beta: (beta * self.doubt.beta).exp(), ..Factors::NONE };
            let over = self.channels.iter().map(|channel| channel.scaled(&by).floor() / channel.target());
            over.fold(0.0, f64::max).ln()
        };
        (excess(-REACH) > 0.0).then(|| falling(excess).unwrap_or(REACH))
    }

    /// How much ingress may exceed its best estimate, likewise.
    fn most_ingress(&self, beta: f64) -> Option<f64> {
        let by = Factors { beta: (beta * self.doubt.beta).exp(), ..Factors::NONE };
        let most = self.channels.iter().map(|channel| {
            let channel = channel.scaled(&by);
            let shed = channel.shed_floor();
            ((channel.target() - shed).max(0.0) / (channel.floor() - shed)).ln() / self.doubt.ingress
        });
        most.filter(|most| !most.is_nan()).reduce(f64::min)
    }

    /// The probability that so many turnovers are enough.
    #[must_use]
    pub fn clean_after(&self, turnovers: Turnovers) -> Probability {
        let turnovers = turnovers.get();
        Probability::rounded(match &self.cases {
            Cases::One => f64::from(u8::from(turnovers >= self.best() * (1.0 - 4.0 * f64::EPSILON))),
            Cases::Mixing(ideals) => {
                let log = turnovers.ln();
                ideals.iter().map(|ideal| ideal.weight * ideal.enough(log, self.doubt.mixing)).sum()
            }
            Cases::Other(cause, nodes) => {
                nodes.iter().map(|node| node.weight * self.enough(node, turnovers, *cause)).sum()
            }
        })
    }

    /// The turnovers of the ideal tank by the best estimates.
    fn best(&self) -> f64 {
        self.ideal(&Node::BEST)
    }

    /// The probability that so many turnovers are enough where all causes but this one are given.
    fn enough(&self, node: &Node, turnovers: f64, cause: Cause) -> f64 {
        let ideal = turnovers / (node.mixing * self.doubt.mixing).exp();
        match cause {
            Cause::Beta => self.by_beta(node, ideal),
            _ => self.by_start_or_ingress(node, ideal, cause),
        }
    }

    /// The concentration is a sum of what is left of the start and of the ingress, so the most of either that still
    /// meets the target needs no search.
    fn by_start_or_ingress(&self, node: &Node, ideal: f64, cause: Cause) -> f64 {
        let most = self.factors(node).map(|(channel, factors)| {
            let parts = channel.parts(&factors, ideal);
            let (own, other, spread) = match cause {
                Cause::Ingress => (parts.ingress, parts.start, self.doubt.ingress),
                _ => (parts.start, parts.ingress, self.doubt.start_of(channel)),
            };
            let room = channel.target() - parts.shed - other;
            match (room / own).ln() / spread {
                _ if room < 0.0 => f64::NEG_INFINITY,
                most if most.is_nan() => f64::INFINITY,
                most => most,
            }
        });
        upper_tail(-most.fold(f64::INFINITY, f64::min))
    }

    fn by_beta(&self, node: &Node, ideal: f64) -> f64 {
        let excess = |beta: f64| {
            let node = Node { beta, ..*node };
            let over = self.factors(&node).map(|(channel, factors)| {
                let parts = channel.parts(&factors, ideal);
                (parts.start + parts.ingress + parts.shed) / channel.target()
            });
            over.fold(0.0, f64::max).ln()
        };
        falling(excess).map_or(0.0, upper_tail)
    }

    /// The turnovers that are enough with this probability; none where the target may be out of reach more often
    /// than that leaves room for.
    #[must_use]
    pub fn quantile(&self, level: Level) -> Option<Turnovers> {
        if self.cases == Cases::One {
            let needed = self.best();
            return needed.is_finite().then(|| Turnovers::computed(needed));
        }
        let after = |turnovers: f64| self.clean_after(Turnovers::computed(turnovers)).get();
        if after(0.0) >= level.get() {
            return Some(Turnovers::NONE);
        }
        if after(ENDLESS) < level.get() {
            return None;
        }
        let wanted = upper_quantile(level.get());
        // by the logarithm the deviations are near to a straight line
        let missing = |log: f64| upper_quantile(after(log.exp())) - wanted;
        let at = |log: f64| (log, missing(log));
        let (mut low, mut high) = (at(0.0), at(1.0));
        while high.1 > 0.0 {
            (low, high) = (high, at(high.0 + 1.0));
        }
        while low.1 <= 0.0 {
            (low, high) = (at(2.0 * low.0 - 1.0), low);
        }
        Some(Turnovers::computed(crossing(missing, low, high, SETTLED).exp()))
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
        let nodes = self.combined(Some(Cause::Mixing));
        let reached: f64 = nodes.iter().map(|node| node.weight).sum();
        if reached < 1.0 - ROUNDING {
            return f64::INFINITY;
        }
        let ideal: f64 = nodes.iter().map(|node| self.ideal(node) * node.weight).sum();
        ideal * (0.5 * self.doubt.mixing.powi(2)).exp()
    }

    /// The share of each cause in the variance, by the slopes at the best estimate of the channel that decides;
    /// none without doubt, or where the target is met or out of reach.
    #[must_use]
    pub const fn causes(&self) -> Option<Causes> {
        self.causes
    }
}

impl Ideal {
    /// The probability that turnovers of this logarithm are enough, for a standard deviation of the mixing.
    fn enough(&self, turnovers: f64, mixing: f64) -> f64 {
        let missing = (self.log - turnovers) / mixing;
        if self.log == f64::NEG_INFINITY || missing < -CERTAIN { 1.0 } else { upper_tail(missing) }
    }

    /// Both together, at their mean; an end without bound stays where it is.
    fn and(self, other: Self) -> Self {
        let weight = self.weight + other.weight;
        let log = if self.log.total_cmp(&other.log).is_eq() {
            self.log
        } else {
            self.log + (other.log - self.log) * (other.weight / weight)
        };
        Self { log, weight }
    }
}

/// A part of the standard deviation of mixing so small that it makes no difference: what is put together at its mean
/// within it changes a probability by less than a millionth.
const BLURRED: f64 = 0.004;

/// More standard deviations than leave anything that a double can tell from 1.
const CERTAIN: f64 = 9.0;

/// A change of the logarithm of turnovers that is far below what the nodes leave open, as a part of it.
const SETTLED: f64 = 1e-12;

/// Where a falling function crosses 0 within reach, in standard deviations; none where it stays above.
fn falling(of: impl Fn(f64) -> f64) -> Option<f64> {
    if of(REACH) > 0.0 {
        return None;
    }
    if of(-REACH) <= 0.0 {
        return Some(-REACH);
    }
    first_below(|from_low: f64| of((from_low - REACH).min(REACH)), ROUNDING).map(|from_low| from_low - REACH)
}

/// The largest standard deviation of the logarithm of a cause.
fn spread(channels: &[Channel], doubt: Doubt, cause: Cause) -> f64 {
    match cause {
        Cause::Start => channels.iter().map(|channel| doubt.start_of(channel)).fold(0.0, f64::max),
        Cause::Beta => doubt.beta,
        Cause::Ingress if channels.iter().all(|channel| channel.floor() <= channel.shed_floor()) => 0.0,
        Cause::Ingress => doubt.ingress,
        Cause::Mixing => doubt.mixing,
    }
}

/// The cause with the largest share of the doubt, or one near to it whose part needs less work; where shares are not
/// known, the first that is in doubt.
fn widest(channels: &[Channel], doubt: Doubt, causes: Option<Causes>) -> Option<Cause> {
    let easiest_first = [Cause::Mixing, Cause::Ingress, Cause::Start, Cause::Beta];
    let in_doubt = |cause: &Cause| spread(channels, doubt, *cause) > 0.0;
    let near = |cause: &Cause| causes.is_none_or(|causes| causes.share(*cause) >= NEAR * causes.largest().1);
    easiest_first.into_iter().find(|cause| in_doubt(cause) && near(cause))
}

/// The part of the largest share of the variance that a share may be and still be as good to integrate over: the others
/// are then at most twice as wide.
const NEAR: f64 = 0.25;
