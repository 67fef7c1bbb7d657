//! The lines under a bottle in the table: its classes, how sure its counts are, what looks wrong, and what keeps it from
//! conforming.

use siltcode::certainty::{Flag, Settle, Severity};
use siltcode::previous::{Change, Previous, SizeChange};
use siltcode::spec::{Finding, Found};
use siltcode::{LeftOutRun, Outcome, Scored, ScoredChannel, Size, Verdict};

use super::classes;
use super::csv::code_channels;
use crate::text::{count, reading};

/// Every line, in the order they are read.
pub(super) fn lines(scored: &Scored) -> Vec<String> {
    let mut lines: Vec<String> = scored.classes.iter().map(classes::line).collect();
    lines.extend(beside_line(scored));
    lines.extend(certainty_line(scored));
    lines.extend(left_out_line(scored));
    lines.extend(doubt_lines(&scored.flags));
    lines.extend(note_line(&scored.flags));
    lines.extend(scored.point.map(|point| point.to_string()));
    if let Some(verdict) = &scored.verdict {
        lines.extend(requirement_lines(verdict));
        lines.extend(undecided_line(verdict));
        lines.extend(particles_line(verdict));
        lines.extend(verdict.limits_checked.clone());
    }
    lines.extend(scored.comparison.iter().flatten().map(compared_line));
    lines.extend(scored.previous.iter().flat_map(previous_lines));
    lines
}

/// Where, when and by whom it was drawn, and what else was measured.
fn beside_line(scored: &Scored) -> Option<String> {
    let fields = scored.fields.iter().map(|(field, text)| format!("{field} {text}"));
    let measured = scored.companions.iter();
    let measured = measured.map(|companion| format!("{} {}", companion.property, companion.measured));
    let all: Vec<String> = fields.chain(measured).collect();
    (!all.is_empty()).then(|| all.join("; "))
}

/// The intervals of the code's sizes, and the odds of their numbers where they are open.
fn certainty_line(scored: &Scored) -> Option<String> {
    let channels: Vec<&ScoredChannel> = code_channels(scored).into_iter().flatten().collect();
    if channels.iter().all(|channel| channel.interval_per_ml.is_none()) {
        let is_counted = channels.iter().any(|channel| channel.number.is_some());
        return is_counted.then(|| "certainty not known: no raw count and volume".to_owned());
    }
    let interval = |channel: &&ScoredChannel| {
        let interval = channel.interval_per_ml.as_ref();
        interval.map_or("unknown".to_owned(), |i| format!("{}-{}", count(i.low.get()), count(i.high.get())))
    };
    let intervals: Vec<_> = channels.iter().map(interval).collect();
    let intervals = format!("{}: {} per mL", percent(scored.level.get()), intervals.join(", "));
    let counting_only = scored.counting_only.then(|| "counting error only".to_owned());
    let odds = channels.iter().filter_map(|channel| odds_in_words(channel));
    Some([intervals].into_iter().chain(counting_only).chain(odds).collect::<Vec<_>>().join("; "))
}

/// The runs that the result does without.
fn left_out_line(scored: &Scored) -> Option<String> {
    let run = |run: &LeftOutRun| {
        let label = run.label.as_ref().filter(|label| **label != run.place.to_string());
        let label = label.map(|label| format!(" ({label})")).unwrap_or_default();
        format!("run {}{label}", run.place)
    };
    let runs: Vec<_> = scored.left_out.iter().map(run).collect();
    (!runs.is_empty()).then(|| format!("left out as asked: {}", runs.join(", ")))
}

