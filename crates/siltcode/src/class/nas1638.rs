//! NAS 1638: classes over five size ranges in micrometres of the older scales.
//!
//! The standard does not say how to quote a sample; most users quote the highest class of the five ranges. Above class
//! 12 nothing is published, so the class prints `>12`.

use std::sync::LazyLock;

use siltcode_tables::NAS1638;

use super::limits::Limits;
use super::system::System;

pub(super) static SYSTEM: LazyLock<System> = LazyLock::new(|| System {
    name: "nas1638",
    title: "NAS 1638, differential",
    notes: &["NAS 1638 is inactive for new design since 30 May 2001 and not meant for automatic counters"],
    table: &NAS1638,
    limits: Limits::of(&NAS1638),
});
