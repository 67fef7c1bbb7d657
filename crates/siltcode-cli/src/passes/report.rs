//! What `siltcode passes` says, for people and as JSON, schema `siltcode.passes/1`.

use std::io::{self, Write};

use serde::Serialize;
use siltcode::certainty::Level;
use siltcode::provenance::Provenance;
use siltcode::tank::{Causes, ChannelForecast, Remedy, Turnovers, turnovers_like_one_pass};
use siltcode::units::significant;
use siltcode::{Size, tables};

use super::{Answer, chart};
use crate::text::{BAD, GOOD, HEAD, OPEN, count, wrap};

/// Planning values: the best estimate, and what is enough with a probability.
#[derive(Serialize)]
struct Planning {
    nominal: Option<f64>,
    p50: Option<f64>,
    p80: Option<f64>,
    p90: Option<f64>,
    p95: Option<f64>,
}

#[derive(Serialize)]
struct Row {
    size_um_c: f64,
    start_per_ml: f64,
    target_per_ml: f64,
    floor_per_ml: f64,
    turnovers: Option<f64>,
    remedy: Option<Remedy>,
}

/// The JSON document.
#[derive(Serialize)]
pub(super) struct Document {
    schema: &'static str,
    reachable: bool,
    turnovers: Planning,
    hours: Planning,
    deciding: Option<Size>,
    channels: Vec<Row>,
    causes: Option<Causes>,
    assumptions: Vec<String>,
    cautions: &'static [&'static str],
    provenance: Provenance,
}

const CAUTIONS: &[&str] = &[
    "a sample of the suction line flatters a tank with a dead zone: sample the tank, and again after a rest",
    "common practice: suction and return at opposite ends of the tank sweep the bottom; a return beside the suction \
     short-circuits",
];

impl Planning {
    fn of(answer: &Answer, scale: impl Fn(Turnovers) -> f64) -> siltcode::Result<Self> {
        let enough =
            |level| Ok::<_, siltcode::Error>(answer.ensemble.quantile(Level::new(level)?).map(&scale));
        Ok(Self {
            nominal: answer.forecast.turnovers().map(&scale),
            p50: enough(0.5)?,
            p80: enough(0.8)?,
            p90: enough(0.9)?,
            p95: enough(0.95)?,
        })
    }
}

fn hours(answer: &Answer) -> impl Fn(Turnovers) -> f64 {
    |turnovers| answer.plant.time(turnovers).map_or(f64::INFINITY, siltcode::units::Duration::hours)
}

impl From<&ChannelForecast> for Row {
    fn from(channel: &ChannelForecast) -> Self {
        Self {
            size_um_c: channel.size.um(),
            start_per_ml: channel.start.get(),
            target_per_ml: channel.target.get(),
            floor_per_ml: channel.floor.get(),
            turnovers: channel.turnovers.map(Turnovers::get),
            remedy: channel.remedy,
        }
    }
}

pub(super) fn document(answer: &Answer) -> siltcode::Result<Document> {
    Ok(Document {
        schema: "siltcode.passes/1",
        reachable: answer.forecast.turnovers().is_some(),
        turnovers: Planning::of(answer, Turnovers::get)?,
        hours: Planning::of(answer, hours(answer))?,
        deciding: answer.forecast.deciding().map(|channel| channel.size),
        channels: answer.forecast.channels.iter().map(Row::from).collect(),
        causes: answer.ensemble.causes(),
        assumptions: answer.assumptions.clone(),
        cautions: CAUTIONS,
        provenance: Provenance::new(
            &[&tables::ISO4406, &tables::ISO_MEDIUM_TEST_DUST, &tables::UNITS],
            Vec::new(),
        ),
    })
}

pub(super) fn table(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    let Some(deciding) = answer.forecast.deciding() else { return Ok(()) };
    match deciding.turnovers {
        Some(turnovers) if turnovers == Turnovers::NONE => {
            writeln!(out, "{GOOD}already there{GOOD:#}: the start meets the target at every size")?;
        }
        Some(turnovers) => reached(out, answer, deciding, turnovers)?,
        None => not_reached(out, deciding)?,
    }
    writeln!(out)?;
    channels(out, answer)?;
    if let Some(end) = deciding.turnovers.filter(|end| end.get() > 0.0) {
        writeln!(out)?;
        chart::path(out, answer, deciding, end)?;
    }
    writeln!(out)?;
    rule_of_thumb(out, answer, deciding)?;
    for assumption in &answer.assumptions {
        writeln!(out, "{}", wrap(&format!("assumed: {assumption}"), 2))?;
    }
    CAUTIONS
        .iter()
        .try_for_each(|caution| writeln!(out, "{OPEN}{}{OPEN:#}", wrap(&format!("caution: {caution}"), 2)))
}

