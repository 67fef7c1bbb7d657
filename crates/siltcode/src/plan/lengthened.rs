//! By how much every stage has to be lengthened so that it is enough with a probability, with each stage followed by itself
//! and one error of all filtration ratios.
//!
//! Start, ratios and ingress are summed over evenly spaced nodes of the normal density; mixing multiplies every time, so it
//! is a normal probability of a logarithm.

use super::balance::{Bin, Limit, least_time};
use crate::certainty::normal::upper_tail;
use crate::filter::Efficiency;
use crate::tank::Plant;

/// A stage as it runs.
pub(super) struct Running {
    pub(super) plant: Plant,
    /// How long it runs \[h\].
    pub(super) hours: f64,
    /// The factor by which mixing lengthens the ideal time \[-\].
    pub(super) mixing: f64,
    /// What the elements hold back, bin by bin.
    pub(super) held_back: Vec<Efficiency>,
}

/// A plan whose start, ratios, ingress and mixing are in doubt.
pub(super) struct Lengthened<'a> {
    pub(super) bins: &'a [Bin],
    pub(super) limits: &'a [Limit],
    pub(super) stages: Vec<Running>,
    /// Standard deviations of logarithms: of the start of each bin, of `beta - 1`, of the ingress, of mixing \[-\].
    pub(super) start: Vec<f64>,
    pub(super) beta: f64,
    pub(super) ingress: f64,
    pub(super) mixing: f64,
}

/// How far nodes reach to each side, and how close they stand for one, two and three causes \[standard deviations\].
const REACH: f64 = 4.0;
const STEPS: [f64; 4] = [1.0, 0.05, 0.2, 0.5];
/// Halvings of the logarithm of a factor, and how far it may lie from 1.
const HALVINGS: usize = 60;
const WIDEST: f64 = 30.0;

impl Lengthened<'_> {
    /// The factor that is enough with a probability; none where there is none.
    pub(super) fn quantile(&self, probability: f64) -> Option<f64> {
        let cases = self.cases();
        let enough = |log: f64| -> f64 { cases.iter().map(|case| case.1 * self.clean(case.0, log)).sum() };
        if enough(WIDEST) < probability {
            return None;
        }
        let (mut low, mut high) = (-WIDEST, WIDEST);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if enough(middle) < probability { low = middle } else { high = middle }
        }
        Some(high.exp())
    }

    /// The probability that a factor of this logarithm is enough where one of that logarithm is needed. Without doubt of
    /// the mixing the step between two cases is made a slope, so that the quantile does not jump.
    fn clean(&self, needed: f64, log: f64) -> f64 {
        let width = self.mixing.max(LEAST_WIDTH);
        if needed.is_finite() {
            upper_tail((needed - log) / width)
        } else {
            f64::from(u8::from(needed < 0.0))
        }
    }

    /// The logarithm of the factor that each combination of start, ratios and ingress needs, with its weight.
    fn cases(&self) -> Vec<(f64, f64)> {
        let doubtful =
            [self.start.iter().copied().fold(0.0, f64::max), self.beta, self.ingress].map(|sd| sd > 0.0);
        let step = STEPS[doubtful.iter().filter(|doubtful| **doubtful).count()];
        let [start, beta, ingress] = doubtful.map(|doubtful| nodes(doubtful, step));
        let mut cases = Vec::new();
        for &(start, by_start) in &start {
            for &(beta, by_beta) in &beta {
                for &(ingress, by_ingress) in &ingress {
                    cases.push((self.needed(start, beta, ingress).ln(), by_start * by_beta * by_ingress));
                }
            }
        }
        cases
    }

    /// The least factor that meets the limits, with causes off by so many standard deviations; infinite where none does.
    fn needed(&self, start: f64, beta: f64, ingress: f64) -> f64 {
        let (beta, ingress) = ((beta * self.beta).exp(), (ingress * self.ingress).exp());
        let rates: Vec<Vec<(f64, f64)>> =
            self.stages.iter().map(|stage| stage.rates(self.bins, beta, ingress)).collect();
        let mut over = |factor: f64| {
            let bins = self.bins.iter().zip(&self.start).enumerate();
            let left = bins.map(|(i, (bin, sd))| {
                let begun = bin.start.get() * (start * sd).exp();
                self.stages.iter().zip(&rates).fold(begun, |now, (stage, rates)| {
                    let ((rate, source), hours) = (rates[i], factor * stage.hours);
                    let fallen = -(-rate * hours).exp_m1();
                    let entered = if rate > 0.0 { source * fallen / rate } else { source * hours };
                    now * (1.0 - fallen) + entered
                })
            });
            let left: Vec<f64> = left.collect();
            let limits = self.limits.iter();
            let over = limits.map(|limit| left[limit.from..].iter().sum::<f64>() / limit.most.get());
            over.fold(0.0, f64::max) - 1.0
        };
        least_time(&mut over).unwrap_or(f64::INFINITY)
    }
}

/// The least width of a step of the probability, as a logarithm of the factor: far below what is said of it.
const LEAST_WIDTH: f64 = 0.005;

impl Running {
    /// The rate \[1/h\] and the source \[1/(mL h)\] of each bin, with `beta - 1` and the ingress multiplied.
    fn rates(&self, bins: &[Bin], beta: f64, ingress: f64) -> Vec<(f64, f64)> {
        let turnovers = self.plant.turnovers_per_hour() / self.mixing;
        let of = |(bin, held_back): (&Bin, &Efficiency)| {
            let behind = held_back.excess_times(beta).bypassed(self.plant.bypass);
            let short = self.plant.short_circuit.get();
            let returned = (1.0 - short) / (1.0 - short * (1.0 - behind.get()));
            let source =
                ingress * bin.ingress_per_hour.get() / self.mixing + bin.shed.get() * returned * turnovers;
            (turnovers * behind.short_circuited(self.plant.short_circuit).get(), source)
        };
        bins.iter().zip(&self.held_back).map(of).collect()
    }
}

/// Nodes of the normal density with their weights; one node where there is no doubt.
fn nodes(doubtful: bool, step: f64) -> Vec<(f64, f64)> {
    if !doubtful {
        return vec![(0.0, 1.0)];
    }
    let places =
        std::iter::successors(Some(-REACH), |z| Some(z + step)).take_while(|z| *z < REACH + 0.5 * step);
    let nodes: Vec<(f64, f64)> = places.map(|z| (z, (-0.5 * z * z).exp())).collect();
    let sum: f64 = nodes.iter().map(|node| node.1).sum();
    nodes.into_iter().map(|(z, weight)| (z, weight / sum)).collect()
}
