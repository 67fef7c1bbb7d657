//! Runs of one bottle, gathered from rows that may be apart.
//!
//! Rows with the same bottle name are runs of one bottle, in the order they come, unless something tells them apart:
//! another date, point, depth, tank or order; without run labels also another time or remark. Bottles stay open over a
//! window of other bottles, so that a file that lists all first runs, then all second runs, is read right, and memory
//! stays bounded. A run label that the bottle already has, or a row without a label that does not follow directly,
//! starts another bottle of the same name: two bottles with one name are worse mixed than listed twice. In a table
//! without run labels a bottle is therefore complete as soon as another follows.

use std::collections::{HashMap, HashSet, VecDeque};

use crate::companion::Property;
use crate::count::Reading;
use crate::error::{Error, ErrorKind};
use crate::field::Field;
use crate::sample::{Run, Sample, Source};
use crate::size::Size;

use super::lines::Record;
use super::row::{Identity, Piece};

/// How many bottles stay open.
const WINDOW: usize = 4096;

/// More rows of one name, with nothing to tell runs from bottles, are asked about.
const MOST_UNLABELLED: usize = 12;

/// Rows of one name that nothing calls runs are asked about where they differ by more (common practice: runs of one
/// bottle agree within a few per cent).
const TOO_FAR_APART: f64 = 3.0;

/// Rows that are called runs are asked about where they differ by more: one of them is of another bottle, volume or
/// dilution.
const NO_RUNS: f64 = 20.0;

/// How many rows of labelled runs are kept, to be given back if they are no runs of one bottle.
const MOST_KEPT: usize = 100;

/// The fewest particles by which runs are compared \[particles/mL, or particles where they were counted\].
const COMPARED_FROM: f64 = 50.0;

/// A finished bottle.
pub(super) struct Bottle {
    pub(super) sample: Sample,
    pub(super) blank: bool,
    identity: Identity,
    time: Option<String>,
    /// The runs' labels, for looking up.
    labels: HashSet<String>,
    properties: HashSet<Property>,
    notes: HashSet<(String, String)>,
    /// The rows of runs without labels: they may turn out not to be runs of one bottle.
    rows: Vec<Record>,
    /// The rows of its labelled runs, as long as they are few.
    labelled: Vec<Record>,
    /// The rows of labelled runs that counted nothing, with their labels.
    empty: Vec<(String, Record)>,
    records: u64,
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
    /// The serial number of the bottle that took the last piece.
    last: Option<usize>,
}

impl Gatherer {
    /// From here on, runs may have labels.
    pub(super) fn expect_labels(&mut self, labelled: bool) {
        self.labelled |= labelled;
    }

    /// Takes a run; gives back the oldest bottle once the window is full.
    pub(super) fn add(&mut self, piece: Piece) -> Option<Bottle> {
        if let Some(at) = self.joins(&piece) {
            self.last = Some(self.oldest + at);
            self.open[at].take(piece);
            return None;
        }
        let serial = self.oldest + self.open.len();
        if self.labelled {
            self.by_name.insert(key(&piece.bottle), serial);
        }
        self.last = Some(serial);
        self.open.push_back(Bottle::new(piece));
        let window = if self.labelled { WINDOW } else { 1 };
        if self.open.len() > window { self.pop() } else { None }
    }

    /// Gives back the oldest open bottle.
    pub(super) fn pop(&mut self) -> Option<Bottle> {
        let bottle = self.open.pop_front()?;
        if self.labelled {
            let key = key(&bottle.identity);
            if self.by_name.get(&key) == Some(&self.oldest) {
                self.by_name.remove(&key);
            }
        }
        self.oldest += 1;
        Some(bottle)
    }

    /// The bottle that took the last run, if it is still open.
    pub(super) fn last(&self) -> Option<&Bottle> {
        self.open.get(self.last?.checked_sub(self.oldest)?)
    }

    /// The line of a run of an open bottle that this one repeats: the same label and the same counts.
    pub(super) fn repeats(&self, piece: &Piece) -> Option<u64> {
        let label = piece.run.as_ref()?;
        let at = self.by_name.get(&key(&piece.bottle))?.checked_sub(self.oldest)?;
        let bottle = self.open.get(at).filter(|bottle| bottle.labels.contains(label))?;
        let run = bottle.sample.runs.iter().find(|run| run.label.as_ref() == Some(label))?;
        (Some(&run.spectrum) == piece.spectrum.as_ref())
            .then(|| bottle.sample.source.map_or(0, |source| source.line))
    }

