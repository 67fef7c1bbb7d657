//! The account of an input: every record that is not empty has one fate.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Serialize, Serializer};

/// Why a record is neither scored nor rejected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PassedOver {
    /// A line of a heading, or a heading that comes again.
    Heading,
    /// A line above the first table.
    Preamble,
    /// A line beside a table that says something in words: a title, a footnote, a page number.
    Remark,
    /// A line that begins with `#`.
    Comment,
    /// A line drawn with dashes.
    Rule,
    /// A mean, a median or a reported result.
    Mean,
    /// A standard deviation, absolute or relative, or another measure of spread.
    Deviation,
    /// A least or greatest value, a sum, a limit.
    Summary,
    /// A code, a class or a target that stands under the counts it belongs to.
    CodeRow,
    /// A blank: it is compared with the bottles, or subtracted from them, but not scored.
    Blank,
    /// A hidden row of a workbook.
    HiddenRow,
    /// A row of a sheet that holds no counts, is hidden, or was not asked for.
    SheetNotRead,
    /// A row of a file of rejected rows that replaced the row it corrects.
    Correction,
}

impl PassedOver {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Heading => "heading",
            Self::Preamble => "preamble",
            Self::Remark => "remark",
            Self::Comment => "comment",
            Self::Rule => "rule",
            Self::Mean => "mean",
            Self::Deviation => "deviation",
            Self::Summary => "summary",
            Self::CodeRow => "code-row",
            Self::Blank => "blank",
            Self::HiddenRow => "hidden-row",
            Self::SheetNotRead => "sheet-not-read",
            Self::Correction => "correction",
        }
    }

    /// The name for one and for several.
    const fn names(self) -> (&'static str, &'static str) {
        match self {
            Self::Heading => ("heading line", "heading lines"),
            Self::Preamble => ("line above the table", "lines above the table"),
            Self::Remark => ("remark", "remarks"),
            Self::Comment => ("comment", "comments"),
            Self::Rule => ("drawn line", "drawn lines"),
            Self::Mean => ("mean", "means"),
            Self::Deviation => ("deviation", "deviations"),
            Self::Summary => ("summary row", "summary rows"),
            Self::CodeRow => ("row of codes", "rows of codes"),
            Self::Blank => ("blank", "blanks"),
            Self::HiddenRow => ("hidden row", "hidden rows"),
            Self::SheetNotRead => ("row of a sheet not read", "rows of sheets not read"),
            Self::Correction => ("correction put in its place", "corrections put in their places"),
        }
    }
}

impl Serialize for PassedOver {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.code())
    }
}

/// How many records an input held, and what became of each.
///
/// `rows = scored + rejected + passed over`, always: a record that is not empty has exactly one fate.
///
/// ```
/// use siltcode::intake::{self, Options};
///
/// let text = "bottle,4 um(c) /mL,6 um(c) /mL\nA,1752,517\nB,many,3\nMean,1752,517\n";
/// let account = intake::read("day.csv", text.as_bytes(), &Options::default())?.account;
/// assert_eq!(account.to_string(), "4 rows: 1 scored, 1 rejected, 2 passed over (1 heading line, 1 mean)");
/// assert!(account.is_complete());
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Account {
    /// Records that were not empty.
    #[serde(rename = "in")]
    pub rows: u64,
    /// Records that became runs of bottles.
    pub scored: u64,
    /// Records that could not be used.
    pub rejected: u64,
    /// Records passed over, by the reason.
    #[serde(serialize_with = "reasons")]
    pub passed_over: BTreeMap<PassedOver, u64>,
    /// Runs that became part of a bottle: a record may hold several, or a part of one.
    pub runs_scored: u64,
    /// Runs that could not be used.
    pub runs_rejected: u64,
}

impl Account {
    /// How many records were passed over, for whatever reason.
    #[must_use]
    pub fn passed_over(&self) -> u64 {
        self.passed_over.values().sum()
    }

    /// Whether any record or any run of one could not be used.
    #[must_use]
    pub const fn has_rejects(&self) -> bool {
        self.rejected > 0 || self.runs_rejected > 0
    }

    /// Whether every record has one fate.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.rows == self.scored + self.rejected + self.passed_over()
    }

    /// Adds another account.
    pub fn add(&mut self, other: &Self) {
        self.rows += other.rows;
        self.scored += other.scored;
        self.rejected += other.rejected;
        self.runs_scored += other.runs_scored;
        self.runs_rejected += other.runs_rejected;
        for (reason, count) in &other.passed_over {
            *self.passed_over.entry(*reason).or_default() += count;
        }
    }

    /// Counts a bottle that turned out to be unusable as rejected: its records and its runs.
    pub fn reject_scored(&mut self, records: u64, runs: u64) {
        let (records, runs) = (records.min(self.scored), runs.min(self.runs_scored));
        self.scored -= records;
        self.rejected += records;
        self.runs_scored -= runs;
        self.runs_rejected += runs;
    }

    /// Counts what has no fate yet as rejected: the input was refused.
    pub(super) fn reject_rest(&mut self) {
        self.rejected = self.rows.saturating_sub(self.scored + self.passed_over());
    }

    pub(super) fn pass_over(&mut self, reason: PassedOver, records: u64) {
        if records > 0 {
            *self.passed_over.entry(reason).or_default() += records;
        }
    }
}

impl fmt::Display for Account {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rows = if self.rows == 1 { "row" } else { "rows" };
        write!(f, "{} {rows}: {} scored, {} rejected", self.rows, self.scored, self.rejected)?;
        write!(f, ", {} passed over", self.passed_over())?;
        let reasons = self.passed_over.iter().filter(|(_, count)| **count > 0).map(|(reason, count)| {
            let (one, several) = reason.names();
            format!("{count} {}", if *count == 1 { one } else { several })
        });
        let reasons = reasons.collect::<Vec<_>>().join(", ");
        if !reasons.is_empty() {
            write!(f, " ({reasons})")?;
        }
        let all = self.runs_scored + self.runs_rejected;
        // A row is a run in most files, and a printed code has none.
        if all == self.scored + self.rejected || self.runs_scored == 0 {
            return Ok(());
        }
        let runs = if all == 1 { "run" } else { "runs" };
        write!(f, "; {all} {runs}: {} scored, {} rejected", self.runs_scored, self.runs_rejected)
    }
}

fn reasons<S: Serializer>(passed_over: &BTreeMap<PassedOver, u64>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_map(passed_over.iter().map(|(reason, count)| (reason.code(), count)))
}
