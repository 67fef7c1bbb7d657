//! Turnovers of many scenarios at once.
//!
//! Each channel of a scenario is one bin of a stirred tank, for which the turnovers are a closed form:
//! `ln((start - floor) / (target - floor)) / E`, with `floor = ingress / E`. The slowest channel decides. That is the
//! quick estimate; a [`Forecast`](super::Forecast) works in bins and knows other tanks.
//!
//! ```
//! use siltcode::tank::bulk::{Columns, turnovers};
//!
//! let four = Columns { start: &[40_000.0, 40_000.0], target: &[2500.0; 2], beta: &[75.0; 2], ingress: &[0.0, 3000.0] };
//! let six = Columns { start: &[10_000.0; 2], target: &[640.0; 2], beta: &[75.0; 2], ingress: &[0.0; 2] };
//! let mut needed = [0.0; 2];
//! turnovers(&[four, six], &mut needed)?;
//! assert_eq!(format!("{:.3}", needed[0]), "2.810");
//! assert_eq!(needed[1], f64::INFINITY); // more comes in than the target allows
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::f64::consts::LN_2;

use fearless_simd::{Level, dispatch};

use crate::error::{ErrorKind, Result};

/// One channel of many scenarios, a value each; all columns are equally long.
#[derive(Debug, Clone, Copy)]
pub struct Columns<'a> {
    /// The start \[1/mL\].
    pub start: &'a [f64],
    /// The most there may be in the end \[1/mL\].
    pub target: &'a [f64],
    /// The filtration ratio \[-\].
    pub beta: &'a [f64],
    /// What comes in during one turnover \[1/mL\].
    pub ingress: &'a [f64],
}

/// Scenarios whose turnovers stay in the nearest cache while one channel after another is looked at.
const BLOCK: usize = 4096;

