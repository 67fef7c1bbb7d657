//! What the end of the table says once for all bottles.

use siltcode::Scored;
use siltcode::certainty::{Repeatability, RepeatabilitySource, SizeRepeatability};

use super::classes;
use crate::text::wrap;

/// More files than these are not listed.
const MOST_FILES: usize = 8;

/// Gathers while the bottles go by.
#[derive(Default)]
pub(super) struct Closing {
    /// The rules that verdicts were come to by.
    rules: Vec<String>,
    /// A bottle had counts whose certainty is not known.
    unknown: bool,
    /// How much runs vary, file by file.
    repeatability: Vec<String>,
    /// What each flag seen asks for.
    advice: Vec<(&'static str, &'static str)>,
    /// What class systems ask for where they gave no class.
    classes: Vec<String>,
}

impl Closing {
    pub(super) fn learn(&mut self, scored: &Scored) {
        self.unknown |= scored.certainty_unknown.is_some();
        let advice = scored.flags.iter().map(|flag| (flag.code, flag.advice));
        add_new(&mut self.advice, advice);
        add_new(&mut self.classes, scored.classes.iter().filter_map(classes::advice));
        add_new(&mut self.rules, scored.verdict.iter().filter_map(|verdict| Some(verdict.rule?.to_string())));
    }

    /// What the flags ask for, each once, what to record where the certainty is not known, and what a class needs.
    pub(super) fn what_to_do(&mut self) -> Vec<String> {
        self.advice.sort_unstable();
        let mut lines = Vec::new();
        if !self.advice.is_empty() {
            lines.push("\nWhat the marks in [ ] ask for:".to_owned());
        }
        lines.extend(self.advice.iter().map(|(code, advice)| wrap(&format!("[{code}] {advice}"), 2)));
        if self.unknown {
            let text = "Where the certainty is not known, record next time: the raw count of each run, the counted \
                        volume in mL, and the dilution if there is one.";
            lines.push(format!("\n{}", wrap(text, 0)));
        }
        lines.extend(self.classes.iter().map(|advice| format!("\n{}", wrap(advice, 0))));
        lines
    }

    /// Keeps what the runs of a file say of their variation.
    pub(super) fn learn_repeatability(&mut self, file: &str, known: &Repeatability) {
        let entries: Vec<SizeRepeatability> = known.entries().collect();
        let Some(first) = entries.first() else { return };
        let of_size = |entry: &SizeRepeatability| {
            let size = entry.size.map(|size| format!("{size} ")).unwrap_or_default();
            format!("{size}{:.1} %", 100.0 * entry.cv.cv())
        };
        let bottles = entries.iter().map(|entry| entry.bottles).max().unwrap_or_default();
        let source = match (first.source, bottles) {
            (RepeatabilitySource::Stated, _) => "as stated".to_owned(),
            (source, 1) => format!(
                "{source}, of 1 bottle: few runs tell little, count three or more or state --repeatability"
            ),
            (source, n) => format!("{source}, of {n} bottles"),
        };
        let each: Vec<_> = entries.iter().map(of_size).collect();
        let file = file.rsplit(['/', '\\']).next().unwrap_or(file);
        self.repeatability.push(format!("{file}: {} ({source})", each.join(", ")));
    }

    /// How much runs vary, where any file had two of a bottle or it was stated.
    pub(super) fn repeatability(&self) -> Option<String> {
        let files: &[String] = &self.repeatability;
        let listed = files.get(..MOST_FILES.min(files.len()))?;
        let more = files.len().saturating_sub(listed.len());
        let more = if more > 0 { format!("; and {more} more files (see JSON)") } else { String::new() };
        (!files.is_empty())
            .then(|| format!("Repeatability (CV between runs of a bottle): {}{more}.", listed.join("; ")))
    }

    /// The rules, if there were verdicts.
    pub(super) fn rules(&self) -> Option<String> {
        (!self.rules.is_empty()).then(|| {
            format!(
                "P is the probability that all limits on particles are met. Verdicts by {}.",
                self.rules.join(", or by ")
            )
        })
    }
}

fn add_new<T: PartialEq>(known: &mut Vec<T>, more: impl IntoIterator<Item = T>) {
    for item in more {
        if !known.contains(&item) {
            known.push(item);
        }
    }
}
