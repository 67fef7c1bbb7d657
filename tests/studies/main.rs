//! Studies: simulations that take too long for tests. Each prints the table that its file beside this one keeps.
//!
//! `study NAME [JOBS [CELL ...]]`, or `make study NAME=... JOBS=... CELLS=...`.

#![allow(clippy::print_stdout)] // a study prints its table

mod change_out;
mod flags;
mod plan;
mod progress;
mod repeatability;

/// A study, of so many simulated cases a cell.
type Study = fn(u32);

/// Every study by its name.
const STUDIES: [(&str, Study); 9] = [
    ("progress", progress::coverage),
    ("progress-unrated", progress::unrated),
    ("progress-sizes-apart", progress::sizes_apart),
    ("findings", progress::findings),
    ("change-out", |jobs| print!("{}", change_out::intervals(jobs))),
    ("alarms", |jobs| print!("{}", change_out::alarms(jobs))),
    ("plan", |jobs| print!("{}", plan::report(jobs))),
    ("repeatability", repeatability::coverage),
    ("flags", flags::rates),
];

fn main() {
    let mut arguments = std::env::args().skip(1);
    let name = arguments.next().unwrap_or_default();
    let jobs = arguments.next().and_then(|number| number.parse().ok()).unwrap_or(2000);
    match STUDIES.iter().find(|(known, _)| *known == name) {
        Some((_, study)) => study(jobs),
        None => println!("studies: {}", STUDIES.map(|(known, _)| known).join(", ")),
    }
}
