//! Dilution and blank, with what they do to the uncertainty.
//!
//! The sample was diluted by a factor `D` known to some relative uncertainty, and the glassware and solvent bring
//! particles of their own. The concentration is `D k / V` less the blank; its uncertainty is not that of `k` alone, and
//! what is left is never reported as negative: where the sample cannot be told from the blank, the answer is an upper
//! bound.

use serde::Serialize;

use super::gamma::ln_1p_less;
use super::level::{Interval, Level, Mean, Scatter};
use super::normal;
use super::quadrature::crossing;
use crate::count::{CountedVolume, Evidence, PerMl, whole_count};
use crate::error::{ErrorKind, Result};
use crate::size::Size;
use crate::spectrum::{Channel, Spectrum};

/// A concentration with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Corrected {
    /// The concentration, corrected \[particles/mL\].
    pub per_ml: PerMl,
    /// Its standard uncertainty \[particles/mL\].
    pub uncertainty: PerMl,
}

impl Corrected {
    /// The standard uncertainty over the concentration \[-\]; none where the concentration is zero.
    #[must_use]
    pub fn relative(&self) -> Option<f64> {
        (self.per_ml > PerMl::ZERO).then(|| self.uncertainty.get() / self.per_ml.get())
    }
}

/// The concentration of a diluted sample less an exactly known blank.
///
/// The relative variance of `D k / V` is `1 / k + u_D^2`, with `u_D` the relative standard uncertainty of the dilution
/// (as a coefficient of variation); the blank is subtracted after. `blank` refers to the sample as drawn.
///
/// # Errors
/// `blank-above-sample` if the blank is larger than the sample: see [`Net`] for what can then be said.
pub fn diluted(size: Size, evidence: &Evidence, dilution: Scatter, blank: PerMl) -> Result<Corrected> {
    let gross = evidence.per_ml();
    let net = PerMl::new(gross.get() - blank.get()).map_err(|_| above_sample(size, blank, gross))?;
    // From the count, so that a count of zero has no uncertainty of its own rather than none that is defined.
    let variance = gross.get() / evidence.examined_ml() + (gross.get() * dilution.cv()).powi(2);
    Ok(Corrected { per_ml: net, uncertainty: PerMl::new(variance.sqrt())? })
}

fn above_sample(size: Size, blank: PerMl, sample: PerMl) -> ErrorKind {
    ErrorKind::BlankAboveSample {
        size: size.to_string(),
        blank_per_ml: blank.get(),
        sample_per_ml: sample.get(),
    }
}

/// What a sample holds beyond its blank, both being counts.
///
/// The likelihood of the two counts over the net count, with the blank's true level profiled out, gives the interval;
/// the significance is the same ratio at zero (T.-P. Li and Y.-Q. Ma, Astrophysical Journal 272 (1983) 317-324, Eq. 17).
/// The net count is never negative: its interval starts at zero at the least, and always has an upper end.
///
/// ```
/// use siltcode::certainty::{Level, corrections::Net};
/// use siltcode::{CountedVolume, Dilution, Evidence, Size};
///
/// let of = |raw, ml| Ok::<_, siltcode::Error>(Evidence::of_run(raw, CountedVolume::from_ml(ml)?, Dilution::NONE));
/// let net = Net::new(Size::um_c(4.0)?, &of(3, 1.0)?, &of(5, 1.0)?);
/// assert_eq!(net.per_ml().unwrap_err().code(), "blank-above-sample");
/// assert!(net.interval(Level::default()).high.get() > 0.0); // still: no more than this
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Net {
    size: Size,
    sample: Evidence,
    blank: Evidence,
    /// Examined volume of the sample over that of the blank \[-\].
    share: f64,
}

impl Net {
    /// A sample and a blank counted at one size.
    #[must_use]
    pub fn new(size: Size, sample: &Evidence, blank: &Evidence) -> Self {
        let share = sample.examined_ml() / blank.examined_ml();
        Self { size, sample: *sample, blank: *blank, share }
    }

    /// The net concentration.
    ///
    /// # Errors
    /// `blank-above-sample` unless the sample's concentration is at least the blank's.
    pub fn per_ml(&self) -> Result<PerMl> {
        let [sample, blank] = [self.sample, self.blank].map(|evidence| evidence.per_ml());
        PerMl::new(sample.get() - blank.get()).map_err(|_| above_sample(self.size, blank, sample).into())
    }

    /// The net count, where it is not negative \[particles\].
    #[must_use]
    pub fn count(&self) -> Option<Mean> {
        Mean::new(self.excess()).ok()
    }

    fn excess(&self) -> f64 {
        self.sample.raw as f64 - self.share * self.blank.raw as f64
    }

