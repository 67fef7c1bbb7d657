//! What looks wrong with a job under way, what it may mean, and what to do next.
//!
//! Counts alone cannot tell the causes of a slow fall from each other; all are named, each with the size that would
//! explain it.
//!
//! | code | raised when |
//! |---|---|
//! | `no-fall` | the counts of a size do not fall |
//! | `rising` | the last sample holds more than the one before, beyond chance |
//! | `stalled` | the last two samples do not differ, though the fall so far would have shown, and the target is not met |
//! | `slow` | the tank shows less than the filter's efficiency, beyond chance |
//! | `floor` | the counts have a floor, beyond chance |
//! | `target-below-floor` | the most likely curve never meets the target |
//! | `sizes-disagree` | a larger size falls more slowly than a smaller one, beyond chance |
//! | `scatter` | the counts lie further off their curve than chance allows |
//! | `slowing`, `speeding` | the fall bends away from its curve, beyond chance |
//! | `floor-not-seen` | the samples are too few or too early to show a floor |
//! | `size-left-out` | a size has no fall that could be fitted |
//!
//! ```
//! use siltcode::job::progress::{Bottle, Options, Progress};
//! use siltcode::tank::Turnovers;
//! use siltcode::{CountedVolume, Spectrum};
//!
//! let counts = [(0.0, 9_000.0), (1.0, 3_600.0), (2.0, 1_500.0), (3.0, 1_900.0)];
//! let bottles = counts.map(|(after, per_ml)| {
//!     let spectrum = Spectrum::from_per_ml(&[(4.0, per_ml)])?;
//!     Bottle::of_spectrum(Turnovers::new(after)?, &spectrum, Some(CountedVolume::from_ml(1.0)?))
//! });
//! let bottles = bottles.into_iter().collect::<siltcode::Result<Vec<_>>>()?;
//! let findings = Progress::new(&bottles, Options::default())?.findings(None);
//! assert_eq!(findings[0].code, "rising");
//! assert!(findings[0].evidence.starts_with("from 1500 to 1900 per mL"));
//! # Ok::<(), siltcode::Error>(())
//! ```

use serde::Serialize;

use super::fit::{Edge, Fit, ShownEfficiency};
use super::seen::Observed;
use super::series::{LEAST_SAMPLES, LEAST_TURNOVERS, Progress, SizeProgress, Spread};
use crate::certainty::{Level, Probability, Severity, normal, ratio};
use crate::count::{CountedVolume, Dilution, Evidence, PerMl, whole_count};
use crate::filter::Efficiency;
use crate::size::Size;
use crate::tank::Target;
use crate::units::significant;

/// Something that the samples say of the job.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// The stable code, for programs: lower case, words joined by hyphens.
    pub code: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// The size it concerns, where it concerns one.
    pub size: Option<Size>,
    /// What was found, with its numbers.
    pub evidence: String,
    /// What it may mean: each is possible, and counts alone do not tell them apart.
    pub meaning: Vec<String>,
    /// What to do next.
    pub advice: &'static str,
}

/// How far the efficiency that a tank shows lies below the filter's, and what would explain it.
///
/// ```
/// use siltcode::filter::Beta;
/// use siltcode::job::progress::{Shortfall, ShownEfficiency};
///
/// let expected = Beta::new(200.0)?.efficiency();
/// let shortfall = Shortfall::new(ShownEfficiency::new(0.72)?, ShownEfficiency::new(0.03)?, expected);
/// assert_eq!(format!("{:.3} {:.3}", shortfall.bypass, shortfall.short_circuit), "0.276 0.277");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Shortfall {
    /// The efficiency that the tank shows over the filter's \[-\]; also the share of the stated flow that would explain
    /// it, and the inverse of the factor on the stated volume.
    pub ratio: f64,
    /// The share of the flow past the medium that would explain it \[-\].
    pub bypass: f64,
    /// The share of the return straight to the suction that would explain it \[-\].
    pub short_circuit: f64,
    /// The difference in standard errors \[-\].
    pub z: f64,
    /// How likely chance alone makes it look so slow.
    pub p: Probability,
}

