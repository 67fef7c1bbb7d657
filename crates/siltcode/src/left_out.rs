//! Runs that are left out of a result, by name or as the first of their bottle, and which those were.

use std::fmt;
use std::str::FromStr;

use serde::Serialize;

use crate::error::{Error, ErrorKind};
use crate::sample::Sample;

/// One run of one bottle, by name: `W012:1`.
///
/// The run is named by its label or by its place, from 1 on. The last colon parts the two, so that a bottle's name may have
/// colons.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize)]
pub struct NamedRun {
    /// The bottle's name.
    pub bottle: String,
    /// The run's label, or its place.
    pub run: String,
}

impl FromStr for NamedRun {
    type Err = Error;

    /// # Errors
    /// `run-not-named` unless a bottle and a run are named.
    fn from_str(text: &str) -> Result<Self, Error> {
        match text.rsplit_once(':').map(|(bottle, run)| (bottle.trim(), run.trim())) {
            Some((bottle, run)) if !bottle.is_empty() && !run.is_empty() => {
                Ok(Self { bottle: bottle.to_owned(), run: run.to_owned() })
            }
            _ => Err(ErrorKind::RunNotNamed { found: text.to_owned() }.into()),
        }
    }
}

impl fmt::Display for NamedRun {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.bottle, self.run)
    }
}

/// Which runs to leave out.
///
/// ```
/// use siltcode::{LeaveOut, Sample, Spectrum};
///
/// let run = |per_ml| Spectrum::from_per_ml(&[(4.0, per_ml)]);
/// let mut sample = Sample::new("W012", [run(3100.0)?, run(1010.0)?, run(990.0)?]);
/// let left_out = LeaveOut { skip_first_run: false, named: vec!["W012:1".parse()?] }.from(&mut sample);
/// assert_eq!((left_out[0].place, sample.runs.len()), (1, 2));
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LeaveOut {
    /// The first run of each bottle that has others.
    pub skip_first_run: bool,
    /// Runs by name.
    pub named: Vec<NamedRun>,
}

/// A run that was left out of a result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LeftOutRun {
    /// Its place among the runs of the bottle, from 1 on.
    pub place: usize,
    /// Its own label, where the input gave one.
    pub label: Option<String>,
    /// Why.
    pub reason: LeftOutBecause,
}

/// Why a run was left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeftOutBecause {
    /// It was named.
    Named,
    /// The first run of each bottle was to be skipped.
    FirstRun,
}

impl LeaveOut {
    /// Leaves runs out of a bottle, and says which. The last run is kept: a bottle without any would have no result.
    #[must_use]
    pub fn from(&self, sample: &mut Sample) -> Vec<LeftOutRun> {
        let reason = |index: usize, label: Option<&str>| {
            if self.named.iter().any(|named| named.bottle == sample.id && named.is(index, label)) {
                Some(LeftOutBecause::Named)
            } else {
                (self.skip_first_run && index == 0).then_some(LeftOutBecause::FirstRun)
            }
        };
        let reasons: Vec<_> =
            sample.runs.iter().enumerate().map(|(i, run)| reason(i, run.label.as_deref())).collect();
        if reasons.iter().all(Option::is_some) {
            return Vec::new();
        }
        let mut left_out = Vec::new();
        let runs = std::mem::take(&mut sample.runs);
        for ((i, run), reason) in runs.into_iter().enumerate().zip(reasons) {
            match reason {
                Some(reason) => left_out.push(LeftOutRun { place: i + 1, label: run.label, reason }),
                None => sample.runs.push(run),
            }
        }
        left_out
    }

    /// Whether this leaves anything out.
    #[must_use]
    pub fn is_none(&self) -> bool {
        !self.skip_first_run && self.named.is_empty()
    }
}

impl NamedRun {
    /// Whether it is one of the runs that were left out of this bottle.
    #[must_use]
    pub fn is_among(&self, bottle: &str, left_out: &[LeftOutRun]) -> bool {
        let is_it = |run: &LeftOutRun| self.is(run.place - 1, run.label.as_deref());
        self.bottle == bottle && left_out.iter().any(is_it)
    }

    /// Whether it names the run at this index with this label; a label goes before a place.
    fn is(&self, index: usize, label: Option<&str>) -> bool {
        match label {
            Some(label) if label == self.run => true,
            _ => self.run.parse() == Ok(index + 1),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::Spectrum;

    fn bottle(runs: usize) -> Sample {
        Sample::new("a:b", (0..runs).map(|i| Spectrum::from_per_ml(&[(4.0, 100.0 + i as f64)]).unwrap()))
    }

    #[test]
    fn runs_are_left_out_by_place_and_by_label_but_never_all() {
        let named = |names: &[&str]| LeaveOut {
            named: names.iter().map(|name| name.parse().unwrap()).collect(),
            ..LeaveOut::default()
        };
        let mut sample = bottle(3);
        sample.runs[2].label = Some("late".to_owned());
        let left = named(&["a:b:late", "a:b:1", "other:2"]).from(&mut sample);
        assert_eq!(left.iter().map(|run| run.place).collect::<Vec<_>>(), [1, 3]);
        let is_among = |name: &str| name.parse::<NamedRun>().unwrap().is_among("a:b", &left);
        assert_eq!(["a:b:late", "a:b:3", "a:b:2", "other:1"].map(is_among), [true, true, false, false]);
        assert_eq!(sample.runs.len(), 1);
        assert_eq!(named(&["a:b:1"]).from(&mut sample), [], "the last run stays");
        let first = LeaveOut { skip_first_run: true, named: Vec::new() };
        assert_eq!(first.from(&mut bottle(3))[0].reason, LeftOutBecause::FirstRun);
        assert_eq!(first.from(&mut bottle(1)), []);
    }

    #[test]
    fn what_names_no_run_is_refused() {
        for text in ["", "W012", ":1", "W012:", " : "] {
            assert_eq!(text.parse::<NamedRun>().unwrap_err().code(), "run-not-named", "{text}");
        }
    }
}
