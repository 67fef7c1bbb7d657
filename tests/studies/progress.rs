//! Progress of a job: how often the interval of what remains holds the truth, and what is found wrong with jobs.

use siltcode::certainty::Probability;
use siltcode::job::progress::Progress;
use siltcode::tank::Turnovers;
use siltcode_tests::jobs::{Fault, Job, Kind, LIMITS, SIZES, target};
use siltcode_tests::{Draws, per_ml, um};

/// What came of the jobs of a cell.
#[derive(Default)]
struct Tally {
    jobs: u32,
    covered: u32,
    ended: u32,
    covered_and_ended: u32,
    too_late: u32,
    never: u32,
    width: Vec<f64>,
    seconds: f64,
}

/// Jobs of a cell whose interval is searched for, to see how wide it is and how long that takes.
const SEARCHED: u32 = 25;

/// What lies on either side of an interval of 95 %.
const OUTSIDE: f64 = 0.025;

/// On which sides of the truth the interval of all sizes lies, from the confidence at each size.
struct Verdict {
    is_too_late: bool,
    is_too_early: bool,
    has_end: bool,
}

impl Verdict {
    fn of(progress: &Progress, truth: f64) -> Self {
        let at = |more: Option<Turnovers>| -> Vec<f64> {
            let limits = SIZES.iter().zip(LIMITS);
            let of = limits.map(|(size, limit)| progress.confidence(um(*size), per_ml(limit), more));
            of.map(|confidence| confidence.map_or(f64::NAN, Probability::get)).collect()
        };
        let ever = at(None);
        let has_end = ever.iter().all(|ever| *ever >= 1.0 - OUTSIDE);
        if truth.is_infinite() {
            return Self { is_too_late: false, is_too_early: has_end, has_end };
        }
        let then = at(Turnovers::new(truth).ok());
        let is_too_late = then.iter().any(|then| *then <= OUTSIDE);
        let is_too_early = has_end && then.iter().all(|then| *then >= 1.0 - OUTSIDE);
        Self { is_too_late, is_too_early, has_end }
    }
}

impl Tally {
    fn of(kind: Kind, jobs: u32, draws: &mut Draws) -> Self {
        let mut tally = Self::default();
        for number in 0..jobs {
            let job = Job::new(kind, Fault::None, draws);
            let (progress, truth) = (job.progress(), job.truth());
            let verdict = Verdict::of(&progress, truth);
            let (ended, covers) =
                (u32::from(verdict.has_end), !(verdict.is_too_late || verdict.is_too_early));
            tally.jobs += 1;
            tally.covered += u32::from(covers);
            tally.ended += ended;
            tally.covered_and_ended += ended * u32::from(covers);
            tally.too_late += u32::from(verdict.is_too_late);
            tally.never += u32::from(is_called_never(&progress));
            if number < SEARCHED {
                tally.search(&job, truth);
            }
        }
        tally.width.sort_by(f64::total_cmp);
        tally
    }

    fn search(&mut self, job: &Job, truth: f64) {
        let started = processor_seconds();
        let remaining = job.progress().outlook(&target()).map(|outlook| outlook.remaining());
        self.seconds += processor_seconds() - started;
        if let Ok((Some(low), Some(high))) = remaining.map(|remaining| (remaining.low, remaining.high)) {
            self.width.push((high.get() - low.get()) / truth);
        }
    }

    fn share(&self, of: u32) -> f64 {
        f64::from(of) / f64::from(self.jobs.max(1))
    }

    fn print(&self, kind: Kind) {
        let ended = f64::from(self.covered_and_ended) / f64::from(self.ended.max(1));
        let width = self.width.get(self.width.len() / 2).map_or("-".into(), |width| format!("{width:.2}"));
        println!(
            "| {} | {} | {} | {} | {} | {} | {:.3} | {:.2} | {} | {:.3} | {:.3} | {} | {:.1} |",
            kind.samples,
            kind.ml,
            100.0 * kind.cv,
            if kind.stated { "yes" } else { "no" },
            kind.floor,
            if kind.two_stages { 2 } else { 1 },
            self.share(self.covered),
            self.share(self.ended),
            if self.ended > 0 { format!("{ended:.3}") } else { "-".into() },
            self.share(self.too_late),
            self.share(self.never),
            width,
            1e3 * self.seconds / f64::from(self.jobs.clamp(1, SEARCHED)),
        );
    }
}

