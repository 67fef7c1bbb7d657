//! `siltcode tables`: the published tables, with their citations.

use std::io::Write;

use serde::Serialize;
use siltcode::provenance::header;
use siltcode::tables::{TABLES, Table, table};

use crate::ListFormat;
use crate::exit::Exit;
use crate::failure::{Failure, Refusal};
use crate::json;
use crate::printed;
use crate::text::{HEAD, wrap};

/// List the published tables, or print one with its citation.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  siltcode tables\n  siltcode tables iso4406")]
pub(crate) struct Args {
    /// The table to print, as comma-separated values behind its citation.
    name: Option<String>,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    pub(crate) format: ListFormat,
}

#[derive(Serialize)]
struct Entry {
    name: &'static str,
    title: &'static str,
    standard: &'static str,
    status: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<&'static str>,
}

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let mut out = printed::stdout();
    match (&args.name, args.format) {
        (None, ListFormat::Table) => list(&mut out)?,
        (None, ListFormat::Json) => {
            json::pretty(&mut out, &TABLES.iter().map(|table| entry(table, false)).collect::<Vec<_>>())?;
        }
        (Some(name), ListFormat::Table) => write!(out, "{}", find(name)?.text)?,
        (Some(name), ListFormat::Json) => json::pretty(&mut out, &entry(find(name)?, true))?,
    }
    out.release()?;
    Ok(Exit::Done)
}

fn find(name: &str) -> Result<&'static Table, Failure> {
    let known = || TABLES.iter().map(|table| table.name).collect::<Vec<_>>().join(", ");
    table(name).ok_or_else(|| {
        let message = format!("there is no table named `{name}`");
        Failure::new(Refusal::TableUnknown, message, format!("one of: {}", known()))
    })
}

fn entry(table: &'static Table, whole: bool) -> Entry {
    Entry {
        name: table.name,
        title: header(table, "title"),
        standard: header(table, "standard"),
        status: header(table, "status"),
        text: whole.then_some(table.text),
    }
}

fn list(out: &mut impl Write) -> std::io::Result<()> {
    for table in TABLES {
        writeln!(out, "{HEAD}{}{HEAD:#}", table.name)?;
        writeln!(out, "{}", wrap(header(table, "title"), 4))?;
        writeln!(out, "{}", wrap(header(table, "standard"), 4))?;
        writeln!(out, "{}", wrap(header(table, "status"), 4))?;
    }
    Ok(())
}
