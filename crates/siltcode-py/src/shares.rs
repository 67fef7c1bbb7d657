//! Work on many rows, shared out over the cores.

use std::panic::resume_unwind;
use std::thread;

/// The result of each of so many rows, in order.
pub(crate) fn in_shares<T: Send>(rows: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let share = rows.div_ceil(cores).max(1);
    let work = &work;
    thread::scope(|scope| {
        let part =
            |from: usize| scope.spawn(move || (from..rows.min(from + share)).map(work).collect::<Vec<T>>());
        let parts: Vec<_> = (0..rows).step_by(share).map(part).collect();
        let joined = parts.into_iter().map(|part| part.join().unwrap_or_else(|panic| resume_unwind(panic)));
        joined.flatten().collect()
    })
}
