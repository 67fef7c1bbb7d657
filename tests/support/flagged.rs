//! Bottles of several sizes, good ones and such as something is wrong with, and which flags they raise.

use siltcode::certainty::{Context, Repeatability, RunPool, Scatter, flags};
use siltcode::{Channel, Sample, Spectrum};

use crate::{Draws, counted, um};

/// Flags on the runs of a bottle.
pub const ON_RUNS: [&str; 5] = ["scatter", "too-regular", "first-run-differs", "rising", "falling"];
/// Flags on what changed since the bottle before.
pub const ON_BINS: [&str; 2] = ["fine-stays-coarse-falls", "possible-water-or-air"];

const SIZES: [f64; 6] = [4.0, 6.0, 10.0, 14.0, 21.0, 38.0];
/// The concentration of the largest size over that of the smallest.
const LARGEST: f64 = 0.02;

/// Bottles alike.
#[derive(Debug, Clone, Copy)]
pub struct Bottles {
    /// How many sizes are counted.
    pub sizes: usize,
    /// Particles of the smallest size and larger \[1/mL\].
    pub per_ml: f64,
    /// The volume of a run \[mL\].
    pub ml: f64,
    /// Coefficient of variation between runs \[-\].
    pub cv: f64,
}

impl Bottles {
    /// The expected share of each bin.
    fn bins(&self) -> Vec<f64> {
        let last = (self.sizes - 1).max(1) as f64;
        let above = |i: usize| LARGEST.powf(i as f64 / last);
        let beyond = |i: usize| if i + 1 < self.sizes { above(i + 1) } else { 0.0 };
        (0..self.sizes).map(|i| above(i) - beyond(i)).collect()
    }

    /// A bottle of as many runs as there are factors on them.
    ///
    /// # Panics
    /// Never: what is drawn is in range.
    pub fn drawn(&self, factors: &[f64], draws: &mut Draws) -> Sample {
        let variance = (self.cv * self.cv).ln_1p();
        let run = |factor: &f64| {
            let varied = factor * (variance.sqrt() * draws.normal() - variance / 2.0).exp();
            let means: Vec<f64> =
                self.bins().iter().map(|share| share * self.per_ml * self.ml * varied).collect();
            spectrum(&means, self.ml, draws)
        };
        Sample::new("bottle", factors.iter().map(run).collect::<Vec<_>>())
    }

    /// What forty good bottles of three runs say of their variation.
    pub fn batch(&self, draws: &mut Draws) -> Repeatability {
        let samples: Vec<Sample> = (0..40).map(|_| self.drawn(&[1.0; 3], draws)).collect();
        RunPool::of(&samples).repeatability(None)
    }
}

/// A count of these bins, smallest first, from their expected numbers.
fn spectrum(means: &[f64], ml: f64, draws: &mut Draws) -> Spectrum {
    let mut above = 0;
    let mut raw: Vec<u64> = Vec::with_capacity(means.len());
    for mean in means.iter().rev() {
        above += draws.count(*mean);
        raw.push(above);
    }
    let channels = SIZES.iter().zip(raw.into_iter().rev());
    Spectrum::cumulative(channels.map(|(&size, raw)| Channel::counted(um(size), counted(raw, ml))).collect())
        .unwrap()
}

/// Whether a bottle raises any of these flags.
///
/// # Panics
/// Never: its runs are of the same sizes.
#[must_use]
pub fn is_flagged(sample: &Sample, known: Option<&Repeatability>, codes: &[&str]) -> bool {
    let context = Context { repeatability: known, ..Context::default() };
    let found = flags::of(sample, &sample.spectrum().unwrap(), &context);
    found.iter().any(|flag| codes.contains(&flag.code))
}

/// Two bottles of one run, before and after, of these expected bins; each bottle varies as a whole.
#[derive(Debug, Clone, Copy)]
pub struct Passed {
    /// Before \[particles\].
    pub before: [f64; 3],
    /// After \[particles\].
    pub after: [f64; 3],
    /// Coefficient of variation between bottles \[-\].
    pub cv: f64,
    /// Whether it is stated.
    pub is_stated: bool,
}

impl Passed {
    /// Whether what is drawn raises this flag.
    ///
    /// # Panics
    /// Never: what is drawn is in range.
    pub fn is_flagged(&self, code: &str, draws: &mut Draws) -> bool {
        let variance = (self.cv * self.cv).ln_1p();
        let [before, after] = [self.before, self.after].map(|bins| {
            let factor = (variance.sqrt() * draws.normal() - variance / 2.0).exp();
            spectrum(&bins.map(|bin| bin * factor), 1.0, draws)
        });
        let scatter = self.is_stated.then(|| Scatter::stated(self.cv).unwrap());
        let context = Context { earlier: Some(&before), scatter, ..Context::default() };
        let sample = Sample::new("after", [after.clone()]);
        flags::of(&sample, &after, &context).iter().any(|flag| flag.code == code)
    }
}

/// The share of trials that come out so.
pub fn share(trials: u32, mut is: impl FnMut() -> bool) -> f64 {
    f64::from((0..trials).map(|_| u32::from(is())).sum::<u32>()) / f64::from(trials)
}
