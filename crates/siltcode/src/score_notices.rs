//! What is said of a whole batch while it is scored.

use crate::certainty::Contradiction;
use crate::intake::{Notice, Severity};
use crate::left_out::NamedRun;

impl Notice {
    /// The runs of a file vary otherwise than was stated.
    #[must_use]
    pub fn repeatability_contradicted(file: &str, contradiction: &Contradiction) -> Self {
        let hint =
            "check the stated value, or look for what makes runs vary: bubbles, settling, a line not flushed";
        warning(file, "repeatability-contradicted", contradiction.to_string(), hint)
    }

    /// A run that was to be left out is not there, or is the only one of its bottle.
    #[must_use]
    pub fn run_not_left_out(file: &str, run: &NamedRun) -> Self {
        let message = format!("{run} was not left out: no bottle has this run beside others");
        let hint = "name bottle and run as the file does, BOTTLE:RUN, the run by its label or its place";
        warning(file, "run-not-left-out", message, hint)
    }
}

fn warning(file: &str, code: &'static str, message: String, hint: &str) -> Notice {
    Notice {
        file: file.to_owned(),
        sheet: None,
        line: None,
        severity: Severity::Warning,
        code,
        message,
        hint: hint.to_owned(),
    }
}
