//! A bottle: its runs, its companion measurements, and the spectrum its runs give together.

use serde::Serialize;

use crate::class::iso4406::Code;
use crate::companion::{Companion, Property};
use crate::count::{Evidence, PerMl, Reading};
use crate::error::Result;
use crate::field::Field;
use crate::size::Size;
use crate::spectrum::{Channel, Spectrum};

/// One counting of a bottle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// The run's own label, where the input gave one.
    pub label: Option<String>,
    /// Its counts.
    pub spectrum: Spectrum,
}

/// A bottle with everything said of it.
///
/// ```
/// use siltcode::{Sample, Size, Spectrum};
///
/// let first = Spectrum::from_per_ml(&[(4.0, 1700.0), (6.0, 500.0), (14.0, 50.0)])?;
/// let second = Spectrum::from_per_ml(&[(4.0, 1800.0), (6.0, 540.0), (14.0, 60.0)])?;
/// let sample = Sample::new("bottle 7", [first, second]);
/// assert_eq!(sample.spectrum()?.per_ml(Size::um_c(4.0)?).unwrap().get(), 1750.0);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sample {
    /// The bottle's name in the laboratory.
    pub id: String,
    /// Its runs, in the order counted. Each is kept.
    pub runs: Vec<Run>,
    /// What else was measured.
    pub companions: Vec<Companion>,
    /// Where, when and by whom it was drawn and counted.
    pub fields: Vec<(Field, String)>,
    /// The code printed for it by the counter or the laboratory.
    pub printed: Option<Code>,
    /// Anything else the input said of the bottle: heading and text.
    pub notes: Vec<(String, String)>,
    /// Where it stands in its input.
    pub source: Option<Source>,
}

/// Where a bottle stands in its input.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Source {
    /// The line of its first row, from 1.
    pub line: u64,
    /// How many records of the input it is made of.
    pub records: u64,
}

impl Sample {
    /// A bottle with these runs and nothing else.
    pub fn new(id: impl Into<String>, runs: impl IntoIterator<Item = Spectrum>) -> Self {
        let runs = runs.into_iter().map(|spectrum| Run { label: None, spectrum }).collect();
        Self {
            id: id.into(),
            runs,
            companions: Vec::new(),
            fields: Vec::new(),
            printed: None,
            notes: Vec::new(),
            source: None,
        }
    }

    /// All runs taken together: summed counts over summed volume where the volumes are known, else the plain mean.
    ///
    /// A bound in any run makes the combined reading a bound, and one run with too many to count makes it too many.
    /// A size that some runs did not count is combined over those that did.
    ///
    /// # Errors
    /// `nothing-counted` without runs, `scales-mixed` if the runs' scales differ, and `count-rises-with-size` where
    /// runs that counted different sizes contradict each other.
    pub fn spectrum(&self) -> Result<Spectrum> {
        if let [only] = self.runs.as_slice() {
            return Ok(only.spectrum.clone());
        }
        Spectrum::cumulative(self.sizes().into_iter().map(|size| self.combined(size)).collect())
    }

    /// Every size that a run has, in the order met.
    #[must_use]
    pub fn sizes(&self) -> Vec<Size> {
        let mut sizes: Vec<Size> = Vec::new();
        for channel in self.runs.iter().flat_map(|run| run.spectrum.channels()) {
            if !sizes.contains(&channel.size) {
                sizes.push(channel.size);
            }
        }
        sizes
    }

    fn combined(&self, size: Size) -> Channel {
        let channels: Vec<Channel> = (self.runs.iter())
            .filter_map(|run| run.spectrum.channel(size).copied())
            .filter(|channel| channel.reading.is_counted())
            .collect();
        match summed_evidence(&channels) {
            Some(evidence) => Channel::counted(size, evidence),
            None => Channel::new(size, mean_reading(&channels)),
        }
    }

