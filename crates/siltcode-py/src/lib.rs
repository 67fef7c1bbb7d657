//! The native module of the Python package `siltcode`: conversion in, a call, conversion out.
//!
//! No rule of the domain stands here, and no word for the user: documentation, checks of what was given and display are
//! in `python/siltcode`. Functions take plain values and contiguous arrays and give plain values back.

#![allow(clippy::needless_pass_by_value)] // what Python hands over comes by value
#![allow(clippy::elidable_lifetime_names)] // 'py names the interpreter that a value lives in

mod arrays;
mod batch;
mod certainty;
mod codes;
mod error;
mod filters;
mod frame;
mod plain;
mod quantities;
mod specs;
mod table;
mod tank;

/// The native module.
#[pyo3::pymodule]
mod _native {
    #[pymodule_export]
    use crate::arrays::{code_odds, poisson_interval, range_bounds, range_numbers, refuse_count};
    #[pymodule_export]
    use crate::codes::{
        as4059_possible, class_limits, class_systems, classify, code_column, code_of, code_of_sample,
        compare_codes, convert_size, parse_code, parse_designation,
    };

    #[pymodule_export]
    use crate::batch::{Batch, Scores, batch_of, read_counts};
    #[pymodule_export]
    use crate::certainty::{
        coincidence, combined, compare, converted, decide, diluted, guarded, in_numbers, less_blank,
        most_to_accept, plan_volume, runs, sequential_step,
    };
    #[pymodule_export]
    use crate::filters::{
        beta_at, beta_bins, measured_beta, parse_beta, rated, train_bins, train_limits, train_lumped,
    };
    #[pymodule_export]
    use crate::frame::{score_columns, score_stream};
    #[pymodule_export]
    use crate::quantities::in_unit;
    #[pymodule_export]
    use crate::specs::{published_names, published_text, spec_parts};
    #[pymodule_export]
    use crate::table::Columns;
    #[pymodule_export]
    use crate::tank::{Passes, passes};
    #[pymodule_export]
    const VERSION: &str = env!("CARGO_PKG_VERSION");
}
