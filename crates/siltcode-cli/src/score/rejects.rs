//! The file of rejected rows.

use std::io;
use std::path::Path;

use siltcode::intake::{Problem, RejectWriter};

use crate::failure::{Failure, Refusal};
use crate::outfile::{Identity, OutFile};

/// Where rejected rows go, if anywhere.
pub(super) struct Rejects {
    writer: Option<RejectWriter<OutFile>>,
}

impl Rejects {
    pub(super) fn new(place: Option<&Path>, force: bool, inputs: &[Identity]) -> Result<Self, Failure> {
        let Some(place) = place else { return Ok(Self { writer: None }) };
        if place.as_os_str() == "-" {
            let hint = "give the name of a file; ./- is a file named `-`";
            return Err(Failure::new(Refusal::OutputNotRegular, "rejected rows go to a file", hint));
        }
        let out = OutFile::create(place, force, inputs)?;
        Ok(Self { writer: Some(RejectWriter::new(out)) })
    }

    pub(super) fn write(&mut self, problem: &Problem) -> io::Result<()> {
        self.writer.as_mut().map_or(Ok(()), |writer| writer.write(problem))
    }

    /// Puts the file in its place; it is empty if nothing was rejected.
    pub(super) fn finish(&mut self) -> Result<(), Failure> {
        let Some(writer) = self.writer.take() else { return Ok(()) };
        writer.finish()?.publish()
    }
}
