//! What `siltcode plan` says to people: the answer first, then what to do, what to bring, and what to expect.

use std::io::{self, Write};

use siltcode::class::iso4406::RangeNumber;
use siltcode::plan::{Aim, Answer, OutOfReach, Plan, PlannedElement, PlannedStage, SearchEnd};
use siltcode::units::{Duration, significant};
use siltcode::{PerMl, Size};

use super::Planned;
use crate::said::{self, volume};
use crate::text::{BAD, GOOD, HEAD, count, fit, wrap};

/// Columns of counts beside each other.
const ABREAST: usize = 7;

/// A time so short that it is not worth a word \[h\].
const NO_TIME_H: f64 = 0.05;

/// Sizes of a code \[um(c)\].
const OF_A_CODE: [f64; 3] = [4.0, 6.0, 14.0];

/// A code of which nothing is known.
const NO_CODE: &str = "*/*/*";

pub(super) fn table(out: &mut impl Write, planned: &Planned, cautions: bool) -> io::Result<()> {
    match &planned.answer {
        Answer::OutOfReach(way) => not_reached(out, way)?,
        Answer::Plan(plan) if plan.stages.is_empty() => {
            writeln!(out, "{GOOD}Already there{GOOD:#}: the start meets the target at every size.\n")?;
            left(out, plan)?;
        }
        Answer::Plan(plan) => {
            head(out, planned, plan)?;
            stages(out, planned, plan)?;
            bring(out, plan)?;
            left(out, plan)?;
            cost(out, planned, plan)?;
        }
    }
    said::unverified(out, planned.job.target.is_unverified())?;
    said::granted(out, &[planned.answer.assumptions(), &planned.guessed].concat())?;
    said::cautions(out, &planned.said(), cautions)
}

fn not_reached(out: &mut impl Write, way: &OutOfReach) -> io::Result<()> {
    let stage = fit(&way.stage, 30);
    writeln!(out, "{BAD}Not reachable{BAD:#} by these stages; `{stage}` comes nearest:")?;
    writeln!(out, "  {}", said::beyond(way.size, way.floor, way.target))?;
    way.remedy.map_or(Ok(()), |remedy| said::remedies(out, "With this stage", &remedy))
}

fn head(out: &mut impl Write, planned: &Planned, plan: &Plan) -> io::Result<()> {
    let cost = plan.cost.map(|cost| format!(", {}", planned.money(cost.get()))).unwrap_or_default();
    let best = planned.aim.word();
    let proven = if plan.schedule.is_optimal() {
        format!("proven the {best}")
    } else {
        format!("within {} % of the {best}", percent(plan.schedule.gap()))
    };
    writeln!(out, "{HEAD}{} h{cost}{HEAD:#}: {proven}.", hours(plan.time.hours()))?;
    let fluid = planned.job.fluid.as_ref().map(|fluid| format!(" of {}", fluid.name)).unwrap_or_default();
    let tank = format!("{}: {}{fluid}", planned.job.title, volume(planned.job.tank));
    writeln!(out, "{}", wrap(&tank, 2))?;
    writeln!(out, "{}\n", wrap(&book(plan), 2))
}

/// How long to book.
fn book(plan: &Plan) -> String {
    let Some(booking) = plan.booking else {
        return "nothing was said to be in doubt, so these times hold no doubt; a table `spread` in the job says it"
            .into();
    };
    let [half, most] = [booking.p50, booking.p90].map(|booked| {
        booked.map_or_else(|| "no time".into(), |booked| format!("{} h", hours(booked.time.hours())))
    });
    let conservative = booking.conservative_by.map_or_else(String::new, conservative);
    format!("book this much: {half} is enough in 50 % of cases, {most} in 90 %{conservative}")
}

/// By how much the 90 % duration is longer than it need be.
fn conservative(by: Duration) -> String {
    if by.hours() < NO_TIME_H {
        return String::new();
    }
    format!(
        "; the latter is conservative: {} h less would do if all ratios err alike, followed stage by stage",
        hours(by.hours())
    )
}

