//! Columns beside the full reader: the same rows, the same problems in the same lines, or a refusal.

use std::cell::Cell;
use std::fs;
use std::sync::LazyLock;

use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use rayon::{ThreadPool, ThreadPoolBuilder};
use siltcode::bulk::{self, NOT_COUNTED, Target};
use siltcode::intake::columns::{self, ColumnReader, Columns, RowScores};
use siltcode::intake::{self, Batch, Options, Problem};
use siltcode::{Code, Field, Outcome, PerMl, Place, RangeNumber, Reading, Sample, SizeScale, Spec};
use siltcode_tests::{cases, tests_folder};

/// A row or a problem, in words that differ where any bit of a count does.
type Said = Vec<String>;

const NAME: &str = "file.csv";

fn said_of_problem(problem: &Problem) -> String {
    let Problem { position, code, found, message, hint, rows, .. } = problem;
    format!("problem {position:?} {code} {found:?} {message} {hint} {rows:?}")
}

/// The rows that columns hold, then the problems.
fn said_by_columns(columns: &Columns, scores: &RowScores) -> Said {
    let row = |at: usize| {
        let counts: Vec<u64> = columns.counts.iter().map(|counts| counts.per_ml[at].to_bits()).collect();
        let numbers = scores.numbers.each_ref().map(|numbers| numbers[at]);
        let outcome = scores.outcomes.get(at).copied().and_then(bulk::outcome_of);
        let others = columns.others.iter().map(|other| (&*other.name, other.texts.get(at).unwrap()));
        let mut texts: Vec<_> = others.filter(|(_, text)| !text.is_empty()).collect();
        texts.sort_unstable();
        let id = columns.ids.get(at).unwrap();
        let time = columns.times.as_ref().and_then(|times| times.get(at)).filter(|time| !time.is_empty());
        format!("{id} {time:?} {counts:?} {numbers:?} {outcome:?} {texts:?}")
    };
    let rows = (0..columns.len()).map(row);
    rows.chain(columns.problems.iter().map(said_of_problem)).collect()
}

/// The same of a bottle that the full reader gives, whose time stands in the note `time`.
fn said_by_sample(sample: &Sample, time: Option<&str>, spec: Option<&Spec>) -> String {
    assert_eq!(sample.runs.len(), 1, "{}", sample.id);
    let spectrum = sample.spectrum().unwrap();
    let count = |reading: Reading| reading.count().map_or(f64::NAN, PerMl::get).to_bits();
    let counts: Vec<u64> = spectrum.channels().iter().map(|channel| count(channel.reading)).collect();
    let code = Code::of(&spectrum).map_or([Place::NotRequired; 3], |code| code.places());
    let numbers = code.map(|place| place.range_number().map_or(NOT_COUNTED, RangeNumber::get));
    let outcome = spec.map(|spec| spec.check_counts(&spectrum, &[]).outcome);
    let of_time = |field: Field| matches!(field, Field::Time | Field::Drawn | Field::Counted);
    let found = sample.fields.iter().find(|(field, _)| of_time(*field)).filter(|_| time.is_some());
    let time = found.map(|(_, text)| &**text);
    let fields = sample.fields.iter().filter(|(field, _)| !of_time(*field));
    let fields = fields.map(|(field, text)| (field.name(), &**text));
    let notes = sample.notes.iter().map(|(name, text)| (&**name, &**text));
    let mut texts: Vec<(&str, &str)> = fields.chain(notes).collect();
    texts.sort_unstable();
    format!("{} {time:?} {counts:?} {numbers:?} {outcome:?} {texts:?}", sample.id)
}

fn holds_bound(sample: &Sample) -> bool {
    let is_bound = |reading: &Reading| !matches!(reading, Reading::Count(_) | Reading::NotCounted);
    let runs = sample.runs.iter().flat_map(|run| run.spectrum.channels());
    runs.map(|channel| channel.reading).any(|reading| is_bound(&reading))
}

/// What the full reader says of a text whose columns are known; bottles with bounds apart.
fn said_by_batch(batch: &Batch, time: Option<&str>, spec: Option<&Spec>) -> Said {
    let plain = batch.samples.iter().filter(|sample| !holds_bound(sample));
    let rows = plain.map(|sample| said_by_sample(sample, time, spec));
    rows.chain(batch.problems.iter().map(said_of_problem)).collect()
}

