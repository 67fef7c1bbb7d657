//! The engine that all class systems share: a table of limits, and the class a count falls into.
//!
//! A table has one row a class, cleanest first, and one column a size. What a column counts is read from its heading:
//!
//! | heading | counts |
//! |---|---|
//! | `A_4umc_or_1um` | at and above 4 um(c), or 1 um of the older scales; printed with the letter A |
//! | `max_6_14_umc_per_100ml` | from 6 to 14 um(c) |
//! | `max_over_100_um_per_100ml` | at and above 100 um of the older scales |
//! | `gt0.5_to_1` | from 0.5 to 1 um of the older scales |
//!
//! Headings without a number are passed over. Limits are inclusive, in particles per 100 mL. An empty cell sets no
//! limit that could be shown to be kept, so only a count of zero passes it; `absent` is a limit of zero.

use siltcode_tables::Table;

use crate::class::designation::Letter;
use crate::class::value::Class;
use crate::size::{Size, SizeScale};
use crate::status::Status;
use crate::table;

/// The scales of sizes written `um` without a mark: the microscope and the counter calibrated to ISO 4402.
pub(super) const OLDER: [SizeScale; 2] = [SizeScale::Microscope, SizeScale::Acftd];

/// A table of class limits.
pub(super) struct Limits {
    pub(super) rows: Vec<(Class, Status)>,
    pub(super) columns: Vec<Column>,
}

/// One size of the table.
pub(super) struct Column {
    pub(super) letter: Option<Letter>,
    /// The size in each scale that the table gives it in.
    pub(super) spans: Vec<Span>,
    /// The limit of each class \[particles/100 mL\].
    pub(super) limits: Vec<Option<f64>>,
}

/// What one column counts: particles of at least `from`, and below `to` if there is one.
#[derive(Clone, Copy)]
pub(super) struct Span {
    pub(super) from: Size,
    pub(super) to: Option<Size>,
}

impl Limits {
    pub(super) fn of(table: &Table) -> Self {
        let (headings, rows) = table::grid(table);
        let cell = |row: &csv::StringRecord, name: &str| {
            let place = headings.iter().position(|heading| heading == name);
            place.and_then(|place| row.get(place)).unwrap_or_default().to_owned()
        };
        let columns = headings.iter().filter_map(|heading| {
            let spans = spans(heading);
            let limits = rows.iter().map(|row| limit(table, &cell(row, heading)));
            (!spans.is_empty()).then(|| Column { letter: letter(heading), spans, limits: limits.collect() })
        });
        let class = |row| cell(row, "class").parse().unwrap_or_else(|error| table::unreadable(table, error));
        let status = |row| match cell(row, "status").as_str() {
            "READ" => Status::Read,
            "DERIVED" => Status::Derived,
            "MEMORY" => Status::Memory,
            other => table::unreadable(table, format!("status {other}")),
        };
        Self { columns: columns.collect(), rows: rows.iter().map(|row| (class(row), status(row))).collect() }
    }

    /// The class of this many particles per 100 mL in a column, and how that class is known.
    pub(super) fn class(&self, column: &Column, per_100_ml: f64) -> (Class, Status) {
        match column.row(per_100_ml) {
            Some(row) => self.rows[row],
            None => self
                .rows
                .last()
                .map_or((Class::CLEANEST, Status::Read), |&(last, status)| (last.or_worse(), status)),
        }
    }

    /// All scales that every column has a size in.
    pub(super) fn scales(&self) -> Vec<SizeScale> {
        let has = |scale: &SizeScale| self.columns.iter().all(|column| column.span(*scale).is_some());
        SizeScale::ALL.into_iter().filter(has).collect()
    }
}

impl Column {
    pub(super) fn span(&self, scale: SizeScale) -> Option<Span> {
        self.spans.iter().find(|span| span.from.scale() == scale).copied()
    }

    /// The first row whose limit this count keeps; none above the last.
    fn row(&self, per_100_ml: f64) -> Option<usize> {
        if per_100_ml == 0.0 {
            return Some(0);
        }
        let keeps = |limit: &Option<f64>| limit.is_some_and(|limit| per_100_ml <= limit);
        self.limits.iter().position(keeps).or_else(|| {
            // Fine sizes are no longer limited in the dirtier classes: the first of those is the cleanest possible.
            let unlimited = self.limits.iter().rposition(Option::is_some)? + 1;
            (unlimited < self.limits.len()).then_some(unlimited)
        })
    }
}

fn limit(table: &Table, cell: &str) -> Option<f64> {
    match cell {
        "" => None,
        "absent" => Some(0.0),
        number => Some(number.parse().unwrap_or_else(|error| table::unreadable(table, error))),
    }
}

fn letter(heading: &str) -> Option<Letter> {
    heading.split_once('_')?.0.parse().ok()
}

/// What a column counts, once for each scale its heading names a size in.
fn spans(heading: &str) -> Vec<Span> {
    let sizes = |unit: &str| -> Vec<f64> {
        let size = |token: &str| token.trim_start_matches("gt").trim_end_matches(unit).parse().ok();
        heading.split('_').filter_map(size).collect()
    };
    let (umc, older) = match heading {
        _ if heading.contains("_or_") => (sizes("umc"), sizes("um")),
        _ if heading.contains("umc") => (sizes("umc"), vec![]),
        _ => (vec![], sizes("um")),
    };
    let span = |sizes: &[f64], scale| {
        let size = |um: &f64| Size::new(*um, scale).ok();
        Some(Span { from: sizes.first().and_then(size)?, to: sizes.get(1).and_then(size) })
    };
    let older = OLDER.iter().filter_map(|scale| span(&older, *scale));
    span(&umc, SizeScale::UmC).into_iter().chain(older).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printed(heading: &str) -> Vec<String> {
        let to = |span: &Span| span.to.map_or(String::new(), |to| format!(" to {to}"));
        spans(heading).iter().map(|span| format!("{}{}", span.from, to(span))).collect()
    }

    #[test]
    fn headings_say_what_is_counted() {
        assert_eq!(printed("A_4umc_or_1um"), ["4 um(c)", "1 um(microscope)", "1 um(acftd)"]);
        assert_eq!(printed("max_6_14_umc_per_100ml"), ["6 um(c) to 14 um(c)"]);
        assert_eq!(printed("max_over_100_um_per_100ml"), ["100 um(microscope)", "100 um(acftd)"]);
        assert_eq!(printed("gt0.5_to_1")[1], "0.5 um(acftd) to 1 um(acftd)");
        for heading in ["class", "status", "source", "fibres", "mass_percent_max", "total_printed"] {
            assert!(printed(heading).is_empty(), "{heading}");
        }
    }

    #[test]
    fn an_empty_cell_is_passed_by_zero_only() {
        let column = Column { letter: None, spans: vec![], limits: vec![None, Some(5.0), Some(9.0), None] };
        assert_eq!(column.row(0.0), Some(0));
        assert_eq!(column.row(0.5), Some(1));
        assert_eq!(column.row(5.0), Some(1));
        assert_eq!(column.row(9.0), Some(2));
        assert_eq!(column.row(9.5), Some(3));
    }
}
