//! `siltcode score`: bottles scored, from files of counts.

mod classes;
mod closing;
mod csv;
mod json;
mod pool;
mod previous;
mod rejects;
mod report;
mod say;
mod table;
mod under;

use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;

use clap::ValueEnum;
use indicatif::{ProgressBar, ProgressStyle};
use siltcode::certainty::{Context, Level, Repeatability, Rule, Scatter};
use siltcode::class::ClassRequest;
use siltcode::intake::{
    self, Account, Corrections, Decimal, Form, Limits, Notice, Options, Problem, RepeatedIds, Severity, Sink,
    Summary,
};
use siltcode::spec::published;
use siltcode::{
    Basis, Code, CountedVolume, Dilution, LeaveOut, NamedRun, Sample, Scoring, SizeScale, Spec, Spectrum,
    score,
};

use crate::exit::Exit;
use crate::failure::{Failure, Refusal};
use crate::inputs::{self, Input};
use crate::outfile::Identity;
use crate::printed::Printed;
use classes::Classes;
use pool::{Pool, Waiting};
use previous::{MatchBy, PreviousBottles};
use rejects::Rejects;
use report::{Report, Tally};

/// Score bottles: counts in, cleanliness codes and verdicts out.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  \
    siltcode score demo-samples --spec demo-samples/day-tank.toml\n  \
    siltcode score monday.csv --spec 18/16/13 --rejects to-correct.csv\n  \
    siltcode score monday.csv --spec 18/16/13 --rule guard-band --confidence 0.9\n  \
    siltcode score counts.xlsx --per 100mL --format json\n  \
    siltcode score monday.csv --class as4059,nas1638 --convert-sizes acftd\n\n\
    Whatever is not given is looked for in the file and reported on standard error.")]
#[allow(clippy::struct_excessive_bools)] // each is an option of the command line
pub(crate) struct Args {
    /// Files of counts, delimited text or XLSX; a folder stands for the files in it, - for standard input.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    /// Read the folders inside a folder too.
    #[arg(long)]
    recursive: bool,

    /// The target: a published name (see `siltcode specs`), a TOML file, or a code such as 18/16/13.
    #[arg(long, value_name = "NAME|FILE|CODE")]
    spec: Option<String>,

    /// Write rejected rows here; corrected and given together with the file they come from, they replace its rows.
    #[arg(long, value_name = "FILE")]
    rejects: Option<PathBuf>,

    /// Replace the file of --rejects if it exists.
    #[arg(long, requires = "rejects")]
    force: bool,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    format: Format,

    /// Subtract the blank read last before a bottle, per size band; without this, blanks are only shown.
    #[arg(long)]
    subtract_blank: bool,

    /// Leave out the first run of each bottle that has others: the line may still have held the last sample.
    #[arg(long)]
    skip_first_run: bool,

    /// Leave out a run of a bottle, by its label or its place: W012:1. Can be given more than once.
    #[arg(long, value_name = "BOTTLE:RUN")]
    leave_out: Vec<NamedRun>,

    /// Bottles drawn before: says for each size what it was, what it is, and whether it fell, rose or stayed the same.
    #[arg(long, value_name = "FILE")]
    previous: Vec<PathBuf>,

    /// What to match them by: the name of the bottle, or the tank and the point that columns of those names hold.
    #[arg(long = "match", value_name = "BY", default_value = "id", requires = "previous")]
    match_by: MatchBy,

    #[command(flatten)]
    classes: Classes,

    #[command(flatten)]
    certainty: Certainty,

    #[command(flatten)]
    hints: Hints,
}

/// How sure to be, and what is known of it.
#[derive(clap::Args)]
#[command(next_help_heading = "How sure to be")]
struct Certainty {
    /// The confidence level of intervals and verdicts, from 1e-12 to 1 - 1e-12.
    #[arg(long, value_name = "LEVEL", default_value_t = 0.95, allow_negative_numbers = true)]
    confidence: f64,

    /// How counts become a verdict; without it conformity, or simple where raw counts and volumes are missing.
    #[arg(long, value_name = "RULE")]
    rule: Option<RuleName>,

