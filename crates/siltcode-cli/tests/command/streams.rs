//! What goes in and out by pipes, and what must not reach a terminal or a spreadsheet.

use std::io::Write;
use std::process::Stdio;

use super::*;

/// The command with this on standard input.
fn fed(arguments: &[&str], input: &[u8]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_siltcode"));
    let command = command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let _ = child.stdin.take().unwrap().write_all(input); // a command that refuses does not read it
    child.wait_with_output().unwrap()
}

#[test]
fn a_dash_is_standard_input() {
    let output = fed(&["score", "-"], GOOD.as_bytes());
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert!(stdout(&output).contains("18/16/13"));
    assert!(stderr(&output).contains("standard input"), "{}", stderr(&output));
    let output = fed(&["score", &demo("bunker-tank.csv"), "--spec", "-"], b"code = \"18/16/13\"\n");
    assert_eq!(status(&output), 1, "{}", stderr(&output));
    let output = fed(&["score", &demo("bunker-tank.csv"), "--spec", "-"], b"code = 3\n");
    assert!(stderr(&output).contains("standard input, line 1"), "{}", stderr(&output));
    let job = fs::read(demo("bunker-tank-job.toml")).unwrap();
    assert_eq!(status(&fed(&["plan", "-"], &job)), 0);
    let flags = ["--to", "18/16/13", "--tank", "18 m3", "--flow", "60 L/min", "--beta", "4:10,6:75,14:1000"];
    let output = fed(&[&["passes", "--from", "-"], &flags[..]].concat(), GOOD.as_bytes());
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let twice = fed(&["score", "-", "-"], GOOD.as_bytes());
    assert_eq!(status(&twice), 2);
    assert!(stderr(&twice).contains("more than once"));
}

