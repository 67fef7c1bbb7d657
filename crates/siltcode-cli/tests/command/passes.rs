//! `siltcode passes` as a process.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

use super::{refused, siltcode, status, stderr, stdout};

const TANK: [&str; 4] = ["--tank", "18 m3", "--flow", "60 L/min"];

/// From one code to another through one filter, with whatever else is asked.
fn passes(from: &str, to: &str, beta: &str, more: &[&str]) -> Output {
    let asked = ["passes", "--from", from, "--to", to, "--beta", beta];
    siltcode(&[&asked[..], &TANK, more].concat())
}

fn json(output: &Output) -> Value {
    serde_json::from_str(&stdout(output)).unwrap_or_else(|error| panic!("{error}: {}", stderr(output)))
}

/// The document for these arguments.
fn document(from: &str, to: &str, beta: &str, more: &[&str]) -> Value {
    json(&passes(from, to, beta, &[more, &["--format", "json"]].concat()))
}

fn number(document: &Value, pointer: &str) -> f64 {
    document.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("{pointer}: {document}"))
}

#[track_caller]
fn assert_close(found: f64, expected: f64) {
    assert!((found / expected - 1.0).abs() < 1e-9, "{found} for {expected}");
}

/// A filter that holds back all sizes alike, so that the answer is a logarithm.
const EVEN: &str = "4:75,6:75,14:75";

/// A target at which 4 um(c) decides: 40 000 to 2500 per mL is a factor of 16, 1300 to 80 is a little more.
const EASY: &str = "18/17/14";

fn even_turnovers() -> f64 {
    16.0_f64.ln() / (1.0 - 1.0 / 75.0)
}

