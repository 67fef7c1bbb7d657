//! The class systems against published examples, their own sums, and the misprints that must not be met again.

#![allow(clippy::float_cmp)] // limits are compared exactly

use proptest::prelude::*;
use serde::Deserialize;
use siltcode::class::{Class, ClassSystem, Designation, Letter, as4059_of_code};
use siltcode::{Channel, Code, PerMl, Place, RangeNumber, Reading, Size, SizeScale, Spectrum};
use siltcode_tests::golden;

fn numbers(list: &str) -> Vec<f64> {
    list.split('|').map(|number| number.trim().parse().unwrap()).collect()
}

/// Cumulative counts per 100 mL.
fn per_100_ml(scale: SizeScale, sizes: &[f64], counts: &[f64]) -> Spectrum {
    let channels = sizes.iter().zip(counts).map(|(um, count)| {
        let size = Size::new(*um, scale).unwrap();
        Channel::new(size, Reading::Count(PerMl::new(count / 100.0).unwrap()))
    });
    Spectrum::cumulative(channels.collect()).unwrap()
}

/// Counts between sizes, per 100 mL, summed from the large end.
fn bands_per_100_ml(scale: SizeScale, sizes: &[f64], bands: &[f64]) -> Spectrum {
    let channels = sizes.iter().zip(bands).map(|(um, count)| {
        let size = Size::new(*um, scale).unwrap();
        Channel::new(size, Reading::Count(PerMl::new(count / 100.0).unwrap()))
    });
    Spectrum::differential(channels.collect()).unwrap()
}

#[derive(Deserialize)]
struct Nas {
    id: String,
    sizes_um: String,
    differential_per_100ml: String,
    classes: String,
    class: String,
}

#[test]
fn nas_1638_examples() {
    for row in golden::<Nas>("nas1638") {
        // `a..b` is more than a and up to b: both ends are classed, the lower one just above.
        let ends = |upper: bool| -> Vec<f64> {
            let end = |cell: &str| match cell.split_once("..") {
                Some((_, to)) if upper => to.parse::<f64>().unwrap(),
                Some((from, _)) => from.parse::<f64>().unwrap() + 1.0,
                None => cell.parse().unwrap(),
            };
            row.differential_per_100ml.split('|').map(end).collect()
        };
        for upper in [true, false] {
            let mut sizes = numbers(&row.sizes_um);
            let mut bands = ends(upper);
            sizes.truncate(bands.len().max(2));
            bands.resize(sizes.len(), 0.0); // a range alone: nothing above it
            let spectrum = bands_per_100_ml(SizeScale::Microscope, &sizes, &bands);
            let class = ClassSystem::Nas1638.classify(&spectrum).unwrap();
            assert_eq!(class.worst.to_string(), row.class, "{}", row.id);
            let of_sizes: Vec<String> =
                class.sizes.iter().filter_map(|s| s.class).map(|c| c.to_string()).collect();
            let expected: Vec<&str> = row.classes.split('|').collect();
            assert_eq!(of_sizes[..expected.len()], expected, "{}", row.id);
            assert!(class.notes.iter().any(|note| note.contains("inactive")));
        }
    }
}

#[derive(Deserialize)]
struct As4059 {
    id: String,
    sizes_um_c: String,
    counts: String,
    class_rounded: String,
    class_unrounded: String,
}

#[test]
fn as4059_examples_by_both_tables() {
    for row in golden::<As4059>("as4059") {
        let upper: Vec<f64> =
            row.counts.split('|').map(|cell| cell.split_once("..").unwrap().1.parse().unwrap()).collect();
        let spectrum = per_100_ml(SizeScale::UmC, &numbers(&row.sizes_um_c), &upper);
        for (system, expected) in
            [(ClassSystem::As4059, &row.class_unrounded), (ClassSystem::As4059Rounded, &row.class_rounded)]
        {
            let class = system.classify(&spectrum).unwrap();
            assert_eq!(&class.to_string(), expected, "{}", row.id);
            assert!(class.table.contains(if system == ClassSystem::As4059 {
                "unrounded"
            } else {
                "rounded"
            }));
        }
    }
}

#[derive(Deserialize)]
struct Navair {
    sizes_um: String,
    differential_per_100ml: String,
    class: String,
}

