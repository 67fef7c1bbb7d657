//! The ways through an array, and which of them this machine has.

use std::fmt;
use std::sync::LazyLock;

use fearless_simd::{Level, dispatch};

#[cfg(target_arch = "x86_64")]
use super::lookup::Lookup;
use super::same_length;
use super::steps::{Lane, Steps};
use super::table::ENTRIES;
use super::target::{Columns, Scores, Target};
use crate::error::Result;

/// Rows that stay in the nearest cache between their numbers and their outcome, and so few of each column that the
/// machine goes on fetching ahead of all three.
const BLOCK: usize = 128;

/// A way through an array. All give the same bytes; they differ in speed only.
///
/// The functions of the [module](super) take the best one. Choosing another is for comparing them.
///
/// ```
/// use siltcode::bulk::Path;
///
/// let mut numbers = [0; 2];
/// for path in Path::all() {
///     path.range_numbers(&[2500.0, 2500.1], &mut numbers)?;
///     assert_eq!(numbers, [18, 19], "{path}");
/// }
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Clone, Copy)]
pub struct Path(Way);

#[derive(Clone, Copy)]
enum Way {
    /// The table of entries, one value after another.
    Portable,
    /// The steps, many values at once.
    Wide(&'static Wide),
}

struct Wide {
    level: Level,
    double: Steps<f64>,
    single: Steps<f32>,
    /// Where it beats the steps.
    #[cfg(target_arch = "x86_64")]
    lookup: Option<(fearless_simd::Avx2, Lookup)>,
}

/// The wide ways of this machine, best first.
static WIDE: LazyLock<Vec<Wide>> = LazyLock::new(|| {
    let (Some(double), Some(single)) = (Steps::new(), Steps::new()) else { return Vec::new() };
    let wide = |level: Level| Wide {
        level,
        double,
        single,
        #[cfg(target_arch = "x86_64")]
        lookup: level.as_avx2().filter(|_| level.as_avx512().is_none()).zip(Lookup::new()),
    };
    levels().into_iter().map(wide).collect()
});

/// Instruction sets that are wide enough to beat the table; 128 bits are not.
#[cfg(target_arch = "x86_64")]
fn levels() -> Vec<Level> {
    let level = Level::new();
    [level.as_avx512().map(Level::Avx512), level.as_avx2().map(Level::Avx2)].into_iter().flatten().collect()
}

#[cfg(not(target_arch = "x86_64"))]
fn levels() -> Vec<Level> {
    Vec::new()
}

impl Path {
    /// The portable way, on every machine, and the reference for the others.
    pub const PORTABLE: Self = Self(Way::Portable);

    /// The best way this machine has.
    #[must_use]
    pub fn best() -> Self {
        WIDE.first().map_or(Self::PORTABLE, |wide| Self(Way::Wide(wide)))
    }

    /// Every way this machine has, best first.
    pub fn all() -> impl Iterator<Item = Self> {
        WIDE.iter().map(|wide| Self(Way::Wide(wide))).chain([Self::PORTABLE])
    }

    /// [`range_numbers`](super::range_numbers), this way.
    ///
    /// # Errors
    /// As there.
    pub fn range_numbers(self, per_ml: &[f64], out: &mut [u8]) -> Result<()> {
        same_length(per_ml.len(), out.len())?;
        self.write(per_ml, out);
        Ok(())
    }

    /// [`range_numbers_f32`](super::range_numbers_f32), this way.
    ///
    /// # Errors
    /// As there.
    pub fn range_numbers_f32(self, per_ml: &[f32], out: &mut [u8]) -> Result<()> {
        same_length(per_ml.len(), out.len())?;
        match self.0 {
            Way::Portable => ENTRIES.write(per_ml, out),
            Way::Wide(wide) => wide.write(&wide.single, per_ml, out),
        }
        Ok(())
    }

    /// [`score`](super::score), this way.
    ///
    /// # Errors
    /// As there.
    pub fn score(self, per_ml: Columns<'_>, target: &Target, mut out: Scores<'_>) -> Result<()> {
        out.ensure_length(per_ml)?;
        let rows = out.outcomes.len();
        for start in (0..rows).step_by(BLOCK) {
            let end = rows.min(start + BLOCK);
            let block = per_ml.map(|column| &column[start..end]);
            for (column, numbers) in block.into_iter().zip(&mut out.numbers) {
                self.write(column, &mut numbers[start..end]);
            }
            let numbers = out.numbers.each_ref().map(|numbers| &numbers[start..end]);
            let outcomes = &mut out.outcomes[start..end];
            match self.0 {
                Way::Portable => target.write(block, numbers, outcomes),
                Way::Wide(wide) => dispatch!(wide.level, _simd => target.write(block, numbers, outcomes)),
            }
        }
        Ok(())
    }

    fn write(self, per_ml: &[f64], out: &mut [u8]) {
        match self.0 {
            Way::Portable => ENTRIES.write(per_ml, out),
            Way::Wide(wide) => {
                let done = wide.looked_up(per_ml, out);
                wide.write(&wide.double, &per_ml[done..], &mut out[done..]);
            }
        }
    }
}

impl Wide {
    /// Writes the numbers of as many values as can be looked up, from the first on, and gives back how many.
    #[cfg(target_arch = "x86_64")]
    fn looked_up(&self, per_ml: &[f64], out: &mut [u8]) -> usize {
        self.lookup.as_ref().map_or(0, |(avx2, lookup)| lookup.write(*avx2, per_ml, out))
    }

    #[cfg(not(target_arch = "x86_64"))]
    fn looked_up(&self, _: &[f64], _: &mut [u8]) -> usize {
        0
    }

    fn write<T: Lane>(&self, steps: &Steps<T>, per_ml: &[T], out: &mut [u8]) {
        dispatch!(self.level, _simd => steps.write(per_ml, out));
    }
}

impl fmt::Display for Path {
    /// `portable`, or the instruction set: `Avx2`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Way::Portable => f.pad("portable"),
            Way::Wide(wide) => {
                let level = format!("{:?}", wide.level);
                f.pad(level.split('(').next().unwrap_or_default())
            }
        }
    }
}

impl fmt::Debug for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Path({self})")
    }
}
