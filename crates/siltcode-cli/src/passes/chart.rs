//! The path of the deciding channel: a line for each range number it goes through, so a line is a halving.

use std::io::{self, Write};

use siltcode::tank::{ChannelForecast, Turnovers};
use siltcode::units::significant;
use siltcode::{PerMl, RangeNumber};

use super::Answer;
use crate::text::WIDTH;

/// Steps of the path along the time axis.
pub(super) const STEPS: u16 = 60;

/// Columns left of the path.
const LABELS: usize = WIDTH - STEPS as usize - 1;

/// Turnovers shown where the target is never reached.
const UNREACHED: f64 = 7.0;

/// Where the path ends: a little behind the target.
pub(super) fn end(answer: &Answer) -> f64 {
    match answer.forecast.turnovers() {
        Some(turnovers) if turnovers.get() > 0.0 => turnovers.get() * 1.1,
        _ => UNREACHED,
    }
}

pub(super) fn path(out: &mut impl Write, answer: &Answer, channel: &ChannelForecast) -> io::Result<()> {
    let end = end(answer);
    let numbers: Vec<RangeNumber> = (0..=STEPS).map(|step| number(channel, at(end, step))).collect();
    let target = RangeNumber::of(channel.target);
    let (top, bottom) =
        numbers.iter().fold((target, target), |(top, bottom), &n| (top.max(n), bottom.min(n)));
    writeln!(out, "  The path at {}, a line for each range number:", channel.size)?;
    let lines = RangeNumber::all().chain([RangeNumber::ABOVE]).filter(|n| (bottom..=top).contains(n));
    for line in lines.collect::<Vec<_>>().into_iter().rev() {
        let drawn: String = numbers.iter().map(|&n| if n == line { '#' } else { ' ' }).collect();
        let label = if line == target {
            format!("target {}", shown(channel.target))
        } else {
            line.upper().map_or_else(|| "over".into(), |upper| format!("<= {}", shown(upper)))
        };
        writeln!(out, "{}", format!("  {line:>3} {label:>12} {drawn}").trim_end())?;
    }
    axes(out, answer, end)
}

/// Turnovers, hours and codes below the path.
fn axes(out: &mut impl Write, answer: &Answer, end: f64) -> io::Result<()> {
    let step = nice(end / 6.5);
    let ticks = (0..).map(|i| f64::from(i) * step).take_while(|&tau| tau <= end);
    let ticks: Vec<Turnovers> = ticks.filter_map(|tau| Turnovers::new(tau).ok()).collect();
    let column = |tick: Turnovers| (tick.get() / end * f64::from(STEPS)).round();
    let mut axis = |name: &str, label: &dyn Fn(Turnovers) -> String| {
        let mut line = format!("  {name:<width$}", width = LABELS - 2);
        for &tick in &ticks {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to STEPS
            let (from, label) = (LABELS + column(tick) as usize, label(tick));
            // a label that would touch the one before it, or the edge, is left out
            if from + label.len() <= WIDTH && (from > line.len() || line.len() == LABELS) {
                line = format!("{line:<from$}{label}");
            }
        }
        writeln!(out, "{}", line.trim_end())
    };
    axis("turnovers", &|tick| significant(tick.get(), 3))?;
    axis("hours", &|tick| significant(answer.hours(tick), 3))?;
    axis("code", &|tick| code(answer, tick))
}

/// The range numbers at the sizes of the target.
pub(super) fn code(answer: &Answer, after: Turnovers) -> String {
    let numbers = answer.forecast.channels.iter().map(|channel| number(channel, after).to_string());
    numbers.collect::<Vec<_>>().join("/")
}

/// A count as short as its label wants it.
fn shown(per_ml: PerMl) -> String {
    significant(per_ml.get(), 3)
}

fn number(channel: &ChannelForecast, after: Turnovers) -> RangeNumber {
    PerMl::new(channel.channel.after(after)).map_or(RangeNumber::ABOVE, RangeNumber::of)
}

fn at(end: f64, step: u16) -> Turnovers {
    Turnovers::new(end * f64::from(step) / f64::from(STEPS)).unwrap_or(Turnovers::NONE)
}

/// The next of 1, 2, 5, 10 and so on.
fn nice(least: f64) -> f64 {
    let ten = 10.0_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|m| m * ten).find(|&step| step >= least).unwrap_or(10.0 * ten)
}
