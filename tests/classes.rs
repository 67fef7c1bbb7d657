//! The class systems against published examples, their own sums, and the misprints that must not be met again.

#![allow(clippy::float_cmp)] // limits are compared exactly

use proptest::prelude::*;
use serde::Deserialize;
use siltcode::class::{Class, ClassSystem, Classification, Designation, Letter, as4059_of_code};
use siltcode::{Channel, Code, PerMl, Place, RangeNumber, Reading, Size, SizeScale, Spectrum, Status};
use siltcode_tests::{cases, golden};

/// A row of `as4059`, `nas1638`, `gost17216` and `navair`: one form for all of them.
#[derive(Deserialize)]
struct Example {
    id: String,
    system: String,
    scale: String,
    sizes_um: String,
    per_100_ml: String,
    cumulative_per_ml: String,
    classes: String,
    class: String,
    status: String,
}

impl Example {
    fn system(&self) -> ClassSystem {
        self.system.parse().unwrap()
    }

    /// The counts at the upper ends of the ranges, and those one above the lower ends.
    fn ends(&self) -> [Vec<f64>; 2] {
        let number = |text: &str| text.parse::<f64>().unwrap();
        let end = |cell: &str, upper: bool| match cell.split_once("..") {
            Some((from, _)) if !upper && !from.is_empty() => number(from) + 1.0,
            Some((_, to)) => number(to),
            None => number(cell),
        };
        [true, false].map(|upper| self.per_100_ml.split('|').map(|cell| end(cell, upper)).collect())
    }

    /// The spectra that these counts stand for.
    fn spectra(&self) -> Vec<Spectrum> {
        let (scale, sizes) = (self.scale.parse().unwrap(), numbers(&self.sizes_um));
        let of_system = if is_cumulative(self.system()) { cumulative } else { differential };
        let mut spectra = self.ends().map(|counts| of_system(scale, &sizes, &counts)).to_vec();
        if !self.cumulative_per_ml.is_empty() {
            let per_100_ml: Vec<f64> = numbers(&self.cumulative_per_ml).iter().map(|n| n * 100.0).collect();
            spectra.push(cumulative(scale, &sizes, &per_100_ml));
        }
        spectra
    }
}

fn numbers(list: &str) -> Vec<f64> {
    list.split('|').map(|number| number.trim().parse().unwrap()).collect()
}

fn is_cumulative(system: ClassSystem) -> bool {
    matches!(system, ClassSystem::As4059 | ClassSystem::As4059Rounded)
}

fn channels(scale: SizeScale, sizes: &[f64], per_100_ml: &[f64]) -> Vec<Channel> {
    assert_eq!(sizes.len(), per_100_ml.len());
    let channel = |(um, count): (&f64, &f64)| {
        let count = PerMl::new(count / 100.0).unwrap();
        Channel::new(Size::new(*um, scale).unwrap(), Reading::Count(count))
    };
    sizes.iter().zip(per_100_ml).map(channel).collect()
}

/// Counts at and above sizes, per 100 mL.
fn cumulative(scale: SizeScale, sizes: &[f64], per_100_ml: &[f64]) -> Spectrum {
    Spectrum::cumulative(channels(scale, sizes, per_100_ml)).unwrap()
}

/// Counts between sizes, per 100 mL, summed from the large end.
fn differential(scale: SizeScale, sizes: &[f64], per_100_ml: &[f64]) -> Spectrum {
    Spectrum::differential(channels(scale, sizes, per_100_ml)).unwrap()
}

#[test]
fn examples_of_every_system() {
    for row in ["as4059", "nas1638", "gost17216", "navair"].into_iter().flat_map(golden::<Example>) {
        for spectrum in row.spectra() {
            let class = row.system().classify(&spectrum).unwrap();
            assert_eq!(class.to_string(), row.class, "{}", row.id);
            let of_sizes = class.sizes.iter().filter_map(|size| size.class).map(|class| class.to_string());
            assert_eq!(of_sizes.collect::<Vec<_>>().join("|"), row.classes, "{}", row.id);
            assert_eq!(class.status == Status::Memory, row.status == "MEMORY", "{}", row.id);
        }
    }
}

