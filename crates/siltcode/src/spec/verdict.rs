//! The verdict: a sample against a specification under a named decision rule, with its probability.

use std::collections::BTreeMap;
use std::fmt;

use serde::Serialize;

use super::check::{self, Check};
use super::requirement::{Alternative, Demand};
use super::{Outcome, Spec};
use crate::certainty::{Decision, Factors, Judged, Level, Limit, Probability, Rule, Settle, decision};
use crate::companion::Companion;
use crate::spectrum::Spectrum;

/// How to come to a verdict.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Judging {
    /// The decision rule for particle counts. Without one it is the [probability of conformity](Rule::Conformity) at
    /// [`level`](Self::level) where every limited size has the evidence for it, else
    /// [simple acceptance](Rule::SimpleAcceptance); the verdict names the one that was used.
    pub rule: Option<Rule>,
    /// The level of the rule taken by default.
    pub level: Level,
    /// What varies beside counting.
    pub factors: Factors,
}

/// Why no probability is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoProbability {
    /// The specification limits no particles.
    NoParticleLimits,
    /// A size with a limit was not counted.
    SizeNotCounted,
    /// The raw counts or the volume are not known.
    NoRawCounts,
}

impl fmt::Display for NoProbability {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::NoParticleLimits => "the target limits no particles",
            Self::SizeNotCounted => "a size with a limit was not counted",
            Self::NoRawCounts => "raw counts and volumes are missing",
        })
    }
}

/// A sample judged against a specification.
///
/// Counts are judged by the rule; other measurements by the value reported, since nothing is known of their certainty.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verdict {
    /// What it comes to.
    pub outcome: Outcome,
    /// The rule the counts were judged by; none where no limit is on particles.
    pub rule: Option<Rule>,
    /// The probability that all limits on particles are met; none where it is not known.
    pub p: Option<Probability>,
    /// Why that probability is not known, where it is not.
    pub p_missing: Option<NoProbability>,
    /// If the fluid is accepted, how likely its particles exceed a limit (specific risk of false acceptance).
    pub false_accept: Option<Probability>,
    /// The requirement that decides.
    pub deciding: Option<String>,
    /// If undecided by the counts: what would settle it.
    pub settle: Option<Settle>,
    /// The factor by which particle counts still have to come down \[-\]; 1 where the limits are met.
    pub factor_to_remove: f64,
    /// What may be said of a sample that conforms to these limits while the specification has more.
    pub limits_checked: Option<String>,
    /// Size by size: the limit, what was read, the probability that the limit is met, and what the size comes to.
    pub each: Vec<Judged>,
    /// Requirement by requirement, by the numbers as they are.
    pub check: Check,
}

impl Verdict {
    /// Whether something other than particles decides, so that the probability says nothing of the outcome.
    #[must_use]
    pub fn is_decided_beside_particles(&self) -> bool {
        let deciding = self.check.items.iter().find(|item| Some(item.demand.subject()) == self.deciding);
        deciding.is_some_and(|item| matches!(item.demand, Demand::Companion { .. }))
    }
}

