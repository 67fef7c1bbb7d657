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

use crate::certainty::assess::assess_net;
use crate::certainty::corrections::widened;
use crate::certainty::{
    Assessment, ChannelCertainty, Context, Flag, Interval, Level, Odds, Rule, Scatter, Severity, Unrecorded,
    assess,
};
use crate::class::iso4406::{Code, FEW_BELOW, Place, RangeNumber};
use crate::class::{ClassAnswer, ClassRequest};
use crate::companion::Companion;
use crate::count::{PerMl, Reading};
use crate::error::Result;
use crate::field::Field;
use crate::left_out::LeftOutRun;
use crate::previous::Previous;
use crate::sample::{Sample, Source};
use crate::sampling_point::SamplingPoint;
use crate::size::{Size, SizeScale};
use crate::spec::{Found, Judging, Spec, Verdict};
use crate::spectrum::{Channel, Spectrum};

/// How to score.
#[derive(Debug, Clone, Copy, Default)]
pub struct Scoring<'a> {
    /// The target to check against.
    pub spec: Option<&'a Spec>,
    /// The decision rule; see [`Judging::rule`] for the one taken without it.
    pub rule: Option<Rule>,
    /// The blank to subtract.
    pub subtract: Option<&'a Spectrum>,
    /// The class systems to ask beside the code.
    pub classes: ClassRequest<'a>,
    /// What else is known, and at what level to state certainty. Its blank is only compared with, not subtracted.
    pub context: Context<'a>,
}

/// A bottle, scored.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scored {
    /// The bottle's name.
    pub id: String,
    /// Where it stands in its input.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<Source>,
    /// Where, when and by whom it was drawn and counted.
    #[serde(skip_serializing_if = "Vec::is_empty", serialize_with = "as_map")]
    pub fields: Vec<(Field, String)>,
    /// Anything else the input said of it: heading and text.
    #[serde(skip_serializing_if = "Vec::is_empty", serialize_with = "as_map")]
    pub notes: Vec<(String, String)>,
    /// The ISO 4406 code, where the code's sizes were counted; of a bottle without counts, the code printed for it.
    pub iso4406: Option<Code>,
    /// The code printed for it by the counter or the laboratory.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub printed: Option<Code>,
    /// What the class systems that were asked answer.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub classes: Vec<ClassAnswer>,
    /// The scale of its sizes.
    pub scale: SizeScale,
    /// How many runs it rests on.
    pub runs: usize,
    /// Runs that were left out; the caller who left them out says so here.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<LeftOutRun>,
    /// Sizes whose band the subtracted blank held more of than the bottle; none if no blank was subtracted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drowned_in_blank: Option<Vec<Size>>,
    /// The level of the intervals \[-\].
    pub level: Level,
    /// Intervals, odds and verdict allow for counting error only: see [`Assessment::counting_only`].
    pub counting_only: bool,
    /// The scatter between bottles that was stated, as a coefficient of variation \[-\].
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scatter: Option<Scatter>,
    /// Every size, smallest first.
    pub channels: Vec<ScoredChannel>,
    /// What looks wrong.
    pub flags: Vec<Flag>,
    /// Where the certainty of a counted size is not known: what to record next time, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certainty_unknown: Option<Unrecorded>,
    /// What else was measured.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub companions: Vec<Companion>,
    /// Where in the system it was drawn, if the input says that it was not in the tank itself: it is judged as a sample
    /// of that point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub point: Option<SamplingPoint>,
    /// The verdict, if there was a target.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Verdict>,
    /// Requirement by requirement, where the target's limits are only compared with, without a verdict.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comparison: Option<Vec<Found>>,
    /// Beside the previous bottle from the same place, where the caller has compared them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub previous: Option<Previous>,
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
    /// The interval of the concentration at the bottle's level; none where the evidence is missing \[particles/mL\].
    pub interval_per_ml: Option<Interval<PerMl>>,
    /// The odds of each range number; none where the evidence is missing \[-\].
    pub odds: Option<Odds>,
}

