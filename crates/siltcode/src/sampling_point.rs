//! Where in the system a bottle was drawn.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::field::Field;
use crate::sample::Sample;

/// A place whose samples do not stand for the tank.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SamplingPoint {
    /// Behind the filter: what it returns to the tank.
    ReturnLine,
    /// Before the pump: what it draws.
    SuctionLine,
    /// The bottom of the tank, its sump or its drain.
    Bottom,
}

impl SamplingPoint {
    /// The place in what is said of a sampling point; none for the tank itself, or where nothing is recognised.
    ///
    /// ```
    /// use siltcode::SamplingPoint;
    ///
    /// assert_eq!(SamplingPoint::named("Return line, port 2"), Some(SamplingPoint::ReturnLine));
    /// assert_eq!(SamplingPoint::named("tank bottom"), Some(SamplingPoint::Bottom));
    /// assert_eq!(SamplingPoint::named("middle"), None);
    /// ```
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        let text = text.to_lowercase();
        let words: Vec<&str> = text.split(|c: char| !c.is_alphabetic()).collect();
        let says = |any: &[&str]| words.iter().any(|word| any.contains(word));
        if says(&["return", "downstream"]) {
            Some(Self::ReturnLine)
        } else if says(&["suction", "upstream"]) {
            Some(Self::SuctionLine)
        } else if says(&["bottom", "sump", "drain"]) {
            Some(Self::Bottom)
        } else {
            None
        }
    }

    /// The place in a column that names points, such as `point`, `sampling point` or `location`.
    #[must_use]
    pub fn of(sample: &Sample) -> Option<Self> {
        [Field::Point, Field::Depth, Field::Site]
            .into_iter()
            .find_map(|field| Self::named(sample.field(field)?))
    }

    /// The place in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ReturnLine => "return line",
            Self::SuctionLine => "suction line",
            Self::Bottom => "bottom",
        }
    }
}

impl fmt::Display for SamplingPoint {
    /// What a sample of it says of the tank.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::ReturnLine => {
                "sample of the return line: it says what the filter returns, not what the tank holds"
            }
            Self::SuctionLine => {
                "sample of the suction line: it says what the pump draws, not what the whole tank holds"
            }
            Self::Bottom => {
                "sample of the bottom: it says what has settled there, not what the whole tank holds"
            }
        })
    }
}

impl Serialize for SamplingPoint {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.serialize_str(match self {
            Self::ReturnLine => "return-line",
            Self::SuctionLine => "suction-line",
            Self::Bottom => "bottom",
        })
    }
}
