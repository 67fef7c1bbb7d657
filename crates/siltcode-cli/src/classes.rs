//! `siltcode classes`: the class systems, and which class a code alone leaves possible.

use std::io::Write;

use serde::Serialize;
use siltcode::class::{ClassRange, ClassSystem, Possible, as4059_of_code};
use siltcode::{Code, SizeScale};

use crate::ListFormat;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json;
use crate::printed;
use crate::text::{HEAD, wrap};

/// List the class systems, or say which AS4059 classes a code leaves possible.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  siltcode classes\n  siltcode classes 18/16/13\n\n\
    With counts, `siltcode score FILE --class NAME` gives the class itself.")]
pub(crate) struct Args {
    /// An ISO 4406 code without its counts.
    #[arg(value_name = "CODE")]
    code: Option<String>,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    pub(crate) format: ListFormat,
}

#[derive(Serialize)]
struct Entry {
    name: ClassSystem,
    title: &'static str,
    scales: Vec<SizeScale>,
    classes: Vec<String>,
    notes: &'static [&'static str],
}

/// What a code leaves possible.
#[derive(Serialize)]
struct Answer {
    code: Code,
    system: ClassSystem,
    table: &'static str,
    possible: Vec<Possible>,
    worst: Option<ClassRange>,
    note: &'static str,
}

const NOTE: &str = "A code bounds the count at each size, and the bounds of the two systems lie at other places. \
    Printed tables that set one class against one code are not used: they disagree by a whole class, \
    and hold only for one distribution of sizes.";

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let code = args.code.as_deref().map(str::parse::<Code>).transpose()?;
    let mut out = printed::stdout();
    let entries = ClassSystem::ALL.map(entry);
    match (code.map(answer), args.format) {
        (None, ListFormat::Table) => entries.iter().try_for_each(|entry| list(&mut out, entry))?,
        (None, ListFormat::Json) => json::pretty(&mut out, &entries)?,
        (Some(answer), ListFormat::Table) => show(&mut out, &answer)?,
        (Some(answer), ListFormat::Json) => json::pretty(&mut out, &answer)?,
    }
    out.release()?;
    Ok(Exit::Done)
}

fn entry(system: ClassSystem) -> Entry {
    Entry {
        name: system,
        title: system.title(),
        scales: system.scales(),
        classes: system.classes().iter().map(ToString::to_string).collect(),
        notes: system.notes(),
    }
}

fn answer(code: Code) -> Answer {
    let (system, possible) = (ClassSystem::As4059, as4059_of_code(code));
    let worst = possible.iter().map(|possible| possible.classes).reduce(ClassRange::dirtier);
    Answer { code, system, table: system.title(), possible, worst, note: NOTE }
}

fn list(out: &mut impl Write, entry: &Entry) -> std::io::Result<()> {
    let scales: Vec<String> = entry.scales.iter().map(ToString::to_string).collect();
    writeln!(out, "{HEAD}{}{HEAD:#}", entry.name)?;
    writeln!(out, "{}", wrap(entry.title, 4))?;
    let classes = [entry.classes.first(), entry.classes.last()].map(|class| class.map_or("", String::as_str));
    writeln!(
        out,
        "{}",
        wrap(&format!("classes {} to {}, sizes in {}", classes[0], classes[1], scales.join(", ")), 4)
    )?;
    entry.notes.iter().try_for_each(|note| writeln!(out, "{}", wrap(note, 4)))
}

fn show(out: &mut impl Write, answer: &Answer) -> std::io::Result<()> {
    writeln!(out, "{}\n", wrap(&format!("{} may be, by {}:", answer.code, answer.table), 0))?;
    for Possible { letter, size, classes } in &answer.possible {
        writeln!(out, "    {:<18} {HEAD}{classes}{HEAD:#}", format!("{letter} >={size}"))?;
    }
    match answer.worst {
        Some(worst) => writeln!(out, "    {:<18} {HEAD}{worst}{HEAD:#}", "the worst of these")?,
        None => writeln!(out, "    no class: no place of the code bounds a count from above")?,
    }
    writeln!(out, "\n{}", wrap(answer.note, 0))
}
