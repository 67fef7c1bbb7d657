//! Rows that are no bottle: empty lines, remarks, and rows that sum up others.

use csv::StringRecord;

use super::layout::Layout;

/// First cells of rows that sum up others.
const SUMMARIES: [&str; 20] = [
    "mean",
    "average",
    "avg",
    "std",
    "std dev",
    "stdev",
    "standard deviation",
    "sd",
    "cv",
    "rsd",
    "total",
    "sum",
    "min",
    "max",
    "minimum",
    "maximum",
    "median",
    "range",
    "mittelwert",
    "count",
];

/// Whether a cell says that its row sums up others. No word for it ends in a digit, as most names do.
pub(super) fn names_summary(cell: &str) -> bool {
    let cell = cell.trim().trim_end_matches([':', '.']);
    let numbered = cell.as_bytes().last().is_some_and(u8::is_ascii_digit);
    !numbered && SUMMARIES.iter().any(|word| word.eq_ignore_ascii_case(cell))
}

/// A row whose bottle or run cell says that it sums up others, or whose first filled cell does.
pub(super) fn is_summary(row: &StringRecord, layout: &Layout) -> bool {
    let named = [layout.id, layout.run].into_iter().flatten().filter_map(|column| row.get(column));
    let first = row.iter().find(|cell| !cell.trim().is_empty());
    named.chain(first).any(names_summary)
}

/// A row that says nothing, or a remark.
pub(super) fn is_silent(row: &StringRecord) -> bool {
    is_empty(row) || is_comment(row)
}

fn is_empty(row: &StringRecord) -> bool {
    row.iter().all(|cell| cell.trim().is_empty())
}

/// A line that begins with `#` and says nothing in its other cells.
fn is_comment(row: &StringRecord) -> bool {
    row.get(0).is_some_and(|cell| cell.trim_start().starts_with('#'))
        && row.iter().skip(1).all(|cell| cell.trim().is_empty())
}
