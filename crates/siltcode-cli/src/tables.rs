//! `siltcode tables`: the published tables, with their citations.

use std::io::Write;

use serde::Serialize;
use siltcode::provenance::header;
use siltcode::tables::{TABLES, Table, table};

use crate::ListFormat;
use crate::exit::{Exit, Failure};
use crate::held::Held;
use crate::text::{HEAD, wrap};

/// List the published tables, or print one with its citation.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  siltcode tables\n  siltcode tables iso4406")]
pub(crate) struct Args {
    /// The table to print, as comma-separated values behind its citation.
    name: Option<String>,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    format: ListFormat,
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
    let mut out = Held::new(anstream::stdout().lock());
    match (&args.name, args.format) {
        (None, ListFormat::Table) => list(&mut out)?,
        (None, ListFormat::Json) => {
            json(&mut out, &TABLES.iter().map(|table| entry(table, false)).collect::<Vec<_>>())?;
        }
        (Some(name), ListFormat::Table) => write!(out, "{}", find(name)?.text)?,
        (Some(name), ListFormat::Json) => json(&mut out, &entry(find(name)?, true))?,
    }
    out.release()?;
    Ok(Exit::Done)
}

fn find(name: &str) -> Result<&'static Table, Failure> {
    let known = || TABLES.iter().map(|table| table.name).collect::<Vec<_>>().join(", ");
    table(name).ok_or_else(|| {
        Failure::new(format!("there is no table named `{name}`"), format!("one of: {}", known()))
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

/// Pretty JSON with a line end.
pub(crate) fn json(out: &mut impl Write, value: &impl Serialize) -> std::io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, value)?;
    writeln!(out)
}
