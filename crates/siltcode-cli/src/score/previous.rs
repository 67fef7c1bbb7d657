//! Bottles drawn before, to tell what has changed since.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use clap::ValueEnum;
use siltcode::certainty::{Context, RunPool, Scatter};
use siltcode::intake::{self, Options};
use siltcode::previous::{Match, Previous};
use siltcode::provenance::InputDigest;
use siltcode::{Sample, Scored, Scoring, Spectrum, score};

use super::say;
use crate::failure::Failure;
use crate::inputs;

/// How bottles are matched with the previous ones.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum MatchBy {
    /// By the name of the bottle.
    Id,
    /// By the tank and the sampling point that columns of those names hold.
    Point,
}

/// The previous bottles by what they are matched by, and the files they came from.
#[derive(Default)]
pub(super) struct PreviousBottles {
    by: Match,
    bottles: BTreeMap<String, (Spectrum, Scored)>,
    /// What has found a partner.
    met: BTreeSet<String>,
    /// Bottles of now without a previous one.
    alone: Vec<String>,
    pub(super) inputs: Vec<InputDigest>,
}

impl PreviousBottles {
    /// Reads files of previous bottles, of the same form as the others; each is a pool of its own for how much runs vary.
    /// Where one bottle comes twice the last counts.
    pub(super) fn read(
        paths: &[PathBuf],
        by: MatchBy,
        options: &Options,
        scoring: &Scoring<'_>,
        stated: Option<Scatter>,
    ) -> Result<Self, Failure> {
        let by = match by {
            MatchBy::Id => Match::Id,
            MatchBy::Point => Match::TankAndPoint,
        };
        let mut previous = Self { by, ..Self::default() };
        for input in inputs::list(paths)? {
            let batch = intake::read(&input.name, input.open()?, options)?;
            batch.problems.iter().for_each(say::problem);
            let known = RunPool::of(&batch.samples).repeatability(stated);
            let context = Context { repeatability: Some(&known), ..scoring.context };
            let alike = Scoring { spec: None, subtract: None, context, ..*scoring };
            for sample in &batch.samples {
                if let (Some(key), Ok(counts), Ok(scored)) =
                    (by.key(sample), sample.spectrum(), score(sample, &alike))
                {
                    previous.bottles.insert(key, (counts, scored));
                }
            }
            previous.inputs.extend(batch.inputs);
        }
        Ok(previous)
    }

    /// The previous counts of a bottle.
    pub(super) fn counts(&self, sample: &Sample) -> Option<&Spectrum> {
        self.bottles.get(&self.by.key(sample)?).map(|(counts, _)| counts)
    }

    /// A scored bottle beside the previous one.
    pub(super) fn compared(&mut self, sample: &Sample, now: &Scored) -> Option<Previous> {
        if self.bottles.is_empty() {
            return None;
        }
        let met = self.by.key(sample).and_then(|key| Some((self.bottles.get(&key)?, key)));
        if let Some(((_, then), key)) = met {
            let compared = Previous::of(now, then);
            self.met.insert(key);
            return Some(compared);
        }
        self.alone.push(sample.id.clone());
        None
    }

    /// Bottles of now without a previous one, and previous ones without one of now.
    pub(super) fn unmatched(&self) -> Unmatched {
        let gone = self.bottles.iter().filter(|(key, _)| !self.met.contains(*key));
        Unmatched {
            now: self.alone.clone(),
            previous: gone.map(|(_, (_, scored))| scored.id.clone()).collect(),
        }
    }
}

/// Bottles without a partner.
#[derive(Clone, Default, serde::Serialize)]
pub(crate) struct Unmatched {
    pub(crate) now: Vec<String>,
    pub(crate) previous: Vec<String>,
}

impl Unmatched {
    /// In words; nothing where all have one.
    pub(super) fn lines(&self) -> Vec<String> {
        let line =
            |said: &str, ids: &[String]| (!ids.is_empty()).then(|| format!("{said}: {}", ids.join(", ")));
        let now = line("Without a previous bottle", &self.now);
        now.into_iter().chain(line("Previous bottles without one now", &self.previous)).collect()
    }
}
