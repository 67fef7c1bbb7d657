//! What the particles of a sample weigh.

use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::mass::{MassAssumptions, MassBin, MassEstimate, mass_of_spheres};
use siltcode::spectrum::Law;
use siltcode::units::{Density, MassConcentration};
use siltcode::{PerMl, Size, SizeScale, Spectrum};

use crate::error::Result;
use crate::given::{Given, Plain};
use crate::plain::{self, SampleGiven};

/// What is taken for granted, each as least and most \[kg/m3, -, um\].
#[derive(Deserialize)]
pub(crate) struct MassGiven {
    density: (f64, f64),
    shape: (f64, f64),
    largest: (f64, f64),
}

plain::from_plain_values! { MassGiven }

impl MassGiven {
    /// What a spectrum weighs.
    pub(crate) fn of(&self, spectrum: &Spectrum) -> siltcode::Result<MassEstimate> {
        spectrum.mass(self.assumed(spectrum.scale())?)
    }

    fn assumed(&self, scale: SizeScale) -> siltcode::Result<MassAssumptions> {
        let density = |kg_per_m3| Density::from_kg_per_m3(kg_per_m3);
        let size = |um| Size::new(um, scale);
        Ok(MassAssumptions {
            density: (density(self.density.0)?, density(self.density.1)?),
            shape: self.shape,
            largest: (size(self.largest.0)?, size(self.largest.1)?),
        })
    }
}

/// Least and most \[mg/L\].
type Ends = (f64, f64);

fn ends((least, most): (MassConcentration, MassConcentration)) -> Ends {
    (least.mg_per_litre(), most.mg_per_litre())
}

#[derive(Serialize)]
pub(crate) struct MassParts {
    spread: Ends,
    power: Ends,
    log_log2: Ends,
    bins: Vec<BinParts>,
}

#[derive(Serialize)]
struct BinParts {
    from: Size,
    to: Option<Size>,
    power: Ends,
    log_log2: Ends,
}

impl From<MassEstimate> for MassParts {
    fn from(mass: MassEstimate) -> Self {
        let bin = |bin: &MassBin| BinParts {
            from: bin.from,
            to: bin.to,
            power: ends(bin.power),
            log_log2: ends(bin.log_log2),
        };
        Self {
            spread: ends(mass.spread()),
            power: ends(mass.under(Law::Power)),
            log_log2: ends(mass.under(Law::LogLog2)),
            bins: mass.bins.iter().map(bin).collect(),
        }
    }
}

/// The mass of the particles of a sample, as an interval \[mg/L\].
#[pyfunction]
pub(crate) fn mass(sample: SampleGiven, assumed: MassGiven) -> Result<Plain<MassParts>> {
    Ok(Plain(assumed.of(&sample.sample()?.spectrum()?)?.into()))
}

/// The mass of spheres of one size \[mg/L\].
#[pyfunction]
#[pyo3(name = "mass_of_spheres")]
pub(crate) fn spheres(per_ml: Given<PerMl>, size: Given<Size>, density: Given<Density>) -> Result<f64> {
    Ok(mass_of_spheres(per_ml.0, size.0, density.0)?.mg_per_litre())
}
