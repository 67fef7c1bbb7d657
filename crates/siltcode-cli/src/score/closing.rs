//! What the end of the table says once for all bottles.

use siltcode::Scored;

use super::classes;
use crate::text::wrap;

/// Gathers while the bottles go by.
#[derive(Default)]
pub(super) struct Closing {
    /// The rules that verdicts were come to by.
    rules: Vec<String>,
    /// A bottle had counts whose certainty is not known.
    unknown: bool,
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
