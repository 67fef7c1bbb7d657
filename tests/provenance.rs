//! Every table, specification and golden file says where it comes from, row by row, and the tables bear each other out.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use siltcode_tables::{SOURCES, SPECS, TABLES, Table};
use siltcode_tests::{rows, tests_folder};

/// What a header must hold; one key of each group is enough.
const HEADER_KEYS: &[&[&str]] = &[&["title"], &["standard", "origin", "publisher"], &["status"], &["unit"]];
/// How a value can be known.
const STATUSES: &[&str] = &["READ", "DERIVED", "MEMORY"];
/// Where an address of the web ends.
const WEB_ENDINGS: &[&str] = &[
    "com", "org", "net", "edu", "gov", "info", "io", "site", "ru", "de", "cn", "jp", "kr", "it", "fr", "uk",
    "eu",
];

/// What one row says about where its values come from.
#[derive(Debug, Deserialize)]
struct Claim {
    status: String,
    source: String,
}

#[derive(Deserialize)]
struct Source {
    key: String,
    title: String,
    seen: String,
}

#[derive(Deserialize)]
struct Spec {
    status: String,
    requirement: Vec<Claim>,
}

/// The `# key: value` lines at the head of a file.
fn header(text: &str) -> Vec<(&str, &str)> {
    let lines = text.lines().map_while(|line| line.strip_prefix('#'));
    lines.filter_map(|line| line.split_once(':')).map(|(key, value)| (key.trim(), value.trim())).collect()
}

fn header_value<'a>(text: &'a str, key: &str) -> Option<&'a str> {
    header(text).into_iter().find(|(k, value)| *k == key && !value.is_empty()).map(|(_, value)| value)
}

fn header_findings(text: &str) -> Vec<String> {
    let held = |keys: &[&str]| keys.iter().any(|key| header_value(text, key).is_some());
    let missing = HEADER_KEYS.iter().filter(|keys| !held(keys));
    missing.map(|keys| format!("no header line `# {}:`", keys.join(" | "))).collect()
}

/// Words that are addresses; data carry titles and keys instead.
fn address_findings(text: &str) -> Vec<String> {
    let words = text.split(|c: char| c.is_whitespace() || ",;()\"'=<>".contains(c));
    words.filter(|word| is_address(word)).map(|word| format!("address `{word}`")).collect()
}

fn is_address(word: &str) -> bool {
    let word = word.to_lowercase();
    let host = word.split('/').next().unwrap_or_default().trim_end_matches(['.', ':']);
    let ends_as_host = host.rsplit_once('.').is_some_and(|(name, ending)| {
        name.len() > 1 && name.chars().any(char::is_alphabetic) && WEB_ENDINGS.contains(&ending)
    });
    word.starts_with("http") || word.starts_with("www.") || word.contains("://") || ends_as_host
}

/// The claims of a table, one a row; a file whose rows carry none makes one claim for all of them in its header.
fn table_claims(text: &str) -> Result<Vec<Claim>, String> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    let columns = reader.headers().map_err(|error| error.to_string())?.clone();
    let rows = reader.records().collect::<Result<Vec<_>, _>>().map_err(|error| error.to_string())?;
    if rows.is_empty() {
        return Err("no rows".into());
    }
    let column = |name: &str| columns.iter().position(|column| column == name);
    match (column("status"), column("source")) {
        (Some(status), Some(source)) => Ok(rows
            .iter()
            .map(|row| Claim { status: row[status].into(), source: row[source].into() })
            .collect()),
        (None, None) => whole_file_claim(text).map(|claim| vec![claim]),
        _ => Err("one of the columns status and source stands without the other".into()),
    }
}

fn whole_file_claim(text: &str) -> Result<Claim, String> {
    let value =
        |key| header_value(text, key).ok_or(format!("no column `{key}` and no header line `# {key}:`"));
    let first_word = value("status")?.split([' ', ':', ';', ',']).next().unwrap_or_default();
    Ok(Claim { status: first_word.into(), source: value("source")?.into() })
}

