//! The class of a sample: size by size, and the worst.

use std::fmt;

use serde::Serialize;

use crate::class::designation::{Designation, Letter};
use crate::class::limits::{Limits, Span};
use crate::class::system::ClassSystem;
use crate::class::value::{Class, ClassRange};
use crate::conversion::Conversion;
use crate::count::{PerMl, Reading};
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};
use crate::spectrum::{Law, Spectrum};
use crate::status::Status;
use crate::units::significant;

/// How the count at a size of the class system came about, plainest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// Counted at exactly this size.
    Counted,
    /// Known between bounds only: fewer than, more than, too many to count.
    Bounded,
    /// Read between two counted sizes, by both laws.
    Interpolated,
    /// Neither counted nor between counted sizes.
    NotCounted,
}

/// The class at one size of a class system.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SizeClass {
    /// The letter of the size, in systems that have letters.
    pub letter: Option<Letter>,
    /// Particles of at least this size count.
    pub from: Size,
    /// Particles below this size count; none where all larger ones do.
    pub to: Option<Size>,
    /// How the count came about.
    pub origin: Origin,
    /// The least there may be \[particles/100 mL\]; none where not counted.
    pub at_least_per_100_ml: Option<f64>,
    /// The most there may be \[particles/100 mL\]; none where not counted or without bound.
    pub at_most_per_100_ml: Option<f64>,
    /// The class; none where not counted.
    pub class: Option<ClassRange>,
}

/// What a class system says of a sample.
///
/// It prints as the system's users write it: every size behind the AS4059 cumulative table (`9A/8B/7C/6D/6E/7F`), the
/// worst class elsewhere. [`worst_first`](Self::worst_first) puts the worst class before the sizes. [`per_size`](Self::per_size) gives the classes one by one.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Classification {
    /// The system.
    pub system: ClassSystem,
    /// The system, edition and table in words.
    pub table: &'static str,
    /// The scale of the sizes.
    pub scale: SizeScale,
    /// Size by size, smallest first.
    pub sizes: Vec<SizeClass>,
    /// The dirtiest class over the counted sizes.
    pub worst: ClassRange,
    /// How the least sure limit is known that any of the classes rests on.
    pub status: Status,
    /// How the sizes came into this scale, if they were converted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conversion: Option<Conversion>,
    /// What must be said with the class.
    pub notes: Vec<String>,
}

impl Classification {
    /// The class at the system's sizes in a scale; where that is not the spectrum's, each size is converted to the
    /// spectrum's and read there.
    pub(super) fn new(system: ClassSystem, spectrum: &Spectrum, scale: SizeScale) -> Result<Self> {
        let limits = system.limits();
        ensure_has_scale(system, scale)?;
        let conversion = Conversion::of_scales(spectrum.scale(), scale)?;
        let sizes: Vec<SizeClass> = (limits.columns.iter())
            .filter_map(|column| Some((column, column.span(scale)?)))
            .map(|(column, span)| {
                let class = |per_100_ml| limits.class(column, per_100_ml).0;
                SizeClass { letter: column.letter, ..SizeClass::of(span, spectrum, class) }
            })
            .collect();
        let worst = sizes.iter().filter_map(|size| size.class).reduce(ClassRange::dirtier);
        let worst = worst.ok_or_else(|| nothing_counted(system, &sizes))?;
        let converted = conversion.as_ref().map_or(Status::Read, |conversion| conversion.status);
        let status = status(limits, &sizes);
        let mut notes = notes(system, &sizes, status);
        notes.extend(conversion.as_ref().map(ToString::to_string));
        let status = status.max(converted);
        Ok(Self { system, table: system.title(), scale, sizes, worst, status, conversion, notes })
    }

    /// The class at each size, smallest size first, `-` where not counted: `7,5,6,6,5`.
    #[must_use]
    pub fn per_size(&self) -> String {
        let class = |size: &SizeClass| size.class.map_or_else(|| "-".into(), |class| class.to_string());
        self.sizes.iter().map(class).collect::<Vec<_>>().join(",")
    }

