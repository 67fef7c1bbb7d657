//! The lines under a bottle in the table: how sure its counts are, what looks wrong, and what keeps it from conforming.

use siltcode::certainty::{Flag, Odds, Settle};
use siltcode::spec::{Finding, Found};
use siltcode::{Outcome, Scored, ScoredChannel, Verdict};

use super::csv::code_channels;
use crate::text::count;

/// Every line, in the order they are read.
pub(super) fn lines(scored: &Scored) -> Vec<String> {
    let mut lines: Vec<String> = certainty_line(scored).into_iter().collect();
    lines.extend(scored.flags.iter().map(flag_line));
    if let Some(verdict) = &scored.verdict {
        lines.extend(requirement_lines(verdict));
        lines.extend(undecided_line(verdict));
    }
    lines
}

/// The intervals of the code's sizes, and the odds of their numbers where they are open.
fn certainty_line(scored: &Scored) -> Option<String> {
    let channels: Vec<&ScoredChannel> = code_channels(scored).into_iter().flatten().collect();
    let interval = |channel: &&ScoredChannel| {
        let interval = channel.interval_per_ml.as_ref();
        interval
            .map_or("unknown".to_owned(), |i| format!("{} to {}", count(i.low.get()), count(i.high.get())))
    };
    if channels.iter().all(|channel| channel.interval_per_ml.is_none()) {
        let is_number = |channel: &&ScoredChannel| channel.number.is_some();
        return channels
            .iter()
            .any(is_number)
            .then(|| "certainty not known: no raw count and volume".to_owned());
    }
    let intervals: Vec<_> = channels.iter().map(interval).collect();
    let odds = channels.iter().filter_map(|channel| odds_in_words(channel, &scored.flags));
    let level = percent(scored.level.get());
    let parts: Vec<_> =
        [format!("{level} between {}", intervals.join(", "))].into_iter().chain(odds).collect();
    Some(parts.join("; "))
}

/// The odds of a number that is not sure, unless a flag gives them anyway.
fn odds_in_words(channel: &ScoredChannel, flags: &[Flag]) -> Option<String> {
    const SURE: f64 = 0.99;
    let odds = channel.odds.as_ref()?;
    let is_said = flags.iter().any(|flag| flag.code == "near-class-edge" && flag.size == Some(channel.size));
    let is_sure = odds.likeliest().is_none_or(|(_, p)| p.get() >= SURE);
    (!is_said && !is_sure).then(|| format!("{} is {}", channel.size, likely(odds)))
}

/// `12 at 80 %, 13 at 20 %`: what is likelier than one in a hundred.
fn likely(odds: &Odds) -> String {
    let likely = odds.iter().filter(|(_, p)| p.get() >= 0.01);
    likely.map(|(number, p)| format!("{number} at {}", percent(p.get()))).collect::<Vec<_>>().join(", ")
}

/// A fraction in per cent, short of certainty unless it is certain.
fn percent(fraction: f64) -> String {
    let percent = 100.0 * fraction;
    if (percent - percent.round()).abs() < 1e-9 || (1.0..=99.0).contains(&percent) {
        format!("{percent:.0} %")
    } else {
        format!("{percent:.1} %")
    }
}

fn flag_line(flag: &Flag) -> String {
    let size = flag.size.map(|size| format!("{size}: ")).unwrap_or_default();
    format!("[{}] {size}{}; {}", flag.code, flag.evidence, flag.advice)
}

/// Why the counts leave it open, and what would settle it.
fn undecided_line(verdict: &Verdict) -> Option<String> {
    let deciding = verdict.deciding.as_ref().filter(|_| verdict.outcome == Outcome::Undecided)?;
    let settle = verdict.settle?;
    let p = verdict.p.map(|p| format!("all limits met with {}; ", percent(p.get()))).unwrap_or_default();
    Some(match settle {
        Settle::TooClose => format!("{deciding} decides: {p}{settle}"),
        _ => format!("{deciding} decides: {p}to settle it, {settle}"),
    })
}

/// What a reader must know of each requirement that is not simply met.
fn requirement_lines(verdict: &Verdict) -> Vec<String> {
    let settled = verdict.check.outcome == Outcome::Conforms;
    let open = |item: &&Found| match item.finding {
        Finding::Met | Finding::Reported => false,
        _ => item.alternative.is_none() || !settled,
    };
    verdict.check.items.iter().filter(open).map(requirement_line).collect()
}

fn requirement_line(item: &Found) -> String {
    if let (Finding::NotMet, Some(over), Some(ratio)) = (item.finding, item.numbers_over, item.ratio) {
        let by = match over {
            0 => String::new(),
            1 => " by 1 number".into(),
            _ => format!(" by {over} numbers"),
        };
        let decimals = if ratio < 1.1 { 3 } else { 1 };
        return format!("{}: over {}{by}, to come down {ratio:.decimals$} times", item.subject, item.limit);
    }
    let found = item.found.as_ref().map(|found| format!(" {found},")).unwrap_or_default();
    let note = item.note.as_ref().filter(|_| item.finding != Finding::NotMet);
    let note = note.map(|note| format!(" ({note})")).unwrap_or_default();
    format!("{}:{found} limit {}: {}{note}", item.subject, item.limit, item.finding)
}