    /// The evidence of each run at one size, where every run that counted it has some.
    #[must_use]
    pub fn evidence_of_runs(&self, size: Size) -> Option<Vec<Evidence>> {
        let channels = self.runs.iter().filter_map(|run| run.spectrum.channel(size));
        channels.filter(|channel| channel.reading.is_counted()).map(|channel| channel.evidence).collect()
    }

    /// What the input said of this field, if anything.
    #[must_use]
    pub fn field(&self, wanted: Field) -> Option<&str> {
        self.fields.iter().find(|(field, _)| *field == wanted).map(|(_, text)| text.as_str())
    }

    /// What was measured of this property, if anything.
    #[must_use]
    pub fn companion(&self, property: &Property) -> Option<&Companion> {
        self.companions.iter().find(|companion| &companion.property == property)
    }
}

/// The evidence of all channels together, where each has evidence and a plain count.
fn summed_evidence(channels: &[Channel]) -> Option<Evidence> {
    let each = channels.iter().map(|c| c.evidence.filter(|_| c.reading.count().is_some()));
    each.reduce(|sum, next| Some(sum?.summed(next?)))?
}

/// The mean of the readings, or the bound that holds for it.
fn mean_reading(channels: &[Channel]) -> Reading {
    let n = channels.len() as f64;
    let mean = |bound: fn(Reading) -> f64| {
        PerMl::new(channels.iter().map(|c| bound(c.reading)).sum::<f64>() / n).ok()
    };
    if channels.is_empty() {
        return Reading::NotCounted;
    }
    match (mean(Reading::at_least), mean(Reading::at_most)) {
        (Some(low), Some(high)) if low == high => Reading::Count(low),
        (_, Some(high)) => Reading::Below(high),
        (Some(low), None) => Reading::Above(low),
        (None, None) => Reading::TooMany,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::count::{CountedVolume, Dilution};
    use crate::error::ErrorKind;

    fn run(um: f64, reading: Reading) -> Spectrum {
        Spectrum::cumulative(vec![Channel::new(Size::um_c(um).unwrap(), reading)]).unwrap()
    }

    fn combined(readings: &[Reading]) -> Reading {
        let sample = Sample::new("x", readings.iter().map(|&reading| run(4.0, reading)));
        sample.spectrum().unwrap().channels()[0].reading
    }

    #[test]
    fn bounds_make_bounds() {
        let per_ml = |v| PerMl::new(v).unwrap();
        assert_eq!(
            combined(&[Reading::Count(per_ml(3.0)), Reading::Below(per_ml(1.0))]),
            Reading::Below(per_ml(2.0))
        );
        assert_eq!(combined(&[Reading::Count(per_ml(3.0)), Reading::TooMany]), Reading::TooMany);
        assert_eq!(
            combined(&[Reading::Above(per_ml(8.0)), Reading::Count(per_ml(2.0))]),
            Reading::Above(per_ml(5.0))
        );
        assert_eq!(
            combined(&[Reading::NotCounted, Reading::Count(per_ml(2.0))]),
            Reading::Count(per_ml(2.0))
        );
    }

    #[test]
    fn unequal_volumes_are_weighted() {
        let counted = |raw, ml| {
            let volume = CountedVolume::from_ml(ml).unwrap();
            let evidence = Evidence::of_run(raw, volume, Dilution::NONE);
            Spectrum::cumulative(vec![Channel::counted(Size::um_c(4.0).unwrap(), evidence)]).unwrap()
        };
        let sample = Sample::new("x", [counted(10, 5.0), counted(50, 10.0)]);
        let channel = sample.spectrum().unwrap().channels()[0];
        assert_eq!(channel.reading, Reading::Count(PerMl::new(4.0).unwrap()));
        assert_eq!(channel.evidence.unwrap().raw, 60);
    }

    #[test]
    fn a_bottle_without_runs_has_no_spectrum() {
        let error = Sample::new("x", []).spectrum().unwrap_err();
        assert_eq!(error.kind(), &ErrorKind::NothingCounted {});
    }
}
