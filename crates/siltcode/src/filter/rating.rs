//! The ratios a filter is rated at, between those sizes, and in bins.
//!
//! A rated ratio is for all particles at and above a size, under the dust of the test. A tank has another
//! distribution, and one that becomes finer while it is cleaned, so physics needs the ratio of each bin.
//!
//! ```
//! use siltcode::filter::{BetaAt, Rating};
//! use siltcode::Size;
//!
//! let rating: Rating = "5:10,7:200".parse()?;
//! let BetaAt::Between(found) = rating.at(Size::um_c(6.0)?)? else { unreachable!() };
//! assert_eq!(found.map(|beta| beta.get().round()), [45.0, 51.0, 49.0]);
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::str::FromStr;
use std::sync::LazyLock;

use serde::Deserialize;

use super::beta::Beta;
use crate::error::{Error, ErrorKind, Result};
use crate::size::Size;
use crate::table;

/// Filtration ratios at rated sizes, smallest first, in one size scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Rating(Vec<(Size, Beta)>);

/// What a rating says at a size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BetaAt {
    /// Rated at this size.
    Rated(Beta),
    /// Between two rated sizes: `ln beta` straight over the size, `ln beta` over the logarithm of the size, and
    /// `ln (beta - 1)` over the logarithm of the size. Their spread is the doubt of interpolating.
    Between([Beta; 3]),
    /// Below the smallest rated size: more than 1 and at most this.
    AtMost(Beta),
    /// Above the largest rated size: at least this.
    AtLeast(Beta),
}

impl Rating {
    /// Ratios at sizes.
    ///
    /// # Errors
    /// `nothing-counted` without a size, `scales-mixed`, `size-repeated`.
    pub fn new(mut rated: Vec<(Size, Beta)>) -> Result<Self> {
        let scale = rated.first().ok_or(ErrorKind::BetaUnreadable { text: String::new() })?.0.scale();
        if let Some((other, _)) = rated.iter().find(|(size, _)| size.scale() != scale) {
            let (left, right) = (scale.to_string(), other.scale().to_string());
            return Err(ErrorKind::ScalesMixed { left, right }.into());
        }
        rated.sort_by(|a, b| a.0.um().total_cmp(&b.0.um()));
        match rated.windows(2).find(|pair| pair[0].0 == pair[1].0) {
            Some(pair) => Err(ErrorKind::SizeRepeated { size: pair[0].0.to_string() }.into()),
            None => Ok(Self(rated)),
        }
    }

    /// The rated sizes and ratios, smallest size first.
    #[must_use]
    pub fn rated(&self) -> &[(Size, Beta)] {
        &self.0
    }

    /// What the rating says at a size. Outside the rated sizes it is a bound, never a value.
    ///
    /// # Errors
    /// `scales-mixed` where the size is in another scale than the rating.
    pub fn at(&self, size: Size) -> Result<BetaAt> {
        let (first, last) = (self.0[0], self.0[self.0.len() - 1]);
        if first.0.scale() != size.scale() {
            let (left, right) = (first.0.scale().to_string(), size.scale().to_string());
            return Err(ErrorKind::ScalesMixed { left, right }.into());
        }
        let above = self.0.iter().position(|(rated, _)| rated.um() >= size.um());
        Ok(match above {
            Some(i) if self.0[i].0 == size => BetaAt::Rated(self.0[i].1),
            Some(0) => BetaAt::AtMost(first.1),
            Some(i) => BetaAt::Between(between(self.0[i - 1], self.0[i], size)?),
            None => BetaAt::AtLeast(last.1),
        })
    }

    /// The ratio to reckon with at a size: the smallest of the interpolations, or the bound above the rated sizes.
    ///
    /// # Errors
    /// `beta-not-rated` below the smallest rated size, where nothing but a ceiling is known.
    pub fn working(&self, size: Size) -> Result<Beta> {
        match self.at(size)? {
            BetaAt::Rated(beta) | BetaAt::AtLeast(beta) => Ok(beta),
            BetaAt::Between([a, b, c]) => Ok([b, c].into_iter().fold(a, |x, y| if y < x { y } else { x })),
            BetaAt::AtMost(_) => {
                Err(ErrorKind::BetaNotRated { size: size.to_string(), smallest: self.0[0].0.to_string() }
                    .into())
            }
        }
    }

    /// The ratio of each bin between these sizes (the last bin is open), given what the test challenged it with.
    ///
    /// # Errors
    /// `betas-inconsistent` where a bin would not be filtered at all: the published ratios cannot all be true of
    /// this challenge. `beta-not-rated` as in [`working`](Self::working).
    pub fn bins(&self, sizes: &[Size], challenge: &Challenge) -> Result<Vec<Beta>> {
        let passing = sizes.iter().map(|&size| {
            let upstream = challenge.per_ml(size);
            Ok((size, upstream, upstream * self.working(size)?.penetration()))
        });
        let passing: Vec<(Size, f64, f64)> = passing.collect::<Result<_>>()?;
        (0..passing.len()).map(|i| bin(passing[i], passing.get(i + 1).copied())).collect()
    }
}

