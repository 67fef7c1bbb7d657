//! The same over all threads of the current pool: blocks of rows, each worked through as on one thread, so the bytes are
//! the same however many there are.

use rayon::prelude::*;

use super::{Columns, Path, Scores, Target, same_length};
use crate::error::Result;

/// Rows a thread takes at a time: large beside the cost of handing them out, small beside the nearest caches.
const BLOCK: usize = 1 << 14;

/// [`range_numbers`](super::range_numbers) on all threads.
///
/// ```
/// let mut numbers = [0; 2];
/// siltcode::bulk::par_range_numbers(&[1752.0, 2500.1], &mut numbers)?;
/// assert_eq!(numbers, [18, 19]);
/// # Ok::<(), siltcode::Error>(())
/// ```
///
/// # Errors
/// As there.
pub fn par_range_numbers(per_ml: &[f64], out: &mut [u8]) -> Result<()> {
    same_length(per_ml.len(), out.len())?;
    let path = Path::best();
    let blocks = out.par_chunks_mut(BLOCK).zip(per_ml.par_chunks(BLOCK));
    blocks.try_for_each(|(out, per_ml)| path.range_numbers(per_ml, out))
}

/// [`range_numbers_f32`](super::range_numbers_f32) on all threads.
///
/// # Errors
/// As there.
pub fn par_range_numbers_f32(per_ml: &[f32], out: &mut [u8]) -> Result<()> {
    same_length(per_ml.len(), out.len())?;
    let path = Path::best();
    let blocks = out.par_chunks_mut(BLOCK).zip(per_ml.par_chunks(BLOCK));
    blocks.try_for_each(|(out, per_ml)| path.range_numbers_f32(per_ml, out))
}

/// [`score`](super::score) on all threads.
///
/// # Errors
/// As there.
pub fn par_score(per_ml: Columns<'_>, target: &Target, out: Scores<'_>) -> Result<()> {
    out.ensure_length(per_ml)?;
    let path = Path::best();
    let [a, b, c] = out.numbers.map(|numbers| numbers.par_chunks_mut(BLOCK));
    let places = out.outcomes.par_chunks_mut(BLOCK).zip(a).zip(b).zip(c);
    places.enumerate().try_for_each(|(block, (((outcomes, a), b), c))| {
        let from = block * BLOCK;
        let rows = per_ml.map(|column| &column[from..from + outcomes.len()]);
        path.score(rows, target, Scores { numbers: [a, b, c], outcomes })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::SizeScale;
    use crate::spec::Spec;

    fn on_threads<T: Send>(threads: usize, work: impl FnOnce() -> T + Send) -> T {
        rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(work)
    }

    #[test]
    fn threads_do_not_change_a_byte() {
        let falling = |i: u32, by: f64| 10_f64.powf((f64::from(i) * 0.618).fract() * 9.0 - 2.5) / by;
        let columns = [1.0, 3.0, 30.0].map(|by| (0..100_000).map(|i| falling(i, by)).collect::<Vec<f64>>());
        let per_ml = columns.each_ref().map(Vec::as_slice);
        let target = Target::of(&Spec::from_code("18/16/13".parse().unwrap(), SizeScale::UmC).unwrap());
        let target = target.unwrap();
        let scored = |threads| {
            let mut numbers = [0; 3].map(|_: u8| vec![0; per_ml[0].len()]);
            let mut outcomes = vec![0; per_ml[0].len()];
            let [a, b, c] = &mut numbers;
            let out = Scores { numbers: [a, b, c], outcomes: &mut outcomes };
            on_threads(threads, || par_score(per_ml, &target, out)).unwrap();
            let mut alone = vec![0; per_ml[0].len()];
            on_threads(threads, || par_range_numbers(per_ml[0], &mut alone)).unwrap();
            (numbers, outcomes, alone)
        };
        let one = scored(1);
        assert_eq!(one.2, one.0[0]);
        assert!(one.1.contains(&0) && one.1.contains(&2));
        for threads in [2, 3, 7] {
            assert_eq!(scored(threads), one);
        }
    }
}
