//! Flags: how many good bottles raise one, and how surely what is wrong is found.

use siltcode_tests::Draws;
use siltcode_tests::flagged::{Bottles, ON_BINS, ON_RUNS, Passed, is_flagged, share};

/// Prints the table.
pub(super) fn rates(bottles: u32) {
    println!(
        "| what | sizes | variation known from | CV | particles in a run | flagged |\n|---|---|---|---|---|---|"
    );
    good(bottles);
    println!();
    println!("| what | variation known from | flagged | at least |\n|---|---|---|---|");
    wrong(bottles);
    println!();
    println!("| what | CV between bottles | flag | raised |\n|---|---|---|---|");
    changes(bottles);
}

fn good(bottles: u32) {
    for (sizes, per_ml, cv) in [1, 3, 6].into_iter().flat_map(|sizes| {
        [0.0, 0.02, 0.05].into_iter().flat_map(move |cv| [20.0, 2000.0, 20_000.0].map(|n| (sizes, n, cv)))
    }) {
        let of = Bottles { sizes, per_ml, ml: 1.0, cv };
        let mut draws = Draws(seed(&[sizes as f64, per_ml, cv]));
        let row = |source: &str, flagged: f64| {
            println!("| good bottles | {sizes} | {source} | {cv} | {per_ml} | {flagged:.4} |");
        };
        // Each batch says something else of the variation, so many batches are drawn.
        let batches = bottles.div_ceil(100);
        let flagged: f64 = (0..batches)
            .map(|_| {
                let known = of.batch(&mut draws);
                share(100, || is_flagged(&of.drawn(&[1.0; 3], &mut draws), Some(&known), &ON_RUNS))
            })
            .sum();
        row("40 bottles", flagged / f64::from(batches));
        if cv == 0.0 {
            row("none", share(bottles, || is_flagged(&of.drawn(&[1.0; 3], &mut draws), None, &ON_RUNS)));
        }
    }
}

fn wrong(bottles: u32) {
    let quiet = |ml: f64| Bottles { sizes: 3, per_ml: 2000.0, ml, cv: 0.0 };
    let one = |ml: f64| Bottles { sizes: 1, ..quiet(ml) };
    for (what, pool, of, factors, least) in [
        ("runs that vary by 5 %, 10 mL", quiet(10.0), Bottles { cv: 0.05, ..quiet(10.0) }, [1.0; 3], 0.9),
        ("first run 1.1 times the others, 1 mL", quiet(1.0), quiet(1.0), [1.1, 1.0, 1.0], 0.75),
        ("first run 1.1 times the others, 1 mL, one size", one(1.0), one(1.0), [1.1, 1.0, 1.0], 0.75),
        ("rise of 5 % a run, 1 mL", quiet(1.0), quiet(1.0), [0.95, 1.0, 1.05], 0.6),
        ("fall of 5 % a run, 1 mL", quiet(1.0), quiet(1.0), [1.05, 1.0, 0.95], 0.6),
    ] {
        let mut draws = Draws(seed(&[of.ml, of.cv, factors[0], of.sizes as f64]));
        let batches = bottles.div_ceil(100);
        let found: f64 = (0..batches)
            .map(|_| {
                let known = pool.batch(&mut draws);
                share(100, || is_flagged(&of.drawn(&factors, &mut draws), Some(&known), &ON_RUNS))
            })
            .sum();
        println!("| {what} | 40 good bottles | {:.4} | {least} |", found / f64::from(batches));
    }
}

/// The particles of 4 to 6, 6 to 14 and above 14 um before and after a pass.
fn changes(bottles: u32) {
    let before = [6800.0, 2040.0, 160.0];
    for (what, after) in [
        ("all fall as a filter makes them", [3500.0, 855.0, 45.0]),
        ("nothing changes", before),
        ("all fall by a half", before.map(|bin| bin / 2.0)),
        ("fine particles stay, larger ones fall", [6800.0, 855.0, 45.0]),
        ("drops or bubbles: large ones rise", [3500.0, 1260.0, 240.0]),
    ] {
        for (cv, is_stated) in [(0.0, false), (0.05, false), (0.05, true), (0.1, true)] {
            let passed = Passed { before, after, cv, is_stated };
            for code in ON_BINS {
                let mut draws = Draws(seed(&[after[0], after[2], cv, f64::from(u8::from(is_stated))]));
                let raised = share(bottles, || passed.is_flagged(code, &mut draws));
                let said = if is_stated { ", stated" } else { "" };
                println!("| {what} | {:.0} %{said} | {code} | {raised:.4} |", 100.0 * cv);
            }
        }
    }
}

/// The same case is drawn from the same seed.
fn seed(of: &[f64]) -> u64 {
    of.iter().fold(17, |seed, value| seed.wrapping_mul(1_000_003).wrapping_add((value + 1.0).to_bits()))
}