/// A text read both ways, and what columns hold if they hold it: text refused as not plain is no difference.
fn compared(bytes: &[u8], time: Option<&str>, spec: Option<&Spec>) -> Option<Columns> {
    let options = Options::default();
    let columns = match columns::read(NAME, bytes, &options) {
        Err(error) if error.code() == "text-not-plain" => return None,
        other => other,
    };
    let batch = intake::read(NAME, bytes, &options);
    let (columns, batch) = match (columns, batch) {
        (Err(ours), Err(full)) => {
            assert_eq!(ours, full);
            return None;
        }
        (columns, batch) => (columns.unwrap(), batch.unwrap()),
    };
    let target = spec.map(|spec| Target::of(spec).unwrap());
    let target = target.as_ref().filter(|target| target.scale() == columns.scale());
    let scores = columns.score(target).unwrap();
    let bounds = |problem: &&Problem| problem.code == "count-is-bound";
    assert_eq!(
        columns.problems.iter().filter(bounds).count(),
        batch.samples.iter().filter(|sample| holds_bound(sample)).count()
    );
    let notices = |code: &str| !matches!(code, "repeated-id" | "unnamed-rows");
    assert_eq!(
        columns.notices,
        batch.notices.iter().filter(|notice| notices(notice.code)).cloned().collect::<Vec<_>>()
    );
    let mut ours = columns.clone();
    ours.problems.retain(|problem| !bounds(&problem));
    // Companions are measurements in a bottle and text in a column: they are compared by their own test.
    if batch.samples.iter().all(|sample| sample.companions.is_empty()) && ours.others.iter().all(is_note) {
        assert_eq!(
            said_by_columns(&ours, &scores),
            said_by_batch(&batch, time, target.and(spec)),
            "{}",
            String::from_utf8_lossy(bytes)
        );
    }
    Some(columns)
}

fn is_note(other: &columns::OtherColumn) -> bool {
    !other.name.contains("water")
}

fn target() -> Spec {
    Spec::from_code("18/16/13".parse().unwrap(), SizeScale::UmC).unwrap()
}

/// What reading a text in blocks gives, put together.
fn in_blocks(bytes: &[u8], block_bytes: usize, parallel: bool) -> Result<Said, &'static str> {
    let options = Options::default();
    let reader = ColumnReader::new(NAME, bytes, &options).map_err(|error| error.code())?;
    let mut reader = reader.with_block_bytes(block_bytes);
    let (mut rows, mut problems, mut scores) = (Vec::new(), Vec::new(), RowScores::default());
    loop {
        let block = if parallel { reader.par_next_block() } else { reader.next_block() };
        let Some(columns) = block.map_err(|error| error.code())? else { break };
        columns.score_into(None, &mut scores).unwrap();
        let mut said = said_by_columns(columns, &scores);
        problems.extend(said.split_off(columns.len()));
        rows.extend(said);
    }
    rows.extend(problems);
    Ok(rows)
}

fn at_once(bytes: &[u8]) -> Result<Said, &'static str> {
    let columns = columns::read(NAME, bytes, &Options::default()).map_err(|error| error.code())?;
    Ok(said_by_columns(&columns, &columns.score(None).unwrap()))
}

const PLAIN: &str = "Harbour, two pages\n\
    bottle,time,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL,remark\n\
    A1,06:00,1752.5,517,55,\n\
    \"B, top\",07:00,100,20,3,\"fine\"\n\
    # a remark\n\n\
    C,08:00,100,200,3,rises\n\
    D,09:00,1752,-,12.25,\n\
    Mean,,1,1,1,\n\
    bottle,time,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL,remark\n\
    E,10:00,TNTC,9,<1,bound\n\
    F, 11:00 ,9000, 640.0 ,1e1,\r\n\
    G,12:00,x,2,1,\n\
    H,13:00,5,4\n\
    I,14:00,0.1234567890123456789,.1,0,end";

#[test]
fn plain_rows_are_those_of_the_full_reader() {
    let columns = compared(PLAIN.as_bytes(), Some("time"), Some(&target())).unwrap();
    assert_eq!(columns.ids.iter().collect::<Vec<_>>(), ["A1", "B, top", "D", "F", "I"]);
    let problems: Vec<_> = columns.problems.iter().map(|p| (p.position.line.unwrap(), p.code)).collect();
    let expected =
        [(7, "count-rises-with-size"), (11, "count-is-bound"), (13, "count-unreadable"), (14, "row-length")];
    assert_eq!(problems, expected);
    assert_eq!(columns.problems[1].position.column.as_deref(), Some("4 um(c) /mL"));
}

#[test]
fn every_file_is_read_alike_or_refused() {
    let folders = [tests_folder().join("intake"), tests_folder().join("../demo-samples")];
    let files = folders.iter().flat_map(|folder| fs::read_dir(folder).unwrap());
    let mut plain = Vec::new();
    for path in files.map(|file| file.unwrap().path()) {
        let bytes = fs::read(&path).unwrap();
        for time in [None, Some("time"), Some("date"), Some("sampled")] {
            let heads = columns::read(NAME, &bytes[..], &Options::default()).ok();
            if heads.is_some_and(|columns| columns.times.is_some()) == time.is_some() {
                plain.extend(compared(&bytes, time, None).map(|_| path.clone()));
            }
        }
    }
    plain.dedup();
    assert!(plain.len() >= 20, "{plain:#?}");
}

