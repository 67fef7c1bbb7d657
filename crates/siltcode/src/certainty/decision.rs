//! Conforms, does not conform, or undecided: a verdict under a named rule, with its probability.
//!
//! The same counts can be judged by different rules, and each has its own risk of accepting what does not conform:
//!
//! | rule | conforms | does not conform | false acceptance |
//! |---|---|---|---|
//! | [simple acceptance](Rule::SimpleAcceptance) | result at most the limit | result above it | up to 50 % at the limit (ILAC G8:09/2019) |
//! | [guard band](Rule::GuardBand) | its upper limit of confidence at most the limit | its lower limit above | at most the risk of the level, at each size |
//! | [conformity](Rule::Conformity) | probability of meeting all limits at least the level | at most one less the level | at most one less the level, over all sizes |

use std::fmt;

use serde::{Serialize, Serializer};

use super::factor::Factors;
use super::joint::{self, Limit};
use super::level::{Interval, Level, Probability};
use super::outcome::Outcome;
use super::posterior::Posterior;
use super::settle::{self, Settle};
use crate::count::Reading;
use crate::size::Size;
use crate::spectrum::Spectrum;

/// How results become a verdict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// The result as it is, against the limit as it is; its uncertainty is not considered.
    SimpleAcceptance,
    /// Each size's one-sided limits of confidence at this level, against its limit.
    GuardBand(Level),
    /// The probability that all limits are met together, against this level.
    Conformity(Level),
}

impl Default for Rule {
    /// Conformity at 95 %.
    fn default() -> Self {
        Self::Conformity(Level::default())
    }
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = |level: &Level| (level.get() * 1e6).round() / 1e4;
        match self {
            Self::SimpleAcceptance => f.write_str("simple acceptance"),
            Self::GuardBand(level) => write!(f, "guard band at {} % confidence", percent(level)),
            Self::Conformity(level) => write!(f, "probability of conformity at least {} %", percent(level)),
        }
    }
}

impl Serialize for Rule {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// A spectrum judged against limits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Decision {
    /// What it comes to.
    pub outcome: Outcome,
    /// By which rule.
    pub rule: Rule,
    /// The probability that all limits are met; none where it cannot be known.
    pub p: Option<Probability>,
    /// What that probability cannot leave.
    pub bounds: Interval<Probability>,
    /// If the fluid is accepted, how likely it does not conform (specific risk of false acceptance).
    pub false_accept: Option<Probability>,
    /// The size that decides.
    pub deciding: Option<Size>,
    /// Size by size, smallest first.
    pub each: Vec<Judged>,
    /// If undecided: what would settle it, with a probability of [`Settle::POWER`].
    pub settle: Option<Settle>,
}

/// One size against its limit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// The limit.
    pub limit: Limit,
    /// What was read.
    pub reading: Reading,
    /// The probability that this limit is met; none without evidence.
    pub p: Option<Probability>,
    /// What this size comes to by itself.
    pub outcome: Outcome,
}

/// Judges a spectrum against upper limits, if its concentration varies by these factors.
///
/// Sizes are matched exactly, scale included; a limit at a size that was not counted leaves the verdict undecided. Bounds
/// (`<1`, too many to count) decide where they can.
///
/// ```
/// use siltcode::certainty::{Limit, Rule, Scatter, decision};
/// use siltcode::{Channel, CountedVolume, Dilution, Evidence, PerMl, Size, Spectrum};
///
/// let size = Size::um_c(14.0)?;
/// let evidence = Evidence::of_run(70, CountedVolume::from_ml(1.0)?, Dilution::NONE);
/// let spectrum = Spectrum::cumulative(vec![Channel::counted(size, evidence)])?;
/// let limit = Limit { size, per_ml: PerMl::new(80.0)? };
/// let decision = decision::decide(&spectrum, &[limit], Rule::default(), Scatter::NONE);
/// assert_eq!(decision.outcome.to_string(), "undecided"); // 70 is below 80, but could be chance
/// assert_eq!(format!("{:.2}", decision.p.unwrap().get()), "0.86");
/// assert_eq!(decision.settle.unwrap().to_string(), "count about 6.7 mL in all");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn decide(spectrum: &Spectrum, limits: &[Limit], rule: Rule, factors: impl Into<Factors>) -> Decision {
    let factors = &factors.into();
    let is_number = |limit: &&Limit| spectrum.per_ml(limit.size).is_some();
    let (numbers, others): (Vec<Limit>, Vec<Limit>) = limits.iter().partition(is_number);
    let joint = joint::meets(spectrum, &numbers, factors);
    let counted = joint.each.iter().map(|&(limit, p)| judged(spectrum, limit, p, rule, factors));
    let bounded = others.iter().map(|&limit| by_bounds(spectrum, limit));
    let mut each: Vec<Judged> = counted.chain(bounded).collect();
    each.sort_by(|a, b| a.limit.size.um().total_cmp(&b.limit.size.um()));
    let worst = each.iter().map(|judged| judged.outcome).max().unwrap_or(Outcome::Undecided);
    let rest =
        each.iter().filter(|judged| judged.reading.count().is_none()).map(|judged| judged.outcome).max();
    let outcome = match (rule, rest) {
        (Rule::Conformity(level), None | Some(Outcome::Conforms)) if !each.is_empty() => {
            by_level(joint.bounds, level)
        }
        (Rule::Conformity(level), Some(rest)) if !numbers.is_empty() => {
            rest.max(by_level(joint.bounds, level).max(Outcome::Undecided))
        }
        _ => worst,
    };
    let p = joint.all.filter(|_| matches!(rest, None | Some(Outcome::Conforms)) && !numbers.is_empty());
    let deciding = deciding(&each, outcome);
    let settle = deciding.filter(|_| outcome == Outcome::Undecided);
    let settle = settle.and_then(|judged| settling(spectrum, judged, rule, factors, each.len()));
    let deciding = deciding.map(|judged| judged.limit.size);
    let false_accept = p.map(Probability::complement);
    Decision { outcome, rule, p, bounds: joint.bounds, false_accept, deciding, each, settle }
}

