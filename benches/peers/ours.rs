//! Our side of the comparison with peers: does one piece of work for each line it is sent, and answers with the time it
//! took \[s\], by the clock and of the processors.
//!
//! The arrays are read once, from the folder given; `save` writes the bytes of the last result there, so that the other
//! side can see that both did the same work.

use std::error::Error;
use std::fs;
use std::hint::black_box;
use std::io::{self, BufRead, Write};
use std::path::{Path as FilePath, PathBuf};
use std::time::{Duration, Instant};

use rayon::prelude::*;
use rustix::time::{ClockId, clock_gettime};
use siltcode::bulk::{self, Path, Scores, Target};
use siltcode::certainty::{Level, OddsByCount, Scatter, poisson, poisson::Method};
use siltcode::filter::Beta;
use siltcode::intake::Options;
use siltcode::intake::columns::{self, Columns as TextColumns, RowScores};
use siltcode::tank::{self, BinState, Channel, Doubt, Ensemble, bulk::Columns};
use siltcode::{CountedVolume, Dilution, PerMl, SizeScale, Spec};

type Outcome<T> = Result<T, Box<dyn Error>>;

/// The arrays of the comparison and the places for their results.
struct Bench {
    folder: PathBuf,
    values: Vec<f64>,
    single: Vec<f32>,
    columns: [Vec<f64>; 3],
    counts: Vec<u64>,
    target: Target,
    bytes: Vec<u8>,
    columns_out: [Vec<u8>; 3],
    outcomes: Vec<u8>,
    /// Start, target, ratio and ingress of three channels of many tanks.
    tanks: [[Vec<f64>; 4]; 3],
    turnovers: Vec<f64>,
    /// One tank in doubt: start, target, ratio and ingress of each channel, then the spreads of its causes.
    doubtful: Vec<f64>,
    planned: Vec<f64>,
    /// The odds of all numbers, for a block of samples at a time.
    odds: Vec<[f64; 30]>,
    /// What a text came to.
    text: (TextColumns, RowScores),
}

/// Samples whose odds are held at a time: as many as the nearest cache has room for.
const BLOCK: usize = 64;

