//! An input, record by record: finds its tables, and gives every record its one fate.

use std::collections::VecDeque;
use std::sync::Arc;

use crate::error::{Error, ErrorKind, Position, Result};

use super::account::{Account, PassedOver};
use super::across::Across;
use super::group::{Bottle, Gatherer};
use super::heading::{self, Role};
use super::layout::{CountColumns, Layout};
use super::lines::{Record, Records, TextRecords};
use super::notices::{self, PassedOverLines};
use super::number::{self, Cell, Marks, NotANumber};
use super::options::Options;
use super::problem::{Notice, Problem, RejectedRow, Table};
use super::row::{Identity, Piece, Rejected, RowReader, Runs, joined, unnamed};
use super::settle::{self, Evidence};
use super::statement::{self, Context, Statement};
use super::statistic::{Statistic, leading_statistic, statistic};
use super::summary::{self, Fit};
use super::{Batch, Sink, rejects, sniff, words};

/// How many records are looked at beyond a heading.
const AHEAD: usize = 400;

/// How many lines of one run, in a table with a row per size, stay open.
const OPEN_RUNS: usize = 4096;

/// Where an input comes from.
#[derive(Debug, Clone, Default)]
pub(super) struct Origin {
    pub(super) file: String,
    pub(super) sheet: Option<String>,
    /// How its cells are parted, as the value of an option.
    pub(super) delimiter: Option<&'static str>,
    /// The only bottles to read; none for all.
    pub(super) only: Option<Vec<String>>,
    /// The only run to read of rows that hold several; none for all.
    pub(super) only_run: Option<String>,
    /// Concentrations are of the fluid as diluted.
    pub(super) as_diluted: bool,
    /// The bottle that rows without a name belong to at first.
    pub(super) bottle: Option<String>,
}

/// Reads the records of one input.
pub(super) struct TableReader<'a, 'o, S: Sink> {
    origin: Origin,
    options: &'o Options,
    sink: &'a mut S,
    account: &'a mut Account,
    source: Source<'a>,
    /// The table being read.
    table: Option<Open<'o>>,
    /// Lines that are no rows, since the last row.
    loose: Vec<Record>,
    /// What is said of all tables.
    global: Context,
    gatherer: Gatherer,
    /// The bottle that rows without a name belong to.
    last_id: Option<String>,
    /// The bottle of the last row.
    last: Option<Identity>,
    passed: PassedOverLines,
    /// Why the first table that could not be settled could not.
    refused: Option<Error>,
    /// Rows of the open table, which is refused.
    refused_rows: Option<Problem>,
    /// Tables found.
    tables: usize,
    bottles: u64,
}

/// A table being read.
struct Open<'o> {
    rows: RowReader<'o>,
    /// Rows of runs, in a table with a row per size.
    runs: VecDeque<(Identity, Option<String>, Vec<Record>)>,
    across: Option<Across>,
    /// Why its rows cannot be read.
    refused: Option<Error>,
    said_unnamed: bool,
    /// The line that the bottle begins in whose rows have no name, in a table with a row per size.
    block: Option<u64>,
}

/// Records with a few read ahead.
struct Source<'a> {
    records: &'a mut dyn Records,
    ahead: VecDeque<Record>,
}

impl Source<'_> {
    /// The next records, up to `count`, without taking them.
    fn peek(&mut self, count: usize) -> Result<&[Record]> {
        while self.ahead.len() < count {
            match self.records.next(Record::default())? {
                Some(record) if record.is_empty() => {}
                Some(record) => self.ahead.push_back(record),
                None => break,
            }
        }
        let slice = self.ahead.make_contiguous();
        Ok(&slice[..slice.len().min(count)])
    }

    fn next(&mut self, spare: Record) -> Result<Option<Record>> {
        let mut spare = spare;
        if let Some(record) = self.ahead.pop_front() {
            return Ok(Some(record));
        }
        loop {
            match self.records.next(spare)? {
                Some(record) if record.is_empty() => spare = record,
                other => return Ok(other),
            }
        }
    }
}

/// How many records below a heading are looked at to find it.
pub(super) const LINES_BELOW: usize = 8;

/// A heading that was found.
pub(super) struct Heading {
    pub(super) layout: Layout,
    /// Its lines above the record it was found at, taken from the loose lines.
    above: usize,
    /// Its lines below that record.
    below: usize,
    /// Which of its lines names the columns.
    names: usize,
    /// The names stand in the record itself; else the record is the first row.
    own: bool,
}

impl<'a, 'o, S: Sink> TableReader<'a, 'o, S> {
    pub(super) fn new(
        origin: Origin,
        records: &'a mut dyn Records,
        options: &'o Options,
        sink: &'a mut S,
        account: &'a mut Account,
    ) -> Self {
        let (last_id, as_diluted) = (origin.bottle.clone(), origin.as_diluted);
        Self {
            origin,
            options,
            sink,
            account,
            source: Source { records, ahead: VecDeque::new() },
            table: None,
            loose: Vec::new(),
            global: Context::of_origin(as_diluted),
            gatherer: Gatherer::default(),
            last_id,
            last: None,
            passed: PassedOverLines::default(),
            refused: None,
            refused_rows: None,
            tables: 0,
            bottles: 0,
        }
    }

    /// Reads every record. How many tables there were.
    ///
    /// # Errors
    /// `input-unreadable`; and where no bottle came out, why the only table could not be read, or `heading-not-found`.
    pub(super) fn read(mut self) -> Result<usize> {
        let mut spare = Record::default();
        while let Some(record) = self.source.next(std::mem::take(&mut spare))? {
            self.account.rows += 1;
            spare = self.record(record)?.unwrap_or_default();
        }
        self.end_table();
        self.say_what_was_passed_over();
        let loose = std::mem::take(&mut self.loose);
        let first = loose.first().map(|record| record.cells.iter().collect::<Vec<_>>().join(" "));
        let unread = self.unread_heading(&loose);
        self.set_aside(loose);
        if self.tables > 0 {
            return match self.refused {
                Some(error) if self.bottles == 0 => Err(error),
                _ => Ok(self.tables),
            };
        }
        if let Some(error) = unread.or(self.refused) {
            return Err(error);
        }
        match first {
            Some(first) => {
                let first = first.trim().chars().take(60).collect();
                Err(ErrorKind::HeadingNotFound { first }.into())
            }
            None => Err(ErrorKind::InputEmpty {}.into()),
        }
    }