fn by_level(p: Interval<Probability>, level: Level) -> Outcome {
    if p.low.get() >= level.get() {
        Outcome::Conforms
    } else if p.high.get() <= level.risk() {
        Outcome::DoesNotConform
    } else {
        Outcome::Undecided
    }
}

fn judged(
    spectrum: &Spectrum,
    limit: Limit,
    p: Option<Probability>,
    rule: Rule,
    factors: &Factors,
) -> Judged {
    let reading = spectrum.reading(limit.size);
    let evidence = spectrum.channel(limit.size).and_then(|channel| channel.evidence);
    let outcome = match (rule, evidence, p) {
        (Rule::SimpleAcceptance, _, _) => side(reading, limit),
        (Rule::GuardBand(level), Some(evidence), _) => {
            let band = Posterior::new(&evidence, factors.of(limit.size)).one_sided(level);
            match () {
                () if band.high <= limit.per_ml => Outcome::Conforms,
                () if band.low > limit.per_ml => Outcome::DoesNotConform,
                () => Outcome::Undecided,
            }
        }
        (Rule::Conformity(level), Some(_), Some(p)) => by_level(Interval { low: p, high: p }, level),
        _ => Outcome::Undecided,
    };
    Judged { limit, reading, p, outcome }
}

fn by_bounds(spectrum: &Spectrum, limit: Limit) -> Judged {
    let reading = spectrum.reading(limit.size);
    Judged { limit, reading, p: None, outcome: side(reading, limit) }
}

/// On which side of the limit a reading lies, whatever it allows.
fn side(reading: Reading, limit: Limit) -> Outcome {
    let limit = limit.per_ml.get();
    match reading {
        Reading::Above(bound) if bound.get() >= limit => Outcome::DoesNotConform,
        _ if reading.at_least() > limit => Outcome::DoesNotConform,
        _ if reading.at_most() <= limit => Outcome::Conforms,
        _ => Outcome::Undecided,
    }
}

/// The size that came out as the whole did, with the least probability, or furthest above its limit.
fn deciding(each: &[Judged], outcome: Outcome) -> Option<&Judged> {
    let alike = each.iter().filter(|judged| judged.outcome == outcome);
    let candidates: Vec<&Judged> = alike.collect();
    let pool = if candidates.is_empty() { each.iter().collect() } else { candidates };
    let ratio =
        |judged: &Judged| judged.reading.at_least() / judged.limit.per_ml.get().max(f64::MIN_POSITIVE);
    let rank = |judged: &Judged| (judged.p.map_or(-1.0, Probability::get), -ratio(judged));
    pool.into_iter().min_by(|a, b| {
        let ((p, ratio), (q, other)) = (rank(a), rank(b));
        p.total_cmp(&q).then(ratio.total_cmp(&other))
    })
}

/// What would settle the deciding size. `sizes` share the risk of the conformity rule between them.
fn settling(
    spectrum: &Spectrum,
    judged: &Judged,
    rule: Rule,
    factors: &Factors,
    sizes: usize,
) -> Option<Settle> {
    let size = judged.limit.size;
    let channel = spectrum.channel(size).filter(|channel| channel.reading.is_counted());
    let Some(channel) = channel else { return Some(Settle::Count(size)) };
    let Some(evidence) = channel.evidence else { return Some(Settle::Record(size)) };
    match rule {
        Rule::SimpleAcceptance => None,
        Rule::GuardBand(level) => {
            Some(settle::of(&evidence, judged.limit, level.risk(), factors.variation(size)))
        }
        Rule::Conformity(level) => {
            let risk = level.risk() / sizes.max(1) as f64;
            Some(settle::of(&evidence, judged.limit, risk, factors.variation(size)))
        }
    }
}
