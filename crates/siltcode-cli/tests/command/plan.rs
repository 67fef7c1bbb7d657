//! `siltcode plan` as a process.

use std::fs;
use std::process::Output;

use serde_json::Value;

use super::{demo, file, refused, siltcode, status, stderr, stdout};

fn job() -> String {
    demo("bunker-tank-job.toml")
}

/// The plan of a job of this text.
fn planned(text: &str, more: &[&str]) -> Output {
    let (_folder, path) = file("job.toml", text.as_bytes());
    siltcode(&[&["plan", path.to_str().unwrap()], more].concat())
}

/// The job of the demo without the lines that begin so, and with others.
fn changed(without: &[&str], with: &str) -> String {
    let text = fs::read_to_string(job()).unwrap();
    let kept = text.lines().filter(|line| !without.iter().any(|start| line.starts_with(start)));
    kept.collect::<Vec<_>>().join("\n").replacen("[[stage]]", &format!("{with}\n[[stage]]"), 1)
}

fn json(output: &Output) -> Value {
    serde_json::from_str(&stdout(output)).unwrap_or_else(|error| panic!("{error}: {}", stderr(output)))
}

fn number(document: &Value, pointer: &str) -> f64 {
    document.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("{pointer}: {document}"))
}

#[test]
fn the_answer_comes_first_and_says_what_to_bring() {
    let output = siltcode(&["plan", &job()]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let text = stdout(&output);
    assert_eq!(text.lines().next().unwrap(), "17 h, 1206 EUR: proven the cheapest.");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "book this much: 17 h is enough in 50 % of cases, 22.5 h in 90 %",
        "1 fine bags 120 31.7 0:15 0:10 4:53 6:37 5:18",
        "leave out: coarse bags",
        "1 fine bags bag 1 1 250 230 92% 38",
        "4 um(c) 30192.0 22818.2 2500.0 2500.0",
        "code 22/20/16 22/19/14 18/16/11 18/16/13",
        "17 h at 45 are 763.4, elements 443, setting up 0: 1206 EUR.",
        "no plan of these stages costs less by more than a millionth",
        "Taken for granted",
        "soft sludge and water fill an element far sooner",
        "Cautions",
        "licensed practice",
    ] {
        assert!(words.contains(part), "{part}: {text}");
    }
    assert!(!text.contains('\u{1b}'), "no colour but on a terminal");
}

/// Six stages with long names, many sizes, and elements by the dozen.
fn crowded() -> String {
    let start = "4:30192,6:8590,10:2000,14:636,21:100,25:50,30:20,38:5,50:2,60:1,70:0.5";
    let head = format!(
        "tank = \"18 m3\"\nstart = \"{start}\"\ntarget = \"14/12/9\"\nhour_cost = 1234\n\
         particles = {{ density = \"2.65 kg/L\", largest = \"100 um(c)\" }}\n"
    );
    let stage = |i: u32| {
        let few = f64::from(i);
        let [fine, middle, coarse] = [0.1, 0.3, 3.0].map(|part| 1.0 + part * few);
        format!(
            "[[stage]]\nname = \"{i} bags of the housing beside the pump\"\nflow = \"1234.5 L/min\"\n\
             [[stage.element]]\nkind = \"water-absorbing\"\nbeta = \"4:{fine},6:{middle},14:{coarse}\"\n\
             rated_flow = \"2000 L/min\"\ndirt_capacity = \"{} g\"\nprice = {}\n",
            60 / i,
            40 * i * i
        )
    };
    head + &(1..=6).map(stage).collect::<String>()
}

#[test]
fn everything_fits_80_columns() {
    let (start, bottles) = (["--start", "12/10/7"], demo("bunker-tank.csv"));
    for output in [
        siltcode(&["plan", &job()]),
        siltcode(&["plan", &job(), "--quickest"]),
        siltcode(&["plan", &job(), "--start", &bottles, "--bottle", "HB-01"]),
        planned(&changed(&["spread", "mixing"], "ingress = \"4:30,6:5,14:0.2 per h\""), &[]),
        planned(&changed(&[], "ingress = \"4:3000,6:500,14:20 per h\""), &[]),
        planned(&changed(&["price", "hour_cost"], ""), &["--quickest"]),
        planned(&changed(&["title"], ""), &start),
        planned(&crowded(), &[]),
    ] {
        let text = stdout(&output);
        assert!(!text.is_empty(), "{}", stderr(&output));
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(text.lines().all(|line| line == line.trim_end()), "{text}");
    }
}

