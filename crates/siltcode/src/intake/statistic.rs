//! Words for rows and columns that sum up others.

use super::words::{self, fold};

/// What a word says that its row or column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Statistic {
    /// A mean, a median, a reported result.
    Mean,
    /// A standard deviation, absolute or relative, or another measure of spread.
    Spread,
    /// A least or greatest value, a sum, a limit, a number of runs.
    Other,
}

/// More than any such text is long \[bytes\].
const LONGEST: usize = 60;

/// What a cell says that its row sums up, if nothing but that stands in it: `Mean`, `RSD %`, `Average of 3 runs`.
pub(super) fn statistic(cell: &str) -> Option<Statistic> {
    of_words(&words_of(cell))
}

/// What the first words of a cell say, whatever follows: `Mean W004`.
pub(super) fn leading_statistic(cell: &str) -> Option<Statistic> {
    let words = words_of(cell);
    (1..=words.len().min(3)).rev().find_map(|length| known(&words[..length].join(" ")))
}

/// The words of a cell in lower case, without accents and brackets.
fn words_of(cell: &str) -> Vec<String> {
    let trimmed = cell.trim();
    if trimmed.is_empty() || trimmed.len() > LONGEST || trimmed.as_bytes()[0].is_ascii_digit() {
        return Vec::new();
    }
    let is_mark = |c: char| ".:,()[]%_=/".contains(c);
    let plain: String = fold(trimmed).chars().map(|c| if is_mark(c) { ' ' } else { c }).collect();
    plain.split_whitespace().map(str::to_owned).collect()
}

/// The longest run of words that means something, with nothing but fillers beside it.
fn of_words(words: &[String]) -> Option<Statistic> {
    let beside = |word: &String| words::is("beside-sum", word) || is_number(word);
    let found = |from: usize, to: usize| {
        let inside = known(&words[from..to].join(" "))?;
        let others = words[..from].iter().chain(&words[to..]);
        (others.clone().all(beside) && !ends_in_name(&words[to..])).then_some(inside)
    };
    let runs =
        (1..=words.len()).rev().flat_map(|length| (0..=words.len() - length).map(move |from| (from, length)));
    runs.into_iter().find_map(|(from, length)| found(from, from + length))
}

/// A single number behind the word is a name (`Max 3`); several words, or a bracketed one, are not.
fn ends_in_name(behind: &[String]) -> bool {
    behind.len() == 1 && is_number(&behind[0])
}

fn is_number(word: &str) -> bool {
    word.bytes().all(|byte| byte.is_ascii_digit() || byte == b'-')
}

fn known(text: &str) -> Option<Statistic> {
    let meanings =
        [("mean", Statistic::Mean), ("spread", Statistic::Spread), ("other-sum", Statistic::Other)];
    let plain = text.replace('-', " ");
    let is = |meaning| words::is(meaning, text) || words::is(meaning, &plain);
    meanings.into_iter().find_map(|(meaning, statistic)| is(meaning).then_some(statistic))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knows_summaries_in_every_language() {
        for (cell, expected) in [
            ("Mean", Statistic::Mean),
            ("MW", Statistic::Mean),
            ("\u{d8}", Statistic::Mean),
            ("x\u{304}", Statistic::Mean),
            ("Average of 3 runs", Statistic::Mean),
            ("Mittelwert (n=3)", Statistic::Mean),
            ("\u{15a}rednia", Statistic::Mean),
            ("%RSD", Statistic::Spread),
            ("RSD [%]", Statistic::Spread),
            ("CV %", Statistic::Spread),
            ("Std. Dev.", Statistic::Spread),
            ("\u{c9}cart-type", Statistic::Spread),
            ("Desv. est.", Statistic::Spread),
            ("Standardabw.", Statistic::Spread),
            ("\u{3c3}", Statistic::Spread),
            ("Max.", Statistic::Other),
        ] {
            assert_eq!(statistic(cell), Some(expected), "{cell}");
        }
    }

    #[test]
    fn names_are_no_summaries() {
        for cell in ["HB-01", "A", "Max 3", "Tank mean street", "12", "run 2", "S1", "", "Total-4", "S 1"] {
            assert_eq!(statistic(cell), None, "{cell}");
        }
        assert_eq!(leading_statistic("Mean W004"), Some(Statistic::Mean));
    }
}