impl Spec {
    /// Judges counts and companion measurements.
    ///
    /// ```
    /// use siltcode::spec::Judging;
    /// use siltcode::{Channel, CountedVolume, Dilution, Evidence, Size, SizeScale, Spec, Spectrum};
    ///
    /// let counted = |um, raw| Ok::<_, siltcode::Error>(Channel::counted(
    ///     Size::um_c(um)?,
    ///     Evidence::of_run(raw, CountedVolume::from_ml(1.0)?, Dilution::NONE),
    /// ));
    /// let spec = Spec::from_code("18/16/13".parse()?, SizeScale::UmC)?;
    /// let close = Spectrum::cumulative(vec![counted(4.0, 1752)?, counted(6.0, 517)?, counted(14.0, 74)?])?;
    /// let verdict = spec.judge(&close, &[], &Judging::default());
    /// assert_eq!(verdict.check.outcome.to_string(), "conforms");  // by the numbers: 74 is below 80
    /// assert_eq!(verdict.outcome.to_string(), "undecided");       // but 74 could be chance
    /// assert_eq!(format!("{:.2}", verdict.p.unwrap().get()), "0.73");
    /// assert_eq!(verdict.rule.unwrap().to_string(), "probability of conformity at least 95 %");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn judge(&self, spectrum: &Spectrum, companions: &[Companion], judging: &Judging) -> Verdict {
        let check = self.check_counts(spectrum, companions);
        let sets = self.limits();
        let rule = judging.rule.unwrap_or_else(|| usual_rule(spectrum, &sets, judging.level));
        let decide = |limits: &Vec<Limit>| decision::decide(spectrum, limits, rule, &judging.factors);
        let decisions: Vec<Decision> = sets.values().map(decide).collect();
        let of_item = |i: usize| {
            let is_limited = matches!(&self.requirements[i].demand, Demand::Particles { limit, .. } if limit.upper().is_some());
            let set = sets.keys().position(|key| *key == self.requirements[i].alternative.as_ref());
            set.filter(|_| is_limited).map(|set| &decisions[set])
        };
        let by_count = |i: usize| of_item(i).map(|decision| decision.outcome);
        let outcomes: Vec<Outcome> = (check.items.iter().enumerate())
            .map(|(i, item)| by_count(i).unwrap_or_else(|| item.finding.outcome()))
            .collect();
        let (outcome, deciding) = check::decide(&check.items, &outcomes);
        let by = deciding.and_then(of_item);
        let size = by.and_then(|decision| decision.deciding).map(|size| size.to_string());
        let first = decisions.first();
        let p = first.and_then(|decision| decision.p);
        Verdict {
            outcome,
            rule: (!sets.is_empty()).then_some(rule),
            p_missing: no_probability(spectrum, &sets, p),
            p,
            false_accept: first.and_then(|decision| decision.false_accept),
            deciding: size.or_else(|| deciding.map(|i| check.items[i].demand.subject())),
            settle: by.filter(|_| outcome == Outcome::Undecided).and_then(|decision| decision.settle),
            factor_to_remove: check.factor_to_remove(),
            limits_checked: check.limits_checked().filter(|_| outcome == Outcome::Conforms),
            each: decisions.into_iter().flat_map(|decision| decision.each).collect(),
            check,
        }
    }

    /// The upper limits on particles that must be met together: those without alternatives first, then each branch's.
    fn limits(&self) -> BTreeMap<Option<&Alternative>, Vec<Limit>> {
        let mut sets: BTreeMap<Option<&Alternative>, Vec<Limit>> = BTreeMap::new();
        for requirement in &self.requirements {
            if let Demand::Particles { size, limit } = requirement.demand
                && let Some(per_ml) = limit.upper()
            {
                sets.entry(requirement.alternative.as_ref()).or_default().push(Limit { size, per_ml });
            }
        }
        sets
    }
}

fn no_probability(
    spectrum: &Spectrum,
    sets: &BTreeMap<Option<&Alternative>, Vec<Limit>>,
    p: Option<Probability>,
) -> Option<NoProbability> {
    if p.is_some() {
        return None;
    }
    let counted = |limit: &Limit| spectrum.channel(limit.size).is_some_and(|at| at.reading.is_counted());
    Some(match sets {
        sets if sets.is_empty() => NoProbability::NoParticleLimits,
        sets if !sets.values().flatten().all(counted) => NoProbability::SizeNotCounted,
        _ => NoProbability::NoRawCounts,
    })
}

/// Conformity where every limited size that was counted has evidence.
fn usual_rule(spectrum: &Spectrum, sets: &BTreeMap<Option<&Alternative>, Vec<Limit>>, level: Level) -> Rule {
    let is_bare = |limit: &Limit| {
        let channel = spectrum.channel(limit.size);
        channel.is_some_and(|channel| channel.reading.count().is_some() && channel.evidence.is_none())
    };
    if sets.values().flatten().any(is_bare) { Rule::SimpleAcceptance } else { Rule::Conformity(level) }
}