    /// A heading among lines that were not read that names a size beside a word that was not understood.
    fn unread_heading(&self, lines: &[Record]) -> Option<Error> {
        let word_of = |cell: &str| {
            let parsed = heading::parse(cell);
            let speaks =
                parsed.counts.size.is_some() && (parsed.counts.micrometres || parsed.counts.scale.is_some());
            let word = parsed.unknown.filter(|_| speaks && statistic(cell).is_none())?;
            Some(ErrorKind::HeadingWordUnknown { word, heading: cell.trim().into() })
        };
        lines.iter().find_map(|line| {
            let kind = line.cells.iter().find_map(word_of)?;
            let position = Position {
                file: Some(self.origin.file.clone()),
                sheet: self.origin.sheet.clone(),
                line: Some(line.line),
                ..Position::default()
            };
            Some(Error::from(kind).at(position))
        })
    }

    /// One record; gives it back where it is not kept.
    fn record(&mut self, record: Record) -> Result<Option<Record>> {
        if record.hidden {
            return Ok(self.pass_over(PassedOver::HiddenRow, record));
        }
        if is_comment(&record) {
            if !is_ours(&record) {
                self.global.learn([&record]);
            }
            return Ok(self.pass_over(PassedOver::Comment, record));
        }
        if is_rule(&record) {
            return Ok(self.pass_over(PassedOver::Rule, record));
        }
        if let Some(open) = &self.table
            && repeats_heading(&record, &open.rows)
            && open.across.is_none()
            && !self.loose_says_something()
        {
            return Ok(self.pass_over(PassedOver::Heading, record));
        }
        self.end_repeated_block(&record);
        if !record.open_quote
            && self.may_be_heading(&record)
            && let Some(found) = self.heading(&record)?
        {
            return self.begin_table(record, found);
        }
        if self.table.is_none() {
            self.loose.push(record);
            return Ok(None);
        }
        self.row(record)
    }

    /// A size that comes again, in a table with a row per size, begins another block of rows.
    fn end_repeated_block(&mut self, record: &Record) {
        let Some(Open { across: Some(across), rows, .. }) = &self.table else { return };
        if across.holds_size_of(record, rows) {
            self.end_table();
        }
    }

    /// Whether the lines above a heading say something of the table it begins.
    fn loose_says_something(&self) -> bool {
        self.loose.iter().any(|line| !statement::of(line).is_empty())
    }

    /// Whether a record can begin a table: quick, for most rows cannot.
    fn may_be_heading(&self, record: &Record) -> bool {
        let Some(open) = &self.table else { return true };
        let columns = open.rows.settled.layout.count_columns();
        let holds_number = |column: &usize| record.cells.get(*column).is_some_and(is_count);
        !columns.iter().any(holds_number) || open.across.is_some()
    }

    /// The heading that begins with this record.
    fn heading(&mut self, record: &Record) -> Result<Option<Heading>> {
        let ahead = self.source.peek(LINES_BELOW)?.iter();
        let following: Vec<Record> = ahead.filter(|line| !is_comment(line)).cloned().collect();
        let group = self.loose.last().filter(|line| is_group(line));
        match find_heading(group, record, &following, self.options) {
            Ok(Some(found)) => {
                let names =
                    if found.below_names { following.first().map_or(record, |line| line) } else { record };
                let names = names.texts();
                if found.heading.own && !self.is_new(&found.heading.layout, &names) {
                    return Ok(None);
                }
                Ok(Some(found.heading))
            }
            Ok(None) => {
                let names = record.texts();
                let following: Vec<Vec<String>> = following.iter().map(Record::texts).collect();
                Ok(self.heading_across(&names, &following))
            }
            Err(error) => {
                let file = Some(self.origin.file.clone());
                let position = Position {
                    file,
                    sheet: self.origin.sheet.clone(),
                    line: Some(record.line),
                    column: None,
                };
                self.refused.get_or_insert(error.at(position));
                Ok(None)
            }
        }
    }

    /// A table with a row per size and a column per bottle or run.
    fn heading_across(&self, names: &[String], following: &[Vec<String>]) -> Option<Heading> {
        let open_across = self.table.as_ref().is_some_and(|open| open.across.is_some());
        if self.table.is_some() && !open_across {
            let holds_count = |cell: &String| is_count(cell);
            if names.iter().any(holds_count) {
                return None;
            }
        }
        let holds_no_count = !names.iter().skip(1).any(|name| is_count(name));
        if let Some(layout) = Layout::across(names, following, None, self.options).filter(|_| holds_no_count)
        {
            return Some(Heading { layout, above: 0, below: 0, names: 0, own: true });
        }
        // A line of units stands between the names and the sizes.
        if let [units, rows @ ..] = following
            && may_be_units(units)
            && let Some(layout) =
                Layout::across(names, rows, Some(units), self.options).filter(|_| holds_no_count)
        {
            return Some(Heading { layout, above: 0, below: 1, names: 0, own: true });
        }
        if open_across {
            return None;
        }
        let mut rows = vec![names.to_vec()];
        rows.extend_from_slice(following);
        let blank: Vec<String> = (0..names.len())
            .map(|column| if column == 0 { String::new() } else { format!("value {column}") })
            .collect();
        let mut layout = Layout::across(&blank, &rows, None, self.options)?;
        let CountColumns::Across { columns, .. } = &mut layout.counts else { return None };
        columns.truncate(1);
        for across in columns {
            across.id = None;
        }
        Some(Heading { layout, above: 0, below: 0, names: 0, own: false })
    }

    /// Within a table another heading must name two sizes at least: a failing row may hold a word or two of one.
    fn is_new(&self, layout: &Layout, names: &[String]) -> bool {
        let Some(open) = &self.table else { return true };
        let sizes = layout.sizes_um().len();
        let worded = names.iter().any(|name| {
            heading::counts(name).is_some_and(|counts| counts.size.is_some() && !counts.is_bare())
        });
        let known =
            usize::from(layout.id.is_some()) + usize::from(layout.run.is_some()) + layout.fields.len();
        match &layout.counts {
            CountColumns::Wide { .. } | CountColumns::Numbers { .. } => {
                (sizes >= 2
                    && worded
                    && (known > 0 || sizes == names.len() || open.rows.names.len() == names.len()))
                    || open.rows.names == names
            }
            _ => known > 0 || open.rows.names == names,
        }
    }

    fn begin_table(&mut self, record: Record, found: Heading) -> Result<Option<Record>> {
        self.end_table();
        let mut loose = std::mem::take(&mut self.loose);
        let above = loose.split_off(loose.len() - found.above);
        let title = self.title(&loose, record.line);
        self.set_aside(loose);
        let mut lines = above;
        let mut first_row = None;
        if found.own {
            lines.push(record);
        } else {
            first_row = Some(record);
        }
        let mut below = found.below;
        while below > 0
            && let Some(line) = self.source.next(Record::default())?
        {
            self.account.rows += 1;
            if is_comment(&line) {
                self.pass_over(PassedOver::Comment, line);
            } else {
                lines.push(line);
                below -= 1;
            }
        }
        self.account.pass_over(PassedOver::Heading, lines.len() as u64);
        self.open_table(&lines, found, title, first_row.as_ref())?;
        match first_row {
            Some(row) => self.row(row),
            None => Ok(None),
        }
    }

