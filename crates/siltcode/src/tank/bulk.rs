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

use std::f64::consts::{FRAC_1_SQRT_2, LN_2};

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
/// at the start, infinity where one cannot be reached, NaN where a value is none of a tank (a ratio of 1 or less, a
/// negative concentration, NaN).
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
        let needed = needed(*start, *target, *beta, *ingress);
        *out = if out.is_nan() || *out >= needed { *out } else { needed };
    }
}

#[allow(clippy::inline_always)] // as `slower`
#[inline(always)]
fn needed(start: f64, target: f64, beta: f64, ingress: f64) -> f64 {
    let per_efficiency = if beta == f64::INFINITY { 1.0 } else { beta / (beta - 1.0) };
    let floor = ingress * per_efficiency;
    let falling = ln((start - floor) / (target - floor)) * per_efficiency;
    let reached = if floor < target { falling } else { f64::INFINITY };
    let needed = if start <= target { 0.0 } else { reached };
    let sound = beta > 1.0 && start >= 0.0 && target >= 0.0 && ingress >= 0.0;
    if sound { needed } else { f64::NAN }
}

/// Terms of the series: the next is below half of the last digit.
const TERMS: usize = 10;

/// The natural logarithm of a finite number of 1 or more, to a few units in the last place, without a branch.
///
/// With `x = 2^k m`, `m` within a factor `sqrt(2)` of 1, and `r = (m - 1) / (m + 1)`:
/// `ln x = k ln 2 + 2 (r + r^3 / 3 + r^5 / 5 + ...)`.
#[allow(clippy::inline_always)] // as `slower`
#[inline(always)]
fn ln(x: f64) -> f64 {
    const MANTISSA_BITS: u32 = f64::MANTISSA_DIGITS - 1;
    const WHOLE: f64 = (1_u64 << MANTISSA_BITS) as f64; // doubles from here on have no fraction
    let power = x.to_bits().wrapping_sub(FRAC_1_SQRT_2.to_bits()) >> MANTISSA_BITS;
    let m = f64::from_bits(x.to_bits().wrapping_sub(power << MANTISSA_BITS));
    let power = f64::from_bits(power | WHOLE.to_bits()) - WHOLE;
    let r = (m - 1.0) / (m + 1.0);
    let square = r * r;
    let fourth = square * square;
    // every other term, so that the two sums need not wait for each other
    let (mut even, mut odd) = (0.0, 0.0);
    for pair in (0..TERMS / 2).rev() {
        even = even * fourth + 1.0 / (4 * pair + 1) as f64;
        odd = odd * fourth + 1.0 / (4 * pair + 3) as f64;
    }
    power * LN_2 + 2.0 * r * (even + square * odd)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_logarithm_is_that_of_the_standard_library() {
        for i in 0..200_000_u32 {
            let x = (f64::from(i) * 3e-3).exp();
            let error = (ln(x) - x.ln()).abs() / x.ln().max(1e-3);
            assert!(error < 1e-15, "{x}: {error}");
        }
        for x in [1.0, 1.0_f64.next_up(), 2.0, 2.0_f64.sqrt(), 1e300] {
            assert!((ln(x) - x.ln()).abs() <= 4.0 * f64::EPSILON * x.ln(), "{x}");
        }
    }
}
