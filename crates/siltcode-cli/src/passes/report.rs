//! What `siltcode passes` says to people: the answer first.

use std::io::{self, Write};

use siltcode::certainty::Level;
use siltcode::filter::Beta;
use siltcode::tank::{ChannelForecast, MixingFactor, Plant, Turnovers, turnovers_like_one_pass};
use siltcode::units::{Duration, significant};

use super::{Answer, Falling, Spread, chart};
use crate::said::{self, flow, volume};
use crate::text::{BAD, GOOD, HEAD, OPEN, count, wrap};

/// The rule of thumb, in turnovers.
const RULE_OF_THUMB: f64 = 7.0;

pub(super) fn table(out: &mut impl Write, answer: &Answer, cautions: bool) -> io::Result<()> {
    let deciding = answer.forecast.deciding();
    match deciding.turnovers {
        Some(turnovers) if turnovers == Turnovers::NONE => {
            writeln!(out, "{GOOD}Already there{GOOD:#}: the start meets the target at every size.")?;
        }
        Some(turnovers) => reached(out, answer, deciding, turnovers)?,
        None => match answer.best() {
            Some(best) => left_open(out, answer, deciding, best)?,
            None => not_reached(out, answer, deciding)?,
        },
    }
    said::unverified(out, answer.unverified)?;
    writeln!(out)?;
    channels(out, answer)?;
    if deciding.turnovers != Some(Turnovers::NONE) {
        writeln!(out)?;
        chart::path(out, answer, deciding)?;
        writeln!(out)?;
        writeln!(out, "{}", wrap(&rule_of_thumb(answer, deciding), 0))?;
    }
    said::granted(out, &answer.assumptions)?;
    said::cautions(out, &answer.said(), cautions)
}

fn reached(
    out: &mut impl Write,
    answer: &Answer,
    deciding: &ChannelForecast,
    turnovers: Turnovers,
) -> io::Result<()> {
    let (flow, size) = (flow(answer.forecast.plant.flow), deciding.size);
    let range = range(answer, turnovers);
    writeln!(out, "{HEAD}{range}{HEAD:#} at {flow}; {size} decides.")?;
    writeln!(out, "  {}", tank(&answer.forecast.plant))?;
    without_mixing_factor(out, answer)?;
    if answer.doubtful {
        for (percent, level) in [(50, 0.5), (90, 0.9)] {
            writeln!(out, "  enough in {percent} % of cases: {}", enough(answer, level))?;
        }
    } else {
        let text = "in 50 % and in 90 % of cases the same, because nothing was said to be in doubt; \
                    --counted, --beta-spread, --mixing-spread and --ingress-spread say so";
        writeln!(out, "{}", wrap(text, 2))?;
    }
    besides(out, answer)?;
    answer.ensemble.causes().map_or(Ok(()), |causes| writeln!(out, "  {causes}"))
}

/// The turnovers and hours, from the best that the ratings allow where that is fewer.
fn range(answer: &Answer, turnovers: Turnovers) -> String {
    let hours = |turnovers| significant(answer.hours(turnovers), 3);
    match answer.best() {
        Some(best) if best.to_string() != turnovers.to_string() => {
            format!("{best} to {turnovers} turnovers, {} to {} h", hours(best), hours(turnovers))
        }
        _ => format!("{turnovers} turnovers, {} h", hours(turnovers)),
    }
}

/// The figure of a stirred tank beside one that allows for mixing.
fn without_mixing_factor(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    let factor = answer.forecast.plant.mixing_factor;
    let Some(nominal) = answer.forecast.nominal().filter(|_| factor > MixingFactor::NONE) else {
        return Ok(());
    };
    let hours = significant(answer.hours(nominal), 3);
    let said = format!(
        "nominal, without the mixing factor of {}: {nominal} turnovers, {hours} h",
        significant(factor.get(), 3)
    );
    writeln!(out, "{}", wrap(&said, 2))
}

/// What the spread of beta acts on.
fn spread_of_beta(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    let Some(Spread { factor, size_um_c, low, high }) = answer.beta_spread else { return Ok(()) };
    let said = format!(
        "the beta spread of {} acts on beta - 1 of each bin of sizes, not on the ratios as typed: at \
         {size_um_c} um(c) beta is {low} to {high} in two cases of three",
        significant(factor, 3)
    );
    writeln!(out, "{}", wrap(&said, 2))
}

/// What is enough with a probability, in turnovers and hours.
fn enough(answer: &Answer, level: f64) -> String {
    let enough = Level::new(level).ok().and_then(|level| answer.ensemble.quantile(level));
    enough.map_or_else(
        || "no number of turnovers: too often the target is out of reach".into(),
        |enough| format!("{enough} turnovers, {} h", significant(answer.hours(enough), 3)),
    )
}

/// What was asked besides, and what the ratings leave open.
fn besides(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    if answer.best().is_some() && answer.forecast.turnovers().is_some() {
        let said = "the fewest if every ratio is the best its rating allows, the most if it is the least; what follows \
                    is for the least";
        writeln!(out, "{}", wrap(said, 2))?;
    }
    spread_of_beta(out, answer)?;
    if let Some(Falling { to, over, time }) = answer.falling {
        let needed = time.map_or_else(
            || "the target gets out of reach".into(),
            |time| format!("{} h", significant(time.hours(), 3)),
        );
        let said = format!("while the flow falls to {} over {over}: {needed}", flow(to));
        writeln!(out, "{}", wrap(&said, 2))?;
    }
    answer.within.map_or(Ok(()), |time| within(out, answer, time))
}