/// The claims of a specification, one a requirement; its own status is the worst of them.
fn spec_claims(text: &str) -> Result<Vec<Claim>, String> {
    let spec: Spec = toml::from_str(text).map_err(|error| error.to_string())?;
    let rank = |status: &str| STATUSES.iter().position(|known| *known == status);
    let worst = spec.requirement.iter().map(|claim| rank(&claim.status)).max().ok_or("no requirement")?;
    if rank(&spec.status) == worst {
        Ok(spec.requirement)
    } else {
        Err(format!("status `{}` is not the worst of its requirements", spec.status))
    }
}

fn claim_findings(claim: &Claim, known: &BTreeSet<String>) -> Vec<String> {
    let status = (!STATUSES.contains(&claim.status.as_str())).then(|| format!("status `{}`", claim.status));
    let keys = claim.source.split('+').filter(|key| !known.contains(*key));
    status.into_iter().chain(keys.map(|key| format!("source `{key}` is not in sources.csv"))).collect()
}

/// Everything wrong with the text of a table, specification or golden file.
fn findings(path: &Path, text: &str, known: &BTreeSet<String>) -> Vec<String> {
    let claims = match claims(path, text) {
        Ok(claims) => claims.iter().flat_map(|claim| claim_findings(claim, known)).collect(),
        Err(finding) => vec![finding],
    };
    [header_findings(text), address_findings(text), claims].concat()
}

fn claims(path: &Path, text: &str) -> Result<Vec<Claim>, String> {
    if path.extension().is_some_and(|ending| ending == "toml") {
        spec_claims(text)
    } else {
        table_claims(text)
    }
}

/// What is wrong with a register of sources, given the keys that are used.
fn source_findings(sources: &[Source], used: &BTreeSet<String>) -> Vec<String> {
    let mut seen = BTreeSet::new();
    let mut findings = Vec::new();
    for Source { key, title, seen: how } in sources {
        let repeated = !seen.insert(key);
        let faults = [
            (repeated, "stands twice"),
            (!used.contains(key), "is used nowhere"),
            (title.is_empty() || how.is_empty(), "has no title or does not say how it was seen"),
        ];
        findings
            .extend(faults.iter().filter(|(is, _)| *is).map(|(_, fault)| format!("source `{key}` {fault}")));
    }
    findings
}

fn keys(sources: &[Source]) -> BTreeSet<String> {
    sources.iter().map(|source| source.key.clone()).collect()
}

fn tables_folder() -> PathBuf {
    tests_folder().with_file_name("reference-tables")
}

/// All files at and below a folder, in the order of their paths.
fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.into_iter().flat_map(|path| if path.is_dir() { files(&path) } else { vec![path] }).collect()
}

fn has_ending(path: &Path, endings: &[&str]) -> bool {
    path.extension().is_some_and(|ending| endings.iter().any(|known| ending == *known))
}

/// Tables, specifications and golden files with their text; the register of sources is none of them.
fn cited_files() -> Vec<(PathBuf, String)> {
    let all = [tables_folder(), tests_folder().join("golden")].map(|folder| files(&folder)).concat();
    let data = all.into_iter().filter(|path| has_ending(path, &["csv", "toml"]));
    let cited = data.filter(|path| !path.ends_with("sources.csv") && !path.ends_with("Cargo.toml"));
    cited.map(|path| (path.clone(), fs::read_to_string(path).unwrap())).collect()
}

#[test]
fn every_file_says_where_it_comes_from() {
    let known = keys(&rows(SOURCES));
    let cited = cited_files();
    assert!(cited.len() > TABLES.len() + SPECS.len(), "the walk found {} files only", cited.len());
    let all: Vec<String> = cited
        .iter()
        .flat_map(|(path, text)| {
            findings(path, text, &known).into_iter().map(move |f| format!("{}: {f}", path.display()))
        })
        .collect();
    assert!(all.is_empty(), "{}", all.join("\n"));
}

#[test]
fn every_source_stands_once_and_is_used() {
    let sources: Vec<Source> = rows(SOURCES);
    let used = cited_files()
        .iter()
        .flat_map(|(path, text)| claims(path, text).unwrap())
        .flat_map(|claim| claim.source.split('+').map(str::to_owned).collect::<Vec<_>>())
        .collect();
    let all =
        [source_findings(&sources, &used), header_findings(SOURCES), address_findings(SOURCES)].concat();
    assert!(all.is_empty(), "{}", all.join("\n"));
}

