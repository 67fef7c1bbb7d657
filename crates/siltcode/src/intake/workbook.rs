//! XLSX workbooks: each sheet's cells become records, and then go the way of every record.

use std::collections::{BTreeMap, HashSet};
use std::fmt::Write as _;
use std::io::{self, Cursor, Read};

use calamine::{DataRef, Reader, SheetType, SheetVisible, Xlsx, open_workbook_from_rs};
use quick_xml::events::Event;

use super::account::{Account, PassedOver};
use super::limits::Limits;
use super::lines::{Record, Records};
use super::notices::{self, notice};
use super::options::Options;
use super::problem::{Severity, Table};
use super::table::Origin;
use super::{Sink, read_tables};
use crate::error::{Error, ErrorKind, Result};

/// What stands in a cell whose formula has no value.
const NO_VALUE: &str = "(formula without a value)";

type Book = Xlsx<Cursor<Vec<u8>>>;

/// Reads the sheets of a workbook: the one asked for, else every visible sheet that holds counts.
///
/// # Errors
/// `workbook-unreadable`, `sheet-unknown`, `input-too-large`; and where no sheet gave a bottle, why the first could not be read.
pub(super) fn read<S: Sink>(
    name: &str,
    bytes: Vec<u8>,
    options: &Options,
    sink: &mut S,
    account: &mut Account,
) -> Result<()> {
    ensure_unpacked(&bytes, options)?;
    let hidden_rows = hidden_rows(&bytes);
    let mut book: Book = open_workbook_from_rs(Cursor::new(bytes)).map_err(unreadable)?;
    let sheets = sheets(&book, options)?;
    let mut refused: Option<Error> = None;
    let (mut used, mut unread) = (false, Vec::new());
    for (at, sheet) in sheets.into_iter().enumerate() {
        let hidden = hidden_rows.get(&sheet.name).cloned().unwrap_or_default();
        let records = records(&mut book, &sheet.name, &hidden, options.limits)?;
        let rows = records.len() as u64;
        if let Some(why) = sheet.skipped {
            account.rows += rows;
            account.pass_over(PassedOver::SheetNotRead, rows);
            if rows > 0 {
                unread.push(format!("{} ({why})", sheet.name));
            }
            continue;
        }
        if rows == 0 {
            continue;
        }
        let mut own = Account::default();
        let origin = Origin { file: name.into(), sheet: Some(sheet.name.clone()), ..Origin::default() };
        let mut records = SheetRecords(records.into_iter());
        match read_tables(origin, &mut records, options, sink, &mut own) {
            Ok(_) => used = true,
            // A sheet of words holds no counts; one that names sizes and could not be read is refused.
            Err(error) if error.code() == "heading-not-found" && own.rejected == 0 => {
                own = Account { rows: own.rows, ..Account::default() };
                own.pass_over(PassedOver::SheetNotRead, own.rows);
                unread.push(format!("{} (no counts)", sheet.name));
                refused = refused.or(Some(error));
            }
            Err(error) => {
                own.reject_rest();
                sink.notice(notices::refused(name, Some(&sheet.name), &error));
                if at == 0 || refused.as_ref().is_none_or(|first| first.code() == "heading-not-found") {
                    refused = Some(error);
                }
            }
        }
        account.add(&own);
    }
    if !unread.is_empty() {
        let table = Table { file: name.into(), ..Table::default() };
        let message = format!("sheets not read: {}", unread.join(", "));
        let hint = "name one with the option `sheet` if it is to be read";
        sink.notice(notice(&table, Severity::Note, "sheets-not-read", None, message, hint));
    }
    match refused {
        Some(error) if !used || account.scored + account.rejected == 0 => Err(error),
        None if !used => Err(ErrorKind::InputEmpty {}.into()),
        _ => Ok(()),
    }
}

fn unreadable(error: impl std::fmt::Display) -> Error {
    ErrorKind::WorkbookUnreadable { message: error.to_string() }.into()
}

/// A sheet, and why it is not read.
struct Sheet {
    name: String,
    skipped: Option<&'static str>,
}

fn sheets(book: &Book, options: &Options) -> Result<Vec<Sheet>> {
    let all = book.sheets_metadata();
    if let Some(wanted) = &options.sheet
        && !all.iter().any(|sheet| sheet.name == *wanted)
    {
        let known = all.iter().map(|sheet| sheet.name.clone()).collect::<Vec<_>>().join(", ");
        return Err(ErrorKind::SheetUnknown { name: wanted.clone(), known }.into());
    }
    let sheets = all.iter().filter(|sheet| sheet.typ == SheetType::WorkSheet).map(|sheet| {
        let skipped = match &options.sheet {
            Some(wanted) if *wanted != sheet.name => Some("not asked for"),
            None if sheet.visible != SheetVisible::Visible => Some("hidden"),
            _ => None,
        };
        Sheet { name: sheet.name.clone(), skipped }
    });
    Ok(sheets.collect())
}

