//! What goes to standard error beside the scores.

use std::io::Write;

use siltcode::intake::{Account, Notice, Problem, Severity};

use super::previous::Unmatched;
use crate::printed;
use crate::text::{BAD, HEAD, OPEN, wrap};

/// A rejected row: where, what was found, why, what to do.
pub(super) fn problem(problem: &Problem) {
    let text = format!("{} `{}`: {}", problem.position, problem.found, problem.message);
    let mut err = printed::stderr();
    let _ = writeln!(err, "{BAD}rejected:{BAD:#} {}", wrap(&text, 2).trim_start());
    let _ = writeln!(err, "{}", wrap(&problem.hint, 2));
}

/// A guess or an assumption. The hint is only for what may be wrong.
pub(super) fn notice(notice: &Notice) {
    let line = notice.line.map(|line| format!(", line {line}")).unwrap_or_default();
    let text = format!("{}{line}: {}", notice.file, notice.message);
    let mut err = printed::stderr();
    let _ = match notice.severity {
        Severity::Note => writeln!(err, "{HEAD}note:{HEAD:#} {}", wrap(&text, 2).trim_start()),
        Severity::Warning => {
            let _ = writeln!(err, "{OPEN}warning:{OPEN:#} {}", wrap(&text, 2).trim_start());
            writeln!(err, "{}", wrap(&notice.hint, 2))
        }
    };
}

/// What became of every record, where standard output holds nothing but data.
pub(super) fn account(account: &Account) {
    let mut err = anstream::stderr().lock();
    let _ = writeln!(err, "{}", wrap(&account.to_string(), 0));
}

/// Bottles of now and of before that have no partner.
pub(super) fn unmatched(unmatched: &Unmatched) {
    let mut err = anstream::stderr().lock();
    for line in unmatched.lines() {
        let _ = writeln!(err, "{HEAD}note:{HEAD:#} {}", wrap(&line, 2).trim_start());
    }
}
