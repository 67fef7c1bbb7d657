//! Where a tank starts: a code, counts, or a bottle of a file.

use std::path::PathBuf;

use siltcode::certainty::Scatter;
use siltcode::class::iso4406::Code;
use siltcode::count::whole_count;
use siltcode::filter::rating::pairs;
use siltcode::intake::{self, Batch, Options, Severity};
use siltcode::provenance::InputDigest;
use siltcode::tank::Start;
use siltcode::units::Volume;
use siltcode::{Channel, CountedVolume, Dilution, Evidence, Sample, SamplingPoint, Size, Spectrum};

use crate::failure::{Failure, Refusal};
use crate::inputs;

/// The start, and what it was read from.
pub(crate) struct From {
    pub(crate) start: Start,
    /// Files read.
    pub(crate) inputs: Vec<InputDigest>,
    /// What was guessed in reading them.
    pub(crate) guessed: Vec<String>,
}

impl From {
    /// A code, counts (with the volume that was counted for them), or a bottle of a file.
    pub(crate) fn read(from: &str, bottle: Option<&str>, counted: Option<&str>) -> Result<Self, Failure> {
        let plain = |start| Self { start, inputs: Vec::new(), guessed: Vec::new() };
        match (counts(from)?, counted) {
            (Some(counts), counted) => Ok(plain(Start::of_counts(&spectrum(&counts, counted)?)?)),
            (None, Some(_)) => Err(Failure::new(
                Refusal::CountedWithoutCounts,
                format!("`{from}` are no counts, so no volume was counted for them"),
                "give the counts of the start, such as 4:30000,6:9000,14:900, or leave --counted out",
            )),
            (None, None) if inputs::is_there(from) => Self::of_file(from, bottle),
            (None, None) => Ok(plain(Start::of_code(from.parse::<Code>()?)?)),
        }
    }

    fn of_file(path: &str, bottle: Option<&str>) -> Result<Self, Failure> {
        let mut batches = Vec::new();
        for input in inputs::list(&[PathBuf::from(path)])? {
            batches.push(intake::read(&input.name, input.open()?, &Options::default())?);
        }
        let samples: Vec<&Sample> = batches.iter().flat_map(|batch| &batch.samples).collect();
        let sample = chosen(path, &samples, bottle)?;
        let warnings = batches.iter().flat_map(|batch: &Batch| &batch.notices);
        let warnings = warnings.filter(|notice| notice.severity == Severity::Warning);
        let guessed = warnings.map(|notice| format!("in {}: {}", notice.file, notice.message));
        let point = SamplingPoint::of(sample).map(|point| format!("the start is a {point}"));
        Ok(Self {
            start: Start::of_sample(sample, Scatter::NONE)?,
            guessed: point.into_iter().chain(guessed).collect(),
            inputs: batches.iter().flat_map(|batch| batch.inputs.clone()).collect(),
        })
    }
}

/// The bottle of this name, or the only one there is.
fn chosen<'a>(path: &str, samples: &[&'a Sample], bottle: Option<&str>) -> Result<&'a Sample, Failure> {
    let mut found = samples.iter().filter(|sample| bottle.is_none_or(|id| sample.id == id));
    if let (Some(sample), None) = (found.next(), found.next()) {
        return Ok(sample);
    }
    let ids = samples.iter().map(|sample| sample.id.as_str()).collect::<Vec<_>>().join(", ");
    let what = bottle.map_or_else(|| "one bottle".into(), |id| format!("one bottle `{id}`"));
    let hint = format!("give --bottle, one of: {ids}; `siltcode score` shows the rows that cannot be used");
    Err(Failure::new(Refusal::BottleNotFound, format!("{path} does not hold just {what}"), hint).about(path))
}

/// Counts as a spectrum; with a counted volume, what they rest on.
fn spectrum(counts: &[(f64, f64)], counted: Option<&str>) -> Result<Spectrum, Failure> {
    let Some(counted) = counted else { return Ok(Spectrum::from_per_ml(counts)?) };
    let volume = CountedVolume::from_ml(counted.parse::<Volume>()?.ml())?;
    let channel = |&(um, per_ml): &(f64, f64)| {
        let raw = whole_count((per_ml * volume.ml()).round())?;
        Ok(Channel::counted(Size::um_c(um)?, Evidence::of_run(raw, volume, Dilution::NONE)))
    };
    let channels = counts.iter().map(channel).collect::<siltcode::Result<_>>()?;
    Ok(Spectrum::cumulative(channels)?)
}

/// Counts at sizes, if the text is a list of them; a code or a file name is not.
pub(crate) fn counts(text: &str) -> Result<Option<Vec<(f64, f64)>>, Failure> {
    if !text.contains(':') || text.contains(['/', '\\']) {
        return Ok(None);
    }
    Ok(Some(pairs(text)?))
}