#[test]
fn results_say_what_stands_behind_them() {
    let said = |system: ClassSystem, scale: SizeScale, sizes: &[f64], counts: &[f64]| {
        let class = system.classify(&differential(scale, sizes, counts)).unwrap();
        format!("{}; {}", class.table, class.notes.join("; "))
    };
    let umc = |system| said(system, SizeScale::UmC, &[4.0, 6.0, 14.0], &[9.0, 3.0, 1.0]);
    assert!(umc(ClassSystem::As4059).contains("cumulative, unrounded table"));
    assert!(umc(ClassSystem::As4059Rounded).contains("rounded in print"));
    assert!(umc(ClassSystem::As4059Differential).contains("differential"));
    let older = |system, count| said(system, SizeScale::Microscope, &[5.0, 10.0, 15.0], &[count, 3.0, 1.0]);
    assert!(older(ClassSystem::Nas1638, 9.0).contains("inactive for new design since 30 May 2001"));
    assert!(!older(ClassSystem::Gost17216, 9.0).contains("UNVERIFIED"));
    assert!(older(ClassSystem::Gost17216, 7000.0).contains("recalled and not read anywhere (UNVERIFIED)"));
}

#[derive(Deserialize)]
struct Misprint {
    id: String,
    system: String,
    class: String,
    scale: String,
    from_um: f64,
    right: Option<f64>,
    printed: String,
}

#[test]
fn misprints_are_not_met_again() {
    for row in golden::<Misprint>("misprints") {
        let system: ClassSystem = row.system.parse().unwrap();
        let size = Size::new(row.from_um, row.scale.parse().unwrap()).unwrap();
        let limits = system.allowed(row.class.parse().unwrap(), size.scale()).unwrap_or_default();
        let limit = limits.iter().find(|limit| limit.from == size).and_then(|limit| limit.at_most_per_100_ml);
        assert_eq!(limit, row.right, "{}", row.id);
        assert_ne!(limit.map(|limit| limit.to_string()), Some(row.printed), "{}", row.id);
    }
}

#[derive(Deserialize)]
struct Converted {
    id: String,
    from: String,
    to: String,
    expected: String,
    tolerance: String,
    status: String,
}

#[test]
fn sizes_of_one_scale_in_another() {
    for row in golden::<Converted>("size_scales") {
        let from: Size = row.from.parse().unwrap();
        let to: SizeScale = row.to.parse().unwrap();
        let found = from.converted(to);
        let Ok(expected) = row.expected.parse::<Size>() else {
            assert_eq!(found.unwrap_err().code(), row.expected, "{}", row.id);
            continue;
        };
        let (found, relative) = (found.unwrap(), row.tolerance.strip_prefix("rel ").unwrap_or("0"));
        assert_eq!(found.scale(), expected.scale(), "{}", row.id);
        let tolerance = expected.um() * relative.parse::<f64>().unwrap();
        assert!((found.um() - expected.um()).abs() <= tolerance, "{}: {found}", row.id);
        let spectrum = cumulative(from.scale(), &[from.um()], &[5.0]);
        let record = spectrum.converted(to).unwrap().conversion.unwrap();
        assert_eq!(record.status == Status::Memory, row.status == "MEMORY", "{}", row.id);
    }
}

#[test]
fn a_conversion_for_a_class_is_recorded() {
    let sizes = [4.2, 6.4, 13.6, 21.2, 38.2, 70.0];
    let spectrum = cumulative(SizeScale::UmC, &sizes, &[30_000.0, 18_620.0, 1445.0, 490.0, 72.0, 8.0]);
    assert_eq!(ClassSystem::Nas1638.classify(&spectrum).unwrap_err().code(), "class-scale-unsuited");
    let class = ClassSystem::Nas1638.classify_in(&spectrum, SizeScale::Acftd).unwrap();
    assert_eq!(class.per_size(), "7,5,6,6,5", "the published pairs put these sizes on those of the system");
    assert!(!class.is_interpolated());
    assert_eq!((class.scale, class.status), (SizeScale::Acftd, Status::Read));
    assert!(class.notes.iter().any(|note| note.contains("converted from um(c) to um(acftd)")));

    let own = ClassSystem::As4059.classify_in(&spectrum, SizeScale::Acftd).unwrap();
    assert_eq!(
        (own.scale, own.conversion),
        (SizeScale::UmC, None),
        "as4059 has sizes in the scale of the counts"
    );

    let umb = cumulative(SizeScale::UmB, &[5.0, 8.0, 16.0], &[30_000.0, 18_620.0, 1445.0]);
    let class = ClassSystem::As4059.classify_in(&umb, SizeScale::UmC).unwrap();
    assert_eq!(class.status, Status::Memory);
    assert!(class.notes.iter().any(|note| note.contains("recalled and not read (UNVERIFIED)")));

    let coarse = cumulative(SizeScale::UmC, &[3.0, 80.0], &[30_000.0, 1.0]);
    let class = ClassSystem::Gost17216.classify_in(&coarse, SizeScale::Acftd).unwrap();
    let classed = class.sizes.iter().filter(|size| size.class.is_some()).map(|size| size.from.um());
    assert_eq!(classed.collect::<Vec<_>>(), [1.0, 2.0, 5.0, 10.0, 25.0, 50.0], "0.5 and 200 um have no pair");
    let by_hand = ClassSystem::Nas1638.classify_in(&spectrum, SizeScale::Microscope);
    assert_eq!(by_hand.unwrap_err().code(), "conversion-unknown");
}

