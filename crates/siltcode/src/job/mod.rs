//! A job under way: what its samples and its gauges say.
//!
//! - [`progress`]: how fast the counts fall, whether they have a floor, how many turnovers remain, and what looks wrong;
//! - [`loading`]: how the resistance of an element grows with what it has caught;
//! - [`axis`]: what pressures are followed along;
//! - [`trend`]: when an element will be due, with its interval;
//! - [`change`]: the published rule by which elements are changed;
//! - [`watch`]: what a series of differential pressures says;
//! - [`captured`]: what an element has caught between two samples;
//! - [`suction`]: vacuum and net positive suction head;
//! - [`logged`]: turnovers from logged flows and totalisers.

pub mod axis;
pub mod captured;
pub mod change;
mod due;
mod fallen;
mod family;
mod line;
pub mod loading;
pub mod logged;
pub mod progress;
pub mod suction;
pub mod trend;
pub mod watch;

pub use axis::{Along, Axis};
pub use captured::Captured;
pub use change::{ChangeRule, Duty};
pub use loading::{CapacityUsed, Loading, LoadingLaw, Resistance};
pub use logged::{Gap, LogEntry, Logged};
pub use suction::{PumpLimits, Reserve, Suction, SuctionLimit, SuctionLine};
pub use trend::{Answer, Expected, Fit, Outlook, Trend};
pub use watch::{Finding, Reading, Seen, Urgency, Watch};