    /// The worst class, then the class of every size: `9: 9A/8B/7C/6D/6E/7F`, or `7 (7,5,6,6,5)` without letters.
    ///
    /// ```
    /// use siltcode::Spectrum;
    /// use siltcode::class::ClassSystem;
    ///
    /// let spectrum = Spectrum::from_per_ml(&[(4.0, 3000.0), (6.0, 700.0), (14.0, 60.0)])?;
    /// let class = ClassSystem::As4059.classify(&spectrum)?;
    /// assert_eq!(class.worst_first(), "9: 9A/8B/7C");
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn worst_first(&self) -> String {
        match Designation::of_sizes(self) {
            Some(designation) => format!("{}: {designation}", self.worst),
            None => format!("{} ({})", self.worst, self.per_size()),
        }
    }

    /// Whether any class rests on a count read between two counted sizes.
    #[must_use]
    pub fn is_interpolated(&self) -> bool {
        self.sizes.iter().any(|size| size.origin == Origin::Interpolated)
    }
}

impl fmt::Display for Classification {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match Designation::of_sizes(self) {
            Some(designation) => designation.fmt(f),
            None => self.worst.fmt(f),
        }
    }
}

impl SizeClass {
    fn of(span: Span, spectrum: &Spectrum, class: impl Fn(f64) -> Class) -> Self {
        let count = Count::at(spectrum, span.from).and_then(|from| match span.to {
            Some(to) => Some(from.less(&Count::at(spectrum, to)?)),
            None => Some(from),
        });
        let (least, most) = count.as_ref().map(Count::ends).unzip();
        Self {
            letter: None,
            from: span.from,
            to: span.to,
            origin: count.map_or(Origin::NotCounted, |count| count.origin),
            at_least_per_100_ml: least.filter(|least| least.is_finite()),
            at_most_per_100_ml: most.filter(|most| most.is_finite()),
            class: least.zip(most).map(|(least, most)| ClassRange::between(class(least), class(most))),
        }
    }
}

/// A count with what is not known about it: least and most under each law \[particles/100 mL\].
struct Count {
    under: [(f64, f64); 2],
    origin: Origin,
}

impl Count {
    /// The count at and above a size; none where it was not counted and does not lie between counted sizes, or cannot be
    /// converted to their scale.
    fn at(spectrum: &Spectrum, size: Size) -> Option<Self> {
        let size = size.converted(spectrum.scale()).ok()?;
        let both =
            |(least, most), origin| Some(Self { under: [(per_100_ml(least), per_100_ml(most)); 2], origin });
        match spectrum.reading(size) {
            Reading::Count(count) => both((count.get(), count.get()), Origin::Counted),
            Reading::Below(_) | Reading::Above(_) | Reading::TooMany => {
                both(bounds(spectrum, size), Origin::Bounded)
            }
            Reading::NotCounted => {
                let between = spectrum.between(size)?;
                let ends = |(least, most): (PerMl, PerMl)| (per_100_ml(least.get()), per_100_ml(most.get()));
                let under = Law::BOTH.map(|law| ends(between.under(law)));
                Some(Self { under, origin: Origin::Interpolated })
            }
        }
    }

    /// The particles at and above this size but below another.
    fn less(&self, larger: &Self) -> Self {
        let difference = |((least, most), (above_least, above_most)): ((f64, f64), (f64, f64))| {
            let unbounded = most.is_infinite() || least.is_infinite() && above_most.is_infinite();
            let least = if above_most.is_infinite() { 0.0 } else { (least - above_most).max(0.0) };
            (least, if unbounded { f64::INFINITY } else { (most - above_least).max(0.0) })
        };
        let under = [0, 1].map(|law| difference((self.under[law], larger.under[law])));
        Self { under, origin: self.origin.max(larger.origin) }
    }

    fn ends(&self) -> (f64, f64) {
        let [(one_least, one_most), (other_least, other_most)] = self.under;
        (one_least.min(other_least), one_most.max(other_most))
    }
}