    /// What the loose lines above a heading say of its table, and what they say of all.
    fn title(&mut self, loose: &[Record], heading_line: u64) -> Context {
        let mut title = Context::default();
        // Lines set apart from the heading by an empty line, below another table, are that table's footnotes.
        let mut next = heading_line;
        let own = loose.iter().rev().take_while(|line| {
            let near = self.tables == 0 || next.saturating_sub(line.line) <= 1;
            next = line.line;
            near
        });
        let own: Vec<&Record> = own.collect();
        title.learn(own.into_iter().rev());
        let mut context = self.global.clone();
        context.overlay(&title);
        if self.tables == 0 {
            self.global.overlay(&title);
        } else if let Some(bottle) = title.bottle() {
            self.last_id = Some(bottle);
        }
        context
    }

    fn open_table(
        &mut self,
        lines: &[Record],
        found: Heading,
        mut context: Context,
        first_row: Option<&Record>,
    ) -> Result<()> {
        self.tables += 1;
        let texts: Vec<Vec<String>> = lines.iter().map(Record::texts).collect();
        let names =
            if found.own { joined(&texts, found.above) } else { vec![String::new(); found.layout.width] };
        let across = matches!(found.layout.counts, CountColumns::Across { .. }).then(Across::default);
        let ahead: Vec<Record> =
            first_row.cloned().into_iter().chain(self.source.peek(AHEAD)?.iter().cloned()).collect();
        let rows = rows_of(&ahead, &found.layout);
        context.learn(ahead.iter().take_while(|line| is_comment(line)).filter(|line| !is_ours(line)));
        context.said.extend(footnotes(&ahead[..rows.1], &found.layout, rows.1 == ahead.len()).said);
        context.said.extend(said_by_groups(&lines[..found.names.min(lines.len())], &found.layout));
        let evidence = Evidence { context: &context, rows: &rows.0, names: &names, options: self.options };
        let settled = settle::settle(found.layout.clone(), &evidence);
        let mut table = Table {
            file: self.origin.file.clone(),
            sheet: self.origin.sheet.clone(),
            heading: lines.iter().map(RejectedRow::of).collect(),
            read_as: self.origin.delimiter.map(|name| ("delimiter", name.to_owned())).into_iter().collect(),
        };
        let line = lines.get(found.names).or(first_row).map_or(0, |record| record.line);
        let (settled, refused) = match settled {
            Ok(settled) => (settled, None),
            Err(error) => {
                let position = Position {
                    file: Some(self.origin.file.clone()),
                    sheet: self.origin.sheet.clone(),
                    line: Some(line),
                    column: None,
                };
                let error = error.at(position);
                self.refused.get_or_insert_with(|| error.clone());
                (settle::unsettled(found.layout), Some(error))
            }
        };
        table.read_as.extend(settled.read_as.iter().cloned());
        self.gatherer.expect_labels(
            settled.layout.run.is_some()
                || matches!(settled.layout.counts, CountColumns::Wide { ref runs, .. } if runs.len() > 1),
        );
        if refused.is_none() {
            for notice in notices::of_table(&settled, &table, line, self.tables, &names) {
                self.sink.notice(notice);
            }
        }
        let rows = RowReader {
            settled,
            options: self.options,
            table: Arc::new(table),
            names,
            context,
            only_run: self.origin.only_run.clone(),
        };
        if let Some(bottle) = rows.context.bottle() {
            self.last_id = Some(bottle);
        } else if rows.settled.layout.id.is_some() && self.origin.bottle.is_none() {
            self.last_id = None;
        }
        self.table =
            Some(Open { rows, runs: VecDeque::new(), across, refused, said_unnamed: false, block: None });
        Ok(())
    }

    /// One row of the open table; gives its record back where it is not kept.
    fn row(&mut self, record: Record) -> Result<Option<Record>> {
        let Some(open) = &self.table else { return Ok(Some(record)) };
        if let Some(error) = open.refused.clone() {
            if looks_like_remark(&record, &open.rows) {
                self.loose.push(record);
                return Ok(None);
            }
            let problem = open.rows.problem(&error, None, &record, None);
            self.refuse_row(problem);
            return Ok(Some(record));
        }
        if record.open_quote {
            let problem = open.rows.problem(&ErrorKind::QuoteOpen {}.into(), None, &record, None);
            self.reject(problem);
            return Ok(Some(record));
        }
        if open.across.is_some() {
            return Ok(self.row_across(record));
        }
        if let Some(reason) = summary_by_words(&record, &open.rows) {
            return Ok(self.pass_over(reason, record));
        }
        if looks_like_remark(&record, &open.rows) {
            self.name_for_rows_below(&record);
            self.loose.push(record);
            return Ok(None);
        }
        if self.names_rows_below(&record)? {
            return Ok(self.pass_over(PassedOver::Heading, record));
        }
        self.loose_is_settled();
        Ok(self.data(record))
    }

    /// A line that names the bottle of the rows below it: `Bottle W-12`, `Sample: W-12`.
    fn name_for_rows_below(&mut self, record: &Record) {
        let mut said = Context::default();
        said.learn([record]);
        if let Some(bottle) = said.bottle() {
            self.last_id = Some(bottle);
        }
    }

    /// A row with nothing but a name, above rows without one.
    fn names_rows_below(&mut self, record: &Record) -> Result<bool> {
        let Some(open) = &self.table else { return Ok(false) };
        let id = open.rows.settled.layout.id;
        let filled = record.cells.iter().filter(|cell| !cell.trim().is_empty()).count();
        let Some(name) = record.text(id).filter(|_| filled == 1).map(str::to_owned) else { return Ok(false) };
        let below = self.source.peek(1)?.first().cloned();
        let names = below.is_some_and(|row| row.text(id).is_none() && row.cells.iter().any(is_count));
        if names {
            self.last_id = Some(name);
        }
        Ok(names)
    }

