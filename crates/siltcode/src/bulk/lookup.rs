//! The way of AVX2: 32 values at a time, their bounds looked up in registers.
//!
//! From the first bound on, each power of two holds one bound, so the exponent of a value leaves two numbers to choose
//! from and the sixteen highest bits of its fraction mostly decide. All of that fits into 32 bits for a value of either
//! precision, and later into sixteen. The few values whose sixteen bits are those of the bound, and what is infinite or
//! minus zero, are left to the table.

use core::arch::x86_64::{__m128i, __m256i};

use fearless_simd::{Avx2, f32x8, f64x4, i8x16, kernel, prelude::*, u8x16};

use super::table::ENTRIES;
use crate::class::iso4406::RangeNumber;

/// Values that are worked through together.
const BLOCK: usize = 32;

const FRACTION_BITS: u32 = f64::MANTISSA_DIGITS - 1;

/// Bits of a double below the highest sixteen of its fraction.
const REST_BITS: u32 = FRACTION_BITS - 16;

/// A float whose numbers can be looked up.
pub(super) trait Lane: Copy + Into<f64> {
    /// One more than the greatest exponent of what is finite.
    const MAX_EXP: i32;

    fn write_blocks(avx2: Avx2, lookup: &Lookup, per_ml: &[[Self; BLOCK]], out: &mut [[u8; BLOCK]]);
}

impl Lane for f64 {
    const MAX_EXP: i32 = Self::MAX_EXP;

    fn write_blocks(avx2: Avx2, lookup: &Lookup, per_ml: &[[Self; BLOCK]], out: &mut [[u8; BLOCK]]) {
        write_doubles(avx2, lookup, per_ml, out);
    }
}

impl Lane for f32 {
    const MAX_EXP: i32 = Self::MAX_EXP;

    fn write_blocks(avx2: Avx2, lookup: &Lookup, per_ml: &[[Self; BLOCK]], out: &mut [[u8; BLOCK]]) {
        write_singles(avx2, lookup, per_ml, out);
    }
}

/// The bounds of the table by the places of exponents: 0 for all below that of the first bound, then one for each bound,
/// and one for all above the last.
pub(super) struct Lookup {
    /// The exponent whose place is 0, as its bits.
    below: i16,
    /// The bits of the exponent of what is not finite.
    not_finite: i16,
    /// The place of all above the last bound.
    last: u8,
    /// The upper and lower bytes of sixteen bits of each bound, in two registers each.
    upper: [[i8; 16]; 2],
    lower: [[i8; 16]; 2],
}

impl Lookup {
    /// The lookup of the table for one kind of float; none if its bounds do not stand one to an exponent, or do not fit
    /// into two registers.
    #[allow(clippy::cast_possible_truncation)] // parts of bits
    pub(super) fn new<T: Lane>() -> Option<Self> {
        let bounds = RangeNumber::all().filter_map(RangeNumber::upper).map(|bound| bound.get().to_bits());
        let bounds: Vec<u64> = bounds.collect();
        let exponent = |bound: u64| (bound >> FRACTION_BITS) as i32 - f64::MAX_EXP + T::MAX_EXP;
        let adjoin = bounds.windows(2).all(|pair| exponent(pair[1]) == exponent(pair[0]) + 1);
        // Below the first bound nothing is beyond; above the last everything is, but for what the table is asked.
        let mut sixteen = vec![u16::MAX];
        sixteen.extend(bounds.iter().map(|bound| (bound >> REST_BITS) as u16));
        sixteen.push(0);
        let last = sixteen.len() - 1;
        sixteen.resize(32, 0);
        let bytes = |byte: usize| -> Option<[[i8; 16]; 2]> {
            let bytes: Vec<i8> = sixteen.iter().map(|bits| bits.to_le_bytes()[byte].cast_signed()).collect();
            Some([bytes.get(..16)?.try_into().ok()?, bytes.get(16..)?.try_into().ok()?])
        };
        let fits = adjoin && last < 32;
        fits.then_some(Self {
            below: (exponent(*bounds.first()?) - 1) as i16,
            not_finite: (2 * T::MAX_EXP - 1) as i16,
            last: last as u8,
            upper: bytes(1)?,
            lower: bytes(0)?,
        })
    }

    /// The number of each value, to as many places.
    pub(super) fn write<T: Lane>(&self, avx2: Avx2, per_ml: &[T], out: &mut [u8]) {
        let (per_ml, values_left) = per_ml.as_chunks::<BLOCK>();
        let (out, numbers_left) = out.as_chunks_mut::<BLOCK>();
        T::write_blocks(avx2, self, per_ml, out);
        ENTRIES.write(values_left, numbers_left);
    }
}

