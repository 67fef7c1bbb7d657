//! What looks wrong with a job under way, what it may mean, and what to do next.
//!
//! Counts alone cannot tell the causes of a slow fall from each other; all are named, each with the size that would
//! explain it.
//!
//! | code | raised when |
//! |---|---|
//! | `no-fall` | the counts of a bin do not fall |
//! | `rising` | a bin of the last sample holds more than in the one before, beyond chance |
//! | `stalled` | the last sample does not hold less than the one before, and more than the fall so far leaves, beyond chance |
//! | `slow`, `fast` | the tank shows less than 3/4 of what its elements should give, or more than 4/3, beyond chance |
//! | `sizes-disagree` | a larger size falls more slowly than a smaller one, each against its elements, beyond chance |
//! | `floor` | the counts have a floor, beyond chance |
//! | `target-below-floor` | a floor is shown that is not below the target, and the target is probably never met |
//! | `floor-not-seen` | a floor as high as the target cannot be ruled out yet |
//! | `scatter` | the counts lie further off their curves than chance allows |
//! | `slowing`, `speeding` | the fall bends away from its curves, beyond chance |
//! | `size-left-out` | a size has no fall that could be fitted |
//!
//! Every chance allows for what the scatter of bottles may be, and is shared out among the bins that are looked at. At the
//! usual level of 99 % each finding is raised by chance alone in about one job of 200. What each finds depends on how bottles
//! scatter: a rise or a stall between two bottles that differ by 15 % has to be larger than between two that differ by 5 %.
//! The effects that are found in four jobs of five, and how often, are in `tests/studies/findings.md`.
//!
//! ```
//! use siltcode::job::progress::{Bottle, Options, Progress};
//! use siltcode::tank::Turnovers;
//! use siltcode::{CountedVolume, Spectrum};
//!
//! let counts = [(0.0, 9_000.0), (1.0, 3_600.0), (2.0, 1_500.0), (3.0, 620.0), (4.0, 1_900.0)];
//! let bottles = counts.map(|(after, per_ml)| {
//!     let spectrum = Spectrum::from_per_ml(&[(4.0, per_ml)])?;
//!     Bottle::of_spectrum(Turnovers::new(after)?, &spectrum, Some(CountedVolume::from_ml(1.0)?))
//! });
//! let bottles = bottles.into_iter().collect::<siltcode::Result<Vec<_>>>()?;
//! let findings = Progress::new(&bottles, Options::default())?.findings(None);
//! assert_eq!(findings[0].code, "rising");
//! assert!(findings[0].evidence.starts_with("from 620 to 1900 per mL"));
//! # Ok::<(), siltcode::Error>(())
//! ```

mod fall;
mod floor;
mod last;
mod pace;

use serde::Serialize;

use super::series::Progress;
use crate::certainty::Severity;
use crate::count::PerMl;
use crate::size::Size;
use crate::tank::Target;
pub use pace::Shortfall;

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

impl Progress {
    /// What looks wrong, the doubts first; with a target also what bears on meeting it.
    #[must_use]
    pub fn findings(&self, target: Option<&Target>) -> Vec<Finding> {
        let limit = |bin: usize| {
            let limits = target.map(Target::limits).unwrap_or_default();
            limits.iter().find(|(at, _)| *at == self.sizes[bin].size).map(|(_, limit)| *limit)
        };
        let limits: Vec<Option<PerMl>> = (0..self.sizes.len()).map(limit).collect();
        let mut findings = self.last_sample(&limits);
        findings.extend((0..self.sizes.len()).filter_map(|bin| self.no_fall(bin)));
        findings.extend(
            [self.pace(), self.disagreement(), self.scattered(), self.bend(), self.shown_floor()]
                .into_iter()
                .flatten(),
        );
        findings.extend((0..self.sizes.len()).filter_map(|bin| self.target_below_floor(bin, limits[bin]?)));
        findings.extend(self.floor_not_seen(target));
        findings.extend(self.omissions());
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        findings
    }

    /// The chance below which a finding is raised: half of what the level leaves, so that all together stay rare.
    fn rare(&self) -> f64 {
        self.options.alarm.risk() / 2.0
    }

    fn omissions(&self) -> impl Iterator<Item = Finding> {
        self.left_out().iter().map(|(size, error)| {
            let advice = "count this size in every sample; where there are too many or too few, dilute or count more volume";
            note("size-left-out", error.to_string(), NO_MEANING, advice).at(*size)
        })
    }
}

impl Finding {
    fn at(self, size: Size) -> Self {
        Self { size: Some(size), ..self }
    }
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
