//! Invented jobs: a tank that is cleaned and sampled, with all that makes its samples differ from its model.

use siltcode::certainty::Scatter;
use siltcode::filter::Efficiency;
use siltcode::job::progress::{Bottle, ElementPeriod, Options, Progress, Seen, Spread};
use siltcode::tank::{Target, Turnovers};
use siltcode::{CountedVolume, Dilution, Size, Spectrum};

use crate::{Draws, beta, turnovers, um};

/// The sizes of every job \[um(c)\].
pub const SIZES: [f64; 3] = [4.0, 6.0, 14.0];
/// The target at each size \[particles/mL\]: that of the code 14/12/10.
pub const LIMITS: [f64; 3] = [160.0, 40.0, 10.0];
/// Ratios in bins of the fine elements, and of coarse ones that come first in a job of two stages.
const FINE: [f64; 3] = [2.337, 18.43, 1000.0];
const COARSE: [f64; 3] = [1.3, 1.8, 20.0];

/// A kind of job.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(clippy::struct_excessive_bools)] // each is a question of its own
pub struct Kind {
    /// How many samples.
    pub samples: u32,
    /// Counted in this volume each \[mL\].
    pub ml: f64,
    /// The coefficient of variation of bottles \[-\].
    pub cv: f64,
    /// Whether it is stated.
    pub stated: bool,
    /// How much of the scatter, in variance, each size of a bottle has for itself \[-\]; the rest all share.
    pub own_share: f64,
    /// The floor over the target \[-\]; at most this below 1, at least this above.
    pub floor: f64,
    /// Whether coarse elements were in service first.
    pub two_stages: bool,
    /// Whether the elements are known.
    pub rated: bool,
    /// Whether samples go on until the floor is all but reached.
    pub late: bool,
}

/// What is wrong with a job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// Nothing.
    None,
    /// All rates are this part of what the elements give.
    Pace(f64),
    /// The last sample holds so many times what the one before it did.
    Rise(f64),
    /// From the sample before the last on nothing is caught any more; the last is drawn when the smallest size and larger
    /// should have fallen by so many times.
    Stall(f64),
    /// The largest size falls at this part of its rate.
    LargestSlow(f64),
}

/// A job with its samples, and the turnovers that its tank really needs.
#[derive(Debug, Clone)]
pub struct Job {
    kind: Kind,
    start: [f64; 3],
    floors: [f64; 3],
    /// The rate of each bin with coarse elements and with fine ones.
    rates: [[f64; 3]; 2],
    change: f64,
    /// After how many turnovers each sample was drawn.
    pub drawn: Vec<f64>,
    /// The counts in bins of each sample.
    pub counts: Vec<[u64; 3]>,
}

impl Job {
    /// A job of a kind with a fault.
    ///
    /// Elements catch what they are rated for but for a factor on all sizes (15 %), and one for each size (5 %, and 40 % of
    /// what they let pass); starts vary by 50 %, their sizes by as much.
    #[must_use]
    pub fn new(kind: Kind, fault: Fault, draws: &mut Draws) -> Self {
        let tank = if let Fault::Pace(pace) = fault { pace } else { (0.15 * draws.normal()).exp() };
        let level = (0.5 * draws.normal()).exp();
        let start = [15_000.0, 4_600.0, 400.0].map(|bin| bin * level * (0.5 * draws.normal()).exp());
        let rates = [COARSE, FINE].map(|ratios| {
            std::array::from_fn(|bin| {
                let passed = 1.0 / ratios[bin];
                let own = (0.05_f64.hypot(0.4 * passed) * draws.normal()).exp();
                let slow = if let (Fault::LargestSlow(part), 2) = (fault, bin) { part } else { 1.0 };
                (1.0 - passed) * tank * own * slow
            })
        });
        let spread = if kind.floor < 1.0 { (0.5, 0.5) } else { (1.0, 0.3) };
        let floors =
            [120.0, 30.0, 10.0].map(|bin| kind.floor * bin * (spread.0 + spread.1 * draws.uniform()));
        let change = if kind.two_stages { 2.0 } else { 0.0 };
        let mut job = Self { kind, start, floors, rates, change, drawn: Vec::new(), counts: Vec::new() };
        job.sample(fault, draws);
        job
    }

    /// What there is of a bin after turnovers \[particles/mL\].
    fn bin(&self, bin: usize, turnovers: f64) -> f64 {
        let [coarse, fine] = self.rates;
        let fallen =
            coarse[bin] * turnovers.min(self.change) + fine[bin] * (turnovers - self.change).max(0.0);
        self.start[bin] * (-fallen).exp() + self.floors[bin]
    }

    fn at_and_above(&self, bin: usize, turnovers: f64) -> f64 {
        (bin..3).map(|bin| self.bin(bin, turnovers)).sum()
    }

