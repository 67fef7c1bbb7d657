//! The cheapest or quickest staged filtration of a tank: which stages, for how long, with how many elements.
//!
//! A [`Job`] says what is to be cleaned, from where to where, and which [stages](Stage) may be used, in order.

pub mod job;
pub mod stage;

pub use job::{Fluid, Job};
pub use stage::Stage;
