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

use std::sync::LazyLock;

use crate::class::iso4406::{self, RangeNumber};
use crate::error::{ErrorKind, Result};

/// The byte for a concentration above the scale, printed `>28`.
pub const ABOVE_SCALE: u8 = RangeNumber::ABOVE.get();

/// The byte for a value that is no concentration: NaN, or negative.
pub const NOT_COUNTED: u8 = u8::MAX;

/// Bits of a double below its sign and exponent.
const FRACTION_BITS: u32 = f64::MANTISSA_DIGITS - 1;

/// What values of one sign and exponent can be: `at_most` up to and including `bound`, `above` beyond it.
///
/// NaN is never beyond a bound.
#[derive(Clone, Copy)]
struct Entry {
    bound: f64,
    at_most: u8,
    above: u8,
}

impl Entry {
    /// Minus zero is zero; every other value with this sign is at most the negative value nearest to it.
    const NEGATIVE: Self = Self { bound: -f64::from_bits(1), at_most: NOT_COUNTED, above: 0 };
    /// NaN and infinity share their exponent.
    const NOT_FINITE: Self = Self { bound: f64::MAX, at_most: NOT_COUNTED, above: ABOVE_SCALE };

    /// The entry of the values whose top twelve bits are `top`.
    fn new(top: u64) -> Self {
        let first = f64::from_bits(top << FRACTION_BITS);
        if first.is_sign_negative() {
            return Self::NEGATIVE;
        }
        if !first.is_finite() {
            return Self::NOT_FINITE;
        }
        let number = iso4406::number_of(first);
        let bound = iso4406::upper_bound(number).unwrap_or(f64::INFINITY);
        Self { bound, at_most: number, above: number + 1 }
    }

    const fn number(self, per_ml: f64) -> u8 {
        if per_ml > self.bound { self.above } else { self.at_most }
    }
}

/// One entry for each sign and exponent.
struct Entries([Entry; 1 << (u64::BITS - FRACTION_BITS)]);

static ENTRIES: LazyLock<Entries> =
    LazyLock::new(|| Entries(std::array::from_fn(|top| Entry::new(top as u64))));

impl Entries {
    fn number(&self, per_ml: f64) -> u8 {
        #[allow(clippy::cast_possible_truncation)] // twelve bits
        let top = (per_ml.to_bits() >> FRACTION_BITS) as usize;
        self.0[top].number(per_ml)
    }
}

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
    write_numbers(per_ml, out)
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
    write_numbers(per_ml, out)
}

fn write_numbers<T: Copy + Into<f64>>(per_ml: &[T], out: &mut [u8]) -> Result<()> {
    if per_ml.len() != out.len() {
        return Err(ErrorKind::LengthsDiffer { input: per_ml.len(), output: out.len() }.into());
    }
    let entries = &*ENTRIES;
    for (number, &per_ml) in out.iter_mut().zip(per_ml) {
        *number = entries.number(per_ml.into());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_power_of_two_has_two_bounds_above_it() {
        let mut exponents: Vec<u64> = RangeNumber::all()
            .filter_map(RangeNumber::upper)
            .map(|b| b.get().to_bits() >> FRACTION_BITS)
            .collect();
        assert_eq!(exponents.len(), 29);
        exponents.dedup();
        assert_eq!(exponents.len(), 29);
    }

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