    fn sample(&mut self, fault: Fault, draws: &mut Draws) {
        let floor: f64 = self.floors.iter().sum();
        let until = if self.kind.late {
            (1.15 + 0.15 * draws.uniform()) * floor
        } else {
            (LIMITS[0] * 1.2 * (10.0_f64 / 1.2).powf(draws.uniform())).max(1.3 * floor)
        };
        let shortest = self.change + 2.0;
        let span = until_true(|turnovers| self.at_and_above(0, turnovers) <= until).max(shortest);
        let last = self.kind.samples - 1;
        for sample in 0..=last {
            let (mut after, mut stands) = (span * f64::from(sample) / f64::from(last), None);
            let mut times = 1.0;
            if let (true, Some(before)) = (sample == last, self.drawn.last().copied()) {
                match fault {
                    Fault::Stall(missing) => {
                        let until = self.at_and_above(0, before) / missing;
                        after = until_true(|turnovers| self.at_and_above(0, turnovers) <= until);
                        stands = Some(before);
                    }
                    Fault::Rise(rise) => (times, stands) = (rise, Some(before)),
                    _ => {}
                }
            }
            let mut factor = |share: f64| {
                if share == 0.0 {
                    return 1.0;
                }
                let log_sd = (share * self.kind.cv.powi(2)).ln_1p().sqrt();
                (log_sd * draws.normal() - log_sd * log_sd / 2.0).exp()
            };
            let own = self.kind.own_share;
            let shared = factor(1.0 - own);
            let factors = [0, 1, 2].map(|_| shared * factor(own));
            let mean =
                |bin: usize| self.kind.ml * times * factors[bin] * self.bin(bin, stands.unwrap_or(after));
            self.counts.push([0, 1, 2].map(|bin| draws.count(mean(bin))));
            self.drawn.push(after);
        }
    }

    /// The turnovers that really remain after the last sample; infinite where a floor is above its target.
    #[must_use]
    pub fn truth(&self) -> f64 {
        let floor = |bin: usize| (bin..3).map(|bin| self.floors[bin]).sum::<f64>();
        if (0..3).any(|bin| floor(bin) >= LIMITS[bin]) {
            return f64::INFINITY;
        }
        let is_met = |turnovers: f64| (0..3).all(|bin| self.at_and_above(bin, turnovers) <= LIMITS[bin]);
        (until_true(is_met) - self.drawn.last().copied().unwrap_or(0.0)).max(0.0)
    }

    /// The bottles, with cumulative counts.
    ///
    /// # Panics
    /// Never: the counts are possible.
    #[must_use]
    pub fn bottles(&self) -> Vec<Bottle> {
        let volume = CountedVolume::from_ml(self.kind.ml).unwrap();
        let bottle = |(drawn, counts): (&f64, &[u64; 3])| {
            let above = |bin: usize| Seen::Count(counts[bin..].iter().sum());
            let seen = (0..3).map(|bin| (um(SIZES[bin]), above(bin)));
            Bottle::new(turnovers(*drawn), seen, volume, Dilution::NONE).unwrap()
        };
        self.drawn.iter().zip(&self.counts).map(bottle).collect()
    }

    /// How its samples are looked at.
    ///
    /// # Panics
    /// Never: the scatter is possible.
    #[must_use]
    pub fn options(&self) -> Options {
        let kind = self.kind;
        let spread = match (kind.stated, kind.cv > 0.0) {
            (false, _) => Spread::Found,
            (true, false) => Spread::Counting,
            (true, true) => Spread::Stated(Scatter::from_cv(kind.cv).unwrap()),
        };
        let of = |ratios: [f64; 3]| -> Vec<(Size, Efficiency)> {
            let rated = SIZES.iter().zip(ratios);
            if kind.rated {
                rated.map(|(size, ratio)| (um(*size), beta(ratio).efficiency())).collect()
            } else {
                Vec::new()
            }
        };
        let fine = ElementPeriod { from: turnovers(self.change), expected: of(FINE) };
        let coarse = ElementPeriod { from: Turnovers::NONE, expected: of(COARSE) };
        let elements = if kind.two_stages { vec![coarse, fine] } else { vec![fine] };
        Options { spread, elements, ..Options::default() }
    }

    /// Its fit.
    ///
    /// # Panics
    /// Never: there are samples of several turnovers.
    #[must_use]
    pub fn progress(&self) -> Progress {
        Progress::new(&self.bottles(), self.options()).unwrap()
    }
}

/// The target of every job.
///
/// # Panics
/// Never: the limits are counts.
#[must_use]
pub fn target() -> Target {
    let limits: Vec<(f64, f64)> = SIZES.into_iter().zip(LIMITS).collect();
    Target::of_counts(&Spectrum::from_per_ml(&limits).unwrap()).unwrap()
}

/// The least number of turnovers, by halving, from which on something is true.
fn until_true(is_true: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, 500.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if is_true(middle) { high = middle } else { low = middle }
    }
    high
}
