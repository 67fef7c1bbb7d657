//! A sample against a specification, requirement by requirement.
//!
//! What was not tested is said to be not tested, never met. A bound (`<1`, `>60000`) decides where it can, and where it
//! cannot the answer is "cannot be told". This check takes the numbers as they are; how sure they are is `certainty`.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::LazyLock;

use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};

use crate::class::iso4406::RangeNumber;
use crate::companion::{Companion, Measured, Property};
use crate::count::{PerMl, Reading};
use crate::error::Result;
use crate::sample::Sample;
use crate::size::Size;
use crate::spec::{Alternative, CompanionLimit, Demand, Outcome, ParticleLimit, Requirement, Spec};
use crate::spectrum::Spectrum;
use crate::status::Status;
use crate::table;
use crate::units::Shortest;

/// What came out for one requirement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Finding {
    /// The limit is met.
    Met,
    /// The limit is not met.
    NotMet,
    /// It was tested, but the result does not say on which side of the limit it lies.
    CannotTell,
    /// It was not tested.
    NotTested,
    /// There is no limit; the value is only reported.
    Reported,
}

impl Finding {
    pub(super) const fn outcome(self) -> Outcome {
        match self {
            Self::Met | Self::Reported => Outcome::Conforms,
            Self::NotMet => Outcome::DoesNotConform,
            Self::CannotTell | Self::NotTested => Outcome::Undecided,
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Met => "met",
            Self::NotMet => "not met",
            Self::CannotTell => "cannot be told",
            Self::NotTested => "not tested",
            Self::Reported => "reported",
        })
    }
}

impl Serialize for Finding {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// What was found where a requirement looks.
#[derive(Debug, Clone, PartialEq)]
pub enum Seen {
    /// A particle count, or a bound on it.
    Reading(Reading),
    /// A companion measurement.
    Measured(Measured),
}

impl fmt::Display for Seen {
    /// Counts to six figures, which tell them from any limit they are not equal to in print.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Reading(Reading::Count(count)) => write!(f, "{} /mL", Shortest(six_figures(count.get()))),
            Self::Reading(reading) => reading.fmt(f),
            Self::Measured(measured) => measured.fmt(f),
        }
    }
}

impl Serialize for Seen {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// One requirement, answered.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// What was looked at, and the limit.
    pub demand: Demand,
    /// The value found.
    pub found: Option<Seen>,
    /// What came out.
    pub finding: Finding,
    /// How many range numbers above the limit (negative: below); particles only.
    pub numbers_over: Option<i32>,
    /// The found value over its upper limit \[-\]: above 1, the factor still to remove.
    pub ratio: Option<f64>,
    /// What a reader must know: the requirement's own note, or why it cannot be told.
    pub note: Option<String>,
    /// The group of alternatives the requirement belongs to.
    pub alternative: Option<Alternative>,
    /// How well the limit is known.
    pub status: Status,
}

impl Serialize for Found {
    /// With the `subject` and the `limit` of the demand as text.
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_struct("Found", 9)?;
        map.serialize_field("subject", &self.demand.subject())?;
        map.serialize_field("limit", &self.demand.limit())?;
        map.serialize_field("found", &self.found)?;
        map.serialize_field("finding", &self.finding)?;
        map.serialize_field("numbers_over", &self.numbers_over)?;
        map.serialize_field("ratio", &self.ratio)?;
        map.serialize_field("note", &self.note)?;
        map.serialize_field("alternative", &self.alternative)?;
        map.serialize_field("status", &self.status)?;
        map.end()
    }
}

/// A sample checked against a specification.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// The specification's name.
    pub spec: String,
    /// Its edition.
    pub edition: Option<String>,
    /// Where it applies.
    pub scope: Option<String>,
    /// How well its limits are known.
    pub status: Status,
    /// Whether the specification has more limits than are known here.
    pub partial: bool,
    /// The outcome by the numbers as they are. It is not serialized: a verdict has one outcome, its own.
    #[serde(skip)]
    pub outcome: Outcome,
    /// The requirement that decides: the one furthest above its limit, or the first that is open, or, where all is
    /// met, the one closest to its limit.
    #[serde(skip)]
    pub deciding: Option<String>,
    /// Every requirement, in the specification's order.
    pub items: Vec<Found>,
}

impl Check {
    /// What a sample meets that conforms to these limits while the specification has more; none where all limits are
    /// known, so that it conforms to the specification.
    #[must_use]
    pub fn limits_checked(&self) -> Option<String> {
        let met = self.items.iter().filter(|item| item.finding == Finding::Met);
        let met: Vec<String> = met.map(|item| item.demand.subject()).collect();
        self.partial
            .then(|| format!("meets the limits checked: {}; the specification has more", met.join(", ")))
    }

