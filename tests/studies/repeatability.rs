//! Run-to-run variation: how often intervals and verdicts of simulated bottles hold.
//!
//! `study repeatability BOTTLES [NAME=VALUE ...]` simulates so many bottles a cell, of the cells asked for:
//! `study repeatability 4000 runs=2 cv=0.02`.

use std::env;

use siltcode_tests::Draws;
use siltcode_tests::batches::{Batch, Cell, Found};

const RUNS: [usize; 4] = [1, 2, 3, 5];
const CVS: [f64; 5] = [0.0, 0.01, 0.02, 0.05, 0.10];
const MEANS: [f64; 8] = [1.0, 3.0, 10.0, 30.0, 200.0, 2000.0, 20_000.0, 200_000.0];

/// Prints every cell that the command line asks for.
pub(super) fn coverage(bottles: u32) {
    let only: Vec<String> = env::args().skip(3).collect();
    println!(
        "runs,bottles,batch,cv,mean,coverage,false_acceptance,false_rejection,half_width,half_width_counting,agreeing,agreeing_coverage,bad,bad_coverage"
    );
    for runs in RUNS {
        for (size, batch) in batches(runs) {
            for cv in CVS {
                for mean in MEANS {
                    let cell = Cell { runs, cv, mean, bottles: size, batch, is_stated: runs == 1 };
                    if !is_asked(&cell, &only) {
                        continue;
                    }
                    print(&cell, &cell.simulated(bottles, &mut Draws(seed_of(&cell))));
                }
            }
        }
    }
}

/// The same cell is simulated from the same seed.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small whole numbers
fn seed_of(cell: &Cell) -> u64 {
    let place = (cell.runs * 1000 + cell.bottles) as u64;
    place * 1_000_003 + (cell.cv * 1000.0) as u64 * 101 + cell.mean as u64
}

/// Whether every `name=value` asked for holds of a cell.
fn is_asked(cell: &Cell, only: &[String]) -> bool {
    let said = [
        format!("runs={}", cell.runs),
        format!("bottles={}", cell.bottles),
        format!("batch={:?}", cell.batch),
        format!("cv={}", cell.cv),
        format!("mean={}", cell.mean),
    ];
    only.iter().all(|asked| said.contains(asked))
}

/// A bottle of one run says nothing of their variation, which is stated instead; the batch then makes no difference.
fn batches(runs: usize) -> Vec<(usize, Batch)> {
    if runs == 1 {
        return vec![(1, Batch::Alike)];
    }
    let several = [5, 40]
        .into_iter()
        .flat_map(|n| [Batch::Alike, Batch::Twofold, Batch::OneBad].map(|batch| (n, batch)));
    [(1, Batch::Alike)].into_iter().chain(several).collect()
}

fn print(cell: &Cell, found: &Found) {
    let [width, counting] = found.median_widths();
    let [agreeing, bad] = [found.agreeing_coverage(), found.bad_coverage()]
        .map(|coverage| coverage.map_or(String::new(), |coverage| format!("{coverage:.3}")));
    println!(
        "{},{},{:?},{},{},{:.4},{:.4},{:.4},{width:.4},{counting:.4},{},{agreeing},{},{bad}",
        cell.runs,
        cell.bottles,
        cell.batch,
        cell.cv,
        cell.mean,
        found.coverage(),
        found.false_acceptance(),
        found.false_rejection(),
        found.agreeing,
        found.bad,
    );
}