#[test]
fn what_columns_cannot_hold_is_refused_by_name() {
    let heading = "bottle,4 um(c) /mL,6 um(c) /mL\n";
    let body = |body: &str| format!("{heading}A1,3,2\n{body}").into_bytes();
    let cases: [(Vec<u8>, &str, Option<u64>); 14] = [
        (body("A1,3,2\n"), "two rows of one bottle", Some(3)),
        (body(",3,2\n"), "a row without a bottle", Some(3)),
        (body("\"B\nC\",3,2\n"), "a quote that is not closed in its line", Some(3)),
        (body("run,raw 4 um,raw 6 um\n"), "another heading", Some(3)),
        ([body("B,3,2\nM"), b"\xe4rz,3,2\n".to_vec()].concat(), "text that is not UTF-8", Some(4)),
        (heading.encode_utf16().flat_map(u16::to_le_bytes).collect(), "UTF-16", None),
        (b"PK\x03\x04".to_vec(), "a workbook", None),
        (b"id,run,4 um /mL,6 um /mL\nA,1,2,1\n".to_vec(), "a column of runs", None),
        (b"id,volume mL,4 um /mL,6 um /mL\nA,1,2,1\n".to_vec(), "a counted volume", None),
        (b"id,dilution,4 um /mL,6 um /mL\nA,1,2,1\n".to_vec(), "a dilution", None),
        (b"id,kind,4 um /mL,6 um /mL\nA,1,2,1\n".to_vec(), "a column that tells blanks from samples", None),
        (b"id,raw 4 um,raw 6 um\nA,2,1\n".to_vec(), "raw counts", None),
        (b"id,4-6 um /mL,6-14 um /mL\nA,2,1\n".to_vec(), "counts per size band", None),
        (b"id,size um(c),count /mL\nA,4,2\n".to_vec(), "a row per size", None),
    ];
    for (bytes, what, line) in cases {
        let error = columns::read(NAME, &bytes[..], &Options::default()).unwrap_err();
        assert_eq!(error.code(), "text-not-plain", "{what}");
        assert!(error.to_string().contains(what), "{error}");
        let position = error.position().unwrap();
        assert_eq!((position.file.as_deref(), position.line), (Some(NAME), line), "{what}");
    }
}

#[test]
fn a_bound_does_not_part_two_rows_of_one_bottle() {
    let text = "bottle,4 um(c) /mL,6 um(c) /mL\nA,3,<2\nA,3,2\n";
    for block in [1, 40, 1 << 20] {
        assert_eq!(in_blocks(text.as_bytes(), block, false), Err("text-not-plain"), "{block}");
        assert_eq!(in_blocks(text.as_bytes(), block, true), Err("text-not-plain"), "{block}");
    }
}

#[test]
fn companions_are_kept_as_text_and_still_read() {
    let text = "bottle,4 um(c) /mL,6 um(c) /mL,water [mg/kg]\nA,3,2,150\nB,3,2,<30\nC,3,2,wet\nD,3,2,\n";
    let columns = compared(text.as_bytes(), None, None).unwrap();
    assert_eq!(columns.others[0].texts.iter().collect::<Vec<_>>(), ["150", "<30", "wet", ""]);
    assert_eq!(columns.ids.iter().collect::<Vec<_>>(), ["A", "B", "C", "D"]);
    assert!(columns.problems.is_empty());
}

#[test]
fn a_target_in_another_scale_is_refused() {
    let text = "bottle,5 um(acftd) /mL,15 um(acftd) /mL\nA,3,2\n";
    let columns = columns::read(NAME, text.as_bytes(), &Options::default()).unwrap();
    let target = Target::of(&target()).unwrap();
    assert_eq!(columns.score(Some(&target)).unwrap_err().code(), "scales-mixed");
    assert_eq!(columns.score(None).unwrap().numbers, [[NOT_COUNTED], [9], [8]]);
}

#[test]
fn a_line_without_end_is_refused_and_not_kept() {
    let text = format!("bottle,4 um /mL,6 um /mL\nA,2,1\nB,{}", "9".repeat(9 << 20));
    let error = columns::read(NAME, text.as_bytes(), &Options::default()).unwrap_err();
    assert_eq!(error.code(), "input-unreadable");
}

