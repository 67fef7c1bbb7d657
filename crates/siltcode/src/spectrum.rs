//! The cumulative counts of one sample over sizes, validated.
//!
//! A spectrum holds, for each size, how many particles per mL are at least that large. Cumulative counts are nested
//! (each particle at and above 14 is also at and above 6), so they can only fall with size; a series that rises is
//! refused with the two usual causes. Physics and statistics work in [`bins`](Spectrum::bins), the particles between
//! two neighbouring sizes, which are independent of each other.

mod law;

use serde::Serialize;

use crate::count::{Evidence, PerMl, Reading, whole_count};
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};

pub use law::{Curve, Interpolated, Law, PowerDensity};

/// One size with its cumulative count.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Channel {
    /// Particles of this size and larger.
    pub size: Size,
    /// What was read.
    pub reading: Reading,
    /// What the reading rests on, where the input said so.
    pub evidence: Option<Evidence>,
}

impl Channel {
    /// A channel known only by its concentration.
    #[must_use]
    pub const fn new(size: Size, reading: Reading) -> Self {
        Self { size, reading, evidence: None }
    }

    /// A channel with the raw count it rests on.
    #[must_use]
    pub fn counted(size: Size, evidence: Evidence) -> Self {
        Self { size, reading: Reading::Count(evidence.per_ml()), evidence: Some(evidence) }
    }
}

/// Particles between two neighbouring sizes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// The smaller size, included.
    pub from: Size,
    /// The larger size, not included; none for the open bin above the largest size.
    pub to: Option<Size>,
    /// Particles in the bin.
    pub per_ml: PerMl,
    /// Particles counted in the bin, where both its channels have evidence of the same volume.
    pub evidence: Option<Evidence>,
}

/// Cumulative counts of one sample, sizes rising, counts falling, all of one scale.
///
/// ```
/// use siltcode::{PerMl, Size, Spectrum};
///
/// let spectrum = Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0)])?;
/// assert_eq!(spectrum.per_ml(Size::um_c(6.0)?), Some(PerMl::new(517.0)?));
///
/// let rising = Spectrum::from_per_ml(&[(4.0, 100.0), (6.0, 200.0)]).unwrap_err();
/// assert_eq!(rising.code(), "count-rises-with-size");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    scale: SizeScale,
    channels: Vec<Channel>,
}

impl Spectrum {
    /// No counts at all, for a bottle of which only other things are known.
    pub(crate) const fn nothing(scale: SizeScale) -> Self {
        Self { scale, channels: Vec::new() }
    }

    /// A spectrum of cumulative channels, given in any order.
    ///
    /// # Errors
    /// `nothing-counted` without channels, `scales-mixed`, `size-repeated`, and `count-rises-with-size` unless the
    /// count at each size is at most the count at each smaller size. Bounds (`<1`, `>60000`, too many to count) are
    /// refused only where they leave no possible series.
    pub fn cumulative(mut channels: Vec<Channel>) -> Result<Self> {
        let scale = one_scale(&channels)?;
        channels.sort_by(|a, b| a.size.um().total_cmp(&b.size.um()));
        ensure_sizes_differ(&channels)?;
        ensure_counts_fall_with_size(&channels)?;
        Ok(Self { scale, channels })
    }

    /// A spectrum from counts per size band, each named by its lower size: bands are summed from the large end.
    ///
    /// A band that was not counted makes every smaller size not counted too, and a bound on a band becomes a bound on
    /// each sum it enters.
    ///
    /// # Errors
    /// As [`cumulative`](Self::cumulative), except that bands may rise.
    pub fn differential(mut bands: Vec<Channel>) -> Result<Self> {
        let scale = one_scale(&bands)?;
        bands.sort_by(|a, b| a.size.um().total_cmp(&b.size.um()));
        ensure_sizes_differ(&bands)?;
        for i in (0..bands.len().saturating_sub(1)).rev() {
            bands[i] = stacked(bands[i], bands[i + 1]);
        }
        Ok(Self { scale, channels: bands })
    }