impl Shortfall {
    /// That of an efficiency with its standard error, where the filter should have another.
    #[must_use]
    pub fn new(shown: ShownEfficiency, standard_error: ShownEfficiency, expected: Efficiency) -> Self {
        let (shown, expected) = (shown.get(), expected.get());
        let z = (expected - shown) / standard_error.get();
        Self {
            ratio: shown / expected,
            bypass: 1.0 - shown / expected,
            short_circuit: (expected - shown) / (expected - shown * (1.0 - expected)),
            z,
            p: Probability::rounded(normal::upper_tail(z)),
        }
    }

    fn causes(&self) -> Vec<String> {
        let percent = |share: f64| significant(100.0 * share, 3);
        vec![
            format!("{} % of the flow passes the medium by", percent(self.bypass)),
            format!("{} % of the return goes straight back to the suction", percent(self.short_circuit)),
            format!("the flow is {} % of what is stated", percent(self.ratio)),
            format!("the tank holds {} times what is stated", significant(1.0 / self.ratio, 3)),
            "the filter holds back less than it is rated for, in this fluid at this flow".into(),
        ]
    }
}

impl Progress {
    /// What looks wrong, the doubts first; with a target also what bears on meeting it.
    #[must_use]
    pub fn findings(&self, target: Option<&Target>) -> Vec<Finding> {
        let limit = |size: Size| {
            let limits = target.map(Target::limits).unwrap_or_default();
            limits.iter().find(|(at, _)| *at == size).map(|(_, limit)| *limit)
        };
        let each = self.sizes.iter().flat_map(|size| self.of_size(size, limit(size.size)));
        let mut findings: Vec<Finding> = each.chain(self.disagreements()).chain(self.omissions()).collect();
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        findings
    }

    fn of_size(&self, size: &SizeProgress, limit: Option<PerMl>) -> Vec<Finding> {
        let alarm = self.options.alarm;
        let last = LastTwo::of(size, self.options.spread);
        let rising = last.as_ref().and_then(|last| last.rising(alarm));
        let stalled = last.as_ref().filter(|_| rising.is_none()).and_then(|last| {
            let is_open = limit.is_none_or(|limit| size.now() > limit);
            last.stalled(&size.fit, self.options.level).filter(|_| is_open)
        });
        let found = [
            no_fall(size),
            rising,
            stalled,
            self.slow(size),
            floor(size, alarm, limit),
            scatter(size, alarm),
            bend(size, alarm),
            not_seen(size, limit, self.options.level),
        ];
        found.into_iter().flatten().map(|finding| Finding { size: Some(size.size), ..finding }).collect()
    }

    fn slow(&self, size: &SizeProgress) -> Option<Finding> {
        let (_, expected) = self.options.expected.iter().find(|(at, _)| *at == size.size)?;
        let error = ShownEfficiency::new(size.fit.errors()?.efficiency).ok()?;
        let shown = size.fit.efficiency();
        let shortfall = Shortfall::new(shown, error, *expected);
        (shortfall.p.get() < self.options.alarm.risk()).then(|| {
            let [shown, error, expected] =
                [shown.get(), error.get(), expected.get()].map(|value| significant(value, 3));
            let evidence = format!(
                "the tank shows an efficiency of {shown} (standard error {error}), the filter has {expected}"
            );
            let advice = "check flow and volume first; then sample before and behind the filter, and from another place in the tank";
            doubt("slow", evidence, shortfall.causes(), advice)
        })
    }

    /// Each size that falls more slowly than the one below it. Both share particles, which makes them alike: the true
    /// chance is smaller than the one that is worked out as if they did not.
    fn disagreements(&self) -> Vec<Finding> {
        let disagreement = |small: &SizeProgress, large: &SizeProgress| {
            let rate =
                |size: &SizeProgress| Some((size.fit.efficiency().get(), size.fit.errors()?.efficiency));
            let ((fast, u), (slow, v)) = (rate(small)?, rate(large)?);
            let z = (fast - slow) / u.hypot(v);
            (normal::upper_tail(z) < self.options.alarm.risk()).then(|| {
                let [fast, slow] = [fast, slow].map(|rate| significant(rate, 3));
                let evidence = format!("{} falls at {fast} per turnover, {} only at {slow}", small.size, large.size);
                let meaning = ["free water counted as particles", "air bubbles", "bottles or caps that were not clean"];
                let advice = "no filter does that: test for water, let the bottle stand or degas it, and draw again into certified bottles";
                Finding { size: Some(large.size), ..doubt("sizes-disagree", evidence, meaning, advice) }
            })
        };
        self.sizes.windows(2).filter_map(|pair| disagreement(&pair[0], &pair[1])).collect()
    }

