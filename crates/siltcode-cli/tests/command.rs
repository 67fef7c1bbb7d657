//! The command as a process: what it prints, where, and how it ends.

#[path = "command/corrections.rs"]
mod corrections;
#[path = "command/files.rs"]
mod files;
#[path = "command/passes.rs"]
mod passes;
#[path = "command/plan.rs"]
mod plan;
#[path = "command/runs.rs"]
mod runs;
#[path = "command/specifications.rs"]
mod specifications;
#[path = "command/streams.rs"]
mod streams;
#[cfg(unix)]
#[path = "command/workbooks.rs"]
mod workbooks;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

const GOOD: &str = "bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1752,517,55\n";

fn demo(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-samples");
    folder.join(name).display().to_string()
}

fn siltcode(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_siltcode")).args(arguments).output().unwrap()
}

fn status(output: &Output) -> i32 {
    output.status.code().unwrap()
}

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// A file of this text in a folder that goes when it is dropped.
fn file(name: &str, text: &[u8]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, text).unwrap();
    (folder, path)
}

#[test]
fn the_demo_is_scored_within_80_columns() {
    let output = siltcode(&["score", &demo(""), "--spec", &demo("day-tank.toml")]);
    assert_eq!(status(&output), 3, "{}", stderr(&output));
    let text = stdout(&output);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let line = |id: &str| text.lines().find(|line| line.starts_with(id)).unwrap().to_owned();
    assert!(line("HB-04").contains("17/15/10") && line("HB-04").contains("conforms"));
    assert!(line("HB-03").contains("does not conform"));
    assert!(line("HB-11").contains("*/20/17"));
    assert!(line("HB-15").contains("15/13/>=6"));
    let said = stderr(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("launch-decimal-comma.csv, line 12"), "{said}");
    assert!(!text.contains('\u{1b}'), "no colour but on a terminal");
}

#[test]
fn json_has_the_fixed_face() {
    let output = siltcode(&["score", &demo(""), "--spec", "18/16/13", "--format", "json"]);
    let json: Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(json["schema"], "siltcode.score/1");
    let first = &json["samples"][0];
    assert_eq!(first["iso4406"], "17/15/12");
    assert_eq!(first["channels"][0]["size_um_c"], 4.0);
    assert_eq!(first["channels"][0]["raw"], 35_613);
    assert_eq!(first["channels"][0]["number"], 17);
    assert_eq!(first["channels"][0]["few"], false);
    assert_eq!(first["verdict"]["outcome"], "conforms");
    let problem = &json["problems"][0];
    assert_eq!(problem["code"], "count-rises-with-size");
    assert_eq!(problem["line"], 12);
    assert!(problem["hint"].as_str().unwrap().contains("differential"));
    assert_eq!(json["provenance"]["inputs"][0]["sha256"].as_str().unwrap().len(), 64);
}

#[test]
fn csv_has_a_line_for_every_bottle() {
    let output = siltcode(&["score", &demo("bunker-tank.csv"), "--format", "csv"]);
    assert_eq!(status(&output), 0);
    assert_eq!(stdout(&output).lines().count(), 5);
}

#[test]
fn exit_statuses_tell_how_it_ended() {
    let (_folder, good) = file("good.csv", GOOD.as_bytes());
    let good = good.display().to_string();
    assert_eq!(status(&siltcode(&["score", &good])), 0);
    assert_eq!(status(&siltcode(&["score", &good, "--spec", "18/16/13"])), 0);
    assert_eq!(status(&siltcode(&["score", &good, "--spec", "17/15/12"])), 1);
    assert_eq!(
        status(&siltcode(&["score", &good, "--spec", "wwfc-diesel-water"])),
        1,
        "water was not tested"
    );
    assert_eq!(status(&siltcode(&["score", &good, &demo("launch-decimal-comma.csv")])), 3);
}

/// Nothing on standard output, one message with a hint, status 2.
fn refused(arguments: &[&str], words: &[&str]) {
    let output = siltcode(arguments);
    let said = stderr(&output);
    assert_eq!(status(&output), 2, "{arguments:?}: {said}");
    assert!(output.stdout.is_empty(), "{arguments:?}");
    assert!(said.contains("hint:"), "{said}");
    for word in words {
        assert!(said.contains(word), "{word} in {said}");
    }
}