/// The sizes of a system, the end of its last range included, in a scale that it has.
fn sizes_of(system: ClassSystem, scale: SizeScale) -> Vec<f64> {
    let limits = system.allowed(system.classes()[0], scale).unwrap();
    let end = limits.last().unwrap().to;
    limits.iter().map(|limit| limit.from).chain(end).map(Size::um).collect()
}

#[test]
fn a_limit_belongs_to_its_class_and_one_more_does_not() {
    for system in ClassSystem::ALL {
        let scale = system.scales()[0];
        let sizes = sizes_of(system, scale);
        for (class, at) in
            system.classes().into_iter().flat_map(|class| (0..sizes.len()).map(move |at| (class, at)))
        {
            let limits = system.allowed(class, scale).unwrap();
            let Some(limit) = limits.get(at).and_then(|limit| limit.at_most_per_100_ml) else { continue };
            let class_of = |count: f64| {
                let mut counts = vec![if is_cumulative(system) { count } else { 0.0 }; at];
                counts.push(count);
                counts.resize(sizes.len(), 0.0);
                let spectrum =
                    if is_cumulative(system) { cumulative } else { differential }(scale, &sizes, &counts);
                system.classify(&spectrum).unwrap().sizes[at].class.unwrap().single().unwrap()
            };
            assert!(class_of(limit) <= class, "{system} {class} at {}", sizes[at]);
            assert!(class_of(limit + 1.0) > class, "{system} {class} at {}", sizes[at]);
        }
    }
}

#[derive(Deserialize)]
struct Possible {
    number: u8,
    from_a: String,
    from_b: String,
    from_c: String,
}

#[test]
fn a_code_alone_leaves_the_classes_its_bounds_leave() {
    for row in golden::<Possible>("as4059_from_iso4406") {
        let place = Place::number(RangeNumber::new(row.number).unwrap());
        let possible = as4059_of_code(Code::new([place; 3]).unwrap());
        let printed = |letter: Letter| {
            possible.iter().find(|possible| possible.letter == letter).unwrap().classes.to_string()
        };
        let found = [printed(Letter::A), printed(Letter::B), printed(Letter::C)];
        assert_eq!(found, [row.from_a, row.from_b, row.from_c], "number {}", row.number);
    }
}

#[test]
fn cumulative_limits_are_the_sums_of_the_differential_ones() {
    let mut cells = 0;
    for class in ClassSystem::As4059Differential.classes() {
        let ranges = ClassSystem::As4059Differential.allowed(class, SizeScale::UmC).unwrap();
        let sizes = ClassSystem::As4059.allowed(class, SizeScale::UmC).unwrap();
        let mut sum = 0.0;
        for (range, size) in ranges.iter().rev().zip(sizes.iter().rev()) {
            sum += range.at_most_per_100_ml.unwrap();
            assert_eq!(size.at_most_per_100_ml, Some(sum), "class {class} at {}", size.from);
            cells += 1;
        }
    }
    assert_eq!(cells, 70);
}

