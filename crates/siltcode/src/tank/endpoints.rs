//! Where a cleaning starts, what it must meet, and what comes in meanwhile.

use std::str::FromStr;

use crate::certainty::Scatter;
use crate::class::iso4406::{Code, Place, RangeNumber};
use crate::count::{Evidence, PerMl};
use crate::error::{Error, ErrorKind, Result};
use crate::filter::rating::pairs;
use crate::provenance::SpecUsed;
use crate::sample::Sample;
use crate::size::{Size, SizeScale};
use crate::spec::{Demand, Spec, published};
use crate::spectrum::{Channel, Spectrum};
use crate::status::Status;
use crate::units::Duration;

/// Cumulative counts at sizes, sizes rising.
pub type AtSizes = [(Size, PerMl)];

/// Where the tank starts: the most there may be at each size, and how well that is known.
///
/// ```
/// use siltcode::certainty::Scatter;
/// use siltcode::tank::Start;
/// use siltcode::{Sample, Spectrum};
///
/// let start = Start::of_code("22/20/17".parse()?)?;
/// assert_eq!(start.counts()[0].1.get(), 40_000.0); // the upper bound of number 22
/// assert!(start.is_bounds());
///
/// let bottle = Sample::new("day tank", [Spectrum::from_per_ml(&[(4.0, 31_000.0), (6.0, 9_000.0), (14.0, 900.0)])?]);
/// let start = Start::of_sample(&bottle, Scatter::from_cv(0.16)?)?;
/// assert_eq!(start.counts()[0].1.get(), 31_000.0);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    counts: Vec<(Size, PerMl)>,
    log_sd: Vec<f64>,
    bounds: bool,
}

impl Start {
    /// The upper bounds of a code's range numbers, at its sizes in um(c).
    ///
    /// # Errors
    /// `start-unbounded` where a number stands above the scale or too many were counted; `nothing-counted` where the
    /// code holds no number.
    pub fn of_code(code: Code) -> Result<Self> {
        let counts = upper_bounds(code)?;
        Ok(Self { log_sd: vec![0.0; counts.len()], counts, bounds: true })
    }

    /// The counts of a spectrum; where only an upper bound was read, that bound. What is not counted is left out.
    ///
    /// A count that says how many particles it rests on is known to within their counting error.
    ///
    /// # Errors
    /// `start-unbounded` where there were too many to count; `nothing-counted` where no size was.
    pub fn of_counts(spectrum: &Spectrum) -> Result<Self> {
        Self::scattered(spectrum, Scatter::NONE)
    }

    /// The counts of a bottle, all runs together, known to within their counting error and the scatter of bottles.
    ///
    /// The logarithm of a concentration that rests on `k` particles has about the variance `1 / (k + 1/2)`; the
    /// scatter's is added.
    ///
    /// # Errors
    /// As [`of_counts`](Self::of_counts) and [`Sample::spectrum`].
    pub fn of_sample(sample: &Sample, scatter: Scatter) -> Result<Self> {
        Self::scattered(&sample.spectrum()?, scatter)
    }

    fn scattered(spectrum: &Spectrum, scatter: Scatter) -> Result<Self> {
        let counted: Vec<&Channel> = spectrum.channels().iter().filter(|c| c.reading.is_counted()).collect();
        let counts = counted.iter().map(|channel| {
            let most = PerMl::new(channel.reading.at_most());
            Ok((
                channel.size,
                most.map_err(|_| ErrorKind::StartUnbounded { size: channel.size.to_string() })?,
            ))
        });
        let counts = ensure_some(counts.collect::<Result<_>>()?)?;
        let counting = |evidence: Evidence| 1.0 / (evidence.raw as f64 + 0.5);
        let log_sd = counted
            .iter()
            .map(|channel| (channel.evidence.map_or(0.0, counting) + scatter.log_sd().powi(2)).sqrt());
        let bounds = counted.iter().any(|channel| channel.reading.count().is_none());
        Ok(Self { counts, log_sd: log_sd.collect(), bounds })
    }

    /// The counts, sizes rising. There is at least one.
    #[must_use]
    pub fn counts(&self) -> &AtSizes {
        &self.counts
    }

    /// The standard deviation of the logarithm of each count \[-\].
    #[must_use]
    pub fn log_sd(&self) -> &[f64] {
        &self.log_sd
    }

