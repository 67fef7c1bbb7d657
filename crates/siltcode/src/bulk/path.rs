//! The ways through an array, and which of them this machine has.

use std::fmt;
#[cfg(target_arch = "x86_64")]
use std::sync::LazyLock;

#[cfg(target_arch = "x86_64")]
use fearless_simd::{Avx2, Level, dispatch};

#[cfg(target_arch = "x86_64")]
use super::lookup::Lookup;
use super::same_length;
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
    /// The bounds in registers, many values at once.
    #[cfg(target_arch = "x86_64")]
    Avx2(&'static Wide),
}

/// What AVX2 looks numbers up in.
#[cfg(target_arch = "x86_64")]
struct Wide {
    avx2: Avx2,
    double: Lookup,
    single: Lookup,
}

#[cfg(target_arch = "x86_64")]
static WIDE: LazyLock<Option<Wide>> = LazyLock::new(|| {
    Some(Wide { avx2: Level::new().as_avx2()?, double: Lookup::new::<f64>()?, single: Lookup::new::<f32>()? })
});

impl Path {
    /// The portable way, on every machine, and the reference for the others.
    pub const PORTABLE: Self = Self(Way::Portable);

    /// The best way this machine has.
    #[must_use]
    pub fn best() -> Self {
        Self::wide().unwrap_or(Self::PORTABLE)
    }

    /// Every way this machine has, best first.
    pub fn all() -> impl Iterator<Item = Self> {
        Self::wide().into_iter().chain([Self::PORTABLE])
    }

    #[cfg(target_arch = "x86_64")]
    fn wide() -> Option<Self> {
        WIDE.as_ref().map(|wide| Self(Way::Avx2(wide)))
    }

    #[cfg(not(target_arch = "x86_64"))]
    fn wide() -> Option<Self> {
        None
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
            #[cfg(target_arch = "x86_64")]
            Way::Avx2(wide) => wide.single.write(wide.avx2, per_ml, out),
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
                #[cfg(target_arch = "x86_64")]
                Way::Avx2(wide) => {
                    dispatch!(Level::Avx2(wide.avx2), _simd => target.write(block, numbers, outcomes));
                }
            }
        }
        Ok(())
    }

    fn write(self, per_ml: &[f64], out: &mut [u8]) {
        match self.0 {
            Way::Portable => ENTRIES.write(per_ml, out),
            #[cfg(target_arch = "x86_64")]
            Way::Avx2(wide) => wide.double.write(wide.avx2, per_ml, out),
        }
    }
}

impl fmt::Display for Path {
    /// `portable`, or the instruction set: `AVX2`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self.0 {
            Way::Portable => "portable",
            #[cfg(target_arch = "x86_64")]
            Way::Avx2(_) => "AVX2",
        })
    }
}

impl fmt::Debug for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Path({self})")
    }
}
