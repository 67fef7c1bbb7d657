//! The way of AVX2 for doubles: the bound of each value is looked up in a register, eight values at a time.
//!
//! Each exponent from that of the first bound on holds one bound, and the fractions of all bounds are seven, so with one
//! that is never exceeded they fill a register of eight. The exponent of a value says which of them to compare with: the
//! upper and the lower half of each double go through registers of their own. The steps give the same with more work.

use fearless_simd::{Avx2, f64x4, i8x16, i32x8, kernel, prelude::*, u8x32};

use crate::class::iso4406::RangeNumber;

/// Values that are worked through together.
const BLOCK: usize = 32;

/// Bits of a double, and of its upper half, below sign and exponent.
const FRACTION_BITS: u32 = f64::MANTISSA_DIGITS - 1;
const UPPER_FRACTION_BITS: u32 = FRACTION_BITS - 32;

/// The fractions of the bounds, and which of them belongs to which number.
pub(super) struct Lookup {
    /// The exponent of the first bound, as it stands in a double.
    first: i32,
    /// The number above the scale.
    above: i32,
    /// Upper halves of the fractions.
    upper: [i32; 8],
    /// Lower halves, less 2^31: there are only signed comparisons.
    lower: [i32; 8],
    /// Places of the fractions for the numbers 0 to 15, and from 16 on.
    places: [[i8; 16]; 2],
}

impl Lookup {
    /// The lookup of the table; none if its bounds do not stand one to an exponent, or have more than seven fractions.
    #[allow(clippy::cast_possible_truncation, clippy::cast_possible_wrap)] // halves of bits; places below eight
    pub(super) fn new() -> Option<Self> {
        const FRACTION: u64 = (1 << FRACTION_BITS) - 1;
        let bounds = RangeNumber::all().filter_map(RangeNumber::upper).map(|bound| bound.get().to_bits());
        let bounds: Vec<u64> = bounds.collect();
        let adjoin = bounds.windows(2).all(|pair| pair[1] >> FRACTION_BITS == (pair[0] >> FRACTION_BITS) + 1);
        let mut fractions: Vec<u64> = bounds.iter().map(|bound| bound & FRACTION).collect();
        fractions.dedup();
        // Above the scale nothing is exceeded, and the register is filled up with that.
        let mut places = [[fractions.len() as i8; 16]; 2];
        fractions.resize(fractions.len().max(7) + 1, FRACTION);
        for (number, bound) in bounds.iter().enumerate() {
            let place = fractions.iter().position(|fraction| *fraction == bound & FRACTION)?;
            *places.get_mut(number / 16)?.get_mut(number % 16)? = place as i8;
        }
        let fractions: [u64; 8] = fractions.try_into().ok()?;
        adjoin.then_some(Self {
            first: (bounds.first()? >> FRACTION_BITS) as i32,
            above: bounds.len() as i32,
            upper: fractions.map(|fraction| (fraction >> 32) as i32),
            lower: fractions.map(|fraction| (fraction as u32 ^ (1 << 31)) as i32),
            places,
        })
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
        use core::arch::x86_64::{
            _mm256_packs_epi16, _mm256_packs_epi32, _mm256_permutevar8x32_epi32, _mm256_setr_epi32,
        };
        // Packing works within halves of a register; this puts the fours of numbers back in their order.
        let order = _mm256_setr_epi32(0, 4, 1, 5, 2, 6, 3, 7);
        for (numbers, per_ml) in out.iter_mut().zip(per_ml) {
            let [a, b, c, d] = [0, 8, 16, 24].map(|at| eight(avx2, lookup, &per_ml[at..at + 8]));
            let bytes = _mm256_packs_epi16(_mm256_packs_epi32(a, b), _mm256_packs_epi32(c, d));
            let bytes: u8x32<_> = _mm256_permutevar8x32_epi32(bytes, order).simd_into(avx2);
            bytes.store_slice(numbers);
        }
    }
);

kernel!(
    /// The numbers of eight values; all bits set for what is not counted.
    #[inline(always)]
    fn eight(avx2: Avx2, lookup: &Lookup, per_ml: &[f64]) -> core::arch::x86_64::__m256i {
        #[allow(clippy::wildcard_imports)] // two dozen instructions
        use core::arch::x86_64::*;
        let [low, high]: [__m256d; 2] = [0, 4].map(|at| f64x4::from_slice(avx2, &per_ml[at..at + 4]).into());
        let halves = [_mm256_permute2f128_pd::<0x20>(low, high), _mm256_permute2f128_pd::<0x31>(low, high)];
        let [a, b] = halves.map(|half| _mm256_castpd_ps(half));
        let lower = _mm256_castps_si256(_mm256_shuffle_ps::<0x88>(a, b));
        let upper = _mm256_castps_si256(_mm256_shuffle_ps::<0xDD>(a, b));
        let counted =
            halves.map(|half| _mm256_castpd_ps(_mm256_cmp_pd::<_CMP_GE_OQ>(half, _mm256_setzero_pd())));
        let counted = _mm256_castps_si256(_mm256_shuffle_ps::<0x88>(counted[0], counted[1]));

        let zero = _mm256_setzero_si256();
        let exponent = _mm256_srai_epi32::<{ UPPER_FRACTION_BITS.cast_signed() }>(upper);
        let steps = _mm256_sub_epi32(exponent, _mm256_set1_epi32(lookup.first));
        let number = _mm256_min_epi32(_mm256_max_epi32(steps, zero), _mm256_set1_epi32(lookup.above));
        let [near, far] = lookup.places.map(|places| {
            let places = _mm256_broadcastsi128_si256(i8x16::from_slice(avx2, &places).into());
            _mm256_castsi256_ps(_mm256_shuffle_epi8(places, number))
        });
        let is_far = _mm256_castsi256_ps(_mm256_slli_epi32::<27>(number)); // 16 becomes the sign
        let place = _mm256_castps_si256(_mm256_blendv_ps(near, far, is_far));
        let [bound_upper, bound_lower] = [lookup.upper, lookup.lower]
            .map(|half| _mm256_permutevar8x32_epi32(i32x8::from_slice(avx2, &half).into(), place));

        let fraction = _mm256_and_si256(upper, _mm256_set1_epi32((1 << UPPER_FRACTION_BITS) - 1));
        let signed = _mm256_xor_si256(lower, _mm256_set1_epi32(i32::MIN));
        let tie = _mm256_cmpeq_epi32(fraction, bound_upper);
        let above = _mm256_or_si256(
            _mm256_cmpgt_epi32(fraction, bound_upper),
            _mm256_and_si256(tie, _mm256_cmpgt_epi32(signed, bound_lower)),
        );
        let above = _mm256_andnot_si256(_mm256_cmpgt_epi32(zero, steps), above); // all below is number 0
        let not_counted = _mm256_andnot_si256(counted, _mm256_set1_epi32(-1));
        _mm256_or_si256(_mm256_sub_epi32(number, above), not_counted)
    }
);
