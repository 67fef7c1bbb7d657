//! Every record has one fate: on damaged files of every kind, beside damaged rows, and when rejects are fed back.

use std::collections::BTreeMap;
use std::fs;
use std::sync::{Arc, LazyLock};

use proptest::prelude::*;
use proptest::sample::select;
use siltcode::Sample;
use siltcode::intake::{self, Account, Batch, Corrections, Notice, Options, Problem, RejectWriter, Sink};
use siltcode_tests::{cases, tests_folder};

/// The files of the corpus that are text.
static FILES: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    let mut paths: Vec<_> =
        fs::read_dir(tests_folder().join("intake")).unwrap().map(|file| file.unwrap().path()).collect();
    paths.sort();
    paths.retain(|path| path.extension().is_some_and(|ending| ending != "expected" && ending != "xlsx"));
    paths.into_iter().map(|path| fs::read(path).unwrap()).collect()
});

/// What a reading hands over, counted.
#[derive(Default)]
struct Counted {
    scored: u64,
    runs: u64,
    rejected: u64,
    account: Option<Account>,
}

impl Sink for Counted {
    fn sample(&mut self, sample: Sample) {
        self.scored += sample.source.map_or(0, |source| source.records);
        self.runs += sample.runs.len() as u64;
    }

    fn blank(&mut self, _: Sample) {}

    fn problem(&mut self, problem: Problem) {
        self.rejected += problem.rejected;
    }

    fn notice(&mut self, _: Notice) {}

    fn account(&mut self, account: &Account) {
        assert!(self.account.replace(account.clone()).is_none(), "the account comes once");
    }
}

fn counted(bytes: &[u8]) -> (Counted, bool) {
    let mut counted = Counted::default();
    let read = intake::stream("file.csv", bytes, &Options::default(), &mut counted);
    (counted, read.is_ok())
}

/// The account of a reading: complete, and the same as what was handed over.
fn check_account(bytes: &[u8]) -> Result<(), TestCaseError> {
    let (counted, read) = counted(bytes);
    let account = counted.account.unwrap();
    prop_assert!(account.is_complete(), "{account}");
    prop_assert_eq!(counted.scored, account.scored);
    prop_assert_eq!(counted.runs, account.runs_scored);
    if read {
        prop_assert_eq!(counted.rejected, account.rejected);
    }
    if let Some(records) = records_of(bytes) {
        prop_assert!(account.rows == records || !read, "{} records, {account}", records);
    }
    Ok(())
}

/// How many records a text holds, where that can be told without reading cells: no quotes, no NUL, line feeds.
fn records_of(bytes: &[u8]) -> Option<u64> {
    let plain = !bytes.iter().any(|byte| matches!(byte, b'"' | 0)) && bytes.contains(&b'\n');
    let is_utf16 = bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]);
    let filled = |line: &&[u8]| line.iter().any(|byte| !byte.is_ascii_whitespace() && !b";,|".contains(byte));
    let lone_marks = |line: &&[u8]| !filled(line) && line.iter().any(|byte| b";,|".contains(byte));
    let lines = || bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes).split(|&byte| byte == b'\n');
    let countable =
        plain && !is_utf16 && !bytes.starts_with(b"# siltcode") && !lines().any(|line| lone_marks(&line));
    countable.then(|| lines().filter(filled).count() as u64)
}

#[test]
fn the_account_of_every_file_is_complete() {
    for file in FILES.iter() {
        check_account(file).unwrap();
    }
}

/// Text that tempts a reader to take a row for something else.
const TEMPTING: [&str; 24] = [
    "4 um",
    ">60000",
    "/mL",
    "per 100 mL",
    "4 um(c)",
    "bottle",
    "mean",
    "SD",
    "#",
    "# counts per 100 mL",
    "\"",
    "\"x",
    "x\"",
    "1,752",
    "1.752",
    "1752 /mL",
    "OR",
    "-",
    "",
    "18/16/13",
    "run 2",
    "\u{d8}",
    "4;6;14",
    "Page 2",
];