fn reached(
    out: &mut impl Write,
    answer: &Answer,
    deciding: &ChannelForecast,
    nominal: Turnovers,
) -> io::Result<()> {
    let hours = hours(answer);
    let plant = &answer.plant;
    writeln!(
        out,
        "{HEAD}{nominal} turnovers, {} h{HEAD:#} at {} ({}); {} decides",
        significant(hours(nominal), 3),
        plant.flow,
        plant.flow.us(),
        deciding.size
    )?;
    for (percent, level) in [(50, 0.5), (90, 0.9)] {
        let enough = Level::new(level).ok().and_then(|level| answer.ensemble.quantile(level));
        match enough {
            Some(enough) => writeln!(
                out,
                "  enough in {percent} % of cases: {enough} turnovers, {} h",
                significant(hours(enough), 3)
            )?,
            None => writeln!(out, "  enough in {percent} % of cases: no number of turnovers is")?,
        }
    }
    answer.ensemble.causes().map_or(Ok(()), |causes| doubt(out, causes))
}

fn doubt(out: &mut impl Write, causes: Causes) -> io::Result<()> {
    let named = [
        (causes.start, "the start", "count more volume, or another bottle"),
        (causes.beta, "the filter", "count upstream and downstream of it"),
        (causes.ingress, "the ingress", "watch the counts with the filter off"),
        (causes.mixing, "mixing", "take a second sample at another point of the tank"),
    ];
    let largest = named.into_iter().reduce(|worst, next| if next.0 > worst.0 { next } else { worst });
    let Some((share, name, remedy)) = largest else { return Ok(()) };
    writeln!(out, "  {name} is {:.0} % of the doubt: {remedy}", 100.0 * share)
}

fn not_reached(out: &mut impl Write, deciding: &ChannelForecast) -> io::Result<()> {
    writeln!(
        out,
        "{BAD}not reachable{BAD:#}: at {} the tank goes no lower than {} /mL, the target is {}",
        deciding.size,
        count(deciding.floor.get()),
        count(deciding.target.get())
    )?;
    let Some(remedy) = deciding.remedy else { return Ok(()) };
    writeln!(out, "  one of these alone would do, for this size:")?;
    writeln!(out, "    a flow above {} ({})", remedy.flow, remedy.flow.us())?;
    match remedy.beta {
        Some(beta) => writeln!(out, "    a filtration ratio above {beta} in every bin")?,
        None => writeln!(out, "    no filter: even a perfect one is not enough at this flow")?,
    }
    writeln!(out, "    an ingress below {} % of the stated", significant(100.0 * remedy.ingress_share, 3))
}

fn channels(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    writeln!(out, "  {:<14}{:>12}{:>12}{:>12}{:>12}", "size", "start /mL", "target", "floor", "turnovers")?;
    answer.forecast.channels.iter().try_for_each(|channel| {
        let needed = channel.turnovers.map_or_else(|| "none".to_owned(), |turnovers| turnovers.to_string());
        writeln!(
            out,
            "  {:<14}{:>12}{:>12}{:>12}{needed:>12}",
            channel.size,
            count(channel.start.get()),
            count(channel.target.get()),
            count(channel.floor.get()),
        )
    })
}

fn rule_of_thumb(out: &mut impl Write, answer: &Answer, deciding: &ChannelForecast) -> io::Result<()> {
    let Ok(beta) = answer.rating.working(deciding.size) else { return Ok(()) };
    let text = format!(
        "rule of thumb: seven turnovers do the work of one true passage where beta is near 1090; with beta {beta} \
         at {} it takes {}",
        deciding.size,
        turnovers_like_one_pass(beta)
    );
    writeln!(out, "{}", wrap(&text, 2))
}