#[test]
fn bad_input_is_refused_in_words() {
    refused(&["score", "nowhere.csv"], &["nowhere.csv"]);
    for (name, text, word) in [
        ("empty.csv", &b""[..], "empty"),
        ("binary.csv", &[0x7f, b'E', b'L', b'F', 0, 0, 1, 0, 2][..], "neither"),
        ("list.csv", b"name,remark\nA,fine\n", "name remark"),
    ] {
        let (_folder, path) = file(name, text);
        refused(&["score", &demo("bunker-tank.csv"), &path.display().to_string()], &[name, word]);
    }
    let folder = tempfile::tempdir().unwrap();
    refused(&["score", &folder.path().display().to_string()], &["holds no counts"]);
}

#[test]
fn a_bad_specification_names_its_line() {
    let counts = demo("bunker-tank.csv");
    for (text, word) in [
        ("code = \"18/16/13\"\n[counts]\n\"21 um(x)\" = 10\n", "line 3"),
        ("code = \"18/16/13\"\nwater = \"200 mg/pound\"\n", "line 2"),
        ("code = \"13/16/18\"\n", "line 1"),
        ("code = 18/16/13\n", "line 1"),
    ] {
        let (_folder, path) = file("target.toml", text.as_bytes());
        refused(&["score", &counts, "--spec", &path.display().to_string()], &["target.toml", word]);
    }
    refused(&["score", &counts, "--spec", "nothing-like-it"], &["nothing-like-it", "wwfc-diesel"]);
}

#[test]
fn rejected_rows_can_be_corrected_and_fed_again() {
    let folder = tempfile::tempdir().unwrap();
    let rejects = folder.path().join("rejects.csv");
    let place = rejects.display().to_string();
    let output = siltcode(&["score", &demo("launch-decimal-comma.csv"), "--rejects", &place]);
    assert_eq!(status(&output), 3);
    // The rows stand byte for byte as they stood, in Latin-1.
    let written = fs::read(&rejects).unwrap();
    let text: String = written.iter().map(|&byte| char::from(byte)).collect();
    assert!(text.contains("count-rises-with-size"));
    let corrected: Vec<u8> = text.replace("483,3", "24,3").chars().map(|c| c as u8).collect();
    fs::write(&rejects, corrected).unwrap();
    let again = siltcode(&["score", &place]);
    assert_eq!(status(&again), 0, "{}", stderr(&again));
    assert!(stdout(&again).contains("HB-13"));
}

#[test]
fn a_refused_run_leaves_no_rejects_behind() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("rejects.csv").display().to_string();
    refused(&["score", &demo("day-tank.toml"), "--rejects", &place], &[]);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn a_blank_is_subtracted_only_when_asked() {
    let text =
        "bottle,kind,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nclean,blank,1000,300,10\nA,sample,1752,517,55\n";
    let (_folder, path) = file("blank.csv", text.as_bytes());
    let path = path.display().to_string();
    assert!(stdout(&siltcode(&["score", &path])).contains("18/16/13"));
    assert!(stdout(&siltcode(&["score", &path, "--subtract-blank"])).contains("17/15/13"));
}

#[test]
fn hints_override_what_is_found() {
    let (_folder, path) = file("bare.csv", b"bottle,4,6,14\nA,175200,51700,5500\n");
    let path = path.display().to_string();
    let output = siltcode(&["score", &path, "--per", "100mL", "--scale", "um(c)"]);
    assert!(stdout(&output).contains("18/16/13"));
    assert!(!stderr(&output).contains("warning"), "{}", stderr(&output));
    refused(&["score", &path], &["per mL", "per 100 mL", "`per`"]);
}

#[test]
fn colour_repeats_what_the_words_say() {
    let arguments = ["score", &demo("bunker-tank.csv"), "--spec", "18/16/13"];
    let plain = stdout(&siltcode(&arguments));
    let coloured = stdout(&siltcode(&[&arguments[..], &["--color", "always"]].concat()));
    assert!(coloured.contains('\u{1b}') && !plain.contains('\u{1b}'));
    assert!(plain.contains("does not conform"));
}