    /// The factor by which the particle counts still have to come down \[-\]; 1 where all limits are met.
    #[must_use]
    pub fn factor_to_remove(&self) -> f64 {
        let ratios =
            self.items.iter().filter(|item| item.numbers_over.is_some()).filter_map(|item| item.ratio);
        ratios.fold(1.0, f64::max)
    }
}

impl Spec {
    /// Checks a sample, requirement by requirement.
    ///
    /// # Errors
    /// Those of [`Sample::spectrum`].
    pub fn check(&self, sample: &Sample) -> Result<Check> {
        Ok(self.check_counts(&sample.spectrum()?, &sample.companions))
    }

    /// Checks counts, for example net of a blank, and companion measurements, requirement by requirement.
    #[must_use]
    pub fn check_counts(&self, spectrum: &Spectrum, companions: &[Companion]) -> Check {
        let items: Vec<Found> =
            self.requirements.iter().map(|requirement| found(requirement, spectrum, companions)).collect();
        let outcomes: Vec<_> = items.iter().map(|item| item.finding.outcome()).collect();
        let (outcome, deciding) = decide(&items, &outcomes);
        Check {
            spec: self.name.clone(),
            edition: self.edition.clone(),
            scope: self.scope.clone(),
            status: self.status,
            partial: self.partial,
            outcome,
            deciding: deciding.map(|i| items[i].demand.subject()),
            items,
        }
    }
}

/// What one look at a value says, before the requirement's own words are put round it.
struct Look {
    found: Option<Seen>,
    finding: Finding,
    numbers_over: Option<i32>,
    ratio: Option<f64>,
    why: Option<String>,
}

impl Look {
    const fn not_tested(why: Option<String>) -> Self {
        Self { found: None, finding: Finding::NotTested, numbers_over: None, ratio: None, why }
    }
}

fn found(requirement: &Requirement, spectrum: &Spectrum, companions: &[Companion]) -> Found {
    let look = match &requirement.demand {
        Demand::Particles { size, limit } => look_at_particles(*size, *limit, spectrum),
        Demand::Companion { property, limit } => look_at_companion(property, limit, companions),
    };
    Found {
        demand: requirement.demand.clone(),
        found: look.found,
        finding: look.finding,
        numbers_over: look.numbers_over,
        ratio: look.ratio,
        note: look.why.or_else(|| requirement.note.clone()),
        alternative: requirement.alternative.clone(),
        status: requirement.status,
    }
}

fn look_at_particles(size: Size, limit: ParticleLimit, spectrum: &Spectrum) -> Look {
    if size.scale() != spectrum.scale() {
        let why =
            format!("counted in {}, the limit is in {}; convert explicitly", spectrum.scale(), size.scale());
        return Look::not_tested(Some(why));
    }
    let reading = spectrum.reading(size);
    let Some(upper) = limit.upper() else {
        return match reading {
            Reading::NotCounted => Look::not_tested(None),
            _ => Look { finding: Finding::Reported, ..reported(reading) },
        };
    };
    let finding = side_of(reading, upper);
    let count = reading.count();
    Look {
        finding,
        numbers_over: count.map(|count| RangeNumber::of(count).steps_above(RangeNumber::of(upper))),
        ratio: count.filter(|_| upper > PerMl::ZERO).map(|count| count.get() / upper.get()),
        ..reported(reading)
    }
}

fn reported(reading: Reading) -> Look {
    Look { found: reading.is_counted().then_some(Seen::Reading(reading)), ..Look::not_tested(None) }
}

fn six_figures(value: f64) -> f64 {
    if !(1e-290..1e290).contains(&value) {
        return value; // 0, and what has no power of ten to be scaled by
    }
    #[allow(clippy::cast_possible_truncation)] // the exponent of a double
    let scale = 10_f64.powi(5 - value.abs().log10().floor() as i32);
    (value * scale).round() / scale
}

/// On which side of an upper limit a reading lies, bounds included.
fn side_of(reading: Reading, upper: PerMl) -> Finding {
    match reading {
        Reading::NotCounted => Finding::NotTested,
        Reading::Count(count) if count <= upper => Finding::Met,
        Reading::Count(_) => Finding::NotMet,
        Reading::Below(bound) if bound <= upper => Finding::Met,
        Reading::Above(bound) if bound >= upper => Finding::NotMet,
        Reading::TooMany if upper.get() <= *COUNTER_CEILING => Finding::NotMet,
        Reading::Below(_) | Reading::Above(_) | Reading::TooMany => Finding::CannotTell,
    }
}

