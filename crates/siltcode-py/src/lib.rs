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
mod given;
mod laws;
mod loading;
mod logged;
mod mass;
mod plain;
mod plan;
mod pressures;
mod progress;
mod quantities;
mod raw_frame;
mod reference;
mod samples;
mod settling;
mod shares;
mod specs;
mod suction;
mod table;
mod tank;
mod text_frame;
mod turnovers;

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
        at_most, coincidence, compare, decide, diluted, equal_by_e_test, expanded_in_numbers,
        false_accept_at_limit, guarded, in_numbers, less_blank, most_to_accept, nested_correlation,
        plan_volume, posterior, runs, sequential_bounds, sequential_step,
    };
    #[pymodule_export]
    use crate::filters::{
        at_rated, beta_at, beta_bins, beta_derated, beta_working, ceiling, clean_at, in_series, leaking,
        measured_beta, parse_beta, rated, ratio_of_bins, ratio_of_pairs, size_for, train_bins, train_limits,
        train_lumped,
    };
    #[pymodule_export]
    use crate::frame::{score_columns, score_stream};
    #[pymodule_export]
    use crate::laws::{counting_deviation, law_at, law_slope, law_weight, power_density};
    #[pymodule_export]
    use crate::loading::{capacity_used, captured, loading_at, pressure_at_capacity, resistance_ratio};
    #[pymodule_export]
    use crate::logged::turnovers_logged;
    #[pymodule_export]
    use crate::mass::{mass, spheres};
    #[pymodule_export]
    use crate::plan::{break_even, job_text, plan, schedule};
    #[pymodule_export]
    use crate::pressures::{
        change_out, change_rule, is_due, loading_fits, pressures_at_rated, refuse_without_flow, watch_element,
    };
    #[pymodule_export]
    use crate::progress::{Progress, expected_errors, fit_progress, shortfall};
    #[pymodule_export]
    use crate::quantities::in_unit;
    #[pymodule_export]
    use crate::raw_frame::{columns_of_stream, score_raw};
    #[pymodule_export]
    use crate::reference::{cautions, cautions_of, published_tables, table_text};
    #[pymodule_export]
    use crate::samples::{bands, between, combined, converted, spectrum_less_blank};
    #[pymodule_export]
    use crate::settling::{hours_over, settling, settling_left, settling_speeds, viscosity_mpa_s};
    #[pymodule_export]
    use crate::specs::{published_names, published_text, spec_parts};
    #[pymodule_export]
    use crate::suction::{suction, suction_drop};
    #[pymodule_export]
    use crate::table::{Columns, columns_of_parts};
    #[pymodule_export]
    use crate::tank::{Passes, passes};
    #[pymodule_export]
    use crate::text_frame::read_columns;
    #[pymodule_export]
    use crate::turnovers::{
        displaced, passed_at_least, pipe_reynolds, turnovers_like_one_pass, turnovers_needed,
    };
    #[pymodule_export]
    const DEFERENCE: &str = siltcode::caution::DEFERENCE;
    #[pymodule_export]
    const VERSION: &str = env!("CARGO_PKG_VERSION");
}
