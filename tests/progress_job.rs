//! Progress of a job: all bins fitted together. What remains, what is found, bad input.

use std::num::NonZeroU16;

use proptest::prelude::*;
use siltcode::certainty::{Level, Scatter};
use siltcode::job::progress::{
    Bottle, Edge, ElementPeriod, Fit, FloorRule, Observed, Options, Progress, Seen, Spread,
};
use siltcode::tank::{BinState, Channel, DeadZone, Mixing, Target, Turnovers};
use siltcode::{CountedVolume, Dilution, PerMl, Spectrum};
use siltcode_tests::jobs::{Fault, Job, Kind};
use siltcode_tests::{Draws, beta, cases, jobs, per_ml, share, turnovers, um};

fn ml(value: f64) -> CountedVolume {
    CountedVolume::from_ml(value).unwrap()
}

fn bottles(counts: &[(f64, &[(f64, f64)])], volume: f64) -> Vec<Bottle> {
    let bottle = |(after, counts): &(f64, &[(f64, f64)])| {
        let spectrum = Spectrum::from_per_ml(counts).unwrap();
        Bottle::of_spectrum(turnovers(*after), &spectrum, Some(ml(volume))).unwrap()
    };
    counts.iter().map(bottle).collect()
}

fn target(limits: &[(f64, f64)]) -> Target {
    Target::of_counts(&Spectrum::from_per_ml(limits).unwrap()).unwrap()
}

fn codes(progress: &Progress, target: Option<&Target>) -> Vec<&'static str> {
    progress.findings(target).iter().map(|finding| finding.code).collect()
}

/// Samples of a tank whose bins (15,000, 4,600 and 400 per mL) have ratios of 2.338, 18.43 and 1000, without noise.
const SAMPLED: [(f64, &[(f64, f64)]); 6] = [
    (0.0, &[(4.0, 20_000.0), (6.0, 5_000.0), (14.0, 400.0)]),
    (1.0, &[(4.0, 10_398.0), (6.0, 1_934.0), (14.0, 147.3)]),
    (2.0, &[(4.0, 5_524.0), (6.0, 748.1), (14.0, 54.2)]),
    (3.0, &[(4.0, 2_984.4), (6.0, 289.5), (14.0, 20.0)]),
    (4.0, &[(4.0, 1_632.7), (6.0, 112.0), (14.0, 7.4)]),
    (5.0, &[(4.0, 901.4), (6.0, 43.4), (14.0, 2.7)]),
];

#[test]
fn our_own_forecast_is_met_when_it_says() {
    let progress = Progress::new(&bottles(&SAMPLED, 10.0), Options::default()).unwrap();
    let outlook = progress.outlook(&target(&[(4.0, 160.0), (6.0, 40.0), (14.0, 10.0)])).unwrap();
    let remaining = outlook.remaining();
    assert_eq!(outlook.deciding().size, um(4.0));
    let estimate = remaining.estimate.unwrap().get();
    assert!((estimate / 2.963_8 - 1.0).abs() < 0.01, "{remaining}"); // by halving the sum of the three
}

/// A bin: its start, the efficiency, and a floor as a part of the start.
type Bin = (f64, f64, f64);

fn tank(bins: &[Bin], mixing: Mixing, from: usize, limit: f64) -> Channel {
    let bin = |&(start, passed, floor): &Bin| {
        let efficiency = beta(1.0 / passed).efficiency();
        // an ingress that comes to the floor in the end, however the fluid moves
        let floored = |ingress: f64| BinState::new(per_ml(start), per_ml(ingress), efficiency);
        let unit = Channel::new(vec![floored(1.0)], per_ml(0.0)).mixed(mixing).floor();
        floored(floor * start / unit)
    };
    Channel::new(bins[from..].iter().map(bin).collect(), per_ml(limit)).mixed(mixing)
}

const SIZES: [f64; 3] = [4.0, 6.0, 14.0];

