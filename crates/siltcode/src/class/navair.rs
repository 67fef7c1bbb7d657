//! NAVAIR 01-1A-17: US Navy contamination classes over five size ranges of the older scales.
//!
//! A count over the limit in any one range moves the sample to the next class.

use std::sync::LazyLock;

use siltcode_tables::NAVAIR_01_1A_17;

use super::limits::Limits;
use super::system::System;

pub(super) static SYSTEM: LazyLock<System> = LazyLock::new(|| System {
    name: "navair",
    title: "NAVAIR 01-1A-17, differential",
    notes: &[],
    table: &NAVAIR_01_1A_17,
    limits: Limits::of(&NAVAIR_01_1A_17),
});
