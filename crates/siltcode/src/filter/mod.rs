//! What a filter removes: filtration ratios at sizes and in bins, measured ones, and filters combined.

pub mod beta;
pub mod between;
pub mod challenge;
pub mod measured;
pub mod rating;

pub use beta::{Beta, Efficiency, Share};
pub use between::BetaAt;
pub use challenge::Challenge;
pub use measured::MeasuredBeta;
pub use rating::{Rated, Rating};
