//! Where a tank starts: a code, counts, or a bottle of a file.

use std::path::{Path, PathBuf};

use siltcode::certainty::Scatter;
use siltcode::class::iso4406::Code;
use siltcode::count::whole_count;
use siltcode::filter::rating::pairs;
use siltcode::intake::{self, Batch, Options, Severity};
use siltcode::provenance::InputDigest;
use siltcode::tank::Start;
use siltcode::units::Volume;
use siltcode::{Channel, CountedVolume, Dilution, Evidence, Sample, Size, Spectrum};

use super::Args;
use crate::exit::Failure;
use crate::inputs;

/// The start, and what it was read from.
pub(super) struct From {
    pub(super) start: Start,
    /// Files read.
    pub(super) inputs: Vec<InputDigest>,
    /// What was guessed in reading them.
    pub(super) guessed: Vec<String>,
}

impl From {
    pub(super) fn read(args: &Args) -> Result<Self, Failure> {
        let plain = |start| Self { start, inputs: Vec::new(), guessed: Vec::new() };
        match (counts(&args.from)?, &args.counted) {
            (Some(counts), counted) => Ok(plain(Start::of_counts(&spectrum(&counts, counted.as_deref())?)?)),
            (None, Some(_)) => Err(Failure::new(
                format!("`{}` are no counts, so no volume was counted for them", args.from),
                "give the counts of the start, such as 4:30000,6:9000,14:900, or leave --counted out",
            )),
            (None, None) if Path::new(&args.from).exists() => {
                Self::of_file(&args.from, args.bottle.as_deref())
            }
            (None, None) => Ok(plain(Start::of_code(args.from.parse::<Code>()?)?)),
        }
    }

    fn of_file(path: &str, bottle: Option<&str>) -> Result<Self, Failure> {
        let mut batches = Vec::new();
        for input in inputs::open_all(&[PathBuf::from(path)])? {
            batches.push(intake::read(&input.name, input.file, &Options::default())?);
        }
        let samples: Vec<&Sample> = batches.iter().flat_map(|batch| &batch.samples).collect();
        let sample = chosen(path, &samples, bottle)?;
        let warnings = batches.iter().flat_map(|batch: &Batch| &batch.notices);
        let warnings = warnings.filter(|notice| notice.severity == Severity::Warning);
        Ok(Self {
            start: Start::of_sample(sample, Scatter::NONE)?,
            guessed: warnings.map(|notice| format!("in {}: {}", notice.file, notice.message)).collect(),
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
    Err(Failure::new(format!("{path} does not hold just {what}"), hint))
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
pub(super) fn counts(text: &str) -> Result<Option<Vec<(f64, f64)>>, Failure> {
    if !text.contains(':') || text.contains(['/', '\\']) {
        return Ok(None);
    }
    Ok(Some(pairs(text)?))
}
