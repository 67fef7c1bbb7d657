//! The probability that several sizes meet their limits together.
//!
//! Cumulative channels count the same particles again: each particle at and above 14 is also at and above 6 and 4. What
//! is independent are the bins between the sizes, and multiplying the channels' own probabilities would be wrong. The
//! largest bin has the posterior Gamma(k + 1), every other Gamma(k), so that each cumulative concentration has
//! Gamma(k + 1), whatever limits stand beside it: the upper end of its interval is Garwood's, and a fluid at its limit is
//! accepted with at most the risk of the level.
//!
//! What varies beside counting varies for all sizes of a bottle together, each by its own factor: given how far out that
//! one variable lies, the probability is that of counting alone at limits that the factors have moved (`nested`), and
//! what remains is one integral over it (`together`). The error is below 1e-7.

mod chain;
mod nested;
mod together;

use serde::Serialize;

use super::factor::Factors;
use super::level::{Interval, Mean, Probability};
use crate::count::{Evidence, PerMl};
use crate::size::Size;
use crate::spectrum::Spectrum;
use together::{Term, Together};

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

/// How likely a spectrum's fluid meets these limits, if its concentration varies by these factors.
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
/// assert_eq!(format!("{:.3}", joint.all.unwrap().get()), "0.527"); // the product of the three would be 0.495
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// Takes microseconds where at most one size leaves a doubt, and some tens or hundreds of them where more do.
#[must_use]
pub fn meets(spectrum: &Spectrum, limits: &[Limit], factors: impl Into<Factors>) -> Joint {
    let factors = factors.into();
    let mut limits = limits.to_vec();
    limits.sort_by(|a, b| a.size.um().total_cmp(&b.size.um()));
    let evidence: Vec<Option<Evidence>> = limits
        .iter()
        .map(|limit| spectrum.channel(limit.size).and_then(|channel| channel.evidence))
        .collect();
    let of_limit = |(limit, evidence): (&Limit, &Option<Evidence>)| {
        let mean = Mean::of(limit.per_ml, evidence.as_ref()?).get();
        Some(Term::new(evidence.as_ref()?.raw as f64, mean, factors.of(limit.size)))
    };
    let terms: Vec<Option<Term>> = limits.iter().zip(&evidence).map(of_limit).collect();
    let each: Vec<Option<[f64; 2]>> = terms.iter().map(|term| Some(term.as_ref()?.tails())).collect();
    let all = is_nested(&evidence).then(|| {
        let (terms, each): (Vec<Term>, Vec<[f64; 2]>) =
            terms.into_iter().flatten().zip(each.iter().flatten().copied()).unzip();
        Probability::rounded(Together::new(terms).all_within(&each))
    });
    let each: Vec<_> =
        each.into_iter().map(|tails| tails.map(|[within, _]| Probability::rounded(within))).collect();
    let bounds = all.map_or_else(|| frechet(&each), |p| Interval { low: p, high: p });
    Joint { each: limits.into_iter().zip(each).collect(), all, bounds }
}

/// Whether every size was counted, and in the same volume, so that each count holds the next.
fn is_nested(evidence: &[Option<Evidence>]) -> bool {
    let Some(known) = evidence.iter().map(Option::as_ref).collect::<Option<Vec<&Evidence>>>() else {
        return false;
    };
    known.windows(2).all(|pair| {
        pair[0].volume == pair[1].volume && pair[0].dilution == pair[1].dilution && pair[0].raw >= pair[1].raw
    }) && !known.is_empty()
}

fn frechet(each: &[Option<Probability>]) -> Interval<Probability> {
    let low = each.iter().map(|p| p.map_or(0.0, Probability::get) - 1.0).sum::<f64>() + 1.0;
    let high = each.iter().flatten().map(|p| p.get()).fold(1.0, f64::min);
    Interval { low, high }.map(Probability::rounded)
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
