//! Runs of one bottle, gathered from rows that may be apart.
//!
//! Rows with the same bottle name are runs of one bottle, kept in the order they come. Bottles stay open over a window
//! of other bottles, so that a file that lists all first runs, then all second runs, is read right, and memory stays
//! bounded. A run label that the bottle already has, or a row without a label that does not follow directly, starts
//! another bottle of the same name: two bottles with one name are worse mixed than listed twice. In a table without run
//! labels a bottle is therefore complete as soon as another follows.

use std::collections::{HashMap, VecDeque};

use crate::sample::{Run, Sample};

use super::row::Piece;

/// How many bottles stay open.
const WINDOW: usize = 4096;

/// A finished bottle.
pub(super) struct Bottle {
    pub(super) sample: Sample,
    pub(super) blank: bool,
}

/// Gathers runs into bottles.
#[derive(Default)]
pub(super) struct Gatherer {
    /// Whether runs may have labels, so that those of one bottle may be apart.
    labelled: bool,
    open: VecDeque<Bottle>,
    /// The serial number of the oldest open bottle.
    oldest: usize,
    /// The serial number of the open bottle of each name.
    by_name: HashMap<String, usize>,
}

impl Gatherer {
    /// From here on, runs may have labels.
    pub(super) fn expect_labels(&mut self, labelled: bool) {
        self.labelled |= labelled;
    }

    /// Takes a run; gives back the oldest bottle once the window is full.
    pub(super) fn add(&mut self, piece: Piece) -> Option<Bottle> {
        if let Some(at) = self.joins(&piece) {
            self.open[at].take(piece);
            return None;
        }
        if self.labelled {
            self.by_name.insert(piece.id.clone(), self.oldest + self.open.len());
        }
        self.open.push_back(Bottle::new(piece));
        let window = if self.labelled { WINDOW } else { 1 };
        if self.open.len() > window { self.pop() } else { None }
    }

    /// Gives back the oldest open bottle.
    pub(super) fn pop(&mut self) -> Option<Bottle> {
        let bottle = self.open.pop_front()?;
        if self.labelled && self.by_name.get(&bottle.sample.id) == Some(&self.oldest) {
            self.by_name.remove(&bottle.sample.id);
        }
        self.oldest += 1;
        Some(bottle)
    }

    /// The open bottle that this run belongs to.
    fn joins(&self, piece: &Piece) -> Option<usize> {
        let last = self.open.len().checked_sub(1)?;
        let follows = self.open[last].sample.id == piece.id;
        let at = if follows { last } else { self.by_name.get(&piece.id)? - self.oldest };
        let bottle = &self.open[at];
        let fits = match &piece.run {
            Some(_) => bottle.sample.runs.iter().all(|run| run.label != piece.run),
            None => follows,
        };
        (fits && bottle.blank == piece.blank).then_some(at)
    }
}

impl Bottle {
    fn new(piece: Piece) -> Self {
        let run = Run { label: piece.run, spectrum: piece.spectrum };
        let sample =
            Sample { id: piece.id, runs: vec![run], companions: piece.companions, notes: piece.notes };
        Self { sample, blank: piece.blank }
    }

    /// Another run. What the bottle already says of itself stands.
    fn take(&mut self, piece: Piece) {
        self.sample.runs.push(Run { label: piece.run, spectrum: piece.spectrum });
        for companion in piece.companions {
            if self.sample.companion(&companion.property).is_none() {
                self.sample.companions.push(companion);
            }
        }
        for note in piece.notes {
            if !self.sample.notes.contains(&note) {
                self.sample.notes.push(note);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::Spectrum;

    fn piece(id: &str, run: Option<&str>) -> Piece {
        Piece {
            id: id.into(),
            run: run.map(str::to_owned),
            blank: false,
            spectrum: Spectrum::from_per_ml(&[(4.0, 1.0)]).unwrap(),
            companions: Vec::new(),
            notes: Vec::new(),
        }
    }

    fn gathered(rows: &[(&str, Option<&str>)]) -> Vec<(String, usize)> {
        let mut gatherer = Gatherer::default();
        gatherer.expect_labels(rows.iter().any(|(_, run)| run.is_some()));
        let mut bottles: Vec<Bottle> =
            rows.iter().filter_map(|(id, run)| gatherer.add(piece(id, *run))).collect();
        bottles.extend(std::iter::from_fn(|| gatherer.pop()));
        bottles.into_iter().map(|bottle| (bottle.sample.id, bottle.sample.runs.len())).collect()
    }

    #[test]
    fn runs_join_their_bottle_wherever_they_stand() {
        let rows = [("A", Some("1")), ("B", Some("1")), ("A", Some("2")), ("B", Some("2"))];
        assert_eq!(gathered(&rows), [("A".into(), 2), ("B".into(), 2)]);
    }

    #[test]
    fn a_label_twice_is_another_bottle() {
        let rows = [("A", Some("1")), ("A", Some("2")), ("A", Some("1"))];
        assert_eq!(gathered(&rows), [("A".into(), 2), ("A".into(), 1)]);
    }

    #[test]
    fn without_labels_only_neighbours_join() {
        let rows = [("A", None), ("A", None), ("B", None), ("A", None)];
        assert_eq!(gathered(&rows), [("A".into(), 2), ("B".into(), 1), ("A".into(), 1)]);
    }

    #[test]
    fn the_window_is_bounded() {
        let mut gatherer = Gatherer::default();
        assert!(gatherer.add(piece("x", None)).is_none());
        assert_eq!(gatherer.add(piece("y", None)).unwrap().sample.id, "x");
        assert_eq!(gatherer.pop().unwrap().sample.id, "y");

        gatherer.expect_labels(true);
        let closed = (0..3 * WINDOW).filter_map(|i| gatherer.add(piece(&i.to_string(), None))).count();
        assert_eq!(closed, 2 * WINDOW);
        assert!(gatherer.by_name.len() <= WINDOW);
    }
}