fn stages(out: &mut impl Write, planned: &Planned, plan: &Plan) -> io::Result<()> {
    writeln!(out, "{HEAD}What goes in when{HEAD:#} [h:min]")?;
    let row = |out: &mut dyn Write, name: &str, [flow, gpm, set_up, change, run, book, done]: [&str; 7]| {
        let line = format!("  {name:<21}{flow:>6}{gpm:>6}{set_up:>8}{change:>8}{run:>8}{book:>10}{done:>11}");
        writeln!(out, "{}", line.trim_end())
    };
    let stretch = plan.booking.and_then(|booking| booking.p90).map(|booked| booked.stretch);
    let book = if stretch.is_some() { "90 % run" } else { "" };
    row(out, "# stage", ["L/min", "gpm", "set up", "change", "run", book, "done after"])?;
    let mut done = 0.0;
    for (i, stage) in plan.stages.iter().enumerate() {
        let [set_up, change, run] = [stage.setup_time, stage.change_time, stage.time].map(Duration::hours);
        done += set_up + change + run;
        let [flow, gpm] = [stage.flow.l_per_min(), stage.flow.us_gpm()].map(|flow| significant(flow, 3));
        let book = stretch.map(|stretch| clock(stretch * run)).unwrap_or_default();
        let [set_up, change, run, done] = [set_up, change, run, done].map(clock);
        row(out, &numbered(i, stage), [&flow, &gpm, &set_up, &change, &run, &book, &done])?;
    }
    let legs = planned.job.stages.iter().zip(&plan.schedule.legs);
    let unused: Vec<&str> =
        legs.filter(|(_, leg)| leg.time.hours() <= 0.0).map(|(stage, _)| stage.name.as_str()).collect();
    if !unused.is_empty() {
        writeln!(out, "{}", wrap(&format!("leave out: {}", unused.join(", ")), 2))?;
    }
    writeln!(out)
}

fn numbered(i: usize, stage: &PlannedStage) -> String {
    format!("{} {}", i + 1, fit(&stage.name, 18))
}

fn bring(out: &mut impl Write, plan: &Plan) -> io::Result<()> {
    writeln!(out, "{HEAD}What to have on the truck{HEAD:#}, in the order of the flow")?;
    let row = |out: &mut dyn Write, [name, what, bring, spare, each, caught, full, price]: [&str; 8]| {
        writeln!(out, "  {name:<21}{what:<16}{bring:>5}{spare:>6}{each:>7}{caught:>8}{full:>6}{price:>9}")
    };
    row(out, ["# stage", "element", "bring", "spare", "each g", "catch g", "full", "price"])?;
    let unknown = || "-".to_owned();
    for (i, stage) in plan.stages.iter().enumerate() {
        for (place, element) in stage.elements.iter().enumerate() {
            let name = if place == 0 { numbered(i, stage) } else { String::new() };
            let [bring, spare] = [element.number, element.spare].map(|number| number.to_string());
            let each = element.capacity.map_or_else(unknown, |capacity| significant(capacity.grams(), 3));
            let caught = element.capacity.map_or_else(unknown, |_| significant(element.caught.grams(), 3));
            let full = element.filled().map_or_else(unknown, |full| format!("{:.0}%", 100.0 * full));
            let price = element.cost().map_or_else(unknown, amount);
            row(out, [&name, element.kind.word(), &bring, &spare, &each, &caught, &full, &price])?;
        }
    }
    if plan.stages.iter().flat_map(|stage| &stage.elements).any(|element| element.spare > 0.0) {
        let when = match plan.booking {
            Some(_) => "may be full where all runs as long as in 90 % of cases",
            None => "will be nearly full",
        };
        let said = format!("spares are for elements that {when}; they are not in the cost");
        writeln!(out, "{}", wrap(&said, 2))?;
    }
    writeln!(out)
}