/// Samples without noise: so large a volume that counting tells all there is.
fn noiseless(bins: &[Bin], mixing: Mixing, drawn: &[f64]) -> Vec<Bottle> {
    let volume = 1e6;
    let bottle = |after: &f64| {
        let seen = (0..bins.len()).map(|from| {
            let there = tank(bins, mixing, from, 0.0).after(turnovers(*after));
            (um(SIZES[from]), Seen::Count(siltcode::count::whole_count((volume * there).round()).unwrap()))
        });
        Bottle::new(turnovers(*after), seen, ml(volume), Dilution::NONE).unwrap()
    };
    drawn.iter().map(bottle).collect()
}

fn any_mixing() -> impl Strategy<Value = Mixing> {
    let dead = (0.05..0.3, 0.05..0.3)
        .prop_map(|(dead, exchange)| Mixing::DeadZone(DeadZone::new(share(dead), share(exchange)).unwrap()));
    let cells = (2..6_u16).prop_map(|cells| Mixing::Cells(NonZeroU16::new(cells).unwrap()));
    prop_oneof![3 => Just(Mixing::Well), 1 => dead, 1 => cells]
}

fn any_bins() -> impl Strategy<Value = Vec<Bin>> {
    let floor = prop_oneof![Just(0.0), 1e-4..5e-3_f64];
    prop::collection::vec((500.0..20_000.0_f64, 0.001..0.6_f64, floor), 1..4)
}