#[derive(Debug, Clone)]
enum Damage {
    Cell(usize, usize, &'static str),
    Insert(usize, &'static str),
    Double(usize),
    Drop(usize),
    Swap(usize, usize),
    Cut(usize),
    Byte(usize, u8),
}

fn damage() -> impl Strategy<Value = Damage> {
    let at = 0..400_usize;
    prop_oneof![
        4 => (at.clone(), 0..12_usize, select(TEMPTING.to_vec())).prop_map(|(a, b, c)| Damage::Cell(a, b, c)),
        2 => (at.clone(), select(TEMPTING.to_vec())).prop_map(|(a, b)| Damage::Insert(a, b)),
        1 => at.clone().prop_map(Damage::Double),
        1 => at.clone().prop_map(Damage::Drop),
        1 => (at.clone(), at.clone()).prop_map(|(a, b)| Damage::Swap(a, b)),
        1 => (0..4000_usize).prop_map(Damage::Cut),
        2 => (0..4000_usize, any::<u8>()).prop_map(|(a, b)| Damage::Byte(a, b)),
    ]
}

fn damaged(bytes: &[u8], damage: &Damage) -> Vec<u8> {
    let mut lines: Vec<Vec<u8>> = bytes.split(|&byte| byte == b'\n').map(<[u8]>::to_vec).collect();
    let count = lines.len();
    match damage {
        Damage::Cell(line, column, text) => {
            let line = &mut lines[line % count];
            let delimiter =
                [b';', b'\t', b'|', b','].into_iter().find(|mark| line.contains(mark)).unwrap_or(b',');
            let mut cells: Vec<Vec<u8>> = line.split(|&byte| byte == delimiter).map(<[u8]>::to_vec).collect();
            let at = column % cells.len();
            cells[at] = text.as_bytes().to_vec();
            *line = cells.join(&delimiter);
        }
        Damage::Insert(line, text) => lines.insert(line % count, text.as_bytes().to_vec()),
        Damage::Double(line) => lines.insert(line % count, lines[line % count].clone()),
        Damage::Drop(line) => {
            lines.remove(line % count);
        }
        Damage::Swap(a, b) => lines.swap(a % count, b % count),
        Damage::Cut(at) => return bytes[..at % (bytes.len() + 1)].to_vec(),
        Damage::Byte(at, byte) => {
            let mut bytes = bytes.to_vec();
            if !bytes.is_empty() {
                let at = at % bytes.len();
                bytes[at] = *byte;
            }
            return bytes;
        }
    }
    lines.join(&b'\n')
}

/// A table of bottles with one run each, far apart, so that no row can belong to another.
fn table(rows: &[(u32, u32)]) -> Vec<String> {
    let row = |(at, (base, shift)): (usize, &(u32, u32))| {
        let fine = 1000 + base;
        format!("W{at:03};{fine};{};{};{}", fine / 3 + shift, fine / 40, 50 + shift)
    };
    rows.iter().enumerate().map(row).collect()
}

const HEADING: &str = "bottle;>=4 um(c) /mL;>=6 um(c) /mL;>=14 um(c) /mL;water mg/kg";

fn by_bottle(batch: &Batch) -> BTreeMap<String, Vec<String>> {
    let mut bottles: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for sample in &batch.samples {
        let runs = sample.runs.iter().map(|run| format!("{:?} {:?}", run.label, run.spectrum.channels()));
        bottles.entry(sample.id.clone()).or_default().extend(runs);
    }
    bottles
}

fn read(text: &str) -> Batch {
    intake::read("day.csv", text.as_bytes(), &Options::default()).unwrap()
}

/// Tables in every layout, all of them good, with the cells that may be damaged marked by `{}`.
const LAYOUTS: [&str; 12] = [
    "bottle,run,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1,1700,{500},50\nA,2,1800,520,{52}\nB,1,{900},100,9\n",
    "Probe;Lauf;>4 \u{b5}m(c) [1/ml];>6 \u{b5}m(c) [1/ml];>14 \u{b5}m(c) [1/ml]\nA;1;1700,5;{500,5};50,1\nB;1;900,5;{100,5};9,1\n",
    "bottle;4 um(c);6 um(c);14 um(c)\n;(100 ml);(100 ml);(100 ml)\nA;170000;{50000};5000\nB;90000;10000;{900}\n",
    "counts per 100 mL, cumulative\nbottle\t4 um(c)\t6 um(c)\t14 um(c)\nA\t170000\t{50000}\t5000\nB\t90000\t10000\t900\n",
    "bottle,run,volume mL,raw 4 um(c),raw 6 um(c),raw 14 um(c)\nA,1,10,17000,{5000},500\nA,2,10,17100,5010,501\n",
    "bottle,run,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1,1700,500,50\n,2,1800,{520},52\nB,1,900,100,9\n,2,{910},101,9\n",
    "bottle,size um(c),count /mL\nA,4,1700\nA,6,{500}\nA,14,50\nB,4,900\nB,6,100\nB,14,9\n",
    "Sample: A\nvolume per run: 10 mL\nrun;raw 4 um(c);raw 6 um(c);raw 14 um(c)\n1;17000;{5000};500\n2;17100;5010;501\n",
    "bottle,4-6 um(c) /mL,6-14 um(c) /mL,>14 um(c) /mL\nA,1200,{450},50\nB,800,91,{9}\n",
    "bottle,4 um(c) /mL run 1,6 um(c) /mL run 1,14 um(c) /mL run 1,4 um(c) /mL run 2,6 um(c) /mL run 2,14 um(c) /mL run 2\n\
     A,1700,{500},50,1720,510,{51}\nB,900,100,9,{910},101,8\n",
    "size,A,B,C\n4 um(c) /mL,1700,{900},800\n6 um(c) /mL,{500},100,90\n14 um(c) /mL,50,9,{8}\n",
    "bottle,run,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1,1700,500,50\nB,1,900,{100},9\nA,2,1800,520,{52}\nB,2,910,101,8\nA,3,{1810},521,50\n",
];

proptest! {
    #![proptest_config(cases(2048))]

    #[test]
    fn every_record_of_a_damaged_file_has_one_fate(
        file in 0..1000_usize,
        damages in proptest::collection::vec(damage(), 1..4),
    ) {
        let bytes = damages.iter().fold(FILES[file % FILES.len()].clone(), |bytes, damage| damaged(&bytes, damage));
        check_account(&bytes)?;
    }

    /// A row that is damaged in a count is rejected, and all others are read as if it were not there.
    #[test]
    fn rows_beside_a_damaged_one_are_read_as_if_alone(
        rows in proptest::collection::vec((0..9000_u32, 0..9_u32), 3..20),
        at in 0..20_usize,
        column in 1..4_usize,
        text in select(vec!["x", "4 um", "/mL", "\"x", "per 100 mL", "#REF!", "1..2", ">=4 um(c) /mL", "12 34"]),
    ) {
        let good = table(&rows);
        let at = at % good.len();
        let mut bad = good.clone();
        let mut cells: Vec<String> = bad[at].split(';').map(str::to_owned).collect();
        cells[column] = text.to_owned();
        bad[at] = cells.join(";");
        let mut without = good.clone();
        without.remove(at);
        let found = read(&format!("{HEADING}\n{}\n", bad.join("\n")));
        let mut expected = by_bottle(&read(&format!("{HEADING}\n{}\n", without.join("\n"))));
        let mut own = by_bottle(&found);
        own.retain(|_, runs| !runs.is_empty());
        expected.retain(|_, runs| !runs.is_empty());
        prop_assert_eq!(own, expected);
        prop_assert_eq!(found.problems.len(), 1);
        prop_assert_eq!(found.problems[0].position.line, Some(at as u64 + 2));
    }

    /// Rejected rows, corrected, give with the rest the runs of the corrected original when read alone; and together with
    /// the original exactly what that gives once corrected.
    #[test]
    fn rejects_go_round(
        layout in select(LAYOUTS.to_vec()),
        which in 0..3_usize,
        second in any::<Option<bool>>(),
        junk in select(vec!["x", "1..2", "#REF!", "12 34"]),
    ) {
        let parts: Vec<&str> = layout.split(['{', '}']).collect();
        let holes = parts.len() / 2;
        let hole = 2 * (which % holes) + 1;
        let other = second.map(|_| 2 * ((which + 1) % holes) + 1);
        let with = |text: Option<&str>| {
            let is_hole = |i| i == hole || Some(i) == other;
            let parts = parts.iter().enumerate().map(|(i, part)| text.filter(|_| is_hole(i)).unwrap_or(part));
            parts.collect::<String>()
        };
        let original = read(&with(None));
        let broken = read(&with(Some(junk)));
        prop_assert!(broken.account.has_rejects(), "{}", broken.account);
        let mut writer = RejectWriter::new(Vec::new());
        broken.problems.iter().for_each(|problem| writer.write(problem).unwrap());
        let written = String::from_utf8(writer.finish().unwrap()).unwrap();
        let rows: Vec<&str> = written.lines().filter(|line| !line.starts_with("# siltcode")).collect();
        let text = with(Some(junk));
        for row in rows {
            prop_assert!(text.lines().any(|line| line == row), "{row:?} does not stand in the original");
        }
        let whole = with(None);
        let good = |row: &str| {
            let lines = text.lines().zip(whole.lines());
            lines.filter(|(bad, _)| *bad == row).map(|(_, good)| good.to_owned()).next()
        };
        let corrected: Vec<String> =
            written.lines().map(|line| good(line).unwrap_or_else(|| line.to_owned())).collect();
        let mut corrections = Corrections::default();
        prop_assert!(corrections.add("to-correct.csv", corrected.join("\n").as_bytes()).unwrap());
        corrections.keep_for(["day.csv"]);
        let options = Options { corrections: Some(Arc::new(corrections)), ..Options::default() };
        let together = intake::read("day.csv", text.as_bytes(), &options).unwrap();
        prop_assert_eq!(&together.samples, &original.samples, "{}", corrected.join("\n"));
        prop_assert_eq!((together.account.has_rejects(), together.account.is_complete()), (false, true));

        let again = read(&corrected.join("\n"));
        let mut found = by_bottle(&broken);
        for (bottle, runs) in by_bottle(&again) {
            found.entry(bottle).or_default().extend(runs);
        }
        let mut expected = by_bottle(&original);
        for runs in found.values_mut().chain(expected.values_mut()) {
            runs.sort();
        }
        prop_assert_eq!(found, expected, "{}", corrected.join("\n"));
    }
}
