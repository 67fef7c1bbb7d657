//! What a filter removes: filtration ratios at sizes and in bins, measured ones, and filters combined.

pub mod beta;
pub mod between;
pub mod challenge;
pub mod conditions;
pub mod element;
pub mod measured;
pub mod rating;
pub mod train;

pub use beta::{Beta, Efficiency, Share};
pub use between::BetaAt;
pub use challenge::Challenge;
pub use conditions::{Conditions, Laminar};
pub use element::{Element, Kind, PressureDrop, Price};
pub use measured::MeasuredBeta;
pub use rating::{Rated, Rating};
pub use train::{Branch, Stage, Train};
