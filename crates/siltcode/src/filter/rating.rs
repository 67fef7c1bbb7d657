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

use std::fmt;
use std::str::FromStr;

use super::beta::Beta;
use super::between::{BetaAt, RULES, range};
use super::challenge::Challenge;
use crate::certainty::Interval;
use crate::error::{Error, ErrorKind, Result};
use crate::size::Size;
use crate::units::Shortest;

/// Filtration ratios at rated sizes, smallest size first, in one size scale.
///
/// A ratio above [`Beta::CERTAIN_UP_TO`] is kept as "at least" that. A nominal rating promises no efficiency: it is an
/// interval that the user vouches for, and so is a ratio read off a coarse curve.
///
/// ```
/// use siltcode::{Size, filter::{BetaAt, Rating}};
///
/// let rating: Rating = "4:3,6:20,14:5000".parse()?;
/// assert_eq!(rating.to_string(), "4:3,6:20,14:>1000");
/// let nominal: Rating = "10:2..20".parse()?;
/// assert!(matches!(nominal.at(Size::um_c(10.0)?)?, BetaAt::Within(_)));
/// assert_eq!(nominal.working(Size::um_c(10.0)?)?.get(), 2.0);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Rating(Vec<Rated>);

/// A rated size with what its ratio is known to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rated {
    /// Particles of this size and larger.
    pub size: Size,
    /// The ratio; low and high differ where only an interval is known, and high is infinite for "at least".
    pub beta: Interval<Beta>,
}

impl Rating {
    /// Ratios at sizes.
    ///
    /// # Errors
    /// `beta-unreadable` without a size, `scales-mixed`, `size-repeated`.
    pub fn new(rated: Vec<(Size, Beta)>) -> Result<Self> {
        Self::within(
            rated.into_iter().map(|(size, beta)| (size, Interval { low: beta, high: beta })).collect(),
        )
    }

    /// Intervals of the ratio at sizes, for nominal ratings and whatever else is known only roughly.
    ///
    /// # Errors
    /// As [`new`](Self::new), and `quantity-out-of-range` unless low <= high.
    pub fn within(rated: Vec<(Size, Interval<Beta>)>) -> Result<Self> {
        let scale = rated.first().ok_or(ErrorKind::BetaUnreadable { text: String::new() })?.0.scale();
        let mut rated: Vec<Rated> =
            rated.into_iter().map(|(size, beta)| Rated::new(size, beta)).collect::<Result<_>>()?;
        rated.iter().try_for_each(|rated| rated.size.ensure_scale(scale))?;
        rated.sort_by(|a, b| a.size.um().total_cmp(&b.size.um()));
        match rated.windows(2).find(|pair| pair[0].size == pair[1].size) {
            Some(pair) => Err(ErrorKind::SizeRepeated { size: pair[0].size.to_string() }.into()),
            None => Ok(Self(rated)),
        }
    }

    /// The rated sizes, smallest first. There is at least one.
    #[must_use]
    pub fn rated(&self) -> &[Rated] {
        &self.0
    }

    /// The same rating where `beta - 1` is only so large a part of it in service: unsteady flow and vibration cost
    /// efficiency, and no published figure says how much. The divisor is the user's, or comes from counts.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the divisor is finite and >= 1.
    pub fn derated(&self, divisor: f64) -> Result<Self> {
        if !(divisor.is_finite() && divisor >= 1.0) {
            let name = "divisor of beta - 1".into();
            return Err(ErrorKind::FactorOutOfRange { name, value: divisor, least: 1.0 }.into());
        }
        let derate = |rated: &Rated| {
            let Interval { low, high } = rated.beta;
            let beta =
                Interval { low: low.excess_times(1.0 / divisor)?, high: high.excess_times(1.0 / divisor)? };
            Ok(Rated { size: rated.size, beta })
        };
        self.0.iter().map(derate).collect::<Result<_>>().map(Self)
    }

