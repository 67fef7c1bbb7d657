//! The portable way, and the reference for every other: one entry for each sign and exponent.

use std::sync::LazyLock;

use super::{ABOVE_SCALE, NOT_COUNTED};
use crate::class::iso4406;

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
pub(super) struct Entries([Entry; 1 << (u64::BITS - FRACTION_BITS)]);

pub(super) static ENTRIES: LazyLock<Entries> =
    LazyLock::new(|| Entries(std::array::from_fn(|top| Entry::new(top as u64))));

impl Entries {
    pub(super) fn number(&self, per_ml: f64) -> u8 {
        #[allow(clippy::cast_possible_truncation)] // twelve bits
        let top = (per_ml.to_bits() >> FRACTION_BITS) as usize;
        self.0[top].number(per_ml)
    }

    /// The number of each value, over the shorter of the two.
    pub(super) fn write<T: Copy + Into<f64>>(&self, per_ml: &[T], out: &mut [u8]) {
        for (number, &per_ml) in out.iter_mut().zip(per_ml) {
            *number = self.number(per_ml.into());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::class::iso4406::RangeNumber;

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
}