#[test]
fn the_answer_comes_first() {
    let output = passes("22/20/17", EASY, EVEN, &[]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let text = stdout(&output);
    let first = text.lines().next().unwrap();
    assert_eq!(first, "2.81 turnovers, 14.1 h at 60 L/min (15.85 gpm); 4 um(c) decides.");
    for part in
        ["Rule of thumb", "Taken for granted", "Cautions", "no ingress was stated", "licensed practice"]
    {
        assert!(text.contains(part), "{part}");
    }
    assert!(!text.contains('\u{1b}'), "no colour but on a terminal");
}

#[test]
fn everything_fits_80_columns() {
    let ingress = ["--ingress", "4:600,6:200,14:10 per h"];
    let doubt = ["--beta-spread", "1.5", "--mixing", "1.2", "--mixing-spread", "1.2", "--within", "30 h"];
    let coarse = passes("28/27/26", "1/0/0", "4:1.01,6:1.02,14:1.04", &[]);
    for output in [
        passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", &[]),
        passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", &doubt),
        passes("22/20/17", "14/12/9", "4:3,6:20,14:1000", &ingress),
        passes("16/14/11", "18/16/13", "4:3,6:20,14:1000", &[]),
        passes("4:39999.123,6:7000.5,14:900", "4:0.017", "4:2..5,10:>75", &[]),
        coarse,
    ] {
        let text = stdout(&output);
        assert!(!text.is_empty(), "{}", stderr(&output));
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(text.lines().all(|line| line == line.trim_end()), "{text}");
    }
}

#[test]
fn the_chart_steps_through_every_number() {
    let text = stdout(&passes("22/20/17", EASY, EVEN, &[]));
    let mut bars = text.lines().filter(|line| line.contains('#'));
    let mut end = 0;
    for label in
        ["22     <= 40000", "21     <= 20000", "20     <= 10000", "19      <= 5000", "18  target 2500"]
    {
        let line = bars.next().unwrap();
        assert!(line.contains(label), "{line}");
        let from = line.find('#').unwrap();
        assert!(end == 0 || from == end, "a step starts where the one before it ends: {line}");
        end = line.len();
    }
    assert!(bars.next().is_none());
    for axis in ["turnovers ", "hours ", "code "] {
        assert!(text.lines().any(|line| line.trim_start().starts_with(axis)), "{axis}");
    }
}

#[test]
fn the_document_has_the_fixed_face() {
    let found = document("22/20/17", EASY, EVEN, &["--ingress", "4:30,6:5,14:0.2 per h"]);
    assert_eq!(found["schema"], "siltcode.passes/1");
    assert_eq!(found["reachable"], true);
    assert_eq!(found["deciding"], "4 um(c)");
    for of in ["turnovers", "hours"] {
        let [nominal, p50, p90] =
            ["nominal", "p50", "p90"].map(|key| number(&found, &format!("/{of}/{key}")));
        assert!(nominal > 0.0 && p50 <= p90, "{of}");
    }
    for (i, um) in [4.0, 6.0, 14.0].into_iter().enumerate() {
        let channel = |key: &str| number(&found, &format!("/channels/{i}/{key}"));
        assert_close(channel("size_um_c"), um);
        assert!(channel("start_per_ml") > channel("target_per_ml"));
        assert!(channel("target_per_ml") > channel("floor_per_ml") && channel("floor_per_ml") > 0.0);
        assert!(channel("turnovers") > 0.0);
    }
    assert!(found["assumptions"].as_array().unwrap().iter().all(Value::is_string));
    assert!(found["provenance"]["library"].as_str().unwrap().starts_with("siltcode "));
    let cautions = found["cautions"].as_array().unwrap();
    assert!(cautions.iter().all(|caution| caution["status"].is_string() && caution["source"].is_string()));
}

#[test]
fn the_numbers_are_those_of_a_stirred_tank() {
    let found = document("22/20/17", EASY, EVEN, &[]);
    assert_close(number(&found, "/turnovers/nominal"), even_turnovers());
    assert_close(number(&found, "/hours/nominal"), 5.0 * even_turnovers());
    assert_close(number(&found, "/turnovers/p90"), even_turnovers());
    assert_eq!(found["doubt_stated"], false);
    // a mixing factor of 1.2, lognormal with spread 1.3: 1.281 552 standard deviations are the 90 % point
    let found = document("22/20/17", EASY, EVEN, &["--mixing", "1.2", "--mixing-spread", "1.3"]);
    assert_close(number(&found, "/turnovers/p50"), 1.2 * even_turnovers());
    assert_close(number(&found, "/turnovers/estimate"), 1.2 * even_turnovers());
    assert_close(number(&found, "/turnovers/nominal"), even_turnovers());
    assert_close(number(&found, "/hours/estimate"), 6.0 * even_turnovers());
    assert_close(number(&found, "/channels/0/turnovers"), 1.2 * even_turnovers());
    assert_close(
        number(&found, "/turnovers/p90"),
        1.2 * even_turnovers() * 1.3_f64.powf(1.281_551_565_544_600_4),
    );
    assert_close(number(&found, "/causes/mixing"), 1.0);
    let path = found["path"].as_array().unwrap();
    for point in path {
        let left = 40_000.0 * (-number(point, "/turnovers") / 1.2 * (1.0 - 1.0 / 75.0)).exp();
        assert_close(number(point, "/per_ml/0"), left);
    }
}

#[test]
fn units_of_both_systems_say_the_same() {
    let us = ["passes", "--from", "22/20/17", "--to", EASY, "--beta", EVEN, "--format", "json"];
    let us =
        json(&siltcode(&[&us[..], &["--tank", "4755.0969429 gal", "--flow", "15.850323141 gpm"]].concat()));
    assert_close(number(&us, "/hours/nominal"), 5.0 * even_turnovers());
    let hourly = document("22/20/17", EASY, EVEN, &["--ingress", "4:24,6:12,14:1.2 per h"]);
    let daily = document("22/20/17", EASY, EVEN, &["--ingress", "4:576,6:288,14:28.8/d"]);
    assert_close(number(&daily, "/turnovers/nominal"), number(&hourly, "/turnovers/nominal"));
    assert!(number(&hourly, "/turnovers/nominal") > even_turnovers());
}

#[test]
fn elements_in_series_and_flow_past_them() {
    let series = document("22/20/17", EASY, "4:10,6:10,14:10", &["--beta", "4:20,6:20,14:20"]);
    let one = document("22/20/17", EASY, "4:200,6:200,14:200", &[]);
    assert_close(number(&series, "/turnovers/nominal"), number(&one, "/turnovers/nominal"));
    let bypassed = document("22/20/17", EASY, EVEN, &["--bypass", "0.1"]);
    assert_close(number(&bypassed, "/turnovers/nominal"), even_turnovers() / 0.9);
    let text = stdout(&passes("22/20/17", EASY, EVEN, &["--bypass", "0.1"]));
    assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains("caps any filter at beta 10"));
    let derated = document("22/20/17", EASY, EVEN, &["--derate", "37"]);
    assert_close(number(&derated, "/turnovers/nominal"), 16.0_f64.ln() / (1.0 - 1.0 / 3.0));
    let stirred = document("22/20/17", EASY, EVEN, &["--cells", "1"]);
    assert!((number(&stirred, "/turnovers/nominal") / even_turnovers() - 1.0).abs() < 1e-6);
    let dead = document("22/20/17", EASY, EVEN, &["--dead-zone", "0.2:0.1"]);
    assert!(number(&dead, "/turnovers/nominal") > even_turnovers());
}

