//! When another minute of coarse filtration still pays for itself.

use crate::error::{ErrorKind, Result};
use crate::filter::{Efficiency, Price};
use crate::tank::Plant;
use crate::units::{Duration, Mass};

/// A cheap stage ahead of a dear one, for dirt that both hold back.
///
/// What the cheap stage takes out need not be held by dear elements. It takes out ever less, so it pays until what it
/// saves in an hour is what an hour costs: `t = V / (Q E) ln(Q E m0 (p_f/C_f - p_c/C_c) / (V c))`.
///
/// ```
/// use siltcode::filter::{Beta, Price};
/// use siltcode::plan::cost::CheapStage;
/// use siltcode::tank::Plant;
/// use siltcode::units::{Flow, Mass, Volume};
///
/// let grams = Mass::from_grams;
/// let bags = CheapStage {
///     plant: Plant::new(Volume::from_m3(10.0)?, Flow::from_l_per_min(50.0)?)?,
///     held_back: Beta::new(10.0)?.efficiency(),
///     dirt: grams(1200.0)?,
///     cheap: (Price::new(25.0)?, grams(400.0)?),
///     dear: (Price::new(220.0)?, grams(80.0)?),
///     hour_cost: Price::new(90.0)?,
/// };
/// let until = bags.break_even()?;
/// assert_eq!(until.time.minutes().round(), 504.0);
/// assert_eq!(until.dirt_left.to_string(), "124.031 g");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheapStage {
    /// The tank, and the flow of the cheap stage.
    pub plant: Plant,
    /// What its elements hold back.
    pub held_back: Efficiency,
    /// The dirt in the tank.
    pub dirt: Mass,
    /// What a cheap element costs, with putting it in, and what it holds.
    pub cheap: (Price, Mass),
    /// What a dear element costs, with putting it in, and what it holds.
    pub dear: (Price, Mass),
    /// What an hour costs.
    pub hour_cost: Price,
}

/// How long a cheap stage pays.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct BreakEven {
    /// What each gram in a cheap element saves in dear ones \[money/g\]; below 0 where it saves nothing.
    pub saving_per_gram: f64,
    /// So long; no time where the stage never pays.
    pub time: Duration,
    /// What is left in the tank then.
    pub dirt_left: Mass,
}

impl CheapStage {
    /// How long the stage pays. What it saves of the time of the dear stage is not in it: that is [`Plan`](super::Plan)'s
    /// to weigh.
    ///
    /// # Errors
    /// `quantity-out-of-range` unless both elements hold something and an hour costs something.
    pub fn break_even(&self) -> Result<BreakEven> {
        let per_gram = |(price, capacity): (Price, Mass)| price.get() / capacity.grams();
        let saving = per_gram(self.dear) - per_gram(self.cheap);
        let seen = self.held_back.bypassed(self.plant.bypass).short_circuited(self.plant.short_circuit);
        let rate = seen.get() * self.plant.turnovers_per_hour();
        let hour = self.hour_cost.get();
        if !saving.is_finite() || hour <= 0.0 {
            let (quantity, value) = ("cost of an hour, or dirt capacity,".into(), "0".into());
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into());
        }
        let folds = (rate * self.dirt.grams() * saving / hour).ln().max(0.0);
        let hours = if folds > 0.0 { folds / rate } else { 0.0 };
        Ok(BreakEven {
            saving_per_gram: saving,
            time: Duration::from_hours(hours)?,
            dirt_left: Mass::from_grams(self.dirt.grams() * (-rate * hours).exp())?,
        })
    }
}