    /// What the rating says at a size. Outside the rated sizes it is a bound, never a value.
    ///
    /// # Errors
    /// `scales-mixed` where the size is in another scale than the rating.
    pub fn at(&self, size: Size) -> Result<BetaAt> {
        let (first, last) = (self.0[0], self.0[self.0.len() - 1]);
        size.ensure_scale(first.size.scale())?;
        match self.0.iter().position(|rated| rated.size.um() >= size.um()) {
            Some(i) if self.0[i].size == size => Ok(self.0[i].known()),
            Some(0) => Ok(BetaAt::AtMost(first.beta.high)),
            Some(i) => between(self.0[i - 1], self.0[i], size),
            None => Ok(BetaAt::AtLeast(last.beta.low)),
        }
    }

    /// The ratio to reckon with at a size: [`BetaAt::working`].
    ///
    /// # Errors
    /// `beta-not-rated` below the smallest rated size, where nothing but a ceiling is known; `scales-mixed`.
    pub fn working(&self, size: Size) -> Result<Beta> {
        let smallest = || self.0[0].size.to_string();
        let known = self.at(size)?.working();
        known.ok_or_else(|| ErrorKind::BetaNotRated { size: size.to_string(), smallest: smallest() }.into())
    }

    /// The size at which the rating reaches a ratio, by the three interpolations; none where it does not within the
    /// rated sizes, or where the ratios around are intervals.
    ///
    /// ```
    /// use siltcode::filter::{Beta, Rating};
    ///
    /// let rating: Rating = "5:10,7:200".parse()?;
    /// let sizes = rating.size_for(Beta::new(75.0)?).unwrap();
    /// assert_eq!(sizes.map(|size| format!("{:.2}", size.um())), ["6.35", "6.27", "6.29"]);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn size_for(&self, beta: Beta) -> Option<[Size; 3]> {
        if let Some(rated) = self.0.iter().find(|rated| rated.known() == BetaAt::Rated(beta)) {
            return Some([rated.size; 3]);
        }
        let around = self.0.windows(2).find(|pair| {
            pair.iter().all(Rated::is_exact) && (pair[0].beta.low < beta) != (pair[1].beta.low < beta)
        })?;
        let [low, high] = [around[0], around[1]].map(|rated| (rated.size.um(), rated.beta.low.get()));
        let sizes =
            RULES.map(|rule| Size::new(rule.size(low, high, beta.get()), around[0].size.scale()).ok());
        let [Some(a), Some(b), Some(c)] = sizes else { return None };
        Some([a, b, c])
    }

    /// The ratio of each bin between these rising sizes (the last bin is open), given what the test challenged the
    /// filter with.
    ///
    /// # Errors
    /// `betas-inconsistent` where a bin would let out more than enters, or a negative number: the published ratios
    /// cannot all be true of this challenge, and none of them is an interval. `beta-not-rated` as in [`working`](Self::working); `challenge-outside`
    /// where two neighbouring ratios differ and the challenge does not hold their sizes.
    pub fn bins(&self, sizes: &[Size], challenge: &Challenge) -> Result<Vec<Beta>> {
        self.bins_with(sizes, challenge, |size| self.working(size), Beta::ONE)
    }

    /// The same where a size below the smallest rated one is allowed: of the particles from there to the next size nothing
    /// is taken to be held back, which is the least that such a rating leaves possible.
    ///
    /// ```
    /// use siltcode::Size;
    /// use siltcode::filter::{Challenge, Rating};
    ///
    /// let (one_figure, dust): (Rating, _) = ("5:200".parse()?, Challenge::iso_medium_test_dust());
    /// let sizes = [Size::um_c(4.0)?, Size::um_c(6.0)?];
    /// assert_eq!(one_figure.bins(&sizes, &dust).unwrap_err().code(), "beta-not-rated");
    /// let least = one_figure.bins_at_worst(&sizes, &dust)?;
    /// assert_eq!([least[0].get(), least[1].get()], [1.0, 200.0]);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// As [`bins`](Self::bins) without `beta-not-rated`.
    pub fn bins_at_worst(&self, sizes: &[Size], challenge: &Challenge) -> Result<Vec<Beta>> {
        let rated = sizes.partition_point(|size| size.um() < self.0[0].size.um());
        let mut least = vec![Beta::ONE; rated];
        least.extend(self.bins(&sizes[rated..], challenge)?);
        Ok(least)
    }

    /// The same with the largest ratio that is possible at each size: beside [`bins`](Self::bins) it shows what
    /// interpolating, bounds and intervals leave open. A single bin may come out lower, where only the ratio above it
    /// rose.
    ///
    /// # Errors
    /// As [`bins`](Self::bins).
    pub fn bins_at_best(&self, sizes: &[Size], challenge: &Challenge) -> Result<Vec<Beta>> {
        self.bins_with(sizes, challenge, |size| Ok(self.at(size)?.greatest()), Beta::INFINITE)
    }

    /// The bins of one end of what is known. Where the ends of two sizes cannot both hold and the smaller size has no
    /// exact rating, its bin goes as far as it can: nothing, or all of it, is held back.
    fn bins_with(
        &self,
        sizes: &[Size],
        challenge: &Challenge,
        ratio: impl Fn(Size) -> Result<Beta>,
        end: Beta,
    ) -> Result<Vec<Beta>> {
        let betas: Vec<(Size, Beta)> =
            sizes.iter().map(|&size| Ok((size, ratio(size)?))).collect::<Result<_>>()?;
        let of = |i: usize| match bin(betas[i], betas.get(i + 1).copied(), challenge) {
            Err(error) if error.code() == "betas-inconsistent" => match self.at(betas[i].0)? {
                BetaAt::Rated(_) => Err(error),
                _ => Ok(end),
            },
            found => found,
        };
        (0..betas.len()).map(of).collect()
    }
}