/// The processor time that this thread has had, which other work on the machine does not change; 0 where it is not told.
fn processor_seconds() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = told.split_whitespace().next().and_then(|first| first.parse::<f64>().ok());
    nanoseconds.unwrap_or(0.0) / 1e9
}

/// Whether a target is out of reach: what `target-below-floor` says.
fn is_called_never(progress: &Progress) -> bool {
    SIZES.iter().zip(LIMITS).any(|(size, limit)| progress.is_out_of_reach(um(*size), per_ml(limit)))
}

const HEADING: &str = "| samples | mL | bottle CV % | stated | floor / target | stages | covered | ended | covered of ended | too late | never | width / truth | ms |\n|---|---|---|---|---|---|---|---|---|---|---|---|---|";

/// Coverage in every cell of samples, volume, scatter, floor and stages.
pub(crate) fn coverage(jobs: u32) {
    print_all(kinds(), jobs);
}

/// The same where the elements are not known.
pub(crate) fn unrated(jobs: u32) {
    print_all(kinds().map(|kind| Kind { rated: false, ..kind }), jobs);
}

/// The same where each size of a bottle scatters by itself.
pub(crate) fn sizes_apart(jobs: u32) {
    let scattered = kinds().filter(|kind| kind.cv > 0.0);
    print_all(scattered.map(|kind| Kind { own_share: 1.0, ..kind }), jobs);
}

fn print_all(kinds: impl Iterator<Item = Kind>, jobs: u32) {
    println!("{HEADING}");
    for kind in kinds.filter(is_asked_for) {
        Tally::of(kind, jobs, &mut Draws(seed(kind))).print(kind);
    }
}

fn kinds() -> impl Iterator<Item = Kind> {
    let stages = [false, true].into_iter();
    stages.flat_map(|two_stages| {
        [0.0, 0.5, 2.0].into_iter().flat_map(move |floor| {
            [4, 5, 6, 8].into_iter().flat_map(move |samples| {
                [0.5, 2.0, 10.0].into_iter().flat_map(move |ml| {
                    [0.0, 0.05, 0.15].into_iter().flat_map(move |cv| {
                        [true, false].into_iter().map(move |stated| Kind {
                            samples,
                            ml,
                            cv,
                            stated,
                            own_share: 0.0,
                            floor,
                            two_stages,
                            rated: true,
                            late: floor > 1.0,
                        })
                    })
                })
            })
        })
    })
}

/// Whether a kind holds all parts of the variable `ONLY`, which are parted by semicolons: to run a study in slices.
fn is_asked_for(kind: &Kind) -> bool {
    let only = std::env::var("ONLY").unwrap_or_default();
    only.split(';').all(|part| format!("{kind:?}").contains(part))
}

/// A seed of its own for each kind.
fn seed(kind: Kind) -> u64 {
    let text = format!("{kind:?}");
    text.bytes()
        .fold(0xCBF2_9CE4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01B3))
}

/// A fault, what finds it, and the scatters of bottles at which its effect is large enough for that \[-\].
struct Sought {
    name: &'static str,
    fault: Fault,
    floor: f64,
    scatters: &'static [f64],
    codes: &'static [&'static str],
}

impl Sought {
    const fn new(
        name: &'static str,
        fault: Fault,
        scatters: &'static [f64],
        codes: &'static [&'static str],
    ) -> Self {
        Self { name, fault, floor: 0.0, scatters, codes }
    }
}

const ANY: &[f64] = &[0.0, 0.05, 0.15];
const SMALL: &[f64] = &[0.0, 0.05];
const LARGE: &[f64] = &[0.15];

