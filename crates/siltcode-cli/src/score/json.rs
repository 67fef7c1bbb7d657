//! Scores as JSON, schema `siltcode.score/1`, one bottle at a time.

use std::io::{self, Write};

use serde::Serialize;
use siltcode::certainty::{Level, Rule, Scatter};
use siltcode::intake::{Notice, Problem};
use siltcode::provenance::{InputDigest, Provenance, SpecUsed};
use siltcode::{Scored, Scoring, Spec, tables};

use super::Args;
use super::classes::Asked;
use super::previous::Unmatched;
use super::report::{Report, Tally};
use crate::held::Held;
use crate::json;

/// A JSON document written as it grows: samples first, then what is known only at the end.
pub(super) struct Json<W: Write> {
    out: Held<W>,
    started: bool,
    request: Request,
    problems: Vec<Problem>,
    notices: Vec<Notice>,
    unmatched: Unmatched,
}

/// What was asked for, so that the same can be asked again.
#[derive(Serialize)]
pub(super) struct Request {
    spec: Option<String>,
    confidence: Level,
    rule: Option<Rule>,
    scatter: Option<Scatter>,
    method: Option<String>,
    subtract_blank: bool,
    previous: Vec<String>,
    #[serde(flatten)]
    asked: Asked,
    #[serde(skip)]
    used: Option<SpecUsed>,
}

impl Request {
    pub(super) fn new(args: &Args, scoring: &Scoring<'_>, asked: Asked) -> Self {
        let (rule, context) = (scoring.rule, &scoring.context);
        Self {
            spec: args.spec.clone(),
            confidence: context.level,
            rule,
            scatter: context.scatter,
            method: context.method.map(str::to_owned),
            subtract_blank: args.subtract_blank,
            previous: args.previous.iter().map(|path| path.display().to_string()).collect(),
            asked,
            used: scoring.spec.map(Spec::used),
        }
    }
}

#[derive(Serialize)]
struct Totals {
    bottles: u64,
    conform: u64,
    do_not_conform: u64,
    undecided: u64,
    rejected: u64,
}

impl<W: Write> Json<W> {
    pub(super) fn new(out: W, request: Request) -> Self {
        Self {
            out: Held::new(out),
            started: false,
            request,
            problems: Vec::new(),
            notices: Vec::new(),
            unmatched: Unmatched::default(),
        }
    }

    fn start(&mut self) -> io::Result<()> {
        if !self.started {
            self.out.write_all(b"{\"schema\":\"siltcode.score/1\",\"samples\":[")?;
        }
        Ok(())
    }

    fn member(&mut self, name: &str, value: &impl Serialize) -> io::Result<()> {
        write!(self.out, ",\n\"{name}\":")?;
        json::compact(&mut self.out, value)
    }
}

impl<W: Write> Report for Json<W> {
    fn scored(&mut self, scored: &Scored) -> io::Result<()> {
        self.start()?;
        self.out.write_all(if self.started { b",\n" } else { b"\n" })?;
        self.started = true;
        json::compact(&mut self.out, scored)
    }

    fn problem(&mut self, problem: &Problem) -> io::Result<()> {
        self.problems.push(problem.clone());
        Ok(())
    }

    fn notice(&mut self, notice: &Notice) -> io::Result<()> {
        self.notices.push(notice.clone());
        Ok(())
    }

    fn unmatched(&mut self, unmatched: &Unmatched) -> io::Result<()> {
        self.unmatched = unmatched.clone();
        Ok(())
    }

    fn finish(mut self: Box<Self>, tally: &Tally, inputs: Vec<InputDigest>) -> io::Result<()> {
        self.start()?;
        self.out.write_all(b"\n]")?;
        let (problems, notices) = (std::mem::take(&mut self.problems), std::mem::take(&mut self.notices));
        let request = serde_json::to_value(&self.request)?;
        self.member("request", &request)?;
        self.member("problems", &problems)?;
        self.member("notices", &notices)?;
        self.member("rows", &tally.account)?;
        let unmatched = std::mem::take(&mut self.unmatched);
        self.member("unmatched", &unmatched)?;
        self.member("totals", &Totals::from(tally))?;
        let own = [&tables::ISO4406, &tables::TEST_METHOD_RANGES];
        let used: Vec<_> = own.into_iter().chain(self.request.asked.tables()).collect();
        let specification = self.request.used.take();
        self.member("provenance", &Provenance::new(&used, inputs).held_against(specification))?;
        self.out.write_all(b"}\n")?;
        self.out.release()
    }
}

impl From<&Tally> for Totals {
    fn from(tally: &Tally) -> Self {
        Self {
            bottles: tally.bottles,
            conform: tally.conform,
            do_not_conform: tally.fail,
            undecided: tally.undecided,
            rejected: tally.account.rejected,
        }
    }
}
