//! Columns as they are filled, with what must be known where two blocks meet.

use super::{Columns, CountsOfSize, OtherColumn, Texts};
use crate::error::Error;
use crate::intake::notices::PassedOverLines;
use crate::size::Size;

/// Rows of one stretch of text.
#[derive(Debug, Default)]
pub(super) struct Block {
    pub(super) columns: Columns,
    pub(super) passed: PassedOverLines,
    /// The first bottle, with its line.
    pub(super) first: Option<(u64, String)>,
    /// The last bottle, where its row was put aside or stands in the block before.
    pub(super) last_aside: Option<String>,
    /// Why reading stopped, if it did.
    pub(super) stopped: Option<Error>,
}

impl Block {
    /// An empty block with these columns.
    pub(super) fn new(sizes: impl Iterator<Item = Size>, timed: bool, others: &[String]) -> Self {
        let other = |name: &String| OtherColumn { name: name.clone(), texts: Texts::default() };
        let columns = Columns {
            times: timed.then(Texts::default),
            counts: sizes.map(|size| CountsOfSize { size, per_ml: Vec::new() }).collect(),
            others: others.iter().map(other).collect(),
            ..Columns::default()
        };
        Self { columns, ..Self::default() }
    }

    /// The bottle of the last row.
    pub(super) fn last(&self) -> Option<&str> {
        self.last_aside.as_deref().or_else(|| self.columns.ids.last())
    }

    /// Drops all but the first `rows` rows, and whatever a row read halfway has left.
    pub(super) fn truncate(&mut self, rows: usize) {
        let columns = &mut self.columns;
        columns.ids.truncate(rows);
        columns.times.iter_mut().for_each(|times| times.truncate(rows));
        columns.counts.iter_mut().for_each(|counts| counts.per_ml.truncate(rows));
        columns.others.iter_mut().for_each(|other| other.texts.truncate(rows));
    }

    /// Drops everything but the last bottle's name, keeping the memory.
    pub(super) fn clear(&mut self) {
        self.last_aside = self.last().map(str::to_owned);
        self.truncate(0);
        self.columns.problems.clear();
        self.columns.notices.clear();
        self.first = None;
    }

    /// Takes over the rows of the block that follows this one; gives back why reading stopped there.
    #[cfg(feature = "parallel")]
    pub(super) fn append(&mut self, next: &mut Self) -> Option<Error> {
        let (columns, from) = (&mut self.columns, &mut next.columns);
        columns.ids.append(&from.ids);
        if let (Some(times), Some(from)) = (&mut columns.times, &from.times) {
            times.append(from);
        }
        for (counts, from) in columns.counts.iter_mut().zip(&from.counts) {
            counts.per_ml.extend_from_slice(&from.per_ml);
        }
        for (other, from) in columns.others.iter_mut().zip(&from.others) {
            other.texts.append(&from.texts);
        }
        columns.problems.append(&mut from.problems);
        self.passed.append(&std::mem::take(&mut next.passed));
        if next.first.is_some() {
            self.last_aside = next.last_aside.take();
        }
        self.first = self.first.take().or_else(|| next.first.take());
        next.stopped.take()
    }
}
