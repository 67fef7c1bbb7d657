//! The probability that several sizes meet their limits together.
//!
//! Cumulative channels count the same particles again: each particle at and above 14 is also at and above 6 and 4. What
//! is independent are the bins between the sizes. So each bin gets its own posterior, Gamma(k + 1/2), the concentration
//! at a size is the sum of its bin and all larger ones, and the probability of meeting all limits is one integral over
//! the bins. Multiplying the channels' own probabilities would be wrong.
//!
//! With the largest bin first, `g_i(s)` is the chance that the `i` smallest bins keep their limits when the larger ones
//! hold `s` particles: `g_i(s) = integral of f_i(x) g_{i-1}(s + x)` over what its limit leaves. Each is integrated
//! adaptively in the root of `x`, and stood in for by Chebyshev pieces in the root of what the limit leaves, where the
//! half-integer powers at both ends become whole ones. The error is below 1e-8.

use serde::Serialize;

use super::gamma::Shape;
use super::level::{Interval, Mean, Probability, Scatter};
use super::mixture::Mixture;
use super::normal;
use super::posterior::Posterior;
use super::quadrature::{StandIn, integral, mark_step};
use crate::count::{Evidence, PerMl};
use crate::size::Size;
use crate::spectrum::Spectrum;

/// Absolute error of each step.
const ERROR: f64 = 1e-9;
/// Roundings of the largest shape below which no step can be told right from wrong.
const ROUNDINGS: f64 = 64.0;

/// An upper limit at a size, itself allowed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limit {
    /// Particles of this size and larger.
    pub size: Size,
    /// At most this many.
    pub per_ml: PerMl,
}

/// How likely the fluid meets its limits, size by size and together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Joint {
    /// The limits, smallest size first, and the probability that each is met; none where the evidence is missing.
    pub each: Vec<(Limit, Option<Probability>)>,
    /// The probability that all are met. None where a size has no evidence, or sizes were counted in volumes of their
    /// own, so that no bin between them can be told; [`bounds`](Self::bounds) still hold then.
    pub all: Option<Probability>,
    /// What the probability of meeting all cannot leave, whatever the channels have in common (Frechet).
    pub bounds: Interval<Probability>,
}

/// How likely a spectrum's fluid meets these limits, if bottles scatter this much.
///
/// ```
/// use siltcode::certainty::{Limit, Scatter, joint};
/// use siltcode::{Channel, CountedVolume, Dilution, Evidence, PerMl, Size, Spectrum};
///
/// let volume = CountedVolume::from_ml(0.05)?;
/// let counted = |um, raw| Ok(Channel::counted(Size::um_c(um)?, Evidence::of_run(raw, volume, Dilution::NONE)));
/// let channels: Result<_, siltcode::Error> = [(4.0, 95), (6.0, 25), (14.0, 3)].map(|(um, raw)| counted(um, raw)).into_iter().collect();
/// let limits = [(4.0, 2500.0), (6.0, 640.0), (14.0, 80.0)];
/// let limits = limits.map(|(um, per_ml)| Limit { size: Size::um_c(um).unwrap(), per_ml: PerMl::new(per_ml).unwrap() });
/// let joint = joint::meets(&Spectrum::cumulative(channels?)?, &limits, Scatter::NONE);
/// assert_eq!(format!("{:.3}", joint.all.unwrap().get()), "0.613"); // the product of the three would be 0.583
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// Takes microseconds where each size by itself leaves no doubt, about a millisecond where it does, and some hundred times
/// that with scatter.
#[must_use]
pub fn meets(spectrum: &Spectrum, limits: &[Limit], scatter: Scatter) -> Joint {
    let mut limits = limits.to_vec();
    limits.sort_by(|a, b| a.size.um().total_cmp(&b.size.um()));
    let evidence: Vec<Option<Evidence>> = limits
        .iter()
        .map(|limit| spectrum.channel(limit.size).and_then(|channel| channel.evidence))
        .collect();
    let (each, all) = match bins(&evidence) {
        Some(bins) => {
            let means: Vec<f64> = (limits.iter().zip(evidence.iter().flatten()))
                .map(|(limit, evidence)| Mean::of(limit.per_ml, evidence).get())
                .collect();
            let each = marginals(&bins, &means, scatter);
            let all = Probability::rounded(all_within(&bins, &means, &each, scatter));
            (each.into_iter().map(|[within, _]| Some(Probability::rounded(within))).collect(), Some(all))
        }
        None => (apart(&limits, &evidence, scatter), None),
    };
    let bounds = all.map_or_else(|| frechet(&each), |p| Interval { low: p, high: p });
    Joint { each: limits.into_iter().zip(each).collect(), all, bounds }
}

