//! Scores as JSON, schema `siltcode.score/1`, one bottle at a time.

use std::io::{self, Write};

use serde::Serialize;
use siltcode::certainty::{Level, Repeatability, Rule, Scatter, SizeRepeatability};
use siltcode::intake::{Notice, Problem};
use siltcode::provenance::{InputDigest, Provenance, SpecUsed};
use siltcode::{NamedRun, Scored, Scoring, Spec, tables};

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
    repeatability: Vec<FileRepeatability>,
    problems: Vec<Problem>,
    notices: Vec<Notice>,
    unmatched: Unmatched,
}

/// How much runs of one file vary at one size.
#[derive(Serialize)]
struct FileRepeatability {
    file: String,
    #[serde(flatten)]
    of_size: SizeRepeatability,
}

/// What was asked for, so that the same can be asked again.
#[derive(Serialize)]
pub(super) struct Request {
    spec: Option<String>,
    confidence: Level,
    rule: Option<Rule>,
    repeatability: Option<f64>,
    scatter: Option<Scatter>,
    skip_first_run: bool,
    leave_out: Vec<NamedRun>,
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
            repeatability: args.certainty.repeatability,
            scatter: context.scatter,
            skip_first_run: args.skip_first_run,
            leave_out: args.leave_out.clone(),
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
            repeatability: Vec::new(),
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

    fn repeatability(&mut self, file: &str, known: &Repeatability) -> io::Result<()> {
        let entries = known.entries().map(|of_size| FileRepeatability { file: file.to_owned(), of_size });
        self.repeatability.extend(entries);
        Ok(())
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
        let repeatability = std::mem::take(&mut self.repeatability);
        self.member("repeatability", &repeatability)?;
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