/// Writes the turnovers of the slowest channel of each scenario to its place in `out` \[-\]: 0 where every target is met
/// at the start, infinity where one cannot be reached, NaN where a value is none of a tank (a ratio below 1, a
/// negative concentration or one beyond 1e290, NaN).
///
/// The same digits on every machine, whatever its instructions.
///
/// # Errors
/// `lengths-differ` unless all columns are as long as `out`, which is then left as it was.
pub fn turnovers(channels: &[Columns<'_>], out: &mut [f64]) -> Result<()> {
    for channel in channels {
        for column in [channel.start, channel.target, channel.beta, channel.ingress] {
            if column.len() != out.len() {
                return Err(ErrorKind::LengthsDiffer { input: column.len(), output: out.len() }.into());
            }
        }
    }
    out.fill(0.0);
    let level = Level::new();
    for (block, out) in out.chunks_mut(BLOCK).enumerate() {
        let from = block * BLOCK;
        for channel in channels {
            let channel = channel.part(from, from + out.len());
            dispatch!(level, _simd => slower(channel, out));
        }
    }
    Ok(())
}

impl<'a> Columns<'a> {
    fn part(self, from: usize, to: usize) -> Self {
        let part = |column: &'a [f64]| &column[from..to];
        Self {
            start: part(self.start),
            target: part(self.target),
            beta: part(self.beta),
            ingress: part(self.ingress),
        }
    }
}

/// Raises the turnovers to those of this channel.
#[allow(clippy::inline_always)] // so that it takes on the instructions of its caller
#[inline(always)]
fn slower(channel: Columns<'_>, out: &mut [f64]) {
    let ends = channel.start.iter().zip(channel.target);
    let rates = channel.beta.iter().zip(channel.ingress);
    for ((out, (start, target)), (beta, ingress)) in out.iter_mut().zip(ends).zip(rates) {
        *out = slowest(*out, needed(*start, *target, *beta, *ingress));
    }
}

/// The larger of two numbers without a sign, and NaN where one of them is: their bits stand in the same order.
#[allow(clippy::inline_always)] // as `slower`
#[allow(clippy::cast_possible_wrap, clippy::cast_sign_loss)] // there is an instruction for signed ones
#[inline(always)]
fn slowest(a: f64, b: f64) -> f64 {
    f64::from_bits((a.to_bits() as i64).max(b.to_bits() as i64) as u64)
}

/// The lower of two; the second where one of them is no number.
#[allow(clippy::inline_always)] // as `slower`
#[inline(always)]
fn lower(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

/// A ratio so steep that the efficiency is 1 to the last digit, and far from overflow.
const STEEP: f64 = (1_u64 << 60) as f64;

/// The turnovers of one channel. Both ends are measured from the floor and times `beta - 1`, which spares a division.
#[allow(clippy::inline_always)] // as `slower`
#[inline(always)]
fn needed(start: f64, target: f64, beta: f64, ingress: f64) -> f64 {
    let beta = if beta >= STEEP { STEEP } else { beta };
    let removed = beta - 1.0;
    let floor = ingress * beta;
    let (above, allowed) = (start * removed - floor, target * removed - floor);
    let falling = ln_ratio(above, allowed) * (beta / removed);
    let reached = if allowed >= f64::MIN_POSITIVE { falling } else { f64::INFINITY };
    let needed = if start <= target { 0.0 } else { reached };
    // of the other two, what is no number has made `above` none
    let least = lower(start, lower(ingress, target));
    let sound = removed >= 0.0 && above < f64::INFINITY && least >= 0.0;
    if sound { needed } else { f64::NAN }
}

/// `ln(a / b)` of finite normal numbers `a >= b > 0`, to a few units in the last place, without a branch.
///
/// With `2^k` the power of two next to `a / b`, told from the bits of both, `m = 2^-k a` and `r = (m - b) / (m + b)`:
/// `ln(a / b) = k ln 2 + 2 (r + r^3 / 3 + r^5 / 5 + ...)`, with `|r| < 0.2007`.
#[allow(clippy::inline_always)] // as `slower`
#[inline(always)]
fn ln_ratio(a: f64, b: f64) -> f64 {
    const MANTISSA_BITS: u32 = f64::MANTISSA_DIGITS - 1;
    const HALF: u64 = 1 << (MANTISSA_BITS - 1);
    const WHOLE: f64 = (1_u64 << MANTISSA_BITS) as f64; // doubles from here on have no fraction
    let power = a.to_bits().wrapping_sub(b.to_bits()).wrapping_add(HALF) >> MANTISSA_BITS;
    let m = f64::from_bits(a.to_bits().wrapping_sub(power << MANTISSA_BITS));
    let power = f64::from_bits(power | WHOLE.to_bits()) - WHOLE;
    let r = (m - b) / (m + b);
    power * LN_2 + 2.0 * r * series(r * r)
}

/// `1 + s / 3 + s^2 / 5 + ...` for `0 <= s <= WIDEST`, in pairs, so that few sums wait for another.
#[allow(clippy::inline_always)] // as `slower`
#[inline(always)]
fn series(s: f64) -> f64 {
    let (second, fourth) = (s * s, s * s * (s * s));
    let pair = |i| SERIES[i] + SERIES[i + 1] * s;
    let four = |i| pair(i) + pair(i + 2) * second;
    four(0) + four(4) * fourth
}

/// The largest `r^2`.
const WIDEST: f64 = 0.0403;

const TERMS: usize = 8;

/// The coefficients of the series, cut down to eight terms by Chebyshev polynomials (Lanczos's economisation): each
/// higher power, from the fifteenth down, is stood in for by lower ones, which errs by 1.5e-17 in all.
const SERIES: [f64; TERMS] = {
    const ALL: usize = 16;
    // by powers of x = s / WIDEST
    let (mut terms, mut power, mut n) = ([0.0; ALL], 1.0, 0);
    while n < ALL {
        terms[n] = power / (2 * n + 1) as f64;
        power *= WIDEST;
        n += 1;
    }
    while n > TERMS {
        n -= 1;
        let chebyshev = shifted_chebyshev::<ALL>(n);
        let (share, mut i) = (terms[n] / chebyshev[n], 0);
        while i <= n {
            terms[i] -= share * chebyshev[i];
            i += 1;
        }
    }
    let (mut series, mut power) = ([0.0; TERMS], 1.0);
    n = 0;
    while n < TERMS {
        series[n] = terms[n] / power;
        power *= WIDEST;
        n += 1;
    }
    series
};

/// The coefficients of the Chebyshev polynomial of this degree on 0 to 1: `T(n + 1) = (4 x - 2) T(n) - T(n - 1)`.
const fn shifted_chebyshev<const N: usize>(degree: usize) -> [f64; N] {
    let (mut before, mut last) = ([0.0; N], [0.0; N]);
    (before[0], last[0], last[1]) = (1.0, -1.0, 2.0);
    let mut n = 1;
    while n < degree {
        let mut next = [0.0; N];
        let mut i = 0;
        while i <= n + 1 {
            let raised = if i > 0 { 4.0 * last[i - 1] } else { 0.0 };
            next[i] = raised - 2.0 * last[i] - before[i];
            i += 1;
        }
        (before, last) = (last, next);
        n += 1;
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_logarithm_is_that_of_the_standard_library() {
        for i in 0..200_000_u32 {
            let (a, b) = ((f64::from(i) * 3e-3).exp(), 1.0 + f64::from(i % 977) / 977.0);
            let (a, b) = (a.max(b), a.min(b));
            let expected = ((a - b) / b).ln_1p();
            let error = (ln_ratio(a, b) - expected).abs();
            assert!(error <= 4.0 * f64::EPSILON * expected.max(1e-3), "{a} {b}: {error}");
        }
        for x in [1.0, 1.0_f64.next_up(), 2.0, 2.0_f64.sqrt(), 1.5, 1.5_f64.next_down(), 1e300] {
            assert!((ln_ratio(x, 1.0) - x.ln()).abs() <= 4.0 * f64::EPSILON * x.ln(), "{x}");
        }
    }

    #[test]
    fn the_slowest_channel_decides_and_nan_is_kept() {
        let values = [0.0, f64::from_bits(1), 1.0, f64::INFINITY];
        for (i, a) in values.into_iter().enumerate() {
            for (k, b) in values.into_iter().enumerate() {
                assert_eq!(slowest(a, b).to_bits(), values[i.max(k)].to_bits());
            }
            assert!(slowest(a, f64::NAN).is_nan() && slowest(f64::NAN, a).is_nan());
        }
    }

    #[test]
    fn what_is_at_an_end_of_the_range_is_answered_or_nan() {
        let steep = needed(1000.0, 10.0, f64::INFINITY, 0.0);
        assert!((steep - 100_f64.ln()).abs() < 1e-14);
        assert_eq!(steep.to_bits(), needed(1000.0, 10.0, 1e300, 0.0).to_bits());
        assert_eq!(needed(1000.0, 0.0, 2.0, 0.0), f64::INFINITY);
        assert_eq!(needed(1000.0, f64::from_bits(1), 2.0, 0.0), f64::INFINITY);
        assert_eq!(needed(0.0, 0.0, 2.0, 5.0).to_bits(), 0.0_f64.to_bits());
        for wrong in [f64::NAN, -1.0, f64::NEG_INFINITY] {
            assert!(needed(wrong, 1.0, 2.0, 0.0).is_nan());
            assert!(needed(10.0, wrong, 2.0, 0.0).is_nan());
            assert!(needed(10.0, 1.0, wrong, 0.0).is_nan());
            assert!(needed(10.0, 1.0, 2.0, wrong).is_nan());
        }
        assert!(needed(f64::INFINITY, 1.0, 2.0, 0.0).is_nan());
    }
}
