//! ISO 4406: worked examples, bounds, codes and properties.

use proptest::prelude::*;
use serde::Deserialize;
use siltcode::bulk::{ABOVE_SCALE, range_number_of};
use siltcode::count::whole_count;
use siltcode::{
    Basis, Channel, Code, CountedVolume, Dilution, Evidence, PerMl, Place, RangeNumber, Reading, Size,
    SizeScale, Spectrum,
};
use siltcode_tests::{cases, golden, per_ml, upper_bounds};

fn number(per_ml: PerMl) -> u8 {
    RangeNumber::of(per_ml).get()
}

/// A worked example; what its columns mean stands in the file's header.
#[derive(Deserialize)]
struct Example {
    id: String,
    kind: String,
    sizes_um: String,
    scale: String,
    per: String,
    counts: String,
    code: String,
    printed: String,
}

impl Example {
    fn scale(&self) -> SizeScale {
        match self.scale.as_str() {
            "um(c)" => SizeScale::UmC,
            "um" => SizeScale::Microscope,
            other => panic!("{}: scale {other}", self.id),
        }
    }

    fn basis(&self) -> Basis {
        match self.per.as_str() {
            "1 mL" => Basis::PerMl,
            "100 mL" => Basis::Per100Ml,
            other => panic!("{}: per {other}", self.id),
        }
    }

    fn sizes(&self) -> Vec<Size> {
        self.sizes_um.split('|').map(|um| Size::new(um.parse().unwrap(), self.scale()).unwrap()).collect()
    }

    /// A number of the `counts` column, per mL.
    fn per_ml(&self, count: &str) -> PerMl {
        per_ml(count.parse::<f64>().unwrap() / self.basis().volume_ml().unwrap())
    }

    fn counts(&self) -> Vec<PerMl> {
        self.counts.split('|').map(|count| self.per_ml(count)).collect()
    }

    /// The two ends of each place; the lower one may be left open.
    fn bounds(&self) -> Vec<(Option<PerMl>, PerMl)> {
        let ends = self.counts.split('|').map(|place| place.split_once("..").unwrap());
        ends.map(|(low, up)| ((!low.is_empty()).then(|| self.per_ml(low)), self.per_ml(up))).collect()
    }

    /// The code of these counts, at the sizes of the example only.
    fn scored(&self, counts: &[PerMl]) -> String {
        let sizes = self.sizes();
        assert_eq!(sizes.len(), counts.len(), "{}", self.id);
        let channels =
            sizes.iter().zip(counts).map(|(&size, &count)| Channel::new(size, Reading::Count(count)));
        let code = Code::of(&Spectrum::cumulative(channels.collect()).unwrap()).unwrap();
        let asked = Code::sizes_um(self.scale())
            .into_iter()
            .zip(code.places())
            .filter(|(um, _)| um.is_some_and(|um| sizes.contains(&Size::new(um, self.scale()).unwrap())));
        asked.map(|(_, place)| place.to_string()).collect::<Vec<_>>().join("/")
    }

    /// The range numbers of the expected code, marks left out.
    fn numbers(&self) -> Vec<RangeNumber> {
        self.code.split('/').map(|place| place.parse::<Place>().unwrap().range_number().unwrap()).collect()
    }

    fn check_bounds(&self) {
        let (numbers, bounds) = (self.numbers(), self.bounds());
        let uppers: Vec<PerMl> = bounds.iter().map(|&(_, up)| up).collect();
        assert_eq!(self.scored(&uppers), self.code.replace(">=", ""), "{}", self.id);
        assert_eq!(numbers.len(), bounds.len(), "{}", self.id);
        for (expected, (low, up)) in numbers.into_iter().zip(bounds) {
            assert_eq!(expected.upper(), Some(up), "{}", self.id);
            let more_than = expected.bounds().more_than;
            assert!(low.is_none_or(|low| more_than == Some(low.get())), "{}: {more_than:?}", self.id);
        }
    }

    fn check_code(&self) {
        let code: Code = self.code.parse().unwrap_or_else(|error| panic!("{}: {error}", self.id));
        assert_eq!(code.to_string(), self.code, "{}", self.id);
    }

    fn check_trap(&self) {
        if self.code.is_empty() {
            return self.check_band();
        }
        let scored = self.scored(&self.counts());
        assert_eq!(scored, self.code, "{}", self.id);
        assert_ne!(scored, self.printed, "{}", self.id);
    }

    /// Particles of one size band leave the size itself not counted, so they have no code.
    fn check_band(&self) {
        let [size] = self.sizes()[..] else { panic!("{}: one band expected", self.id) };
        let next = Code::sizes_um(self.scale()).into_iter().flatten().find(|um| *um > size.um()).unwrap();
        let bands = vec![
            Channel::new(size, Reading::Count(self.counts()[0])),
            Channel::new(Size::new(next, self.scale()).unwrap(), Reading::NotCounted),
        ];
        let spectrum = Spectrum::differential(bands).unwrap();
        assert_eq!(Code::of(&spectrum).unwrap_err().code(), "nothing-counted", "{}", self.id);
    }
}

fn examples() -> Vec<Example> {
    golden("iso4406")
}

#[test]
fn worked_examples_come_out_as_printed_and_traps_do_not() {
    for example in examples() {
        match example.kind.as_str() {
            "count" => assert_eq!(example.scored(&example.counts()), example.code, "{}", example.id),
            "bounds" => example.check_bounds(),
            "code" => example.check_code(),
            "trap" => example.check_trap(),
            other => panic!("{}: kind {other}", example.id),
        }
    }
}

