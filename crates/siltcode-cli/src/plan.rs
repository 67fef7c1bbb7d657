//! `siltcode plan`: the cheapest or quickest staged filtration of a job.

mod json;
mod report;

use std::path::Path;
use std::time::Instant;

use serde::Serialize;
use siltcode::plan::{Aim, Answer, Effort, Job};
use siltcode::provenance::InputDigest;
use siltcode::{ErrorKind, Position};

use crate::ListFormat;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::inputs::read_toml;
use crate::printed;
use crate::start::From;

/// Plan a staged filtration: what goes in when, for how long, at what cost.
#[derive(clap::Args, Serialize)]
#[command(
    after_help = "The job is a TOML file: the tank, its start and target, what an hour costs, and the stages\n\
    that may be used, in order. demo-samples/bunker-tank-job.toml is one to begin with.\n\
    Exit status: 0 the target can be reached, 1 it cannot, 2 the request could not be used.\n\n\
    Examples:\n  \
    siltcode plan demo-samples/bunker-tank-job.toml\n  \
    siltcode plan demo-samples/bunker-tank-job.toml --quickest\n  \
    siltcode plan demo-samples/bunker-tank-job.toml \\\n      \
    --start demo-samples/bunker-tank.csv --bottle HB-02"
)]
pub(crate) struct Args {
    /// The job, a TOML file.
    job: String,

    /// The least time, rather than the least cost.
    #[arg(long)]
    quickest: bool,

    /// The start, in place of the job's own: a code, counts per mL at sizes, or a file of bottles.
    #[arg(long, value_name = "CODE|COUNTS|FILE")]
    start: Option<String>,

    /// The bottle of the file, where it holds more than one.
    #[arg(long, value_name = "NAME", requires = "start")]
    bottle: Option<String>,

    /// Print the cautions for other kinds of work too.
    #[arg(long)]
    #[serde(skip)]
    cautions: bool,

    /// How long the search for the best plan may take; the plan found by then is printed with its bound.
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    search_time: Option<f64>,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    #[serde(skip)]
    pub(crate) format: ListFormat,
}

/// Everything a report tells.
struct Planned {
    job: Job,
    aim: Aim,
    answer: Answer,
    /// What was guessed in reading the start.
    guessed: Vec<String>,
    inputs: Vec<InputDigest>,
}

impl Args {
    fn planned(&self) -> Result<Planned, Failure> {
        let (job, digest) =
            read_toml(&self.job, |text| Job::from_toml_with(text, |name| beside(&self.job, name)))?;
        let aim = if self.quickest { Aim::Quickest } else { Aim::Cheapest };
        let (mut guessed, mut inputs) = (Vec::new(), vec![digest]);
        let begun = Instant::now();
        let late = || self.search_time.is_some_and(|most| begun.elapsed().as_secs_f64() >= most);
        let effort = Effort::default().until(&late);
        let answer = match &self.start {
            Some(start) => {
                let from = From::read(start, self.bottle.as_deref(), None)?;
                guessed.extend(from.guessed);
                inputs.extend(from.inputs);
                job.plan_within(&from.start, aim, &effort)?
            }
            None => job.plan_within(job.given_start()?, aim, &effort)?,
        };
        Ok(Planned { job, aim, answer, guessed, inputs })
    }
}

/// The text of a file that a job names, which stands in the folder of the job unless its path is absolute.
fn beside(job: &str, name: &str) -> siltcode::Result<String> {
    let path = Path::new(job).parent().unwrap_or(Path::new("")).join(name);
    let unreadable = |error: std::io::Error| {
        let error = siltcode::Error::from(ErrorKind::InputUnreadable { message: error.to_string() });
        error.at(Position { file: Some(path.display().to_string()), ..Position::default() })
    };
    std::fs::read_to_string(&path).map_err(unreadable)
}

/// A time in seconds, 0 or more.
fn seconds(text: &str) -> Result<f64, String> {
    let seconds = text.parse::<f64>().ok().filter(|seconds| seconds.is_finite() && *seconds >= 0.0);
    seconds.ok_or_else(|| "a number of seconds, 0 or more".into())
}

impl Planned {
    /// What is said of the job, by which cautions apply.
    fn said(&self) -> Vec<&str> {
        let fluid = self.job.fluid.as_ref().map(|fluid| fluid.name.as_str());
        let target = self.job.target.specification().map(|spec| spec.name.as_str());
        [Some(self.job.title.as_str()), fluid, target].into_iter().flatten().collect()
    }

    /// An amount in the money of the job.
    fn money(&self, amount: f64) -> String {
        let amount = if amount < 100.0 { format!("{amount:.2}") } else { format!("{amount:.0}") };
        self.job
            .money
            .as_ref()
            .map_or_else(|| amount.clone(), |money| format!("{amount} {}", printed::plain(money)))
    }
}

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let planned = args.planned()?;
    let mut out = printed::stdout();
    match args.format {
        ListFormat::Table => report::table(&mut out, &planned, args.cautions)?,
        ListFormat::Json => crate::json::pretty(&mut out, &json::Document::new(args, &planned))?,
    }
    out.release()?;
    Ok(if matches!(planned.answer, Answer::Plan(_)) { Exit::Done } else { Exit::NotAllConform })
}