/// What any counter can count up to \[particles/mL\]: the least of the ceilings that test methods state.
///
/// "Too many to count" means above the counter's own ceiling, so it is above a limit that lies under every ceiling.
static COUNTER_CEILING: LazyLock<f64> = LazyLock::new(|| {
    #[derive(serde::Deserialize)]
    struct Row {
        max_per_ml: Option<f64>,
    }
    let rows = table::rows::<Row>(&siltcode_tables::TEST_METHOD_RANGES);
    rows.iter().filter_map(|row| row.max_per_ml).fold(f64::INFINITY, f64::min)
});

fn look_at_companion(property: &Property, limit: &CompanionLimit, companions: &[Companion]) -> Look {
    let Some(companion) = companions.iter().find(|companion| companion.property == *property) else {
        return Look::not_tested(None);
    };
    let (finding, ratio, why) = match (limit, &companion.measured) {
        (CompanionLimit::Words(words), Measured::Words(seen)) => {
            let met = words.iter().any(|word| word.eq_ignore_ascii_case(seen.trim()));
            (if met { Finding::Met } else { Finding::NotMet }, None, None)
        }
        (CompanionLimit::Range { min, max, exclusive, unit }, Measured::Number { value, unit: measured })
            if unit == measured =>
        {
            let met = if *exclusive {
                min.is_none_or(|min| *value > min) && max.is_none_or(|max| *value < max)
            } else {
                min.is_none_or(|min| *value >= min) && max.is_none_or(|max| *value <= max)
            };
            let ratio = max.filter(|max| *max > 0.0).map(|max| value / max);
            (if met { Finding::Met } else { Finding::NotMet }, ratio, None)
        }
        (
            CompanionLimit::Range { min: None, max: Some(max), unit, .. },
            Measured::LessThan { below, unit: measured },
        ) if unit == measured && below <= max => (Finding::Met, None, None),
        (CompanionLimit::Range { unit, .. }, Measured::Number { unit: measured, .. }) if unit != measured => {
            (Finding::CannotTell, None, Some(unit_mismatch(measured.symbol(), unit.symbol())))
        }
        _ => (Finding::CannotTell, None, None),
    };
    Look { found: Some(Seen::Measured(companion.measured.clone())), finding, numbers_over: None, ratio, why }
}

fn unit_mismatch(measured: &str, limit: &str) -> String {
    let name = |unit: &str| if unit.is_empty() { "no unit".to_owned() } else { unit.to_owned() };
    let why = format!("measured in {}, the limit is in {}", name(measured), name(limit));
    match (measured, limit) {
        ("mg/kg", "mg/L") | ("mg/L", "mg/kg") => format!("{why}; converting takes the density"),
        _ => why,
    }
}

/// The outcome of all items, each having come to its own, and the place of the one that decides it.
pub(super) fn decide(items: &[Found], outcomes: &[Outcome]) -> (Outcome, Option<usize>) {
    let settled = settled_groups(items, outcomes);
    let effective = |i: usize| match &items[i].alternative {
        Some(alternative) => settled.get(alternative.group.as_str()).copied().unwrap_or(Outcome::Undecided),
        None => outcomes[i],
    };
    let outcome = (0..items.len()).map(effective).max().unwrap_or(Outcome::Undecided);
    let mut candidates = (0..items.len()).filter(|&i| effective(i) == outcome && outcomes[i] == outcome);
    let ratio = |i: &usize| items[*i].ratio.unwrap_or(0.0);
    let deciding = match outcome {
        Outcome::Undecided => candidates.next(),
        _ => candidates
            .filter(|&i| items[i].finding != Finding::Reported)
            .max_by(|a, b| ratio(a).total_cmp(&ratio(b))),
    };
    (outcome, deciding)
}

