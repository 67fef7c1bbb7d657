//! The cheapest or quickest staged filtration of a tank: which stages, for how long, with how many elements.
//!
//! A [`Job`] says what is to be cleaned, from where to where, and which [stages](Stage) may be used, in order. A [`Plan`]
//! of it says what goes in when, and how far it may lie from the best there is. Underneath, a [`Problem`] is the same in
//! numbers, bin by bin.
//!
//! Choices of stages and whole elements are weighed against each other by a bound below each of them that is proven,
//! not estimated: a plan is called the best only where the bound meets it.

pub mod balance;
mod booking;
mod bound;
mod convex;
pub mod cost;
pub mod effort;
mod entering;
mod improve;
pub mod job;
mod lengthened;
pub mod outcome;
mod part;
mod planning;
pub mod schedule;
mod search;
pub mod stage;

pub use balance::{Aim, Bin, Catcher, Course, Limit};
pub use cost::{BreakEven, CheapStage};
pub use effort::{Effort, SearchEnd};
pub use job::{Fluid, Job};
pub use outcome::{Answer, Booked, Booking, OutOfReach, Plan, PlannedElement, PlannedStage};
pub use schedule::{Leg, Problem, Schedule, Spent};
pub use stage::Stage;
