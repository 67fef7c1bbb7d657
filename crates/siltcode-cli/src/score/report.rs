//! What a report of scored bottles is handed, whatever its form.

use std::io;

use siltcode::certainty::Repeatability;
use siltcode::intake::{Account, Notice, Problem};
use siltcode::provenance::InputDigest;
use siltcode::{Outcome, Scored};

use super::previous::Unmatched;
use super::say;
use crate::exit::Exit;

/// One form of the output.
pub(crate) trait Report {
    /// A scored bottle.
    fn scored(&mut self, scored: &Scored) -> io::Result<()>;

    /// How much the runs of the bottles that follow, from this file, vary.
    fn repeatability(&mut self, _file: &str, _known: &Repeatability) -> io::Result<()> {
        Ok(())
    }

    /// A row or bottle that could not be used: said on standard error.
    fn problem(&mut self, problem: &Problem) -> io::Result<()> {
        say::problem(problem);
        Ok(())
    }

    /// Something guessed or assumed: said on standard error.
    fn notice(&mut self, notice: &Notice) -> io::Result<()> {
        say::notice(notice);
        Ok(())
    }

    /// Bottles without a partner: said on standard error.
    fn unmatched(&mut self, unmatched: &Unmatched) -> io::Result<()> {
        say::unmatched(unmatched);
        Ok(())
    }

    /// The end: everything is let through.
    fn finish(self: Box<Self>, tally: &Tally, inputs: Vec<InputDigest>) -> io::Result<()>;
}

/// How many came to what.
#[derive(Clone, Default)]
pub(crate) struct Tally {
    pub(crate) bottles: u64,
    pub(crate) conform: u64,
    pub(crate) fail: u64,
    pub(crate) undecided: u64,
    /// What became of every record of every input.
    pub(crate) account: Account,
    /// Inputs that could not be used at all.
    pub(crate) refused: u64,
}

impl Tally {
    pub(crate) fn count(&mut self, scored: &Scored) {
        self.bottles += 1;
        match scored.verdict.as_ref().map(|verdict| verdict.outcome) {
            Some(Outcome::Conforms) => self.conform += 1,
            Some(Outcome::DoesNotConform) => self.fail += 1,
            Some(Outcome::Undecided) => self.undecided += 1,
            None => {}
        }
    }

    /// Lost rows come first: a reader must not take the rest for the whole.
    pub(crate) fn exit(&self) -> Exit {
        if self.account.has_rejects() || self.refused > 0 {
            Exit::Rejected
        } else if self.fail + self.undecided > 0 {
            Exit::NotAllConform
        } else {
            Exit::Done
        }
    }
}
