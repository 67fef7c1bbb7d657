//! Scores as an aligned table of 80 columns, with what needs a reader's eye under each bottle.

use std::io::{self, Write};

use siltcode::intake::{Notice, Problem};
use siltcode::provenance::{InputDigest, Provenance};
use siltcode::spec::{Finding, Found};
use siltcode::{Code, Outcome, Scored, SizeScale, Spec, Status};

use super::csv::code_channels;
use super::report::{Report, Tally};
use crate::held::Held;
use crate::text::{BAD, HEAD, OPEN, fit, outcome_style, reading, wrap};

/// The indent of lines under a bottle.
const UNDER: usize = 4;

/// An aligned table. A heading is printed again whenever the size scale changes.
pub(super) struct Table<W: Write> {
    out: Held<W>,
    heading: Option<SizeScale>,
    target: Option<String>,
    memory: bool,
    with_spec: bool,
}

impl<W: Write> Table<W> {
    pub(super) fn new(out: W, spec: Option<&Spec>) -> Self {
        let scope = |spec: &Spec| spec.scope.as_ref().map(|scope| format!("; {scope}")).unwrap_or_default();
        Self {
            out: Held::new(out),
            heading: None,
            target: spec.map(|spec| format!("Target: {}{}", spec.title, scope(spec))),
            memory: spec.is_some_and(|spec| spec.status == Status::Memory),
            with_spec: spec.is_some(),
        }
    }

    fn head(&mut self, scale: SizeScale) -> io::Result<()> {
        if let Some(target) = self.target.take() {
            writeln!(self.out, "{}", wrap(&target, 0))?;
        }
        let columns = Code::sizes_um(scale).map(|um| um.map(|um| format!(">={um} um")).unwrap_or_default());
        let verdict = if self.with_spec { "verdict" } else { "" };
        writeln!(self.out, "\nParticles per mL, sizes in {scale} ({})", scale.describe())?;
        let [a, b, c] = columns;
        writeln!(
            self.out,
            "{HEAD}{:<14} {a:>9} {b:>9} {c:>9}  {:<12}  {verdict}{HEAD:#}",
            "bottle", "ISO 4406"
        )?;
        self.heading = Some(scale);
        Ok(())
    }

    fn line(&mut self, scored: &Scored) -> io::Result<()> {
        let [a, b, c] =
            code_channels(scored).map(|channel| channel.map_or(String::new(), |c| reading(c.per_ml)));
        let code = scored.iso4406.map_or_else(|| "-".to_owned(), |code| code.to_string());
        let id = fit(&scored.id, 14);
        write!(self.out, "{id:<14} {a:>9} {b:>9} {c:>9}  {code:<12}")?;
        if let Some(verdict) = &scored.verdict {
            let style = outcome_style(verdict.outcome);
            write!(self.out, "  {style}{}{style:#}", verdict.outcome)?;
        }
        writeln!(self.out)
    }

    fn under(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.out, "{}", wrap(text, UNDER))
    }
}

impl<W: Write> Report for Table<W> {
    fn scored(&mut self, scored: &Scored) -> io::Result<()> {
        if self.heading != Some(scored.scale) {
            self.head(scored.scale)?;
        }
        self.line(scored)?;
        if scored.id.chars().count() > 14 {
            self.under(&format!("bottle {}", scored.id))?;
        }
        for text in requirement_lines(scored) {
            self.under(&text)?;
        }
        Ok(())
    }

    fn problem(&mut self, problem: &Problem) -> io::Result<()> {
        say::problem(problem);
        Ok(())
    }

    fn notice(&mut self, notice: &Notice) -> io::Result<()> {
        say::notice(notice);
        Ok(())
    }

    fn finish(mut self: Box<Self>, tally: &Tally, _: Vec<InputDigest>) -> io::Result<()> {
        writeln!(self.out, "\n{}", wrap(&summary(tally, self.with_spec), 0))?;
        if self.memory {
            let text = "The target rests on numbers from memory: look them up before relying on them.";
            writeln!(self.out, "{OPEN}{}{OPEN:#}", wrap(text, 0))?;
        }
        writeln!(self.out, "{}", wrap(&format!("Scored by {}, ISO 4406.", Provenance::LIBRARY), 0))?;
        self.out.release()
    }
}

fn summary(tally: &Tally, with_spec: bool) -> String {
    let plural = |n: u64, one: &str| if n == 1 { format!("{n} {one}") } else { format!("{n} {one}s") };
    let bottles = plural(tally.bottles, "bottle");
    let verdicts = if with_spec {
        format!(": {} conform, {} do not, {} undecided", tally.conform, tally.fail, tally.undecided)
    } else {
        String::new()
    };
    let rejected = match tally.problems {
        0 => String::new(),
        n => format!("; {} rejected (see above, or --rejects)", plural(n, "row")),
    };
    format!("{bottles}{verdicts}{rejected}.")
}

/// What a reader must know of each requirement that is not simply met.
fn requirement_lines(scored: &Scored) -> Vec<String> {
    let Some(verdict) = &scored.verdict else { return Vec::new() };
    let settled = verdict.outcome == Outcome::Conforms;
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

/// What goes to standard error beside the table.
pub(super) mod say {
    use super::{BAD, HEAD, Notice, OPEN, Problem, Write, wrap};
    use siltcode::intake::Severity;

    /// A rejected row: where, what was found, why, what to do.
    pub(in crate::score) fn problem(problem: &Problem) {
        let text = format!("{} `{}`: {}", problem.position, problem.found, problem.message);
        let mut err = anstream::stderr().lock();
        let _ = writeln!(err, "{BAD}rejected:{BAD:#} {}", wrap(&text, 2).trim_start());
        let _ = writeln!(err, "{}", wrap(&problem.hint, 2));
    }

    /// A guess or an assumption. The hint is only for what may be wrong.
    pub(in crate::score) fn notice(notice: &Notice) {
        let line = notice.line.map(|line| format!(", line {line}")).unwrap_or_default();
        let text = format!("{}{line}: {}", notice.file, notice.message);
        let mut err = anstream::stderr().lock();
        let _ = match notice.severity {
            Severity::Note => writeln!(err, "{HEAD}note:{HEAD:#} {}", wrap(&text, 2).trim_start()),
            Severity::Warning => {
                let _ = writeln!(err, "{OPEN}warning:{OPEN:#} {}", wrap(&text, 2).trim_start());
                writeln!(err, "{}", wrap(&notice.hint, 2))
            }
        };
    }
}