#[test]
fn specifications_and_tables_are_listed_and_shown() {
    assert!(stdout(&siltcode(&["specs"])).contains("jet-a1-manufacture"));
    assert!(stdout(&siltcode(&["specs", "jet-a1-manufacture"])).contains("refinery"));
    assert!(stdout(&siltcode(&["specs", "wwfc-diesel-5"])).contains("UNVERIFIED"));
    assert!(stdout(&siltcode(&["tables"])).contains("iso4406"));
    assert!(stdout(&siltcode(&["tables", "iso4406"])).contains("18,1300,2500"));
    assert!(
        serde_json::from_str::<Value>(&stdout(&siltcode(&["specs", "--format", "json"]))).unwrap().is_array()
    );
    refused(&["tables", "nothing"], &["iso4406"]);
    for line in stdout(&siltcode(&["specs", "f76"])).lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn help_shows_examples_and_completions_are_printed() {
    for arguments in [&["--help"][..], &["score", "--help"], &["specs", "--help"], &["tables", "--help"]] {
        assert!(stdout(&siltcode(arguments)).contains("Example"), "{arguments:?}");
    }
    for shell in ["bash", "zsh", "fish"] {
        assert!(stdout(&siltcode(&["completions", shell])).contains("siltcode"));
    }
    assert_eq!(status(&siltcode(&["score"])), 2);
}

#[test]
fn a_code_alone_leaves_several_classes_possible() {
    let output = siltcode(&["classes", "18/16/13"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let text = stdout(&output);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    for line in ["A >=4 um(c)        8 to 9", "B >=6 um(c)        7 to 8", "the worst of these 8 to 9"] {
        assert!(text.contains(line), "{text}");
    }
    let json: Value =
        serde_json::from_str(&stdout(&siltcode(&["classes", "*/19/14", "--format", "json"]))).unwrap();
    assert_eq!(json["possible"].as_array().unwrap().len(), 2, "* bounds nothing from above");
    assert_eq!(json["possible"][0]["letter"], "B");
    assert!(stdout(&siltcode(&["classes", "*/*/*"])).contains("no class"));
    refused(&["classes", "13/16/18"], &["rises from left to right"]);
}

#[test]
fn class_systems_are_listed_with_what_must_be_said() {
    let text = stdout(&siltcode(&["classes"]));
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    for name in ["as4059", "as4059-rounded", "as4059-differential", "nas1638", "gost17216", "navair"] {
        assert!(text.lines().any(|line| line == name), "{name}");
    }
    assert!(text.contains("inactive for new design"));
}

const CLOSE: &str = "bottle,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c)\nA,1,1752,517,74\n";

fn json_of(path: &Path, more: &[&str]) -> Value {
    let arguments = [&["score", path.to_str().unwrap(), "--format", "json"], more].concat();
    serde_json::from_str(&stdout(&siltcode(&arguments))).unwrap()
}

#[test]
fn a_verdict_says_its_rule_its_probability_and_what_would_settle_it() {
    let (_folder, path) = file("close.csv", CLOSE.as_bytes());
    let path = path.to_str().unwrap();
    let output = siltcode(&["score", path, "--spec", "18/16/13"]);
    let text = stdout(&output);
    assert_eq!(status(&output), 1, "undecided is not done: {text}");
    for words in [
        "0.73 undecided",
        "14 um(c) decides",
        "to settle it, count about",
        "probability of conformity at least 95 %",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let statuses = [
        (vec!["--rule", "simple"], 0),
        (vec!["--rule", "guard-band"], 1),
        (vec!["--rule", "guard-band", "--confidence", "0.7"], 0),
        (vec!["--rule", "conformity", "--confidence", "0.7"], 0),
        (vec!["--rule", "conformity", "--confidence", "0.7", "--scatter", "0.5"], 1),
    ];
    for (more, expected) in statuses {
        let output = siltcode(&[vec!["score", path, "--spec", "18/16/13"], more.clone()].concat());
        assert_eq!(status(&output), expected, "{more:?}: {}", stdout(&output));
    }
}

#[test]
fn json_carries_interval_odds_flags_and_the_settled_volume() {
    let (_folder, path) = file("close.csv", CLOSE.as_bytes());
    let json = json_of(&path, &["--spec", "18/16/13", "--confidence", "0.9"]);
    let (sample, request) = (&json["samples"][0], &json["request"]);
    let coarse = &sample["channels"][2];
    let ends = [0, 1].map(|i| coarse["interval_per_ml"][i].as_f64().unwrap());
    assert!(ends[0] > 60.0 && ends[0] < 74.0 && ends[1] > 74.0 && ends[1] < 91.0, "{ends:?}");
    let odds: f64 = coarse["odds"].as_object().unwrap().values().map(|p| p.as_f64().unwrap()).sum();
    assert!((odds - 1.0).abs() < 1e-5, "{odds}");
    assert_eq!(sample["level"], 0.9);
    assert_eq!(request["confidence"], 0.9);
    let verdict = &sample["verdict"];
    assert_eq!((&verdict["outcome"], &verdict["deciding"]), (&"undecided".into(), &"14 um(c)".into()));
    assert!((verdict["p"].as_f64().unwrap() + verdict["false_accept"].as_f64().unwrap() - 1.0).abs() < 1e-12);
    assert!(verdict["settle"]["volume"].as_f64().unwrap() > 1.0, "{verdict}");
    assert!(verdict["check"]["outcome"].is_null(), "a verdict has one outcome");
}

#[test]
fn without_raw_counts_the_certainty_is_not_known() {
    let (_folder, path) = file("good.csv", GOOD.as_bytes());
    let text = stdout(&siltcode(&["score", path.to_str().unwrap(), "--spec", "18/16/13"]));
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in ["certainty not known", "record next time: the raw count", "by simple acceptance"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let json = json_of(&path, &["--spec", "18/16/13", "--rule", "conformity"]);
    let sample = &json["samples"][0];
    assert_eq!(sample["channels"][0]["interval_per_ml"], Value::Null);
    assert_eq!(sample["verdict"]["outcome"], "undecided");
    assert!(sample["verdict"]["settle"]["record"].as_str().unwrap().ends_with("um(c)"));
    assert!(sample["certainty_unknown"].as_str().unwrap().contains("4 um(c), 6 um(c), 14 um(c)"));
}

#[test]
fn what_looks_wrong_stands_under_the_bottle() {
    let counts = "bottle,run,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c),method\n\
                  A,1,10,9000,1200,410,D7619\nA,2,10,8000,1100,350,D7619\nA,3,10,7000,1000,280,D7619\nB,1,1,90,12,4,\n";
    let (_folder, path) = file("odd.csv", counts.as_bytes());
    let text = stdout(&siltcode(&["score", path.to_str().unwrap()]));
    for words in ["[scatter", "falling]", "14 um [few-raw-counts]", "What the marks in [ ] ask for:"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let csv = stdout(&siltcode(&["score", path.to_str().unwrap(), "--format", "csv"]));
    assert!(
        csv.lines().next().unwrap().contains("flags,target,target_status,counting_only,client,")
            && csv.contains("few-raw-counts"),
        "{csv}"
    );
    assert!(csv.contains(",D7619,"), "the method is a column: {csv}");
    // What the runs of the file vary by widens every interval, and the document says it.
    let json = json_of(&path, &[]);
    let entry = &json["repeatability"][0];
    assert!(entry["cv"].as_f64().unwrap() > 0.01 && entry["size_um_c"] == 4.0, "{entry}");
    assert_eq!((&entry["source"], &entry["bottles"]), (&"runs".into(), &1.into()));
    assert_eq!(json["samples"][1]["counting_only"], false);
}

#[test]
fn then_and_now_say_what_became_of_each_size() {
    let heading = "bottle,tank,point,volume mL,raw 4 um(c),raw 14 um(c)\n";
    let (_one, before) = file(
        "may.csv",
        format!("{heading}M1,North,middle,10,90000,900\nM2,North,bottom,10,90000,900\nM3,South,top,10,9,1\n")
            .as_bytes(),
    );
    let rows = "J1,North,middle,10,60000,905\nJ2,North,bottom,10,120000,910\nJ4,West,top,10,90,9\n";
    let (_two, now) = file("june.csv", format!("{heading}{rows}").as_bytes());
    let asked = ["score", now.to_str().unwrap(), "--previous", before.to_str().unwrap(), "--match", "point"];
    let output = siltcode(&asked);
    let text = stdout(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("since M1: 4 um(c) 9000.0 then, 6000.0 now: fell (100 %)"), "{text}");
    assert!(text.contains("since M1: 14 um(c) 90.0 then, 90.5 now: same (100 %)"), "{text}");
    assert!(text.contains("since M2: 4 um(c) 9000.0 then, 12000.0 now: rose (100 %)"), "{text}");
    let said = stderr(&output);
    assert!(said.contains("Without a previous bottle: J4") && said.contains("without one now: M3"), "{said}");
    let more = ["--previous", before.to_str().unwrap(), "--match", "point", "--scatter", "0.5"];
    let json = json_of(&now, &more);
    assert_eq!(json["samples"][0]["previous"]["sizes"][0]["change"], "cannot-tell", "bottles scatter too");
    assert_eq!(json["unmatched"]["now"], serde_json::json!(["J4"]));
    assert_eq!(json["unmatched"]["previous"], serde_json::json!(["M3"]));
    assert!(
        json_of(&now, &["--previous", before.to_str().unwrap()])["samples"][0]["previous"].is_null(),
        "by name"
    );
}

#[test]
fn what_stays_while_the_rest_falls_is_flagged_against_an_earlier_bottle() {
    let heading = "bottle,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c)\n";
    let (_before, before) =
        file("before.csv", format!("{heading}A,10,9000,4000,900\nB,10,9000,4000,900\n").as_bytes());
    let (_now, now) = file("now.csv", format!("{heading}A,10,9010,500,60\nC,10,9010,500,60\n").as_bytes());
    let json = json_of(&now, &["--previous", before.to_str().unwrap()]);
    assert!(json["samples"][0]["flags"].to_string().contains("fine-stays-coarse-falls"));
    assert!(
        !json["samples"][1]["flags"].to_string().contains("fine-stays-coarse-falls"),
        "C has no earlier bottle"
    );
    // the result names what it rests on
    assert_eq!(json["request"]["previous"], serde_json::json!([before]));
    let inputs = json["provenance"]["inputs"].as_array().unwrap();
    assert_eq!(
        inputs.iter().map(|input| &input["file"]).collect::<Vec<_>>(),
        [&now, &before].map(|p| p.to_str().unwrap())
    );
}

#[test]
fn a_dirty_blank_is_flagged_and_widens_what_is_left() {
    let counts = "bottle,kind,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c)\nflask,blank,10,900,300,20\nA,sample,10,1000,310,21\n";
    let (_folder, path) = file("blank.csv", counts.as_bytes());
    let interval = |json: &Value| {
        [0, 1].map(|i| json["samples"][0]["channels"][0]["interval_per_ml"][i].as_f64().unwrap())
    };
    let (gross, net) = (json_of(&path, &[]), json_of(&path, &["--subtract-blank"]));
    let ([low, high], [net_low, net_high]) = (interval(&gross), interval(&net));
    assert!(net_low >= 0.0 && net_high - net_low > high - low, "{net_low} {net_high}, gross {low} {high}");
    assert!(gross["samples"][0]["flags"].to_string().contains("blank-too-dirty"));
    assert!(net["samples"][0]["flags"].to_string().contains("blank-too-dirty"));
}

#[test]
fn a_level_or_scatter_that_cannot_be_is_refused() {
    let (_folder, path) = file("good.csv", GOOD.as_bytes());
    let path = path.to_str().unwrap();
    refused(&["score", path, "--confidence", "95"], &["0.95"]);
    refused(&["score", path, "--scatter", "-1"], &["coefficient of variation"]);
}

#[test]
fn no_color_outweighs_a_forced_colour() {
    let coloured = |no_color: bool| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_siltcode"));
        command.arg("specs").env_remove("NO_COLOR").env("CLICOLOR_FORCE", "1");
        if no_color {
            command.env("NO_COLOR", "1");
        }
        stdout(&command.output().unwrap()).contains('\u{1b}')
    };
    assert!(coloured(false) && !coloured(true));
}

/// Counts with sizes of every lettered column, one of them between the columns.
const IN_UM_C: &str = "bottle,4 um(c) /mL,10 um(c) /mL,21 um(c) /mL,38 um(c) /mL,70 um(c) /mL\n\
                       A,1752,217,5.5,0.4,0.1\n";
/// Counts at the sizes of NAS 1638.
const IN_ACFTD: &str = "bottle,5 um(acftd) /mL,15 um(acftd) /mL,25 um(acftd) /mL,50 um(acftd) /mL,100 um(acftd) /mL\n\
                        A,186.2,14.45,4.9,0.72,0.08\nB,1.8,0.3,0,0,0\n";

/// `score` of these counts, with line breaks of the table taken out.
fn classed(counts: &str, arguments: &[&str]) -> String {
    let (_folder, path) = file("counts.csv", counts.as_bytes());
    let output = siltcode(&[&["score", &path.display().to_string()], arguments].concat());
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let text = stdout(&output);
    if !arguments.contains(&"--format") {
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn several_class_systems_stand_beside_the_code() {
    let text =
        classed(IN_ACFTD, &["--class", "as4059,as4059-rounded,as4059-differential,nas1638,gost17216,navair"]);
    for words in [
        "14.4 -/15/11",
        "as4059: SAE AS4059 (revision E), cumulative, unrounded table",
        "as4059-rounded: SAE AS4059, cumulative, table as rounded in print",
        "inactive for new design since 30 May 2001",
        "as4059: 6: 6B/5C/6D/6E/5F; not counted, so not classed: 1 um(acftd)",
        "as4059-differential: 7 (7,5,6,6,5)",
        "nas1638: 7 (7,5,6,6,5)",
        "gost17216: 10 (-,-,-,10,9,10,10,-)",
        "rests on limits recalled and not read anywhere (UNVERIFIED): not for acceptance",
        "navair: 3 (3,3,3,3,3); interpolated, per 100 mL by two laws: 14301 to 14908 at 5-10, 3222 to 3829 at 10-25 um(acftd)",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }
}

#[test]
fn a_class_is_never_extrapolated_and_never_converted_unasked() {
    let asked = ["--class", "as4059,nas1638"];
    let text = classed(GOOD, &asked);
    assert!(text.contains("as4059: 8: 8A/8B/7C; not counted, so not classed: 21, 38, 70 um(c)"), "{text}");
    assert!(text.contains("nas1638: no class: NAS 1638, differential has no sizes in um(c)"), "{text}");
    assert!(text.contains("(--convert-sizes)"), "{text}");
    let text = classed(IN_UM_C, &[&asked[..], &["--convert-sizes", "acftd"]].concat());
    assert!(text.contains("as4059: 8 to 9: 8A/8 to 9B/7C/6D/5E/6F; interpolated"), "{text}");
    assert!(text.contains("nas1638: 8 (8,7,6,5,6); interpolated"), "{text}");
    assert!(
        text.contains("sizes converted from um(c) to um(acftd) by the published pairs of sizes"),
        "{text}"
    );
    let text = classed(GOOD, &["--class", "nas1638", "--convert-sizes", "microscope"]);
    assert!(
        text.contains("no class: there is no published conversion from um(c) to um(microscope)"),
        "{text}"
    );
}

#[test]
fn classes_stand_in_json_and_csv() {
    let asked = ["--class", "as4059,nas1638,nas1638", "--convert-sizes", "acftd", "--format"];
    let json: Value = serde_json::from_str(&classed(IN_UM_C, &[&asked[..], &["json"]].concat())).unwrap();
    let classes = json["samples"][0]["classes"].as_array().unwrap();
    assert_eq!(classes.len(), 2);
    assert_eq!(classes[0]["class"], "8A/8 to 9B/7C/6D/5E/6F");
    assert_eq!(classes[0]["worst"], "8 to 9");
    assert_eq!(classes[0]["interpolated"], true);
    assert_eq!(classes[0]["conversion"], Value::Null);
    assert_eq!(classes[0]["sizes"][0]["origin"], "counted");
    assert_eq!(classes[0]["sizes"][1]["origin"], "interpolated");
    assert_eq!(classes[1]["system"], "nas1638");
    assert_eq!(classes[1]["conversion"]["to"], "um(acftd)");
    assert_eq!(json["request"]["classes"][1], "nas1638");
    assert_eq!(json["request"]["convert_sizes"], "um(acftd)");
    let tables: Vec<_> =
        json["provenance"]["tables"].as_array().unwrap().iter().map(|t| &t["name"]).collect();
    assert!(
        ["as4059_cumulative", "nas1638", "size_scales"]
            .iter()
            .all(|name| tables.contains(&&Value::from(*name)))
    );

    let refused: Value =
        serde_json::from_str(&classed(GOOD, &["--class", "nas1638", "--format", "json"])).unwrap();
    let refused = &refused["samples"][0]["classes"][0];
    assert_eq!((&refused["class"], &refused["code"]), (&Value::Null, &Value::from("class-scale-unsuited")));

    let (_folder, path) = file("counts.csv", IN_UM_C.as_bytes());
    let output = siltcode(&[&["score", &path.display().to_string()], &asked[..], &["csv"]].concat());
    let text = stdout(&output);
    let (heading, row) = text.split_once('\n').unwrap();
    assert!(
        heading.contains(
            "flags,target,target_status,counting_only,as4059,as4059_interpolated,as4059_note,nas1638,nas1638_interpolated,nas1638_note,client,"
        )
    );
    assert!(
        row.contains(",8A/8 to 9B/7C/6D/5E/6F,true,\"SAE AS4059 (revision E), cumulative, unrounded table; ")
    );
}

#[test]
fn a_class_system_or_scale_that_is_none_is_refused() {
    let counts = demo("bunker-tank.csv");
    refused(&["score", &counts, "--class", "as4059,nas"], &["`nas`", "nas1638"]);
    refused(&["score", &counts, "--class", "nas1638", "--convert-sizes", "inch"], &["inch"]);
}
