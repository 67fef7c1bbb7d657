//! Several class systems asked for one sample: from each a class, or why there is none.

use serde::{Serialize, Serializer};

use super::classification::Classification;
use super::system::ClassSystem;
use crate::error::Result;
use crate::size::SizeScale;
use crate::spectrum::Spectrum;

/// The class systems to ask.
///
/// ```
/// use siltcode::class::{ClassRequest, ClassSystem};
/// use siltcode::{SizeScale, Spectrum};
///
/// let systems = [ClassSystem::As4059, ClassSystem::Nas1638];
/// let spectrum = Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0)])?;
/// let answers = ClassRequest { systems: &systems, convert_to: None }.answers(&spectrum);
/// assert_eq!(answers[0].classification.as_ref().unwrap().to_string(), "8A/8B/7C");
/// assert_eq!(answers[1].classification.as_ref().unwrap_err().code(), "class-scale-unsuited");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct ClassRequest<'a> {
    /// The systems.
    pub systems: &'a [ClassSystem],
    /// The scale to convert the sizes to for systems that have none in the counts' own; see
    /// [`ClassSystem::classify_in`].
    pub convert_to: Option<SizeScale>,
}

/// What one class system answers.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassAnswer {
    /// The system.
    pub system: ClassSystem,
    /// The class, or why there is none.
    pub classification: Result<Classification>,
}

impl ClassRequest<'_> {
    /// The answers, in the order of the systems.
    #[must_use]
    pub fn answers(&self, spectrum: &Spectrum) -> Vec<ClassAnswer> {
        let answer = |&system: &ClassSystem| {
            let classification = match self.convert_to {
                Some(scale) => system.classify_in(spectrum, scale),
                None => system.classify(spectrum),
            };
            ClassAnswer { system, classification }
        };
        self.systems.iter().map(answer).collect()
    }
}

#[derive(Serialize)]
struct Found<'a> {
    class: String,
    interpolated: bool,
    #[serde(flatten)]
    classification: &'a Classification,
}

#[derive(Serialize)]
struct NotFound {
    class: Option<String>,
    system: ClassSystem,
    code: &'static str,
    reason: String,
    hint: String,
}

impl Serialize for ClassAnswer {
    /// The class as printed with what stands behind it; or no class, with the error's code, reason and hint.
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        match &self.classification {
            Ok(classification) => Found {
                class: classification.to_string(),
                interpolated: classification.is_interpolated(),
                classification,
            }
            .serialize(serializer),
            Err(error) => NotFound {
                class: None,
                system: self.system,
                code: error.code(),
                reason: error.to_string(),
                hint: error.hint(),
            }
            .serialize(serializer),
        }
    }
}
