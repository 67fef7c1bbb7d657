//! Whole arrays: every way through them against a literal reading of the table, and rows against the check of one bottle.

use proptest::prelude::*;
use siltcode::bulk::{
    ABOVE_SCALE, Columns, IMPOSSIBLE, NOT_COUNTED, Path, Scores, Target, outcome_of, range_number_of,
};
use siltcode::spec::published;
use siltcode::{Outcome, PerMl, RangeNumber, Sample, SizeScale, Spec, Spectrum};
use siltcode_tests::{Ranges, cases, upper_bounds};

/// Every double within 1000 of a bound.
fn around_the_bounds() -> impl Iterator<Item = f64> {
    let bits = upper_bounds().into_iter().map(f64::to_bits);
    bits.flat_map(|bits| (bits - 1000..=bits + 1000).map(f64::from_bits))
}

/// The first, second and last double of every sign and exponent: zeros, subnormals, infinities and NaNs among them.
fn ends_of_the_exponents() -> impl Iterator<Item = f64> {
    (0..1_u64 << 12)
        .flat_map(|top| [0, 1, (1 << 52) - 1].map(|fraction| f64::from_bits(top << 52 | fraction)))
}

/// Spread over all bit patterns: multiples of 2^64 over the golden ratio.
fn any_bits(count: u64) -> impl Iterator<Item = f64> {
    (1..=count).map(|i| f64::from_bits(i.wrapping_mul(0x9E37_79B9_7F4A_7C15)))
}

/// Spread over the logarithm of the scale and a little beyond, 1e-4 to 1e8 per mL.
fn over_the_scale(count: u32) -> impl Iterator<Item = f64> {
    (1..=count).map(|i| 10_f64.powf((f64::from(i) * std::f64::consts::SQRT_2).fract() * 12.0 - 4.0))
}

/// Within one exponent every way is a step up at most, so its ends and both sides of the bound settle all doubles.
#[test]
fn every_way_reads_the_table_literally() {
    let table = Ranges::default();
    let values: Vec<f64> = around_the_bounds()
        .chain(ends_of_the_exponents())
        .chain(any_bits(200_000))
        .chain(over_the_scale(200_000))
        .collect();
    let expected: Vec<u8> = values.iter().map(|&value| table.number(value)).collect();
    for seen in (0..=ABOVE_SCALE).chain([NOT_COUNTED]) {
        assert!(expected.contains(&seen), "no value with {seen}");
    }
    for path in Path::all() {
        let mut numbers = vec![0; values.len()];
        path.range_numbers(&values, &mut numbers).unwrap();
        for ((&value, &found), &expected) in values.iter().zip(&numbers).zip(&expected) {
            assert_eq!(found, expected, "{value:e}, {path}");
        }
    }
    for (&value, &expected) in values.iter().zip(&expected) {
        assert_eq!(range_number_of(value), expected, "{value:e}");
        if let Ok(per_ml) = PerMl::new(value) {
            assert_eq!(RangeNumber::of(per_ml).get(), expected, "{value:e}");
        } else {
            assert!(expected == NOT_COUNTED || value.is_infinite(), "{value:e}");
        }
    }
}

#[test]
fn every_way_reads_single_precision_literally() {
    let table = Ranges::default();
    #[allow(clippy::cast_possible_truncation)] // to single precision
    let bounds = upper_bounds().into_iter().map(|bound| (bound as f32).to_bits());
    let near = bounds.flat_map(|bits| (bits - 1000..=bits + 1000).map(f32::from_bits));
    #[allow(clippy::cast_possible_truncation)]
    let spread = over_the_scale(50_000).map(|value| value as f32);
    let ends =
        (0..1_u32 << 9).flat_map(|top| [0, 1, (1 << 23) - 1].map(|rest| f32::from_bits(top << 23 | rest)));
    let values: Vec<f32> = near.chain(spread).chain(ends).collect();
    for path in Path::all() {
        let mut numbers = vec![0; values.len()];
        path.range_numbers_f32(&values, &mut numbers).unwrap();
        for (&value, &found) in values.iter().zip(&numbers) {
            assert_eq!(found, table.number(value.into()), "{value:e}, {path}");
        }
    }
}

/// A vector loop has a rest behind it and an array may begin anywhere.
#[test]
fn every_length_and_every_beginning_comes_out_the_same() {
    let values: Vec<f64> = over_the_scale(300).collect();
    #[allow(clippy::cast_possible_truncation)] // to single precision
    let singles: Vec<f32> = values.iter().map(|&value| value as f32).collect();
    let expected: Vec<u8> = values.iter().map(|&value| range_number_of(value)).collect();
    let of_singles: Vec<u8> = singles.iter().map(|&value| range_number_of(value.into())).collect();
    for path in Path::all() {
        for (from, length) in (0..40).flat_map(|from| (0..200).map(move |length| (from, length))) {
            let part = from..from + length;
            let mut numbers = vec![77; length];
            path.range_numbers(&values[part.clone()], &mut numbers).unwrap();
            assert_eq!(numbers, expected[part.clone()], "{path}, {part:?}");
            numbers.fill(77);
            path.range_numbers_f32(&singles[part.clone()], &mut numbers).unwrap();
            assert_eq!(numbers, of_singles[part.clone()], "{path}, {part:?}");
        }
    }
}