    /// How much runs of one bottle vary beyond counting, as a coefficient of variation (0.02 is 2 %), as the counter's maker
    /// or the laboratory's own study gives it. Runs of the file are allowed for with it, or without it by themselves.
    #[arg(long, value_name = "CV", allow_negative_numbers = true)]
    repeatability: Option<f64>,

    /// How much bottles of this fluid scatter beyond counting, as a coefficient of variation (0.1 is 10 %).
    #[arg(long, value_name = "CV", allow_negative_numbers = true)]
    scatter: Option<f64>,

    /// The test method, to check the counts against its range: "ASTM D7619".
    #[arg(long, value_name = "NAME")]
    method: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
enum RuleName {
    /// The result as it is against the limit as it is.
    Simple,
    /// Each size's one-sided limit of confidence against its limit.
    GuardBand,
    /// The probability that all limits are met together.
    Conformity,
}

impl Certainty {
    fn rule(&self, level: Level) -> Option<Rule> {
        self.rule.map(|rule| match rule {
            RuleName::Simple => Rule::SimpleAcceptance,
            RuleName::GuardBand => Rule::GuardBand(level),
            RuleName::Conformity => Rule::Conformity(level),
        })
    }

    fn context(&self) -> Result<Context<'_>, Failure> {
        Ok(Context {
            level: Level::new(self.confidence)?,
            scatter: self.scatter.map(Scatter::stated).transpose()?,
            method: self.method.as_deref(),
            ..Context::default()
        })
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    /// An aligned table of 80 columns.
    Table,
    /// JSON, schema siltcode.score/1.
    Json,
    /// Comma-separated values, one line a bottle.
    Csv,
}

/// What is known of the input beforehand.
#[derive(clap::Args)]
#[command(next_help_heading = "What the files hold, where they do not say it")]
struct Hints {
    /// The mark between cells.
    #[arg(long, value_name = "MARK")]
    delimiter: Option<Delimiter>,

    /// The decimal mark.
    #[arg(long, value_name = "MARK")]
    decimal: Option<DecimalMark>,

    /// What the counts refer to.
    #[arg(long, value_name = "VOLUME")]
    per: Option<Per>,

    /// The scale of the sizes: um(c), um(b), acftd or microscope.
    #[arg(long, value_name = "SCALE")]
    scale: Option<String>,

    /// Counts are per size band, not cumulative.
    #[arg(long, conflicts_with = "cumulative")]
    differential: bool,

    /// Counts are of a size and larger.
    #[arg(long)]
    cumulative: bool,

    /// Counted volume of each run, in mL.
    #[arg(long, value_name = "ML", allow_negative_numbers = true)]
    volume: Option<f64>,

    /// Dilution factor: total volume over sample volume.
    #[arg(long, value_name = "FACTOR", allow_negative_numbers = true)]
    dilution: Option<f64>,

    /// The most cells of a workbook's sheet, empty ones before the last of a row counted in.
    #[arg(long, value_name = "NUMBER", default_value_t = Limits::default().cells)]
    max_cells: u64,

    /// The most that a workbook may take up once unpacked, in MiB.
    #[arg(long, value_name = "MIB", default_value_t = Limits::default().unpacked_bytes >> 20)]
    max_unpacked: u64,

