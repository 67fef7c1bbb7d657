//! Bytes as the sheet of a workbook. A zip archive has checksums that no mutation meets, so the bytes are packed into one
//! whose other parts are sound; bytes that are an archive already go in as they are.
#![no_main]

use std::io::{Cursor, Write};

use libfuzzer_sys::fuzz_target;
use siltcode::intake::{self, Options};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

const TYPES: &str = r#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/></Types>"#;
const ROOT: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const RELATIONS: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#;
const BOOK: &str = r#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="counts" sheetId="1" r:id="r1"/></sheets></workbook>"#;

fn packed(sheet: &[u8]) -> Option<Vec<u8>> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let parts: [(&str, &[u8]); 5] = [
        ("[Content_Types].xml", TYPES.as_bytes()),
        ("_rels/.rels", ROOT.as_bytes()),
        ("xl/_rels/workbook.xml.rels", RELATIONS.as_bytes()),
        ("xl/workbook.xml", BOOK.as_bytes()),
        ("xl/worksheets/sheet1.xml", sheet),
    ];
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in parts {
        zip.start_file(name, stored).ok()?;
        zip.write_all(bytes).ok()?;
    }
    Some(zip.finish().ok()?.into_inner())
}

/// A sheet that can be read, so that what is mutated is known to reach the reader of sheets.
const SOUND: &[u8] = include_bytes!("../seeds/workbook/numbers");

fuzz_target!(init: {
    let book = packed(SOUND).expect("a vector takes everything");
    let batch = intake::read("sound.xlsx", book.as_slice(), &Options::default()).expect("a sound workbook");
    assert_eq!(batch.samples.len(), 1);
}, |bytes: &[u8]| {
    let packed = if bytes.starts_with(b"PK\x03\x04") { Some(bytes.to_vec()) } else { packed(bytes) };
    if let Some(book) = packed {
        let _ = intake::read("fuzz.xlsx", book.as_slice(), &Options::default());
    }
});