/// Each group of alternatives comes to the best of its branches, each branch to the worst of its requirements.
fn settled_groups<'a>(items: &'a [Found], outcomes: &[Outcome]) -> BTreeMap<&'a str, Outcome> {
    let mut branches: BTreeMap<(&str, &str), Outcome> = BTreeMap::new();
    for (item, &outcome) in items.iter().zip(outcomes) {
        if let Some(Alternative { group, branch }) = &item.alternative {
            let worst = branches.entry((group, branch)).or_insert(Outcome::Conforms);
            *worst = outcome.max(*worst);
        }
    }
    let mut groups = BTreeMap::new();
    for ((group, _), outcome) in branches {
        let best = groups.entry(group).or_insert(outcome);
        *best = outcome.min(*best);
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::companion::CompanionUnit;
    use crate::size::SizeScale;
    use crate::spectrum::Channel;

    fn sample(counts: &[(f64, f64)], companions: &[(Property, Measured)]) -> Sample {
        let mut sample = Sample::new("x", [Spectrum::from_per_ml(counts).unwrap()]);
        sample.companions = (companions.iter())
            .map(|(property, measured)| Companion { property: property.clone(), measured: measured.clone() })
            .collect();
        sample
    }

    fn target() -> Spec {
        Spec::from_code("18/16/13".parse().unwrap(), SizeScale::UmC).unwrap()
    }

    #[test]
    fn says_by_how_many_numbers_and_what_factor() {
        let check = target().check(&sample(&[(4.0, 10_000.0), (6.0, 640.0), (14.0, 40.0)], &[])).unwrap();
        assert_eq!(check.outcome, Outcome::DoesNotConform);
        assert_eq!(check.deciding.as_deref(), Some("4 um(c)"));
        let over: Vec<_> = check.items.iter().map(|item| item.numbers_over.unwrap()).collect();
        assert_eq!(over, [2, 0, -1]);
        assert_eq!(check.factor_to_remove(), 4.0);
    }

    #[test]
    fn what_was_not_tested_is_not_met_and_not_failed() {
        let check = target().check(&sample(&[(4.0, 100.0), (6.0, 50.0)], &[])).unwrap();
        assert_eq!(check.items[2].finding, Finding::NotTested);
        assert_eq!(check.outcome, Outcome::Undecided);
        assert_eq!(check.deciding.as_deref(), Some("14 um(c)"));
    }

    #[test]
    fn bounds_decide_where_they_can() {
        let upper = PerMl::new(80.0).unwrap();
        let at = |value| PerMl::new(value).unwrap();
        for (reading, finding) in [
            (Reading::Below(at(80.0)), Finding::Met),
            (Reading::Below(at(81.0)), Finding::CannotTell),
            (Reading::Above(at(80.0)), Finding::NotMet),
            (Reading::Above(at(79.0)), Finding::CannotTell),
            (Reading::TooMany, Finding::NotMet),
        ] {
            assert_eq!(side_of(reading, upper), finding, "{reading}");
        }
        assert_eq!(side_of(Reading::TooMany, at(80_000.0)), Finding::CannotTell);
    }

    #[test]
    fn other_units_and_other_scales_are_never_compared() {
        let spec = Spec::from_toml("particulate = \"24 mg/kg\"").unwrap();
        let measured = Measured::number(10.0, CompanionUnit::MgPerL).unwrap();
        let check = spec.check(&sample(&[(4.0, 1.0)], &[(Property::Particulate, measured)])).unwrap();
        assert_eq!(check.items[0].finding, Finding::CannotTell);
        assert!(check.items[0].note.as_ref().unwrap().contains("density"));

        let size = Size::new(5.0, SizeScale::Microscope).unwrap();
        let channel = Channel::new(size, Reading::Count(PerMl::new(1.0).unwrap()));
        let seen = Sample::new("x", [Spectrum::cumulative(vec![channel]).unwrap()]);
        assert_eq!(target().check(&seen).unwrap().items[0].finding, Finding::NotTested);
    }

    #[test]
    fn one_whole_branch_settles_a_group() {
        let spec = Spec::from_toml(
            "[[requirement]]\nproperty=\"particulate\"\nmax=1.0\nunit=\"mg/L\"\nalternative=\"solids\"\nbranch=\"mass\"\n\
             [[requirement]]\nproperty=\"particles\"\nsize=\"4 um(c)\"\nmax_number=19\nalternative=\"solids\"\nbranch=\"counts\"\n\
             [[requirement]]\nproperty=\"particles\"\nsize=\"6 um(c)\"\nmax_number=17\nalternative=\"solids\"\nbranch=\"counts\"\n",
        )
        .unwrap();
        let heavy = (Property::Particulate, Measured::number(3.0, CompanionUnit::MgPerL).unwrap());
        let outcome = |counts: &[(f64, f64)], mass: &[_]| spec.check(&sample(counts, mass)).unwrap().outcome;
        let clean = [(4.0, 100.0), (6.0, 10.0)];
        assert_eq!(outcome(&clean, std::slice::from_ref(&heavy)), Outcome::Conforms);
        assert_eq!(outcome(&[(4.0, 100.0)], std::slice::from_ref(&heavy)), Outcome::Undecided);
        assert_eq!(outcome(&[(4.0, 1e5), (6.0, 10.0)], &[heavy]), Outcome::DoesNotConform);
        assert_eq!(outcome(&[(4.0, 1e5), (6.0, 10.0)], &[]), Outcome::Undecided);
    }
}
