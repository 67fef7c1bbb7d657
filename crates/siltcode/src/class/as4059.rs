//! SAE AS4059: cumulative classes at six lettered sizes, and differential classes over five size ranges.
//!
//! The cumulative table is printed in two forms: unrounded (labelled revision E) and rounded, partly past three figures;
//! counts between the two prints change class (19 463 to 19 500 at size B are class 7 unrounded, class 6 rounded). The
//! unrounded one is the default because it is the running sum of the differential table; the title of a result says
//! which was used. The values of revision G were not read.

use std::sync::LazyLock;

use siltcode_tables::{AS4059_CUMULATIVE, AS4059_CUMULATIVE_ROUNDED, AS4059_DIFFERENTIAL};

use super::limits::{Limits, OLDER, Span};
use super::system::System;
use crate::size::{Size, SizeScale};

pub(super) static CUMULATIVE: LazyLock<System> = LazyLock::new(|| System {
    name: "as4059",
    title: "SAE AS4059 (revision E), cumulative, unrounded table",
    notes: &[],
    table: &AS4059_CUMULATIVE,
    limits: Limits::of(&AS4059_CUMULATIVE),
});

pub(super) static ROUNDED: LazyLock<System> = LazyLock::new(|| System {
    name: "as4059-rounded",
    title: "SAE AS4059, cumulative, table as rounded in print",
    notes: &["the rounded print: near a limit its class differs from the unrounded table's"],
    table: &AS4059_CUMULATIVE_ROUNDED,
    limits: Limits::of(&AS4059_CUMULATIVE_ROUNDED),
});

pub(super) static DIFFERENTIAL: LazyLock<System> = LazyLock::new(|| System {
    name: "as4059-differential",
    title: "SAE AS4059 (revisions E and F), differential",
    notes: &[
        "a class without a letter means the differential table since revision F; say the revision with it",
    ],
    table: &AS4059_DIFFERENTIAL,
    limits: with_older_sizes(Limits::of(&AS4059_DIFFERENTIAL)),
});

/// Adds to each size in um(c) those that the cumulative table sets beside it.
fn with_older_sizes(mut limits: Limits) -> Limits {
    let older = |size: Size, scale| {
        let beside =
            CUMULATIVE.limits.columns.iter().find(|c| c.span(size.scale()).is_some_and(|s| s.from == size));
        beside?.span(scale).map(|span| span.from)
    };
    for column in &mut limits.columns {
        let Some(Span { from, to }) = column.span(SizeScale::UmC) else { continue };
        let span = |scale| Some(Span { from: older(from, scale)?, to: to.and_then(|to| older(to, scale)) });
        column.spans.extend(OLDER.into_iter().filter_map(span));
    }
    limits
}
