//! One small invented file for every trait of an input, each with its expected result beside it.
//!
//! A line of an expected result is one of: `bottle NAME runs N code CODE`, `blank NAME`, `problem LINE CODE COLUMN`,
//! `companion NAME VALUE`, `notice CODE` (only the notices that matter are listed), or `refused CODE` for the whole
//! input. Bottles, blanks, problems and companions must be exactly these, in this order. `counts NAME 4=1752.3 ...`
//! below a bottle says its cumulative counts per mL, to a part in a thousand of what was worked out from the file by
//! other means.

use std::fs;
use std::path::Path;

use proptest::prelude::*;
use siltcode::intake::{self, Batch, Options};
use siltcode::{Code, Sample};
use siltcode_tests::{cases, tests_folder};

fn bottle(sample: &Sample) -> String {
    let code = sample
        .spectrum()
        .and_then(|spectrum| Code::of(&spectrum))
        .map_or("-".into(), |code| code.to_string());
    format!("bottle {} runs {} code {code}", sample.id, sample.runs.len())
}

/// The first bottle whose counts are not those expected; bottles and counts stand in the same order.
fn wrong_counts(bytes: &[u8], expected: &[&str]) -> Option<String> {
    if expected.is_empty() {
        return None;
    }
    let batch = intake::read("file.csv", bytes, &Options::default()).ok()?;
    let counted = batch.samples.iter().filter(|sample| !sample.runs.is_empty());
    let differs = |(sample, line): (&Sample, &&str)| {
        let spectrum = sample.spectrum().ok()?;
        let (_, counts) = line.rsplit_once(" : ")?;
        let wrong = counts.split(' ').filter_map(|pair| pair.split_once('=')).find(|(um, per_ml)| {
            let expected: f64 = per_ml.parse().unwrap();
            let found = spectrum.at_um(um.parse().unwrap()).and_then(|channel| channel.reading.count());
            !found.is_some_and(|found| (found.get() - expected).abs() <= 1e-3 * expected + 0.006)
        });
        wrong.map(|(um, per_ml)| format!("{} at {um} um is not {per_ml}", sample.id))
    };
    if counted.clone().count() != expected.len() {
        return Some(format!("{} bottles with counts, not {}", counted.count(), expected.len()));
    }
    counted.zip(expected).find_map(differs)
}

/// What a file holds, in the words of an expected result; notices apart.
fn result(bytes: &[u8]) -> (Vec<String>, Vec<&'static str>) {
    match intake::read("file.csv", bytes, &Options::default()) {
        Err(error) => {
            assert!(!error.hint().is_empty() && error.to_string().contains("file.csv"), "{error}");
            (vec![format!("refused {}", error.code())], Vec::new())
        }
        Ok(batch) => (lines(&batch), batch.notices.iter().map(|notice| notice.code).collect()),
    }
}

fn lines(batch: &Batch) -> Vec<String> {
    let mut lines: Vec<String> = batch.blanks.iter().map(|blank| format!("blank {}", blank.id)).collect();
    for sample in &batch.samples {
        lines.push(bottle(sample));
        let companions = sample.companions.iter();
        lines.extend(companions.map(|c| format!("companion {} {}", c.property.name(), c.measured)));
    }
    for problem in &batch.problems {
        assert!(!problem.hint.is_empty() && !problem.rows.is_empty());
        let line = problem.position.line.unwrap();
        let column = problem.position.column.as_deref().unwrap_or("-");
        lines.push(format!("problem {line} {} {column}", problem.code));
    }
    lines
}

#[test]
fn every_trait_comes_out_as_expected() {
    let mut files: Vec<_> =
        fs::read_dir(tests_folder().join("intake")).unwrap().map(|file| file.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|ending| ending != "expected"));
    files.sort();
    assert!(files.len() > 50);
    let wrong: Vec<String> = files.iter().filter_map(|path| check(path).err()).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn check(path: &Path) -> Result<(), String> {
    let expected = fs::read_to_string(path.with_extension("expected")).unwrap();
    let (notices, expected): (Vec<&str>, Vec<&str>) =
        expected.lines().partition(|line| line.starts_with("notice "));
    let (counts, expected): (Vec<&str>, Vec<&str>) =
        expected.into_iter().partition(|line| line.starts_with("counts "));
    let bytes = fs::read(path).unwrap();
    let (found, said) = result(&bytes);
    if let Some(wrong) = wrong_counts(&bytes, &counts) {
        return Err(format!("{}: {wrong}", path.display()));
    }
    if found != expected {
        return Err(format!("{}:\n  found    {found:?}\n  expected {expected:?}", path.display()));
    }
    let missing = notices.iter().find(|notice| !said.contains(&notice.trim_start_matches("notice ")));
    missing.map_or(Ok(()), |notice| Err(format!("{}: {notice} not in {said:?}", path.display())))
}

const GOOD: &str = "Harbour\nbottle;run;volume mL;4 um(c) /mL;6 um(c) /mL;14 um(c) /mL;water mg/kg\n\
                    A;1;10;1752,5;517;55;30\nA;2;10;1750;TNTC;<1;\n\"B; top\";1;10;100;200;3;12\nMean;;;1;2;3;\n";

proptest! {
    #![proptest_config(cases(512))]

    #[test]
    fn no_bytes_panic(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        let _ = result(&bytes);
    }

    #[test]
    fn no_mutation_of_a_good_file_panics(at in 0..GOOD.len(), byte in any::<u8>(), cut in 0..GOOD.len()) {
        let mut bytes = GOOD.as_bytes().to_vec();
        bytes[at] = byte;
        let _ = intake::read("x", &bytes[..], &Options::default());
        let _ = intake::read("x", &bytes[..cut], &Options::default());
    }
}
