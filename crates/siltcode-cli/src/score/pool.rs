//! Bottles that wait until it is known how much the runs of their file vary.
//!
//! What the first bottles of a file say of that goes into the result of every bottle, the first one included; so these are
//! read before the first result. From then on nothing changes, and results flow.

use std::rc::Rc;

use siltcode::certainty::{Repeatability, RunPool, Scatter};
use siltcode::{LeaveOut, LeftOutRun, NamedRun, Sample, Spectrum};

/// A bottle with the blank that was read last before it.
pub(super) struct Waiting {
    pub(super) sample: Sample,
    pub(super) left_out: Vec<LeftOutRun>,
    pub(super) blank: Option<Rc<Spectrum>>,
}

/// The bottles of one file that wait, and what their runs say once it is known.
pub(super) struct Pool {
    stated: Option<Scatter>,
    leave_out: LeaveOut,
    /// Runs that were named and not met so far.
    missed: Vec<NamedRun>,
    runs: RunPool,
    waiting: Vec<Waiting>,
    known: Option<Rc<Repeatability>>,
}

impl Pool {
    /// For what was stated of the variation of runs, less the runs to leave out.
    pub(super) fn new(stated: Option<Scatter>, leave_out: LeaveOut) -> Self {
        let missed = leave_out.named.clone();
        Self { stated, leave_out, missed, runs: RunPool::default(), waiting: Vec::new(), known: None }
    }

    /// What the runs say, once that is known.
    pub(super) fn known(&self) -> Option<Rc<Repeatability>> {
        self.known.clone()
    }

    /// Takes a bottle in. It can be scored at once where the runs are known already, and waits otherwise.
    pub(super) fn take(&mut self, mut sample: Sample, blank: Option<Rc<Spectrum>>) -> Option<Waiting> {
        let left_out = self.leave_out.from(&mut sample);
        self.missed.retain(|named| !named.is_among(&sample.id, &left_out));
        self.runs.add(&sample);
        let bottle = Waiting { sample, left_out, blank };
        if self.known.is_some() {
            return Some(bottle);
        }
        self.waiting.push(bottle);
        None
    }

    /// Whether no bottle need be waited for any longer.
    pub(super) fn is_full(&self) -> bool {
        self.known.is_none() && self.runs.is_full()
    }

    /// Runs that were named and could not be left out.
    pub(super) fn missed(&self) -> &[NamedRun] {
        &self.missed
    }

    /// What the runs say, and the bottles that waited for it.
    pub(super) fn release(&mut self) -> (Rc<Repeatability>, Vec<Waiting>) {
        let known = Rc::new(self.runs.repeatability(self.stated));
        self.known = Some(Rc::clone(&known));
        (known, std::mem::take(&mut self.waiting))
    }

    /// Begins with the next file.
    pub(super) fn restart(&mut self) {
        self.runs = RunPool::default();
        self.waiting.clear();
        self.known = None;
    }
}