    /// The open bottle that this run belongs to.
    fn joins(&self, piece: &Piece) -> Option<usize> {
        let last = self.open.len().checked_sub(1)?;
        let follows = self.open[last].is_of(&piece.bottle);
        let at =
            if follows { last } else { self.by_name.get(&key(&piece.bottle))?.checked_sub(self.oldest)? };
        let bottle = self.open.get(at)?;
        let fits = match &piece.run {
            _ if !bottle.is_of(&piece.bottle) => false,
            // What is known of a bottle beside its runs belongs to it wherever it stands.
            _ if piece.spectrum.is_none() && piece.records == 0 => true,
            Some(label) => !bottle.labels.contains(label),
            None => follows && bottle.is_same_time(&piece.bottle) && piece.bottle.named,
        };
        (fits && bottle.blank == piece.blank).then_some(at)
    }
}

/// What is the same for all runs of a bottle, as one text.
fn key(bottle: &Identity) -> String {
    let mut key = bottle.id.clone();
    for (field, text) in bottle.fields.iter().filter(|(field, _)| field.tells_bottles_apart()) {
        key.push('\u{1f}');
        key.push_str(field.name());
        key.push_str(day_of(*field, text));
    }
    for name in &bottle.more {
        key.push('\u{1e}');
        key.push_str(name);
    }
    key
}

/// The day of a date with a time; anything else as it is.
fn day_of(field: Field, text: &str) -> &str {
    let is_time = |part: &str| part.contains(':') && part.starts_with(|c: char| c.is_ascii_digit());
    match text.split_once([' ', 'T']) {
        Some((day, time)) if field == Field::Drawn && is_time(time.trim_start()) => day,
        _ => text,
    }
}

/// What tells a bottle's readings apart in time: its time, its date with a time, and what is remarked.
fn moment(bottle: &Identity) -> Option<String> {
    let told = bottle.fields.iter().filter(|(field, text)| match field {
        Field::Time | Field::Counted | Field::Remark => true,
        Field::Drawn => day_of(*field, text) != text,
        _ => false,
    });
    let told: Vec<&str> = told.map(|(_, text)| text.as_str()).collect();
    (!told.is_empty()).then(|| told.join("\u{1f}"))
}

impl Bottle {
    fn new(piece: Piece) -> Self {
        let source = Source { line: piece.line, records: 0 };
        let mut sample = Sample::new(piece.bottle.id.clone(), []);
        sample.source = Some(source);
        sample.fields.clone_from(&piece.bottle.fields);
        let mut bottle = Self {
            sample,
            blank: piece.blank,
            time: moment(&piece.bottle),
            identity: piece.bottle.clone(),
            labels: HashSet::new(),
            properties: HashSet::new(),
            notes: HashSet::new(),
            rows: Vec::new(),
            labelled: Vec::new(),
            empty: Vec::new(),
            records: 0,
        };
        bottle.take(piece);
        bottle
    }

    /// Whether nothing but the runs tells it from this one.
    fn is_of(&self, other: &Identity) -> bool {
        let told = |bottle: &Identity| {
            let told = bottle.fields.iter().filter(|(field, _)| field.tells_bottles_apart());
            told.map(|(field, text)| (*field, day_of(*field, text).to_owned())).collect::<Vec<_>>()
        };
        self.identity.id == other.id
            && self.identity.more == other.more
            && (self.identity.fields == other.fields || told(&self.identity) == told(other))
    }

    /// Whether a row that says this of its bottle may belong to it; a row without a name may leave things out.
    pub(super) fn may_hold(&self, other: &Identity, inherits: bool) -> bool {
        let told = other.fields.iter().filter(|(field, _)| field.tells_bottles_apart());
        let same = |(field, text): &(Field, String)| {
            let own = self.identity.fields.iter().find(|(known, _)| known == field);
            own.map_or(inherits, |(_, own)| day_of(*field, own) == day_of(*field, text))
        };
        told.clone().all(same) && (other.more.is_empty() || other.more == self.identity.more)
    }

    fn is_same_time(&self, other: &Identity) -> bool {
        self.time == moment(other)
    }