/// Scores one bottle.
///
/// # Errors
/// Those of [`Sample::spectrum`] and [`Spectrum::less_blank`].
pub fn score(sample: &Sample, scoring: &Scoring<'_>) -> Result<Scored> {
    if sample.runs.is_empty() && (sample.printed.is_some() || !sample.companions.is_empty()) {
        return Ok(without_counts(sample, scoring));
    }
    let counted = sample.spectrum()?;
    let Counts { spectrum, judged, drowned, assessment } = match scoring.subtract {
        Some(blank) => less_blank(sample, &counted, blank, &scoring.context)?,
        None => as_counted(sample, counted, &scoring.context),
    };
    let comparison = scoring.spec.filter(|spec| spec.compare_only);
    let comparison = comparison.map(|spec| spec.check_counts(&judged, &sample.companions).items);
    let verdict = scoring.spec.filter(|spec| !spec.compare_only).map(|spec| {
        let (level, factors) = (assessment.level, assessment.factors.clone());
        spec.judge(&judged, &sample.companions, &Judging { rule: scoring.rule, level, factors })
    });
    let channels = spectrum.channels().iter().zip(assessment.channels);
    let code = Code::of(&spectrum).ok();
    let mut flags = assessment.flags;
    flags.extend(printed_differs(code, sample.printed));
    Ok(Scored {
        id: sample.id.clone(),
        source: sample.source,
        fields: sample.fields.clone(),
        notes: sample.notes.clone(),
        iso4406: code,
        printed: sample.printed,
        classes: scoring.classes.answers(&spectrum),
        scale: spectrum.scale(),
        runs: sample.runs.len(),
        left_out: Vec::new(),
        drowned_in_blank: drowned,
        level: assessment.level,
        counting_only: assessment.counting_only,
        scatter: assessment.scatter,
        channels: channels.map(|(channel, certainty)| scored_channel(channel, certainty)).collect(),
        flags,
        certainty_unknown: assessment.unknown,
        companions: sample.companions.clone(),
        point: SamplingPoint::of(sample),
        verdict,
        comparison,
        previous: None,
    })
}

/// A bottle of which no counts are known: its printed code, and what else was measured.
fn without_counts(sample: &Sample, scoring: &Scoring<'_>) -> Scored {
    let judging = Judging { rule: scoring.rule, level: scoring.context.level, ..Judging::default() };
    Scored {
        id: sample.id.clone(),
        source: sample.source,
        fields: sample.fields.clone(),
        notes: sample.notes.clone(),
        iso4406: sample.printed,
        printed: sample.printed,
        classes: Vec::new(),
        scale: SizeScale::UmC,
        runs: 0,
        left_out: Vec::new(),
        drowned_in_blank: None,
        level: scoring.context.level,
        counting_only: false,
        scatter: None,
        channels: Vec::new(),
        flags: Vec::new(),
        certainty_unknown: None,
        companions: sample.companions.clone(),
        point: SamplingPoint::of(sample),
        verdict: scoring
            .spec
            .filter(|spec| !spec.compare_only)
            .map(|spec| spec.judge_printed(sample.printed, &sample.companions, &judging)),
        comparison: None,
        previous: None,
    }
}

/// A printed code that is not the code of the counts beside it.
fn printed_differs(code: Option<Code>, printed: Option<Code>) -> Option<Flag> {
    let (code, printed) = (code?, printed?);
    let differs = |(own, other): (Place, Place)| match (own.range_number(), other.range_number()) {
        (Some(own), Some(other)) => own != other,
        (None, None) => false,
        _ => !matches!(other, Place::NotRequired),
    };
    code.places().into_iter().zip(printed.places()).any(differs).then(|| Flag {
        code: "printed-code-differs",
        severity: Severity::Doubt,
        size: None,
        evidence: format!("printed code {printed}, the counts give {code}"),
        advice: "find out which is right: the printed code or the counts beside it",
    })
}

fn as_map<K: Serialize, V: Serialize, S: serde::Serializer>(
    pairs: &[(K, V)],
    serializer: S,
) -> std::result::Result<S::Ok, S::Error> {
    serializer.collect_map(pairs.iter().map(|(key, value)| (key, value)))
}

/// The counts a score is made of.
struct Counts {
    /// What is reported.
    spectrum: Spectrum,
    /// The same, resting on the evidence that a verdict may use.
    judged: Spectrum,
    drowned: Option<Vec<Size>>,
    assessment: Assessment,
}

fn as_counted(sample: &Sample, spectrum: Spectrum, context: &Context<'_>) -> Counts {
    let assessment = assess(sample, &spectrum, context);
    Counts { judged: spectrum.clone(), spectrum, drowned: None, assessment }
}

fn less_blank(sample: &Sample, gross: &Spectrum, blank: &Spectrum, context: &Context<'_>) -> Result<Counts> {
    let (spectrum, drowned) = gross.less_blank(blank)?;
    let judged = widened(&spectrum, gross, blank);
    let assessment = assess_net(sample, gross, blank, &judged, context);
    Ok(Counts { spectrum, judged, drowned: Some(drowned), assessment })
}

fn scored_channel(channel: &Channel, certainty: ChannelCertainty) -> ScoredChannel {
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
        interval_per_ml: certainty.interval_per_ml,
        odds: certainty.odds,
    }
}