fn bin(small: (Size, f64, f64), large: Option<(Size, f64, f64)>) -> Result<Beta> {
    let (upstream, downstream) = large.map_or((0.0, 0.0), |large| (large.1, large.2));
    let (entering, leaving) = (small.1 - upstream, small.2 - downstream);
    if leaving < 0.0 || entering <= leaving {
        let to = large.map_or_else(|| "larger".into(), |large| large.0.to_string());
        return Err(ErrorKind::BetasInconsistent { from: small.0.to_string(), to }.into());
    }
    Beta::new(entering / leaving)
}

fn between(low: (Size, Beta), high: (Size, Beta), size: Size) -> Result<[Beta; 3]> {
    let (x0, x1, x) = (low.0.um(), high.0.um(), size.um());
    let (b0, b1) = (low.1.get(), high.1.get());
    let line = |w: f64, y0: f64, y1: f64| (y0.ln() + w * (y1.ln() - y0.ln())).exp();
    let (straight, log) = ((x - x0) / (x1 - x0), (x / x0).ln() / (x1 / x0).ln());
    Ok([
        Beta::new(line(straight, b0, b1))?,
        Beta::new(line(log, b0, b1))?,
        Beta::new(1.0 + line(log, b0 - 1.0, b1 - 1.0))?,
    ])
}

impl FromStr for Rating {
    type Err = Error;

    /// Reads `4:3,6:20,14:1000`: sizes in um(c), each with its ratio.
    fn from_str(text: &str) -> Result<Self> {
        let pairs = pairs(text)?;
        Self::new(
            pairs
                .into_iter()
                .map(|(um, beta)| Ok((Size::um_c(um)?, Beta::new(beta)?)))
                .collect::<Result<_>>()?,
        )
    }
}

/// Reads `4:3,6:20,14:1000`: sizes \[um(c)\], each with a value.
///
/// # Errors
/// `beta-unreadable` where the text is no such list.
pub fn pairs(text: &str) -> Result<Vec<(f64, f64)>> {
    let pair = |part: &str| {
        let (size, value) = part.split_once(':')?;
        Some((size.trim().parse().ok()?, value.trim().parse().ok()?))
    };
    let pairs: Option<Vec<_>> = text.split(',').map(pair).collect();
    pairs.ok_or_else(|| ErrorKind::BetaUnreadable { text: text.trim().into() }.into())
}

/// The cumulative distribution a filter was tested with, smallest size first.
#[derive(Debug, Clone, PartialEq)]
pub struct Challenge(Vec<(f64, f64)>);

#[derive(Deserialize)]
struct Window {
    size_umc: f64,
    min_10mg_l: f64,
    max_10mg_l: f64,
}

static TEST_DUST: LazyLock<Challenge> = LazyLock::new(|| {
    let rows = table::rows::<Window>(&siltcode_tables::ISO_MEDIUM_TEST_DUST);
    Challenge(
        rows.into_iter().map(|row| (row.size_umc, f64::midpoint(row.min_10mg_l, row.max_10mg_l))).collect(),
    )
});

impl Challenge {
    /// ISO medium test dust: the centres of the windows that ISO 16889 allows at 10 mg/L. That they stand for the
    /// test of a given filter is an assumption.
    #[must_use]
    pub fn iso_medium_test_dust() -> Self {
        TEST_DUST.clone()
    }

    /// The counts of a spectrum as challenge.
    ///
    /// # Errors
    /// `nothing-counted` unless each size has a count above 0.
    pub fn of(spectrum: &crate::Spectrum) -> Result<Self> {
        let counted =
            spectrum.channels().iter().map(|channel| (channel.size.um(), channel.reading.at_least()));
        let counted: Vec<_> = counted.filter(|&(_, per_ml)| per_ml > 0.0).collect();
        if counted.is_empty() { Err(ErrorKind::NothingCounted {}.into()) } else { Ok(Self(counted)) }
    }

    /// Particles at and above a size \[1/mL\]: straight between two sizes in logarithms of both, and along the
    /// nearest such line outside.
    fn per_ml(&self, size: Size) -> f64 {
        let um = size.um();
        let [only] = self.0[..] else {
            let i =
                self.0.iter().position(|row| row.0 >= um).unwrap_or(self.0.len()).clamp(1, self.0.len() - 1);
            let ((x0, n0), (x1, n1)) = (self.0[i - 1], self.0[i]);
            return n0 * (n1 / n0).powf((um / x0).ln() / (x1 / x0).ln());
        };
        only.1
    }
}
