//! The path of the deciding channel, with the steps of its range number.

use std::io::{self, Write};

use siltcode::tank::{ChannelForecast, Turnovers};
use siltcode::units::significant;
use siltcode::{PerMl, RangeNumber};

use super::Answer;
use crate::text::{WIDTH, count};

/// Lines of the chart.
const LINES: u32 = 12;

/// Columns left of the bar.
const LABELS: usize = 40;

pub(super) fn path(
    out: &mut impl Write,
    answer: &Answer,
    channel: &ChannelForecast,
    end: Turnovers,
) -> io::Result<()> {
    writeln!(out, "  {:>9} {:>9} {:>12} {:>4}", "turnovers", "hours", "/mL", "no.")?;
    let (top, bottom) = (channel.start.get().ln_1p(), 0.0);
    for line in 0..=LINES {
        let Ok(turnovers) = Turnovers::new(end.get() * f64::from(line) / f64::from(LINES)) else { continue };
        let per_ml = channel.channel.after(turnovers);
        let hours =
            answer.plant.time(turnovers).map_or_else(|_| "-".into(), |time| significant(time.hours(), 3));
        let number = PerMl::new(per_ml).map_or_else(|_| "-".into(), |n| RangeNumber::of(n).to_string());
        let bar = bar((per_ml.ln_1p() - bottom) / (top - bottom));
        writeln!(out, "  {turnovers:>9} {hours:>9} {:>12} {number:>4} {bar}", count(per_ml))?;
    }
    Ok(())
}

/// A bar for a share of the room that is left on the line.
fn bar(share: f64) -> String {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to the width of the line
    let length = (share.clamp(0.0, 1.0) * (WIDTH - LABELS) as f64).round() as usize;
    "#".repeat(length)
}
