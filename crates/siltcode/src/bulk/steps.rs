//! The wide way: plain arithmetic on bits, without a lookup or a branch, which the compiler turns into vector code.
//!
//! Each exponent from that of the first bound on holds one bound. Adding to the bits of a value what the fraction of that
//! bound lacks to the next exponent carries into the exponent exactly where the value lies above the bound; the exponent
//! is then the range number. Neighbouring bounds often double exactly, so their fractions agree, and the seven fractions
//! that the table has are chosen from by six comparisons.

use crate::class::iso4406::RangeNumber;

/// Changes of fraction from bound to bound that there is room for.
const CHANGES: usize = 6;

/// A float as its bits. The bits of either width fit a `u64`; only the arithmetic of the loop is done in its own.
pub(super) trait Lane: Copy + PartialOrd + Default {
    type Bits: Copy + Default;
    const FRACTION_BITS: u32;
    const INFINITY: Self;

    /// The greatest float that is at most `bound`.
    fn at_most(bound: f64) -> Self;
    fn next_up(self) -> Self;
    fn bits(self) -> u64;
    fn of_bits(bits: u64) -> Self;
    /// The low bits.
    fn narrow(bits: u64) -> Self::Bits;
    fn sum(a: Self::Bits, b: Self::Bits) -> Self::Bits;
    /// The exponent of the float whose bits are this one's and `more`, as a byte.
    fn exponent_with(self, more: Self::Bits) -> u8;
}

macro_rules! lane {
    ($float:ident, $bits:ident) => {
        #[allow(clippy::inline_always, clippy::cast_possible_truncation, clippy::cast_lossless)]
        impl Lane for $float {
            type Bits = $bits;
            const FRACTION_BITS: u32 = $float::MANTISSA_DIGITS - 1;
            const INFINITY: Self = $float::INFINITY;

            fn at_most(bound: f64) -> Self {
                let nearest = bound as $float;
                if f64::from(nearest) > bound { nearest.next_down() } else { nearest }
            }
            fn next_up(self) -> Self {
                self.next_up()
            }
            fn bits(self) -> u64 {
                self.to_bits() as u64
            }
            fn of_bits(bits: u64) -> Self {
                $float::from_bits(bits as $bits)
            }
            fn narrow(bits: u64) -> $bits {
                bits as $bits
            }
            #[inline(always)]
            fn sum(a: $bits, b: $bits) -> $bits {
                a.wrapping_add(b)
            }
            #[inline(always)]
            fn exponent_with(self, more: $bits) -> u8 {
                (self.to_bits().wrapping_add(more) >> Self::FRACTION_BITS) as u8
            }
        }
    };
}
lane!(f64, u64);
lane!(f32, u32);

/// What to add to the bits of a value, by where it lies.
#[derive(Clone, Copy)]
pub(super) struct Steps<T: Lane> {
    /// A value of the first number, to stand for all that are smaller.
    low: T,
    /// The smallest value above the scale, to stand for all that are greater.
    high: T,
    /// What to add below the first change.
    first: T::Bits,
    /// From where on a change holds, rising.
    from: [T; CHANGES],
    change: [T::Bits; CHANGES],
}

impl<T: Lane> Steps<T> {
    /// The steps of the table; none if its bounds do not stand one to an exponent, or change more often than there is
    /// room for.
    pub(super) fn new() -> Option<Self> {
        let bounds: Vec<T> = RangeNumber::all().filter_map(|n| Some(T::at_most(n.upper()?.get()))).collect();
        let exponent = |bound: T| bound.bits() >> T::FRACTION_BITS;
        let (low, last) = (*bounds.first()?, *bounds.last()?);
        let adjoin = bounds.windows(2).all(|pair| exponent(pair[1]) == exponent(pair[0]) + 1);
        let lacks = |bound: T| ((exponent(bound) + 1) << T::FRACTION_BITS) - 1 - bound.bits();
        let mut changes = bounds.windows(2).filter(|pair| lacks(pair[0]) != lacks(pair[1]));
        let (mut from, mut change) = ([T::INFINITY; CHANGES], [T::Bits::default(); CHANGES]);
        for (i, pair) in changes.by_ref().take(CHANGES).enumerate() {
            from[i] = T::of_bits(exponent(pair[1]) << T::FRACTION_BITS);
            change[i] = T::narrow(lacks(pair[1]).wrapping_sub(lacks(pair[0])));
        }
        let first = T::narrow(lacks(low).wrapping_sub(exponent(low) << T::FRACTION_BITS));
        let fits = adjoin && changes.next().is_none();
        fits.then(|| Self { low, high: last.next_up(), first, from, change })
    }

    #[allow(clippy::inline_always)] // so that it takes on the instructions of its caller
    #[inline(always)]
    fn number(&self, per_ml: T) -> u8 {
        let raised = if per_ml > self.low { per_ml } else { self.low };
        let clamped = if raised < self.high { raised } else { self.high };
        let mut more = self.first;
        for (&from, &change) in self.from.iter().zip(&self.change) {
            more = T::sum(more, if clamped >= from { change } else { T::Bits::default() });
        }
        let not_counted = if per_ml >= T::default() { 0 } else { super::NOT_COUNTED };
        clamped.exponent_with(more) | not_counted
    }

    /// The number of each value, over the shorter of the two.
    #[allow(clippy::inline_always)] // as `number`
    #[inline(always)]
    pub(super) fn write(self, per_ml: &[T], out: &mut [u8]) {
        for (number, &per_ml) in out.iter_mut().zip(per_ml) {
            *number = self.number(per_ml);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_has_steps() {
        assert!(Steps::<f64>::new().is_some());
        assert!(Steps::<f32>::new().is_some());
    }
}