    /// A row that holds counts, or should.
    fn data(&mut self, record: Record) -> Option<Record> {
        let Some(open) = &self.table else { return Some(record) };
        if let Err(error) = open.rows.ensure_length(&record) {
            let bottle = self.identity(&record);
            let rejected = self.rows().map(|rows| rows.rejected(&bottle, &error, None, &record));
            if let Some(rejected) = rejected {
                self.reject_row(rejected);
            }
            return Some(record);
        }
        if matches!(open.rows.settled.layout.counts, CountColumns::Long { .. }) {
            self.long(record);
            return None;
        }
        if let Some(verdict) = self.summary_by_arithmetic(&record) {
            return match verdict {
                Ok(reason) => self.pass_over(reason, record),
                Err(problem) => {
                    self.reject(problem);
                    Some(record)
                }
            };
        }
        let bottle = self.identity(&record);
        let Some(rows) = self.rows() else { return Some(record) };
        let Runs { mut pieces, rejected } = match rows.settled.layout.counts {
            CountColumns::Wide { .. } => rows.wide(&bottle, &record),
            _ => Runs::of_one(rows.printed(&bottle, &record)),
        };
        self.take_name(&bottle);
        if let [piece] = pieces.as_slice()
            && let Some(first) = self.gatherer.repeats(piece)
            && let Some(rows) = self.rows()
        {
            let error = ErrorKind::RowRepeated { first }.into();
            let problem = rows.problem(&error, None, &record, Some(&bottle));
            self.reject(problem);
            return Some(record);
        }
        let by_place = self.rows().is_some_and(|rows| rows.settled.layout.named_by_place);
        let unlabelled = matches!(pieces.as_slice(), [piece] if piece.run.is_none());
        if let [piece] = pieces.as_mut_slice()
            && unlabelled
        {
            if by_place {
                piece.bottle.more.push(record.line.to_string());
            }
            if piece.bottle.named {
                piece.rows = vec![record.clone()];
            }
        }
        if let [piece] = pieces.as_mut_slice()
            && piece.run.is_some()
        {
            piece.rows = vec![record.clone()];
        }
        self.add(pieces);
        for rejected in rejected {
            self.reject_row(rejected);
        }
        Some(record)
    }

