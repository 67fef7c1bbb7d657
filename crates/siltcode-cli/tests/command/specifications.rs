//! What `siltcode score` says of published specifications, of sampling points, and beside verdicts.

use serde_json::Value;

use super::{demo, file, siltcode, status, stderr, stdout};

/// `score` of these counts against a target, with line breaks taken out.
fn scored(counts: &str, spec: &str) -> String {
    let (_folder, path) = file("counts.csv", counts.as_bytes());
    let output = siltcode(&["score", path.to_str().unwrap(), "--spec", spec]);
    assert!(status(&output) < 2, "{}", stderr(&output));
    let text = stdout(&output);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn document(counts: &str, spec: &str) -> Value {
    let (_folder, path) = file("counts.csv", counts.as_bytes());
    let output = siltcode(&["score", path.to_str().unwrap(), "--spec", spec, "--format", "json"]);
    serde_json::from_str(&stdout(&output)).unwrap()
}

const CLEAN: &str = "bottle,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c)\nA,10,10000,2000,100\n";

#[test]
fn an_exclusive_limit_is_exclusive() {
    let flash = |value: &str| format!("bottle,4 um(c) /mL,flash point degC\nA,100,{value}\n");
    assert!(
        scored(&flash("55"), "en590-diesel").contains("flash point: 55 degC, limit above 55 degC: not met")
    );
    assert!(!scored(&flash("55.5"), "en590-diesel").contains("flash point: 55.5"));
    assert!(!scored(&flash("60"), "iso8217-rma").contains("flash point: 60"), "at least 60 holds 60");
    let (_folder, own) = file("own.toml", b"flash-point = \"above 55 degC\"\nwater = \"below 200 mg/kg\"\n");
    let both = "bottle,4 um(c) /mL,flash point degC,water mg/kg\nA,100,55,200\nB,100,56,199\n";
    let text = scored(both, own.to_str().unwrap());
    assert!(text.contains("water: 200 mg/kg, limit below 200 mg/kg: not met"), "{text}");
    assert!(text.contains("1 conform, 1 do not"), "{text}");
}

#[test]
fn the_rule_named_is_the_rule_used_and_a_missing_probability_says_why() {
    let water = "bottle,4 um(c) /mL,water and sediment % vol\nA,100,0.01\n";
    let text = scored(water, "d975-diesel");
    assert!(text.contains("P not known: the target limits no particles"), "{text}");
    assert!(!text.contains("probability of conformity"), "{text}");
    let found = document(water, "d975-diesel");
    let verdict = &found["samples"][0]["verdict"];
    assert!(verdict["rule"].is_null() && verdict["p"].is_null());
    assert_eq!(verdict["p_missing"], "no-particle-limits");
    assert!(scored(super::GOOD, "18/16/13").contains("P not known: raw counts and volumes are missing"));
    let short = "bottle,volume mL,raw 4 um(c),raw 6 um(c)\nA,10,10000,2000\n";
    assert!(scored(short, "18/16/13").contains("P not known: a size with a limit was not counted"));
}

#[test]
fn part_of_a_specification_is_said_to_be_part() {
    let text = scored(CLEAN, "wwfc-diesel");
    assert!(
        text.contains("meets the limits checked: 4 um(c), 6 um(c), 14 um(c); the specification has more"),
        "{text}"
    );
    assert!(text.contains("meets limits") && !text.contains(" conforms"), "{text}");
    let found = document(CLEAN, "wwfc-diesel");
    assert!(found["samples"][0]["verdict"]["limits_checked"].as_str().unwrap().ends_with("has more"));
    assert!(document(CLEAN, "18/16/13")["samples"][0]["verdict"]["limits_checked"].is_null());
    assert!(scored(CLEAN, "18/16/13").contains(" conforms"));
}

#[test]
fn limits_of_the_refinery_are_compared_without_a_verdict() {
    let dirty = "bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,9000,900,30\n";
    let text = scored(dirty, "jet-a1-manufacture");
    assert!(text.contains("compared only") && text.contains("4 um(c): over number 19"), "{text}");
    assert!(text.contains("6 um(c): within number 17"), "{text}");
    for word in ["does not conform", "undecided", "1 do not"] {
        assert!(!text.contains(word), "{word}: {text}");
    }
    let found = document(dirty, "jet-a1-manufacture");
    assert!(found["samples"][0]["verdict"].is_null());
    assert_eq!(found["samples"][0]["comparison"][0]["finding"], "not met");
    let (_folder, path) = file("counts.csv", dirty.as_bytes());
    assert_eq!(status(&siltcode(&["score", path.to_str().unwrap(), "--spec", "jet-a1-manufacture"])), 0);
}

#[test]
fn residual_grades_have_their_own_limits_and_doubtful_prints_say_so() {
    let fines = |mg: u32| format!("bottle,4 um(c) /mL,aluminium and silicon mg/kg\nA,100,{mg}\n");
    for (grade, most) in [("rma", 25), ("rmb", 40), ("rmd", 40), ("rme", 50), ("rmg", 60), ("rmk", 60)] {
        let spec = format!("iso8217-{grade}");
        assert!(!scored(&fines(most), &spec).contains("aluminium and silicon: over"), "{grade}");
        assert!(scored(&fines(most + 1), &spec).contains("aluminium and silicon: "), "{grade}");
    }
    assert!(stdout(&siltcode(&["specs", "jet-a1-manufacture"])).contains("caveat: "));
    assert_eq!(status(&siltcode(&["specs", "vv-f-800c-diesel"])), 2, "superseded");
    let listed = stdout(&siltcode(&["specs", "d975-diesel"]));
    assert!(listed.contains("READ") && listed.contains("the document has more"), "{listed}");
}

#[test]
fn one_outcome_and_a_probability_that_is_labelled() {
    let wet = "bottle,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c),water mg/kg\nA,10,10000,2000,100,410\n";
    let text = scored(wet, "wwfc-diesel-water");
    assert!(text.contains("17/15/10"), "{text}");
    assert!(text.contains("particles: all their limits met with 100 %; water decides"), "{text}");
    let line = text.split("does not conform").next().unwrap();
    assert!(!line.contains(">.99") && !line.ends_with("1.00 "), "{line}");
    let found = document(wet, "wwfc-diesel-water");
    let check = &found["samples"][0]["verdict"]["check"];
    assert!(check.get("outcome").is_none() && check.get("deciding").is_none(), "{check}");
}

#[test]
fn a_sample_of_a_line_or_of_the_bottom_is_judged_as_such() {
    let output = siltcode(&["score", &demo("bunker-tank.csv"), "--spec", "18/16/13"]);
    let text = stdout(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("sample of the return line: it says what the filter returns, not what the tank holds"),
        "{text}"
    );
    assert!(text.contains("sample of the bottom: it says what has settled there"), "{text}");
    let output = siltcode(&["score", &demo("bunker-tank.csv"), "--spec", "18/16/13", "--format", "json"]);
    let found: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let points: Vec<_> =
        found["samples"].as_array().unwrap().iter().map(|sample| sample["point"].clone()).collect();
    assert_eq!(points, [Value::Null, Value::Null, "bottom".into(), "return-line".into()]);
    let start = [
        "passes",
        "--from",
        &demo("bunker-tank.csv"),
        "--bottle",
        "HB-03",
        "--to",
        "18/16/13",
        "--tank",
        "18 m3",
    ];
    let passes = siltcode(&[&start[..], &["--flow", "60 L/min", "--beta", "4:10,6:75,14:1000"]].concat());
    assert!(stdout(&passes).contains("the start is a sample of the bottom"), "{}", stderr(&passes));
}

#[test]
fn cautions_that_apply_come_first_and_the_rest_on_request() {
    let job = demo("bunker-tank-job.toml");
    let (short, all) = (stdout(&siltcode(&["plan", &job])), stdout(&siltcode(&["plan", &job, "--cautions"])));
    let said = short.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "hydrogen sulphide: ",
        "toxic vapour: ",
        "earth them to ground",
        "relaxation time",
        "dry running and cavitation: ",
        "microbes and biocide: ",
        "overfill and return hose: ",
        "unattended running: ",
        "ignition sources: ",
        "skin contact: ",
        "isolate, relieve and drain",
        "--cautions prints those",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(!short.contains("- confined space") && all.contains("- confined space"));
    let day = std::fs::read_to_string(&job).unwrap().replace("title = \"", "title = \"Standby generator, ");
    let (_folder, path) = file("job.toml", day.as_bytes());
    assert!(stdout(&siltcode(&["plan", path.to_str().unwrap()])).contains("- tank on standby: "));
    let output = siltcode(&["plan", &job, "--format", "json"]);
    let found: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let cautions = found["cautions"].as_array().unwrap();
    let first_other = cautions.iter().position(|caution| caution["applies"] == false).unwrap();
    assert!(cautions[first_other..].iter().all(|caution| caution["applies"] == false));
    assert!(cautions.iter().all(|caution| caution["source"].is_string() && caution["when"].is_string()));
}
