//! Bottles simulated with run-to-run variation, and how often what is said of them holds.

use siltcode::certainty::runs::Runs;
use siltcode::certainty::{
    Factors, Level, Limit, Posterior, Repeatability, Rule, RunPool, Scatter, decision, joint,
};
use siltcode::{Channel, Outcome, Sample, Spectrum};

use crate::{Draws, counted, per_ml, um};

/// How the bottles of a batch differ in the variation of their runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Batch {
    /// All vary alike.
    Alike,
    /// Evenly spread over a factor of two, half of it either way.
    Twofold,
    /// The first bottle varies five times as much as the others, and by 20 % at least.
    OneBad,
}

/// A batch of bottles at one size.
#[derive(Debug, Clone, Copy)]
pub struct Cell {
    /// Runs of each bottle.
    pub runs: usize,
    /// Coefficient of variation between runs \[-\].
    pub cv: f64,
    /// Particles expected in a run.
    pub mean: f64,
    /// Bottles in the batch.
    pub bottles: usize,
    /// How they differ.
    pub batch: Batch,
    /// Whether the variation between runs is stated.
    pub is_stated: bool,
}

/// What was found of many bottles.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// Bottles simulated.
    pub bottles: u32,
    /// Those whose 95 % interval holds the truth.
    pub covered: u32,
    /// Those accepted though they lie exactly at the limit.
    pub accepted: u32,
    /// Those found not to conform though they lie exactly at the limit.
    pub rejected: u32,
    /// Bottles whose runs agree better than they do half of the time.
    pub agreeing: u32,
    /// Those of them whose interval holds the truth.
    pub agreeing_covered: u32,
    /// Bottles that vary more than the others of their batch.
    pub bad: u32,
    /// Those of them whose interval holds the truth.
    pub bad_covered: u32,
    /// Half-widths of intervals over the counted concentration \[-\], beside those of counting alone.
    widths: Vec<[f64; 2]>,
}

impl Found {
    /// The share of intervals that hold the truth.
    #[must_use]
    pub fn coverage(&self) -> f64 {
        f64::from(self.covered) / f64::from(self.bottles)
    }

    /// The same of bottles whose runs agree; none where there are none.
    #[must_use]
    pub fn agreeing_coverage(&self) -> Option<f64> {
        (self.agreeing > 0).then(|| f64::from(self.agreeing_covered) / f64::from(self.agreeing))
    }

    /// The same of bottles that vary more than the others; none where there are none.
    #[must_use]
    pub fn bad_coverage(&self) -> Option<f64> {
        (self.bad > 0).then(|| f64::from(self.bad_covered) / f64::from(self.bad))
    }

    fn add(&mut self, seen: Seen) {
        self.bottles += 1;
        self.covered += u32::from(seen.is_covered);
        self.accepted += u32::from(seen.is_accepted);
        self.rejected += u32::from(seen.is_rejected);
    }

    /// The share accepted at the limit.
    #[must_use]
    pub fn false_acceptance(&self) -> f64 {
        f64::from(self.accepted) / f64::from(self.bottles)
    }

    /// The share rejected at the limit.
    #[must_use]
    pub fn false_rejection(&self) -> f64 {
        f64::from(self.rejected) / f64::from(self.bottles)
    }

    /// The median half-width over the concentration \[-\], and that of counting alone.
    #[must_use]
    pub fn median_widths(&self) -> [f64; 2] {
        [0, 1].map(|which| {
            let mut widths: Vec<f64> = self.widths.iter().map(|pair| pair[which]).collect();
            widths.sort_by(f64::total_cmp);
            widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN)
        })
    }
}

impl Cell {
    /// Simulates whole batches until there are this many bottles.
    ///
    /// # Panics
    /// Never: what is simulated is in range.
    #[must_use]
    pub fn simulated(&self, bottles: u32, draws: &mut Draws) -> Found {
        let mut found = Found::default();
        while found.bottles < bottles {
            let samples: Vec<Sample> = (0..self.bottles).map(|i| self.bottle(i, draws)).collect();
            let stated = self.is_stated.then(|| Scatter::from_cv(self.cv).unwrap());
            let repeatability = RunPool::of(&samples).repeatability(stated);
            for (place, sample) in samples.iter().enumerate() {
                self.judge(sample, &repeatability, self.batch == Batch::OneBad && place == 0, &mut found);
            }
        }
        found
    }

