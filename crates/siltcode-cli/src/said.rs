//! What several reports say alike: quantities in both systems, what would help, what was taken for granted, cautions.

use std::io::{self, Write};

use siltcode::caution::{self, JobCaution};
use siltcode::status::UNVERIFIED_LIMITS;
use siltcode::tank::Remedy;
use siltcode::units::{Flow, Volume, significant};
use siltcode::{PerMl, Size};

use crate::text::{HEAD, OPEN, count, wrap};

pub(crate) fn flow(flow: Flow) -> String {
    format!("{} L/min ({} gpm)", significant(flow.l_per_min(), 4), significant(flow.us_gpm(), 4))
}

pub(crate) fn volume(volume: Volume) -> String {
    format!("{} m3 ({} gal)", significant(volume.m3(), 4), significant(volume.us_gallons(), 4))
}

/// A line of its own where the limits of a target were not read.
pub(crate) fn unverified(out: &mut impl Write, unverified: bool) -> io::Result<()> {
    if unverified { writeln!(out, "  {OPEN}target: {UNVERIFIED_LIMITS}{OPEN:#}") } else { Ok(()) }
}

/// How a floor stands in the way of a target, on two lines.
pub(crate) fn beyond(size: Size, floor: PerMl, target: PerMl) -> String {
    let [low, most] = [floor, target].map(|per_ml| count(per_ml.get()));
    if floor > target {
        format!("at {size} the tank goes no lower than {low} /mL,\n  and the target is {most} /mL.")
    } else {
        format!("at {size} the tank comes ever closer to the target,\n  {most} /mL, and never gets there.")
    }
}

/// What would bring a target into reach, for something or somewhere.
pub(crate) fn remedies(out: &mut impl Write, there: &str, remedy: &Remedy) -> io::Result<()> {
    writeln!(out, "  {there} each of these alone would do, and a little more of it:")?;
    match remedy.flow {
        Some(more) => writeln!(out, "  - a flow above {}", flow(more))?,
        None => writeln!(out, "  - no flow: the filter itself sheds too much")?,
    }
    match remedy.beta {
        Some(beta) => writeln!(out, "  - a filtration ratio above {beta} for every size of particle")?,
        None => writeln!(out, "  - no filter: even one that lets nothing through is not enough")?,
    }
    match remedy.ingress_share {
        Some(share) => {
            writeln!(out, "  - an ingress below {} % of the stated", significant(100.0 * share, 3))
        }
        None => writeln!(out, "  - no end of the ingress: the filter itself sheds too much"),
    }
}

pub(crate) fn granted(out: &mut impl Write, assumptions: &[String]) -> io::Result<()> {
    writeln!(out, "\n{HEAD}Taken for granted{HEAD:#}")?;
    assumptions.iter().try_for_each(|said| writeln!(out, "{}", wrap(&format!("- {said}"), 0)))
}

/// The cautions that apply to a job, and the rest where they are asked for.
pub(crate) fn cautions(out: &mut impl Write, said: &[&str], all: bool) -> io::Result<()> {
    writeln!(out, "\n{OPEN}Cautions{OPEN:#}")?;
    writeln!(out, "{}", wrap(caution::DEFERENCE, 0))?;
    let (first, rest): (Vec<_>, Vec<_>) = caution::of_job(said).into_iter().partition(|each| each.applies);
    let mut list = |cautions: &[JobCaution]| {
        cautions.iter().try_for_each(|each| writeln!(out, "{}", wrap(&format!("- {}", each.caution), 0)))
    };
    list(&first)?;
    if all {
        return list(&rest);
    }
    let topics: Vec<&str> = rest.iter().map(|each| each.caution.topic.as_str()).collect();
    let more = format!("--cautions prints those for other kinds of work too: {}", topics.join(", "));
    if topics.is_empty() { Ok(()) } else { writeln!(out, "{}", wrap(&more, 0)) }
}
