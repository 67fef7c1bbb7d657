//! Which AS4059 class could this be? What an ISO 4406 code alone, without counts, leaves possible.
//!
//! Both systems draw their bounds at other places, so a range number spans one or two classes at its size. The printed
//! tables that set one class against one code are not used: they disagree by a whole class for every code, because one
//! follows the size 4 um(c), which NAS 1638 does not have, and the other the larger sizes; and they hold only for one
//! distribution of sizes.

use serde::Serialize;

use super::designation::Letter;
use super::iso4406::{Bounds, Code, Place};
use super::system::ClassSystem;
use super::value::ClassRange;
use crate::size::{Size, SizeScale};

/// The classes that a code leaves possible at one size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Possible {
    /// The size's letter.
    pub letter: Letter,
    /// The size.
    pub size: Size,
    /// The classes its range number spans.
    pub classes: ClassRange,
}

/// The AS4059 cumulative classes that an ISO 4406 code in um(c) leaves possible, size by size.
///
/// A place that is `*`, `-` or marked `>=` bounds nothing from above, so its size is left out.
///
/// ```
/// use siltcode::class::as4059_of_code;
///
/// let possible = as4059_of_code("18/16/13".parse()?);
/// let printed: Vec<String> = possible.iter().map(|p| format!("{}: {}", p.letter, p.classes)).collect();
/// assert_eq!(printed, ["A: 8 to 9", "B: 7 to 8", "C: 7 to 8"]);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn as4059_of_code(code: Code) -> Vec<Possible> {
    let limits = ClassSystem::As4059.limits();
    let sizes = Code::sizes_um(SizeScale::UmC).into_iter().zip(code.places());
    let possible = |(um, place): (Option<f64>, Place)| {
        let Place::Number { number, few: false } = place else { return None };
        let at = |column: &&super::limits::Column| {
            column.span(SizeScale::UmC).is_some_and(|span| Some(span.from.um()) == um)
        };
        let column = limits.columns.iter().find(at)?;
        let Bounds { more_than, up_to } = number.bounds();
        let class = |per_100_ml: f64| limits.class(column, per_100_ml).0;
        let least = more_than.map_or(0.0, |bound| (bound * 100.0).next_up());
        let most = up_to.map_or(f64::INFINITY, |bound| bound * 100.0);
        let classes = ClassRange::between(class(least), class(most));
        Some(Possible { letter: column.letter?, size: column.span(SizeScale::UmC)?.from, classes })
    };
    sizes.filter_map(possible).collect()
}
