//! How the variation of runs is learnt from a file and said, and runs that are left out.

use super::*;

const HEADING: &str = "bottle,run,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c)\n";

/// A file of these rows under the common heading.
fn runs(name: &str, rows: &str) -> (TempDir, PathBuf) {
    file(name, format!("{HEADING}{rows}").as_bytes())
}

const THREE: &str = "A,1,10,22310,5610,330\nA,2,10,20330,5050,303\nA,3,10,20100,5000,290\n";

#[test]
fn runs_that_are_left_out_stand_in_the_document() {
    let (_folder, path) = runs("three.csv", &format!("{THREE}B,1,10,900,90,9\n"));
    let json = json_of(&path, &["--skip-first-run", "--leave-out", "A:3"]);
    assert_eq!(json["samples"][0]["channels"][0]["raw"], 20330);
    let left_out = &json["samples"][0]["left_out"];
    let told: Vec<_> = (0..2).map(|i| (&left_out[i]["place"], &left_out[i]["reason"])).collect();
    assert_eq!(told, [(&1.into(), &"first-run".into()), (&3.into(), &"named".into())]);
    assert!(json["samples"][1]["left_out"].is_null(), "a bottle keeps its only run");
    assert_eq!(json["request"]["skip_first_run"], true);
    assert_eq!(json["request"]["leave_out"][0]["bottle"], "A");
    let text = stdout(&siltcode(&["score", path.to_str().unwrap(), "--leave-out", "A:1"]));
    assert!(text.contains("left out as asked: run 1"), "{text}");
}

#[test]
fn a_run_that_cannot_be_left_out_is_said() {
    let (_folder, path) = runs("three.csv", &format!("{THREE}B,1,10,900,90,9\n"));
    let asked = ["--leave-out", "A:9", "--leave-out", "B:1", "--leave-out", "A:2"];
    let json = json_of(&path, &asked);
    let notices = json["notices"].as_array().unwrap();
    let said: Vec<_> = notices.iter().filter(|notice| notice["code"] == "run-not-left-out").collect();
    assert_eq!(said.len(), 2, "{notices:?}");
    for (notice, run) in said.iter().zip(["A:9", "B:1"]) {
        assert!(notice["message"].as_str().unwrap().starts_with(run), "{notice}");
    }
    let output = siltcode(&["score", path.to_str().unwrap(), "--leave-out", "A"]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("`A` does not name a run of a bottle"));
}

#[test]
fn a_flag_on_the_first_run_names_the_option() {
    let quiet = |i: u32| {
        format!("Q{i},1,10,20{i}10,5000,300\nQ{i},2,10,20{i}90,5050,310\nQ{i},3,10,20{i}50,5020,305\n")
    };
    let rows: String = (0..9).map(quiet).collect();
    let (_folder, path) = runs("first.csv", &format!("{rows}{THREE}"));
    let text = stdout(&siltcode(&["score", path.to_str().unwrap()]));
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("[first-run-differs]") && text.contains("--skip-first-run"), "{text}");
    assert!(text.contains("--leave-out BOTTLE:1"), "{text}");
}

#[test]
fn counting_error_alone_is_said_wherever_a_result_stands() {
    for rows in ["A,1,10,20310,5010,300\n", "A,1,10,0,0,0\nA,2,10,0,0,0\n"] {
        let (_folder, path) = runs("one.csv", rows);
        let path = path.to_str().unwrap();
        let text = stdout(&siltcode(&["score", path]));
        assert!(text.contains("counting error only"), "{text}");
        let csv = stdout(&siltcode(&["score", path, "--format", "csv"]));
        let at = csv.lines().next().unwrap().split(',').position(|name| name == "counting_only").unwrap();
        assert_eq!(csv.lines().nth(1).unwrap().split(',').nth(at), Some("true"), "{csv}");
        let stated = stdout(&siltcode(&["score", path, "--repeatability", "0.02"]));
        assert!(!stated.contains("counting error only"), "{stated}");
        assert!(stated.contains("2.0 % (as stated"), "{stated}");
    }
}

#[test]
fn a_stated_variation_that_runs_contradict_is_said() {
    let (_folder, path) = runs("six.csv", &format!("{THREE}{}", THREE.replace('A', "B")));
    let json = json_of(&path, &["--repeatability", "0.5"]);
    let notice =
        json["notices"].as_array().unwrap().iter().find(|n| n["code"] == "repeatability-contradicted");
    let message = notice.unwrap()["message"].as_str().unwrap();
    assert!(message.contains("50.0 % was stated"), "{message}");
    assert_eq!(json["repeatability"][0]["source"], "runs-and-stated");
    for cv in ["-0.01", "1.01", "nan"] {
        for option in ["--repeatability", "--scatter"] {
            refused(&["score", path.to_str().unwrap(), &format!("{option}={cv}")], &["0 to 1"]);
        }
    }
}

/// The pool is of the first 4,096 bottles with two runs; what comes later neither changes it nor the results before.
#[test]
fn later_bottles_change_nothing() {
    let bottle = |i: u32, apart: u32| {
        let raw = 20_000 + 37 * (i % 50);
        format!("b{i},1,10,{},5000,300\nb{i},2,10,{},5010,310\n", raw + apart, raw - apart)
    };
    let first: String = (0..4096).map(|i| bottle(i, 150 + i % 7)).collect();
    let later: String = (4096..4300).map(|i| bottle(i, 4000)).collect();
    let (_one, short) = runs("short.csv", &first);
    let (_two, long) = runs("long.csv", &format!("{first}{later}"));
    let [short, long] = [short, long].map(|path| json_of(&path, &[]));
    assert_eq!(long["repeatability"][0]["bottles"], 4096);
    let without_file = |json: &Value| {
        let mut entries = json["repeatability"].clone();
        entries.as_array_mut().unwrap().iter_mut().for_each(|entry| entry["file"] = Value::Null);
        entries
    };
    assert_eq!(without_file(&short), without_file(&long));
    for i in [0, 1, 4095] {
        assert_eq!(short["samples"][i]["channels"], long["samples"][i]["channels"]);
    }
}

#[test]
fn each_file_is_a_pool_of_its_own() {
    let (_one, quiet) = runs("quiet.csv", "A,1,10,20000,5000,300\nA,2,10,20100,5010,310\n");
    let (_two, loud) = runs("loud.csv", "B,1,10,20000,5000,300\nB,2,10,26000,6010,390\n");
    let alone = json_of(&quiet, &[]);
    let both = json_of(&quiet, &[loud.to_str().unwrap()]);
    assert_eq!(alone["samples"][0], both["samples"][0]);
    assert_eq!(both["repeatability"].as_array().unwrap().len(), 6);
}