#[test]
fn a_size_outside_what_was_counted_has_no_class() {
    let spectrum = cumulative(SizeScale::UmC, &[4.0, 10.0, 21.0], &[80_000.0, 9_000.0, 500.0]);
    let class = ClassSystem::As4059.classify(&spectrum).unwrap();
    assert!(class.is_interpolated());
    assert_eq!(class.sizes[4].class, None, "38 um(c) is beyond the largest size counted");
    assert!(class.notes.iter().any(|note| note.contains("not counted, so not classed: 38, 70 um(c)")));
    assert_eq!(class.sizes[0].class.unwrap().to_string(), "7");
}

#[test]
fn differential_limits_hold_at_the_older_sizes_as_nas_1638_has_them() {
    for scale in [SizeScale::Microscope, SizeScale::Acftd] {
        for class in ClassSystem::Nas1638.classes() {
            let allowed = |system: ClassSystem| system.allowed(class, scale).unwrap();
            assert_eq!(
                allowed(ClassSystem::As4059Differential),
                allowed(ClassSystem::Nas1638),
                "class {class}"
            );
        }
    }
}

#[test]
fn a_place_without_an_upper_bound_is_left_out() {
    let letters = |code: &str| -> Vec<Letter> {
        as4059_of_code(code.parse().unwrap()).iter().map(|possible| possible.letter).collect()
    };
    assert_eq!(letters("14/12/>=7"), [Letter::A, Letter::B]);
    assert_eq!(letters("*/19/14"), [Letter::B, Letter::C]);
    assert_eq!(letters("-/18/13"), [Letter::B, Letter::C]);
}

#[test]
fn a_range_of_letters_is_over_counted_sizes_only() {
    let over = |sizes: &[f64], counts: &[f64]| {
        let class = ClassSystem::As4059.classify(&cumulative(SizeScale::UmC, sizes, counts)).unwrap();
        Designation::over_sizes(&class).map(|designation| designation.to_string())
    };
    assert_eq!(over(&[6.0, 14.0, 21.0], &[19_462.0, 900.0, 90.0]), Some("6 B-D".into()));
    assert_eq!(over(&[6.0], &[19_462.0]), None);
    let mut hidden = channels(SizeScale::UmC, &[4.0, 14.0], &[50_000.0, 900.0]);
    hidden[0].reading = Reading::TooMany;
    let class = ClassSystem::As4059.classify(&Spectrum::cumulative(hidden).unwrap()).unwrap();
    assert_eq!(
        class.to_string(),
        "1 to >12A/5C",
        "too many to count are at least the 900 of the larger size"
    );
    assert_eq!(Designation::over_sizes(&class), None);
}

/// A system, counts in its bands and its scale.
fn bands() -> impl Strategy<Value = (ClassSystem, Vec<f64>)> {
    let count = (0_i32..17, 1.0_f64..2.0).prop_map(|(power, share)| (2_f64.powi(power) * share).round());
    (0..ClassSystem::ALL.len()).prop_flat_map(move |at| {
        let system = ClassSystem::ALL[at];
        let bands = sizes_of(system, system.scales()[0]).len();
        (Just(system), proptest::collection::vec(count.clone(), bands))
    })
}

fn classify(system: ClassSystem, bands: &[f64]) -> Classification {
    let scale = system.scales()[0];
    system.classify(&differential(scale, &sizes_of(system, scale), bands)).unwrap()
}

/// A system of ranges, its scale, and counted sizes: some of its own, and others.
fn around_ranges() -> impl Strategy<Value = (ClassSystem, SizeScale, Vec<f64>)> {
    let systems: Vec<ClassSystem> =
        ClassSystem::ALL.into_iter().filter(|system| !is_cumulative(*system)).collect();
    let others = proptest::collection::vec(0.5_f64..150.0, 2..4);
    (proptest::sample::select(systems), any::<u8>(), others).prop_map(|(system, own, others)| {
        let scale = system.scales()[0];
        let own = sizes_of(system, scale).into_iter().enumerate().filter(|(i, _)| own >> (i % 8) & 1 == 1);
        let mut sizes: Vec<f64> = own.map(|(_, um)| um).chain(others).collect();
        sizes.sort_by(f64::total_cmp);
        sizes.dedup();
        (system, scale, sizes)
    })
}