/// What all parts of a workbook take up is counted before any is kept: what they say of their size may be a lie.
fn ensure_unpacked(bytes: &[u8], options: &Options) -> Result<()> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(unreadable)?;
    let mut unpacked = 0;
    for at in 0..archive.len() {
        let part = archive.by_index(at).map_err(unreadable)?;
        let left = options.limits.unpacked_bytes.saturating_sub(unpacked);
        unpacked += io::copy(&mut part.take(left.saturating_add(1)), &mut io::sink()).map_err(unreadable)?;
        options.limits.ensure_unpacked(unpacked)?;
    }
    Ok(())
}

/// The filled rows, with the row number a spreadsheet shows. Cells that are not filled take no memory.
fn records(book: &mut Book, sheet: &str, hidden: &HashSet<u32>, limits: Limits) -> Result<Vec<Record>> {
    let without_value = formulas_without_value(book, sheet)?;
    let mut taken = 0;
    let mut ends: Option<(u32, u32)> = None;
    let mut rows: BTreeMap<u32, Vec<(u32, String)>> = BTreeMap::new();
    let mut cells = book.worksheet_cells_reader(sheet).map_err(unreadable)?;
    while let Some((cell, style)) = cells.next_cell_with_style_id().map_err(unreadable)? {
        let format = cells.styles().get(style).and_then(|style| style.number_format.as_ref());
        let text = text(cell.get_value(), format.map_or("General", |format| format.format_code.as_str()));
        if !text.is_empty() {
            let (row, column) = cell.get_position();
            // A row is held up to its last filled cell.
            let from = ends.filter(|(last, _)| *last == row).map_or(0, |(_, end)| end);
            taken += u64::from((column + 1).saturating_sub(from));
            ends = Some((row, from.max(column + 1)));
            limits.ensure_cells(taken)?;
            rows.entry(row).or_default().push((column, text));
        }
    }
    for (row, column) in without_value {
        taken += u64::from(column) + 1;
        limits.ensure_cells(taken)?;
        rows.entry(row).or_default().push((column, NO_VALUE.to_owned()));
    }
    Ok(rows.into_iter().map(|(row, cells)| record(row, cells, hidden.contains(&row))).collect())
}

fn record(row: u32, mut cells: Vec<(u32, String)>, hidden: bool) -> Record {
    cells.sort_by_key(|(column, _)| *column);
    let width = cells.last().map_or(0, |(column, _)| *column as usize + 1);
    let mut texts = vec![String::new(); width];
    for (column, text) in cells {
        texts[column as usize] = text;
    }
    Record { hidden, ..Record::of_cells(u64::from(row) + 1, &texts) }
}

/// The cells with a formula that was never worked out.
fn formulas_without_value(book: &mut Book, sheet: &str) -> Result<Vec<(u32, u32)>> {
    let mut cells = book.worksheet_cells_reader(sheet).map_err(unreadable)?;
    let mut found = Vec::new();
    while let Some(cell) = cells.next_cell_with_formula().map_err(unreadable)? {
        if cell.formula.is_some() && cell.value == DataRef::Empty {
            found.push(cell.pos);
        }
    }
    Ok(found)
}

/// A cell as a row of text would hold it.
fn text(cell: &DataRef<'_>, format: &str) -> String {
    match cell {
        DataRef::Empty => String::new(),
        DataRef::Float(value) => number(*value, format),
        #[allow(clippy::cast_precision_loss)] // a whole number of a spreadsheet is a double itself
        DataRef::Int(value) => number(*value as f64, format),
        DataRef::SharedString(text) => (*text).to_owned(),
        DataRef::Bool(value) => value.to_string(),
        DataRef::DateTime(moment) => date(&moment.to_ymd_hms_milli(), format),
        DataRef::String(text) | DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => text.clone(),
        DataRef::Error(error) => error.to_string(),
    }
}

/// A number always with a decimal point that cannot be taken for a thousands mark; with the leading zeros it is shown
/// with.
fn number(value: f64, format: &str) -> String {
    let zeros = format.bytes().take_while(|&byte| byte == b'0').count();
    if zeros > 1 && zeros == format.len() && value.fract() == 0.0 && value >= 0.0 {
        return format!("{value:0zeros$}");
    }
    let text = value.to_string();
    let behind = text.split_once('.').map_or(0, |(_, behind)| behind.len());
    if behind == 3 { text + "0" } else { text }
}