    /// The sheet of a workbook to read.
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Delimiter {
    Comma,
    Semicolon,
    Tab,
    Pipe,
    /// Two or more blanks.
    Blanks,
    /// A colon behind a label.
    Colon,
}

#[derive(Clone, Copy, ValueEnum)]
enum DecimalMark {
    Dot,
    Comma,
}

#[derive(Clone, Copy, ValueEnum)]
enum Per {
    #[value(name = "mL", alias = "ml")]
    Ml,
    #[value(name = "10mL", alias = "10ml")]
    TenMl,
    #[value(name = "100mL", alias = "100ml")]
    HundredMl,
    #[value(name = "L", alias = "l")]
    Litre,
    #[value(name = "raw")]
    Raw,
}

impl Hints {
    fn options(&self) -> Result<Options, Failure> {
        let form = match (self.differential, self.cumulative) {
            (true, _) => Some(Form::Differential),
            (false, true) => Some(Form::Cumulative),
            (false, false) => None,
        };
        Ok(Options {
            delimiter: self.delimiter.map(|mark| match mark {
                Delimiter::Comma => b',',
                Delimiter::Semicolon => b';',
                Delimiter::Tab => b'\t',
                Delimiter::Pipe => b'|',
                Delimiter::Blanks => intake::BLANKS,
                Delimiter::Colon => intake::COLON,
            }),
            decimal: self.decimal.map(|mark| match mark {
                DecimalMark::Dot => Decimal::Dot,
                DecimalMark::Comma => Decimal::Comma,
            }),
            basis: self.per.map(|per| match per {
                Per::Ml => Basis::PerMl,
                Per::TenMl => Basis::Per10Ml,
                Per::HundredMl => Basis::Per100Ml,
                Per::Litre => Basis::PerL,
                Per::Raw => Basis::Raw,
            }),
            scale: self.scale.as_deref().map(str::parse::<SizeScale>).transpose()?,
            form,
            volume: self.volume.map(CountedVolume::from_ml).transpose()?,
            dilution: self.dilution.map(Dilution::new).transpose()?,
            sheet: self.sheet.clone(),
            limits: Limits {
                cells: self.max_cells,
                unpacked_bytes: self.max_unpacked.saturating_mul(1 << 20),
            },
            corrections: None,
        })
    }
}

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let spec = args.spec.as_deref().map(read_spec).transpose()?;
    let mut options = args.hints.options()?;
    let context = args.certainty.context()?;
    let rule = args.certainty.rule(context.level);
    let asked = args.classes.asked()?;
    let classes = ClassRequest { systems: &asked.systems, convert_to: asked.convert_sizes };
    let inputs::Found { inputs, skipped } = inputs::find(&args.files, args.recursive)?;
    options.corrections = corrections(&inputs)?;
    let mut rejects = Rejects::new(args.rejects.as_deref(), args.force, &args.read_from(&inputs))?;

    let scoring = Scoring { spec: spec.as_ref(), rule, subtract: None, classes, context };
    let stated = args.certainty.repeatability.map(Scatter::stated).transpose()?;
    let previous = PreviousBottles::read(&args.previous, args.match_by, &options, &scoring, stated)?;
    let out = io::stdout().lock(); // JSON and CSV have no colours to be stripped
    let to_terminal = out.is_terminal();
    let report: Box<dyn Report + '_> = match args.format {
        Format::Table => Box::new(table::Table::new(anstream::stdout().lock(), spec.as_ref(), &asked)),
        Format::Json => Box::new(json::Json::new(out, json::Request::new(args, &scoring, asked.clone()))),
        Format::Csv if to_terminal => Box::new(csv::Csv::new(Printed::plain(out), asked.clone())),
        Format::Csv => Box::new(csv::Csv::new(out, asked.clone())),
    };
    let mut scorer = Scorer {
        scoring,
        subtract_blank: args.subtract_blank,
        previous,
        blank: None,
        pool: Pool::new(
            stated,
            LeaveOut { skip_first_run: args.skip_first_run, named: args.leave_out.clone() },
        ),
        report,
        rejects: &mut rejects,
        repeated: RepeatedIds::default(),
        file: String::new(),
        tally: Tally::default(),
        unscored: Vec::new(),
        failed: None,
    };
    if !skipped.is_empty() {
        scorer.notice(skipped_files(&skipped));
    }
    let mut summaries = Vec::new();
    let progress = progress_bar(inputs.iter().map(|input| input.bytes).sum());
    let mut refused = None;
    for input in &inputs {
        match scorer.read(input, &options, &progress)? {
            Ok(summary) => summaries.push(summary),
            Err(error) if input.found => {
                scorer.refuse(&error);
                refused = refused.or(Some(error));
            }
            Err(error) => return Err(error.into()),
        }
    }
    progress.finish_and_clear();
    if let Some(error) = refused.filter(|_| summaries.is_empty()) {
        return Err(error.into());
    }
    if scorer.tally.bottles == 0 && scorer.tally.account.rejected == 0 {
        let message = format!("no bottle was found: {}", scorer.tally.account);
        let hint = "check that the right file was given and that its rows hold counts";
        return Err(Failure::new(Refusal::NoBottle, message, hint));
    }
    Ok(scorer.finish(&summaries)?.exit())
}

