//! A tank cleaned by recirculation: turnovers to a target, its floor, and how sure the answer is.
//!
//! A [`Forecast`] is made of where the tank [starts](Start), what it [must meet](Target), the filtration ratio of each
//! bin of sizes, what [comes in](Sources), and the [plant](Plant). An [`Ensemble`] adds the doubt.

pub mod bulk;
mod channel;
pub mod decline;
pub mod doubt;
pub mod endpoints;
pub mod ensemble;
pub mod flush;
pub mod forecast;
pub mod inverse;
pub mod mixing;
mod mixing_factor;
mod nodes;
pub mod plant;
pub mod rest;
mod transfer;
mod turnovers;

pub(crate) use channel::crossing as settled_crossing;
pub use channel::{BinState, Channel, Slopes};
pub use decline::Decline;
pub use doubt::{Cause, Causes, Doubt};
pub use endpoints::{Sources, Start, Target};
pub use ensemble::{Ensemble, Planning};
pub use flush::Reynolds;
pub use forecast::{Assumption, ChannelForecast, Forecast, Remedy};
pub use inverse::Moment;
pub use mixing::{DeadZone, Left, Mixing};
pub use mixing_factor::MixingFactor;
pub use plant::Plant;
pub use rest::Rest;
pub use turnovers::{Turnovers, turnovers_like_one_pass};