/// A probability in per cent, never rounded to certainty.
fn cases(probability: f64) -> String {
    match 100.0 * probability {
        percent if percent >= 99.95 && probability < 1.0 => "over 99.9 %".to_owned(),
        percent => format!("{} %", significant(percent, 3)),
    }
}

/// What the booked time comes to, and what would do in that time.
fn within(out: &mut impl Write, answer: &Answer, time: Duration) -> io::Result<()> {
    let Ok(turnovers) = answer.forecast.plant.turnovers(time) else { return Ok(()) };
    let clean = answer.ensemble.clean_after(turnovers).get();
    let verdict = match (answer.doubtful, clean > 0.0) {
        (true, _) => format!("enough in {} of cases", cases(clean)),
        (false, true) => "enough".to_owned(),
        (false, false) => "not enough".to_owned(),
    };
    let code = chart::code(answer, turnovers);
    let said = format!("{time} ({turnovers} turnovers) is {verdict}, and leaves {code}");
    writeln!(out, "{}", wrap(&said, 2))?;
    let enough = answer.forecast.flow_for(time).ok().flatten().filter(|flow| flow.l_per_min() > 0.0);
    enough.map_or(Ok(()), |enough| {
        let said = format!("in that time, on the best estimate, a flow of {} would do", flow(enough));
        writeln!(out, "{}", wrap(&said, 2))
    })
}

/// The target is within reach only if the filter does more than its rating promises.
fn left_open(
    out: &mut impl Write,
    answer: &Answer,
    deciding: &ChannelForecast,
    best: Turnovers,
) -> io::Result<()> {
    let (flow, hours) = (flow(answer.forecast.plant.flow), significant(answer.hours(best), 3));
    writeln!(out, "{OPEN}At least {best} turnovers, {hours} h{OPEN:#} at {flow}; the most is not known.")?;
    writeln!(out, "  {}", tank(&answer.forecast.plant))?;
    let said = format!(
        "the fewest if every ratio is the best its rating allows; with the least the target is not reachable: {}",
        said::beyond(deciding.size, deciding.floor, deciding.target)
    );
    writeln!(out, "{}", wrap(&said, 2))?;
    besides(out, answer)
}

fn not_reached(out: &mut impl Write, answer: &Answer, deciding: &ChannelForecast) -> io::Result<()> {
    let beyond = said::beyond(deciding.size, deciding.floor, deciding.target);
    writeln!(out, "{BAD}Not reachable:{BAD:#} {beyond}")?;
    if let Some(remedy) = deciding.remedy {
        said::remedies(out, "For this size", &remedy)?;
    }
    besides(out, answer)
}

fn channels(out: &mut impl Write, answer: &Answer) -> io::Result<()> {
    let row = |out: &mut dyn Write, [size, start, target, floor, needed, further]: [&str; 6]| {
        writeln!(out, "  {size:<10}{start:>12}{target:>12}{floor:>12}{needed:>12}{further:>16}")
    };
    row(out, ["size", "start /mL", "target /mL", "floor /mL", "turnovers", "one number more"])?;
    answer.forecast.channels.iter().try_for_each(|channel| {
        let [start, target, floor] =
            [channel.start, channel.target, channel.floor].map(|per_ml| count(per_ml.get()));
        let needed = channel.turnovers.map_or_else(|| "never".to_owned(), |needed| needed.to_string());
        let further = channel.turnovers_per_further_number().filter(|&further| further > Turnovers::NONE);
        let further = further.map_or_else(|| "-".to_owned(), |further| format!("+{further}"));
        row(out, [&channel.size.to_string(), &start, &target, &floor, &needed, &further])
    })
}

/// When the rule is right, what it would do here, and why that differs.
fn rule_of_thumb(answer: &Answer, deciding: &ChannelForecast) -> String {
    let right = "Rule of thumb: \"seven turnovers\" is right where beta is near 1090: there they clean a stirred tank as \
                 much as one true passage through the filter.";
    let here = Turnovers::new(RULE_OF_THUMB).map(|seven| {
        let (hours, code) = (significant(answer.hours(seven), 3), chart::code(answer, seven));
        let enough = cases(answer.ensemble.clean_after(seven).get());
        let compared = match deciding.turnovers.map(Turnovers::get) {
            None => "which does not meet the target either".to_owned(),
            Some(_) if answer.doubtful => format!("enough in {enough} of cases"),
            Some(needed) if needed <= RULE_OF_THUMB => "more than this target needs".to_owned(),
            Some(_) => "too few for this target".to_owned(),
        };
        format!("Here seven take {hours} h and leave {code}, {compared}.")
    });
    let beta = answer.train.lumped(deciding.size).ok().and_then(|bounds| Beta::of(bounds.low).ok());
    let why = beta.map(|beta| {
        format!(
            "With beta {beta} at {}, {} turnovers equal one passage, which leaves one particle in {beta}.",
            deciding.size,
            turnovers_like_one_pass(beta)
        )
    });
    let capped = answer
        .forecast
        .plant
        .bypass
        .ceiling()
        .map(|most| format!("What avoids the medium caps any filter at beta {most}."));
    [Some(right.to_owned()), why, capped, here.ok()].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// The tank, and how long it takes to turn it over.
fn tank(plant: &Plant) -> String {
    let hours = Turnovers::new(1.0).and_then(|one| plant.time(one)).map_or(f64::INFINITY, Duration::hours);
    format!("{} are turned over once in {} h", volume(plant.volume), significant(hours, 3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_of_thumb_is_right_where_it_is_said_to_be() {
        let seven = turnovers_like_one_pass(Beta::new(1090.0).unwrap()).get();
        assert!((seven - RULE_OF_THUMB).abs() < 0.001, "{seven}");
    }
}