/// What is wrong with jobs, with the size of its effect.
const SOUGHT: [Sought; 10] = [
    Sought::new("healthy", Fault::None, ANY, &[]),
    Sought::new("slow: half the pace", Fault::Pace(0.5), ANY, &["slow"]),
    Sought::new("fast: twice the pace", Fault::Pace(2.0), ANY, &["fast"]),
    Sought {
        floor: 2.0,
        ..Sought::new("floor: twice the target", Fault::None, ANY, &["target-below-floor"])
    },
    Sought::new("stall: a fall to 1/2 missing", Fault::Stall(2.0), SMALL, &["stalled", "rising"]),
    Sought::new("stall: a fall to 1/5 missing", Fault::Stall(5.0), LARGE, &["stalled", "rising"]),
    Sought::new("rise: twice the one before", Fault::Rise(2.0), SMALL, &["rising"]),
    Sought::new("rise: 3 times the one before", Fault::Rise(3.0), LARGE, &["rising"]),
    Sought::new("14 um at half its rate", Fault::LargestSlow(0.5), ANY, &["sizes-disagree"]),
    Sought::new("14 um at a third of its rate", Fault::LargestSlow(1.0 / 3.0), ANY, &["sizes-disagree"]),
];

/// Codes that say nothing is wrong.
const HARMLESS: [&str; 1] = ["floor-not-seen"];

/// Findings: raised in healthy jobs, and in jobs with a fault.
pub(crate) fn findings(jobs: u32) {
    println!(
        "| job | samples | mL | bottle CV % | stated | found | falsely raised, any | raised |\n|---|---|---|---|---|---|---|---|"
    );
    for sought in &SOUGHT {
        if !std::env::var("FAULT").is_ok_and(|part| !sought.name.contains(&part)) {
            sought.print_all(jobs);
        }
    }
}

impl Sought {
    fn print_all(&self, jobs: u32) {
        for kind in finding_kinds(self).filter(is_asked_for) {
            self.print(kind, jobs);
        }
    }
}

fn finding_kinds(sought: &Sought) -> impl Iterator<Item = Kind> {
    let floor = sought.floor;
    [5, 8].into_iter().flat_map(move |samples| {
        [1.0, 10.0].into_iter().flat_map(move |ml| {
            sought.scatters.iter().flat_map(move |cv| {
                [true, false].into_iter().map(move |stated| Kind {
                    samples,
                    ml,
                    cv: *cv,
                    stated,
                    own_share: 0.0,
                    floor,
                    two_stages: false,
                    rated: true,
                    late: floor > 1.0,
                })
            })
        })
    })
}

impl Sought {
    fn print(&self, kind: Kind, jobs: u32) {
        let mut draws = Draws(seed(kind));
        let (mut found, mut other) = (0, 0);
        let mut raised = std::collections::BTreeMap::new();
        for _ in 0..jobs {
            let job = Job::new(kind, self.fault, &mut draws);
            let findings = job.progress().findings(Some(&target()));
            let codes: Vec<&str> = findings
                .iter()
                .map(|finding| finding.code)
                .filter(|code| !HARMLESS.contains(code))
                .collect::<std::collections::BTreeSet<_>>()
                .into_iter()
                .collect();
            // a scatter that is there is no false finding
            let is_other =
                |code: &&&str| !(self.codes.contains(code) || (**code == "scatter" && kind.cv > 0.0));
            found += u32::from(codes.iter().any(|code| self.codes.contains(code)));
            other += u32::from(codes.iter().any(|code| is_other(&code)));
            for code in codes {
                *raised.entry(code.to_owned()).or_insert(0_u32) += 1;
            }
        }
        let share = |number: u32| f64::from(number) / f64::from(jobs.max(1));
        let raised: Vec<String> =
            raised.iter().map(|(code, number)| format!("{code} {:.3}", share(*number))).collect();
        println!(
            "| {} | {} | {} | {} | {} | {} | {} | {} |",
            self.name,
            kind.samples,
            kind.ml,
            100.0 * kind.cv,
            if kind.stated { "yes" } else { "no" },
            if self.codes.is_empty() { "-".into() } else { format!("{:.3}", share(found)) },
            if self.codes.is_empty() { format!("{:.3}", share(other)) } else { "-".into() },
            raised.join(", "),
        );
    }
}