    fn rows(&self) -> Option<&RowReader<'o>> {
        self.table.as_ref().map(|open| &open.rows)
    }

    fn add(&mut self, pieces: Vec<Piece>) {
        for piece in pieces {
            if let Some(bottle) = self.gatherer.add(piece) {
                self.hand_on(bottle);
            }
        }
    }

    fn take_name(&mut self, bottle: &Identity) {
        if bottle.named {
            self.last_id = Some(bottle.id.clone());
        }
    }

    /// A row that equals a summary of the runs above it, or that no run could be.
    fn summary_by_arithmetic(&self, record: &Record) -> Option<std::result::Result<PassedOver, Problem>> {
        let rows = self.rows()?;
        let layout = &rows.settled.layout;
        let label = record.text(layout.run);
        let ask = |found: String| {
            let error = ErrorKind::SummaryUnclear { found }.into();
            Some(Err(rows.problem(&error, None, record, None)))
        };
        if let Some(text) = label
            && !is_run_label(text)
        {
            let last = self.gatherer.last();
            let fits = last.map_or(Fit::None, |bottle| {
                summary::fit(record, &bottle.sample, &layout.counts, rows.settled.marks)
            });
            if let Fit::Is(statistic) = fits {
                return Some(Ok(reason_of(statistic)));
            }
            if let Some(statistic) = leading_statistic(text) {
                return Some(Ok(reason_of(statistic)));
            }
            let error = ErrorKind::RunLabelUnclear { found: text.into() }.into();
            return Some(Err(rows.problem(&error, layout.run, record, None)));
        }
        let bottle = self.gatherer.last()?;
        let name = record.text(layout.id);
        let mut identity = Identity { id: bottle.sample.id.clone(), ..Identity::default() };
        identity.fields = rows.fields(record);
        identity.more = rows.more_names(record);
        let same = name.or(self.last_id.as_deref()).is_none_or(|name| name == bottle.sample.id)
            && bottle.may_hold(&identity, name.is_none());
        let fits = summary::fit(record, &bottle.sample, &layout.counts, rows.settled.marks);
        match (fits, label) {
            (Fit::Is(statistic), None) => return Some(Ok(reason_of(statistic))),
            (Fit::Is(_), Some(_)) if same => {
                return ask(
                    "the row equals a summary of the runs above it, but has the label of a run".to_owned()
                );
            }
            (Fit::MayBe(name), None) if same => {
                return ask(format!("the row equals the {name} of the runs above it"));
            }
            _ => {}
        }
        let starts_as_summary = name.and_then(leading_statistic).filter(|_| label.is_none());
        if let (Some(statistic), false) = (starts_as_summary, fits == Fit::None) {
            return Some(Ok(reason_of(statistic)));
        }
        let far_below =
            same && summary::is_far_below(record, &bottle.sample, &layout.counts, rows.settled.marks);
        let belongs = label.is_some() || bottle.sample.runs.iter().any(|run| run.label.is_some());
        if far_below && belongs {
            return ask("the row lies far below all runs above it, as a deviation would".to_owned());
        }
        None
    }

    /// Keeps the rows of a run until all of it is there.
    fn long(&mut self, record: Record) {
        self.end_unnamed_block(&record);
        let bottle = self.identity(&record);
        self.take_name(&bottle);
        let Some(open) = &mut self.table else { return };
        let CountColumns::Long { size, .. } = open.rows.settled.layout.counts else { return };
        let run = record.text(open.rows.settled.layout.run).map(str::to_owned);
        let size_of = |record: &Record| record.text(Some(size)).map(str::to_owned);
        let found = open.runs.iter().position(|(other, label, _)| *other == bottle && *label == run);
        match found {
            Some(at) if open.runs[at].2.iter().all(|other| size_of(other) != size_of(&record)) => {
                open.runs[at].2.push(record);
            }
            Some(at) => {
                let done = open.runs.remove(at);
                open.runs.push_back((bottle, run, vec![record]));
                self.finish_run(done);
            }
            None => {
                open.runs.push_back((bottle, run, vec![record]));
                if open.runs.len() > OPEN_RUNS {
                    let done = open.runs.pop_front();
                    self.finish_run(done);
                }
            }
        }
    }

    /// Rows without a name are of one bottle until a size comes again.
    fn end_unnamed_block(&mut self, record: &Record) {
        let Some(open) = &mut self.table else { return };
        let CountColumns::Long { size, .. } = open.rows.settled.layout.counts else { return };
        let Some((bottle, _, rows)) = open.runs.back() else { return };
        if !bottle.named && rows.iter().any(|row| row.text(Some(size)) == record.text(Some(size))) {
            open.block = None;
        }
    }

    fn finish_run(&mut self, done: Option<(Identity, Option<String>, Vec<Record>)>) {
        let (Some((bottle, _, records)), Some(rows)) = (done, self.rows()) else { return };
        match rows.long(&bottle, &records) {
            Ok(piece) => self.add(vec![piece]),
            Err(rejected) => self.reject_row(*rejected),
        }
    }

    /// A row of a table with a column per bottle or run.
    fn row_across(&mut self, record: Record) -> Option<Record> {
        let Some(open) = &mut self.table else { return Some(record) };
        let Some(across) = &mut open.across else { return Some(record) };
        match across.take(record, &open.rows) {
            Ok(()) => None,
            Err((record, Some(reason))) => self.pass_over(reason, record),
            Err((record, None)) => {
                self.loose.push(record);
                None
            }
        }
    }

    /// The bottle of a row: its cell, or the name above an empty cell where rows may be runs, or the line.
    fn identity(&mut self, record: &Record) -> Identity {
        let Some(open) = &mut self.table else { return Identity::default() };
        let layout = &open.rows.settled.layout;
        let own = record.text(layout.id).map(str::to_owned);
        let may_be_run =
            layout.run.is_some() || layout.id.is_none() || matches!(layout.counts, CountColumns::Long { .. });
        let inherits = own.is_none() && may_be_run;
        let found = own.or_else(|| self.last_id.clone().filter(|_| may_be_run));
        let named = found.is_some();
        if !named && !open.said_unnamed {
            open.said_unnamed = true;
            self.sink.notice(notices::unnamed(&open.rows.table, record.line));
        }
        let mut fields = open.rows.fields(record);
        let mut more = open.rows.more_names(record);
        let is_long = matches!(layout.counts, CountColumns::Long { .. });
        let begins = if is_long { *open.block.get_or_insert(record.line) } else { record.line };
        let id = found.unwrap_or_else(|| unnamed(begins));
        // What stands with the name on the first run's row holds for the rows below it.
        if let Some(last) = self.last.as_ref().filter(|last| inherits && layout.id.is_some() && last.id == id)
        {
            let missing = last.fields.iter().filter(|(field, _)| {
                field.tells_bottles_apart() && !fields.iter().any(|(known, _)| known == field)
            });
            let missing: Vec<_> = missing.cloned().collect();
            fields.extend(missing);
            if more.is_empty() {
                more.clone_from(&last.more);
            }
        }
        let bottle = Identity { id, named, fields, more };
        self.last = Some(bottle.clone());
        bottle
    }

    fn hand_on(&mut self, mut bottle: Bottle) {
        for row in bottle.take_empty_runs() {
            let error = ErrorKind::RunEmpty { bottle: bottle.sample.id.clone() }.into();
            if let Some(problem) = self.rows().map(|rows| rows.problem(&error, None, &row, None)) {
                self.reject(problem);
            }
        }
        if !bottle.holds_something() {
            return;
        }
        if let Some(error) = bottle.doubt() {
            let problems = self.rows().map(|rows| {
                let of_bottle = bottle.rows();
                let mut problem = rows.problem(&error, None, &of_bottle[0], None);
                problem.rows = of_bottle.iter().map(RejectedRow::of).collect();
                problem.rejected = bottle.records();
                problem
            });
            if let Some(problem) = problems {
                self.reject(problem);
            }
            return;
        }
        if let (Some(rows), Some((ratio, size))) = (self.rows(), bottle.widest()) {
            let notice = notices::runs_differ(&rows.table, &bottle.sample, ratio, size);
            if let Some(notice) = notice {
                self.sink.notice(notice);
            }
        }
        let records = bottle.records();
        if bottle.blank {
            self.account.pass_over(PassedOver::Blank, records);
            self.sink.blank(bottle.sample);
        } else {
            self.bottles += 1;
            self.account.scored += records;
            self.account.runs_scored += bottle.sample.runs.len() as u64;
            self.sink.sample(bottle.sample);
        }
    }

    fn reject_row(&mut self, rejected: Rejected) {
        self.reject(rejected.problem);
        if let Some(piece) = rejected.beside {
            self.add(vec![piece]);
        }
    }

    fn reject(&mut self, problem: Problem) {
        self.account.rejected += problem.rejected;
        self.account.runs_rejected += u64::from(problem.rejected > 0 || problem.run.is_some());
        self.sink.problem(problem);
    }

    /// A row of a table that is refused as a whole: such rows are rejected together.
    fn refuse_row(&mut self, problem: Problem) {
        const TOGETHER: usize = 1000;
        match &mut self.refused_rows {
            Some(whole) => {
                whole.rejected += problem.rejected;
                whole.rows.extend(problem.rows);
            }
            None => self.refused_rows = Some(problem),
        }
        if self.refused_rows.as_ref().is_some_and(|whole| whole.rows.len() >= TOGETHER) {
            self.reject_refused();
        }
    }

    fn reject_refused(&mut self) {
        if let Some(mut whole) = self.refused_rows.take() {
            if let (Some(open), rows @ 2..) = (&self.table, whole.rows.len()) {
                let error = open.refused.as_ref().map(|error| error.kind().to_string());
                whole.found = format!("{rows} rows");
                whole.message = error.unwrap_or(whole.message);
            }
            self.reject(whole);
        }
    }

    #[allow(clippy::unnecessary_wraps)] // gives the record back, as every way a record may go does
    fn pass_over(&mut self, reason: PassedOver, record: Record) -> Option<Record> {
        self.account.pass_over(reason, 1);
        self.passed.add(reason, record.line);
        Some(record)
    }

    /// Loose lines below rows, before further rows of the same table.
    fn loose_is_settled(&mut self) {
        if !self.loose.is_empty() {
            let loose = std::mem::take(&mut self.loose);
            self.set_aside(loose);
        }
    }

    /// Passes over lines beside tables; those that hold numbers like a row's are rejected.
    fn set_aside(&mut self, lines: Vec<Record>) {
        let reason = if self.tables == 0 { PassedOver::Preamble } else { PassedOver::Remark };
        for line in lines {
            if looks_like_row(&line) {
                let error = Error::from(ErrorKind::RowWithoutHeading {});
                let position = Position {
                    file: Some(self.origin.file.clone()),
                    sheet: self.origin.sheet.clone(),
                    line: Some(line.line),
                    column: None,
                };
                let table = Table {
                    file: self.origin.file.clone(),
                    sheet: self.origin.sheet.clone(),
                    ..Table::default()
                };
                let found = line.cells.iter().collect::<Vec<_>>().join(" | ");
                self.reject(Problem::new(
                    &error.at(position),
                    found,
                    vec![RejectedRow::of(&line)],
                    Arc::new(table),
                ));
            } else {
                self.account.pass_over(reason, 1);
                self.passed.add(reason, line.line);
            }
        }
    }

    fn end_table(&mut self) {
        self.reject_refused();
        let Some(open) = &mut self.table else { return };
        let runs = std::mem::take(&mut open.runs);
        let across = open.across.take();
        for run in runs {
            self.finish_run(Some(run));
        }
        if let (Some(across), Some(rows)) = (across, self.rows()) {
            let done = across.finish(rows, self.last_id.as_deref(), self.origin.only.as_deref());
            for reason in done.passed_over {
                self.account.pass_over(reason.0, 1);
                self.passed.add(reason.0, reason.1);
            }
            self.add(done.pieces);
            for problem in done.problems {
                // The rows are those of other columns too, but the run is its own.
                self.account.runs_rejected += u64::from(problem.rejected == 0);
                self.reject(problem);
            }
        }
        while let Some(bottle) = self.gatherer.pop() {
            self.hand_on(bottle);
        }
        self.table = None;
    }

    fn say_what_was_passed_over(&mut self) {
        let table =
            Table { file: self.origin.file.clone(), sheet: self.origin.sheet.clone(), ..Table::default() };
        if self.source.records.was_latin1() {
            self.sink.notice(notices::latin1(&table));
        }
        for notice in std::mem::take(&mut self.passed).notices(&table) {
            self.sink.notice(notice);
        }
    }
}