#[test]
fn the_document_has_the_fixed_face() {
    let found = json(&siltcode(&["plan", &job(), "--format", "json"]));
    assert_eq!(found["schema"], "siltcode.plan/1");
    assert_eq!(
        (&found["reachable"], &found["aim"], &found["money"]),
        (&true.into(), &"cheapest".into(), &"EUR".into())
    );
    assert_eq!(found["plan"]["optimal"], true);
    assert!(number(&found, "/plan/lower_bound") <= number(&found, "/plan/cost"));
    assert!(number(&found, "/plan/p90/hours") > number(&found, "/plan/hours"));
    let stages = found["plan"]["stages"].as_array().unwrap();
    let (mut hours, mut cost) = (0.0, 0.0);
    for stage in stages {
        let spent = number(stage, "/hours") + number(stage, "/setup_hours") + number(stage, "/change_hours");
        hours += spent;
        cost += 45.0 * spent + number(stage, "/setup_cost");
        for element in stage["elements"].as_array().unwrap() {
            cost += number(element, "/number") * number(element, "/price");
            assert!(
                number(element, "/caught_g")
                    <= number(element, "/number") * number(element, "/capacity_g") * (1.0 + 1e-8)
            );
        }
    }
    assert!((hours / number(&found, "/plan/hours") - 1.0).abs() < 1e-9);
    assert!((cost / number(&found, "/plan/cost") - 1.0).abs() < 1e-9);
    for i in 0..3 {
        let target = number(&found, &format!("/plan/target_per_ml/{i}"));
        assert!(number(stages.last().unwrap(), &format!("/left_per_ml/{i}")) <= target * (1.0 + 1e-9));
    }
    assert_eq!(found["provenance"]["inputs"].as_array().unwrap().len(), 1);
    assert!(found["cautions"].as_array().unwrap().iter().all(|caution| caution["source"].is_string()));
}

#[test]
fn the_quickest_takes_less_time_and_more_money() {
    let [cheap, quick] = [&[][..], &["--quickest"]]
        .map(|more| json(&siltcode(&[&["plan", &job(), "--format", "json"], more].concat())));
    assert!(number(&quick, "/plan/hours") < number(&cheap, "/plan/hours"));
    assert!(number(&quick, "/plan/cost") > number(&cheap, "/plan/cost"));
    assert!(number(&quick, "/plan/lower_bound") <= number(&quick, "/plan/hours"));
}

#[test]
fn a_search_ends_in_time_and_says_how_far_it_came() {
    let found = json(&siltcode(&["plan", &job(), "--search-time", "0", "--format", "json"]));
    assert_eq!(found["plan"]["search"], "stopped");
    assert!(number(&found, "/plan/lower_bound") <= number(&found, "/plan/cost"));
    let text = stdout(&siltcode(&["plan", &job(), "--search-time", "0"]));
    assert!(text.contains("stopped after the time given"), "{text}");
    let found = json(&siltcode(&["plan", &job(), "--search-time", "60", "--format", "json"]));
    assert_eq!((&found["plan"]["search"], &found["plan"]["optimal"]), (&"complete".into(), &true.into()));
    assert_eq!(status(&siltcode(&["plan", &job(), "--search-time=-1"])), 2);
}