kernel!(
    fn write_doubles(avx2: Avx2, lookup: &Lookup, per_ml: &[[f64; BLOCK]], out: &mut [[u8; BLOCK]]) {
        for (out, per_ml) in out.iter_mut().zip(per_ml) {
            let fours: [f64x4<_>; 8] =
                core::array::from_fn(|i| f64x4::from_slice(avx2, &per_ml[4 * i..4 * i + 4]));
            let eights = core::array::from_fn(|i| eight_doubles(avx2, fours[2 * i], fours[2 * i + 1]));
            let [numbers, ties] = block(avx2, lookup, eights);
            store(avx2, doubles_in_order(avx2, numbers), out);
            if any(avx2, ties) {
                ask_the_table(bits(avx2, doubles_in_order(avx2, ties)), per_ml, out);
            }
        }
    }
);

kernel!(
    fn write_singles(avx2: Avx2, lookup: &Lookup, per_ml: &[[f32; BLOCK]], out: &mut [[u8; BLOCK]]) {
        for (out, per_ml) in out.iter_mut().zip(per_ml) {
            let eights = core::array::from_fn(|i| {
                eight_singles(avx2, f32x8::from_slice(avx2, &per_ml[8 * i..8 * i + 8]))
            });
            let [numbers, ties] = block(avx2, lookup, eights);
            store(avx2, singles_in_order(avx2, numbers), out);
            if any(avx2, ties) {
                ask_the_table(bits(avx2, singles_in_order(avx2, ties)), per_ml, out);
            }
        }
    }
);

kernel!(
    /// The numbers of four eights of values, and all ones for each value that the table has to be asked for. Each half of
    /// the bytes has those of that half of the eights `a` and `b` in turn, then of `c` and `d`.
    #[inline(always)]
    fn block(avx2: Avx2, lookup: &Lookup, eights: [__m256i; 4]) -> [__m256i; 2] {
        #[allow(clippy::wildcard_imports)] // two dozen instructions
        use core::arch::x86_64::*;
        let [a, b, c, d] = eights;
        let [near, far] = [[a, b], [c, d]].map(|[a, b]| {
            // side by side, the exponents of two eights, and the fractions
            let exponent = _mm256_blend_epi16::<0xAA>(_mm256_srli_epi32::<16>(a), b);
            let fraction = _mm256_blend_epi16::<0xAA>(a, _mm256_slli_epi32::<16>(b));
            (exponent, fraction)
        });
        let from_first = |exponent| _mm256_sub_epi16(exponent, _mm256_set1_epi16(lookup.below));
        let place = _mm256_packus_epi16(from_first(near.0), from_first(far.0)); // all below become 0
        let place = _mm256_min_epu8(place, _mm256_set1_epi8(lookup.last.cast_signed()));

        let is_far = _mm256_slli_epi16::<3>(place); // 16 becomes the sign
        let [upper, lower] = [lookup.upper, lookup.lower].map(|table| {
            let [near, far] = table.map(|half| {
                let half = _mm256_broadcastsi128_si256(i8x16::from_slice(avx2, &half).into());
                _mm256_shuffle_epi8(half, place)
            });
            _mm256_blendv_epi8(near, far, is_far)
        });
        let bounds = [_mm256_unpacklo_epi8(lower, upper), _mm256_unpackhi_epi8(lower, upper)];
        let fractions = [near.1, far.1];
        let [near_tie, far_tie] = [0, 1].map(|i| _mm256_cmpeq_epi16(fractions[i], bounds[i]));
        let [near_above, far_above] =
            [0, 1].map(|i| _mm256_cmpeq_epi16(_mm256_max_epu16(fractions[i], bounds[i]), fractions[i]));
        let above = _mm256_packs_epi16(near_above, far_above);

        let no_count = |exponent| _mm256_cmpgt_epi16(exponent, _mm256_set1_epi16(lookup.not_finite - 1));
        let not_counted = _mm256_packs_epi16(no_count(near.0), no_count(far.0));
        // the place of a number is one more than it, but for that of all below
        let number = _mm256_subs_epu8(_mm256_sub_epi8(place, above), _mm256_set1_epi8(1));
        let number = _mm256_min_epu8(number, _mm256_set1_epi8(lookup.last.cast_signed() - 1));
        [_mm256_or_si256(number, not_counted), _mm256_packs_epi16(near_tie, far_tie)]
    }
);