/// What a record is, if it is no row.
pub(super) enum Aside {
    /// It is passed over.
    Passed(PassedOver),
    /// It says something in words.
    Words,
    /// It may be another heading.
    Heading,
    /// It is a row.
    No,
}

/// What a record under a table's heading is.
pub(super) fn aside(record: &Record, rows: &RowReader<'_>) -> Aside {
    let layout = &rows.settled.layout;
    if is_comment(record) {
        return Aside::Passed(PassedOver::Comment);
    }
    if is_rule(record) {
        return Aside::Passed(PassedOver::Rule);
    }
    if repeats_heading(record, rows) {
        return Aside::Passed(PassedOver::Heading);
    }
    if record.open_quote {
        return Aside::No;
    }
    if let Some(reason) = summary_by_words(record, rows) {
        return Aside::Passed(reason);
    }
    if holds_counts(record, layout) {
        return Aside::No;
    }
    let texts = record.texts();
    match Layout::of(std::slice::from_ref(&texts), 0, rows.options) {
        Ok(None) if looks_like_remark(record, rows) || is_group(record) => Aside::Words,
        Ok(None) => Aside::No,
        _ => Aside::Heading,
    }
}

/// The first table of a text, read no further than its heading.
pub(super) struct FirstTable<'a> {
    pub(super) rows: RowReader<'a>,
    /// The last line of its heading.
    pub(super) ends: u64,
    pub(super) notices: Vec<Notice>,
    /// Rows were rejected above it.
    pub(super) refused: bool,
}

/// Finds the first table of a text that begins here.
///
/// # Errors
/// Those of [`TableReader::read`], and why the table was refused.
pub(super) fn first_table<'a>(
    name: &str,
    head: &[u8],
    delimiter: u8,
    options: &'a Options,
) -> Result<FirstTable<'a>> {
    let mut records = TextRecords::new(head, delimiter, b'\n');
    let (mut batch, mut account) = (Batch::default(), Account::default());
    let origin =
        Origin { file: name.into(), delimiter: Some(sniff::delimiter_name(delimiter)), ..Origin::default() };
    let mut reader = TableReader::new(origin, &mut records, options, &mut batch, &mut account);
    while reader.table.is_none() {
        let Some(record) = reader.source.next(Record::default())? else { break };
        reader.account.rows += 1;
        reader.record(record)?;
    }
    let Some(open) = reader.table.take() else {
        return reader.read().and_then(|_| Err(ErrorKind::InputEmpty {}.into()));
    };
    if let Some(error) = open.refused {
        return Err(error);
    }
    let ends = open.rows.table.heading.last().map_or(0, |line| line.line);
    Ok(FirstTable { rows: open.rows, ends, refused: !batch.problems.is_empty(), notices: batch.notices })
}

/// Whether a record is the heading of its table once more.
fn repeats_heading(record: &Record, rows: &RowReader<'_>) -> bool {
    rows.table.heading.iter().any(|line| {
        line.cells.len() == record.cells.len()
            && line.cells.iter().map(|cell| cell.trim()).eq(record.cells.iter().map(str::trim))
    })
}

/// Whether the words of a row say that it sums up others, or repeats a code.
fn summary_by_words(record: &Record, rows: &RowReader<'_>) -> Option<PassedOver> {
    let layout = &rows.settled.layout;
    let first = record.cells.iter().position(|cell| !cell.trim().is_empty());
    let size = match layout.counts {
        CountColumns::Long { size, .. } => Some(size),
        _ => None,
    };
    let places = [layout.id, layout.run, first, size];
    let mut cells = places.into_iter().flatten().filter_map(|column| record.text(Some(column)));
    cells.find_map(|cell| {
        // A name that ends in a digit is no word for a summary.
        if cell.as_bytes().last().is_some_and(u8::is_ascii_digit) && cell.len() < 24 && !cell.contains(' ') {
            return None;
        }
        let of_words = statistic(cell).map(reason_of);
        of_words.or_else(|| is_code_label(cell).then_some(PassedOver::CodeRow))
    })
}

/// A heading, and whether its names stand in the line below the record it was found at.
pub(super) struct FoundHeading {
    pub(super) heading: Heading,
    below_names: bool,
}

/// The heading that begins with this record: with the line of groups above it, or below it the line of names, or the
/// line of units. There must be a row below it that it fits.
///
/// # Errors
/// Those of [`Layout::of`].
pub(super) fn find_heading(
    group: Option<&Record>,
    record: &Record,
    following: &[Record],
    options: &Options,
) -> Result<Option<FoundHeading>> {
    if record.cells.len() < 2 && following.iter().all(|line| line.cells.len() < 2) {
        return Ok(None);
    }
    let names = record.texts();
    let next = following.first().filter(|line| !line.hidden).map(Record::texts);
    let unit_below =
        |line: Option<&Record>| line.map(Record::texts).filter(|line| may_be_units(line) && names.len() > 1);
    // Groups above names: the record is the line of groups.
    if let Some(next) = next
        .as_ref()
        .filter(|next| names.len() > 1 && next.len() > 1 && is_group(record) && !may_be_units(next))
    {
        let alone = Layout::of(std::slice::from_ref(&names), 0, options).ok().flatten();
        let unit = unit_below(following.get(1));
        let lines: Vec<Vec<String>> = [names.clone(), next.clone()].into_iter().chain(unit.clone()).collect();
        let both = Layout::of(&lines, 1, options)
            .or_else(|error| if alone.is_some() { Ok(None) } else { Err(error) })?;
        let below = 1 + usize::from(unit.is_some());
        let next_alone = Layout::of(&lines[1..], 0, options).ok().flatten();
        if let Some(layout) = both
            && next_alone.as_ref() != Some(&layout)
            && alone.is_none_or(|alone| alone.count_columns().len() < layout.count_columns().len())
            && fits_rows(&layout, &following[below.min(following.len())..])
        {
            let heading = Heading { layout, above: 0, below, names: 1, own: true };
            return Ok(Some(FoundHeading { heading, below_names: true }));
        }
    }
    let unit = unit_below(following.first());
    let with = |group: Option<&Record>| -> Result<Option<(Layout, usize)>> {
        let above = usize::from(group.is_some());
        let lines: Vec<Vec<String>> =
            group.map(Record::texts).into_iter().chain([names.clone()]).chain(unit.clone()).collect();
        Ok(Layout::of(&lines, above, options)?.map(|layout| (layout, above)))
    };
    let plain = with(None);
    let (layout, above) = match (group.map(|group| with(Some(group))), plain) {
        // A line above that changes nothing is a title.
        (Some(Ok(Some((grouped, above)))), Ok(Some((plain, _)))) if grouped != plain => (grouped, above),
        (Some(Ok(Some((grouped, above)))), Ok(None) | Err(_)) => (grouped, above),
        (_, Ok(Some(plain))) => plain,
        (_, Err(error)) => return Err(error),
        _ => return Ok(None),
    };
    let below = usize::from(unit.is_some());
    if !fits_rows(&layout, &following[below.min(following.len())..]) {
        return Ok(None);
    }
    let heading = Heading { layout, above, below, names: above, own: true };
    Ok(Some(FoundHeading { heading, below_names: false }))
}

