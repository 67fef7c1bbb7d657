//! Rejected rows that were corrected, scored together with the file they come from.

use std::fs;
use std::path::Path;
use std::process::Output;

use tempfile::TempDir;

const DAY: &str = "bottle;run;4 um(c) /mL;6 um(c) /mL;14 um(c) /mL;appearance\n\
    A;1;1752,5;517;55;hazy\nA;2;17x2;520;54;\nA;3;1750,1;519;52;\nB;1;100,5;50;3;\nB;2;101,5;500;3;\n";

fn score(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_siltcode"));
    command.arg("score").args(arguments).args(["--format", "json"]).current_dir(folder).output().unwrap()
}

fn samples(output: &Output) -> serde_json::Value {
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    document["samples"].clone()
}

/// A folder with the day's file, its rejects, and what the corrected file itself gives.
fn rejected() -> (TempDir, serde_json::Value) {
    let folder = TempDir::new().unwrap();
    let place = |name: &str| folder.path().join(name);
    fs::write(place("day.csv"), DAY).unwrap();
    let output = score(folder.path(), &["day.csv", "--rejects", "to-correct.csv"]);
    assert_eq!(output.status.code(), Some(3));
    let corrected = DAY.replace("17x2", "1742,0").replace("101,5;500", "101,5;49");
    fs::create_dir(place("whole")).unwrap();
    fs::write(place("whole/day.csv"), corrected).unwrap();
    let whole = score(folder.path(), &["whole/day.csv"]);
    assert_eq!(whole.status.code(), Some(0));
    (folder, samples(&whole))
}

fn correct(folder: &Path) {
    let rejects = fs::read_to_string(folder.join("to-correct.csv")).unwrap();
    let corrected = rejects.replace("17x2;520", "1742,0;520").replace("101,5;500", "101,5;49");
    fs::write(folder.join("to-correct.csv"), corrected).unwrap();
}

#[test]
fn together_with_the_file_they_give_what_the_corrected_file_gives() {
    let (folder, whole) = rejected();
    correct(folder.path());
    for files in [["day.csv", "to-correct.csv"], ["to-correct.csv", "day.csv"]] {
        let output = score(folder.path(), &files);
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(samples(&output), whole);
    }
}

#[test]
fn rows_left_as_they_were_are_rejected_again() {
    let (folder, _) = rejected();
    let output = score(folder.path(), &["day.csv", "to-correct.csv"]);
    assert_eq!(output.status.code(), Some(3));
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["problems"].as_array().unwrap().len(), 2);
    assert_eq!(document["problems"][0]["file"], "day.csv");
}

#[test]
fn a_row_whose_place_has_changed_is_not_lost() {
    let (folder, _) = rejected();
    correct(folder.path());
    fs::write(folder.path().join("day.csv"), DAY.replace("17x2", "18x2")).unwrap();
    let output = score(folder.path(), &["day.csv", "to-correct.csv"]);
    assert_eq!(output.status.code(), Some(3));
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let codes: Vec<_> =
        document["problems"].as_array().unwrap().iter().map(|problem| &problem["code"]).collect();
    assert_eq!(codes, ["count-unreadable", "correction-unplaced"]);
}

#[test]
fn without_the_file_they_are_bottles_of_their_own() {
    let (folder, _) = rejected();
    correct(folder.path());
    let output = score(folder.path(), &["to-correct.csv"]);
    assert_eq!(output.status.code(), Some(0));
    let runs: Vec<_> =
        samples(&output).as_array().unwrap().iter().map(|sample| sample["runs"].clone()).collect();
    assert_eq!(runs, [1, 1]);
}

#[test]
fn a_run_that_is_rejected_beside_others_is_said_by_the_status() {
    let folder = TempDir::new().unwrap();
    let heading = "bottle,4 um(c) /mL run 1,6 um(c) /mL run 1,4 um(c) /mL run 2,6 um(c) /mL run 2\n";
    fs::write(folder.path().join("wide.csv"), format!("{heading}A,1700,500,17x0,510\n")).unwrap();
    let output = score(folder.path(), &["wide.csv"]);
    assert_eq!(output.status.code(), Some(3));
    assert_eq!(samples(&output)[0]["runs"], 1);
}