proptest! {
    #![proptest_config(cases(40))]

    #[test]
    fn a_forecast_without_noise_is_told_from_its_samples(
        bins in any_bins(), mixing in any_mixing(), samples in 5..9_u32, part in 0.4..0.9, to in 1.3..20.0_f64,
    ) {
        let start: f64 = bins.iter().map(|bin| bin.0).sum();
        let floor: f64 = bins.iter().map(|bin| bin.0 * bin.2).sum();
        let limit = (floor * to).max(start * 3e-3);
        let truth = tank(&bins, mixing, 0, limit).turnovers().unwrap().get();
        let drawn: Vec<f64> = (0..samples).map(|i| part * truth * f64::from(i) / f64::from(samples - 1)).collect();
        let options = Options { mixing, ..Options::default() };
        let progress = Progress::new(&noiseless(&bins, mixing, &drawn), options).unwrap();
        let outlook = progress.outlook(&target(&[(4.0, limit)])).unwrap();
        let remaining = outlook.remaining();
        let estimate = remaining.estimate.map(Turnovers::get);
        prop_assert!(estimate.is_some(), "{remaining} for {}", truth * (1.0 - part));
        let off: f64 = estimate.unwrap_or_default() / (truth * (1.0 - part)) - 1.0;
        prop_assert!(off.abs() < 0.01, "{remaining} for {}: off by {off}", truth * (1.0 - part));
    }

    #[test]
    fn a_single_bin_is_fitted_as_a_series(
        counts in prop::collection::vec(1..30_000_u64, 3..7), volume in 0.2..20.0, limit in 0.1..1e4,
    ) {
        let at = |i: usize| turnovers(i as f64);
        let seen = |(i, raw): (usize, &u64)| Observed::new(at(i), Seen::Count(*raw), ml(volume), Dilution::NONE).unwrap();
        let series: Vec<Observed> = counts.iter().enumerate().map(seen).collect();
        let bottle = |(i, raw): (usize, &u64)| Bottle::new(at(i), [(um(4.0), Seen::Count(*raw))], ml(volume), Dilution::NONE).unwrap();
        let bottles: Vec<Bottle> = counts.iter().enumerate().map(bottle).collect();
        let options = Options { spread: Spread::Counting, floor: Some(FloorRule::Free), ..Options::default() };
        let (alone, joint) = (Fit::new(&series, FloorRule::Free, Scatter::NONE).unwrap(), Progress::new(&bottles, options).unwrap());
        let lacking = alone.ln_likelihood() - joint.ln_likelihood();
        prop_assert!(lacking.abs() < 1e-6 * alone.ln_likelihood().abs().max(1.0), "{lacking}");
        if alone.edge().is_some() {
            return Ok(()); // a series that does not fall, or at once, fixes no number of turnovers
        }
        let (one, other) = (alone.remaining(per_ml(limit), Level::default()), joint.outlook(&target(&[(4.0, limit)])).unwrap().remaining());
        prop_assert_eq!(one.high.is_none(), other.high.is_none(), "{} {}", one, other);
        for (a, b) in [(one.low, other.low), (one.high, other.high)] {
            if let (Some(a), Some(b)) = (a, b) {
                prop_assert!((a.get() - b.get()).abs() < 1e-3 * (1.0 + a.get()), "{} {}", one, other);
            }
        }
    }

    #[test]
    fn any_samples_are_answered_or_refused(
        samples in prop::collection::vec((0.0..6.0, prop::collection::vec((0..30_000_u64, 0..6_u8), 3), 0.1..20.0), 1..6),
        limit in 0.0..1e5, stated: bool,
    ) {
        let seen = |raw: u64, kind: u8| match kind {
            0 => Seen::Fewer(raw + 1),
            1 => Seen::AtLeast(raw),
            2 => Seen::Between(raw, 2 * raw),
            _ => Seen::Count(raw),
        };
        let bottle = |(after, counts, volume): &(f64, Vec<(u64, u8)>, f64)| {
            let each = counts.iter().zip(SIZES).map(|((raw, kind), size)| (um(size), seen(*raw, *kind)));
            Bottle::new(turnovers(*after), each, ml(*volume), Dilution::NONE).unwrap()
        };
        let bottles: Vec<Bottle> = samples.iter().map(bottle).collect();
        let spread = if stated { Spread::Stated(Scatter::from_cv(0.1).unwrap()) } else { Spread::Found };
        match Progress::new(&bottles, Options { spread, ..Options::default() }) {
            Err(error) => prop_assert!(["too-few-samples", "nothing-bounds-above"].contains(&error.code())),
            Ok(progress) => {
                let size = progress.sizes()[0].size;
                let limits = target(&[(size.um(), limit)]);
                let found = progress.outlook(&limits).unwrap().remaining();
                let known: Vec<f64> = [found.low, found.estimate, found.high].into_iter().flatten().map(Turnovers::get).collect();
                prop_assert!(known.is_sorted(), "{found}");
                prop_assert!(progress.ln_likelihood().is_finite());
                let _ = progress.findings(Some(&limits));
            }
        }
    }
}

fn kind(samples: u32, cv: f64, stated: bool) -> Kind {
    Kind {
        samples,
        ml: 10.0,
        cv,
        stated,
        own_share: 0.0,
        floor: 0.0,
        two_stages: false,
        rated: true,
        late: false,
    }
}

/// A slice of `make study NAME=progress`: the interval holds the truth as often as it says, for stated scatter and not.
#[test]
fn intervals_hold_the_truth() {
    for (seed, kind) in [
        (1, kind(4, 0.05, true)),
        (2, kind(6, 0.05, false)),
        (3, Kind { two_stages: true, ..kind(6, 0.05, true) }),
        (4, Kind { own_share: 1.0, ..kind(6, 0.15, true) }),
        (5, Kind { own_share: 0.5, ..kind(6, 0.05, false) }),
    ] {
        let (mut draws, jobs, mut covered) = (Draws(seed), 120, 0);
        for _ in 0..jobs {
            let job = Job::new(kind, Fault::None, &mut draws);
            let found = job.progress().outlook(&jobs::target()).unwrap().remaining();
            let truth = job.truth();
            let is_below = found.low.is_some_and(|low| low.get() <= truth);
            covered += i32::from(is_below && found.high.is_none_or(|high| high.get() >= truth));
        }
        let sd = (0.93 * 0.07 * f64::from(jobs)).sqrt();
        assert!(f64::from(covered) > 0.93 * f64::from(jobs) - 3.0 * sd, "{covered} of {jobs}: {kind:?}");
    }
}

