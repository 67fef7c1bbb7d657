//! What changed since the same point was sampled before.

use super::{Flag, doubt, percent};
use crate::certainty::level::Level;
use crate::certainty::{normal, ratio};
use crate::count::Evidence;
use crate::size::Size;
use crate::spectrum::Spectrum;

/// How two counts of one size compare.
#[derive(Clone, Copy, PartialEq)]
enum Change {
    Falls,
    Stays,
    Rises,
}

/// The sizes counted now and earlier with raw counts, smallest first.
fn changes(now: &Spectrum, earlier: &Spectrum, alarm: Level) -> Vec<(Size, Evidence, Evidence, Change)> {
    let pairs = now.channels().iter().filter_map(|channel| {
        let (after, before) = (channel.evidence?, earlier.channel(channel.size)?.evidence?);
        let interval = ratio::compare(&after, &before, alarm).interval;
        let change = match () {
            () if interval.high < 1.0 => Change::Falls,
            () if interval.low > 1.0 => Change::Rises,
            () => Change::Stays,
        };
        Some((channel.size, after, before, change))
    });
    pairs.collect()
}

pub(super) fn of_change(now: &Spectrum, earlier: &Spectrum, alarm: Level) -> Vec<Flag> {
    let changes = changes(now, earlier, alarm);
    let Some(((size, fine, fine_before, change), larger)) = changes.split_first() else { return Vec::new() };
    let mut flags = Vec::new();
    if *change != Change::Falls
        && larger.len() >= 2
        && larger.iter().all(|(.., change)| *change == Change::Falls)
    {
        let evidence = format!("{size} from {} to {} per mL", round(*fine_before), round(*fine));
        let advice = "look for water, bubbles, additive or wax, or a filter that releases fines; larger sizes are filtered well";
        flags.push(doubt("fine-stays-coarse-falls", Some(*size), evidence, advice));
    }
    let coarse = larger.iter().rev().find(|(_, after, before, _)| after.raw > 0 && before.raw > 0);
    if let Some((large, after, before, _)) = coarse.filter(|_| *change == Change::Falls)
        && share_rises([*fine_before, *before], [*fine, *after], alarm)
    {
        let share = |large: &Evidence, small: &Evidence| percent(large.per_ml().get() / small.per_ml().get());
        let evidence = format!(
            "{size} falls, but the share at and above {large} rises from {} to {}",
            share(before, fine_before),
            share(after, fine)
        );
        let advice = "look for water drops or air: let a bottle rest and warm it, count again, and compare";
        flags.push(doubt("possible-water-or-air", Some(*large), evidence, advice));
    }
    flags
}

fn round(evidence: Evidence) -> String {
    format!("{:.0}", evidence.per_ml().get())
}

/// Whether the share of large particles among all rises beyond chance: the logarithm of the share has the variance
/// `1 / large - 1 / all`, the large ones being part of all.
fn share_rises(before: [Evidence; 2], after: [Evidence; 2], alarm: Level) -> bool {
    let ln_share = |[all, large]: [Evidence; 2]| (large.per_ml().get() / all.per_ml().get()).ln();
    let variance = |[all, large]: [Evidence; 2]| (1.0 / large.raw as f64 - 1.0 / all.raw as f64).max(0.0);
    let sd = (variance(before) + variance(after)).sqrt();
    ln_share(after) - ln_share(before) > normal::upper_quantile(alarm.risk()) * sd
}
