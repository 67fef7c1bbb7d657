//! What a bottle's runs say against each other.
//!
//! All tests of one bottle share one risk, and so do its sizes: a good bottle raises any of these flags no more often than
//! the alarm level allows, however many sizes it was counted at. Most of the risk goes to the sizes that counted most, where
//! a sign shows first.

use super::{Context, Flag, Severity, doubt, percent};
use crate::certainty::level::Level;
use crate::certainty::normal;
use crate::certainty::odds::Odds;
use crate::certainty::repeatability::SizeRepeatability;
use crate::certainty::runs::{Criterion, Direction, Runs};
use crate::certainty::student::{Student, f_tail};
use crate::count::{Evidence, PerMl};
use crate::sample::Sample;
use crate::size::Size;

/// The shares of the risk: runs that differ, that agree too well, a first run that differs, a trend. Together they come to
/// more than 1, since a bottle that raises one of the flags often raises another; of good bottles at most one in a hundred
/// raises any, as simulated.
const SCATTER: f64 = 0.46;
const REGULAR: f64 = 0.05;
const FIRST: f64 = 0.48;
const TREND: f64 = 0.44;

/// What runs may vary by where no batch says it, before a trend or a first run is taken for more than that \[-\].
const UNKNOWN_CV: f64 = 0.05;

/// What runs that disagree weigh: with a range number that is sure all the same they are only to be kept in mind.
pub(super) fn weight(odds: Option<&Odds>, level: Level) -> Severity {
    let is_sure = odds.and_then(Odds::likeliest).is_some_and(|(_, p)| p.get() >= level.get());
    if is_sure { Severity::Note } else { Severity::Doubt }
}

/// The share of a bottle's risk that each of these sizes has: by the square of what it counted.
pub(super) fn shares(sample: &Sample, sizes: impl Iterator<Item = Size>) -> Vec<f64> {
    let counted = |size| {
        let runs = sample.evidence_of_runs(size).unwrap_or_default();
        runs.iter().map(|run| run.raw as f64).sum::<f64>()
    };
    let squares: Vec<f64> = sizes.map(|size| counted(size) * counted(size)).collect();
    let all = squares.iter().sum::<f64>().max(1.0);
    squares.into_iter().map(|square| square / all).collect()
}

/// The flags of one size, which has this share of the bottle's risk.
pub(super) fn of_runs(
    sample: &Sample,
    size: Size,
    context: &Context<'_>,
    weight: Severity,
    share: f64,
) -> Vec<Flag> {
    let tolerance = || spread_of_concentrations(sample, size, context.spread).into_iter().collect();
    let Some(evidence) = sample.evidence_of_runs(size) else { return tolerance() };
    let Some(runs) = Runs::new(&evidence) else { return Vec::new() };
    let risk = context.alarm.risk() * share;
    let tests = Tests::new(&evidence, &runs, context.repeatability.and_then(|known| known.of_batch(size)));
    let of_weight =
        |code, evidence, advice| Flag { code, severity: weight, size: Some(size), evidence, advice };
    let mut flags = Vec::new();
    if let Some(evidence) = tests.scatter(SCATTER * risk, context.spread) {
        let advice = "shake and degas the bottle and count again; if bottles differ, draw more of them";
        flags.push(of_weight("scatter", evidence, advice));
    }
    let p_regular = runs.dispersion().p_regular.get();
    if p_regular <= REGULAR * risk {
        let evidence =
            format!("{} agree more closely than counting allows ({})", tests.counts(), once_in(p_regular));
        let advice = "ask whether these are raw counts of separate runs, not averages or copies";
        flags.push(doubt("too-regular", Some(size), evidence, advice));
    }
    // A first run that stands out makes a trend, and a trend sets the first run apart: the surer of the two is said.
    let (first, trend) = (tests.first_run(FIRST * risk), tests.trend(TREND * risk));
    let trend_is_surer =
        |(p, ..): &(f64, Direction, String)| first.as_ref().is_none_or(|(other, _)| p < other);
    if let Some((_, direction, evidence)) = trend.filter(trend_is_surer) {
        let (code, advice) = match direction {
            Direction::Rising => (
                "rising",
                "look for bubbles coming out, a leak of air, or particles stirred up; degas and count again",
            ),
            Direction::Falling => {
                ("falling", "look for bubbles leaving or particles settling; shake, degas and count at once")
            }
        };
        flags.push(of_weight(code, evidence, advice));
    } else if let Some((_, evidence)) = first {
        let advice = "the line or the sensor may still have held the last sample: flush, and leave the first run out \
                      (--skip-first-run, or --leave-out BOTTLE:1)";
        flags.push(of_weight("first-run-differs", evidence, advice));
    }
    flags
}

/// The runs of one size, and what they are tested against.
struct Tests<'a> {
    evidence: &'a [Evidence],
    runs: &'a Runs<'a>,
    /// The expected count of a run \[particles\].
    mean: f64,
    /// How much runs of the batch vary, where a batch says it.
    batch: Option<SizeRepeatability>,
}

