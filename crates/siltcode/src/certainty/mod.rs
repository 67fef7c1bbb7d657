//! How sure a code, and a verdict, is.
//!
//! A count is a sample of the particles in the tank: counting 9 where 10 were expected is no contradiction. What the
//! answer is worth depends on the raw counts and the counted volume ([`Evidence`](crate::Evidence)), not on the
//! concentration; where these are missing the certainty is not known, and nothing here makes it up.
//!
//! - [`assess`](assess()): everything below for one bottle, in one call;
//! - [`poisson`]: the expected count behind a raw count, as an interval;
//! - [`posterior`] and [`odds`]: the distribution of the concentration, and of the range number;
//! - [`Repeatability`]: how much runs vary beyond counting, from all bottles of a batch, and what that adds to each;
//! - [`joint`]: the probability that several sizes meet their limits together;
//! - [`decision`]: conforms, does not conform or undecided, under a named rule;
//! - [`planner`]: what count to accept, what volume to count, when to stop;
//! - [`runs`] and [`ratio`]: whether runs, bottles or two counts agree;
//! - [`corrections`] and [`coincidence`]: dilution, blank and particles hidden by others;
//! - [`precision`]: relative uncertainty in range numbers, guard bands;
//! - [`flags`]: what looks wrong, and what to do about it.

pub mod assess;
pub(crate) mod beta;
pub mod coincidence;
pub mod corrections;
pub mod decision;
pub(crate) mod expansion;
pub(crate) mod factor;
pub mod flags;
pub(crate) mod gamma;
pub mod joint;
pub mod level;
mod mixture;
pub(crate) mod normal;
pub mod odds;
mod odds_by_count;
pub mod outcome;
pub mod planner;
pub mod poisson;
pub mod posterior;
pub mod precision;
pub(crate) mod quadrature;
pub mod ratio;
mod repeatability;
pub mod runs;
mod settle;
pub(crate) mod student;

pub use assess::{Assessment, ChannelCertainty, Unrecorded, assess};
pub use decision::{Decision, Judged, Rule};
pub use factor::{Factors, RandomFactor, Variation};
pub use flags::{Context, Flag, Severity};
pub use joint::{Joint, Limit};
pub use level::{Interval, Level, Mean, Probability, Scatter};
pub use odds::Odds;
pub use odds_by_count::OddsByCount;
pub use outcome::Outcome;
pub use posterior::Posterior;
pub use repeatability::{Contradiction, Repeatability, RepeatabilitySource, RunPool, SizeRepeatability};
pub use settle::Settle;
