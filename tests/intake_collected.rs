//! Invented files as laboratories, counters and technicians write them, each with the bottles that should come out.
//!
//! They were written, with what should come out, by people who had not read the reader. Beside each file stands
//! `FILE.expected`, a line a bottle: its name (`?` where it has none), its runs (0 where only a code or other
//! measurements are known), its code, and its cumulative counts per mL, worked out from the file's data by other means.

use std::fs;
use std::path::Path;

use siltcode::intake::{self, Options};
use siltcode::{Code, PerMl, Sample};
use siltcode_tests::tests_folder;

/// Whether a bottle is the one of a line.
fn is(sample: &Sample, line: &str) -> bool {
    let parts: Vec<&str> = line.split('\t').collect();
    let [id, runs, code, counts] = parts[..] else { panic!("{line}") };
    let spectrum = sample.spectrum().ok();
    let found = spectrum.as_ref().and_then(|spectrum| Code::of(spectrum).ok()).or(sample.printed);
    let code_found = found.map_or("-".to_owned(), |code| code.to_string());
    let counts_agree = counts.split(' ').filter(|pair| !pair.is_empty()).all(|pair| {
        let (um, per_ml) = pair.split_once('=').unwrap();
        let expected: f64 = per_ml.parse().unwrap();
        let channel = spectrum.as_ref().and_then(|spectrum| spectrum.at_um(um.parse().unwrap()));
        let count = channel.and_then(|channel| channel.reading.count()).map(PerMl::get);
        count.is_some_and(|count| (count - expected).abs() <= 2e-3 * count.max(expected) + 0.006)
    });
    (id == "?" || id == sample.id)
        && (runs == "0" || runs == sample.runs.len().to_string())
        && code == code_found
        && counts_agree
}

fn check(path: &Path) -> Result<(), String> {
    let name = path.display().to_string();
    let file = name.strip_suffix(".expected").unwrap();
    let batch = intake::read(file, &fs::read(file).unwrap()[..], &Options::default())
        .map_err(|error| format!("{file}: {error}"))?;
    if !batch.account.is_complete() {
        return Err(format!("{file}: {}", batch.account));
    }
    let mut left: Vec<&Sample> = batch.samples.iter().collect();
    for line in fs::read_to_string(path).unwrap().lines() {
        let Some(at) = left.iter().position(|sample| is(sample, line)) else {
            return Err(format!("{file}: no bottle is {line:?}"));
        };
        left.remove(at);
    }
    if left.is_empty() { Ok(()) } else { Err(format!("{file}: {} bottles too many", left.len())) }
}

#[test]
fn every_bottle_comes_out() {
    let entries = fs::read_dir(tests_folder().join("collected")).unwrap();
    let mut paths: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "expected"));
    paths.sort();
    assert!(paths.len() > 100, "{}", paths.len());
    let wrong: Vec<String> = paths.iter().filter_map(|path| check(path).err()).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