/// Particles per bin, smallest size first, where every size was counted in the same volume.
fn bins(evidence: &[Option<Evidence>]) -> Option<Vec<f64>> {
    let known: Vec<&Evidence> = evidence.iter().map(Option::as_ref).collect::<Option<_>>()?;
    let first = known.first()?;
    let alike = known.iter().all(|e| e.volume == first.volume && e.dilution == first.dilution);
    let above = known.iter().skip(1).map(|e| e.raw).chain([0]);
    let bins = known.iter().zip(above).map(|(e, above)| e.raw.checked_sub(above).map(|raw| raw as f64));
    bins.collect::<Option<Vec<_>>>().filter(|_| alike)
}

/// Each size by itself.
fn apart(limits: &[Limit], evidence: &[Option<Evidence>], scatter: Scatter) -> Vec<Option<Probability>> {
    let each = limits.iter().zip(evidence);
    each.map(|(limit, evidence)| Some(Posterior::new(evidence.as_ref()?, scatter).at_most(limit.per_ml)))
        .collect()
}

/// The chances that each size by itself keeps its limit and exceeds it, as the sum of its bins' posteriors.
fn marginals(bins: &[f64], means: &[f64], scatter: Scatter) -> Vec<[f64; 2]> {
    let sum_from = |i: usize| Shape::new(bins[i..].iter().map(|bin| bin + 0.5).sum());
    means
        .iter()
        .enumerate()
        .map(|(i, &mean)| Mixture::new(sum_from(i), scatter.log_sd()).tails(mean))
        .collect()
}

fn frechet(each: &[Option<Probability>]) -> Interval<Probability> {
    let low = each.iter().map(|p| p.map_or(0.0, Probability::get) - 1.0).sum::<f64>() + 1.0;
    let high = each.iter().flatten().map(|p| p.get()).fold(1.0, f64::min);
    Interval { low, high }.map(Probability::rounded)
}

/// The probability that all cumulative sums keep their limits, one lognormal factor common to the whole bottle.
fn all_within(bins: &[f64], means: &[f64], each: &[[f64; 2]], scatter: Scatter) -> f64 {
    if scatter == Scatter::NONE {
        return Sums::new(bins, means, ERROR).all_within();
    }
    // An integral over integrals: each level asks for less than the one inside it can give.
    if let Some(all) = bounded(each.iter().copied(), ERROR_OUTSIDE) {
        return all;
    }
    let log_sd = scatter.log_sd();
    let within = |z: f64| {
        let factor = (-log_sd * z).exp();
        let means: Vec<f64> = means.iter().map(|mean| mean * factor).collect();
        normal::density(z) * Sums::new(bins, &means, ERROR_INSIDE).all_within()
    };
    let mut points = vec![-6.0, 6.0];
    let mut held = 0.0;
    for (bin, mean) in bins.iter().zip(means).rev() {
        held += bin + 0.5;
        mark_step(&mut points, (mean / held).ln() / log_sd, 1.0 / (log_sd * held.sqrt()), 1.0);
    }
    points.push(0.0);
    integral(within, &mut points, ERROR_OUTSIDE)
}

/// The chance of all, where at most one size by itself leaves a doubt worth an integral: it is at most the least of theirs,
/// and falls short of that by at most the sum of what the others fall short of certainty.
fn bounded(tails: impl Iterator<Item = [f64; 2]>, error: f64) -> Option<f64> {
    let start = (1.0_f64, 0.0_f64, 0.0);
    let (least, most, short) = tails.fold(start, |(least, most, short), [within, over]| {
        (least.min(within), most.max(over), short + over)
    });
    (least <= error || short - most <= error).then_some(least)
}

/// Independent gamma bins, smallest size first, and the limits of their sums from the large end.
struct Sums {
    shapes: Vec<Shape>,
    /// Each sum from its bin to the largest.
    from_here_up: Vec<Shape>,
    limits: Vec<f64>,
    error: f64,
}

/// Absolute errors of a joint probability with scatter, far below what the scatter itself is known to.
const ERROR_INSIDE: f64 = 1e-8;
const ERROR_OUTSIDE: f64 = 1e-6;

impl Sums {
    /// A limit is never above that of a smaller size, which holds for it too, nor above where its sum ends.
    fn new(bins: &[f64], means: &[f64], error: f64) -> Self {
        let shapes: Vec<Shape> = bins.iter().map(|bin| Shape::new(bin + 0.5)).collect();
        let sum_from = |i: usize| Shape::new(shapes[i..].iter().map(Shape::get).sum());
        let from_here_up: Vec<Shape> = (0..shapes.len()).map(sum_from).collect();
        let mut limits = means.to_vec();
        for i in 0..limits.len() {
            let end = support(&from_here_up[i]).high;
            let above = if i == 0 { end } else { limits[i - 1].min(end) };
            limits[i] = limits[i].min(above);
        }
        let rounding = from_here_up.first().map_or(0.0, Shape::rounding);
        Self { shapes, from_here_up, limits, error: error.max(ROUNDINGS * rounding) }
    }