impl Args {
    /// Every file that is read.
    fn read_from(&self, inputs: &[Input]) -> Vec<Identity> {
        let named = self.previous.iter().map(PathBuf::as_path).chain(self.spec.as_deref().map(Path::new));
        let inputs = inputs.iter().filter_map(Input::identity);
        inputs.chain(named.filter_map(Identity::of_path)).collect()
    }

    pub(crate) fn is_json(&self) -> bool {
        matches!(self.format, Format::Json)
    }
}

/// A published name, a code, or a file: in this order.
pub(crate) fn read_spec(text: &str) -> Result<Spec, Failure> {
    if let Ok(spec) = published::spec(text) {
        return Ok(spec);
    }
    if let Ok(code) = text.parse::<Code>() {
        return Ok(Spec::from_code(code, SizeScale::UmC)?);
    }
    if !inputs::is_there(text) {
        return Err(Failure::from(published::spec(text).unwrap_err()));
    }
    inputs::read_toml(text, Spec::from_toml).map(|(spec, _)| spec)
}

/// The corrected rows among inputs, for those inputs that they correct.
fn corrections(inputs: &[Input]) -> Result<Option<Arc<Corrections>>, Failure> {
    if inputs.len() < 2 {
        return Ok(None);
    }
    let mut corrections = Corrections::default();
    for input in inputs.iter().filter(|input| input.is_plain_file()) {
        corrections.add(&input.name, input.open()?)?;
    }
    corrections.keep_for(inputs.iter().map(|input| input.name.as_str()));
    Ok(Some(Arc::new(corrections)))
}

/// A bar on standard error, for long work on a terminal only.
fn progress_bar(bytes: u64) -> ProgressBar {
    const LONG_WORK: u64 = 32 << 20;
    if bytes < LONG_WORK {
        return ProgressBar::hidden();
    }
    let style = ProgressStyle::with_template("{bar:30} {binary_bytes} of {binary_total_bytes}, {eta} left");
    ProgressBar::new(bytes).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}

/// Scores each sample as it comes and hands it to the report.
struct Scorer<'a> {
    scoring: Scoring<'a>,
    subtract_blank: bool,
    previous: PreviousBottles,
    /// The blank read last.
    blank: Option<Rc<Spectrum>>,
    /// The bottles that wait for what the runs of their file say.
    pool: Pool,
    report: Box<dyn Report + 'a>,
    rejects: &'a mut Rejects,
    repeated: RepeatedIds,
    /// The input being read.
    file: String,
    tally: Tally,
    /// Records and runs of bottles of this input that could not be scored.
    unscored: Vec<(u64, u64)>,
    /// The first failure to write; reading goes on, but nothing more is written.
    failed: Option<io::Error>,
}

impl Scorer<'_> {
    /// Reads an input; what cannot be used of it is no failure of the command.
    fn read(
        &mut self,
        input: &Input,
        options: &Options,
        progress: &ProgressBar,
    ) -> Result<siltcode::Result<Summary>, Failure> {
        self.file.clone_from(&input.name);
        let summary = intake::stream(&input.name, progress.wrap_read(input.open()?), options, self);
        if self.pool.known().is_none() {
            self.release();
        }
        self.pool.restart();
        for (records, runs) in std::mem::take(&mut self.unscored) {
            self.tally.account.reject_scored(records, runs);
        }
        match self.failed.take() {
            Some(error) => Err(error.into()),
            None => Ok(summary),
        }
    }

    /// One of several inputs could not be used.
    fn refuse(&mut self, error: &siltcode::Error) {
        self.tally.refused += 1;
        let notice = Notice {
            file: self.file.clone(),
            sheet: error.position().and_then(|position| position.sheet.clone()),
            line: error.position().and_then(|position| position.line),
            severity: Severity::Warning,
            code: error.code(),
            message: format!("the file could not be used: {}", error.kind()),
            hint: error.hint(),
        };
        self.notice(notice);
    }

    fn finish(mut self, summaries: &[Summary]) -> Result<Tally, Failure> {
        let own = summaries.iter().map(|summary| &summary.input);
        let inputs = own.chain(&self.previous.inputs).cloned().collect();
        let file = if let [only] = summaries { &only.input.file } else { "all files" };
        let missed: Vec<_> =
            self.pool.missed().iter().map(|run| Notice::run_not_left_out(file, run)).collect();
        for notice in missed {
            self.notice(notice);
        }
        self.rejects.finish()?; // before the output, which may say where they are
        self.report.unmatched(&self.previous.unmatched())?;
        self.report.finish(&self.tally, inputs)?;
        Ok(self.tally)
    }

    /// Runs a step that writes, unless an earlier one failed.
    fn write(&mut self, step: impl FnOnce(&mut Self) -> io::Result<()>) {
        if self.failed.is_none() {
            self.failed = step(self).err();
        }
    }
}