#[test]
fn what_cannot_be_reached_says_what_would_do() {
    let ingress = ["--ingress", "4:60,6:20,14:1 per h"];
    let output = passes("22/20/17", "15/14/10", EVEN, &ingress);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let stuck = passes("22/20/17", "14/12/9", EVEN, &ingress);
    assert_eq!(status(&stuck), 1);
    let text = stdout(&stuck);
    assert!(text.starts_with("Not reachable: at 4 um(c) the tank goes no lower than"), "{text}");
    assert!(text.contains("a flow above") && text.contains("an ingress below"), "{text}");
    let found = document("22/20/17", "14/12/9", EVEN, &ingress);
    assert_eq!(found["reachable"], false);
    assert!(found["turnovers"]["nominal"].is_null() && found["hours"]["p90"].is_null());
    let flow = found.pointer("/channels/0/remedy/flow").unwrap().as_str().unwrap();
    let more = 1.001 * flow.split(' ').next().unwrap().parse::<f64>().unwrap();
    let flow = format!("{more} L/min");
    let again = ["passes", "--from", "22/20/17", "--to", "14/-/-", "--tank", "18 m3", "--flow", &flow];
    let again = siltcode(&[&again[..], &["--beta", EVEN], &ingress].concat());
    assert_eq!(status(&again), 0, "{}{}", stdout(&again), stderr(&again));
}

#[test]
fn a_target_dirtier_than_the_start_is_already_met() {
    let output = passes("16/14/11", "18/16/13", EVEN, &[]);
    assert_eq!(status(&output), 0);
    assert!(stdout(&output).starts_with("Already there"));
    let found = document("16/14/11", "18/16/13", EVEN, &[]);
    assert!(found["turnovers"]["nominal"].as_f64().unwrap().abs() < 1e-12);
}

#[test]
fn a_counted_volume_gives_the_start_its_doubt() {
    let counts = "4:400,6:100,14:12";
    let few = document(counts, "15/13/9", EVEN, &["--counted", "1 mL"]);
    let many = document(counts, "15/13/9", EVEN, &["--counted", "100 mL"]);
    let spread = |found: &Value| number(found, "/turnovers/p90") / number(found, "/turnovers/p50");
    assert!(spread(&few) > spread(&many) && spread(&many) > 1.0);
    let text = stdout(&passes(counts, "15/13/9", EVEN, &["--counted", "1 mL", "--within", "8 h"]));
    assert!(
        text.contains("enough in 90 % of cases") && text.contains("8 h (1.6 turnovers) is enough in"),
        "{text}"
    );
}

