//! Specifications: what a customer or a standard asks for, and the check against it.
//!
//! A [`Spec`] is a list of [`Requirement`]s, either [published](published::spec) or read from a
//! [TOML file](Spec::from_toml) that takes two minutes to write:
//!
//! ```
//! use siltcode::{Sample, Spec, Spectrum};
//!
//! let spec = Spec::from_toml(r#"
//!     title = "Day tank, standby generator"
//!     code = "18/16/13"
//!     water = "200 mg/kg"
//!
//!     [counts]
//!     "21 um(c)" = 10          # an ISO 4406 range number
//!     "30 um(c)" = "2 /mL"     # or a count
//! "#)?;
//!
//! let counts = Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0), (21.0, 9.0), (30.0, 1.5)])?;
//! let check = spec.check(&Sample::new("day tank", [counts]))?;
//! assert_eq!(check.outcome.to_string(), "undecided");       // the counts are met, but
//! assert_eq!(check.deciding.as_deref(), Some("water"));     // water was not tested
//! # Ok::<(), siltcode::Error>(())
//! ```

mod check;
mod printed;
pub mod published;
mod read;
mod requirement;
mod verdict;

pub use crate::certainty::Outcome;
pub use check::{Check, Finding, Found, Seen};
pub use requirement::{Alternative, CompanionLimit, Demand, ParticleLimit, Requirement};
pub use verdict::{Judging, NoProbability, Verdict};

use serde::Serialize;

use crate::class::iso4406::Code;
use crate::error::Result;
use crate::provenance::SpecUsed;
use crate::size::{Size, SizeScale};
use crate::status::Status;

/// What is asked of a fluid.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spec {
    /// The short name, as given on a command line.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// The edition of the document it restates.
    pub edition: Option<String>,
    /// Where it applies, if that is limited: "at the refinery only".
    pub scope: Option<String>,
    /// What a reader must know before relying on it.
    pub caveat: Option<String>,
    /// Whether the document has more limits than are known here: meeting these is not conforming to it.
    pub partial: bool,
    /// Whether a sample is only compared with the limits, without a verdict: limits of another place in the supply.
    pub compare_only: bool,
    /// How well the numbers are known: the weakest of its requirements.
    pub status: Status,
    /// The requirements, in their document's order.
    pub requirements: Vec<Requirement>,
    /// SHA-256 of the text it was read from; none for a code.
    pub sha256: Option<String>,
}

impl Spec {
    /// A target given as nothing but a code: `18/16/13`.
    ///
    /// # Errors
    /// Those of [`Code`]'s parser, where the code names no size in that scale.
    pub fn from_code(code: Code, scale: SizeScale) -> Result<Self> {
        let sizes = Code::sizes_um(scale);
        let places = sizes.into_iter().zip(code.range_numbers());
        let requirements = places.filter_map(|(um, number)| Some((um?, number?))).map(|(um, number)| {
            let size = Size::new(um, scale)?;
            Ok(Requirement::new(Demand::Particles { size, limit: ParticleLimit::Number(number) }))
        });
        Ok(Self {
            name: code.to_string(),
            title: format!("cleanliness code {code}"),
            edition: None,
            scope: None,
            caveat: None,
            partial: false,
            compare_only: false,
            status: Status::User,
            requirements: requirements.collect::<Result<_>>()?,
            sha256: None,
        })
    }

    /// What a result held against it must name: the specification, its digest and its sources.
    ///
    /// ```
    /// use siltcode::spec::published;
    ///
    /// let used = published::spec("jet-a1-manufacture")?.used();
    /// assert_eq!(used.sources, ["jet-a1-product-page", "def-stan-91-091-note", "afqrjos-32"]);
    /// assert_eq!(used.sha256.map(|sha256| sha256.len()), Some(64));
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn used(&self) -> SpecUsed {
        let mut sources: Vec<String> = Vec::new();
        for key in self.requirements.iter().flat_map(|r| r.source.as_deref().unwrap_or("").split('+')) {
            if !key.is_empty() && !sources.iter().any(|known| known == key) {
                sources.push(key.to_owned());
            }
        }
        let (name, edition, sha256) = (self.name.clone(), self.edition.clone(), self.sha256.clone());
        SpecUsed { name, edition, status: self.status, sha256, sources }
    }
}