kernel!(
    /// Sign, exponent and sixteen bits of the fraction of eight values, from bit 27 down; of the first two, the fifth and
    /// the sixth value in one half of the register, of the others in the other.
    #[inline(always)]
    fn eight_doubles(avx2: Avx2, low: f64x4<Avx2>, high: f64x4<Avx2>) -> __m256i {
        use core::arch::x86_64::{
            __m256d, _mm256_castpd_ps, _mm256_castps_si256, _mm256_shuffle_ps, _mm256_srli_epi32,
        };
        let [low, high] = [low, high].map(|four| _mm256_castpd_ps(__m256d::from(four)));
        let upper = _mm256_castps_si256(_mm256_shuffle_ps::<0xDD>(low, high));
        _mm256_srli_epi32::<{ 32 - 28 }>(upper)
    }
);

kernel!(
    /// Sign, exponent and sixteen bits of the fraction of eight values, from bit 24 down, in their order.
    #[inline(always)]
    fn eight_singles(avx2: Avx2, values: f32x8<Avx2>) -> __m256i {
        use core::arch::x86_64::{__m256, _mm256_castps_si256, _mm256_srli_epi32};
        _mm256_srli_epi32::<{ 32 - 25 }>(_mm256_castps_si256(__m256::from(values)))
    }
);

kernel!(
    /// The bytes of a [`block`] in the order of its doubles: two of every four are in each half.
    #[inline(always)]
    fn doubles_in_order(avx2: Avx2, bytes: __m256i) -> [__m128i; 2] {
        use core::arch::x86_64::{_mm_unpackhi_epi16, _mm_unpacklo_epi16};
        let [first, second] = eights_apart(avx2, bytes);
        [_mm_unpacklo_epi16(first, second), _mm_unpackhi_epi16(first, second)]
    }
);

kernel!(
    /// The bytes of a [`block`] in the order of its singles: four of every eight are in each half.
    #[inline(always)]
    fn singles_in_order(avx2: Avx2, bytes: __m256i) -> [__m128i; 2] {
        use core::arch::x86_64::{_mm_unpackhi_epi32, _mm_unpacklo_epi32};
        let [first, second] = eights_apart(avx2, bytes);
        [_mm_unpacklo_epi32(first, second), _mm_unpackhi_epi32(first, second)]
    }
);

kernel!(
    /// The halves of the bytes of a [`block`], the four of one eight after those of the other.
    #[inline(always)]
    fn eights_apart(avx2: Avx2, bytes: __m256i) -> [__m128i; 2] {
        use core::arch::x86_64::{
            _mm256_broadcastsi128_si256, _mm256_castsi256_si128, _mm256_extracti128_si256,
            _mm256_shuffle_epi8,
        };
        const APART: [i8; 16] = [0, 2, 4, 6, 1, 3, 5, 7, 8, 10, 12, 14, 9, 11, 13, 15];
        let apart = _mm256_broadcastsi128_si256(i8x16::from_slice(avx2, &APART).into());
        let bytes = _mm256_shuffle_epi8(bytes, apart);
        [_mm256_castsi256_si128(bytes), _mm256_extracti128_si256::<1>(bytes)]
    }
);

kernel!(
    #[inline(always)]
    fn any(avx2: Avx2, ties: __m256i) -> bool {
        core::arch::x86_64::_mm256_testz_si256(ties, ties) == 0
    }
);

kernel!(
    #[inline(always)]
    fn store(avx2: Avx2, halves: [__m128i; 2], out: &mut [u8; BLOCK]) {
        for (half, out) in halves.into_iter().zip(out.as_chunks_mut::<16>().0) {
            let half: u8x16<_> = half.simd_into(avx2);
            half.store_slice(out);
        }
    }
);

kernel!(
    /// A bit for each value that has a tie.
    #[inline(always)]
    fn bits(avx2: Avx2, ties: [__m128i; 2]) -> u32 {
        let [low, high] = ties.map(|half| core::arch::x86_64::_mm_movemask_epi8(half).cast_unsigned());
        low | high << 16
    }
);

/// Writes the table's own number of each value whose bit is set.
fn ask_the_table<T: Lane>(mut bits: u32, per_ml: &[T; BLOCK], out: &mut [u8; BLOCK]) {
    while bits != 0 {
        let at = bits.trailing_zeros() as usize;
        out[at] = ENTRIES.number(per_ml[at].into());
        bits &= bits - 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_can_be_looked_up() {
        assert!(Lookup::new::<f64>().is_some());
        assert!(Lookup::new::<f32>().is_some());
    }
}