/// Whether some row below a heading holds what it names; where there is none, nothing speaks against it.
fn fits_rows(layout: &Layout, rows: &[Record]) -> bool {
    let columns = layout.count_columns();
    let fits = |record: &Record| match &layout.counts {
        CountColumns::Long { size, .. } => record.cells.get(*size).is_some_and(|cell| {
            heading::counts(cell).is_some_and(|counts| counts.size.is_some()) && holds_counts(record, layout)
        }),
        CountColumns::Codes { column } => record.text(Some(*column)).is_some(),
        _ => columns.iter().any(|&column| {
            record.cells.get(column).is_some_and(|cell| {
                is_count(cell) || !cell.trim().is_empty() && heading::counts(cell).is_none()
            })
        }),
    };
    let speaks_for_itself = matches!(layout.counts, CountColumns::Wide { .. })
        && layout.sizes_um().len() > 1
        && (layout.said.basis.is_some() || layout.said.scale.is_some());
    rows.is_empty() || speaks_for_itself || rows.iter().any(fits)
}

/// The rows of a table among the records behind its heading, up to the next heading, and where they end.
fn rows_of(ahead: &[Record], layout: &Layout) -> (Vec<Record>, usize) {
    let columns = layout.count_columns();
    let is_heading = |record: &Record| {
        let names = record.texts();
        let sized = names.iter().filter(|name| {
            heading::counts(name)
                .is_some_and(|counts| counts.size.is_some() && (counts.micrometres || counts.scale.is_some()))
        });
        sized.count() >= 2 && !names.iter().any(|name| is_count(name) && heading::counts(name).is_none())
    };
    let end = ahead.iter().position(is_heading).unwrap_or(ahead.len());
    let is_row = |record: &&Record| {
        columns.iter().any(|&column| record.cells.get(column).is_some_and(|cell| !cell.trim().is_empty()))
            && record.cells.len() > 1
            && !record.hidden
            && record.cells.iter().all(|cell| statistic(cell).is_none())
    };
    (ahead[..end].iter().filter(is_row).cloned().collect(), end)
}

/// What a heading's lines of groups say in passing, where the names of the columns do not say it.
fn said_by_groups(groups: &[Record], layout: &Layout) -> Vec<(u64, Statement)> {
    let mut context = Context::default();
    context.learn(groups);
    let said = &layout.said;
    context.said.retain(|(_, statement)| match statement {
        Statement::Basis(_) => said.basis.is_none(),
        Statement::Scale(_) => said.scale.is_none(),
        Statement::Form(_) | Statement::Volume(_) => true,
        _ => false,
    });
    context.said
}

/// What lines below the rows of a table say of it. In front of another table only those that stand right below the
/// rows are its own: the others are the title of the next.
fn footnotes(ahead: &[Record], layout: &Layout, is_last: bool) -> Context {
    let columns = layout.count_columns();
    let is_row =
        |record: &Record| columns.iter().any(|&column| record.cells.get(column).is_some_and(is_count));
    let last = ahead.iter().rposition(is_row).map_or(0, |at| at + 1);
    let mut context = Context::default();
    if is_last {
        context.learn(&ahead[last..]);
    } else {
        let mut previous = ahead.get(last.wrapping_sub(1)).map_or(0, |record| record.line);
        let adjoins = |record: &&Record| {
            let near = record.line <= previous + 1;
            previous = record.line;
            near
        };
        let own: Vec<&Record> = ahead[last..].iter().take_while(adjoins).collect();
        // Without an empty line behind them they belong to what follows.
        if last + own.len() < ahead.len() {
            context.learn(own);
        }
    }
    context.said.retain(|(_, said)| {
        matches!(said, Statement::Basis(_) | Statement::Form(_) | Statement::Scale(_) | Statement::Volume(_))
    });
    context
}

pub(super) const fn reason_of(statistic: Statistic) -> PassedOver {
    match statistic {
        Statistic::Mean => PassedOver::Mean,
        Statistic::Spread => PassedOver::Deviation,
        Statistic::Other => PassedOver::Summary,
    }
}

/// A line that a file of rejected rows holds beside the rows.
fn is_ours(record: &Record) -> bool {
    record.raw.starts_with(rejects::MARK.as_bytes())
}

/// A line that begins with `#` and holds no counts.
fn is_comment(record: &Record) -> bool {
    if is_ours(record) {
        return true;
    }
    let first = record.cells.get(0).unwrap_or_default().trim_start();
    let is_remark = first.starts_with("# ") || first == "#" || first.starts_with("##");
    let alone = record.cells.iter().skip(1).all(|cell| cell.trim().is_empty());
    first.starts_with('#') && (alone || (is_remark && !record.cells.iter().any(is_count)))
}

/// A line drawn with dashes and the like.
fn is_rule(record: &Record) -> bool {
    let is_drawn = |cell: &str| {
        cell.len() >= 2 && cell.chars().all(|c| matches!(c, '-' | '=' | '_' | ':' | '*' | '+' | '~'))
    };
    let mut filled = record.cells.iter().map(str::trim).filter(|cell| !cell.is_empty()).peekable();
    filled.peek().is_some()
        && filled.all(|cell| {
            is_drawn(cell)
                && (record.cells.len() == 1 || cell.starts_with(['-', '=', ':', '_']))
                && cell.len() >= 3
        })
}

