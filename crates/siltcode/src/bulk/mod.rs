//! ISO 4406 range numbers of whole arrays of concentrations, as bytes.
//!
//! | byte | meaning |
//! |---|---|
//! | 0 to 28 | the range number |
//! | [`ABOVE_SCALE`], 29 | above the scale, infinity included |
//! | [`NOT_COUNTED`], 255 | no concentration: NaN (how arrays mark a missing value), or negative |
//!
//! ```
//! use siltcode::bulk::{ABOVE_SCALE, NOT_COUNTED, range_numbers};
//!
//! let mut numbers = [0; 5];
//! range_numbers(&[1752.0, 2500.0, 2500.1, 1e9, f64::NAN], &mut numbers)?;
//! assert_eq!(numbers, [18, 18, 19, ABOVE_SCALE, NOT_COUNTED]);
//! # Ok::<(), siltcode::Error>(())
//! ```
//!
//! The bounds of ISO 4406 about double from number to number, so each power of two has at most one bound above it
//! and below the next. The sign and exponent of a value, its top twelve bits, therefore leave two numbers to choose
//! from, and one comparison with the bound between them decides: the result is the table's own to the last bit.

#[cfg(target_arch = "x86_64")]
mod lookup;
#[cfg(feature = "parallel")]
mod parallel;
mod path;
mod table;
mod target;

#[cfg(feature = "parallel")]
pub use parallel::{par_range_numbers, par_range_numbers_f32, par_score};
pub use path::Path;
pub use target::{Columns, IMPOSSIBLE, Scores, Target, outcome_of};

use crate::class::iso4406::RangeNumber;
use crate::error::{ErrorKind, Result};
use table::ENTRIES;

/// The byte for a concentration above the scale, printed `>28`.
pub const ABOVE_SCALE: u8 = RangeNumber::ABOVE.get();

/// The byte for a value that is no concentration: NaN, or negative.
pub const NOT_COUNTED: u8 = u8::MAX;

/// The range number of one concentration \[particles/mL\], as a byte.
///
/// ```
/// use siltcode::bulk::{NOT_COUNTED, range_number_of};
///
/// assert_eq!(range_number_of(0.0), 0);
/// assert_eq!(range_number_of(-1.0), NOT_COUNTED);
/// ```
#[must_use]
pub fn range_number_of(per_ml: f64) -> u8 {
    ENTRIES.number(per_ml)
}

/// Writes the range number of each concentration \[particles/mL\] to the same place of `out`.
///
/// See the [module](self) for what the bytes mean and an example. Every value is taken: nothing is refused.
///
/// # Errors
/// `lengths-differ` unless `out.len() == per_ml.len()`; `out` is then left as it was.
pub fn range_numbers(per_ml: &[f64], out: &mut [u8]) -> Result<()> {
    Path::best().range_numbers(per_ml, out)
}

/// [`range_numbers`] of single-precision concentrations \[particles/mL\], each taken as the double it equals.
///
/// A bound that single precision cannot hold, such as 0.01, is rounded down there by its nearest value, so it keeps
/// its number.
///
/// ```
/// let mut numbers = [0; 3];
/// siltcode::bulk::range_numbers_f32(&[0.01, 1.3, 2.6], &mut numbers)?;
/// assert_eq!(numbers, [0, 7, 9]);
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// # Errors
/// As [`range_numbers`].
pub fn range_numbers_f32(per_ml: &[f32], out: &mut [u8]) -> Result<()> {
    Path::best().range_numbers_f32(per_ml, out)
}

/// Scores rows of three counts against a target: the range number of each count, and the outcome of each row.
///
/// A size that was not counted is NaN. As in [`score`](crate::score()), a row whose counts rise with size is not scored,
/// and what was not counted, or is asked besides the three counts, is not taken for met.
///
/// ```
/// use siltcode::bulk::{IMPOSSIBLE, Scores, Target, outcome_of, score};
/// use siltcode::{Outcome, SizeScale, Spec};
///
/// let target = Target::of(&Spec::from_code("18/16/13".parse()?, SizeScale::UmC)?)?;
/// let per_ml: [&[f64]; 3] = [&[1752.0, 1752.0, 9.0], &[517.0, 517.0, 10.0], &[55.0, f64::NAN, 1.0]];
/// let (mut a, mut b, mut c, mut outcomes) = ([0; 3], [0; 3], [0; 3], [0; 3]);
/// score(per_ml, &target, Scores { numbers: [&mut a, &mut b, &mut c], outcomes: &mut outcomes })?;
/// assert_eq!((a[0], b[0], c[0]), (18, 16, 13));
/// assert_eq!(outcome_of(outcomes[0]), Some(Outcome::Conforms));
/// assert_eq!(outcome_of(outcomes[1]), Some(Outcome::Undecided));
/// assert_eq!(outcomes[2], IMPOSSIBLE);
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// # Errors
/// `lengths-differ` unless all columns and all places are equally long; they are then left as they were.
pub fn score(per_ml: Columns<'_>, target: &Target, out: Scores<'_>) -> Result<()> {
    Path::best().score(per_ml, target, out)
}

pub(crate) fn same_length(input: usize, output: usize) -> Result<()> {
    if input == output { Ok(()) } else { Err(ErrorKind::LengthsDiffer { input, output }.into()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_concentration_is_not_counted() {
        let tiny = f64::from_bits(1);
        for value in [f64::NAN, -f64::NAN, -tiny, -f64::MIN_POSITIVE, -1.0, f64::NEG_INFINITY] {
            assert_eq!(range_number_of(value), NOT_COUNTED, "{value}");
        }
        for value in [0.0, -0.0, tiny, f64::MIN_POSITIVE] {
            assert_eq!(range_number_of(value), 0, "{value}");
        }
        for value in [f64::MAX, f64::INFINITY] {
            assert_eq!(range_number_of(value), ABOVE_SCALE, "{value}");
        }
    }

    #[test]
    fn single_precision_bounds_keep_their_number() {
        #[allow(clippy::cast_possible_truncation)] // rounding to single precision is what is tested
        let bounds: Vec<f32> =
            RangeNumber::all().filter_map(RangeNumber::upper).map(|b| b.get() as f32).collect();
        let mut numbers = vec![0; bounds.len()];
        range_numbers_f32(&bounds, &mut numbers).unwrap();
        assert_eq!(numbers, (0..29).collect::<Vec<u8>>());
        let above: Vec<f32> = bounds.iter().map(|bound| bound.next_up()).collect();
        range_numbers_f32(&above, &mut numbers).unwrap();
        assert_eq!(numbers, (1..30).collect::<Vec<u8>>());
    }

    #[test]
    fn lengths_must_agree() {
        let mut out = [7; 2];
        assert_eq!(range_numbers(&[1.0], &mut out).unwrap_err().code(), "lengths-differ");
        assert_eq!(out, [7, 7]);
        assert!(range_numbers(&[], &mut []).is_ok());
    }
}