    /// Whether upper bounds stand in for counts.
    #[must_use]
    pub const fn is_bounds(&self) -> bool {
        self.bounds
    }

    /// The same start with other counts at its sizes.
    pub(super) fn with_counts(&self, counts: Vec<(Size, PerMl)>) -> Self {
        Self { counts, ..self.clone() }
    }
}

/// What the tank must meet: the most there may be at each size.
///
/// ```
/// use siltcode::tank::Target;
///
/// let target = Target::of_code("18/16/13".parse()?)?.with_margin(1.25)?;
/// assert_eq!(target.limits()[0].1.get(), 2000.0); // 2500 over 1.25
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    limits: Vec<(Size, PerMl)>,
    specification: Option<SpecUsed>,
}

impl Target {
    /// The upper bounds of a code's range numbers, at its sizes in um(c).
    ///
    /// # Errors
    /// As [`Start::of_code`].
    pub fn of_code(code: Code) -> Result<Self> {
        upper_bounds(code).map(Self::of_limits)
    }

    /// What a specification allows at each size.
    ///
    /// # Errors
    /// `target-without-particles` where it limits none.
    pub fn of_spec(spec: &Spec) -> Result<Self> {
        let mut limits: Vec<(Size, PerMl)> = Vec::new();
        for requirement in &spec.requirements {
            let Demand::Particles { size, limit } = requirement.demand else { continue };
            let Some(upper) = limit.upper() else { continue };
            match limits.iter_mut().find(|(at, _)| *at == size) {
                Some(entry) => entry.1 = entry.1.min(upper),
                None => limits.push((size, upper)),
            }
        }
        limits.sort_by(|a, b| a.0.um().total_cmp(&b.0.um()));
        if limits.is_empty() {
            return Err(ErrorKind::TargetWithoutParticles {}.into());
        }
        Ok(Self { limits, specification: Some(spec.used()) })
    }

    /// The counts of a spectrum as limits.
    ///
    /// # Errors
    /// As [`Start::of_counts`].
    pub fn of_counts(spectrum: &Spectrum) -> Result<Self> {
        Start::of_counts(spectrum).map(|start| Self::of_limits(start.counts))
    }

    /// The same target with every limit divided by a safety margin.
    ///
    /// # Errors
    /// `factor-out-of-range` unless the margin is finite and >= 1.
    pub fn with_margin(self, margin: f64) -> Result<Self> {
        if !(margin.is_finite() && margin >= 1.0) {
            let name = "safety margin".into();
            return Err(ErrorKind::FactorOutOfRange { name, value: margin, least: 1.0 }.into());
        }
        let divided = self.limits.iter().map(|&(size, limit)| Ok((size, PerMl::new(limit.get() / margin)?)));
        Ok(Self { limits: divided.collect::<Result<_>>()?, ..self })
    }

    /// The limits, sizes rising. There is at least one.
    #[must_use]
    pub fn limits(&self) -> &AtSizes {
        &self.limits
    }

    /// The specification it was taken from, if it was.
    #[must_use]
    pub const fn specification(&self) -> Option<&SpecUsed> {
        self.specification.as_ref()
    }

    /// Whether a limit was recalled and not read anywhere.
    #[must_use]
    pub fn is_unverified(&self) -> bool {
        self.specification.as_ref().is_some_and(|spec| spec.status == Status::Memory)
    }

    const fn of_limits(limits: Vec<(Size, PerMl)>) -> Self {
        Self { limits, specification: None }
    }
}

/// What comes into the tank while it is cleaned.
///
/// ```
/// use siltcode::{Spectrum, tank::Sources};
///
/// let hourly = Spectrum::from_per_ml(&[(4.0, 30.0), (6.0, 5.0), (14.0, 0.2)])?;
/// let sources = Sources::NONE.ingress_per_hour(&hourly)?;
/// assert_eq!(sources.ingress().len(), 3);
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Sources {
    ingress: Vec<(Size, PerMl)>,
    shedding: Vec<(Size, PerMl)>,
}

impl Sources {
    /// Nothing comes in.
    pub const NONE: Self = Self { ingress: Vec::new(), shedding: Vec::new() };