/// The least and the most there may be at a size, by its own reading and its neighbours': no less than at a larger size,
/// no more than at a smaller one \[particles/mL\].
fn bounds(spectrum: &Spectrum, size: Size) -> (f64, f64) {
    let (mut least, mut most) = (0.0_f64, f64::INFINITY);
    for channel in spectrum.channels() {
        // How many are too many is not said, so that reading bounds nothing.
        let counted = channel.reading != Reading::TooMany && channel.reading.is_counted();
        if counted && channel.size >= size {
            least = least.max(channel.reading.at_least());
        }
        if counted && channel.size <= size {
            most = most.min(channel.reading.at_most());
        }
    }
    (least, most)
}

/// Particles per 100 mL. What stands within rounding of a whole number is that number, so that a count reported as
/// 19462 per 100 mL, or the difference of two such counts, still meets a limit of 19462.
fn per_100_ml(per_ml: f64) -> f64 {
    let value = per_ml * 100.0;
    let whole = value.round();
    if (value - whole).abs() <= value * 16.0 * f64::EPSILON { whole } else { value }
}

fn ensure_has_scale(system: ClassSystem, scale: SizeScale) -> Result<()> {
    let scales = system.limits().scales();
    if scales.contains(&scale) {
        return Ok(());
    }
    Err(ErrorKind::ClassScaleUnsuited {
        system: system.title().into(),
        scale: scale.to_string(),
        scales: scales.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
    }
    .into())
}

fn nothing_counted(system: ClassSystem, sizes: &[SizeClass]) -> ErrorKind {
    let sizes = listed(sizes.iter(), printed).unwrap_or_default();
    ErrorKind::ClassNotCounted { system: system.title().into(), sizes }
}

/// Sizes in words, with their scale at the end: `5-15, 15-25, >=100 um(acftd)`; none for no sizes.
fn listed<'a>(
    sizes: impl Iterator<Item = &'a SizeClass> + Clone,
    say: fn(&SizeClass) -> String,
) -> Option<String> {
    let scale = sizes.clone().next()?.from.scale();
    Some(format!("{} {scale}", sizes.map(say).collect::<Vec<_>>().join(", ")))
}

/// A size with a letter as it is, a range with its ends; without the scale.
fn printed(size: &SizeClass) -> String {
    match (size.to, size.letter) {
        (Some(to), _) => format!("{}-{}", size.from.um(), to.um()),
        (None, Some(_)) => size.from.um().to_string(),
        (None, None) => format!(">={}", size.from.um()),
    }
}

/// `5500 to 6120 at 14`.
fn spread(size: &SizeClass) -> String {
    let bound = |bound: Option<f64>| bound.map_or_else(|| "unbounded".into(), |bound| significant(bound, 3));
    let (least, most) = (bound(size.at_least_per_100_ml), bound(size.at_most_per_100_ml));
    let count = if least == most { least } else { format!("{least} to {most}") };
    format!("{count} at {}", printed(size))
}

/// How the least sure of the limits is known that these classes rest on.
fn status(limits: &Limits, sizes: &[SizeClass]) -> Status {
    // a class between two bounds rests on the limits of all classes from one to the other
    let known = |range: ClassRange| {
        let within = limits.rows.iter().filter(|(row, _)| range.best() <= *row && *row <= range.worst());
        within
            .chain(limits.rows.last().filter(|_| range.worst().is_above_scale()))
            .map(|(_, status)| *status)
            .max()
    };
    let classes = sizes.iter().filter_map(|size| size.class);
    classes.filter_map(known).max().unwrap_or(Status::Memory)
}

fn notes(system: ClassSystem, sizes: &[SizeClass], status: Status) -> Vec<String> {
    let of = |origin| sizes.iter().filter(move |size| size.origin == origin);
    let missing =
        listed(of(Origin::NotCounted), printed).map(|sizes| format!("not counted, so not classed: {sizes}"));
    let between = listed(of(Origin::Interpolated), spread)
        .map(|sizes| format!("interpolated, per 100 mL by two laws: {sizes}"));
    let mut notes: Vec<String> = system.notes().iter().map(ToString::to_string).collect();
    notes.extend(missing.into_iter().chain(between));
    if status == Status::Memory {
        notes.push("rests on limits recalled and not read anywhere (UNVERIFIED): not for acceptance".into());
    }
    notes
}
