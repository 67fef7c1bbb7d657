//! One small invented file for every trait of an input, each with its expected result beside it.
//!
//! A line of an expected result is one of: `bottle NAME runs N code CODE`, `blank NAME`, `problem LINE CODE COLUMN`,
//! `companion NAME VALUE`, `notice CODE` (only the notices that matter are listed), or `refused CODE` for the whole
//! input. Bottles, blanks, problems and companions must be exactly these, in this order.

use std::fs;
use std::path::Path;

use proptest::prelude::*;
use siltcode::intake::{self, Batch, Options, RejectWriter};
use siltcode::{Code, Sample};
use siltcode_tests::{cases, tests_folder};

fn bottle(sample: &Sample) -> String {
    let code = sample
        .spectrum()
        .and_then(|spectrum| Code::of(&spectrum))
        .map_or("-".into(), |code| code.to_string());
    format!("bottle {} runs {} code {code}", sample.id, sample.runs.len())
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
        assert!(!problem.hint.is_empty() && !problem.row.is_empty());
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
    for path in files {
        check(&path);
    }
}

fn check(path: &Path) {
    let expected = fs::read_to_string(path.with_extension("expected")).unwrap();
    let (notices, expected): (Vec<&str>, Vec<&str>) =
        expected.lines().partition(|line| line.starts_with("notice "));
    let (found, said) = result(&fs::read(path).unwrap());
    assert_eq!(found, expected, "{}", path.display());
    for notice in notices {
        assert!(
            said.contains(&notice.trim_start_matches("notice ")),
            "{}: {notice} not in {said:?}",
            path.display()
        );
    }
}

/// Rejected rows as written out, with the wrong cell put right.
fn fed_again(text: &str, wrong: &str, right: &str) -> Batch {
    let batch = intake::read("day.csv", text.as_bytes(), &Options::default()).unwrap();
    assert!(!batch.problems.is_empty());
    let mut writer = RejectWriter::new(Vec::new());
    batch.problems.iter().for_each(|problem| writer.write(problem).unwrap());
    let written = String::from_utf8(writer.finish().unwrap()).unwrap();
    let corrected = written.replace(&format!(",{wrong},"), &format!(",{right},"));
    assert_ne!(written, corrected);
    intake::read("again.csv", corrected.as_bytes(), &Options::default()).unwrap()
}

#[test]
fn corrected_rejects_can_be_fed_again() {
    let wide = "bottle,run,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1,1752,oops,55\nB,1,1752,517,55\n";
    assert_eq!(lines(&fed_again(wide, "oops", "517")), ["bottle A runs 1 code 18/16/13"]);
    let long = "bottle,count /mL,size um(c)\nA,1752,4\nA,oops,6\nA,55,14\nB,1752,4\n";
    assert_eq!(lines(&fed_again(long, "oops", "517")), ["bottle A runs 1 code 18/16/13"]);
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

    /// Every row comes back: as a run of a bottle, or as a problem.
    #[test]
    fn no_row_is_lost(rows in proptest::collection::vec(("[a-c]{1,2}", proptest::collection::vec("[0-9]{1,5}|<1|x|", 3)), 1..40)) {
        let mut lines = vec!["bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL".to_owned()];
        lines.extend(rows.iter().map(|(id, cells)| format!("{id},{}", cells.join(","))));
        let text = lines.join("\n");
        let batch = intake::read("x", text.as_bytes(), &Options::default()).unwrap();
        let runs: usize = batch.samples.iter().map(|sample| sample.runs.len()).sum();
        prop_assert_eq!(runs + batch.problems.len(), rows.len());
    }
}