#[test]
fn outcomes_are_those_of_the_check() {
    let text = "bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1752,517,55\nB,9000,-,60\nC,10,5,\n";
    let columns = compared(text.as_bytes(), None, Some(&target())).unwrap();
    let scores = columns.score(Some(&Target::of(&target()).unwrap())).unwrap();
    let outcomes = [Outcome::Conforms, Outcome::DoesNotConform, Outcome::Undecided];
    assert_eq!(scores.outcomes.iter().filter_map(|&o| bulk::outcome_of(o)).collect::<Vec<_>>(), outcomes);
    assert_eq!(columns.par_score(Some(&Target::of(&target()).unwrap())).unwrap(), scores);
}

fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        8 => "[0-9]{1,6}(\\.[0-9]{0,9})?",
        1 => "[0-9]{1,3},[0-9]{3}|[0-9]{14,30}\\.?[0-9]{0,20}|-?[0-9]e-?[0-9]{1,2}|[+-]?[0-9]{1,3}",
        1 => "|<1|>60000|TNTC|x| [0-9] |\"[0-9]{1,4}\"|n/a|nan|\"1,752\"|\"1",
    ]
}

fn table() -> impl Strategy<Value = String> {
    let delimiter = prop_oneof![Just(","), Just(";"), Just("\t")];
    let id = prop_oneof![24 => "[a-z]{2}[0-9]{1,3}", 4 => "\"q[0-9]\"|Mean|#", 1 => "[a-b]?"];
    let row = (id, prop::collection::vec(cell(), 4..6), 0..30_u8);
    let ending = prop_oneof![4 => Just("\n"), 1 => Just("\r\n")];
    let heading = prop_oneof![
        Just(vec!["bottle", "4 um(c) /mL", "6 um(c) /mL", "14 um(c) /mL", "time"]),
        Just(vec!["14", "bottle", "4", "6"]),
        Just(vec!["time", "lab", "4 um per 100 mL", "6", "14", "21"]),
        Just(vec!["4 um /L", "6 um /L", "remark"]),
        Just(vec!["bottle", "4 um(c) /mL", "water [mg/kg]", "6 um(c) /mL"]),
    ];
    (heading, delimiter, prop::collection::vec(row, 0..30), ending).prop_map(|(heading, by, rows, ending)| {
        let worth = |cell: &String| cell.parse::<f64>().unwrap_or(1.0);
        let again = heading.join(by);
        let mut text = again.clone() + ending;
        for (id, cells, odd) in rows {
            let mut cells = cells;
            if odd > 3 {
                cells.truncate(heading.len() - 1);
                cells.sort_by(|a, b| worth(b).total_cmp(&worth(a))); // most counts fall with size
            }
            let before = if odd == 1 { "\u{feff}" } else { "" };
            let line = [before, &id, by, &cells.join(by)].concat();
            text += if odd == 0 { &again } else { &line };
            text += ending;
        }
        text
    })
}

#[test]
fn any_table_is_read_alike_or_refused() {
    let (rows, problems) = (Cell::new(0), Cell::new(0));
    let mut runner = TestRunner::new(cases(512));
    let read = |text: String| {
        if let Some(columns) = compared(text.as_bytes(), Some("time"), None) {
            rows.set(rows.get() + columns.len());
            problems.set(problems.get() + columns.problems.len());
        }
        Ok(())
    };
    runner.run(&table(), read).unwrap();
    assert!(rows.get() > 300 && problems.get() > 300, "{rows:?} {problems:?}");
}

/// One thread, and three.
static POOLS: LazyLock<[ThreadPool; 2]> =
    LazyLock::new(|| [1, 3].map(|threads| ThreadPoolBuilder::new().num_threads(threads).build().unwrap()));

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn a_mutated_file_is_read_alike_or_refused(at in 0..PLAIN.len(), byte in any::<u8>(), cut in 0..PLAIN.len()) {
        let mut bytes = PLAIN.as_bytes().to_vec();
        compared(&bytes[..cut], Some("time"), None);
        bytes[at] = byte;
        let _ = columns::read(NAME, &bytes[..], &Options::default());
        if at > PLAIN.find("A1").unwrap() {
            compared(&bytes, Some("time"), Some(&target()));
        }
    }

    #[test]
    fn blocks_may_end_anywhere(text in table(), block in 1..200_usize) {
        let whole = at_once(text.as_bytes());
        prop_assert_eq!(&in_blocks(text.as_bytes(), block, false), &whole);
        for pool in POOLS.iter() {
            prop_assert_eq!(&pool.install(|| in_blocks(text.as_bytes(), block, true)), &whole);
        }
    }

    #[test]
    fn no_bytes_panic(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        let _ = at_once(&bytes);
    }
}
