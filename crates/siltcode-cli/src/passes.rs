//! `siltcode passes`: turnovers and hours from a start to a target.

mod chart;
mod json;
mod report;
mod request;

use serde::Serialize;
use siltcode::filter::{Beta, Train};
use siltcode::provenance::{InputDigest, SpecUsed};
use siltcode::tank::{Ensemble, Forecast, Turnovers};
use siltcode::units::{Duration, Flow};

use crate::ListFormat;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::printed;

/// Work out the tank turnovers and hours from a start to a target.
#[derive(clap::Args, Serialize)]
#[command(
    after_help = "Quantities carry their unit, SI or US customary: \"18 m3\", \"4750 gal\", \"60 L/min\", \"16 gpm\".\n\
    Counts are particles per mL at and above sizes in um(c): 4:30000,6:9000,14:900.\n\
    A spread is a geometric standard deviation: 1 is certain, 1.5 within a factor of 1.5\n\
    in two cases of three.\n\
    Exit status: 0 the target can be reached, 1 it cannot or the ratings leave it open, 2 the request could not be used.\n\n\
    Examples:\n  \
    siltcode passes --from 22/20/17 --to 18/16/13 --tank \"18 m3\" --flow \"60 L/min\" \\\n      \
    --beta 4:3,6:20,14:1000\n  \
    siltcode passes --from 4:30000,6:9000,14:900 --to 18/16/13 --tank \"4750 gal\" \\\n      \
    --flow \"16 gpm\" --beta 4:10,6:75,14:1000 --ingress \"4:30,6:5,14:0.2 per h\" \\\n      \
    --beta-spread 1.5 --mixing 1.2 --mixing-spread 1.2 --within \"24 h\"\n  \
    siltcode passes --from demo-samples/bunker-tank.csv --bottle HB-03 --to 18/16/13 \\\n      \
    --tank \"18 m3\" --flow \"60 L/min\" --beta 4:1.5,6:2,14:20 --beta 4:10,6:200,14:>1000"
)]
pub(crate) struct Args {
    /// The start: a code, whose upper bounds are used, counts per mL at sizes, or a file of bottles.
    #[arg(long, value_name = "CODE|COUNTS|FILE")]
    from: String,

    /// The bottle of the file, where it holds more than one.
    #[arg(long, value_name = "NAME")]
    bottle: Option<String>,

    /// The volume that was counted for the counts of the start, with its unit: makes their doubt known.
    #[arg(long, value_name = "VOLUME")]
    counted: Option<String>,

    /// The target: a code, a published name, a TOML file, or counts per mL at sizes.
    #[arg(long, value_name = "SPEC|COUNTS")]
    to: String,

    /// A safety margin: the limits of the target are divided by it.
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    margin: f64,

    /// The fluid in the tank, with its unit.
    #[arg(long, value_name = "VOLUME")]
    tank: String,

    /// The flow through the filter, with its unit.
    #[arg(long, value_name = "FLOW")]
    flow: String,

    /// The flow it falls to in a straight line as the filter loads up, with its unit.
    #[arg(long, value_name = "FLOW", requires = "falls_over")]
    falls_to: Option<String>,

    /// The time in which the flow falls, with its unit.
    #[arg(long, value_name = "TIME", requires = "falls_to")]
    falls_over: Option<String>,

    /// Filtration ratios at rated sizes in um(c), 1 or more; a bound or an interval will do: 4:2..5,14:>1000. One figure,
    /// 5:200, gives a range. Given again for each further element, in the order of the flow.
    #[arg(long, value_name = "RATIOS", required = true)]
    beta: Vec<String>,

    /// By what to divide beta - 1 for unsteady flow and vibration; no published figure says.
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    derate: f64,

    /// Particles per mL of tank that come in, at and above sizes, in a time: "4:30,6:5,14:0.2 per h".
    #[arg(long, value_name = "RATES")]
    ingress: Option<String>,

    /// Particles per mL of the return that the filter sheds, at and above sizes.
    #[arg(long, value_name = "COUNTS")]
    shedding: Option<String>,

    /// The share of the flow that avoids the medium.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0)]
    bypass: f64,

    /// The share of the return that goes straight to the suction.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0)]
    short_circuit: f64,

