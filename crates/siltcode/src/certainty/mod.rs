//! How sure a code, and a verdict, is.
//!
//! A count is a sample of the particles in the tank: counting 9 where 10 were expected is no contradiction. What the
//! answer is worth depends on the raw counts and the counted volume ([`Evidence`](crate::Evidence)), not on the
//! concentration; where these are missing the certainty is not known, and nothing here makes it up.
//!
//! - [`poisson`]: the expected count behind a raw count, as an interval.

pub(crate) mod expansion;
pub(crate) mod gamma;
pub mod level;
pub(crate) mod normal;
pub mod poisson;

pub use level::{Interval, Level, Mean, Probability};
