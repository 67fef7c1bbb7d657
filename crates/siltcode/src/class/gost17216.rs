//! GOST 17216-71: classes over size ranges from 0.5 to 200 um of the older scales.
//!
//! The limits of classes 00 to 8 were read, with the columns inferred from their doubling; 9 to 17 are from memory, and
//! every result that rests on them says so. The edition of 2001 was not read. Fibres and mass are not classed here.

use std::sync::LazyLock;

use siltcode_tables::GOST17216;

use super::limits::Limits;
use super::system::System;

pub(super) static SYSTEM: LazyLock<System> = LazyLock::new(|| System {
    name: "gost17216",
    title: "GOST 17216-71, differential",
    notes: &["the 1971 table, its columns inferred from their doubling; the edition of 2001 was not read"],
    table: &GOST17216,
    limits: Limits::of(&GOST17216),
});