    fn bottle(&self, place: usize, draws: &mut Draws) -> Sample {
        let cv = match self.batch {
            Batch::Twofold => self.cv * 2.0_f64.powf(draws.uniform() - 0.5),
            Batch::OneBad if place == 0 => (5.0 * self.cv).max(0.2),
            Batch::Alike | Batch::OneBad => self.cv,
        };
        let variance = (cv * cv).ln_1p();
        let run = |draws: &mut Draws| {
            let factor = (variance.sqrt() * draws.normal() - variance / 2.0).exp();
            let raw = draws.count(self.mean * factor);
            Spectrum::cumulative(vec![Channel::counted(um(4.0), counted(raw, 1.0))]).unwrap()
        };
        Sample::new("simulated", (0..self.runs).map(|_| run(draws)).collect::<Vec<_>>())
    }

    /// Whether the interval holds the truth, and what a limit there comes to, told from the probabilities behind them: the
    /// first bottles show that both are the same, and how wide intervals are.
    fn judge(&self, sample: &Sample, repeatability: &Repeatability, is_bad: bool, found: &mut Found) {
        let spectrum = sample.spectrum().unwrap();
        let evidence = spectrum.channels()[0].evidence.unwrap();
        let factors = repeatability.factors(sample, None);
        let level = Level::default();
        let within = self.within(evidence.raw, &factors);
        let is_below = evidence.raw > 0 && self.within(evidence.raw - 1, &factors) < level.risk() / 2.0;
        let seen = Seen {
            is_covered: !is_below && within <= 1.0 - level.risk() / 2.0,
            is_accepted: within >= level.get(),
            is_rejected: within <= level.risk(),
        };
        if found.bottles < SEEN_IN_FULL {
            assert_eq!(seen, self.seen_in_full(&spectrum, &factors, found), "{self:?}, {evidence:?}");
        }
        found.add(seen);
        let runs = sample.evidence_of_runs(um(4.0)).unwrap();
        if Runs::new(&runs).is_some_and(|runs| runs.dispersion().index < 0.5) {
            found.agreeing += 1;
            found.agreeing_covered += u32::from(seen.is_covered);
        }
        found.bad += u32::from(is_bad);
        found.bad_covered += u32::from(is_bad && seen.is_covered);
    }

    /// The probability that the concentration is at most the truth, if this many particles were counted.
    fn within(&self, raw: u64, factors: &Factors) -> f64 {
        let one = Channel::counted(um(4.0), counted(raw, self.runs as f64));
        let limit = Limit { size: um(4.0), per_ml: per_ml(self.mean) };
        joint::meets(&Spectrum::cumulative(vec![one]).unwrap(), &[limit], factors).all.unwrap().get()
    }

    /// The same by the interval and the verdict themselves.
    fn seen_in_full(&self, spectrum: &Spectrum, factors: &Factors, found: &mut Found) -> Seen {
        let (evidence, truth) = (spectrum.channels()[0].evidence.unwrap(), per_ml(self.mean));
        let interval_of = |posterior: Posterior| posterior.interval(Level::default());
        let interval = interval_of(Posterior::new(&evidence, factors.of(um(4.0))));
        if evidence.raw > 0 {
            let counting = interval_of(Posterior::new(&evidence, Scatter::NONE));
            let half = |low: f64, high: f64| (high - low) / 2.0 / evidence.per_ml().get();
            let pair = [&interval, &counting].map(|interval| half(interval.low.get(), interval.high.get()));
            found.widths.push(pair);
        }
        let limit = Limit { size: um(4.0), per_ml: truth };
        let outcome = decision::decide(spectrum, &[limit], Rule::default(), factors).outcome;
        Seen {
            is_covered: interval.contains(&truth),
            is_accepted: outcome == Outcome::Conforms,
            is_rejected: outcome == Outcome::DoesNotConform,
        }
    }
}

/// The bottles of a cell that are looked at in full.
const SEEN_IN_FULL: u32 = 200;

/// What was seen of one bottle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Seen {
    is_covered: bool,
    is_accepted: bool,
    is_rejected: bool,
}
