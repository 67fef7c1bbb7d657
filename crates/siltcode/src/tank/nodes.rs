//! Nodes and weights for a mean over the normal density.
//!
//! Evenly spaced nodes sum a smooth function of the normal density with an error that falls faster than any power of
//! their spacing. Where nothing counts beyond an edge, the nodes crowd there instead, `z = edge - ln(1 + exp(-u))` with
//! `u` evenly spaced, so that a function that ends at the edge is as smooth as one that does not.

/// Beyond this many standard deviations there is nothing that counts.
pub(super) const REACH: f64 = 6.5;

/// What the weights may miss of 1 by their reach and spacing.
pub(super) const ROUNDING: f64 = 2e-6;

/// Weights below this are left out.
pub(super) const LEAST_WEIGHT: f64 = 1e-12;

/// How far nodes reach to each side and how far apart they are, in standard deviations.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    reach: f64,
    step: f64,
}

impl Grid {
    /// For one or two causes.
    pub(super) const WIDE: Self = Self { reach: REACH, step: 0.5 };
    /// For three, whose nodes multiply: closer, as three causes together bend more, but within 5 deviations.
    pub(super) const NARROW: Self = Self { reach: 5.0, step: 0.4 };

    /// For causes that are all narrow beside one that is not summed over.
    pub(super) const COARSE: Self = Self { reach: 5.0, step: 0.75 };

    /// Nodes for the whole density, normalised; one node where a cause is not summed over.
    pub(super) fn all(self, summed: bool) -> Vec<(f64, f64)> {
        if !summed {
            return vec![(0.0, 1.0)];
        }
        let nodes: Vec<(f64, f64)> =
            self.spaced(-self.reach, self.reach).map(|z| (z, (-0.5 * z * z).exp())).collect();
        let sum: f64 = nodes.iter().map(|node| node.1).sum();
        nodes.into_iter().map(|(z, weight)| (z, weight / sum)).collect()
    }

    /// Nodes below an edge, where there is one within reach.
    pub(super) fn below(self, summed: bool, edge: Option<f64>) -> Vec<(f64, f64)> {
        let Some(edge) = edge.filter(|edge| summed && *edge < self.reach) else { return self.all(summed) };
        let root = (2.0 * std::f64::consts::PI).sqrt();
        let node = |u: f64| {
            let z = edge - (-u).exp().ln_1p();
            (z, self.step * (-0.5 * z * z).exp() / root / (1.0 + u.exp()))
        };
        let nodes = self.spaced(-self.reach - edge.max(-self.reach), -LEAST_WEIGHT.ln()).map(node);
        nodes.filter(|node| node.1 > LEAST_WEIGHT).collect()
    }

    /// Nodes above an edge, where there is one within reach.
    pub(super) fn above(self, summed: bool, edge: Option<f64>) -> Vec<(f64, f64)> {
        let mirrored = self.below(summed, edge.map(|edge| -edge));
        mirrored.into_iter().map(|(z, weight)| (-z, weight)).collect()
    }

    fn spaced(self, low: f64, high: f64) -> impl Iterator<Item = f64> {
        std::iter::successors(Some(low), move |z| Some(z + self.step)).take_while(move |z| *z <= high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::certainty::normal::upper_tail;

    #[test]
    fn weights_sum_to_the_probability_below_the_edge() {
        for edge in [-5.0, -1.3, 0.0, 2.0, 6.0] {
            let sum: f64 = Grid::WIDE.below(true, Some(edge)).iter().map(|node| node.1).sum();
            assert!((sum - upper_tail(-edge)).abs() < 1e-9, "{edge}: {sum}");
            let sum: f64 = Grid::WIDE.above(true, Some(edge)).iter().map(|node| node.1).sum();
            assert!((sum - upper_tail(edge)).abs() < 1e-9, "{edge}: {sum}");
        }
    }

    #[test]
    fn the_logarithm_of_the_distance_to_an_edge_is_summed_to_its_digits() {
        // the mean of ln(edge - z) below the edge at 0 is -(ln 2 + Euler's constant) / 4
        let sum: f64 = Grid::WIDE.below(true, Some(0.0)).iter().map(|(z, weight)| weight * (-z).ln()).sum();
        let euler = 0.577_215_664_901_532_9;
        assert!((sum + (std::f64::consts::LN_2 + euler) / 4.0).abs() < 1e-8, "{sum}");
    }
}