#[test]
fn what_is_used_of_a_rough_rating_is_said() {
    let said = |beta: &str| {
        let found = document("4:30000,6:9000,10:3000,14:900", "18/16/13", beta, &[]);
        found["assumptions"].to_string()
    };
    assert!(said("4:3,6:20,14:1000").contains("beta at 10 um(c) is interpolated"));
    assert!(said("4:3,6:20").contains("beta at 14 um(c) is at least 20, and 20 is used"));
    assert!(said("4:2..5,6:20").contains("beta at 4 um(c) is within 2 and 5, and 2 is used"));
}

#[test]
fn the_same_request_gives_the_same_bytes() {
    let ask = || {
        let doubt =
            ["--start-spread", "1.2", "--beta-spread", "1.5", "--mixing-spread", "1.3", "--format", "json"];
        passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", &doubt).stdout
    };
    assert_eq!(ask(), ask());
}

#[test]
fn requests_that_cannot_be_used_are_refused_in_words() {
    let asked =
        |from: &'static str, to: &'static str, beta: &'static str, more: &[&'static str], words: &[&str]| {
            let asked = ["passes", "--from", from, "--to", to, "--beta", beta];
            refused(&[&asked[..], &TANK, more].concat(), words);
        };
    asked("22/20/17", "18/16/13", "4:0.5,6:20", &[], &["filtration ratio 0.5 is not 1 or more"]);
    asked("22/20/17", "18/16/13", "4:100,6:2", &[], &["cannot both hold", "more particles would leave"]);
    asked("22/20/17", "18/16/13", "4 um 3", &[], &["not a list of sizes", "4:3,6:20,14:1000"]);
    asked("22/20/17", "jet-a1-manufacture", EVEN, &[], &["30 um(c)", "the start is known at 4 um(c)"]);
    asked("22/20/17", "d975-diesel", EVEN, &[], &["limits no particles"]);
    asked(">28/20/17", "18/16/13", EVEN, &[], &["at 4 um(c)", "no upper bound"]);
    asked("22/20", "18/16/13", EVEN, &[], &["4 um(c) is asked for"]);
    asked("4:100,6:200", "18/16/13", EVEN, &[], &["cannot rise with size"]);
    asked("22/20/17", EASY, EVEN, &["--ingress", "4:30"], &["do not say their time", "per h"]);
    asked("22/20/17", EASY, EVEN, &["--ingress", "4:30 per fortnight"], &["is not a time"]);
    asked("22/20/17", EASY, EVEN, &["--ingress", "10:5 per h"], &["10 um(c) is asked for"]);
    asked("22/20/17", EASY, EVEN, &["--bypass", "1"], &["share 1 is not", "0.01 for 1 %"]);
    asked("22/20/17", EASY, EVEN, &["--derate", "0.5"], &["divisor of beta - 1"]);
    asked("22/20/17", EASY, EVEN, &["--margin", "0"], &["safety margin 0"]);
    asked("22/20/17", EASY, EVEN, &["--mixing-spread", "NaN"], &["spread of mixing"]);
    asked("22/20/17", EASY, EVEN, &["--counted", "10 mL"], &["no volume was counted for"]);
    asked("22/20/17", EASY, EVEN, &["--dead-zone", "0.2"], &["not a dead zone", "0.2:0.1"]);
    asked("22/20/17", EASY, EVEN, &["--dead-zone", "0.2:0"], &["never cleaned"]);
    asked("22/20/17", EASY, EVEN, &["--within", "tomorrow"], &["is not a time"]);
    let still = ["passes", "--from", "22/20/17", "--to", "18/16/13", "--beta", EVEN, "--tank", "18 m3"];
    refused(&[&still[..], &["--flow", "0 L/min"]].concat(), &["0 L/min is never turned over", "above 0"]);
    refused(&[&still[..], &["--flow", "60"]].concat(), &["`60` is not a flow", "L/min", "gpm"]);
}

