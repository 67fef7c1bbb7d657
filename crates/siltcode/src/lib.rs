//! Fluid cleanliness: particle counts in; cleanliness codes, honest verdicts and the filtration still needed, out.
//!
//! ```
//! use siltcode::{Code, Spectrum};
//!
//! let spectrum = Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0)])?;
//! assert_eq!(Code::of(&spectrum)?.to_string(), "18/16/13");
//! # Ok::<(), siltcode::Error>(())
//! ```

#![cfg_attr(test, allow(clippy::float_cmp))] // table bounds and exact results are compared exactly

mod keyed;
mod left_out;
mod table;

pub mod bulk;
pub mod caution;
pub mod certainty;
pub mod class;
pub mod companion;
pub mod conversion;
pub mod count;
pub mod error;
pub mod field;
pub mod filter;
pub mod intake;
pub mod job;
pub mod mass;
pub mod plan;
pub mod previous;
pub mod provenance;
pub mod sample;
mod sampling_point;
pub mod score;
mod score_notices;
pub mod settling;
pub mod size;
pub mod spec;
pub mod spectrum;
pub mod status;
pub mod tank;
pub mod units;

/// The published tables, each with its citation.
pub use siltcode_tables as tables;

pub use class::iso4406::{Code, Place, RangeNumber};
pub use companion::{Companion, CompanionUnit, Measured, Property};
pub use count::{Basis, CountedVolume, Dilution, Evidence, PerMl, Reading};
pub use error::{Error, ErrorKind, Position, Result};
pub use field::Field;
pub use left_out::{LeaveOut, LeftOutBecause, LeftOutRun, NamedRun};
pub use sample::{Run, Sample, Source};
pub use sampling_point::SamplingPoint;
pub use score::{Scored, ScoredChannel, Scoring, score};
pub use size::{Size, SizeScale};
pub use spec::{Check, Outcome, Spec, Verdict};
pub use spectrum::{Bin, Channel, Spectrum};
pub use status::Status;

#[cfg(doctest)]
#[doc = include_str!("../../../README.md")]
struct Readme;
