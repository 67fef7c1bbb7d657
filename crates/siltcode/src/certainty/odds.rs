//! The odds of each range number, given a raw count.

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::level::{Probability, Scatter};
use super::posterior::Posterior;
use crate::class::iso4406::RangeNumber;
use crate::count::{Evidence, PerMl};

/// Numbers less likely than this are left out.
const NEGLIGIBLE: f64 = 1e-6;

/// How likely the fluid's true range number is each of those that come into question, cleanest first.
///
/// Serialised as a map from number to probability.
///
/// ```
/// use siltcode::certainty::{Odds, Scatter};
/// use siltcode::{CountedVolume, Dilution, Evidence};
///
/// let evidence = Evidence::of_run(50, CountedVolume::from_ml(5.0)?, Dilution::NONE);
/// let odds = Odds::of(&evidence, Scatter::NONE); // 10 per mL, the upper bound of number 10
/// assert_eq!(format!("{:.2}", odds.get("10".parse()?).get()), "0.49");
/// assert_eq!(format!("{:.2}", odds.get("11".parse()?).get()), "0.51");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Odds(Vec<(RangeNumber, Probability)>);

impl Odds {
    /// The odds of this evidence, if bottles scatter this much; see [`Posterior`].
    #[must_use]
    pub fn of(evidence: &Evidence, scatter: Scatter) -> Self {
        let posterior = Posterior::new(evidence, scatter);
        let each = RangeNumber::all().chain([RangeNumber::ABOVE]);
        let odds = each.map(|number| (number, chance(&posterior, number)));
        Self(odds.filter(|(_, p)| p.get() >= NEGLIGIBLE).collect())
    }

    /// The probability of one number; 0 where it is below one in a million.
    #[must_use]
    pub fn get(&self, number: RangeNumber) -> Probability {
        self.iter().find(|(n, _)| *n == number).map_or(Probability::IMPOSSIBLE, |(_, p)| p)
    }

    /// The numbers and their probabilities, cleanest first.
    pub fn iter(&self) -> impl Iterator<Item = (RangeNumber, Probability)> {
        self.0.iter().copied()
    }

    /// The likeliest number.
    #[must_use]
    pub fn likeliest(&self) -> Option<(RangeNumber, Probability)> {
        self.iter().max_by(|a, b| a.1.get().total_cmp(&b.1.get()))
    }
}

fn chance(posterior: &Posterior, number: RangeNumber) -> Probability {
    let bounds = number.bounds();
    let per_ml = |value: f64| PerMl::new(value).unwrap_or(PerMl::ZERO);
    match (bounds.more_than.map(per_ml), bounds.up_to.map(per_ml)) {
        (Some(from), Some(to)) => posterior.between(from, to),
        (None, Some(to)) => posterior.at_most(to),
        (Some(from), None) => posterior.above(from),
        (None, None) => Probability::CERTAIN,
    }
}

impl Serialize for Odds {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (number, probability) in self.iter() {
            map.serialize_entry(&number.to_string(), &probability)?;
        }
        map.end()
    }
}
