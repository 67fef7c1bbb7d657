//! Words, numbers and colours as they appear on a terminal of 80 columns.

use anstyle::{AnsiColor, Style};
use siltcode::{Outcome, Reading};

use crate::printed::plain;

/// The width everything printed as text fits in.
pub(crate) const WIDTH: usize = 80;

pub(crate) const GOOD: Style = AnsiColor::Green.on_default();
pub(crate) const OPEN: Style = AnsiColor::Yellow.on_default();
pub(crate) const BAD: Style = AnsiColor::Red.on_default().bold();
pub(crate) const HINT: Style = AnsiColor::Cyan.on_default();
pub(crate) const HEAD: Style = Style::new().bold();

/// The colour of an outcome. The word says the same.
pub(crate) fn outcome_style(outcome: Outcome) -> Style {
    match outcome {
        Outcome::Conforms => GOOD,
        Outcome::Undecided => OPEN,
        Outcome::DoesNotConform => BAD,
    }
}

/// A count for a narrow column: one decimal, or three figures below ten.
pub(crate) fn count(value: f64) -> String {
    match value {
        0.0 => "0".into(),
        v if v < 0.01 => format!("{v:.4}"),
        v if v < 10.0 => format!("{v:.2}"),
        v if v < 100_000.0 => format!("{v:.1}"),
        v if v < 1e9 => format!("{v:.0}"),
        v => format!("{v:.2e}"),
    }
}

/// A reading for a narrow column.
pub(crate) fn reading(reading: Reading) -> String {
    match reading {
        Reading::Count(value) => count(value.get()),
        Reading::Below(value) => format!("<{}", count(value.get())),
        Reading::Above(value) => format!(">{}", count(value.get())),
        Reading::TooMany => "too many".into(),
        Reading::NotCounted => "-".into(),
    }
}

/// A text cut to a width, with a mark where it was cut; what acts on a terminal is written out.
pub(crate) fn fit(text: &str, width: usize) -> String {
    let text = plain(text);
    if text.chars().count() <= width {
        return text.into_owned();
    }
    text.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}

/// Text wrapped to the width, every line indented, continuation lines two more; what acts on a terminal is
/// written out.
pub(crate) fn wrap(text: &str, indent: usize) -> String {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace().map(plain) {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= WIDTH => {
                line.push(' ');
                line.push_str(&word);
            }
            Some(_) => lines.push(format!("{:width$}{word}", "", width = indent + 2)),
            None => lines.push(format!("{:indent$}{word}", "")),
        }
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_the_width() {
        let text = "word ".repeat(60);
        assert!(wrap(&text, 4).lines().all(|line| line.chars().count() <= WIDTH));
        assert_eq!(wrap("one two", 4), "    one two");
    }

    #[test]
    fn counts_keep_figures_that_matter() {
        for (value, text) in [
            (0.0, "0"),
            (0.0042, "0.0042"),
            (0.433, "0.43"),
            (55.0, "55.0"),
            (1752.04, "1752.0"),
            (302_000.4, "302000"),
            (9.007e18, "9.01e18"),
        ] {
            assert_eq!(count(value), text);
        }
    }

    #[test]
    fn cut_text_says_so() {
        assert_eq!(fit("harbour north", 8), "harbour…");
        assert_eq!(fit("north", 8), "north");
    }
}