/// A law between two counted sizes is flatter the more particles lie beyond, and then reads fewer of the small ones.
#[test]
fn adding_particles_beyond_can_improve_a_range_that_ends_between_counted_sizes() {
    let class = |beyond: f64| {
        let spectrum = differential(SizeScale::UmC, &[6.0, 20.0], &[70_000.0, beyond]);
        ClassSystem::As4059Differential.classify(&spectrum).unwrap().sizes[0].class.unwrap()
    };
    assert!(class(70_000.0).worst() < class(70.0).best(), "6 to 14 um(c), of particles of 6 to 20");
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn adding_particles_never_improves_a_class((system, bands) in bands(), at in 0_usize..9, more in 0.0..1e5) {
        let mut dirtier = bands.clone();
        let at = at % bands.len();
        dirtier[at] += more;
        let (before, after) = (classify(system, &bands), classify(system, &dirtier));
        prop_assert!(after.worst.worst() >= before.worst.worst());
        for (before, after) in before.sizes.iter().zip(&after.sizes) {
            prop_assert!(after.class.unwrap().worst() >= before.class.unwrap().worst());
        }
    }

    #[test]
    fn adding_particles_between_other_sizes_improves_no_cumulative_class(
        counts in proptest::collection::vec(1.0..1e6, 5), at in 0_usize..5, more in 0.0..1e6,
    ) {
        let sizes = [3.0, 5.0, 12.0, 30.0, 80.0];
        let mut dirtier = counts.clone();
        dirtier[at] += more;
        let class = |bands: &[f64]| ClassSystem::As4059.classify(&differential(SizeScale::UmC, &sizes, bands)).unwrap();
        let (before, after) = (class(&counts), class(&dirtier));
        prop_assert!(after.worst.best() >= before.worst.best() && after.worst.worst() >= before.worst.worst());
    }

    #[test]
    fn adding_particles_below_the_end_of_a_range_never_improves_it(
        (system, scale, sizes) in around_ranges(), counts in proptest::collection::vec(1.0..1e6, 12),
        at in 0_usize..12, more in 0.0..1e6,
    ) {
        let counts = &counts[..sizes.len()];
        let at = at % sizes.len();
        let mut dirtier = counts.to_vec();
        dirtier[at] += more;
        let [before, after] = [counts, &dirtier].map(|bands| system.classify(&differential(scale, &sizes, bands)));
        let (Ok(before), Ok(after)) = (before, after) else { return Ok(()) };
        for (before, after) in before.sizes.iter().zip(&after.sizes) {
            let (Some(was), Some(is)) = (before.class, after.class) else { continue };
            let beyond = before.to.is_some_and(|to| sizes[at] >= to.um() && !sizes.contains(&to.um()));
            prop_assert!(beyond || is.best() >= was.best() && is.worst() >= was.worst(), "{before:?} {after:?}");
        }
    }

    #[test]
    fn what_one_range_between_counted_sizes_loses_the_other_gains(fine in 1.0..1e6, coarse in 1.0..1e6) {
        let spectrum = differential(SizeScale::UmC, &[6.0, 21.0], &[fine, coarse]);
        let class = ClassSystem::As4059Differential.classify(&spectrum).unwrap();
        let [least, most] = [0, 1].map(|i| (class.sizes[i].at_least_per_100_ml, class.sizes[1 - i].at_most_per_100_ml));
        for (least, most) in [least, most] {
            prop_assert!((least.unwrap() + most.unwrap() - fine).abs() < 1e-9 * (fine + coarse), "{class:?}");
        }
    }

    #[test]
    fn the_worst_of_the_sizes_is_the_class((system, bands) in bands()) {
        let class = classify(system, &bands);
        let worst = class.sizes.iter().map(|size| size.class.unwrap().worst()).max().unwrap();
        prop_assert_eq!(class.worst.single(), Some(worst));
    }

    #[test]
    fn printed_classes_read_back((system, bands) in bands()) {
        let class = classify(system, &bands);
        let forms = [Designation::of_sizes(&class), Designation::of_worst(&class), Designation::over_sizes(&class)];
        prop_assert!(forms.iter().all(|form| form.is_some() == is_cumulative(system)));
        for designation in forms.into_iter().flatten() {
            for text in [designation.to_string(), designation.with_standard()] {
                prop_assert_eq!(text.parse::<Designation>().unwrap(), designation.clone());
            }
        }
    }

    #[test]
    fn no_text_panics(text in "\\PC{0,12}") {
        let _ = text.parse::<Designation>();
        let _ = text.parse::<Class>();
        let _ = text.parse::<ClassSystem>();
    }
}