    fn omissions(&self) -> impl Iterator<Item = Finding> {
        self.left_out().iter().map(|(size, error)| {
            let advice = "count this size in every sample; where there are too many or too few, dilute or count more volume";
            Finding { size: Some(*size), ..note("size-left-out", error.to_string(), NO_MEANING, advice) }
        })
    }
}

/// The last two samples of a size, and as counts in the volumes that their stated scatter leaves of them. The scatter about
/// the curve is left out: a rise would hide itself in it.
struct LastTwo {
    raw: [Evidence; 2],
    weighed: [Evidence; 2],
    apart: f64,
    scatter: &'static str,
}

impl LastTwo {
    fn of(size: &SizeProgress, spread: Spread) -> Option<Self> {
        let last = size.observed.last()?;
        let before = size.observed.iter().rfind(|seen| seen.turnovers < last.turnovers)?;
        let cv = if let Spread::Stated(scatter) = spread { scatter.cv() } else { 0.0 };
        let factor = |seen: &Observed| 1.0 + cv.powi(2) * seen.ml * size.fit.at(seen.turnovers()).get();
        let weighed = |seen: &Observed| evidence(seen, factor(seen));
        Some(Self {
            raw: [evidence(before, 1.0)?, evidence(last, 1.0)?],
            weighed: [weighed(before)?, weighed(last)?],
            apart: last.turnovers - before.turnovers,
            scatter: if cv > 0.0 { "with the stated scatter" } else { "by counting alone" },
        })
    }

    /// From what to what.
    fn print(&self) -> String {
        let [before, last] = self.raw.map(|raw| significant(raw.per_ml().get(), 4));
        format!("from {before} to {last} per mL between the last two samples")
    }

    fn rising(&self, alarm: Level) -> Option<Finding> {
        let [before, last] = &self.weighed;
        let p = ratio::equal(last, before).get() / 2.0; // one side of the two
        (last.per_ml() > before.per_ml() && p < alarm.risk()).then(|| {
            let evidence = format!("{}; chance {} {}", self.print(), significant(p, 2), self.scatter);
            let meaning = [
                "water or dirt came in",
                "sediment was stirred up",
                "the filter sheds, is ruptured or bypassed",
                "a bottle was not clean",
            ];
            let advice = "draw two more bottles at once: if they agree, look at the element and at what comes in before going on";
            doubt("rising", evidence, meaning, advice)
        })
    }

    fn stalled(&self, fit: &Fit, level: Level) -> Option<Finding> {
        let [before, last] = &self.weighed;
        let stays = ratio::compare(last, before, level).interval;
        let promised = (-fit.efficiency().get() * self.apart).exp();
        (stays.contains(&1.0) && promised < stays.low).then(|| {
            let fraction = stays.map(|end| significant(end, 3));
            let evidence =
                format!("{}: {} to {} of it is left", self.print(), fraction.low, fraction.high);
            let meaning = [
                "the floor is reached: as much comes in or is shed as is caught",
                "the flow has dropped",
                "a part of the tank is not reached",
            ];
            let advice = "read flow and pressures, sample behind the filter, and stop what comes in; more turnovers alone may not help";
            doubt("stalled", evidence, meaning, advice)
        })
    }
}

/// A count as evidence, divided by how much more it scatters in variance.
fn evidence(seen: &Observed, factor: f64) -> Option<Evidence> {
    let raw = whole_count((seen.seen().count()? as f64 / factor).round()).ok()?;
    Some(Evidence::of_run(raw, CountedVolume::from_ml(seen.ml / factor).ok()?, Dilution::NONE))
}

fn no_fall(size: &SizeProgress) -> Option<Finding> {
    (size.fit.edge() == Some(Edge::NoFall)).then(|| {
        let level = significant(size.now().get(), 4);
        let evidence = format!("over {} turnovers the counts stay near {level} per mL", turnovers(size));
        let meaning = [
            "nothing is caught at this size",
            "as much comes in as is caught",
            "the flow does not go through the filter",
        ];
        let advice = "sample before and behind the filter; check valves, bypass and the element's rating";
        doubt("no-fall", evidence, meaning, advice)
    })
}

fn turnovers(size: &SizeProgress) -> String {
    let [first, last] = size.fit.span();
    significant(last.get() - first.get(), 3)
}