#[test]
fn the_quickest_needs_no_prices() {
    let output = planned(&changed(&["price", "hour_cost"], ""), &["--quickest"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert!(stdout(&output).contains("No cost: an hour or an element has no price"));
}

#[test]
fn another_start_comes_from_a_bottle() {
    let bottles = demo("bunker-tank.csv");
    let found =
        json(&siltcode(&["plan", &job(), "--start", &bottles, "--bottle", "HB-03", "--format", "json"]));
    assert!((number(&found, "/plan/start_per_ml/0") - 30_192.1).abs() < 0.1);
    assert_eq!(found["provenance"]["inputs"].as_array().unwrap().len(), 2);
    refused(&["plan", &job(), "--start", &bottles], &["does not hold just one bottle"]);
    let clean = siltcode(&["plan", &job(), "--start", "12/10/7"]);
    assert_eq!(status(&clean), 0);
    assert!(stdout(&clean).starts_with("Already there"));
    let folder = tempfile::tempdir().unwrap();
    let bare = folder.path().join("bare.csv");
    fs::write(&bare, "bottle,4 um /mL,6 um /mL,14 um /mL\nA,40,10,1\n").unwrap();
    let clean = stdout(&siltcode(&["plan", &job(), "--start", bare.to_str().unwrap()]));
    assert!(clean.starts_with("Already there") && clean.contains("says the scale of the sizes"), "{clean}");
}

#[test]
fn out_of_reach_says_what_would_help() {
    let flooded = changed(&[], "ingress = \"4:3000,6:500,14:20 per h\"");
    let output = planned(&flooded, &[]);
    assert_eq!(status(&output), 1, "{}", stderr(&output));
    let text = stdout(&output);
    assert!(text.starts_with("Not reachable by these stages; `cartridges` comes nearest:"), "{text}");
    for part in ["goes no lower than", "a flow above", "Taken for granted", "Cautions"] {
        assert!(text.contains(part), "{part}");
    }
    assert!(!text.contains("bound"), "nothing is bound that is not planned: {text}");
    let found = json(&planned(&flooded, &["--format", "json"]));
    assert_eq!((&found["reachable"], &found["plan"]), (&false.into(), &Value::Null));
    assert!(number(&found, "/out_of_reach/floor_per_ml") > number(&found, "/out_of_reach/target_per_ml"));
}

#[test]
fn what_is_wrong_in_a_job_is_said_with_its_line() {
    let output = planned(&changed(&[], "mixin = 1.2"), &[]);
    assert_eq!(status(&output), 2);
    let said = stderr(&output);
    assert!(said.contains("`mixin`") && said.contains("job.toml, line"), "{said}");
    assert!(said.contains("hint:"), "{said}");
    refused(&["plan", "no such job.toml"], &["cannot read"]);
}

#[test]
fn a_target_may_be_a_file_beside_the_job() {
    let (folder, path) = file(
        "job.toml",
        changed(&["target"], "").replacen("tank =", "target = \"day.toml\"\ntank =", 1).as_bytes(),
    );
    let missing = siltcode(&["plan", path.to_str().unwrap()]);
    assert_eq!(status(&missing), 2);
    assert!(stderr(&missing).contains("day.toml"), "{}", stderr(&missing));
    fs::write(
        folder.path().join("day.toml"),
        "title = \"Day tank\"\ncode = \"18/16/13\"\nwater = \"200 mg/kg\"\n",
    )
    .unwrap();
    let output = siltcode(&["plan", path.to_str().unwrap(), "--format", "json"]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let found = json(&output);
    let plain = json(&siltcode(&["plan", &job(), "--format", "json"]));
    assert_eq!(found["plan"]["hours"], plain["plan"]["hours"]);
    assert_eq!(found["provenance"]["specification"]["name"], "Day tank");
    assert_eq!(found["provenance"]["specification"]["sha256"].as_str().unwrap().len(), 64);
    fs::write(folder.path().join("day.toml"), "code = \"13/16/18\"\n").unwrap();
    let wrong = siltcode(&["plan", path.to_str().unwrap()]);
    assert!(stderr(&wrong).contains("day.toml, line 1"), "{}", stderr(&wrong));
}

#[test]
fn nothing_at_all_cannot_be_reached() {
    let output = planned(&changed(&["target"], "").replacen("tank =", "target = \"4:0\"\ntank =", 1), &[]);
    assert_eq!(status(&output), 1, "{}{}", stdout(&output), stderr(&output));
    assert!(stdout(&output).starts_with("Not reachable"), "{}", stdout(&output));
}

#[test]
fn particles_have_defaults_that_are_said() {
    let output = planned(&changed(&["particles"], ""), &[]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let text = stdout(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("spheres of test dust") && text.contains("2650 kg/m3 and up to 70 um(c)"),
        "{text}"
    );
}

#[test]
fn a_plan_for_limits_that_were_not_read_says_so() {
    let text = changed(&["target"], "").replacen("tank =", "target = \"wwfc-diesel-5\"\ntank =", 1);
    assert!(stdout(&planned(&text, &[])).contains("(UNVERIFIED): verify before use"));
    assert_eq!(json(&planned(&text, &["--format", "json"]))["target_unverified"], true);
    let bare = text.lines().filter(|line| !line.starts_with("beta")).collect::<Vec<_>>().join("\n");
    let refused = planned(&bare, &[]);
    assert_eq!(status(&refused), 2);
    assert!(stderr(&refused).contains("nothing says what the bag holds back"), "{}", stderr(&refused));
}