impl Bench {
    fn open(folder: &FilePath) -> Outcome<Self> {
        let doubles = |name: &str| -> Outcome<Vec<f64>> {
            let bytes = fs::read(folder.join(name))?;
            Ok(bytes.as_chunks().0.iter().map(|&bytes| f64::from_le_bytes(bytes)).collect())
        };
        let values = doubles("values")?;
        let columns = [doubles("column-4")?, doubles("column-6")?, doubles("column-14")?];
        let mut tanks: [[Vec<f64>; 4]; 3] = Default::default();
        for (i, column) in tanks.as_flattened_mut().iter_mut().enumerate() {
            *column = doubles(&format!("tank-{i}"))?;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // whole numbers below 2^53
        let counts = doubles("counts")?.into_iter().map(|count| count as u64).collect();
        #[allow(clippy::cast_possible_truncation)] // to single precision
        let single = values.iter().map(|&value| value as f32).collect();
        let code = fs::read_to_string(folder.join("code"))?;
        Ok(Self {
            folder: folder.to_owned(),
            bytes: vec![0; values.len()],
            columns_out: [0; 3].map(|byte: u8| vec![byte; columns[0].len()]),
            outcomes: vec![0; columns[0].len()],
            turnovers: vec![0.0; tanks[0][0].len()],
            doubtful: doubles("doubtful")?,
            planned: Vec::new(),
            tanks,
            odds: vec![[0.0; 30]; BLOCK],
            text: Default::default(),
            target: Target::of(&Spec::from_code(code.trim().parse()?, SizeScale::UmC)?)?,
            values,
            single,
            columns,
            counts,
        })
    }

    /// One piece of work: by the clock, and of the processors.
    fn timed(&mut self, work: &str) -> Outcome<[Duration; 2]> {
        let (start, used) = (Instant::now(), processor_time()?);
        self.work(work)?;
        Ok([start.elapsed(), processor_time()?.saturating_sub(used)])
    }

    fn work(&mut self, work: &str) -> Outcome<()> {
        let (values, bytes) = (black_box(&self.values), &mut self.bytes);
        match work {
            "numbers" => bulk::range_numbers(values, bytes)?,
            "numbers portable" => Path::PORTABLE.range_numbers(values, bytes)?,
            "numbers f32" => bulk::range_numbers_f32(black_box(&self.single), bytes)?,
            "numbers 2 threads" => bulk::par_range_numbers(values, bytes)?,
            "sum 2 threads" => {
                black_box(values.par_chunks(1 << 14).map(sum).sum::<f64>());
            }
            "score" => self.score(bulk::score)?,
            "score 2 threads" => self.score(bulk::par_score)?,
            "poisson" => self.poisson(),
            "odds" => self.odds()?,
            "text" => {
                self.text = Default::default();
                let columns = columns::read("bottles", self.bottles()?, &Options::default())?;
                let scores = columns.score(Some(&self.target))?;
                self.text = (columns, scores);
            }
            "text 2 threads" => {
                self.text = Default::default();
                let columns = columns::par_read("bottles", self.bottles()?, &Options::default())?;
                let scores = columns.par_score(Some(&self.target))?;
                self.text = (columns, scores);
            }
            "save text" => self.save_text()?,
            "forecast" => {
                let channels = black_box(&self.tanks).each_ref();
                let channels =
                    channels.map(|[start, target, beta, ingress]| Columns { start, target, beta, ingress });
                tank::bulk::turnovers(&channels, &mut self.turnovers)?;
            }
            "doubt" => self.planned = planned(black_box(&self.doubtful))?,
            "save" => fs::write(self.folder.join("result"), &self.bytes)?,
            "save score" => fs::write(self.folder.join("result"), &self.outcomes)?,
            "save odds" => self.save(self.odds.as_flattened())?,
            "save forecast" => self.save(&self.turnovers)?,
            "save doubt" => self.save(&self.planned)?,
            other => return Err(format!("no such work: {other}").into()),
        }
        Ok(())
    }

    fn save(&self, result: &[f64]) -> io::Result<()> {
        let bytes: Vec<u8> = result.iter().flat_map(|value| value.to_le_bytes()).collect();
        fs::write(self.folder.join("result"), bytes)
    }

    fn score(
        &mut self,
        by: fn(bulk::Columns<'_>, &Target, Scores<'_>) -> siltcode::Result<()>,
    ) -> siltcode::Result<()> {
        let numbers = self.columns_out.each_mut().map(Vec::as_mut_slice);
        let per_ml = black_box(self.columns.each_ref().map(Vec::as_slice));
        by(per_ml, &self.target, Scores { numbers, outcomes: &mut self.outcomes })
    }

    fn bottles(&self) -> io::Result<fs::File> {
        fs::File::open(self.folder.join("bottles.csv"))
    }

    /// The counts, the names and the times, and the scores, each in a file.
    fn save_text(&self) -> Outcome<()> {
        let (columns, scores) = &self.text;
        let counts = columns.counts.iter().flat_map(|counts| &counts.per_ml);
        let counts: Vec<u8> = counts.flat_map(|per_ml| per_ml.to_le_bytes()).collect();
        fs::write(self.folder.join("result-counts"), counts)?;
        let texts = columns.ids.iter().chain(columns.times.iter().flat_map(columns::Texts::iter));
        fs::write(self.folder.join("result-texts"), texts.collect::<String>())?;
        let scores = [scores.numbers.concat(), scores.outcomes.clone()].concat();
        Ok(fs::write(self.folder.join("result"), scores)?)
    }

    fn poisson(&self) {
        let mut limits = Vec::with_capacity(self.counts.len());
        poisson::limits(black_box(&self.counts), Level::default(), Method::Garwood, &mut limits);
        black_box(limits);
    }

    fn odds(&mut self) -> siltcode::Result<()> {
        let volume = CountedVolume::from_ml(10.0)?;
        let mut by_count = OddsByCount::new(volume, Dilution::NONE, Scatter::NONE);
        for counts in black_box(&self.counts).chunks(BLOCK) {
            by_count.write(counts, &mut self.odds[..counts.len()])?;
            black_box(&self.odds);
        }
        Ok(())
    }
}

/// The turnovers that are enough in 50, 80, 90 and 95 % of all cases, of a tank in doubt.
fn planned(tank: &[f64]) -> Outcome<Vec<f64>> {
    let (channels, spreads) = tank.as_chunks::<4>().0.split_at(3);
    let channel = |&[start, target, beta, ingress]: &[f64; 4]| -> siltcode::Result<Channel> {
        let efficiency = Beta::new(beta)?.efficiency();
        let bin = BinState::new(PerMl::new(start)?, PerMl::new(ingress)?, efficiency);
        Ok(Channel::new(vec![bin], PerMl::new(target)?))
    };
    let channels = channels.iter().map(channel).collect::<Result<Vec<_>, _>>()?;
    let &[[start, beta, ingress, mixing]] = spreads else {
        return Err("give three channels and the spreads".into());
    };
    let doubt = Doubt::NONE.start(start)?.beta(beta)?.ingress(ingress)?.mixing(mixing)?;
    let planning = Ensemble::new(&channels, doubt).planning();
    let planned = [planning.p50, planning.p80, planning.p90, planning.p95];
    Ok(planned.into_iter().map(|enough| enough.map_or(f64::INFINITY, tank::Turnovers::get)).collect())
}

/// What this process has used so far.
fn processor_time() -> Outcome<Duration> {
    Ok(Duration::try_from(clock_gettime(ClockId::ProcessCPUTime))?)
}

/// The sum of an array, in lanes that do not wait for each other.
fn sum(values: &[f64]) -> f64 {
    let (blocks, rest) = values.as_chunks::<16>();
    let mut lanes = [0.0; 16];
    for block in blocks {
        for (lane, value) in lanes.iter_mut().zip(block) {
            *lane += value;
        }
    }
    lanes.iter().chain(rest).sum()
}

fn main() -> Outcome<()> {
    let folder = std::env::args_os().nth(1).ok_or("give the folder of the arrays")?;
    let threads = rayon::ThreadPoolBuilder::new().num_threads(2);
    threads.build_global()?;
    let mut bench = Bench::open(FilePath::new(&folder))?;
    let mut out = io::stdout().lock();
    writeln!(out, "{}", Path::best())?;
    out.flush()?;
    for line in io::stdin().lock().lines() {
        let [clock, processors] = bench.timed(line?.trim())?;
        writeln!(out, "{:e} {:e}", clock.as_secs_f64(), processors.as_secs_f64())?;
        out.flush()?;
    }
    Ok(())
}