type Moment = (u16, u8, u8, u8, u8, u8, u16);

/// A date as the spreadsheet shows it where its format is plain, else as ISO 8601; with its time where it has one.
fn date(moment: &Moment, format: &str) -> String {
    let (year, month, day, hour, minute, second, _) = *moment;
    if let Some(shown) = as_shown(moment, format) {
        return shown;
    }
    let date = format!("{year:04}-{month:02}-{day:02}");
    let time = format!("{hour:02}:{minute:02}:{second:02}");
    match (year, hour, minute, second) {
        // A time of day without a date.
        (..=1900, ..) if month == 1 || month == 12 => time,
        (_, 0, 0, 0) => date,
        _ => format!("{date} {time}"),
    }
}

/// The date in a format of digits alone, such as `dd.mm.yyyy` or `yyyy-mm`; none for any other format.
fn as_shown(&(year, month, day, ..): &Moment, format: &str) -> Option<String> {
    let format = format.split(';').next()?.replace(['\\', '"'], "").to_lowercase();
    let mut shown = String::new();
    let mut rest = format.as_str();
    let mut parts = 0;
    while let Some(first) = rest.chars().next() {
        let length = rest.len() - rest.trim_start_matches(first).len();
        match (first, length) {
            ('y', 4) => write!(shown, "{year:04}"),
            ('m', 2) => write!(shown, "{month:02}"),
            ('d', 2) => write!(shown, "{day:02}"),
            ('.' | '-' | '/', 1) => write!(shown, "{first}"),
            _ => return None,
        }
        .ok()?;
        parts += usize::from(first.is_alphabetic());
        rest = &rest[length..];
    }
    (parts >= 2 && shown.contains(&format!("{year:04}"))).then_some(shown)
}

/// The hidden rows of each sheet, from 0. A workbook whose parts cannot be found here hides nothing.
fn hidden_rows(bytes: &[u8]) -> BTreeMap<String, HashSet<u32>> {
    let mut found = BTreeMap::new();
    let Ok(mut archive) = zip::ZipArchive::new(Cursor::new(bytes)) else { return found };
    let (Some(book), Some(relations)) =
        (part(&mut archive, "xl/workbook.xml"), part(&mut archive, "xl/_rels/workbook.xml.rels"))
    else {
        return found;
    };
    let targets: BTreeMap<String, String> = elements(&relations, "Relationship")
        .into_iter()
        .filter_map(|of| Some((of.get("Id")?.clone(), of.get("Target")?.clone())))
        .collect();
    for sheet in elements(&book, "sheet") {
        let (Some(name), Some(id)) = (sheet.get("name"), sheet.get("id")) else { continue };
        let Some(target) = targets.get(id) else { continue };
        let path = target.strip_prefix('/').map_or_else(|| format!("xl/{target}"), str::to_owned);
        let Some(xml) = part(&mut archive, &path) else { continue };
        let rows = elements(&xml, "row")
            .into_iter()
            .filter(|row| row.get("hidden").is_some_and(|hidden| hidden == "1" || hidden == "true"));
        let rows = rows.filter_map(|row| row.get("r")?.parse::<u32>().ok()?.checked_sub(1));
        found.insert(name.clone(), rows.collect());
    }
    found
}

fn part(archive: &mut zip::ZipArchive<Cursor<&[u8]>>, name: &str) -> Option<String> {
    let mut file = archive.by_name(name).ok()?;
    let mut text = String::new();
    std::io::Read::read_to_string(&mut file, &mut text).ok()?;
    Some(text)
}

/// The attributes of every element of a name, by their local names.
fn elements(xml: &str, name: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = quick_xml::Reader::from_str(xml);
    let mut found = Vec::new();
    loop {
        match reader.read_event() {
            Ok(Event::Start(element) | Event::Empty(element)) if element.local_name().as_ref() == name => {
                let attributes = element.attributes().filter_map(|attribute| {
                    let attribute = attribute.ok()?;
                    let value =
                        attribute.normalized_value(quick_xml::XmlVersion::Implicit1_0).ok()?.into_owned();
                    Some((attribute.key.local_name().as_ref().to_owned(), value))
                });
                found.push(attributes.collect());
            }
            Ok(Event::Eof) | Err(_) => return found,
            _ => {}
        }
    }
}

/// The records of a sheet.
struct SheetRecords(std::vec::IntoIter<Record>);

impl Records for SheetRecords {
    fn next(&mut self, _: Record) -> Result<Option<Record>> {
        Ok(self.0.next())
    }

    fn reread(&mut self, raw: Vec<u8>, original: &Record) -> Record {
        Record::of_csv(&raw, original)
    }
}