    /// A spectrum of plain cumulative counts in um(c), `(size, particles per mL)`.
    ///
    /// # Errors
    /// As [`cumulative`](Self::cumulative), and those of [`Size::um_c`] and [`PerMl::new`].
    pub fn from_per_ml(counts: &[(f64, f64)]) -> Result<Self> {
        let channels = counts
            .iter()
            .map(|&(um, count)| Ok(Channel::new(Size::um_c(um)?, Reading::Count(PerMl::new(count)?))));
        Self::cumulative(channels.collect::<Result<_>>()?)
    }

    /// The scale of all sizes.
    #[must_use]
    pub const fn scale(&self) -> SizeScale {
        self.scale
    }

    /// The channels, sizes rising. There is at least one.
    #[must_use]
    pub fn channels(&self) -> &[Channel] {
        &self.channels
    }

    /// The channel of exactly this size and scale.
    #[must_use]
    pub fn channel(&self, size: Size) -> Option<&Channel> {
        self.channels.iter().find(|channel| channel.size == size)
    }

    /// The channel of exactly this many micrometres in the spectrum's own scale.
    #[must_use]
    pub fn at_um(&self, um: f64) -> Option<&Channel> {
        self.channel(Size::new(um, self.scale).ok()?)
    }

    /// The reading at this size; not counted where there is no such channel.
    #[must_use]
    pub fn reading(&self, size: Size) -> Reading {
        self.channel(size).map_or(Reading::NotCounted, |channel| channel.reading)
    }

    /// The concentration at and above this size, where it was counted.
    #[must_use]
    pub fn per_ml(&self, size: Size) -> Option<PerMl> {
        self.reading(size).count()
    }

    /// The spectrum less a blank, band by band, with the sizes whose band the blank held more of than the sample.
    ///
    /// A net band is never negative: where the blank held more, nothing is left. What each size then rests on is the raw
    /// count that the net concentration comes to in the same volume, so that fewer than 20 particles above the blank are
    /// still few; the blank's own scatter is not in it. Bounds and sizes not counted stay as they are.
    ///
    /// ```
    /// use siltcode::{Size, Spectrum};
    ///
    /// let bottle = Spectrum::from_per_ml(&[(4.0, 100.0), (6.0, 30.0), (14.0, 2.0)])?;
    /// let blank = Spectrum::from_per_ml(&[(4.0, 10.0), (6.0, 5.0), (14.0, 4.0)])?;
    /// let (net, drowned) = bottle.less_blank(&blank)?;
    /// assert_eq!(net.per_ml(Size::um_c(6.0)?).unwrap().get(), 27.0);   // 28 - 1 in the band 6-14, 0 above 14
    /// assert_eq!(drowned, [Size::um_c(14.0)?]);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `scales-mixed`, and `blank-incomplete` unless the blank was counted at every size the sample was counted at.
    pub fn less_blank(&self, blank: &Self) -> Result<(Self, Vec<Size>)> {
        if blank.scale != self.scale {
            let (left, right) = (self.scale.to_string(), blank.scale.to_string());
            return Err(ErrorKind::ScalesMixed { left, right }.into());
        }
        let mut net = self.clone();
        let mut drowned = Vec::new();
        let (mut sum, mut above, mut blank_above) = (0.0, 0.0, 0.0);
        for channel in net.channels.iter_mut().rev() {
            let Some(count) = channel.reading.count() else { continue };
            let of_blank = blank.per_ml(channel.size);
            let of_blank =
                of_blank.ok_or_else(|| ErrorKind::BlankIncomplete { size: channel.size.to_string() })?.get();
            let band = (count.get() - above) - (of_blank - blank_above);
            if band < 0.0 {
                drowned.insert(0, channel.size);
            }
            (above, blank_above) = (count.get(), of_blank);
            sum += band.max(0.0);
            channel.reading = Reading::Count(PerMl::new(sum)?);
            channel.evidence = channel.evidence.and_then(|evidence| net_evidence(evidence, sum));
        }
        Ok((net, drowned))
    }

