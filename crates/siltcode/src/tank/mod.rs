//! A tank cleaned by recirculation: turnovers to a target, its floor, and how sure the answer is.
//!
//! A [`Forecast`] is made of where the tank [starts](Start), what it [must meet](Target), the filtration ratio of each
//! bin of sizes, what [comes in](Sources), and the [plant](Plant). An [`Ensemble`] adds the doubt.

mod channel;
pub mod endpoints;
pub mod ensemble;
pub mod forecast;
pub mod mixing;
pub mod plant;
mod turnovers;

pub use channel::{BinState, Channel};
pub use endpoints::{Sources, Start, Target};
pub use ensemble::{Causes, Doubt, Ensemble};
pub use forecast::{Assumption, ChannelForecast, Forecast, Remedy};
pub use mixing::{DeadZone, Left, Mixing};
pub use plant::Plant;
pub use turnovers::{Turnovers, turnovers_like_one_pass};