#[test]
fn a_bottle_of_a_file_may_be_the_start() {
    let bunker = super::demo("bunker-tank.csv");
    let found = document(&bunker, "18/16/13", EVEN, &["--bottle", "HB-03"]);
    assert!((number(&found, "/channels/0/start_per_ml") - 30_192.0).abs() < 0.1);
    assert_eq!(found["doubt_stated"], true); // its counts say how many particles they rest on
    assert_eq!(found["provenance"]["inputs"][0]["sha256"].as_str().unwrap().len(), 64);
    let (_folder, path) = super::file("one.csv", super::GOOD.as_bytes());
    let one = path.display().to_string();
    assert!(stdout(&passes(&one, "18/16/13", EVEN, &[])).starts_with("Already there"));
    let asked = |from: &str, more: &[&str], words: &[&str]| {
        let asked = ["passes", "--from", from, "--to", "18/16/13", "--beta", EVEN];
        refused(&[&asked[..], &TANK, more].concat(), words);
    };
    asked(&bunker, &[], &["does not hold just one bottle", "HB-03"]);
    asked(&bunker, &["--bottle", "HB-99"], &["one bottle `HB-99`", "HB-03"]);
    asked("nowhere.csv", &[], &["`nowhere.csv` is not an ISO 4406 code"]);
}

#[test]
fn a_booked_time_is_judged() {
    let said = |more: &[&str]| stdout(&passes("22/20/17", EASY, EVEN, more));
    assert!(said(&["--within", "15 h"]).contains("15 h (3 turnovers) is enough, and leaves 18/16/13"));
    assert!(said(&["--within", "10 h"]).contains("10 h (2 turnovers) is not enough, and leaves 20/18/15"));
    let found = document("22/20/17", EASY, EVEN, &["--within", "10 h"]);
    let flow = found["within"]["flow"].as_str().unwrap().trim_end_matches(" L/min").parse::<f64>().unwrap();
    assert!((flow / (60.0 * even_turnovers() / 2.0) - 1.0).abs() < 1e-6, "{flow}");
    let unmet = stdout(&passes("22/20/17", "4:0", EVEN, &["--within", "10 h"]));
    assert!(unmet.contains("10 h (2 turnovers) is not enough"), "{unmet}");
}

#[test]
fn a_falling_flow_takes_longer() {
    let falling = ["--falls-to", "30 L/min", "--falls-over", "20 h"];
    let found = document("22/20/17", EASY, EVEN, &falling);
    // 60 to 30 L/min in 20 h: t - t^2 / 80 in hours at the first flow are as many turnovers of 5 h
    let hours = 40.0 * (1.0 - (1.0 - 5.0 * even_turnovers() / 20.0).sqrt());
    let said = found["falling_flow"]["time"].as_str().unwrap().trim_end_matches(" h").parse::<f64>().unwrap();
    assert_close(said, hours);
    let text = stdout(&passes("22/20/17", EASY, EVEN, &falling));
    assert!(text.contains("while the flow falls to 30 L/min (7.925 gpm) over 20 h: 18.2 h"), "{text}");
    let alone = ["passes", "--from", "22/20/17", "--to", EASY, "--beta", EVEN, "--falls-to", "30 L/min"];
    assert_eq!(status(&siltcode(&[&alone[..], &TANK].concat())), 2);
}

#[test]
fn a_rough_rating_says_what_it_leaves_open() {
    let text = stdout(&passes("22/20/17", EASY, "4:3..5,6:20,14:1000", &[]));
    assert!(text.contains("if every ratio is the best its rating allows"), "{text}");
    assert!(text.starts_with("3.71 to 5.2 turnovers, 18.6 to 26 h at "), "{text}");
    let best = document("22/20/17", EASY, "4:5,6:20,14:1000", &[]);
    let rough = document("22/20/17", EASY, "4:3..5,6:20,14:1000", &[]);
    assert_close(number(&rough, "/turnovers_at_best_rating"), number(&best, "/turnovers/nominal"));
    assert!(!stdout(&passes("22/20/17", EASY, EVEN, &[])).contains("best its rating allows"));
}