    /// With particles that come in each hour, at and above each size, per mL of tank.
    ///
    /// # Errors
    /// As [`Start::of_counts`].
    pub fn ingress_per_hour(self, per_hour: &Spectrum) -> Result<Self> {
        Ok(Self { ingress: Start::of_counts(per_hour)?.counts, ..self })
    }

    /// With particles that the filter sheds, at and above each size, per mL of what it returns.
    ///
    /// # Errors
    /// As [`Start::of_counts`].
    pub fn shedding(self, returned: &Spectrum) -> Result<Self> {
        Ok(Self { shedding: Start::of_counts(returned)?.counts, ..self })
    }

    /// Reads `4:30,6:5,14:0.2 per h`, particles that come in at and above sizes in um(c), as rates an hour; any unit of
    /// time will do.
    ///
    /// ```
    /// use siltcode::tank::Sources;
    ///
    /// let hourly = Sources::rates_per_hour("4:30,6:5 per min")?;
    /// assert_eq!(hourly.at_um(6.0).and_then(|at| at.reading.count()).unwrap().get(), 300.0);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// `rates-without-time` unless the text says in what time; `beta-unreadable`, `quantity-unreadable` and those of
    /// [`Spectrum::from_per_ml`].
    pub fn rates_per_hour(text: &str) -> Result<Spectrum> {
        let parted = text.split_once("per ").or_else(|| text.split_once('/'));
        let (list, unit) = parted.ok_or_else(|| ErrorKind::RatesWithoutTime { text: text.trim().into() })?;
        let hours = format!("1 {}", unit.trim()).parse::<Duration>()?.hours();
        let rates: Vec<_> = pairs(list.trim())?.into_iter().map(|(um, rate)| (um, rate / hours)).collect();
        Spectrum::from_per_ml(&rates)
    }

    /// Reads `4:30000,6:9000,14:900`, particles per mL at and above sizes in um(c).
    ///
    /// # Errors
    /// `beta-unreadable` where the text is no such list, and those of [`Spectrum::from_per_ml`].
    pub(crate) fn counts(text: &str) -> Result<Spectrum> {
        Spectrum::from_per_ml(&pairs(text)?)
    }

    /// Particles that come in each hour, at and above each size, per mL of tank.
    #[must_use]
    pub fn ingress(&self) -> &AtSizes {
        &self.ingress
    }

    /// Particles that the filter sheds, at and above each size, per mL of what it returns.
    #[must_use]
    pub fn shed(&self) -> &AtSizes {
        &self.shedding
    }
}

impl FromStr for Start {
    type Err = Error;

    /// Reads a code, or particles per mL at and above sizes in um(c): `4:30000,6:9000,14:900`.
    fn from_str(text: &str) -> Result<Self> {
        if text.contains(':') {
            Self::of_counts(&Sources::counts(text)?)
        } else {
            Self::of_code(text.parse()?)
        }
    }
}

impl FromStr for Target {
    type Err = Error;

    /// Reads a code, particles per mL at and above sizes in um(c), or the name of a published specification.
    fn from_str(text: &str) -> Result<Self> {
        match text.parse::<Code>() {
            _ if text.contains(':') => Self::of_counts(&Sources::counts(text)?),
            Err(error) if text.contains('/') => Err(error),
            Err(_) => Self::of_spec(&published::spec(text)?),
            Ok(code) => Self::of_code(code),
        }
    }
}

fn upper_bounds(code: Code) -> Result<Vec<(Size, PerMl)>> {
    let places = Code::sizes_um(SizeScale::UmC).into_iter().zip(code.places());
    let required = places.filter(|(_, place)| *place != Place::NotRequired);
    let bounded = required.filter_map(|(um, place)| Some((um?, place))).map(|(um, place)| {
        let size = Size::um_c(um)?;
        let upper = place.range_number().and_then(RangeNumber::upper);
        Ok((size, upper.ok_or_else(|| ErrorKind::StartUnbounded { size: size.to_string() })?))
    });
    ensure_some(bounded.collect::<Result<_>>()?)
}

fn ensure_some(counts: Vec<(Size, PerMl)>) -> Result<Vec<(Size, PerMl)>> {
    if counts.is_empty() { Err(ErrorKind::NothingCounted {}.into()) } else { Ok(counts) }
}
