//! One sample of the tank: after how many turnovers, and what was seen at each size.

use super::seen::{Observed, Seen};
use crate::class::iso4406::{Code, Place};
use crate::count::{CountedVolume, Dilution, Reading, whole_count};
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};
use crate::spectrum::{Channel, Spectrum};
use crate::tank::Turnovers;

/// One sample of the tank.
///
/// ```
/// use siltcode::job::progress::{Bottle, Seen};
/// use siltcode::tank::Turnovers;
/// use siltcode::{CountedVolume, Spectrum};
///
/// let (two, ml) = (Turnovers::new(2.0)?, CountedVolume::from_ml(10.0)?);
/// let spectrum = Spectrum::from_per_ml(&[(4.0, 1752.0), (14.0, 5.5)])?;
/// let bottle = Bottle::of_spectrum(two, &spectrum, Some(ml))?;
/// assert_eq!(bottle.seen()[1].1.seen(), Seen::Count(55));
/// assert_eq!(Bottle::of_spectrum(two, &spectrum, None).unwrap_err().code(), "volume-unknown");
///
/// let coded = Bottle::of_code(two, "18/16/13".parse()?, ml)?; // number 13: more than 40 and up to 80 per mL
/// assert_eq!(coded.seen()[2].1.seen(), Seen::Between(401, 800));
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Bottle {
    turnovers: Turnovers,
    seen: Vec<(Size, Observed)>,
}

impl Bottle {
    /// A sample of what was seen in a volume, diluted so, at sizes.
    ///
    /// # Errors
    /// `count-impossible` where no count fulfils what was seen.
    pub fn new(
        turnovers: Turnovers,
        seen: impl IntoIterator<Item = (Size, Seen)>,
        volume: CountedVolume,
        dilution: Dilution,
    ) -> Result<Self> {
        let observed =
            |(size, seen): (Size, Seen)| Ok((size, Observed::new(turnovers, seen, volume, dilution)?));
        Ok(Self { turnovers, seen: seen.into_iter().map(observed).collect::<Result<_>>()? })
    }

    /// A sample of cumulative counts: of their evidence where they have one, else of the volume that is given.
    ///
    /// `<5` and `>60000` per mL stay bounds; what was too many to count or not counted is left out.
    ///
    /// # Errors
    /// `volume-unknown` where a concentration has neither evidence nor a volume.
    pub fn of_spectrum(
        turnovers: Turnovers,
        spectrum: &Spectrum,
        volume: Option<CountedVolume>,
    ) -> Result<Self> {
        let mut seen = Vec::new();
        for channel in spectrum.channels() {
            if let Some(evidence) = &channel.evidence {
                seen.push((channel.size, Observed::counted(turnovers, evidence)));
            } else if !matches!(channel.reading, Reading::TooMany | Reading::NotCounted) {
                let unknown = || ErrorKind::VolumeUnknown { size: channel.size.to_string() };
                let volume = volume.ok_or_else(unknown)?;
                let observed = Observed::new(turnovers, bounds(channel, volume)?, volume, Dilution::NONE)?;
                seen.push((channel.size, observed));
            }
        }
        Ok(Self { turnovers, seen })
    }

    /// A sample known only by its code: each number is an interval of what was counted in the volume.
    ///
    /// # Errors
    /// `count-impossible` where the volume is so small that no whole number of particles in it gives a number.
    pub fn of_code(turnovers: Turnovers, code: Code, volume: CountedVolume) -> Result<Self> {
        let mut seen = Vec::new();
        for (um, place) in Code::sizes_um(SizeScale::UmC).into_iter().zip(code.places()) {
            let (Some(um), Place::Number { number, .. }) = (um, place) else { continue };
            let observed =
                Observed::new(turnovers, Seen::of_number(number, volume)?, volume, Dilution::NONE)?;
            seen.push((Size::um_c(um)?, observed));
        }
        Ok(Self { turnovers, seen })
    }

    /// After how many turnovers it was drawn.
    #[must_use]
    pub const fn turnovers(&self) -> Turnovers {
        self.turnovers
    }

    /// What was seen at and above each size.
    #[must_use]
    pub fn seen(&self) -> &[(Size, Observed)] {
        &self.seen
    }
}

/// What a concentration says of the particles in a volume.
fn bounds(channel: &Channel, volume: CountedVolume) -> Result<Seen> {
    let count = |per_ml: f64| whole_count((per_ml * volume.ml()).round());
    match channel.reading {
        Reading::Below(per_ml) => whole_count((per_ml.get() * volume.ml()).ceil()).map(Seen::Fewer),
        Reading::Above(per_ml) => whole_count((per_ml.get() * volume.ml()).floor() + 1.0).map(Seen::AtLeast),
        reading => count(reading.at_least()).map(Seen::Count),
    }
}