    fn all_within(&self) -> f64 {
        self.by_bounds().unwrap_or_else(|| self.integrated())
    }

    fn by_bounds(&self) -> Option<f64> {
        bounded(self.from_here_up.iter().zip(&self.limits).map(|(sum, &limit)| sum.tails(limit)), self.error)
    }

    fn integrated(&self) -> f64 {
        let Some(last) = self.shapes.len().checked_sub(1) else { return 1.0 };
        let mut stand_in: Option<StandIn> = None;
        for i in 1..last {
            let larger = support(&self.from_here_up[i + 1]);
            let high = larger.high.min(self.limits[i + 1]);
            if larger.low >= high {
                return 0.0;
            }
            let mut points = vec![larger.low, high];
            self.mark_steps(&mut points, i + 1, 0.0, &self.from_here_up[i + 1]);
            let left = |sum: f64| (self.limits[i] - sum).max(0.0).sqrt();
            for point in &mut points {
                *point = left(*point);
            }
            let chance = |root: f64| self.chance(i, self.limits[i] - root * root, stand_in.as_ref());
            stand_in = Some(StandIn::new(chance, &mut points, self.error));
        }
        self.chance(last, 0.0, stand_in.as_ref())
    }

    /// `g_i(sum)`, from the stand-in of `g_{i-1}`; the first two need none.
    fn chance(&self, i: usize, sum: f64, smaller: Option<&StandIn>) -> f64 {
        let within = |sum: f64| match smaller {
            Some(smaller) => smaller.at((self.limits[i - 1] - sum).max(0.0).sqrt()),
            None => self.shapes[0].tails(self.limits[0] - sum)[0],
        };
        if i == 0 {
            return within(sum);
        }
        let shape = &self.shapes[i];
        let reach = support(shape);
        let high = reach.high.min(self.limits[i] - sum);
        if reach.low >= high {
            return 0.0;
        }
        let mut points = vec![reach.low, high];
        self.mark_steps(&mut points, i, sum, shape);
        points.push(shape.get().min(high));
        for point in &mut points {
            *point = point.sqrt();
        }
        let weighted = |root: f64| density_of_root(shape, root) * within(sum + root * root);
        integral(weighted, &mut points, self.error)
    }

    /// Marks where the `i` smallest bins begin to exceed a limit, if beside `larger` they are sharp: each with its larger
    /// neighbours scatters by the root of what they hold.
    fn mark_steps(&self, points: &mut Vec<f64>, i: usize, sum: f64, larger: &Shape) {
        let mut held = 0.0;
        for j in (0..i).rev() {
            held += self.shapes[j].get();
            mark_step(points, self.limits[j] - sum - held, held.sqrt(), larger.get().sqrt());
        }
    }
}

/// Where a gamma variable has all but some 1e-14 of its mass.
fn support(shape: &Shape) -> Interval<f64> {
    let reach = 8.0 * shape.get().sqrt();
    Interval { low: (shape.get() - reach).max(0.0), high: shape.get() + reach + 32.0 }
}

/// The density of the root of a gamma variable: `2 x f(x^2)`, without a pole at 0 from shape 1/2 on.
fn density_of_root(shape: &Shape, root: f64) -> f64 {
    if root <= 0.0 {
        return 0.0;
    }
    2.0 * shape.get() * shape.ln_term(root * root).exp() / root
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::certainty::gamma::Gamma;

    fn all_within(bins: &[f64], means: &[f64]) -> f64 {
        Sums::new(bins, means, ERROR).all_within()
    }

    #[test]
    fn one_size_is_its_own_distribution() {
        let joint = all_within(&[7.0], &[9.0]);
        assert!((joint - Gamma::at(7.5, 9.0).lower()).abs() < 1e-15);
    }

    #[test]
    fn a_limit_that_binds_nothing_changes_nothing() {
        let (bins, far) = ([70.0, 22.0, 3.0, 0.0], 1e6);
        let two = all_within(&[22.0, 3.5], &[32.0, 4.0]);
        let four = all_within(&bins, &[far, 32.0, 4.0, far]);
        assert!((two - four).abs() < 1e-9, "{two} {four}");
    }

    /// Equal limits at all sizes are one limit on the sum.
    #[test]
    fn equal_limits_are_one_limit_on_the_sum() {
        for bins in [vec![70.0, 22.0, 3.0], vec![0.0, 0.0, 0.0, 0.0, 0.0], vec![1e6, 4e5, 300.0, 0.0]] {
            let shape: f64 = bins.iter().map(|bin| bin + 0.5).sum();
            for factor in [0.99, 1.0, 1.002, 1.5] {
                let limits = vec![shape * factor; bins.len()];
                let joint = all_within(&bins, &limits);
                let expected = Gamma::at(shape, shape * factor).lower();
                assert!((joint - expected).abs() < 1e-8, "{bins:?} {factor}: {joint} {expected}");
            }
        }
    }
}