/// Whether a line beside a table holds three numbers or more, as a row of counts does.
fn looks_like_row(line: &Record) -> bool {
    let numbers = line.cells.iter().filter(|cell| is_count(cell)).count();
    numbers >= 3 || line.open_quote
}

/// Whether a cell holds a number as a count does: digits, a bound, or too many to count.
pub(super) fn is_count(cell: &str) -> bool {
    let read = super::row::cell(cell, Marks::Mixed);
    match read {
        Ok((Cell::Number(_) | Cell::Below(_) | Cell::Above(_) | Cell::TooMany, _)) => true,
        Ok(_) => false,
        Err(error) => {
            error.code() == "count-ambiguous"
                || matches!(number::read(cell, Marks::Mixed), Err(NotANumber::Ambiguous))
        }
    }
}

fn holds_counts(record: &Record, layout: &Layout) -> bool {
    layout.count_columns().iter().any(|&column| record.cells.get(column).is_some_and(is_count))
}

/// A line above the names of columns: it groups them by size, run or unit, and holds no counts.
pub(super) fn is_group(line: &Record) -> bool {
    let speaks = |cell: &str| {
        let parsed = heading::parse(cell);
        parsed.unknown.is_none() && parsed.counts.says_more_than_a_number()
            || heading::stated_basis(cell).is_some()
            || is_run_label(cell)
                && words::rank("run", heading::plain(cell).split(' ').next().unwrap_or_default()).is_some()
    };
    let filled = line.cells.iter().enumerate().filter(|(_, cell)| !cell.trim().is_empty());
    line.cells.len() > 1
        && filled.clone().any(|(column, cell)| column > 0 && speaks(cell))
        && !line.cells.iter().any(is_count)
}

/// A line of units holds words, and no number anywhere.
pub(super) fn may_be_units(cells: &[String]) -> bool {
    let filled: Vec<&String> = cells.iter().filter(|cell| !cell.trim().is_empty()).collect();
    let says_unit = |cell: &&&String| {
        heading::volume_alone(cell).is_some()
            || heading::counts(cell).is_some_and(|counts| {
                counts.size.is_none()
                    && (counts.basis.is_some() || counts.micrometres || counts.scale.is_some())
            })
    };
    let is_short = |cell: &&String| cell.trim().len() <= 24;
    filled.iter().filter(says_unit).count() >= 1
        && filled.iter().all(is_short)
        && !cells.iter().any(|cell| is_count(cell) && !is_inverse_volume(cell))
        && filled.iter().filter(says_unit).count() * 2 >= filled.len()
}

/// `1/ml`: a unit, not a count.
fn is_inverse_volume(cell: &str) -> bool {
    let volume = cell.trim().strip_prefix("1/").or_else(|| cell.trim().strip_prefix("#/"));
    volume.is_some_and(|volume| heading::volume_alone(volume).is_some())
}

/// A cell that says that its row repeats the code, the class or the target.
pub(super) fn is_code_label(cell: &str) -> bool {
    let plain = heading::plain(cell);
    Role::of(cell) == Role::Code && plain != "code"
        || matches!(
            plain.as_str(),
            "target"
                | "limit"
                | "limits"
                | "ziel"
                | "soll"
                | "sollwert"
                | "grenzwert"
                | "cible"
                | "objetivo"
                | "limite"
                | "cel"
                | "doel"
                | "klasse"
                | "class"
                | "requirement"
                | "iso 4406 class"
                | "target code"
                | "iso"
        )
        || plain.starts_with("iso 4406")
        || plain.starts_with("target ")
        || plain.starts_with("iso code")
}

/// A run label is a number, a letter, `R1`, `run 2`, `2nd` and the like.
pub(super) fn is_run_label(text: &str) -> bool {
    let text = text.trim();
    let folded = words::fold(text);
    let has_digit = folded.bytes().any(|byte| byte.is_ascii_digit());
    let letters: String = folded.chars().filter(|c| c.is_alphabetic()).collect();
    let is_short = text.chars().count() <= 2 && !has_digit;
    let numeral = !folded.is_empty() && folded.chars().all(|c| matches!(c, 'i' | 'v' | 'x'));
    let ordinal = matches!(
        folded.as_str(),
        "first"
            | "second"
            | "third"
            | "fourth"
            | "fifth"
            | "one"
            | "two"
            | "three"
            | "erste"
            | "zweite"
            | "dritte"
    );
    let numbered = has_digit
        && (letters.len() <= 3
            || words::is("run", &letters)
            || words::rank(
                "run",
                heading::plain(text).trim_end_matches(|c: char| c.is_ascii_digit() || c == ' '),
            )
            .is_some());
    // `Run A`, `2nd run`
    let lettered = folded.split_once(' ').is_some_and(|(first, second)| {
        (second.chars().count() == 1 && words::is("run", first))
            || (first.starts_with(|c: char| c.is_ascii_digit()) && words::is("run", second))
    });
    statistic(text).is_none() && (is_short || numeral || ordinal || numbered || lettered)
}

/// Words beside a table: a title, a footnote, a page number.
fn looks_like_remark(record: &Record, rows: &RowReader<'_>) -> bool {
    let layout = &rows.settled.layout;
    if holds_counts(record, layout) || record.cells.iter().filter(|cell| is_count(cell)).count() > 1 {
        return false;
    }
    let filled: Vec<&str> = record.cells.iter().map(str::trim).filter(|cell| !cell.is_empty()).collect();
    let text = filled.join(" ");
    let shorter = record.cells.len() < layout.width;
    let alone = filled.len() == 1 || (filled.len() <= 3 && shorter);
    let folded = words::fold(&text);
    let words_of: Vec<&str> =
        folded.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let closes = words_of.iter().any(|word| words::is("closing", word));
    let has_digit = text.bytes().any(|byte| byte.is_ascii_digit());
    let is_prose = words_of.len() >= 4
        || (words_of.len() == 3 && !has_digit)
        || text.contains(": ")
        || text.starts_with(['*', '(', '\u{2020}'])
        || text.ends_with(':');
    let names_bottle = words_of.len() == 2 && words::rank("bottle", words_of[0]).is_some();
    let prose_over_cells = shorter && words_of.len() >= 6 && !text.bytes().any(|byte| byte.is_ascii_digit());
    let labelled = filled.len() > 1 && filled.iter().all(|cell| is_labelled(cell));
    (alone
        && (closes || is_prose || names_bottle)
        && record.text(layout.id).is_none_or(|_| filled.len() == 1 || shorter))
        || prose_over_cells
        || labelled
}

/// `Date: 2031-05-12`: a label and its value in one cell.
fn is_labelled(cell: &str) -> bool {
    cell.split_once(": ").is_some_and(|(label, _)| label.starts_with(char::is_alphabetic))
}