impl Rated {
    /// A ratio that cannot be told from infinity is "at least".
    fn new(size: Size, beta: Interval<Beta>) -> Result<Self> {
        let Interval { low, high } = beta;
        if low > high {
            let (quantity, value) = ("interval of the filtration ratio".into(), format!("{low}..{high}"));
            let range = "from a low to a high ratio".into();
            return Err(ErrorKind::QuantityOutOfRange { quantity, value, range }.into());
        }
        let certain = Beta::CERTAIN_UP_TO;
        let high = if high > certain { Beta::INFINITE } else { high };
        Ok(Self { size, beta: Interval { low: if low > certain { certain } else { low }, high } })
    }

    fn is_exact(&self) -> bool {
        self.beta.low == self.beta.high
    }

    fn known(&self) -> BetaAt {
        if self.is_exact() {
            BetaAt::Rated(self.beta.low)
        } else if self.beta.high == Beta::INFINITE {
            BetaAt::AtLeast(self.beta.low)
        } else {
            BetaAt::Within(self.beta)
        }
    }
}

fn between(low: Rated, high: Rated, size: Size) -> Result<BetaAt> {
    let (small, large) = (low.size.um(), high.size.um());
    let three = |b0: Beta, b1: Beta| -> Result<[Beta; 3]> {
        let [a, b, c] = RULES.map(|rule| rule.ratio((small, b0.get()), (large, b1.get()), size.um()));
        Ok([Beta::new(a)?, Beta::new(b)?, Beta::new(c)?])
    };
    let least = three(low.beta.low, high.beta.low)?;
    if low.is_exact() && high.is_exact() {
        return Ok(BetaAt::Between(least));
    }
    if [low, high].iter().any(|rated| rated.beta.high == Beta::INFINITE) {
        return Ok(BetaAt::AtLeast(range(least).low));
    }
    let most = three(low.beta.high, high.beta.high)?;
    Ok(BetaAt::Within(Interval { low: range(least).low, high: range(most).high }))
}

