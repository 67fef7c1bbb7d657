//! Scores as an aligned table of 80 columns, with what needs a reader's eye under each bottle.

use std::io::{self, Write};

use siltcode::certainty::{Probability, Repeatability};
use siltcode::provenance::{InputDigest, Provenance};
use siltcode::status::UNVERIFIED_LIMITS;
use siltcode::{Code, Outcome, Scored, SizeScale, Spec, Status, Verdict};

use super::classes::Asked;
use super::closing::Closing;
use super::csv::code_channels;
use super::report::{Report, Tally};
use super::under;
use crate::held::Held;
use crate::printed::Printed;
use crate::text::{HEAD, OPEN, fit, outcome_style, reading, wrap};

/// The indent of lines under a bottle.
const UNDER: usize = 4;
/// The width of a bottle's name.
const BOTTLE: usize = 13;

/// An aligned table. A heading is printed again whenever the size scale changes.
pub(super) struct Table<W: Write> {
    out: Printed<Held<W>>,
    heading: Option<SizeScale>,
    /// What stands above all bottles.
    preamble: Vec<String>,
    memory: bool,
    with_spec: bool,
    closing: Closing,
}

impl<W: Write> Table<W> {
    pub(super) fn new(out: W, spec: Option<&Spec>, asked: &Asked) -> Self {
        let scope = |spec: &Spec| spec.scope.as_ref().map(|scope| format!("; {scope}")).unwrap_or_default();
        let target = spec.map(|spec| format!("Target: {}{}", spec.title, scope(spec)));
        let compared = spec.filter(|spec| spec.compare_only).map(|_| {
            "Limits of another place in the supply: bottles are compared with them, without a verdict."
                .to_owned()
        });
        let caveat =
            spec.and_then(|spec| spec.caveat.as_ref()).map(|caveat| format!("Limits doubtful: {caveat}"));
        Self {
            out: Printed::new(Held::new(out)),
            heading: None,
            preamble: target.into_iter().chain(compared).chain(caveat).chain(asked.legend()).collect(),
            memory: spec.is_some_and(|spec| spec.status == Status::Memory),
            with_spec: spec.is_some_and(|spec| !spec.compare_only),
            closing: Closing::default(),
        }
    }

    fn head(&mut self, scale: SizeScale) -> io::Result<()> {
        for text in std::mem::take(&mut self.preamble) {
            writeln!(self.out, "{}", wrap(&text, 0))?;
        }
        let columns = Code::sizes_um(scale).map(|um| um.map(|um| format!(">={um} um")).unwrap_or_default());
        let verdict = if self.with_spec { "   P verdict" } else { "" };
        writeln!(self.out, "\nParticles per mL, sizes in {scale} ({})", scale.describe())?;
        let [a, b, c] = columns;
        writeln!(
            self.out,
            "{HEAD}{:<BOTTLE$} {a:>9} {b:>9} {c:>9}  {:<12}  {verdict}{HEAD:#}",
            "bottle", "ISO 4406"
        )?;
        self.heading = Some(scale);
        Ok(())
    }

    fn line(&mut self, scored: &Scored) -> io::Result<()> {
        let [a, b, c] =
            code_channels(scored).map(|channel| channel.map_or(String::new(), |c| reading(c.per_ml)));
        let code = scored.iso4406.map_or_else(|| "-".to_owned(), |code| code.to_string());
        let id = fit(&scored.id, BOTTLE);
        write!(self.out, "{id:<BOTTLE$} {a:>9} {b:>9} {c:>9}  {code:<12}")?;
        if let Some(verdict) = &scored.verdict {
            let style = outcome_style(verdict.outcome);
            write!(self.out, "  {:>4} {style}{}{style:#}", chance(verdict), outcome_word(verdict))?;
        } else if scored.comparison.is_some() {
            write!(self.out, "       compared only")?;
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
        if scored.id.chars().count() > BOTTLE {
            self.under(&format!("bottle {}", scored.id))?;
        }
        for text in under::lines(scored) {
            self.under(&text)?;
        }
        self.closing.learn(scored);
        Ok(())
    }

    fn repeatability(&mut self, file: &str, known: &Repeatability) -> io::Result<()> {
        self.closing.learn_repeatability(file, known);
        Ok(())
    }

    fn finish(mut self: Box<Self>, tally: &Tally, _: Vec<InputDigest>) -> io::Result<()> {
        for line in self.closing.what_to_do() {
            writeln!(self.out, "{line}")?;
        }
        writeln!(self.out, "\n{}", wrap(&summary(tally, self.with_spec), 0))?;
        if let Some(repeatability) = self.closing.repeatability() {
            writeln!(self.out, "{}", wrap(&repeatability, 0))?;
        }
        if let Some(rules) = self.closing.rules() {
            writeln!(self.out, "{}", wrap(&rules, 0))?;
        }
        if self.memory {
            writeln!(self.out, "{OPEN}{}{OPEN:#}", wrap(&format!("Target: {UNVERIFIED_LIMITS}."), 0))?;
        }
        writeln!(self.out, "{}", wrap(&format!("Scored by {}, ISO 4406.", Provenance::LIBRARY), 0))?;
        self.out.release()
    }
}

/// The outcome in the width of its column. Meeting some limits of a specification is not conforming to it.
fn outcome_word(verdict: &Verdict) -> String {
    match verdict.outcome {
        Outcome::Conforms if verdict.check.partial => "meets limits".to_owned(),
        outcome => outcome.to_string(),
    }
}

/// The probability in four columns; none where it is of particles and something else decides.
fn chance(verdict: &Verdict) -> String {
    let p = verdict.p.filter(|_| !verdict.is_decided_beside_particles());
    match p.map(Probability::get) {
        None => "-".into(),
        Some(p) if p > 0.995 && p < 1.0 => ">.99".into(),
        Some(p) if p < 0.005 && p > 0.0 => "<.01".into(),
        Some(p) => format!("{p:.2}"),
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
    let refused = match tally.refused {
        0 => String::new(),
        n => format!("; {} could not be used", plural(n, "file")),
    };
    let account = &tally.account;
    let hint = if account.has_rejects() { " (rejected rows: see above, or --rejects FILE)" } else { "" };
    format!("{bottles}{verdicts}{refused}.\n{account}{hint}.")
}
