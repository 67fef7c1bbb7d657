//! What the samples of a job under way say of how it goes, and what is still to come.
//!
//! A tank has been circulated and sampled a few times. The particles between each size and the next are a bin, and
//! [`Progress`] fits the counts of all bins together over the turnovers, each bin with
//!
//! `n(tau) = a exp(-kappa tau) + c`
//!
//! `kappa` is the efficiency that the tank itself shows, `c` the floor that no number of turnovers goes below. What is counted
//! at a size is the sum of the bins from it on. Where the elements are known, they tie the bins together while samples are
//! few. An [`Outlook`] says how many turnovers remain to a target, as an interval, and whether the samples even exclude that
//! the target is never met; [`diagnosis`] says what looks wrong, what it may mean and what to do next. A [`Fit`] is the plain
//! fit of one series of counts.
//!
//! ```
//! use siltcode::job::progress::{Bottle, Options, Progress};
//! use siltcode::tank::{Target, Turnovers};
//! use siltcode::{CountedVolume, Spectrum};
//!
//! let counts = [(0.0, 10_041.0), (1.0, 3_990.0), (2.0, 1_611.0), (3.0, 650.0), (4.0, 274.0)];
//! let bottles = counts.map(|(after, per_ml)| {
//!     let spectrum = Spectrum::from_per_ml(&[(4.0, per_ml)])?;
//!     Bottle::of_spectrum(Turnovers::new(after)?, &spectrum, Some(CountedVolume::from_ml(10.0)?))
//! });
//! let bottles = bottles.into_iter().collect::<siltcode::Result<Vec<_>>>()?;
//! let progress = Progress::new(&bottles, Options::default())?;
//! assert_eq!(format!("{:.2}", progress.sizes()[0].efficiency().get()), "0.91");
//!
//! let outlook = progress.outlook(&Target::of_counts(&Spectrum::from_per_ml(&[(4.0, 160.0)])?)?)?;
//! let remaining = outlook.deciding().remaining;
//! assert!(remaining.estimate.is_some_and(|turnovers| (0.5..0.8).contains(&turnovers.get())));
//! assert!(remaining.low <= remaining.estimate && remaining.high.is_none_or(|high| Some(high) > remaining.estimate));
//! # Ok::<(), siltcode::Error>(())
//! ```

mod bottle;
mod curve;
pub mod diagnosis;
mod errors;
mod fit;
mod joint;
mod outlook;
mod profile;
mod seen;
mod series;

pub use bottle::Bottle;
pub use diagnosis::{Finding, Shortfall};
pub use errors::StandardErrors;
pub use fit::{Edge, Fit, FloorRule, FloorTest, Goodness, ShownEfficiency};
pub use outlook::{Outlook, SizeOutlook};
pub use profile::Remaining;
pub use seen::{Observed, Seen};
pub use series::{ElementPeriod, Options, Progress, SizeProgress, Spread};