    /// The same counts resting on other evidence.
    pub(crate) fn resting_on(&self, evidence: impl Fn(&Channel) -> Option<Evidence>) -> Self {
        let channels =
            self.channels.iter().map(|channel| Channel { evidence: evidence(channel), ..*channel });
        Self { scale: self.scale, channels: channels.collect() }
    }

    /// The bins between the counted sizes, smallest first, the open one last.
    ///
    /// Only sizes with a plain count take part; bounds and missing sizes are passed over.
    #[must_use]
    pub fn bins(&self) -> Vec<Bin> {
        let counted: Vec<&Channel> = self.channels.iter().filter(|c| c.reading.count().is_some()).collect();
        (0..counted.len()).map(|i| bin(counted[i], counted.get(i + 1).copied())).collect()
    }
}

impl Serialize for Spectrum {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        self.channels.serialize(serializer)
    }
}

fn bin(small: &Channel, large: Option<&Channel>) -> Bin {
    let above = large.map_or(0.0, |c| c.reading.at_least());
    let per_ml = PerMl::new((small.reading.at_least() - above).max(0.0)).unwrap_or(PerMl::ZERO);
    let evidence = match (small.evidence, large) {
        (Some(own), None) => Some(own),
        (Some(own), Some(large)) => large.evidence.and_then(|upper| evidence_between(own, upper)),
        (None, _) => None,
    };
    Bin { from: small.size, to: large.map(|c| c.size), per_ml, evidence }
}

/// The evidence that a net concentration comes to in the volume examined.
fn net_evidence(gross: Evidence, per_ml: f64) -> Option<Evidence> {
    Some(Evidence { raw: whole_count((per_ml * gross.examined_ml()).round()).ok()?, ..gross })
}

/// The evidence of a bin: only where both channels were counted in the same volume.
fn evidence_between(small: Evidence, large: Evidence) -> Option<Evidence> {
    let same_volume = small.volume == large.volume && small.dilution == large.dilution;
    let raw = small.raw.checked_sub(large.raw)?;
    same_volume.then_some(Evidence { raw, ..small })
}

/// One band put on top of the cumulative channel above it.
fn stacked(band: Channel, above: Channel) -> Channel {
    use Reading::{Above, Below, Count, NotCounted, TooMany};
    let sum = |a: PerMl, b: PerMl| PerMl::new(a.get() + b.get()).unwrap_or(PerMl::ZERO);
    let reading = match (band.reading, above.reading) {
        (NotCounted, _) | (_, NotCounted) => NotCounted,
        (TooMany, _) | (_, TooMany) => TooMany,
        (Count(a), Count(b)) => Count(sum(a, b)),
        (Count(a) | Below(a), Count(b) | Below(b)) => Below(sum(a, b)),
        (a, b) => PerMl::new(a.at_least() + b.at_least()).map_or(TooMany, Above),
    };
    let evidence = match (band.evidence, above.evidence) {
        (Some(a), Some(b)) if a.volume == b.volume && a.dilution == b.dilution && a.runs == b.runs => {
            Some(Evidence { raw: a.raw.saturating_add(b.raw), ..a })
        }
        _ => None,
    };
    Channel { size: band.size, reading, evidence }
}

fn one_scale(channels: &[Channel]) -> Result<SizeScale> {
    let first = channels.first().ok_or(ErrorKind::NothingCounted {})?.size.scale();
    match channels.iter().find(|channel| channel.size.scale() != first) {
        Some(other) => {
            Err(ErrorKind::ScalesMixed { left: first.to_string(), right: other.size.scale().to_string() }
                .into())
        }
        None => Ok(first),
    }
}

