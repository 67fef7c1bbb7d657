//! A bottle beside the previous one from the same place: then, now, and whether the counts fell.
//!
//! What is unknown of each count is taken from its interval, which allows for counting, for the scatter of its runs and, if
//! it is stated, for the scatter between bottles. The logarithm of the ratio of two counts is then nearly normal.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::certainty::normal::{upper_quantile, upper_tail};
use crate::certainty::{Level, Probability};
use crate::count::Reading;
use crate::field::Field;
use crate::sample::Sample;
use crate::score::{Scored, ScoredChannel};
use crate::size::Size;

/// What became of the count at a size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Change {
    /// It fell.
    Fell,
    /// It stayed within half a range number.
    Same,
    /// It rose.
    Rose,
    /// None of these is sure enough, or a count does not say what it rests on.
    CannotTell,
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Fell => "fell",
            Self::Same => "same",
            Self::Rose => "rose",
            Self::CannotTell => "cannot tell",
        })
    }
}

impl Serialize for Change {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        match self {
            Self::CannotTell => serializer.serialize_str("cannot-tell"),
            _ => serializer.collect_str(self),
        }
    }
}

/// One size then and now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SizeChange {
    /// The size.
    pub size: Size,
    /// What was read then \[1/mL\].
    pub then_per_ml: Reading,
    /// What is read now \[1/mL\].
    pub now_per_ml: Reading,
    /// What became of it.
    pub change: Change,
    /// The probability of that; where nothing is sure, that it fell; none where a count does not say what it rests on.
    pub p: Option<Probability>,
}

/// A bottle beside the previous one from the same place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Previous {
    /// The name of the previous bottle.
    pub id: String,
    /// Every size that both were counted at, smallest first.
    pub sizes: Vec<SizeChange>,
}

/// How bottles are matched with the previous ones.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Match {
    /// By the name of the bottle.
    #[default]
    Id,
    /// By the tank and the point that the input names.
    TankAndPoint,
}

impl Match {
    /// What a bottle is matched by; none where the input does not say it.
    ///
    /// ```
    /// use siltcode::previous::Match;
    /// use siltcode::{Field, Sample, Spectrum};
    ///
    /// let mut bottle = Sample::new("B-7", [Spectrum::from_per_ml(&[(4.0, 100.0)])?]);
    /// assert_eq!(Match::Id.key(&bottle).as_deref(), Some("B-7"));
    /// assert_eq!(Match::TankAndPoint.key(&bottle), None);
    /// bottle.fields = vec![(Field::Tank, "North".into()), (Field::Point, "Bottom".into())];
    /// assert_eq!(Match::TankAndPoint.key(&bottle).as_deref(), Some("north, bottom"));
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn key(self, sample: &Sample) -> Option<String> {
        match self {
            Self::Id => Some(sample.id.clone()),
            Self::TankAndPoint => {
                let said = |wanted: Field| sample.field(wanted).map(|text| text.trim().to_lowercase());
                let place = [said(Field::Tank), said(Field::Point)];
                let place: Vec<String> = place.into_iter().flatten().collect();
                (!place.is_empty()).then(|| place.join(", "))
            }
        }
    }
}

impl Previous {
    /// A bottle beside the previous one, both scored alike, at the level of the bottle.
    ///
    /// ```
    /// use siltcode::previous::{Change, Previous};
    /// use siltcode::{Channel, CountedVolume, Dilution, Evidence, Sample, Scoring, Size, Spectrum, score};
    ///
    /// let bottle = |id: &str, raw: u64| {
    ///     let evidence = Evidence::of_run(raw, CountedVolume::from_ml(10.0)?, Dilution::NONE);
    ///     let spectrum = Spectrum::cumulative(vec![Channel::counted(Size::um_c(4.0)?, evidence)])?;
    ///     score(&Sample::new(id, [spectrum]), &Scoring::default())
    /// };
    /// let (then, now) = (bottle("May", 9000)?, bottle("June", 6000)?);
    /// let previous = Previous::of(&now, &then);
    /// assert_eq!((previous.id.as_str(), previous.sizes[0].change), ("May", Change::Fell));
    /// assert_eq!(Previous::of(&bottle("July", 9010)?, &then).sizes[0].change, Change::Same);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn of(now: &Scored, then: &Scored) -> Self {
        let both = now.channels.iter().filter_map(|channel| {
            let before = then.channels.iter().find(|before| before.size == channel.size)?;
            (channel.per_ml.is_counted() && before.per_ml.is_counted())
                .then(|| SizeChange::of(before, channel, [then.level, now.level]))
        });
        Self { id: then.id.clone(), sizes: both.collect() }
    }
}

impl SizeChange {
    fn of(then: &ScoredChannel, now: &ScoredChannel, levels: [Level; 2]) -> Self {
        let told = log_count(then, levels[0])
            .zip(log_count(now, levels[1]))
            .map(|(then, now)| change(now.0 - then.0, now.1.hypot(then.1), levels[1].get()));
        let (change, p) = match told {
            Some((change, p)) => (change, Some(Probability::rounded(p))),
            None => (Change::CannotTell, None),
        };
        Self { size: now.size, then_per_ml: then.per_ml, now_per_ml: now.per_ml, change, p }
    }
}

/// The logarithm of a count and its standard deviation, from its interval; none where it does not say what it rests on.
fn log_count(channel: &ScoredChannel, level: Level) -> Option<(f64, f64)> {
    let (count, interval) = (channel.per_ml.count()?.get(), channel.interval_per_ml?);
    let width = (interval.high.get() / interval.low.get()).ln();
    let sd = width / (2.0 * upper_quantile(0.5 * (1.0 - level.get())));
    (count > 0.0 && sd.is_finite()).then(|| (count.ln(), sd))
}

/// Half a range number, as a logarithm.
const HALF_A_NUMBER: f64 = 0.5 * std::f64::consts::LN_2;

/// What a difference of logarithms with this standard deviation says, with its probability.
fn change(difference: f64, sd: f64, level: f64) -> (Change, f64) {
    let above = |least: f64| {
        if sd > 0.0 { upper_tail((least - difference) / sd) } else { f64::from(u8::from(difference > least)) }
    };
    let (rose, fell) = (above(0.0), 1.0 - above(0.0));
    let same = above(-HALF_A_NUMBER) - above(HALF_A_NUMBER);
    match () {
        () if fell >= level => (Change::Fell, fell),
        () if rose >= level => (Change::Rose, rose),
        () if same >= level => (Change::Same, same),
        () => (Change::CannotTell, fell),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_is_told_at_the_level() {
        let told = |difference: f64, sd: f64| change(difference, sd, 0.95).0;
        assert_eq!(told(-0.5, 0.1), Change::Fell);
        assert_eq!(told(0.5, 0.1), Change::Rose);
        assert_eq!(told(0.0, 0.1), Change::Same);
        assert_eq!(told(0.0, 1.0), Change::CannotTell);
        // 1.644 854 standard deviations are the 95 % point
        assert_eq!(told(-0.164_49, 0.1), Change::Fell);
        assert_ne!(told(-0.164_47, 0.1), Change::Fell);
    }
}
