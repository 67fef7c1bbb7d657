//! Two counts compared: their ratio with its interval, and whether they can come from one concentration.

use serde::Serialize;

use super::beta;
use super::gamma::Gamma;
use super::level::{Interval, Level, Probability};
use super::normal;
use super::quadrature::crossing;
use crate::count::Evidence;

/// The ratio of two concentrations, each from a count.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RateRatio {
    /// The first concentration over the second \[-\]; none where the second count is zero.
    pub ratio: Option<f64>,
    /// Its interval \[-\]: from 0 if the first count is zero, to infinity if the second is.
    pub interval: Interval<f64>,
    /// How likely counts at least as far apart are if the concentrations are equal.
    pub p_equal: Probability,
}

/// Compares two counts, exactly: given their sum, the first is binomial (Clopper and Pearson, Biometrika 26 (1934)
/// 404-413).
///
/// ```
/// use siltcode::certainty::{Level, ratio};
/// use siltcode::{CountedVolume, Dilution, Evidence};
///
/// let of = |raw| Ok::<_, siltcode::Error>(Evidence::of_run(raw, CountedVolume::from_ml(10.0)?, Dilution::NONE));
/// let ratio = ratio::compare(&of(30)?, &of(12)?, Level::default());
/// assert_eq!(ratio.ratio, Some(2.5));
/// assert_eq!(format!("{:.2} {:.2}", ratio.interval.low, ratio.interval.high), "1.24 5.36");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn compare(first: &Evidence, second: &Evidence, level: Level) -> RateRatio {
    let (k1, k2) = (first.raw as f64, second.raw as f64);
    let volumes = second.examined_ml() / first.examined_ml();
    let low = if first.raw == 0 { 0.0 } else { odds(k1, k2 + 1.0, level.risk() / 2.0) * volumes };
    let high =
        if second.raw == 0 { f64::INFINITY } else { odds(k1 + 1.0, k2, 1.0 - level.risk() / 2.0) * volumes };
    RateRatio {
        ratio: (second.raw > 0).then(|| k1 / k2 * volumes),
        interval: Interval { low, high: high.max(low) }, // apart only by rounding, for levels near 0
        p_equal: equal(first, second),
    }
}

/// The odds `p / (1 - p)` at which `I_p(a, b)` is `tail`.
fn odds(a: f64, b: f64, tail: f64) -> f64 {
    let middle = (a / b).ln();
    let reach = 40.0 * (1.0 / a + 1.0 / b).sqrt() + 40.0 / a.min(b).min(40.0);
    let missing = |t: f64| tail - beta::regularized(a, b, 1.0 / (1.0 + (-t).exp()), 1.0 / (1.0 + t.exp()));
    crossing(missing, middle - reach, middle + reach).exp()
}

/// How likely counts at least as far apart are if both concentrations are equal: twice the smaller binomial tail.
#[must_use]
pub fn equal(first: &Evidence, second: &Evidence) -> Probability {
    let (k1, k2) = (first.raw as f64, second.raw as f64);
    let (v1, v2) = (first.examined_ml(), second.examined_ml());
    let (x, y) = (v1 / (v1 + v2), v2 / (v1 + v2));
    let at_least = if first.raw == 0 { 1.0 } else { beta::regularized(k1, k2 + 1.0, x, y) };
    let at_most = if second.raw == 0 { 1.0 } else { beta::regularized(k2, k1 + 1.0, y, x) };
    Probability::rounded((2.0 * at_least.min(at_most)).min(1.0))
}

/// The E-test of two Poisson means (K. Krishnamoorthy and J. Thomson, Journal of Statistical Planning and Inference 119
/// (2004) 23-35): more powerful than [`equal`], not exact.
///
/// It sums the chance, at the pooled concentration, of all pairs of counts whose difference is at least as many of its
/// own standard deviations from zero. Two approximations bound the work: where both counts are expected above 5e4, about
/// 4000 evenly spaced values of the smaller stand for all of them, which changes the result by less than 1 %; where
/// both are expected above 1e12, the deviate is taken as normal, which changes it by less than 0.1 %.
#[must_use]
pub fn equal_by_e_test(first: &Evidence, second: &Evidence) -> Probability {
    let volumes = [first, second].map(Evidence::examined_ml);
    let seen = deviate(first.raw as f64, second.raw as f64, volumes).abs() * (1.0 - 1e-12);
    if seen <= 0.0 {
        return Probability::CERTAIN;
    }
    let pooled = (first.raw as f64 + second.raw as f64) / (volumes[0] + volumes[1]);
    // The sum runs over the smaller count; the other is a gamma tail, however large it is.
    let volumes = if volumes[0] <= volumes[1] { volumes } else { [volumes[1], volumes[0]] };
    let [mean, other] = volumes.map(|volume| volume * pooled);
    if mean > NORMAL {
        return Probability::rounded(2.0 * normal::upper_tail(seen));
    }
    Probability::rounded(sum_of_e_test(seen, [mean, other], volumes, TERMS))
}

