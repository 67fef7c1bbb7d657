//! A tank cleaned by recirculation: turnovers to a target, its floor, and how sure the answer is.

pub mod cleanup;
pub mod ensemble;
pub mod forecast;
pub mod mixing;

pub use cleanup::{BinState, Channel, Turnovers, turnovers_like_one_pass};
pub use ensemble::{Causes, Doubt, Ensemble};
pub use forecast::{ChannelForecast, Forecast, Plant, Remedy};