/// A slice of `make study NAME=findings`.
#[test]
fn what_is_wrong_is_found() {
    let kind = kind(8, 0.05, true);
    let sought: [(Fault, f64, &str); 6] = [
        (Fault::Pace(0.4), 0.0, "slow"),
        (Fault::Pace(2.0), 0.0, "fast"),
        (Fault::Rise(2.0), 0.0, "rising"),
        (Fault::Stall(2.0), 0.0, "stalled"),
        (Fault::LargestSlow(0.5), 0.0, "sizes-disagree"),
        (Fault::None, 2.0, "target-below-floor"),
    ];
    for (fault, floor, code) in sought {
        let mut draws = Draws(11);
        let kind = Kind { floor, late: floor > 0.0, ..kind };
        let found = (0..30).filter(|_| {
            let findings = Job::new(kind, fault, &mut draws).progress().findings(Some(&jobs::target()));
            findings.iter().any(|finding| finding.code == code)
        });
        let found = found.count();
        assert!(found >= 24, "{code}: {found} of 30");
    }
    let mut draws = Draws(12);
    let raised = (0..60).filter(|_| {
        let findings = Job::new(kind, Fault::None, &mut draws).progress().findings(Some(&jobs::target()));
        findings.iter().any(|finding| !["floor-not-seen", "scatter"].contains(&finding.code))
    });
    let raised = raised.count();
    assert!(raised <= 7, "{raised} of 60 healthy jobs"); // 5 % and three standard deviations
}

#[test]
fn the_last_size_to_meet_its_target_decides() {
    let progress = Progress::new(&bottles(&SAMPLED, 10.0), Options::default()).unwrap();
    let outlook = progress.outlook(&target(&[(4.0, 800.0), (14.0, 0.1)])).unwrap();
    assert_eq!(outlook.deciding().size, um(14.0));
    assert_eq!(outlook.remaining().estimate, outlook.deciding().remaining.estimate);
    assert!(outlook.cautions().iter().any(|caution| caution.topic == "static"));
    assert_eq!(progress.outlook(&target(&[(8.0, 640.0)])).unwrap_err().code(), "size-not-sampled");
    assert!(codes(&progress, None).is_empty(), "{:?}", progress.findings(None));
}

#[test]
fn two_samples_leave_the_end_open() {
    let samples: [(f64, &[(f64, f64)]); 2] = [(0.0, &[(4.0, 20_010.0)]), (1.0, &[(4.0, 9_000.0)])];
    let progress = Progress::new(&bottles(&samples, 1.0), Options::default()).unwrap();
    let limits = target(&[(4.0, 640.0)]);
    let outlook = progress.outlook(&limits).unwrap();
    let deciding = outlook.deciding();
    let estimate = deciding.remaining.estimate.unwrap().get();
    assert!(
        (estimate / ((9_000.0_f64 / 640.0).ln() / (20_010.0_f64 / 9_000.0).ln()) - 1.0).abs() < 1e-3,
        "{estimate}"
    );
    assert_eq!(deciding.remaining.high, None);
    assert!(deciding.floor_seen_after.is_some_and(|more| more.get() > 0.5 && more.get() < 20.0));
    assert!(outlook.assumptions.iter().any(|text| text.starts_with("no floor is shown yet")));
    assert_eq!(codes(&progress, Some(&limits)), ["floor-not-seen"]);
    let none = Options { floor: Some(FloorRule::Absent), spread: Spread::Counting, ..Options::default() };
    let without = Progress::new(&bottles(&samples, 1.0), none).unwrap().outlook(&limits).unwrap();
    assert!(without.deciding().remaining.high.is_some());
}

