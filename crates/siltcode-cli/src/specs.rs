//! `siltcode specs`: the published specifications.

use std::io::Write;

use siltcode::spec::{Requirement, published};
use siltcode::status::UNVERIFIED_LIMITS;
use siltcode::{Spec, Status};

use crate::ListFormat;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json;
use crate::printed;
use crate::text::{HEAD, OPEN, wrap};

/// List the published specifications, or print one with its sources.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  siltcode specs\n  siltcode specs jet-a1-manufacture\n\n\
    A specification of your own is a TOML file:\n  title = \"Day tank\"\n  code = \"18/16/13\"\n  water = \"200 mg/kg\"")]
pub(crate) struct Args {
    /// The specification to print.
    name: Option<String>,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    pub(crate) format: ListFormat,
}

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let mut out = printed::stdout();
    let specs = || published::names().map(published::spec).collect::<siltcode::Result<Vec<_>>>();
    match (&args.name, args.format) {
        (None, ListFormat::Table) => specs()?.iter().try_for_each(|spec| heading(&mut out, spec))?,
        (None, ListFormat::Json) => json::pretty(&mut out, &specs()?)?,
        (Some(name), ListFormat::Table) => whole(&mut out, &published::spec(name)?)?,
        (Some(name), ListFormat::Json) => json::pretty(&mut out, &published::spec(name)?)?,
    }
    out.release()?;
    Ok(Exit::Done)
}

fn heading(out: &mut impl Write, spec: &Spec) -> std::io::Result<()> {
    writeln!(out, "{HEAD}{}{HEAD:#}", spec.name)?;
    writeln!(out, "{}", wrap(&spec.title, 4))?;
    if spec.status == Status::Memory {
        writeln!(out, "{OPEN}{}{OPEN:#}", wrap(UNVERIFIED_LIMITS, 4))?;
    }
    Ok(())
}

fn whole(out: &mut impl Write, spec: &Spec) -> std::io::Result<()> {
    heading(out, spec)?;
    if spec.partial {
        writeln!(out, "    some of its limits; the document has more")?;
    }
    if spec.compare_only {
        writeln!(out, "    to be compared with, without a verdict")?;
    }
    for (label, text) in [("edition", &spec.edition), ("scope", &spec.scope), ("caveat", &spec.caveat)] {
        if let Some(text) = text {
            writeln!(out, "{}", wrap(&format!("{label}: {text}"), 4))?;
        }
    }
    writeln!(out)?;
    spec.requirements.iter().try_for_each(|requirement| row(out, requirement))
}

fn row(out: &mut impl Write, requirement: &Requirement) -> std::io::Result<()> {
    let (subject, limit) = (requirement.demand.subject(), requirement.demand.limit());
    writeln!(out, "  {subject:<22} {limit:<40} {}", requirement.status)?;
    if let Some(alternative) = &requirement.alternative {
        let text = format!("one way of meeting `{}`: {}", alternative.group, alternative.branch);
        writeln!(out, "{}", wrap(&text, 6))?;
    }
    for (label, text) in
        [("method", &requirement.method), ("source", &requirement.source), ("note", &requirement.note)]
    {
        if let Some(text) = text {
            writeln!(out, "{}", wrap(&format!("{label}: {text}"), 6))?;
        }
    }
    Ok(())
}