fn ensure_sizes_differ(channels: &[Channel]) -> Result<()> {
    match channels.windows(2).find(|pair| pair[0].size == pair[1].size) {
        Some(pair) => Err(ErrorKind::SizeRepeated { size: pair[0].size.to_string() }.into()),
        None => Ok(()),
    }
}

/// A larger size cannot be sure of more particles than a smaller size allows.
fn ensure_counts_fall_with_size(channels: &[Channel]) -> Result<()> {
    let mut allowed: Option<&Channel> = None;
    for channel in channels.iter().filter(|channel| channel.reading.is_counted()) {
        if let Some(small) = allowed.filter(|small| channel.reading.at_least() > small.reading.at_most()) {
            return Err(ErrorKind::CountRisesWithSize {
                small: small.size.to_string(),
                small_per_ml: small.reading.at_most(),
                large: channel.size.to_string(),
                large_per_ml: channel.reading.at_least(),
            }
            .into());
        }
        if allowed.is_none_or(|small| channel.reading.at_most() <= small.reading.at_most()) {
            allowed = Some(channel);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::count::{CountedVolume, Dilution};

    fn channel(um: f64, reading: Reading) -> Channel {
        Channel::new(Size::um_c(um).unwrap(), reading)
    }

    fn count(value: f64) -> Reading {
        Reading::Count(PerMl::new(value).unwrap())
    }

    #[test]
    fn bands_are_summed_from_the_large_end() {
        let bands = vec![channel(4.0, count(60.0)), channel(14.0, count(3.0)), channel(6.0, count(100.0))];
        let spectrum = Spectrum::differential(bands).unwrap();
        let sums: Vec<f64> = spectrum.channels().iter().map(|c| c.reading.at_least()).collect();
        assert_eq!(sums, [163.0, 103.0, 3.0]);
    }

    #[test]
    fn a_band_not_counted_leaves_no_sum_below_it() {
        let bands =
            vec![channel(4.0, count(60.0)), channel(6.0, Reading::NotCounted), channel(14.0, count(3.0))];
        let spectrum = Spectrum::differential(bands).unwrap();
        assert_eq!(spectrum.channels()[0].reading, Reading::NotCounted);
        assert_eq!(spectrum.channels()[2].reading, count(3.0));
    }

    #[test]
    fn bounds_stay_bounds() {
        let below = Reading::Below(PerMl::new(1.0).unwrap());
        let spectrum = Spectrum::differential(vec![channel(4.0, count(60.0)), channel(6.0, below)]).unwrap();
        assert_eq!(spectrum.channels()[0].reading, Reading::Below(PerMl::new(61.0).unwrap()));
    }

    #[test]
    fn a_rise_is_found_across_a_size_not_counted() {
        let series =
            vec![channel(4.0, count(10.0)), channel(6.0, Reading::NotCounted), channel(14.0, count(11.0))];
        assert_eq!(Spectrum::cumulative(series).unwrap_err().code(), "count-rises-with-size");
    }

    #[test]
    fn too_many_cannot_follow_a_count() {
        let series = vec![channel(4.0, count(10.0)), channel(6.0, Reading::TooMany)];
        assert!(Spectrum::cumulative(series).is_err());
        let series = vec![channel(4.0, Reading::TooMany), channel(6.0, count(10.0))];
        assert!(Spectrum::cumulative(series).is_ok());
    }

    #[test]
    fn bins_share_out_the_raw_counts() {
        let volume = CountedVolume::from_ml(10.0).unwrap();
        let counted = |um, raw| {
            Channel::counted(Size::um_c(um).unwrap(), Evidence::of_run(raw, volume, Dilution::NONE))
        };
        let spectrum =
            Spectrum::cumulative(vec![counted(4.0, 95), counted(6.0, 25), counted(14.0, 3)]).unwrap();
        let raws: Vec<u64> = spectrum.bins().iter().map(|bin| bin.evidence.unwrap().raw).collect();
        assert_eq!(raws, [70, 22, 3]);
    }
}