/// What is left at every size: a row for each, a column for the start, each stage and the target.
fn left(out: &mut impl Write, plan: &Plan) -> io::Result<()> {
    let some = |counts: &[PerMl]| counts.iter().copied().map(Some).collect::<Vec<_>>();
    let mut columns = vec![("at start".to_owned(), some(&plan.start))];
    let behind = |(i, stage): (usize, &PlannedStage)| (format!("after {}", i + 1), some(&stage.left));
    columns.extend(plan.stages.iter().enumerate().map(behind));
    columns.push(("target".into(), plan.target.clone()));
    writeln!(out, "{HEAD}What is left at and above each size{HEAD:#} [1/mL]")?;
    for columns in columns.chunks(ABREAST) {
        let line = |out: &mut dyn Write, name: &str, cells: Vec<String>| {
            write!(out, "  {name:<8}")?;
            cells.iter().try_for_each(|cell| write!(out, "{cell:>10}"))?;
            writeln!(out)
        };
        line(out, "size", columns.iter().map(|(name, _)| name.clone()).collect())?;
        for (i, size) in plan.sizes.iter().enumerate() {
            let cell = |counts: &[Option<PerMl>]| counts[i].map_or_else(|| "-".into(), |n| count(n.get()));
            line(out, &size.to_string(), columns.iter().map(|(_, counts)| cell(counts)).collect())?;
        }
        let codes: Vec<String> = columns.iter().map(|(_, counts)| code(&plan.sizes, counts)).collect();
        if codes.iter().any(|code| code != NO_CODE) {
            line(out, "code", codes)?;
        }
    }
    Ok(())
}

/// The range numbers at the sizes of a code; `*` where there is no count.
fn code(sizes: &[Size], counts: &[Option<PerMl>]) -> String {
    let at = |um: f64| sizes.iter().position(|size| size.um().to_bits() == um.to_bits());
    let number = |um| at(um).and_then(|i| counts[i]).map(|per_ml| RangeNumber::of(per_ml).to_string());
    OF_A_CODE.map(|um| number(um).unwrap_or_else(|| "*".into())).join("/")
}

/// What it costs, of what, and what no plan costs less than.
fn cost(out: &mut impl Write, planned: &Planned, plan: &Plan) -> io::Result<()> {
    writeln!(out, "\n{HEAD}What it costs{HEAD:#}")?;
    let said = match (plan.cost, planned.job.hour_cost) {
        (Some(cost), Some(hour)) => {
            let setting_up: f64 = plan.stages.iter().map(|stage| stage.setup_cost.get()).sum();
            let elements = plan.stages.iter().flat_map(|stage| &stage.elements);
            let elements: f64 = elements.filter_map(PlannedElement::cost).sum();
            let [worked, elements, setting_up, hour] =
                [hour.get() * plan.time.hours(), elements, setting_up, hour.get()].map(amount);
            let cost = planned.money(cost.get());
            let time = hours(plan.time.hours());
            format!("{time} h at {hour} are {worked}, elements {elements}, setting up {setting_up}: {cost}.")
        }
        _ => "No cost: an hour or an element has no price.".into(),
    };
    writeln!(out, "{}", wrap(&said, 2))?;
    writeln!(out, "{}", wrap(&bound(planned, plan), 2))
}

/// What is proven about the plan.
fn bound(planned: &Planned, plan: &Plan) -> String {
    let least = plan.schedule.lower_bound;
    let (least, less) = match planned.aim {
        Aim::Cheapest => (planned.money(least), "costs less"),
        Aim::Quickest => (format!("{} h", hours(least)), "takes less"),
    };
    if plan.schedule.is_optimal() {
        return format!("It is proven that no plan of these stages {less} by more than a millionth.");
    }
    let within = percent(plan.schedule.gap());
    let stopped = match plan.schedule.search {
        SearchEnd::Complete => "",
        SearchEnd::PartsUsed => " The search was given up where it went on too long.",
        SearchEnd::Stopped => " The search was stopped after the time given.",
    };
    format!(
        "No plan of these stages {less} than {least}: this one is within {within} % of what is proven.{stopped}"
    )
}

fn hours(hours: f64) -> String {
    significant(hours, 3)
}

/// Hours and minutes.
fn clock(hours: f64) -> String {
    let minutes = (60.0 * hours).round();
    format!("{}:{:02}", (minutes / 60.0).floor(), minutes % 60.0)
}

/// An amount of money without its name.
fn amount(amount: f64) -> String {
    significant(amount, 4)
}

/// A part as a percentage.
fn percent(part: f64) -> String {
    significant(100.0 * part, 2)
}
