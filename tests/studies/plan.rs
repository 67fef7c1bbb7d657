//! Plans of tanks into which something comes, beside the best that differential evolution finds; and how long plans take.

use std::fmt::Write;
use std::time::Instant;

use siltcode::plan::Aim;
use siltcode_tests::Draws;
use siltcode_tests::planning::{drawn, evolved};

/// Shares of the limits that can never be taken out.
const SHARES: [f64; 4] = [0.05, 0.2, 0.4, 0.6];

pub(crate) fn report(jobs: u32) -> String {
    let jobs = usize::try_from(jobs).unwrap_or(usize::MAX);
    let mut text = format!(
        "# Plans of tanks with ingress and shedding\n\n\
         {jobs} jobs, 1 to 4 stages of 1 or 2 elements. 'Share' is how much of the limits can never be taken out. 'Above' is \
         how much dearer the plan is than the best that differential evolution with whole elements finds over all choices of \
         stages (below 0: cheaper); 'gap' is how far the plan may lie above its own bound.\n\n\
         | share | jobs | above, greatest | above, median | gap, greatest | gap, median | bound above evolution's |\n\
         |---|---|---|---|---|---|---|\n"
    );
    for (at, share) in SHARES.into_iter().enumerate() {
        let (mut above, mut gaps, mut broken) = (Vec::new(), Vec::new(), 0);
        for job in (0..jobs).filter(|job| job % SHARES.len() == at) {
            let mut draws = Draws(job as u64 + 1);
            let stages = 1 + job / 4 % 4;
            let problem = drawn(stages, 1 + job / 16 % 2, share, &mut draws);
            let found = problem.best(Aim::Cheapest).ok().flatten();
            match (found, evolved(&problem, &mut draws)) {
                (Some(found), Some(best)) => {
                    above.push(found.cost.get() / best - 1.0);
                    gaps.push(found.gap());
                    broken += usize::from(found.lower_bound > best * (1.0 + 1e-9));
                }
                (None, Some(_)) => above.push(f64::INFINITY),
                _ => {}
            }
        }
        above.sort_by(f64::total_cmp);
        gaps.sort_by(f64::total_cmp);
        let percent = |of: &[f64], at: usize| of.get(at).map_or(f64::NAN, |part| 100.0 * part);
        let _ = writeln!(
            text,
            "| {share} | {} | {:.3} % | {:.3} % | {:.2} % | {:.3} % | {broken} |",
            above.len(),
            percent(&above, above.len().saturating_sub(1)),
            percent(&above, above.len() / 2),
            percent(&gaps, gaps.len().saturating_sub(1)),
            percent(&gaps, gaps.len() / 2),
        );
    }
    text + &times(jobs.min(40))
}

/// How long plans take.
fn times(jobs: usize) -> String {
    let mut text = format!(
        "\n# How long a plan takes\n\n{jobs} jobs for each row, on this machine, one thread, in this run.\n\n\
         | stages | elements of each | share | median | longest | gap, greatest |\n|---|---|---|---|---|---|\n"
    );
    for (stages, elements) in [(2, 1), (4, 1), (4, 2), (4, 8), (6, 2), (8, 1), (8, 2)] {
        for share in [0.0, 0.3] {
            let (mut taken, mut gap) = (Vec::new(), 0.0_f64);
            for job in 0..jobs {
                let problem = drawn(stages, elements, share, &mut Draws(job as u64 + 1000));
                let begun = Instant::now();
                let found = problem.best(Aim::Cheapest).ok().flatten();
                taken.push(begun.elapsed().as_secs_f64());
                gap = found.map_or(gap, |found| gap.max(found.gap()));
            }
            taken.sort_by(f64::total_cmp);
            let (median, longest) = (taken[taken.len() / 2] * 1e3, taken[taken.len() - 1] * 1e3);
            let gap = 100.0 * gap;
            let _ = writeln!(
                text,
                "| {stages} | {elements} | {share} | {median:.1} ms | {longest:.1} ms | {gap:.4} % |"
            );
        }
    }
    text
}