#[test]
fn every_file_is_registered() {
    let named = |folder: &str, tables: &[Table], ending: &str| -> Vec<PathBuf> {
        tables.iter().map(|t| tables_folder().join(folder).join(format!("{}.{ending}", t.name))).collect()
    };
    let others = ["Cargo.toml", "README.md", "lib.rs", "sources.csv"].map(|name| tables_folder().join(name));
    let mut expected = [named("", TABLES, "csv"), named("specs", SPECS, "toml"), others.to_vec()].concat();
    expected.sort();
    assert_eq!(files(&tables_folder()), expected);
}

#[test]
fn every_golden_file_is_a_table_or_writes_one() {
    for path in files(&tests_folder().join("golden")) {
        assert!(has_ending(&path, &["csv", "py"]), "{}", path.display());
    }
}

#[test]
fn the_check_refuses_what_is_missing() {
    const HEAD: &str = "# title: t\n# standard: s\n# status: READ\n# unit: u\n";
    const ROWS: &str = "x,status,source\n1,READ,a\n";
    let known = BTreeSet::from(["a".to_owned(), "b".to_owned()]);
    let found = |name: &str, text: &str| findings(Path::new(name), text, &known).join("; ");
    let table = |head: &str, rows: &str| found("t.csv", &format!("{head}{rows}"));
    assert_eq!(table(HEAD, ROWS), "");
    assert_eq!(table(HEAD, "x,status,source\n1,DERIVED,a+b\n2,MEMORY,b\n"), "");
    assert_eq!(table(&format!("{HEAD}# source: a\n"), "x\n1\n"), "", "one claim for the whole file");
    for line in HEAD.lines() {
        assert!(table(&HEAD.replace(line, "# note: none"), ROWS).contains("no header line"), "{line}");
        let key = line.split(' ').nth(1).unwrap();
        assert!(
            table(&HEAD.replace(line, &format!("# {key}")), ROWS).contains("no header line"),
            "{key} empty"
        );
    }
    let bad_tables = [
        ("x,status,source\n1,SEEN,a\n", "status `SEEN`"),
        ("x,status,source\n1,,a\n", "status ``"),
        ("x,status,source\n1,READ,\n", "source `` is not"),
        ("x,status,source\n1,READ,a+c\n", "source `c` is not"),
        ("x,status\n1,READ\n", "without the other"),
        ("x\n1\n", "no column `source`"),
        ("x,status,source\n", "no rows"),
        ("x,status,source\n1,READ\n", "found record with 2 fields"),
        ("x,status,source\nhttps://a,READ,a\n", "address `https://a`"),
        ("x,status,source\nwww.a,READ,a\n", "address `www.a`"),
        ("x,status,source\nexample.org/page,READ,a\n", "address `example.org/page`"),
    ];
    for (rows, expected) in bad_tables {
        assert!(table(HEAD, rows).contains(expected), "{rows}: {}", table(HEAD, rows));
    }
    let spec = |body: &str| found("s.toml", &format!("{HEAD}{body}"));
    let requirement = "[[requirement]]\nsource = \"a\"\n";
    assert_eq!(spec(&format!("status = \"READ\"\n{requirement}status = \"READ\"\n")), "");
    let better = spec(&format!("status = \"READ\"\n{requirement}status = \"MEMORY\"\n"));
    assert!(better.contains("not the worst"), "{better}");
    assert!(spec(&format!("status = \"READ\"\n{requirement}")).contains("missing field `status`"));
    assert!(spec("status = \"READ\"\nrequirement = []\n").contains("no requirement"));
}

