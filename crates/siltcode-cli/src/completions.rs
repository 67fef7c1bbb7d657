//! `siltcode completions`: completions for a shell.

use std::io;

use clap::CommandFactory;
use clap_complete::Shell;

use crate::Cli;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::held::Held;

/// Print completions for a shell.
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  siltcode completions bash > ~/.local/share/bash-completion/completions/siltcode"
)]
pub(crate) struct Args {
    /// The shell.
    shell: Shell,
}

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let mut out = Held::new(io::stdout().lock());
    clap_complete::generate(args.shell, &mut Cli::command(), "siltcode", &mut out);
    out.release()?;
    Ok(Exit::Done)
}
