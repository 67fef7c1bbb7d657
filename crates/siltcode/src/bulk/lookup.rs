//! The way of AVX2 for doubles: 32 values at a time, their bounds looked up in registers.
//!
//! From the first bound on, each power of two holds one bound, so the exponent of a value leaves two numbers to choose
//! from and the sixteen highest bits of its fraction mostly decide. All of that fits into half a register for each value,
//! where the steps take a whole one. The few values whose sixteen bits are those of the bound, and what is infinite or
//! minus zero, are left to the table.

use core::arch::x86_64::__m256i;

use fearless_simd::{Avx2, f64x4, i8x16, kernel, prelude::*, u8x16};

use super::table::ENTRIES;
use crate::class::iso4406::RangeNumber;

/// Values that are worked through together.
const BLOCK: usize = 32;

const FRACTION_BITS: u32 = f64::MANTISSA_DIGITS - 1;

/// Bits of a double below the highest sixteen of its fraction.
const REST_BITS: u32 = FRACTION_BITS - 16;

/// The exponent of what is not finite.
const NOT_FINITE: i16 = 0x7FF;

/// The bounds of the table by the places of exponents: 0 for all below that of the first bound, then one for each bound,
/// and one for all above the last.
pub(super) struct Lookup {
    /// The exponent whose place is 0.
    below: i16,
    /// The place of all above the last bound.
    last: u8,
    /// The upper and lower bytes of sixteen bits of each bound, in two registers each.
    upper: [[i8; 16]; 2],
    lower: [[i8; 16]; 2],
}

impl Lookup {
    /// The lookup of the table; none if its bounds do not stand one to an exponent, or do not fit into two registers.
    #[allow(clippy::cast_possible_truncation, clippy::cast_possible_wrap)] // parts of bits
    pub(super) fn new() -> Option<Self> {
        let bounds = RangeNumber::all().filter_map(RangeNumber::upper).map(|bound| bound.get().to_bits());
        let bounds: Vec<u64> = bounds.collect();
        let adjoin = bounds.windows(2).all(|pair| pair[1] >> FRACTION_BITS == (pair[0] >> FRACTION_BITS) + 1);
        let first = bounds.first()? >> FRACTION_BITS;
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
        fits.then_some(Self { below: first as i16 - 1, last: last as u8, upper: bytes(1)?, lower: bytes(0)? })
    }

    /// The numbers of whole blocks; gives back how many values that were.
    pub(super) fn write(&self, avx2: Avx2, per_ml: &[f64], out: &mut [u8]) -> usize {
        let (per_ml, out) = (per_ml.as_chunks::<BLOCK>().0, out.as_chunks_mut::<BLOCK>().0);
        write_blocks(avx2, self, per_ml, out);
        per_ml.len() * BLOCK
    }
}

kernel!(
    fn write_blocks(avx2: Avx2, lookup: &Lookup, per_ml: &[[f64; BLOCK]], out: &mut [[u8; BLOCK]]) {
        for (numbers, per_ml) in out.iter_mut().zip(per_ml) {
            let mut open = block(avx2, lookup, per_ml, numbers);
            while open != 0 {
                let at = open.trailing_zeros() as usize;
                numbers[at] = ENTRIES.number(per_ml[at]);
                open &= open - 1;
            }
        }
    }
);

kernel!(
    /// Writes the numbers of a block, and gives back a bit for each value that the table has to be asked for.
    #[inline(always)]
    fn block(avx2: Avx2, lookup: &Lookup, per_ml: &[f64; BLOCK], out: &mut [u8; BLOCK]) -> u32 {
        #[allow(clippy::wildcard_imports)] // two dozen instructions
        use core::arch::x86_64::*;
        let fours: [f64x4<_>; 8] =
            core::array::from_fn(|i| f64x4::from_slice(avx2, &per_ml[4 * i..4 * i + 4]));
        let [a, b, c, d] = core::array::from_fn(|i| eight(avx2, fours[2 * i], fours[2 * i + 1]));
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

        let no_count = |exponent| _mm256_cmpgt_epi16(exponent, _mm256_set1_epi16(NOT_FINITE - 1));
        let not_counted = _mm256_packs_epi16(no_count(near.0), no_count(far.0));
        // the place of a number is one more than it, but for that of all below
        let number = _mm256_subs_epu8(_mm256_sub_epi8(place, above), _mm256_set1_epi8(1));
        let number = _mm256_min_epu8(number, _mm256_set1_epi8(lookup.last.cast_signed() - 1));
        for (half, out) in
            in_order(avx2, _mm256_or_si256(number, not_counted)).into_iter().zip(out.as_chunks_mut::<16>().0)
        {
            let half: u8x16<_> = half.simd_into(avx2);
            half.store_slice(out);
        }
        let tie = _mm256_packs_epi16(near_tie, far_tie);
        if _mm256_testz_si256(tie, tie) == 1 {
            return 0;
        }
        let [low, high] = in_order(avx2, tie).map(|half| _mm_movemask_epi8(half).cast_unsigned());
        low | high << 16
    }
);

kernel!(
    /// Sign, exponent and sixteen bits of the fraction of eight values, from bit 27 down; of the first two, the fifth and
    /// the sixth value in one half of the register, of the others in the other.
    #[inline(always)]
    fn eight(avx2: Avx2, low: f64x4<Avx2>, high: f64x4<Avx2>) -> __m256i {
        use core::arch::x86_64::{
            __m256d, _mm256_castpd_ps, _mm256_castps_si256, _mm256_shuffle_ps, _mm256_srli_epi32,
        };
        let [low, high] = [low, high].map(|four| _mm256_castpd_ps(__m256d::from(four)));
        let upper = _mm256_castps_si256(_mm256_shuffle_ps::<0xDD>(low, high));
        _mm256_srli_epi32::<{ 32 - 28 }>(upper)
    }
);

kernel!(
    /// Bytes of 32 values in the order of the values. Each half of the register has two of every four: of the eights
    /// `a` and `b` in turn, then of `c` and `d`.
    #[inline(always)]
    fn in_order(avx2: Avx2, bytes: __m256i) -> [core::arch::x86_64::__m128i; 2] {
        use core::arch::x86_64::{
            _mm_unpackhi_epi16, _mm_unpacklo_epi16, _mm256_broadcastsi128_si256, _mm256_castsi256_si128,
            _mm256_extracti128_si256, _mm256_shuffle_epi8,
        };
        const PAIRS: [i8; 16] = [0, 2, 4, 6, 1, 3, 5, 7, 8, 10, 12, 14, 9, 11, 13, 15];
        let pairs = _mm256_broadcastsi128_si256(i8x16::from_slice(avx2, &PAIRS).into());
        let bytes = _mm256_shuffle_epi8(bytes, pairs);
        let (first, second) = (_mm256_castsi256_si128(bytes), _mm256_extracti128_si256::<1>(bytes));
        [_mm_unpacklo_epi16(first, second), _mm_unpackhi_epi16(first, second)]
    }
);