/// Expected counts above which the deviate of the E-test is taken as normal.
const NORMAL: f64 = 1e12;
/// How many values of the smaller count the sum of the E-test takes at most.
const TERMS: f64 = 4096.0;

fn sum_of_e_test(seen: f64, [mean, other]: [f64; 2], volumes: [f64; 2], terms: f64) -> f64 {
    let reach = |mean: f64| 9.0 * mean.sqrt() + 40.0;
    let last = (other + reach(other)).ceil();
    let step = (2.0 * reach(mean) / terms).ceil().max(1.0);
    let mut total = 0.0;
    let mut count = (mean - reach(mean)).max(0.0).floor();
    while count <= mean + reach(mean) {
        // The deviate falls as the other count rises: below `few` it is large enough, from `many` on low enough.
        let few = first_where(last, |x| deviate(count, x, volumes) < seen);
        let many = first_where(last, |x| deviate(count, x, volumes) <= -seen);
        let at_most_few = if few > 0.0 { Gamma::at(few, other).upper() } else { 0.0 };
        let at_least_many = if many > 0.0 { Gamma::at(many, other).lower() } else { 1.0 };
        total += Gamma::ln_term(count.max(f64::MIN_POSITIVE), mean).exp() * (at_most_few + at_least_many);
        count += step;
    }
    total * step
}

fn deviate(k1: f64, k2: f64, [v1, v2]: [f64; 2]) -> f64 {
    let variance = k1 / (v1 * v1) + k2 / (v2 * v2);
    if variance > 0.0 { (k1 / v1 - k2 / v2) / variance.sqrt() } else { 0.0 }
}

/// The least whole number up to `last + 1` from which on `holds`.
fn first_where(last: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, last + 1.0);
    while low < high {
        // Beyond 2^53 whole numbers lie more than 1 apart, and a step must still be one.
        let middle = f64::midpoint(low, high).floor().clamp(low, high.next_down());
        if holds(middle) { high = middle } else { low = (middle + 1.0).max(middle.next_up()) }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The largest relative difference that a way of working out makes, over volumes and distances.
    fn worst(mean: f64, deviates: &[f64], other_way: impl Fn(f64, [f64; 2], [f64; 2]) -> f64) -> f64 {
        let mut worst = 0.0_f64;
        for ratio in [1.0, 1.1, 2.0, 10.0, 1000.0] {
            let (means, volumes) = ([mean, mean * ratio], [1.0, ratio]);
            for &seen in deviates {
                let whole = sum_of_e_test(seen, means, volumes, f64::INFINITY);
                worst = worst.max((other_way(seen, means, volumes) / whole - 1.0).abs());
            }
        }
        worst
    }

    #[test]
    fn a_part_of_the_counts_stands_for_all() {
        let deviates = [0.01, 0.3, 1.0, 1.96, 4.0, 7.0];
        for mean in [6e4, 2e6] {
            let of_part = |seen, means, volumes| sum_of_e_test(seen, means, volumes, TERMS);
            let worst = worst(mean, &deviates, of_part);
            assert!(worst < 0.01, "{mean}: {worst}");
        }
    }

    #[test]
    fn far_counts_are_normal() {
        // The difference falls with the root of the count: from 1e7 to 1e12 by three hundred.
        let worst = worst(1e7, &[0.3, 1.96, 5.0], |seen, _, _| 2.0 * normal::upper_tail(seen));
        assert!(worst < 0.1, "{worst}");
    }

    #[test]
    fn the_least_place_is_found_beyond_2_to_the_53() {
        for place in [0.0, 3.0, 9e15, 1.7e19] {
            assert_eq!(first_where(1.8e19, |x| x >= place), place);
        }
    }
}