    /// Another run, or more that is known. What the bottle already says of itself stands.
    fn take(&mut self, mut piece: Piece) {
        if let Some(label) = &piece.run {
            let rows = std::mem::take(&mut piece.rows);
            if piece.counts_nothing() {
                self.empty.extend(rows.into_iter().map(|row| (label.clone(), row)));
            } else if self.labelled.len() < MOST_KEPT {
                self.labelled.extend(rows);
            }
        }
        if let Some(spectrum) = piece.spectrum {
            self.labels.extend(piece.run.clone());
            self.sample.runs.push(Run { label: piece.run, spectrum });
        }
        self.sample.printed = self.sample.printed.or(piece.printed);
        for companion in piece.companions {
            if self.properties.insert(companion.property.clone()) {
                self.sample.companions.push(companion);
            }
        }
        for (field, text) in &piece.bottle.fields {
            if !self.sample.fields.iter().any(|(known, _)| known == field) {
                self.sample.fields.push((*field, text.clone()));
            }
        }
        for note in piece.notes {
            if self.notes.insert(note.clone()) {
                self.sample.notes.push(note);
            }
        }
        self.records += piece.records;
        if let Some(source) = &mut self.sample.source {
            source.records = self.records;
        }
        self.rows.extend(piece.rows);
    }

    /// Takes out the runs that counted nothing where another run of the bottle counted many: no such run took place.
    pub(super) fn take_empty_runs(&mut self) -> Vec<Record> {
        let counted = |run: &Run| {
            let counts = run.spectrum.channels().iter().filter_map(|channel| channel.reading.count());
            counts.map(crate::count::PerMl::get).fold(0.0, f64::max)
        };
        if self.empty.is_empty() || self.sample.runs.iter().all(|run| counted(run) < COMPARED_FROM) {
            return Vec::new();
        }
        let empty = std::mem::take(&mut self.empty);
        let is_empty = |run: &Run| empty.iter().any(|(label, _)| run.label.as_ref() == Some(label));
        self.sample.runs.retain(|run| !is_empty(run));
        self.records -= empty.len() as u64;
        if let Some(source) = &mut self.sample.source {
            source.records = self.records;
        }
        empty.into_iter().map(|(_, row)| row).collect()
    }

    /// How many records it is made of.
    pub(super) const fn records(&self) -> u64 {
        self.records
    }

    /// Whether it says anything that can be scored.
    pub(super) fn holds_something(&self) -> bool {
        !self.sample.runs.is_empty() || !self.sample.companions.is_empty() || self.sample.printed.is_some()
    }

    /// The rows that its runs come from, where they are kept.
    pub(super) fn rows(&self) -> &[Record] {
        if self.rows.is_empty() { &self.labelled } else { &self.rows }
    }

    /// Why its rows cannot be the runs of one bottle, if they cannot.
    pub(super) fn doubt(&self) -> Option<Error> {
        let rows = self.rows();
        if self.sample.runs.len() < 2 || rows.len() < 2 {
            return None;
        }
        let called_runs = self.rows.is_empty();
        if called_runs && rows.len() != self.sample.runs.len() {
            return None;
        }
        if let Some((ratio, size)) = self.widest()
            && ratio > if called_runs { NO_RUNS } else { TOO_FAR_APART }
        {
            let kind = ErrorKind::RunsTooFarApart {
                bottle: self.sample.id.clone(),
                ratio: format!("{ratio:.0}"),
                size: size.to_string(),
            };
            return Some(kind.into());
        }
        (!called_runs && self.sample.runs.len() > MOST_UNLABELLED).then(|| {
            ErrorKind::BottlesOrRuns { bottle: self.sample.id.clone(), rows: self.rows.len() }.into()
        })
    }