#[test]
fn the_check_refuses_a_careless_register_of_sources() {
    let sources = |text: &str| rows::<Source>(&format!("key,title,seen\n{text}"));
    let used = BTreeSet::from(["a".to_owned()]);
    assert!(source_findings(&sources("a,t,READ\n"), &used).is_empty());
    assert_eq!(source_findings(&sources("a,t,READ\na,t,READ\n"), &used), ["source `a` stands twice"]);
    assert_eq!(source_findings(&sources("a,t,READ\nb,t,READ\n"), &used), ["source `b` is used nowhere"]);
    assert_eq!(source_findings(&sources("a,,READ\n"), &used).len(), 1);
}

/// The cells of a table from its second column on, as far as they are numbers.
fn cells(table: &Table) -> Vec<Vec<f64>> {
    let rows: Vec<Vec<String>> = rows(table.text);
    rows.iter().map(|row| row[1..].iter().map_while(|cell| cell.parse().ok()).collect()).collect()
}

#[test]
fn ranges_of_iso_4406_join_without_a_gap() {
    #[derive(Deserialize)]
    struct Range {
        number: String,
        more_than_per_ml: f64,
        up_to_per_ml: Option<f64>,
    }
    let ranges: Vec<Range> = rows(siltcode_tables::ISO4406.text);
    let numbers: Vec<&str> = ranges.iter().map(|range| range.number.as_str()).collect();
    let expected: Vec<String> = (0..=28).map(|n| n.to_string()).chain([">28".to_owned()]).collect();
    assert_eq!(numbers, expected);
    for pair in ranges.windows(2) {
        assert_eq!(pair[0].up_to_per_ml, Some(pair[1].more_than_per_ml), "number {}", pair[0].number);
        assert!(pair[0].more_than_per_ml < pair[1].more_than_per_ml, "number {}", pair[0].number);
    }
}

#[test]
fn cumulative_limits_of_as4059_are_the_sums_of_its_differential_limits() {
    let differential = cells(&siltcode_tables::AS4059_DIFFERENTIAL);
    let cumulative = cells(&siltcode_tables::AS4059_CUMULATIVE);
    let mut checked = 0;
    for (bands, limits) in differential.iter().zip(&cumulative[1..]) {
        for from in 0..bands.len() {
            let sum: f64 = bands[from..].iter().sum();
            assert!((sum - limits[from + 1]).abs() < 0.5, "{bands:?} {limits:?}");
            checked += 1;
        }
    }
    assert_eq!(checked, 70, "classes 00 to 12, columns B to F");
}

#[test]
fn navair_totals_are_the_sums_of_their_rows() {
    let rows = cells(&siltcode_tables::NAVAIR_01_1A_17);
    assert_eq!(rows.len(), 7);
    for row in rows {
        let (total, bands) = row.split_last().unwrap();
        assert!((bands.iter().sum::<f64>() - total).abs() < 0.5, "{row:?}");
    }
}

/// Window centres at 10 and 15 mg/L over the one at 3 mg/L, to two decimals. From 25 um on, the print has two figures.
#[test]
fn test_dust_windows_scale_with_concentration() {
    #[derive(Deserialize)]
    struct Windows {
        size_umc: f64,
        #[serde(rename = "min_3mg_l")]
        min_3: f64,
        #[serde(rename = "max_3mg_l")]
        max_3: f64,
        #[serde(rename = "min_10mg_l")]
        min_10: f64,
        #[serde(rename = "max_10mg_l")]
        max_10: f64,
        #[serde(rename = "min_15mg_l")]
        min_15: f64,
        #[serde(rename = "max_15mg_l")]
        max_15: f64,
    }
    let windows: Vec<Windows> = rows(siltcode_tables::ISO_MEDIUM_TEST_DUST.text);
    assert_eq!(windows.len(), 16);
    for w in windows {
        let scale = |min: f64, max: f64| (100.0 * (min + max) / (w.min_3 + w.max_3)).round() / 100.0;
        let (ten, fifteen) = (scale(w.min_10, w.max_10), scale(w.min_15, w.max_15));
        let (tens, fifteens) =
            if w.size_umc > 20.0 { (3.30..=3.39, 4.95..=5.25) } else { (3.33..=3.34, 4.98..=5.01) };
        assert!(tens.contains(&ten) && fifteens.contains(&fifteen), "{} um(c): {ten}, {fifteen}", w.size_umc);
    }
}