#[test]
fn a_mixing_factor_is_in_every_figure() {
    let text = stdout(&passes("22/20/17", EASY, EVEN, &["--mixing", "1.5"]));
    assert!(text.starts_with("4.22 turnovers, 21.1 h at 60 L/min"), "{text}");
    assert!(text.contains("nominal, without the mixing factor of 1.5: 2.81 turnovers, 14.1 h"), "{text}");
    let row = text.lines().find(|line| line.starts_with("  4 um(c)")).unwrap();
    assert!(row.contains(" 4.22 "), "the table: {row}");
    assert!(!text.contains("the tank is stirred: mixing takes"), "{text}");
    let slowed = document(
        "22/20/17",
        EASY,
        EVEN,
        &["--mixing", "1.5", "--falls-to", "59 L/min", "--falls-over", "1000 h"],
    );
    let plain = document("22/20/17", EASY, EVEN, &["--falls-to", "59 L/min", "--falls-over", "1000 h"]);
    let hours = |found: &Value| {
        found["falling_flow"]["time"].as_str().unwrap().trim_end_matches(" h").parse::<f64>().unwrap()
    };
    assert!((hours(&slowed) / hours(&plain) - 1.5).abs() < 1e-3);
    let fed = ["--ingress", "4:30,6:5,14:0.2 per h"];
    let floor = |more: &[&str]| {
        number(&document("22/20/17", EASY, EVEN, &[&fed[..], more].concat()), "/channels/0/floor_per_ml")
    };
    assert_close(floor(&["--mixing", "1.5"]), floor(&[]));
    let both = stdout(&passes("22/20/17", EASY, EVEN, &[&fed[..], &["--mixing", "1.5"]].concat()));
    assert!(both.contains("does not raise the floor that ingress sets"), "{both}");
}

#[test]
fn what_a_spread_of_beta_acts_on_stands_beside_the_number() {
    let text = stdout(&passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", &["--beta-spread", "1.5"]));
    let said = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains(
            "acts on beta - 1 of each bin of sizes, not on the ratios as typed: at 4 um(c) beta is 2."
        ),
        "{said}"
    );
    let found = document("22/20/17", "18/16/13", "4:3,6:20,14:1000", &["--beta-spread", "1.5"]);
    let [low, high] = ["low", "high"].map(|end| number(&found, &format!("/beta_spread/{end}")));
    assert!(low > 2.0 && low < 3.0 && high > 3.0 && high < 5.0, "{low} {high}");
    assert!(document("22/20/17", EASY, EVEN, &[])["beta_spread"].is_null());
}

#[test]
fn a_flow_that_rises_is_no_decline() {
    let asked = ["passes", "--from", "22/20/17", "--to", EASY, "--beta", EVEN];
    let rising = ["--falls-to", "70 L/min", "--falls-over", "20 h"];
    refused(
        &[&asked[..], &TANK, &rising].concat(),
        &["60 L/min cannot decline to 70 L/min", "at most 60 L/min"],
    );
    assert_eq!(
        status(&passes("22/20/17", EASY, EVEN, &["--falls-to", "60 L/min", "--falls-over", "20 h"])),
        0
    );
}

#[test]
fn a_filter_that_holds_back_nothing_is_a_filter() {
    let none = passes("22/20/17", EASY, "4:1,6:1,14:1", &[]);
    assert_eq!(status(&none), 1, "{}", stderr(&none));
    assert!(stdout(&none).starts_with("Not reachable"), "{}", stdout(&none));
    let series = document("22/20/17", EASY, "4:1,6:1,14:1", &["--beta", EVEN]);
    assert_close(number(&series, "/turnovers/nominal"), even_turnovers());
    let rough = document("22/20/17", EASY, "4:1..75,6:75,14:75", &[]);
    assert!(rough["reachable"].is_null(), "between 1 and 75 all is possible: {rough}");
    assert_close(number(&rough, "/turnovers_at_best_rating"), even_turnovers());
    for mixing in [["--cells", "5"], ["--dead-zone", "0.2:0.1"]] {
        let fed = [&mixing[..], &["--ingress", "4:30,6:5,14:0.2 per h"]].concat();
        let found = document("22/20/17", EASY, "4:1,6:1,14:1", &fed);
        let points = found["path"].as_array().unwrap();
        assert!(points.iter().all(|point| point["per_ml"][0].is_number()), "{mixing:?}");
        let (first, last) = (&points[0], points.last().unwrap());
        let gained = number(last, "/per_ml/0") - number(first, "/per_ml/0");
        assert_close(gained, 30.0 * number(last, "/hours"));
    }
}