/// Arguments; the code, file and line of the failure.
type Case<'a> = (&'a [&'a str], &'a str, Option<&'a str>, Option<u64>);

#[test]
fn a_failure_is_said_in_json_where_json_is_asked_for() {
    let (_folder, bad) = file("bad.csv", b"name,remark\nA,fine\n");
    let bad = bad.display().to_string();
    let (_other, spec) = file("target.toml", b"code = \"18/16/13\"\nwater = \"200 mg/pound\"\n");
    let spec = spec.display().to_string();
    let cases: [Case; 7] = [
        (&["score", &bad], "heading-not-found", Some(&bad), None),
        (&["score", "nowhere.csv"], "file-unusable", Some("nowhere.csv"), None),
        (&["score", &bad, "--spec", &spec], "spec-value-unusable", Some(&spec), Some(2)),
        (&["classes", "13/16/18"], "code-rises-with-size", None, None),
        (&["tables", "nothing"], "table-unknown", None, None),
        (&["plan", "nowhere.toml"], "file-unusable", Some("nowhere.toml"), None),
        (&["score", "--no-such-option"], "command-line-unreadable", None, None),
    ];
    for (arguments, code, name, line) in cases {
        let output = siltcode(&[arguments, &["--format", "json"]].concat());
        assert_eq!(status(&output), 2, "{arguments:?}");
        assert!(output.stdout.is_empty());
        let error: Value = serde_json::from_str(&stderr(&output)).unwrap();
        assert_eq!(error["schema"], "siltcode.error/1");
        assert_eq!(error["code"], code, "{error}");
        assert_eq!((error["file"].as_str(), error["line"].as_u64()), (name, line), "{error}");
        assert!(!error["message"].as_str().unwrap().is_empty() && error["hint"].is_string());
    }
}

/// What acts on a terminal: an escape, a bell, an 8-bit control, a turn of direction, a tag.
const HOSTILE: &str = "\u{1b}]0;owned\u{7}\u{1b}[1m\u{9b}2J\u{202e}dna\u{2066}\u{7f}\u{e0041}";

/// Nothing in it acts on a terminal; `what` is shown all the same.
fn harmless(text: &str, what: &str) {
    let acts = |c: char| c != '\n' && (c.is_control() || "\u{202e}\u{2066}\u{e0041}".contains(c));
    assert!(!text.contains(acts), "{text:?}");
    assert!(text.contains(what), "{what} in {text}");
}

#[test]
fn nothing_from_outside_acts_on_a_terminal() {
    let counts = format!(
        "bottle,remark{HOSTILE},4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA{HOSTILE},x,1752,517,55\nB,y{HOSTILE},100,200,{HOSTILE}\n"
    );
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(format!("in{HOSTILE}.csv").replace('/', "_"));
    fs::write(&path, counts).unwrap();
    let path = path.to_str().unwrap();
    let spec = folder.path().join("spec.toml");
    let title = HOSTILE.chars().map(|c| format!("\\U{:08x}", u32::from(c))).collect::<Vec<_>>().concat();
    fs::write(&spec, format!("title = \"T{title}\"\ncode = \"18/16/13\"\n")).unwrap();
    let output = siltcode(&["score", path, "--spec", spec.to_str().unwrap()]);
    assert_eq!(status(&output), 3, "{}", stderr(&output));
    harmless(&stdout(&output), "\\u{1b}]0;owned\\u{7}");
    harmless(&stderr(&output), "\\u{1b}]0;owned\\u{7}");
    for arguments in [
        &["score", path, "--spec", HOSTILE][..],
        &["score", HOSTILE],
        &["score", path, "--delimiter", HOSTILE],
        &["plan", HOSTILE],
        &["tables", HOSTILE],
        &[
            "passes", "--from", HOSTILE, "--to", "18/16/13", "--tank", "1 m3", "--flow", "1 L/min", "--beta",
            "4:9",
        ],
        &[HOSTILE],
    ] {
        let output = siltcode(arguments);
        assert_eq!(status(&output), 2);
        harmless(&stderr(&output), "\\u{202e}dna");
        assert!(output.stdout.is_empty());
    }
    let output = siltcode(&["score", path, "--spec", spec.to_str().unwrap(), "--format", "json"]);
    let text = stdout(&output);
    harmless(&text, "\\u001b]0;owned\\u0007");
    let json: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(json["samples"][0]["id"], format!("A{HOSTILE}"), "JSON reads back what was there");
}

#[test]
fn a_job_from_outside_acts_on_no_terminal() {
    let hostile = "\\u001b]0;owned\\u0007\\u202e";
    let job = fs::read_to_string(demo("bunker-tank-job.toml")).unwrap();
    let job = job.replace("name = \"", &format!("name = \"{hostile}"));
    let job = job.replace("money = \"", &format!("money = \"{hostile}"));
    assert!(job.matches(hostile).count() > 2);
    let output = fed(&["plan", "-"], job.as_bytes());
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    harmless(&stdout(&output), "\\u{1b}]0;owned");
}

#[test]
fn what_a_spreadsheet_would_run_gets_an_apostrophe() {
    let cells = ["=1+1", "+1", "@SUM(A1)", "-1+cmd|' /C calc'!A0", "HB-04"];
    let rows = cells.map(|cell| format!("\"{cell}\",1752,517,55\n")).concat();
    let (_folder, path) =
        file("in.csv", format!("bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\n{rows}").as_bytes());
    let text = stdout(&siltcode(&["score", path.to_str().unwrap(), "--format", "csv"]));
    for (cell, line) in cells.iter().zip(text.lines().skip(1)) {
        let expected = if *cell == "HB-04" { "HB-04,".to_owned() } else { format!("'{cell},") };
        assert!(line.starts_with(&expected), "{line}");
    }
}

#[test]
fn the_rejects_hold_what_was_read() {
    let row = "=cmd,\u{1b}[1m,-1,\u{202e},";
    let (folder, path) =
        file("in.csv", format!("bottle,remark,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\n{row}\n").as_bytes());
    let place = folder.path().join("out.csv");
    siltcode(&["score", path.to_str().unwrap(), "--rejects", place.to_str().unwrap()]);
    assert!(fs::read_to_string(&place).unwrap().lines().any(|line| line == row));
}

#[test]
fn a_probability_takes_no_eighty_digits() {
    let counts = "bottle,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c)\nA,10,26500,5170,550\n";
    let (_folder, path) = file("in.csv", counts.as_bytes());
    let arguments = ["score", path.to_str().unwrap(), "--spec", "18/16/13", "--format"];
    let csv = stdout(&siltcode(&[&arguments[..], &["csv"]].concat()));
    let (heading, row) = csv.trim_end().split_once('\n').unwrap();
    let at = heading.split(',').position(|name| name == "p").unwrap();
    let p = row.split(',').nth(at).unwrap();
    assert!(p.len() <= 12 && p.parse::<f64>().unwrap() > 0.0, "{p}");
    let json: Value =
        serde_json::from_str(&stdout(&siltcode(&[&arguments[..], &["json"]].concat()))).unwrap();
    let full = json["samples"][0]["verdict"]["p"].as_f64().unwrap();
    assert!((p.parse::<f64>().unwrap() / full - 1.0).abs() < 1e-5, "{p} {full}");
}
