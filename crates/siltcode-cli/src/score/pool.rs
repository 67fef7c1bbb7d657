//! Bottles that wait until it is known how much the runs of their file vary.
//!
//! What the first bottles of a file say of that goes into the result of every bottle, the first one included; so these are
//! read before the first result. From then on nothing changes, and results flow.

use std::rc::Rc;

use siltcode::certainty::{Repeatability, RunPool, Scatter};
use siltcode::{LeaveOut, LeftOutRun, Sample, Spectrum};

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
    runs: RunPool,
    waiting: Vec<Waiting>,
    known: Option<Rc<Repeatability>>,
}

impl Pool {
    /// No more bottles than these wait, however few of them have two runs.
    const MOST_WAITING: usize = 16 * RunPool::MOST_BOTTLES;

    /// For what was stated of the variation of runs, less the runs to leave out.
    pub(super) fn new(stated: Option<Scatter>, leave_out: LeaveOut) -> Self {
        Self { stated, leave_out, runs: RunPool::default(), waiting: Vec::new(), known: None }
    }

    /// What the runs say, once that is known.
    pub(super) fn known(&self) -> Option<Rc<Repeatability>> {
        self.known.clone()
    }

    /// Takes a bottle in. It can be scored at once where the runs are known already, and waits otherwise.
    pub(super) fn take(&mut self, mut sample: Sample, blank: Option<Rc<Spectrum>>) -> Option<Waiting> {
        let left_out = self.leave_out.from(&mut sample);
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
        self.known.is_none() && (self.runs.is_full() || self.waiting.len() >= Self::MOST_WAITING)
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
