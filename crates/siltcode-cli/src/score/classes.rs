//! The class systems asked for beside the code: the request, and their answers in words and columns.

use siltcode::SizeScale;
use siltcode::class::{ClassAnswer, ClassSystem};
use siltcode::tables::{self, Table};

use crate::failure::Failure;

/// Which systems to ask.
#[derive(clap::Args)]
#[command(next_help_heading = "Other class systems")]
pub(super) struct Classes {
    /// Class the bottles by these systems too, one or several joined by commas (see `siltcode classes`).
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    class: Vec<String>,

    /// For systems without sizes in the scale of the counts: take their sizes in this scale and convert them.
    #[arg(long, value_name = "SCALE", requires = "class")]
    convert_sizes: Option<String>,
}

/// The systems that were asked for, each once.
#[derive(Default, Clone, serde::Serialize)]
pub(super) struct Asked {
    #[serde(rename = "classes")]
    pub(super) systems: Vec<ClassSystem>,
    pub(super) convert_sizes: Option<SizeScale>,
}

impl Classes {
    pub(super) fn asked(&self) -> Result<Asked, Failure> {
        let mut systems = Vec::new();
        for name in &self.class {
            let system: ClassSystem = name.parse()?;
            if !systems.contains(&system) {
                systems.push(system);
            }
        }
        let convert_sizes = self.convert_sizes.as_deref().map(str::parse).transpose()?;
        Ok(Asked { systems, convert_sizes })
    }
}

impl Asked {
    /// The tables that the answers rest on.
    pub(super) fn tables(&self) -> Vec<&'static Table> {
        let scales = [&tables::SIZE_SCALES, &tables::UMB];
        let scales = scales.into_iter().filter(|_| self.convert_sizes.is_some());
        self.systems.iter().map(|system| system.table()).chain(scales).collect()
    }

    /// What stands above the table: each system by its name, with what must be said of it.
    pub(super) fn legend(&self) -> Vec<String> {
        let legend = |system: &ClassSystem| {
            let title = std::iter::once(system.title()).chain(system.notes().iter().copied());
            format!("{system}: {}", title.collect::<Vec<_>>().join("; "))
        };
        self.systems.iter().map(legend).collect()
    }

    /// The headings of the columns of [`cells`].
    pub(super) fn headings(&self) -> impl Iterator<Item = String> + '_ {
        self.systems
            .iter()
            .flat_map(|system| ["", "_interpolated", "_note"].map(|part| format!("{system}{part}")))
    }
}

/// The line under a bottle.
pub(super) fn line(answer: &ClassAnswer) -> String {
    match &answer.classification {
        Ok(class) => {
            let said = |note: &&String| !answer.system.notes().contains(&note.as_str());
            let notes: Vec<&str> = class.notes.iter().filter(said).map(String::as_str).collect();
            let class = std::iter::once(class.worst_first()).chain(notes.into_iter().map(str::to_owned));
            format!("{}: {}", answer.system, class.collect::<Vec<_>>().join("; "))
        }
        Err(error) => format!("{}: no class: {error}", answer.system),
    }
}

/// What to do where there is no class.
pub(super) fn advice(answer: &ClassAnswer) -> Option<String> {
    let error = answer.classification.as_ref().err()?;
    let option = if error.code() == "class-scale-unsuited" { " (--convert-sizes)" } else { "" };
    Some(format!("{}: {}{option}.", answer.system, error.hint()))
}

/// The class, whether it is interpolated, and what must be said with it or why there is none.
pub(super) fn cells(answer: &ClassAnswer) -> [String; 3] {
    match &answer.classification {
        Ok(class) => {
            let notes = std::iter::once(class.table).chain(class.notes.iter().map(String::as_str));
            [class.to_string(), class.is_interpolated().to_string(), notes.collect::<Vec<_>>().join("; ")]
        }
        Err(error) => [String::new(), String::new(), format!("no class: {error}; {}", error.hint())],
    }
}
