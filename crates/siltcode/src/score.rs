//! The main job: one bottle scored, from its runs to its code, its verdict and what looks wrong.
//!
//! ```
//! use siltcode::{Sample, Scoring, Spec, SizeScale, Spectrum, score};
//!
//! let runs = Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0)])?;
//! let target = Spec::from_code("18/16/13".parse()?, SizeScale::UmC)?;
//! let scored = score(&Sample::new("day tank", [runs]), &Scoring { spec: Some(&target), ..Scoring::default() })?;
//! assert_eq!(scored.iso4406.unwrap().to_string(), "18/16/13");
//! assert_eq!(scored.verdict.unwrap().outcome.to_string(), "conforms");
//! # Ok::<(), siltcode::Error>(())
//! ```

use serde::Serialize;

use crate::class::iso4406::{Code, FEW_BELOW, RangeNumber};
use crate::companion::Companion;
use crate::count::Reading;
use crate::error::Result;
use crate::sample::Sample;
use crate::size::{Size, SizeScale};
use crate::spec::{Check, Outcome, Spec};
use crate::spectrum::{Channel, Spectrum};

/// How to score.
#[derive(Debug, Clone, Copy, Default)]
pub struct Scoring<'a> {
    /// The target to check against.
    pub spec: Option<&'a Spec>,
    /// The blank to subtract.
    pub blank: Option<&'a Spectrum>,
}

/// A bottle, scored.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scored {
    /// The bottle's name.
    pub id: String,
    /// The ISO 4406 code, where the code's sizes were counted.
    pub iso4406: Option<Code>,
    /// The scale of its sizes.
    pub scale: SizeScale,
    /// How many runs it rests on.
    pub runs: usize,
    /// Sizes whose band the subtracted blank held more of than the bottle; none if no blank was subtracted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drowned_in_blank: Option<Vec<Size>>,
    /// Every size, smallest first.
    pub channels: Vec<ScoredChannel>,
    /// What else was measured.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub companions: Vec<Companion>,
    /// The verdict, if there was a target.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Verdict>,
}

/// One size of a scored bottle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScoredChannel {
    /// The size with its scale.
    pub size: Size,
    /// The size in um(c), if that is its scale \[um(c)\].
    #[serde(skip_serializing_if = "Option::is_none")]
    pub size_um_c: Option<f64>,
    /// The cumulative concentration: a number, a bound in words, or nothing \[particles/mL\].
    pub per_ml: Reading,
    /// Particles counted over all runs, where known.
    pub raw: Option<u64>,
    /// Volume counted over all runs, where known \[mL\].
    pub volume_ml: Option<f64>,
    /// Dilution factor \[-\], where the raw count is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dilution: Option<f64>,
    /// The ISO 4406 range number of the concentration.
    pub number: Option<RangeNumber>,
    /// Fewer than 20 particles were counted.
    pub few: bool,
}

/// A bottle against its target.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verdict {
    /// What it comes to.
    pub outcome: Outcome,
    /// The requirement that decides.
    pub deciding: Option<String>,
    /// The factor by which particle counts still have to come down \[-\]; 1 where the limits are met.
    pub factor_to_remove: f64,
    /// Requirement by requirement.
    pub check: Check,
}

/// Scores one bottle.
///
/// # Errors
/// Those of [`Sample::spectrum`] and [`Spectrum::less_blank`].
pub fn score(sample: &Sample, scoring: &Scoring<'_>) -> Result<Scored> {
    let gross = sample.spectrum()?;
    let (spectrum, drowned) = match scoring.blank.map(|blank| gross.less_blank(blank)).transpose()? {
        Some((net, drowned)) => (net, Some(drowned)),
        None => (gross, None),
    };
    let check = scoring.spec.map(|spec| spec.check_counts(&spectrum, &sample.companions));
    let verdict = check.map(|check| Verdict {
        outcome: check.outcome,
        deciding: check.deciding.clone(),
        factor_to_remove: check.factor_to_remove(),
        check,
    });
    Ok(Scored {
        id: sample.id.clone(),
        iso4406: Code::of(&spectrum).ok(),
        scale: spectrum.scale(),
        runs: sample.runs.len(),
        drowned_in_blank: drowned,
        channels: spectrum.channels().iter().map(scored_channel).collect(),
        companions: sample.companions.clone(),
        verdict,
    })
}

fn scored_channel(channel: &Channel) -> ScoredChannel {
    let evidence = channel.evidence;
    ScoredChannel {
        size: channel.size,
        size_um_c: (channel.size.scale() == SizeScale::UmC).then_some(channel.size.um()),
        per_ml: channel.reading,
        raw: evidence.map(|evidence| evidence.raw),
        volume_ml: evidence.map(|evidence| evidence.volume.ml()),
        dilution: evidence.map(|evidence| evidence.dilution.factor()),
        number: channel.reading.count().map(RangeNumber::of),
        few: evidence.is_some_and(|evidence| evidence.raw < FEW_BELOW),
    }
}