    /// The largest ratio between two runs at one size, and the size.
    pub(super) fn widest(&self) -> Option<(f64, Size)> {
        let sizes = self.sample.runs.first()?.spectrum.channels().iter().map(|channel| channel.size);
        let ratio = |size: Size| {
            let counts = self.sample.runs.iter().filter_map(|run| match run.spectrum.reading(size) {
                Reading::Count(count) => Some(count.get()),
                _ => None,
            });
            let (least, most) =
                counts.fold((f64::INFINITY, 0.0_f64), |(low, high), x| (low.min(x), high.max(x)));
            (most >= COMPARED_FROM).then(|| (most / least.max(1.0), size))
        };
        sizes.filter_map(ratio).max_by(|a, b| a.0.total_cmp(&b.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::Spectrum;

    fn piece(id: &str, run: Option<&str>, fields: &[(Field, &str)]) -> Piece {
        let fields = fields.iter().map(|(field, text)| (*field, (*text).to_owned())).collect();
        Piece {
            bottle: Identity { id: id.into(), named: true, fields, more: Vec::new() },
            run: run.map(str::to_owned),
            blank: false,
            spectrum: Some(Spectrum::from_per_ml(&[(4.0, 1.0)]).unwrap()),
            printed: None,
            companions: Vec::new(),
            notes: Vec::new(),
            line: 1,
            records: 1,
            rows: Vec::new(),
        }
    }

    /// A name, a label and what is said beside them.
    type Row<'a> = (&'a str, Option<&'a str>, &'a [(Field, &'a str)]);

    fn gathered(rows: &[Row<'_>]) -> Vec<(String, usize)> {
        let mut gatherer = Gatherer::default();
        gatherer.expect_labels(rows.iter().any(|(_, run, _)| run.is_some()));
        let mut bottles: Vec<Bottle> =
            rows.iter().filter_map(|(id, run, fields)| gatherer.add(piece(id, *run, fields))).collect();
        bottles.extend(std::iter::from_fn(|| gatherer.pop()));
        bottles.into_iter().map(|bottle| (bottle.sample.id, bottle.sample.runs.len())).collect()
    }

    #[test]
    fn runs_join_their_bottle_wherever_they_stand() {
        let rows: [(_, _, &[_]); 4] =
            [("A", Some("1"), &[]), ("B", Some("1"), &[]), ("A", Some("2"), &[]), ("B", Some("2"), &[])];
        assert_eq!(gathered(&rows), [("A".into(), 2), ("B".into(), 2)]);
    }

    #[test]
    fn a_label_twice_is_another_bottle() {
        let rows: [(_, _, &[_]); 3] = [("A", Some("1"), &[]), ("A", Some("2"), &[]), ("A", Some("1"), &[])];
        assert_eq!(gathered(&rows), [("A".into(), 2), ("A".into(), 1)]);
    }

    #[test]
    fn without_labels_only_neighbours_join() {
        let rows: [(_, _, &[_]); 4] =
            [("A", None, &[]), ("A", None, &[]), ("B", None, &[]), ("A", None, &[])];
        assert_eq!(gathered(&rows), [("A".into(), 2), ("B".into(), 1), ("A".into(), 1)]);
    }

    #[test]
    fn dates_and_points_part_bottles_of_one_name() {
        for field in [Field::Drawn, Field::Point, Field::Depth, Field::Order] {
            let rows: [(_, _, &[_]); 3] = [
                ("A", Some("1"), &[(field, "x")]),
                ("A", Some("2"), &[(field, "x")]),
                ("A", Some("1"), &[(field, "y")]),
            ];
            assert_eq!(gathered(&rows), [("A".into(), 2), ("A".into(), 1)], "{field}");
        }
    }

    #[test]
    fn times_part_rows_without_labels_but_not_runs() {
        let unlabelled: [(_, _, &[_]); 2] =
            [("A", None, &[(Field::Time, "10:00")]), ("A", None, &[(Field::Time, "10:01")])];
        assert_eq!(gathered(&unlabelled), [("A".into(), 1), ("A".into(), 1)]);
        let labelled: [(_, _, &[_]); 2] = [
            ("A", Some("1"), &[(Field::Drawn, "2031-05-04 10:00")]),
            ("A", Some("2"), &[(Field::Drawn, "2031-05-04 10:01")]),
        ];
        assert_eq!(gathered(&labelled), [("A".into(), 2)]);
    }

    #[test]
    fn the_window_is_bounded() {
        let mut gatherer = Gatherer::default();
        assert!(gatherer.add(piece("x", None, &[])).is_none());
        assert_eq!(gatherer.add(piece("y", None, &[])).unwrap().sample.id, "x");
        assert_eq!(gatherer.pop().unwrap().sample.id, "y");

        gatherer.expect_labels(true);
        let closed = (0..3 * WINDOW).filter_map(|i| gatherer.add(piece(&i.to_string(), None, &[]))).count();
        assert_eq!(closed, 2 * WINDOW);
        assert!(gatherer.by_name.len() <= WINDOW);
    }
}