/// The odds of a number that is not sure: `14 um(c) is 12 at 80 %, 13 at 20 %`.
fn odds_in_words(channel: &ScoredChannel) -> Option<String> {
    const SURE: f64 = 0.99;
    let odds = channel.odds.as_ref()?;
    let is_open = odds.likeliest().is_some_and(|(_, p)| p.get() < SURE);
    let likely = odds.iter().filter(|(_, p)| p.get() >= 1.0 - SURE);
    let likely: Vec<_> = likely.map(|(number, p)| format!("{number} at {}", percent(p.get()))).collect();
    is_open.then(|| format!("{} is {}", channel.size, likely.join(", ")))
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

/// What to clear up first, size by size, with the numbers that raised it.
fn doubt_lines(flags: &[Flag]) -> Vec<String> {
    let mut lines: Vec<(Option<Size>, Vec<&str>, Vec<&str>)> = Vec::new();
    for flag in flags.iter().filter(|flag| flag.severity == Severity::Doubt) {
        let i = lines.iter().position(|(size, ..)| *size == flag.size).unwrap_or_else(|| {
            lines.push((flag.size, Vec::new(), Vec::new()));
            lines.len() - 1
        });
        let (_, codes, evidence) = &mut lines[i];
        codes.push(flag.code);
        if !evidence.iter().any(|said| said.starts_with(&flag.evidence)) {
            evidence.push(&flag.evidence);
        }
    }
    let line = |(size, codes, evidence): (Option<Size>, Vec<&str>, Vec<&str>)| {
        let size = size.map(|size| format!("{size} ")).unwrap_or_default();
        format!("doubt: {size}[{}] {}", codes.join(", "), evidence.join("; "))
    };
    lines.into_iter().map(line).collect()
}

/// What is to be kept in mind, by code.
fn note_line(flags: &[Flag]) -> Option<String> {
    let notes: Vec<&Flag> = flags.iter().filter(|flag| flag.severity == Severity::Note).collect();
    let mut codes: Vec<&str> = notes.iter().map(|flag| flag.code).collect();
    codes.sort_unstable();
    codes.dedup();
    let of_code = |code: &str| {
        let sizes: Vec<_> =
            notes.iter().filter(|flag| flag.code == code).filter_map(|flag| flag.size).map(um).collect();
        if sizes.is_empty() { format!("[{code}]") } else { format!("{} um [{code}]", sizes.join(", ")) }
    };
    (!codes.is_empty())
        .then(|| format!("note: {}", codes.into_iter().map(of_code).collect::<Vec<_>>().join("; ")))
}

fn um(size: Size) -> String {
    size.um().to_string()
}

/// Why the counts leave it open, and what would settle it.
fn undecided_line(verdict: &Verdict) -> Option<String> {
    let deciding = verdict.deciding.as_ref().filter(|_| verdict.outcome == Outcome::Undecided)?;
    // A size that was not counted stands among the requirements already.
    let settle = verdict.settle.filter(|settle| !matches!(settle, Settle::Count(_)))?;
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

/// The probability where it says nothing of the outcome, or why there is none.
fn particles_line(verdict: &Verdict) -> Option<String> {
    match (verdict.p, verdict.p_missing) {
        (Some(p), _) if verdict.is_decided_beside_particles() => {
            let deciding = verdict.deciding.as_deref().unwrap_or("another measurement");
            Some(format!("particles: all their limits met with {}; {deciding} decides", percent(p.get())))
        }
        (None, Some(why)) => Some(format!("P not known: {why}")),
        _ => None,
    }
}

/// Then, now, and what became of it, size by size.
fn previous_lines(previous: &Previous) -> Vec<String> {
    let line = |at: &SizeChange| {
        let p = at.p.map(|p| percent(p.get()));
        let told = match (at.change, p) {
            (Change::CannotTell, Some(p)) => format!("cannot tell ({p} that it fell)"),
            (Change::CannotTell, None) => "cannot tell (raw counts and volumes are missing)".to_owned(),
            (change, p) => format!("{change} ({})", p.unwrap_or_default()),
        };
        format!(
            "since {}: {} {} then, {} now: {told}",
            previous.id,
            at.size,
            reading(at.then_per_ml),
            reading(at.now_per_ml)
        )
    };
    previous.sizes.iter().map(line).collect()
}

/// A requirement that is compared with, without a verdict.
fn compared_line(item: &Found) -> String {
    match item.finding {
        Finding::Met => format!("{}: within {}", item.demand.subject(), item.demand.limit()),
        _ => requirement_line(item),
    }
}

fn requirement_line(item: &Found) -> String {
    let (subject, limit) = (item.demand.subject(), item.demand.limit());
    if let (Finding::NotMet, Some(over), Some(ratio)) = (item.finding, item.numbers_over, item.ratio) {
        let by = match over {
            0 => String::new(),
            1 => " by 1 number".into(),
            _ => format!(" by {over} numbers"),
        };
        let decimals = if ratio < 1.1 { 3 } else { 1 };
        return format!("{subject}: over {limit}{by}, to come down {ratio:.decimals$} times");
    }
    let found = item.found.as_ref().map(|found| format!(" {found},")).unwrap_or_default();
    let note = item.note.as_ref().filter(|_| item.finding != Finding::NotMet);
    let note = note.map(|note| format!(" ({note})")).unwrap_or_default();
    format!("{subject}:{found} limit {limit}: {}{note}", item.finding)
}