fn floor(size: &SizeProgress, alarm: Level, limit: Option<PerMl>) -> Option<Finding> {
    let test = size.fit.floor_test()?;
    let floor = size.fit.floor();
    let is_seen = test.p.get() < alarm.risk();
    let is_above = limit.is_some_and(|limit| floor >= limit && size.now() > limit);
    let error = size.fit.errors().and_then(|errors| errors.floor);
    let known = error.map_or(String::new(), |error| format!(" (standard error {})", significant(error, 2)));
    let evidence = format!("a floor of {} per mL{known}", significant(floor.get(), 3));
    let meaning = [
        "what comes in: the floor is then in inverse proportion to the flow",
        "what the filter sheds: the floor is then the same at any flow",
    ];
    let advice =
        "sample at two flows: they tell the two apart; close vents and returns, or change the element";
    match limit {
        Some(limit) if is_above => {
            let evidence = format!("{evidence}, the target is {}", significant(limit.get(), 3));
            Some(doubt("target-below-floor", evidence, meaning, advice))
        }
        _ => is_seen.then(|| {
            let p = significant(test.p.get(), 2);
            note("floor", format!("{evidence}; chance {p}"), meaning, advice)
        }),
    }
}

fn scatter(size: &SizeProgress, alarm: Level) -> Option<Finding> {
    let goodness = size.fit.goodness();
    let p = goodness.p.filter(|p| p.get() < alarm.risk())?;
    let evidence = format!(
        "deviance {} where {} is usual; chance {}",
        significant(goodness.deviance, 3),
        goodness.freedom,
        significant(p.get(), 2)
    );
    let meaning = [
        "bottles differ by more than counting",
        "turnovers are not as stated",
        "the fall is not one to an even floor",
    ];
    let advice = "draw two bottles at each sampling: the scatter between them is then known";
    Some(note("scatter", evidence, meaning, advice))
}

fn bend(size: &SizeProgress, alarm: Level) -> Option<Finding> {
    let bend = size.fit.bend()?;
    (2.0 * normal::upper_tail(bend.abs()) < alarm.risk()).then(|| {
        let by = significant(bend.abs(), 3);
        if bend > 0.0 {
            let evidence = format!("the fall slows down by {by} standard errors more than its curve");
            let meaning = [
                "a part of the tank is reached slowly",
                "large particles went first",
                "more comes in than before",
            ];
            let advice = "move the return or the suction, and sample from another place in the tank";
            note("slowing", evidence, meaning, advice)
        } else {
            let evidence = format!("the fall speeds up by {by} standard errors more than its curve");
            let meaning = [
                "the first sample was drawn before the tank was mixed",
                "the element catches more as it loads",
                "early turnovers are overstated",
            ];
            let advice = "check the logged flow, and go by the later samples";
            note("speeding", evidence, meaning, advice)
        }
    })
}

fn not_seen(size: &SizeProgress, limit: Option<PerMl>, level: Level) -> Option<Finding> {
    size.no_floor_assumed.then(|| {
        let samples = size.observed.len();
        let seen = limit.and_then(|limit| Some((limit, size.fit.floor_seen_after(limit, level)?)));
        let next = seen.map_or(String::new(), |(limit, more)| {
            let limit = significant(limit.get(), 3);
            format!("; one more after {more} turnovers would show a floor of {limit} per mL")
        });
        let evidence = format!(
            "{samples} samples over {} turnovers; a floor shows from {LEAST_SAMPLES} over {LEAST_TURNOVERS} on{next}",
            turnovers(size)
        );
        let meaning = ["what remains is worked out without a floor, and is too good if there is one"];
        note("floor-not-seen", evidence, meaning, "circulate on and sample again")
    })
}

/// Where the evidence says all there is.
const NO_MEANING: [&str; 0] = [];

fn doubt(
    code: &'static str,
    evidence: String,
    meaning: impl IntoIterator<Item = impl Into<String>>,
    advice: &'static str,
) -> Finding {
    let meaning = meaning.into_iter().map(Into::into).collect();
    Finding { code, severity: Severity::Doubt, size: None, evidence, meaning, advice }
}

fn note(
    code: &'static str,
    evidence: String,
    meaning: impl IntoIterator<Item = impl Into<String>>,
    advice: &'static str,
) -> Finding {
    Finding { severity: Severity::Note, ..doubt(code, evidence, meaning, advice) }
}
