//! What an element has caught between two samples of a tank.

use serde::Serialize;

use crate::certainty::Interval;
use crate::error::{ErrorKind, Result};
use crate::mass::MassEstimate;
use crate::spectrum::Law;
use crate::units::{Mass, MassConcentration, Volume};

/// What has to be said wherever a mass is held against a dirt capacity.
pub const CAPACITY_NOTE: &str = "dirt capacity is stated for mineral test dust; soft sludge or water blocks an element at a fraction of it";

/// What has to be said of a mass between two samples.
pub const INGRESS_NOTE: &str =
    "what came into the tank between the samples, or was stirred up, was caught too and is not in it";

/// What was caught between two samples: an interval, as the masses of the particles are.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Captured {
    /// At least and at most; 0 where the sample weighs no less than the one before.
    pub mass: Interval<Mass>,
    /// Whether the particles of the later sample may weigh more: then more came in than was caught.
    pub may_have_risen: bool,
}

/// The mass that left a tank, `V (m_before - m_after)`; none where it rose.
///
/// ```
/// use siltcode::job::captured::left_the_tank;
/// use siltcode::units::{MassConcentration, Volume};
///
/// let concentration = |mg_per_litre| MassConcentration::from_mg_per_litre(mg_per_litre);
/// let left = left_the_tank(Volume::from_m3(10.0)?, concentration(1.5)?, concentration(0.175)?);
/// assert_eq!(left.unwrap().to_string(), "13.25 g");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn left_the_tank(tank: Volume, before: MassConcentration, after: MassConcentration) -> Option<Mass> {
    Mass::from_mg(tank.litres() * (before.mg_per_litre() - after.mg_per_litre())).ok()
}

impl Captured {
    /// Between two samples of a tank: `V sum w_i (n_before - n_after)`. Both are weighed by the same assumptions, so an
    /// assumption that makes the one heavier makes the other heavier too.
    ///
    /// ```
    /// use siltcode::job::Captured;
    /// use siltcode::mass::MassAssumptions;
    /// use siltcode::units::{Density, Mass, Volume};
    /// use siltcode::{Size, Spectrum};
    ///
    /// let quartz = Density::from_kg_per_litre(2.65)?;
    /// let assumed = MassAssumptions { shape: (0.5, 1.0), ..MassAssumptions::spheres(quartz, Size::um_c(50.0)?) };
    /// let sample = |counts: [f64; 3]| {
    ///     Spectrum::from_per_ml(&[(4.0, counts[0]), (6.0, counts[1]), (14.0, counts[2])])?.mass(assumed)
    /// };
    /// let (before, after) = (sample([30000.0, 8500.0, 640.0])?, sample([2000.0, 500.0, 40.0])?);
    /// let captured = Captured::between(Volume::from_m3(18.0)?, &before, &after)?;
    /// assert_eq!(format!("{} to {}", captured.mass.low, captured.mass.high), "146.592 g to 318.533 g");
    /// let elements = captured.elements(Mass::from_grams(200.0)?)?;
    /// assert_eq!(format!("{:.1} to {:.1}", elements.low, elements.high), "0.7 to 1.6");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `sizes-differ` unless both were counted at the same sizes; `quantity-out-of-range` where the mass leaves the range
    /// of a double.
    pub fn between(tank: Volume, before: &MassEstimate, after: &MassEstimate) -> Result<Self> {
        ensure_same_sizes(before, after)?;
        let ends = |law: Law| {
            let (before, after) = (before.under(law), after.under(law));
            [(before.0, after.0), (before.1, after.1)]
        };
        let milligrams = Law::BOTH
            .map(ends)
            .concat()
            .into_iter()
            .map(|(before, after)| tank.litres() * (before.mg_per_litre() - after.mg_per_litre()));
        let (low, high) =
            milligrams.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), mg| (l.min(mg), h.max(mg)));
        let mass = |mg: f64| Mass::from_mg(mg.max(0.0));
        Ok(Self { mass: Interval { low: mass(low)?, high: mass(high)? }, may_have_risen: low < 0.0 })
    }

    /// How many elements of this dirt capacity it fills, by test dust: see [`CAPACITY_NOTE`] \[elements\].
    ///
    /// # Errors
    /// `quantity-out-of-range` unless the capacity is above 0.
    pub fn elements(&self, capacity: Mass) -> Result<Interval<f64>> {
        if capacity.grams() > 0.0 {
            return Ok(self.mass.map(|mass| mass.grams() / capacity.grams()));
        }
        let (quantity, value) = ("dirt capacity".into(), capacity.to_string());
        Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into())
    }
}

fn ensure_same_sizes(before: &MassEstimate, after: &MassEstimate) -> Result<()> {
    let sizes =
        |mass: &MassEstimate| mass.bins.iter().map(|bin| bin.from.to_string()).collect::<Vec<_>>().join(", ");
    let (before, after) = (sizes(before), sizes(after));
    if before == after { Ok(()) } else { Err(ErrorKind::SizesDiffer { before, after }.into()) }
}