impl Scorer<'_> {
    /// Scores the bottles that waited, now that it is known how much runs vary.
    fn release(&mut self) {
        let (known, waiting) = self.pool.release();
        if waiting.is_empty() {
            return;
        }
        if let Some(contradicted) = known.contradicted() {
            self.notice(Notice::repeatability_contradicted(&self.file, &contradicted));
        }
        let file = self.file.clone();
        self.write(|scorer| scorer.report.repeatability(&file, &known));
        for bottle in waiting {
            self.score(&bottle, &known);
        }
    }

    fn score(&mut self, bottle: &Waiting, known: &Repeatability) {
        let (sample, blank) = (&bottle.sample, bottle.blank.as_deref());
        let earlier = self.previous.counts(sample);
        let context = Context { blank, earlier, repeatability: Some(known), ..self.scoring.context };
        let subtract = blank.filter(|_| self.subtract_blank);
        match score(sample, &Scoring { subtract, context, ..self.scoring }) {
            Ok(mut scored) => {
                scored.left_out.clone_from(&bottle.left_out);
                scored.previous = self.previous.compared(sample, &scored);
                self.tally.count(&scored);
                self.write(|scorer| scorer.report.scored(&scored));
            }
            Err(error) => {
                let records = sample.source.map_or(0, |source| source.records);
                self.unscored.push((records, sample.runs.len() as u64));
                let notice = Notice {
                    file: self.file.clone(),
                    sheet: None,
                    line: None,
                    severity: Severity::Warning,
                    code: error.code(),
                    message: format!("bottle {} could not be scored: {error}", sample.id),
                    hint: error.hint(),
                };
                self.notice(notice);
            }
        }
    }
}

impl Sink for Scorer<'_> {
    fn sample(&mut self, sample: Sample) {
        if let Some(notice) = self.repeated.check(&sample, &self.file) {
            self.notice(notice);
        }
        let bottle = self.pool.take(sample, self.blank.clone());
        if let (Some(bottle), Some(known)) = (bottle, self.pool.known()) {
            self.score(&bottle, &known);
        } else if self.pool.is_full() {
            self.release();
        }
    }

    fn blank(&mut self, blank: Sample) {
        let notice = Notice {
            file: self.file.clone(),
            sheet: None,
            line: None,
            severity: Severity::Note,
            code: "blank",
            message: blank_in_words(&blank, self.subtract_blank),
            hint: String::new(),
        };
        self.notice(notice);
        self.blank = blank.spectrum().ok().map(Rc::new);
    }

    fn problem(&mut self, problem: Problem) {
        self.write(|scorer| {
            scorer.rejects.write(&problem)?;
            scorer.report.problem(&problem)
        });
    }

    fn notice(&mut self, notice: Notice) {
        self.write(|scorer| scorer.report.notice(&notice));
    }

    fn account(&mut self, account: &Account) {
        self.tally.account.add(account);
    }
}

/// Files of a folder that are not read.
fn skipped_files(skipped: &[String]) -> Notice {
    Notice {
        file: skipped[0].clone(),
        sheet: None,
        line: None,
        severity: Severity::Note,
        code: "files-not-read",
        message: format!("files not read: {}", skipped.join(", ")),
        hint: "name a file itself if it is to be read".into(),
    }
}

/// A blank is shown beside the bottles, and not scored.
fn blank_in_words(blank: &Sample, subtracted: bool) -> String {
    let counts = blank.spectrum().map(|spectrum| {
        let channels =
            spectrum.channels().iter().map(|channel| format!("{} /mL at {}", channel.reading, channel.size));
        channels.collect::<Vec<_>>().join(", ")
    });
    let use_of_it = if subtracted { "subtracted from the bottles that follow" } else { "not subtracted" };
    format!("blank {}: {}; {use_of_it}", blank.id, counts.unwrap_or_else(|error| error.to_string()))
}