#[test]
fn every_kind_of_example_is_there() {
    let examples = examples();
    let ids: Vec<&str> = examples.iter().map(|example| example.id.as_str()).collect();
    for needed in ["C37a", "C37k", "C38", "W30", "W31", "W32", "W33", "W34"] {
        assert!(ids.contains(&needed), "{needed}");
    }
    for kind in ["count", "bounds", "code", "trap"] {
        assert!(examples.iter().any(|example| example.kind == kind), "{kind}");
    }
}

#[test]
fn a_place_of_fewer_than_twenty_particles_is_marked_as_printed() {
    let marked: Vec<Example> =
        examples().into_iter().filter(|e| e.kind == "bounds" && e.code.contains(">=")).collect();
    assert!(!marked.is_empty());
    let volume = CountedVolume::from_ml(10.0).unwrap();
    for example in marked {
        let counted = |(size, (_, up)): (Size, (_, PerMl))| {
            let raw = whole_count(up.get() * volume.ml()).unwrap();
            Channel::counted(size, Evidence::of_run(raw, volume, Dilution::NONE))
        };
        let channels = example.sizes().into_iter().zip(example.bounds()).map(counted).collect();
        let code = Code::of(&Spectrum::cumulative(channels).unwrap()).unwrap();
        assert_eq!(code.to_string(), example.code, "{}", example.id);
    }
}

#[test]
fn each_bound_belongs_to_its_number_and_its_neighbours_do_as_well() {
    let bounds = upper_bounds();
    assert_eq!(bounds.len(), 29);
    for (expected, bound) in (0..).zip(bounds) {
        for (value, expected) in
            [(bound.next_down(), expected), (bound, expected), (bound.next_up(), expected + 1)]
        {
            assert_eq!(number(per_ml(value)), expected, "{value:e}");
            assert_eq!(range_number_of(value), expected, "{value:e}");
        }
    }
}

/// Every place a code can have.
fn places() -> Vec<Place> {
    let numbers = RangeNumber::all().chain([RangeNumber::ABOVE]);
    let numbered = numbers.flat_map(|number| [false, true].map(|few| Place::Number { number, few }));
    numbered.chain([Place::TooMany, Place::NotRequired]).collect()
}

/// The number that places are compared by, read off their text: `*` is above all, `-` takes no part.
fn heights(texts: [&str; 3]) -> Vec<u8> {
    let height = |text: &str| match text.trim_start_matches(">=") {
        "*" => Some(u8::MAX),
        "-" => None,
        ">28" => Some(ABOVE_SCALE),
        number => number.parse().ok(),
    };
    texts.into_iter().filter_map(height).collect()
}

#[test]
fn every_code_that_can_occur_is_read_back_and_no_other() {
    let places: Vec<(Place, String)> = places().into_iter().map(|place| (place, place.to_string())).collect();
    let mut read = 0;
    for (a, first) in &places {
        for (b, second) in &places {
            for (c, third) in &places {
                let text = format!("{first}/{second}/{third}");
                let heights = heights([first, second, third]);
                let possible = !heights.is_empty() && heights.windows(2).all(|pair| pair[0] >= pair[1]);
                let parsed = text.parse::<Code>();
                assert_eq!(parsed, Code::new([*a, *b, *c]), "{text}");
                assert_eq!(parsed.is_ok(), possible, "{text}");
                read += usize::from(parsed.is_ok_and(|code| code.to_string() == text));
            }
        }
    }
    assert!(read > places.len(), "{read}");
}

#[test]
fn json_holds_a_code_as_it_is_printed() {
    for example in examples().iter().filter(|example| example.kind == "code") {
        let json = format!("\"{}\"", example.code);
        let code: Code = serde_json::from_str(&json).unwrap();
        assert_eq!(serde_json::to_string(&code).unwrap(), json);
    }
}

/// Concentrations of all magnitudes, those of the scale most often.
fn concentration() -> impl Strategy<Value = f64> {
    prop_oneof![4 => (-4.0..8.0_f64).prop_map(|log| 10_f64.powf(log)), 1 => 0.0..f64::MAX, 1 => Just(0.0)]
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn more_particles_never_have_a_lower_number(a in concentration(), b in concentration()) {
        let (fewer, more) = (per_ml(a.min(b)), per_ml(a.max(b)));
        prop_assert!(RangeNumber::of(fewer) <= RangeNumber::of(more));
        prop_assert!(range_number_of(fewer.get()) <= range_number_of(more.get()));
    }

    #[test]
    fn a_number_holds_what_it_is_given_for(value in concentration()) {
        let bounds = RangeNumber::of(per_ml(value)).bounds();
        prop_assert!(bounds.more_than.is_none_or(|low| low < value));
        prop_assert!(bounds.up_to.is_none_or(|up| value <= up));
    }

    /// All bounds are whole numbers per 100 mL, so whole counts per 100 mL can be compared without rounding.
    #[test]
    fn counts_per_100_ml_have_the_number_of_the_bounds_per_100_ml(
        count in prop_oneof![0..200_u64, 0..300_000_000_u64, (0..29_usize, 0..3_u64).prop_map(near_a_whole_bound)]
    ) {
        let expected = whole_bounds().iter().filter(|&&bound| bound < count).count();
        let basis = Basis::Per100Ml.volume_ml().unwrap();
        prop_assert_eq!(usize::from(number(per_ml(count as f64 / basis))), expected);
        let evidence = Evidence::of_run(count, CountedVolume::from_ml(basis).unwrap(), Dilution::NONE);
        prop_assert_eq!(usize::from(number(evidence.per_ml())), expected);
    }
}

/// The bounds per 100 mL.
fn whole_bounds() -> Vec<u64> {
    upper_bounds().into_iter().map(|bound| whole_count((bound * 100.0).round()).unwrap()).collect()
}

/// One below, at or one above a bound.
fn near_a_whole_bound((number, offset): (usize, u64)) -> u64 {
    whole_bounds()[number] + offset - 1
}
