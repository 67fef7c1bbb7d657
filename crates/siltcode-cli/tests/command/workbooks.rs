//! Workbooks that ask for more than they may have.

use std::fmt::Write as _;
use std::io::{Cursor, Write};

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::*;

const SHEET: &str =
    r#"<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>"#;

/// A workbook of one sheet with these rows.
fn workbook(rows: &str) -> Vec<u8> {
    let relations = |kind: &str, target: &str| {
        let base = "http://schemas.openxmlformats.org";
        format!(
            r#"<Relationships xmlns="{base}/package/2006/relationships"><Relationship Id="r1" Type="{base}/officeDocument/2006/relationships/{kind}" Target="{target}"/></Relationships>"#
        )
    };
    let parts = [
        ("_rels/.rels", relations("officeDocument", "xl/workbook.xml")),
        ("xl/_rels/workbook.xml.rels", relations("worksheet", "worksheets/sheet1.xml")),
        (
            "xl/workbook.xml",
            r#"<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="counts" sheetId="1" r:id="r1"/></sheets></workbook>"#.into(),
        ),
        ("xl/worksheets/sheet1.xml", format!("{SHEET}{rows}</sheetData></worksheet>")),
    ];
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in parts {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn row(number: u32, cells: &[(&str, &str)]) -> String {
    let mut row = format!(r#"<row r="{number}">"#);
    for (column, text) in cells {
        write!(row, r#"<c r="{column}{number}" t="str"><v>{text}</v></c>"#).unwrap();
    }
    row + "</row>"
}

fn counts() -> String {
    row(1, &[("A", "bottle"), ("B", "4 um(c) /mL"), ("C", "6 um(c) /mL"), ("D", "14 um(c) /mL")])
        + &row(2, &[("A", "HB-04"), ("B", "1752"), ("C", "517"), ("D", "55")])
}

/// The command on this workbook, with at most this much memory \[MiB\] where the system can tell.
fn within(mib: u32, book: &[u8], more: &[&str]) -> Output {
    let (_folder, path) = file("book.xlsx", book);
    let script = format!("ulimit -v {}; exec \"$0\" \"$@\"", mib << 10);
    let mut command = Command::new("sh");
    let command = command.args(["-c", &script, env!("CARGO_BIN_EXE_siltcode"), "score"]).arg(path).args(more);
    command.output().unwrap()
}

#[test]
fn a_cell_in_the_last_corner_costs_no_more_than_itself() {
    let book = workbook(&(counts() + &row(1_048_576, &[("XFD", "seen by no one")])));
    let output = within(1000, &book, &["--format", "csv"]);
    assert!(stdout(&output).contains("HB-04"), "{}", stderr(&output));
}

#[test]
fn a_sheet_with_too_many_cells_is_refused_by_name() {
    let wide = (3..1000).map(|number| row(number, &[("XFD", "x")])).collect::<Vec<_>>().concat();
    let book = workbook(&(counts() + &wide));
    let output = within(1000, &book, &[]);
    assert_eq!(status(&output), 2, "{}", stderr(&output));
    assert!(stderr(&output).contains("5000000 cells") && stderr(&output).contains("--max-cells"));
    let few = within(1000, &workbook(&counts()), &["--max-cells", "7"]);
    assert_eq!(status(&few), 2);
    assert_eq!(status(&within(1000, &workbook(&counts()), &["--max-cells", "8"])), 0);
}

#[test]
fn a_workbook_that_unpacks_to_too_much_is_refused_by_name() {
    let book = workbook(&(counts() + &" ".repeat(100 << 20)));
    assert!(book.len() < 1 << 20);
    let output = within(1000, &book, &["--max-unpacked", "50"]);
    assert_eq!(status(&output), 2, "{}", stderr(&output));
    assert!(stderr(&output).contains("52428800 bytes") && stderr(&output).contains("--max-unpacked"));
}
