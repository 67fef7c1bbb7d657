//! A printed code against a specification: a code is a set of bounds on the counts, not the counts.

use super::verdict::{Judging, Verdict};
use super::{Outcome, Spec};
use crate::certainty::Rule;
use crate::class::iso4406::{Code, Place, RangeNumber};
use crate::companion::Companion;
use crate::count::{PerMl, Reading};
use crate::size::{Size, SizeScale};
use crate::spectrum::{Channel, Spectrum};

impl Spec {
    /// Judges a printed code, or nothing but companion measurements.
    ///
    /// A limit is met where the upper bounds of the code's ranges meet it, not met where their lower bounds exceed it,
    /// and undecided between. A place marked `>=` has no upper bound.
    ///
    /// ```
    /// use siltcode::spec::Judging;
    /// use siltcode::{Code, SizeScale, Spec};
    ///
    /// let spec = Spec::from_code("18/16/13".parse()?, SizeScale::UmC)?;
    /// let outcome = |code: &str| {
    ///     let code: Code = code.parse()?;
    ///     Ok::<_, siltcode::Error>(spec.judge_printed(Some(code), &[], &Judging::default()).outcome.to_string())
    /// };
    /// assert_eq!(outcome("18/15/12")?, "conforms");
    /// assert_eq!(outcome("19/15/12")?, "does not conform");
    /// assert_eq!(outcome("18/15/>=12")?, "undecided");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn judge_printed(&self, code: Option<Code>, companions: &[Companion], judging: &Judging) -> Verdict {
        let judging = Judging { rule: Some(Rule::SimpleAcceptance), ..judging.clone() };
        let judge = |side: fn(Place) -> Reading| {
            let spectrum = code.map_or_else(|| Spectrum::nothing(SizeScale::UmC), |code| bounds(code, side));
            self.judge(&spectrum, companions, &judging)
        };
        let (most, least) = (judge(at_most), judge(at_least));
        if most.outcome == Outcome::Conforms {
            return most;
        }
        if least.outcome == Outcome::DoesNotConform {
            return least;
        }
        Verdict { outcome: Outcome::Undecided, ..most }
    }
}

/// The counts of a code's sizes, by one side of its ranges.
fn bounds(code: Code, side: fn(Place) -> Reading) -> Spectrum {
    let sizes = Code::sizes_um(SizeScale::UmC);
    let channel = |(place, um): (Place, Option<f64>)| Some(Channel::new(Size::um_c(um?).ok()?, side(place)));
    let channels: Vec<Channel> = code.places().into_iter().zip(sizes).filter_map(channel).collect();
    Spectrum::cumulative(channels).unwrap_or_else(|_| Spectrum::nothing(SizeScale::UmC))
}

/// The upper end of a range; a place without one is only known from below.
fn at_most(place: Place) -> Reading {
    match place {
        Place::Number { number, few: false } => number.upper().map_or(Reading::TooMany, Reading::Below),
        other => at_least(other),
    }
}

/// The lower end of a range, which its counts exceed.
fn at_least(place: Place) -> Reading {
    let above = |number: RangeNumber| number.bounds().more_than.and_then(|bound| PerMl::new(bound).ok());
    match place {
        Place::Number { number, .. } => Reading::Above(above(number).unwrap_or(PerMl::ZERO)),
        Place::TooMany => Reading::TooMany,
        Place::NotRequired => Reading::NotCounted,
    }
}