#[test]
fn a_change_of_elements_that_lies_ahead_is_counted_in() {
    let rated = |ratio: f64| vec![(um(4.0), beta(ratio).efficiency())];
    let samples: [(f64, &[(f64, f64)]); 4] = [
        (0.0, &[(4.0, 9_000.0)]),
        (1.0, &[(4.0, 6_667.0)]),
        (2.0, &[(4.0, 4_939.0)]),
        (3.0, &[(4.0, 3_659.0)]),
    ];
    let of = |elements: Vec<ElementPeriod>| {
        let options = Options { elements, ..Options::default() };
        let progress = Progress::new(&bottles(&samples, 10.0), options).unwrap();
        progress.outlook(&target(&[(4.0, 640.0)])).unwrap().remaining().estimate.unwrap().get()
    };
    let coarse = ElementPeriod { from: Turnovers::NONE, expected: rated(1.0 / 0.7) };
    let fine = ElementPeriod { from: turnovers(3.5), expected: rated(20.0) };
    let (stay, change) = (of(vec![coarse.clone()]), of(vec![coarse, fine]));
    assert!(stay > 5.0 && change < 0.5 * stay, "{stay} {change}");
}

#[test]
fn codes_alone_are_enough_for_a_fit() {
    let coded = |(after, code): (f64, &str)| {
        Bottle::of_code(turnovers(after), code.parse().unwrap(), ml(10.0)).unwrap()
    };
    let fall =
        [(0.0, "22/20/17"), (1.0, "21/19/16"), (2.0, "19/17/14"), (3.0, "18/16/13"), (4.0, "17/15/11")];
    let progress = Progress::new(&fall.map(coded), Options::default()).unwrap();
    assert_eq!(progress.sizes().len(), 3);
    for size in progress.sizes() {
        let shown = size.efficiency().get();
        assert!((0.6..1.4).contains(&shown), "{}: {shown}", size.size);
        assert_eq!(size.edge, None);
    }
    let remaining = progress.outlook(&target(&[(4.0, 160.0)])).unwrap().remaining();
    assert!(remaining.estimate.is_some_and(|estimate| (1.5..5.0).contains(&estimate.get())), "{remaining}");
}

#[test]
fn a_size_that_was_not_always_counted_is_merged() {
    let mut samples: Vec<(f64, Vec<(f64, f64)>)> =
        SAMPLED.iter().map(|(after, counts)| (*after, counts.to_vec())).collect();
    samples[2].1.remove(1);
    let samples: Vec<(f64, &[(f64, f64)])> =
        samples.iter().map(|(after, counts)| (*after, counts.as_slice())).collect();
    let of = |samples: &[(f64, &[(f64, f64)])]| {
        let progress = Progress::new(&bottles(samples, 10.0), Options::default()).unwrap();
        progress.outlook(&target(&[(4.0, 160.0)])).unwrap().remaining().estimate.unwrap().get()
    };
    assert!((of(&samples) / of(&SAMPLED) - 1.0).abs() < 0.05);
}

#[test]
fn the_order_of_samples_has_no_meaning() {
    let mut turned = SAMPLED;
    turned.rotate_left(2);
    let of = |samples: &[(f64, &[(f64, f64)])]| {
        let progress = Progress::new(&bottles(samples, 1.0), Options::default()).unwrap();
        progress.outlook(&target(&[(4.0, 160.0), (6.0, 40.0)])).unwrap()
    };
    assert_eq!(of(&SAMPLED), of(&turned));
}