/// Columns of rows, scored one way.
fn scored(path: Path, rows: &[[f64; 3]], target: &Target) -> (Vec<[u8; 3]>, Vec<u8>) {
    let column = |i: usize| rows.iter().map(|row| row[i]).collect::<Vec<f64>>();
    let columns = [0, 1, 2].map(column);
    let mut numbers = [0, 1, 2].map(|_| vec![0; rows.len()]);
    let mut outcomes = vec![0; rows.len()];
    let per_ml: Columns<'_> = columns.each_ref().map(Vec::as_slice);
    let out = Scores { numbers: numbers.each_mut().map(Vec::as_mut_slice), outcomes: &mut outcomes };
    path.score(per_ml, target, out).unwrap();
    let numbers = (0..rows.len()).map(|i| numbers.each_ref().map(|column| column[i])).collect();
    (numbers, outcomes)
}

/// The outcome of one bottle by the check of one bottle; none where it refuses the counts.
fn checked(row: [f64; 3], spec: &Spec) -> Option<Outcome> {
    let counted: Vec<(f64, f64)> =
        [4.0, 6.0, 14.0].into_iter().zip(row).filter(|(_, per_ml)| !per_ml.is_nan()).collect();
    let spectrum = Spectrum::from_per_ml(&counted).ok()?;
    Some(spec.check(&Sample::new("x", [spectrum])).unwrap().outcome)
}

/// Counts of all magnitudes, those at the limits most often, some missing, some negative.
fn count() -> impl Strategy<Value = f64> {
    let bound = |i: usize| upper_bounds()[i];
    prop_oneof![
        4 => (10..24_usize).prop_map(bound),
        2 => (10..24_usize).prop_map(move |i| bound(i).next_up()),
        2 => (-2.0..7.0_f64).prop_map(|log| 10_f64.powf(log)),
        1 => Just(f64::NAN),
        1 => Just(0.0),
        1 => Just(-0.0),
        1 => Just(-1.0),
    ]
}

fn specs() -> Vec<Spec> {
    let code = |text: &str| Spec::from_code(text.parse().unwrap(), SizeScale::UmC).unwrap();
    let toml = |text: &str| Spec::from_toml(text).unwrap();
    vec![
        code("18/16/13"),
        code("-/16/13"),
        toml("code = \"18/16/13\"\nwater = \"200 mg/kg\""),
        toml("[counts]\n\"4 um(c)\" = \"1300 /mL\"\n\"30 um(c)\" = 7"),
        toml("[counts]\n\"6 um(c)\" = \"report\"\n\"14 um(c)\" = 13"),
    ]
}

proptest! {
    // Few cases of many rows: more than a block of them, with a rest.
    #![proptest_config(cases(8))]

    #[test]
    fn rows_come_out_as_bottles_do(
        rows in prop::collection::vec((count(), count(), count()).prop_map(|(a, b, c)| [a, b, c]), 500..600)
    ) {
        let possible = |row: &[f64; 3]| row.iter().any(|per_ml| !per_ml.is_nan());
        let rows: Vec<[f64; 3]> = rows.into_iter().filter(possible).collect();
        for spec in specs() {
            let target = Target::of(&spec).unwrap();
            for path in Path::all() {
                let (numbers, outcomes) = scored(path, &rows, &target);
                for ((row, numbers), outcome) in rows.iter().zip(numbers).zip(outcomes) {
                    prop_assert_eq!(numbers, row.map(range_number_of));
                    let expected = checked(*row, &spec);
                    prop_assert_eq!(outcome_of(outcome), expected, "{:?} {} {}", row, spec.name, path);
                    prop_assert_eq!(outcome == IMPOSSIBLE, expected.is_none());
                }
            }
        }
    }
}

#[test]
fn a_target_takes_every_published_specification_or_says_why_not() {
    for name in published::names() {
        let spec = published::spec(name).unwrap();
        let alternatives = spec.requirements.iter().any(|requirement| {
            requirement.alternative.is_some()
                && matches!(requirement.demand, siltcode::spec::Demand::Particles { .. })
        });
        let target = Target::of(&spec);
        assert_eq!(target.is_err(), alternatives, "{}", spec.name);
        if let Err(error) = target {
            assert_eq!(error.code(), "target-alternatives", "{}", spec.name);
        }
    }
}

#[test]
fn places_must_fit_the_columns() {
    let target = Target::of(&specs()[0]).unwrap();
    let (mut a, mut b, mut c, mut outcomes) = ([7; 2], [7; 2], [7; 1], [7; 2]);
    let out = Scores { numbers: [&mut a, &mut b, &mut c], outcomes: &mut outcomes };
    let error = siltcode::bulk::score([&[1.0, 2.0]; 3], &target, out).unwrap_err();
    assert_eq!(error.code(), "lengths-differ");
    assert_eq!((a, b, c, outcomes), ([7; 2], [7; 2], [7; 1], [7; 2]));
}