    /// The share of the tank that hardly moves, and its exchange with the rest as a share of the flow: 0.2:0.1.
    #[arg(long, value_name = "SHARE:SHARE", conflicts_with = "cells")]
    dead_zone: Option<String>,

    /// Stirred cells in a row from the return to the suction: 1 is well mixed, many displace.
    #[arg(long, value_name = "NUMBER")]
    cells: Option<std::num::NonZeroU16>,

    /// The factor by which imperfect mixing multiplies the turnovers of a stirred tank. It leaves the floor as it is: a
    /// dead zone or cells raise it.
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    mixing: f64,

    /// The spread of the mixing factor.
    #[arg(long, value_name = "SPREAD", default_value_t = 1.0)]
    mixing_spread: f64,

    /// The spread of beta - 1 between the sizes of the start, not of the ratios as typed.
    #[arg(long, value_name = "SPREAD", default_value_t = 1.0)]
    beta_spread: f64,

    /// The spread of the start, beside what counting alone leaves open.
    #[arg(long, value_name = "SPREAD", default_value_t = 1.0)]
    start_spread: f64,

    /// The spread of the ingress.
    #[arg(long, value_name = "SPREAD", default_value_t = 1.0)]
    ingress_spread: f64,

    /// The time that is booked, with its unit: how likely is it enough?
    #[arg(long, value_name = "TIME")]
    within: Option<String>,

    /// Print the cautions for other kinds of work too.
    #[arg(long)]
    #[serde(skip)]
    cautions: bool,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    #[serde(skip)]
    pub(crate) format: ListFormat,
}

/// Everything a report tells.
struct Answer {
    forecast: Forecast,
    ensemble: Ensemble,
    /// The turnovers if every ratio is the best that its rating allows.
    best: Option<Turnovers>,
    falling: Option<Falling>,
    train: Train,
    /// What the spread of beta does to the ratio at the size that decides, as two cases of three have it.
    beta_spread: Option<Spread>,
    /// Whether anything is in doubt, so that planning values differ from the best estimate.
    doubtful: bool,
    within: Option<Duration>,
    assumptions: Vec<String>,
    inputs: Vec<InputDigest>,
    specification: Option<SpecUsed>,
    /// What is said of the job, by which cautions apply.
    said: Vec<String>,
    /// Whether a limit of the target was recalled and not read.
    unverified: bool,
}

/// A ratio at and above a size, by the spread of `beta - 1` in each bin.
#[derive(Clone, Copy, Serialize)]
struct Spread {
    factor: f64,
    size_um_c: f64,
    low: Beta,
    high: Beta,
}

/// What becomes of the time while the flow falls.
#[derive(Clone, Copy, Serialize)]
struct Falling {
    to: Flow,
    over: Duration,
    /// None where the target is out of reach at the flow in the end.
    time: Option<Duration>,
}

impl Answer {
    fn said(&self) -> Vec<&str> {
        self.said.iter().map(String::as_str).collect()
    }

    /// The hours of so many turnovers.
    fn hours(&self, turnovers: Turnovers) -> f64 {
        self.forecast.plant.time(turnovers).map_or(f64::INFINITY, Duration::hours)
    }

    /// The turnovers if every ratio is the best that its rating allows, where that is fewer.
    fn best(&self) -> Option<Turnovers> {
        let safe = self.forecast.turnovers().map_or(f64::INFINITY, Turnovers::get);
        self.best.filter(|best| best.get() < safe * (1.0 - 1e-6))
    }

    /// Whether the target can be reached; none where the ratings leave that open.
    fn reachable(&self) -> Option<bool> {
        match (self.forecast.turnovers(), self.best) {
            (Some(_), _) => Some(true),
            (None, Some(_)) => None,
            (None, None) => Some(false),
        }
    }
}

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let answer = args.answer()?;
    let mut out = printed::stdout();
    match args.format {
        ListFormat::Table => report::table(&mut out, &answer, args.cautions)?,
        ListFormat::Json => crate::json::pretty(&mut out, &json::Document::new(args, &answer)?)?,
    }
    out.release()?;
    Ok(if answer.forecast.turnovers().is_some() { Exit::Done } else { Exit::NotAllConform })
}