impl<'a> Tests<'a> {
    fn new(evidence: &'a [Evidence], runs: &'a Runs<'a>, batch: Option<SizeRepeatability>) -> Self {
        let mean = evidence.iter().map(|run| run.raw as f64).sum::<f64>() / evidence.len() as f64;
        Self { evidence, runs, mean, batch }
    }

    fn counts(&self) -> String {
        let counts: Vec<_> = self.evidence.iter().map(|run| run.raw.to_string()).collect();
        format!("runs {}", counts.join(", "))
    }

    /// How many times the variance of counting runs vary by, and the degrees of freedom that is known with; without a batch
    /// they vary by this coefficient of variation.
    ///
    /// The part beyond counting is as well known as the batch says, the rest exactly; but a batch that agrees by luck shows no
    /// such part, so the whole is never better known than from its runs and, since it is at least that of counting, as many
    /// again.
    fn variance(&self, otherwise: f64) -> (f64, f64) {
        let Some(batch) = self.batch else { return (1.0 + otherwise * otherwise * self.mean, f64::INFINITY) };
        let beyond = batch.tested_against() * self.mean;
        let known = ((1.0 + beyond) / beyond.max(f64::MIN_POSITIVE)).powi(2) * batch.effective_number;
        let runs = if batch.bottles > 0 {
            2.0 * (batch.bottles * (self.evidence.len() - 1)) as f64
        } else {
            f64::INFINITY
        };
        (1.0 + beyond, known.min(runs.max(batch.effective_number)))
    }

    /// Runs that differ by more than those of the batch do or, without a batch, by more than counting error.
    fn scatter(&self, risk: f64, criterion: Criterion) -> Option<String> {
        let dispersion = self.runs.dispersion();
        let freedom = (self.evidence.len() - 1) as f64;
        let (times, degrees) = self.variance(0.0);
        let is_scattered = f_tail(dispersion.statistic / times / freedom, freedom, degrees) <= risk;
        let allowed = match criterion {
            Criterion::Fraction(allowed) if self.runs.is_spread_exceeded(criterion) => {
                Some(format!("; allowed {}", percent(allowed)))
            }
            _ => None,
        };
        (is_scattered || allowed.is_some()).then(|| {
            let than = match self.batch {
                _ if !is_scattered => "than allowed",
                Some(_) => "than those of the other bottles",
                None => "than counting error",
            };
            format!(
                "{} differ by {}, more {than}{}",
                self.counts(),
                percent(self.runs.range()),
                allowed.unwrap_or_default()
            )
        })
    }

    /// The first of three or more runs against the others, which must agree with each other.
    fn first_run(&self, risk: f64) -> Option<(f64, String)> {
        let (times, degrees) = self.variance(UNKNOWN_CV);
        let others = Runs::new(self.evidence.get(1..)?)?;
        let freedom = (self.evidence.len() - 2) as f64;
        let agree = f_tail(others.dispersion().statistic / times / freedom, freedom, degrees) > 0.01;
        let p = less_extreme(self.runs.first_differs().get(), times, degrees);
        if !agree || p > risk {
            return None;
        }
        let [first, others @ ..] = self.evidence else { return None };
        let others = others.iter().copied().reduce(Evidence::summed)?.per_ml().get();
        let ratio = first.per_ml().get() / others.max(f64::MIN_POSITIVE);
        Some((p, format!("{}: the first is {ratio:.2} times the others", self.counts())))
    }

    fn trend(&self, risk: f64) -> Option<(f64, Direction, String)> {
        let (times, degrees) = self.variance(UNKNOWN_CV);
        let drift = self.runs.drift();
        let p = less_extreme(drift.p.get(), times, degrees);
        let direction = drift.monotone.filter(|_| p <= risk)?;
        let way = match direction {
            Direction::Rising => "rise",
            Direction::Falling => "fall",
        };
        Some((p, direction, format!("{} {way} from run to run", self.counts())))
    }
}

/// A two-sided chance of counting alone, where the variance is so many times that of counting.
fn less_extreme(p: f64, times: f64, degrees: f64) -> f64 {
    let z = normal::upper_quantile((p / 2.0).clamp(f64::MIN_POSITIVE, 0.5));
    2.0 * Student::new(degrees).upper_tail(z / times.sqrt())
}

fn once_in(p: f64) -> String {
    if p > 1e-9 { format!("1 time in {:.0}", 1.0 / p) } else { "less than 1 time in a billion".into() }
}

/// Without raw counts only the caller's own tolerance can be checked.
fn spread_of_concentrations(sample: &Sample, size: Size, criterion: Criterion) -> Option<Flag> {
    let Criterion::Fraction(allowed) = criterion else { return None };
    let runs: Vec<f64> =
        sample.runs.iter().filter_map(|run| run.spectrum.per_ml(size)).map(PerMl::get).collect();
    let mean = runs.iter().sum::<f64>() / runs.len() as f64;
    let range = runs.iter().copied().fold(0.0, f64::max) - runs.iter().copied().fold(f64::INFINITY, f64::min);
    (runs.len() >= 2 && range > allowed * mean).then(|| {
        let evidence = format!(
            "largest less smallest run {} of the mean, allowed {}",
            percent(range / mean),
            percent(allowed)
        );
        doubt("scatter", Some(size), evidence, "shake and degas the bottle and count again")
    })
}