/// What enters a bin over what leaves it: differences of the cumulative counts before and behind the filter.
fn bin(small: (Size, Beta), large: Option<(Size, Beta)>, challenge: &Challenge) -> Result<Beta> {
    let Some(large) = large.filter(|large| large.1 != small.1) else { return Ok(small.1) };
    let [(upstream, downstream), (up_above, down_above)] =
        [passing(small, challenge)?, passing(large, challenge)?];
    let (entering, leaving) = (upstream - up_above, downstream - down_above);
    let reason = if entering <= 0.0 {
        "the filter was tested with no particles between them"
    } else if leaving < 0.0 {
        "more particles would leave above the larger size than above the smaller one"
    } else if leaving > entering {
        "more particles between them would leave than enter"
    } else {
        return Beta::new(entering / leaving);
    };
    let (from, to) = (small.0.to_string(), large.0.to_string());
    Err(ErrorKind::BetasInconsistent { from, to, reason: reason.into() }.into())
}

/// Particles at and above a size, before and behind the filter \[1/mL\].
fn passing((size, beta): (Size, Beta), challenge: &Challenge) -> Result<(f64, f64)> {
    let upstream = challenge.per_ml(size)?.get();
    Ok((upstream, upstream * beta.penetration()))
}

impl fmt::Display for Rating {
    /// Writes what [`FromStr`] reads; sizes in other scales than um(c) are written with their scale.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let written: Vec<String> = self.0.iter().map(ToString::to_string).collect();
        f.pad(&written.join(","))
    }
}

impl fmt::Display for Rated {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.size.scale() {
            crate::SizeScale::UmC => write!(f, "{}:", Shortest(self.size.um()))?,
            _ => write!(f, "{}:", self.size)?,
        }
        match self.known() {
            BetaAt::AtLeast(beta) => write!(f, ">{beta}"),
            BetaAt::Within(Interval { low, high }) => write!(f, "{low}..{high}"),
            _ => write!(f, "{}", self.beta.low),
        }
    }
}

impl FromStr for Rating {
    type Err = Error;

    /// Reads `4:3,6:20,14:>1000`: sizes in um(c), each with its ratio, a lower bound, or an interval `2..20`.
    fn from_str(text: &str) -> Result<Self> {
        Self::within(listed(text, interval)?)
    }
}

/// Reads `3`, `>1000`, `>=1000` or `2..20`.
fn interval(text: &str) -> Option<Result<Interval<Beta>>> {
    let both = |low: f64, high: f64| Ok(Interval { low: Beta::new(low)?, high: Beta::new(high)? });
    if let Some(bound) = text.strip_prefix('>') {
        return Some(both(bound.trim_start_matches('=').trim().parse().ok()?, f64::INFINITY));
    }
    let (low, high) = text.split_once("..").unwrap_or((text, text));
    Some(both(low.trim().parse().ok()?, high.trim().parse().ok()?))
}

/// Reads a list of sizes \[um(c)\], each with a value: `4:30000,6:9000`.
fn listed<T>(text: &str, value: impl Fn(&str) -> Option<Result<T>>) -> Result<Vec<(Size, T)>> {
    let unreadable = || Error::from(ErrorKind::BetaUnreadable { text: text.trim().into() });
    text.split(',')
        .map(|part| {
            let (size, found) = part.split_once(':').ok_or_else(unreadable)?;
            let um = size.trim().parse().map_err(|_| unreadable())?;
            Ok((Size::um_c(um)?, value(found.trim()).ok_or_else(unreadable)??))
        })
        .collect()
}

/// Reads `4:3,6:20,14:1000`: sizes \[um(c)\], each with a value.
///
/// # Errors
/// `beta-unreadable` where the text is no such list, `size-not-positive`.
pub fn pairs(text: &str) -> Result<Vec<(f64, f64)>> {
    let listed = listed(text, |value| value.parse().ok().map(Ok))?;
    Ok(listed.into_iter().map(|(size, value)| (size.um(), value)).collect())
}
