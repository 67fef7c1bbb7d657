//! From one tank through the filter into another, clean one: no mixing, so each transfer divides by the ratio.

use super::channel::{BinState, Channel};
use super::forecast::Forecast;

impl BinState {
    /// What is left after so many transfers: `n / beta` each, and what the filter sheds.
    fn transferred(&self, transfers: u32) -> f64 {
        let passing = (1.0 - self.efficiency).powf(f64::from(transfers));
        let sheddings =
            if self.efficiency == 0.0 { f64::from(transfers) } else { (1.0 - passing) / self.efficiency };
        self.start * passing + self.shed * sheddings
    }
}

impl Channel {
    /// The concentration after so many transfers into a clean tank \[1/mL\]. What goes by the filter is part of it;
    /// how the tanks mix is not, and nothing comes in but what the filter sheds.
    ///
    /// ```
    /// use siltcode::{PerMl, filter::Beta, tank::{BinState, Channel, turnovers_like_one_pass}};
    ///
    /// let beta = Beta::new(10.0)?;
    /// let bin = BinState::new(PerMl::new(1000.0)?, PerMl::ZERO, beta.efficiency());
    /// let tank = Channel::new(vec![bin], PerMl::new(100.0)?);
    /// assert!((tank.transferred(2) - 10.0).abs() < 1e-12);
    /// assert_eq!(tank.transfers(), Some(1));
    /// assert_eq!(turnovers_like_one_pass(beta).to_string(), "2.56"); // that many instead of one transfer
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn transferred(&self, transfers: u32) -> f64 {
        self.bins.iter().map(|bin| bin.transferred(transfers)).sum()
    }

    /// The transfers after which the target is met; none where the filter sheds too much, or holds nothing back.
    #[must_use]
    pub fn transfers(&self) -> Option<u32> {
        // a count that comes to the target but for the rounding of the powers is there
        let met = |transfers: u32| self.transferred(transfers) <= self.target() * (1.0 + f64::EPSILON * 8.0);
        let (mut low, mut high) = (0_u32, 1_u32);
        if met(low) {
            return Some(low);
        }
        while !met(high) {
            (low, high) = (high, high.checked_mul(2)?);
        }
        while high - low > 1 {
            let middle = low.midpoint(high);
            if met(middle) { high = middle } else { low = middle }
        }
        Some(high)
    }
}

impl Forecast {
    /// The transfers into a clean tank after which every target is met; none where one cannot be reached.
    #[must_use]
    pub fn transfers(&self) -> Option<u32> {
        self.channels.iter().try_fold(0, |most: u32, channel| Some(most.max(channel.channel.transfers()?)))
    }
}