#[test]
fn bottles_that_scatter_widen_the_interval_and_say_so() {
    let of = |spread: Spread| {
        let options = Options { spread, floor: Some(FloorRule::Absent), ..Options::default() };
        let outlook = Progress::new(&bottles(&SAMPLED, 10.0), options)
            .unwrap()
            .outlook(&target(&[(4.0, 160.0)]))
            .unwrap();
        let remaining = outlook.remaining();
        (remaining.high.unwrap().get() - remaining.low.unwrap().get(), outlook.assumptions.join("; "))
    };
    let (counting, said) = of(Spread::Counting);
    assert!(said.contains("counting alone"));
    let (stated, said) = of(Spread::Stated(Scatter::from_cv(0.1).unwrap()));
    assert!(
        stated > 2.0 * counting && said.contains("10 % beyond counting, as stated"),
        "{stated} {counting} {said}"
    );
    let (found, said) = of(Spread::Found);
    assert!(found > counting && said.contains("estimated from the samples"), "{found} {counting} {said}");
}

#[test]
fn what_cannot_be_used_is_refused() {
    let of = |bottles: &[Bottle]| Progress::new(bottles, Options::default());
    assert_eq!(of(&[]).unwrap_err().code(), "too-few-samples");
    let twice: [(f64, &[(f64, f64)]); 2] = [(1.0, &[(4.0, 5.0)]), (1.0, &[(4.0, 7.0)])];
    assert_eq!(of(&bottles(&twice, 1.0)).unwrap_err().code(), "too-few-samples");
    let period = |from: f64| ElementPeriod { from: turnovers(from), expected: Vec::new() };
    let options = Options {
        elements: vec![period(0.0), period(2.0)],
        mixing: Mixing::DeadZone(DeadZone::new(share(0.2), share(0.1)).unwrap()),
        ..Options::default()
    };
    assert_eq!(
        Progress::new(&bottles(&SAMPLED, 1.0), options).unwrap_err().code(),
        "periods-need-stirred-tank"
    );
}

#[test]
fn odd_samples_get_the_best_answer_there_is() {
    let limits = target(&[(4.0, 160.0)]);
    let of = |samples: &[(f64, &[(f64, f64)])]| {
        let progress = Progress::new(&bottles(samples, 10.0), Options::default()).unwrap();
        (progress.outlook(&limits).unwrap().remaining(), codes(&progress, Some(&limits)))
    };
    let equal: [(f64, &[(f64, f64)]); 4] =
        [(0.0, &[(4.0, 900.0)]), (1.0, &[(4.0, 900.0)]), (2.0, &[(4.0, 900.0)]), (3.0, &[(4.0, 900.0)])];
    let (remaining, found) = of(&equal);
    assert!(
        remaining.high.is_none() && remaining.estimate.is_none_or(|estimate| estimate.get() > 100.0),
        "{remaining}"
    );
    assert!(!found.is_empty(), "a level series is worth a word");
    let rising: [(f64, &[(f64, f64)]); 4] = [
        (0.0, &[(4.0, 900.0)]),
        (1.0, &[(4.0, 1_200.0)]),
        (2.0, &[(4.0, 1_600.0)]),
        (3.0, &[(4.0, 2_400.0)]),
    ];
    let (remaining, found) = of(&rising);
    assert!(remaining.high.is_none(), "{remaining}");
    assert!(found.contains(&"no-fall"), "{found:?}");
    let zero: [(f64, &[(f64, f64)]); 3] = [(0.0, &[(4.0, 0.0)]), (1.0, &[(4.0, 0.0)]), (2.0, &[(4.0, 0.0)])];
    let (remaining, _) = of(&zero);
    assert_eq!(remaining.estimate, Some(Turnovers::NONE));
    let met: [(f64, &[(f64, f64)]); 3] =
        [(0.0, &[(4.0, 900.0)]), (1.0, &[(4.0, 300.0)]), (2.0, &[(4.0, 100.0)])];
    assert_eq!(of(&met).0.estimate, Some(Turnovers::NONE));
    let nothing = Progress::new(&bottles(&zero, 1.0), Options::default()).unwrap();
    assert_eq!(nothing.sizes()[0].edge, Some(Edge::NoFall));
    assert_eq!(
        nothing.path(um(4.0), turnovers(1.0)).map(|there| there < PerMl::new(0.01).unwrap()),
        Some(true)
    );
}
