//! The `siltcode` command: one file a subcommand.
//!
//! Data go to standard output, everything else to standard error. Exit statuses: 0 done (and, with a specification,
//! everything conforms); 1 done, and something does not conform or is undecided; 2 the request or an input could not
//! be used; 3 done, but some rows were rejected.

mod classes;
mod completions;
mod exit;
mod failure;
mod held;
mod inputs;
mod json;
mod outfile;
mod passes;
mod plan;
mod printed;
mod said;
mod score;
mod specs;
mod start;
mod tables;
mod text;

use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

use crate::exit::Exit;
use crate::failure::Failure;

#[derive(Parser)]
#[command(
    name = "siltcode",
    version,
    about = "Fluid cleanliness: particle counts in; codes, honest verdicts and the filtration still needed, out",
    after_help = "Exit status: 0 done (with a specification: all conform), 1 something does not conform or is\n\
                  undecided, 2 the request or an input could not be used, 3 some rows were rejected.\n\n\
                  Example:\n  siltcode score demo-samples --spec demo-samples/day-tank.toml"
)]
struct Cli {
    /// When to colour the output.
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    color: ColorWhen,

    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Score(Box<score::Args>),
    Passes(Box<passes::Args>),
    Plan(plan::Args),
    Specs(specs::Args),
    Tables(tables::Args),
    Classes(classes::Args),
    Completions(completions::Args),
}

impl Command {
    /// Whether JSON was asked for: then what fails is said in JSON too.
    fn is_json(&self) -> bool {
        let format = match self {
            Self::Score(args) => return args.is_json(),
            Self::Passes(args) => args.format,
            Self::Plan(args) => args.format,
            Self::Specs(args) => args.format,
            Self::Tables(args) => args.format,
            Self::Classes(args) => args.format,
            Self::Completions(_) => return false,
        };
        format == ListFormat::Json
    }
}

/// Colour only ever repeats what the words say.
#[derive(Clone, Copy, ValueEnum)]
enum ColorWhen {
    /// On a terminal, unless `NO_COLOR` is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// How a list or a single entry is printed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ListFormat {
    /// Aligned text.
    Table,
    /// JSON.
    Json,
}

fn main() -> ExitCode {
    let arguments: Vec<_> = std::env::args_os().collect();
    let cli = match Cli::try_parse_from(&arguments) {
        Ok(cli) => cli,
        Err(error) => return exit::usage(&error, &arguments),
    };
    match cli.color {
        ColorWhen::Auto => anstream::ColorChoice::Auto,
        ColorWhen::Always => anstream::ColorChoice::Always,
        ColorWhen::Never => anstream::ColorChoice::Never,
    }
    .write_global();
    let as_json = cli.command.is_json();
    exit::report(run(cli.command), as_json)
}

fn run(command: Command) -> Result<Exit, Failure> {
    match command {
        Command::Score(args) => score::run(&args),
        Command::Passes(args) => passes::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Specs(args) => specs::run(&args),
        Command::Tables(args) => tables::run(&args),
        Command::Classes(args) => classes::run(&args),
        Command::Completions(args) => completions::run(&args),
    }
}