#[test]
fn one_figure_of_a_data_sheet_gives_a_range() {
    let output = passes("22/20/17", "18/16/13", "5:200", &[]);
    let text = stdout(&output);
    assert_eq!(status(&output), 1);
    assert!(text.starts_with("At least 2.79 turnovers, 13.9 h at 60 L/min"), "{text}");
    let said = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("lies below the smallest rated size, between 1 and 200"), "{said}");
    let found = document("22/20/17", "18/16/13", "5:200", &[]);
    assert!(found["reachable"].is_null() && found["turnovers"]["estimate"].is_null());
    assert!(number(&found, "/turnovers_at_best_rating") > 2.7);
    // all sizes of the target rated: the figure is a bound, and so is the answer
    let output = passes("22/20/17", "6:640,14:80", "5:20", &[]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert!(stdout(&output).starts_with("2.79 to 2.93 turnovers, 13.9 to 14.7 h"), "{}", stdout(&output));
}

#[test]
fn a_point_before_three_digits_is_asked_about() {
    let asked =
        ["passes", "--from", "22/20/17", "--to", EASY, "--beta", EVEN, "--flow", "60 L/min", "--tank"];
    refused(
        &[&asked[..], &["18.000 L"]].concat(),
        &["`18.000 L` may be 18000 L or 18 L", "write 18000 L or 18 L"],
    );
    for tank in ["18000 L", "18 000 L", "18.0 m3", "18,000 L"] {
        assert_eq!(status(&siltcode(&[&asked[..], &[tank]].concat())), 0, "{tank}");
    }
}

#[test]
fn limits_that_were_not_read_are_said_to_be_unverified() {
    let text = stdout(&passes("22/20/17", "wwfc-diesel-5", EVEN, &[]));
    assert!(text.contains("UNVERIFIED): verify before use"), "{text}");
    let found = document("22/20/17", "wwfc-diesel-5", EVEN, &[]);
    assert_eq!(found["target_unverified"], true);
    assert!(found["assumptions"].to_string().contains("UNVERIFIED"));
    let used = &found["provenance"]["specification"];
    assert_eq!((&used["name"], &used["status"]), (&Value::from("wwfc-diesel-5"), &Value::from("UNVERIFIED")));
    assert_eq!(used["sha256"].as_str().unwrap().len(), 64);
    assert!(used["sources"].as_array().unwrap().contains(&Value::from("recalled")));
    assert!(!stdout(&passes("22/20/17", EASY, EVEN, &[])).contains("verify before use"));
}

#[test]
fn the_readme_shows_what_is_printed() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let readme = std::fs::read_to_string(root.join("README.md")).unwrap();
    let (_, from_command) = readme.split_once("siltcode passes ").unwrap();
    let (line, after) = from_command.split_once("```").unwrap();
    let shown = after.split("```text\n").nth(1).unwrap().split("\n...").next().unwrap();
    let arguments = arguments(&format!("passes {}", line.replace("\\\n", " ")));
    let mut command = Command::new(env!("CARGO_BIN_EXE_siltcode"));
    let output = command.args(arguments).current_dir(root).output().unwrap();
    assert!(stdout(&output).starts_with(shown), "{}{}", stdout(&output), stderr(&output));
}

/// Splits a command line as a shell does, so far as quotes go.
fn arguments(line: &str) -> Vec<String> {
    let quoted = line.split('"').enumerate();
    let parts = quoted.flat_map(|(i, part)| match i % 2 {
        0 => part.split_whitespace().map(str::to_owned).collect(),
        _ => vec![part.to_owned()],
    });
    parts.collect()
}
