//! What a filter removes: filtration ratios at sizes and in bins, and filters combined.

pub mod beta;
pub mod rating;

pub use beta::{Beta, Efficiency, Share};
pub use rating::{BetaAt, Challenge, Rating};