    /// How many standard deviations the sample lies above the blank \[-\]; negative if below.
    #[must_use]
    pub fn significance(&self) -> f64 {
        self.deviance(0.0).max(0.0).sqrt().copysign(self.excess())
    }

    /// The interval of the net concentration.
    #[must_use]
    pub fn interval(&self, level: Level) -> Interval<PerMl> {
        self.counts(level).map(|mean| mean.per_ml(&self.sample))
    }

    /// The interval of the net count.
    #[must_use]
    pub fn counts(&self, level: Level) -> Interval<Mean> {
        let allowed = normal::upper_quantile(level.risk() / 2.0).powi(2);
        let best = self.excess().max(0.0);
        let least = self.deviance(best);
        let inside = |net: f64| allowed - (self.deviance(net) - least);
        let low = if inside(0.0) >= 0.0 { 0.0 } else { crossing(|net| -inside(net), 0.0, best) };
        let mut reach = allowed + 4.0 * (allowed * (self.sample.raw as f64 + 1.0)).sqrt();
        let mut high = best + reach;
        // Doubling reaches the largest double in some two thousand steps, however small the first one is.
        while inside(high) > 0.0 {
            reach *= 2.0;
            high = best + reach;
        }
        Interval { low, high: crossing(inside, best, high) }.map(Mean::computed)
    }

    /// Twice the loss of log-likelihood at this net count, against the best of both counts freely.
    fn deviance(&self, net: f64) -> f64 {
        let blank = self.blank_given(net);
        half_deviance(self.sample.raw as f64, net + self.share * blank) * 2.0
            + half_deviance(self.blank.raw as f64, blank) * 2.0
    }

    /// The blank's mean count that fits best with this net count: the positive root of a quadratic.
    fn blank_given(&self, net: f64) -> f64 {
        let (on, off, share) = (self.sample.raw as f64, self.blank.raw as f64, self.share);
        let scale = share * (share + 1.0);
        let linear = share * (on + off) - (share + 1.0) * net;
        let root = (linear * linear + 4.0 * scale * off * net).sqrt();
        // The form without cancellation on either side of zero.
        if linear >= 0.0 { (linear + root) / (2.0 * scale) } else { 2.0 * off * net / (root - linear) }
    }
}

/// A net spectrum resting on evidence that scatters as the difference of two counts does.
///
/// The difference of `k` and a blank's share `s b` has the variance `k + s^2 b`; a count of the same mean in a smaller
/// volume has the same relative variance. The smallest of these volumes stands for every size, so that bins stay bins.
/// Sizes whose sample or blank has no evidence keep none.
pub(crate) fn widened(net: &Spectrum, gross: &Spectrum, blank: &Spectrum) -> Spectrum {
    let pair = |channel: &Channel| {
        Some((gross.channel(channel.size)?.evidence?, blank.channel(channel.size)?.evidence?))
    };
    let left = |channel: &Channel| channel.reading.count().map(PerMl::get);
    let volume_left = |channel: &Channel| {
        let (own, blank) = pair(channel)?;
        let share = own.examined_ml() / blank.examined_ml();
        let variance = own.raw as f64 + share * share * blank.raw as f64;
        let mean = left(channel)? * own.examined_ml();
        Some(if variance > 0.0 { mean.max(variance.sqrt()) / variance } else { 1.0 })
    };
    let least = net.channels().iter().filter_map(volume_left).fold(1.0, f64::min);
    net.resting_on(|channel| {
        let (own, _) = pair(channel)?;
        let volume = CountedVolume::from_ml(own.volume.ml() * least).ok()?;
        let raw = whole_count((left(channel)? * own.examined_ml() * least).round()).ok()?;
        Some(Evidence { raw, volume, ..own })
    })
}

/// `k ln(k / mean) - k + mean`, without cancellation.
fn half_deviance(k: f64, mean: f64) -> f64 {
    if k > 0.0 { -k * ln_1p_less((mean - k) / k) } else { mean }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::count::Dilution;

    #[test]
    fn an_interval_ends_whatever_the_level_and_the_counts() {
        let of = |raw, ml| Evidence::of_run(raw, CountedVolume::from_ml(ml).unwrap(), Dilution::NONE);
        let counts = [0, 1, 100, 1 << 53, u64::MAX];
        for (sample, blank) in counts.iter().flat_map(|s| counts.iter().map(move |b| (*s, *b))) {
            for (level, ml) in [Level::SMALLEST, 0.5, Level::LARGEST].iter().zip([1e-9, 1.0, 1e9]) {
                let net = Net::new(Size::um_c(4.0).unwrap(), &of(sample, 1.0), &of(blank, ml));
                let Interval { low, high } = net.counts(Level::new(*level).unwrap());
                assert!(
                    low.get() <= high.get() && high.get().is_finite(),
                    "{sample} {blank} {level}: {low:?} {high:?}"
                );
            }
        }
    }
}