#[test]
fn navair_example() {
    for row in golden::<Navair>("navair") {
        let sizes = numbers(&row.sizes_um);
        let bands = numbers(&row.differential_per_100ml);
        let class = |bands: &[f64]| {
            let spectrum = bands_per_100_ml(SizeScale::Microscope, &sizes, bands);
            ClassSystem::Navair.classify(&spectrum).unwrap().worst.to_string()
        };
        assert_eq!(class(&bands), row.class);
        // One particle over in any one range moves the sample to the next class.
        for i in 0..bands.len() {
            let mut over = bands.clone();
            over[i] += 1.0;
            assert_eq!(class(&over), "6", "range {i}");
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
fn misprints_are_not_met_again() {
    let limit = |system: ClassSystem, class: &str, size: usize| {
        let scale = if system == ClassSystem::Nas1638 { SizeScale::Microscope } else { SizeScale::UmC };
        system.allowed(class.parse().unwrap(), scale).unwrap()[size].at_most_per_100_ml.unwrap()
    };
    for (system, class, size, right) in [
        (ClassSystem::Nas1638, "7", 3, 180.0),
        (ClassSystem::Nas1638, "12", 4, 1024.0),
        (ClassSystem::Nas1638, "1", 1, 89.0),
        (ClassSystem::Nas1638, "6", 0, 16_000.0),
        (ClassSystem::Nas1638, "6", 1, 2850.0),
        (ClassSystem::As4059Rounded, "3", 0, 6250.0),
        (ClassSystem::As4059Rounded, "12", 1, 1_250_000.0),
        (ClassSystem::As4059Rounded, "7", 3, 1220.0),
    ] {
        assert_eq!(limit(system, class, size), right, "{system} {class} size {size}");
    }
    assert!(ClassSystem::Nas1638.classes().iter().all(|class| *class <= "12".parse::<Class>().unwrap()));
}

#[test]
fn counts_between_the_two_prints_change_class() {
    let class = |system: ClassSystem, count| {
        system.classify(&per_100_ml(SizeScale::UmC, &[6.0], &[count])).unwrap().to_string()
    };
    for (count, unrounded, rounded) in
        [(19_462.0, "6B", "6B"), (19_463.0, "7B", "6B"), (19_500.0, "7B", "6B"), (77_850.0, "9B", "8B")]
    {
        assert_eq!(class(ClassSystem::As4059, count), unrounded, "{count}");
        assert_eq!(class(ClassSystem::As4059Rounded, count), rounded, "{count}");
    }
}

#[test]
fn what_is_from_memory_says_so() {
    let class = |count| {
        let spectrum = bands_per_100_ml(
            SizeScale::Microscope,
            &[5.0, 10.0, 25.0, 50.0, 100.0, 200.0],
            &[count, 0., 0., 0., 0., 0.],
        );
        ClassSystem::Gost17216.classify(&spectrum).unwrap()
    };
    assert!(!class(1000.0).notes.iter().any(|note| note.contains("MEMORY")));
    let recalled = class(7000.0);
    assert_eq!(recalled.worst.to_string(), "9");
    assert!(recalled.notes.iter().any(|note| note.contains("MEMORY")));
}

#[test]
fn a_size_outside_what_was_counted_has_no_class() {
    let spectrum = per_100_ml(SizeScale::UmC, &[4.0, 10.0, 21.0], &[80_000.0, 9_000.0, 500.0]);
    let class = ClassSystem::As4059.classify(&spectrum).unwrap();
    assert!(class.is_interpolated());
    assert_eq!(class.sizes[4].class, None, "38 um(c) is beyond the largest size counted");
    assert!(class.notes.iter().any(|note| note.contains("not counted")));
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

const SIZES: [f64; 6] = [4.0, 6.0, 14.0, 21.0, 38.0, 70.0];

fn bands() -> impl Strategy<Value = Vec<f64>> {
    proptest::collection::vec((0_u32..9_000_000).prop_map(|n| f64::from(n) / 3.0), 6)
}

proptest! {
    #[test]
    fn adding_particles_never_improves_a_class(bands in bands(), at in 0_usize..6, more in 0.0..1e6) {
        let mut dirtier = bands.clone();
        dirtier[at] += more;
        for system in [ClassSystem::As4059, ClassSystem::As4059Rounded, ClassSystem::As4059Differential] {
            let before = system.classify(&bands_per_100_ml(SizeScale::UmC, &SIZES, &bands)).unwrap();
            let after = system.classify(&bands_per_100_ml(SizeScale::UmC, &SIZES, &dirtier)).unwrap();
            prop_assert!(after.worst.worst() >= before.worst.worst());
            for (before, after) in before.sizes.iter().zip(&after.sizes) {
                prop_assert!(after.class.unwrap().worst() >= before.class.unwrap().worst());
            }
        }
    }

    #[test]
    fn the_worst_of_the_sizes_is_the_class(bands in bands()) {
        for system in [ClassSystem::As4059, ClassSystem::As4059Differential] {
            let class = system.classify(&bands_per_100_ml(SizeScale::UmC, &SIZES, &bands)).unwrap();
            let worst = class.sizes.iter().map(|size| size.class.unwrap().worst()).max().unwrap();
            prop_assert_eq!(class.worst.worst(), worst);
        }
    }

    #[test]
    fn printed_classes_read_back(bands in bands()) {
        let class = ClassSystem::As4059.classify(&bands_per_100_ml(SizeScale::UmC, &SIZES, &bands)).unwrap();
        for designation in [Designation::of_sizes(&class), Designation::of_worst(&class), Designation::over_sizes(&class)] {
            let designation = designation.unwrap();
            prop_assert_eq!(designation.to_string().parse::<Designation>().unwrap(), designation);
        }
    }

    #[test]
    fn no_text_panics(text in "\\PC{0,12}") {
        let _ = text.parse::<Designation>();
        let _ = text.parse::<Class>();
        let _ = text.parse::<ClassSystem>();
    }
}
