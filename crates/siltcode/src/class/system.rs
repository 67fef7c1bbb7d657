//! The class systems, and what each is made of: a table, a title and what must be said with it.

use std::fmt;
use std::str::FromStr;

use serde::{Serialize, Serializer};
use siltcode_tables::Table;

use crate::class::classification::{Classification, SizeClass};
use crate::class::limits::Limits;
use crate::class::value::{Class, ClassRange};
use crate::class::{as4059, gost17216, nas1638, navair};
use crate::error::{Error, ErrorKind, Result};
use crate::size::{Size, SizeScale};
use crate::spectrum::Spectrum;

/// A system of contamination classes.
///
/// ```
/// use siltcode::Spectrum;
/// use siltcode::class::ClassSystem;
///
/// let counts = [(4.0, 3000.0), (6.0, 500.0), (14.0, 60.0), (21.0, 6.0), (38.0, 1.0), (70.0, 0.2)];
/// let classification = ClassSystem::As4059.classify(&Spectrum::from_per_ml(&counts)?)?;
/// assert_eq!(classification.to_string(), "9A/8B/7C/6D/6E/7F");
/// assert_eq!(classification.worst.to_string(), "9");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ClassSystem {
    /// SAE AS4059, cumulative, unrounded limits.
    As4059,
    /// SAE AS4059, cumulative, limits as rounded in print.
    As4059Rounded,
    /// SAE AS4059, counts per size range.
    As4059Differential,
    /// NAS 1638, counts per size range.
    Nas1638,
    /// GOST 17216-71, counts per size range.
    Gost17216,
    /// NAVAIR 01-1A-17, counts per size range.
    Navair,
}

/// What a class system is made of.
pub(super) struct System {
    /// The name it is asked for by.
    pub(super) name: &'static str,
    /// Standard, edition and table.
    pub(super) title: &'static str,
    /// What must be said with every class of it.
    pub(super) notes: &'static [&'static str],
    /// Where its limits stand.
    pub(super) table: &'static Table,
    pub(super) limits: Limits,
}

/// The most particles a class allows at one size.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ClassLimit {
    /// Particles of at least this size count.
    pub from: Size,
    /// Particles below this size count; none where all larger ones do.
    pub to: Option<Size>,
    /// Up to and including this \[particles/100 mL\]; none where the class sets no limit.
    pub at_most_per_100_ml: Option<f64>,
}

impl ClassSystem {
    /// All class systems.
    pub const ALL: [Self; 6] = [
        Self::As4059,
        Self::As4059Rounded,
        Self::As4059Differential,
        Self::Nas1638,
        Self::Gost17216,
        Self::Navair,
    ];

    fn system(self) -> &'static System {
        match self {
            Self::As4059 => &as4059::CUMULATIVE,
            Self::As4059Rounded => &as4059::ROUNDED,
            Self::As4059Differential => &as4059::DIFFERENTIAL,
            Self::Nas1638 => &nas1638::SYSTEM,
            Self::Gost17216 => &gost17216::SYSTEM,
            Self::Navair => &navair::SYSTEM,
        }
    }

    pub(super) fn limits(self) -> &'static Limits {
        &self.system().limits
    }

    /// The name it is asked for by: `as4059`, `as4059-rounded`, `as4059-differential`, `nas1638`, `gost17216`,
    /// `navair`.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.system().name
    }

    /// Standard, edition and table in words.
    #[must_use]
    pub fn title(self) -> &'static str {
        self.system().title
    }

    /// What must be said with every class of it.
    #[must_use]
    pub fn notes(self) -> &'static [&'static str] {
        self.system().notes
    }

    /// The table of its limits.
    #[must_use]
    pub fn table(self) -> &'static Table {
        self.system().table
    }

    /// Its classes, cleanest first.
    #[must_use]
    pub fn classes(self) -> Vec<Class> {
        self.limits().rows.iter().map(|(class, _)| *class).collect()
    }

    /// Refuses classes that the system has not; above its last class it has only "above that".
    pub(super) fn ensure_has(self, classes: ClassRange) -> Result<()> {
        let rows = self.classes();
        let has =
            |class: Class| rows.contains(&class) || rows.last().is_some_and(|last| class == last.or_worse());
        match [classes.best(), classes.worst()].into_iter().find(|class| !has(*class)) {
            None => Ok(()),
            Some(class) => Err(ErrorKind::ClassNotInSystem {
                class: class.to_string(),
                system: self.title().into(),
                classes: rows.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
            }
            .into()),
        }
    }

    /// The size scales it has sizes in.
    #[must_use]
    pub fn scales(self) -> Vec<SizeScale> {
        self.limits().scales()
    }

    /// The class of a sample.
    ///
    /// A size of the system that was not counted is read between the two counted sizes around it by both laws of
    /// [`Spectrum::between`]; its class is a range where the two disagree, and it is marked. A size outside what was
    /// counted has no class, and the worst class is over the other sizes.
    ///
    /// More particles never make a class better, but for two cases in which less is known than was counted. Where a
    /// range of a differential table ends between two counted sizes, particles beyond the larger of them make the laws
    /// flatter: they then read fewer of the particles between the two as small ones, and the range may come out cleaner
    /// (the next range then comes out dirtier). And where no particles at all were counted at the larger size, no law
    /// can be drawn, so that the first one counted narrows a class that was wide.
    ///
    /// # Errors
    /// `class-scale-unsuited` unless the system has sizes in the spectrum's scale, and `class-not-counted` unless at
    /// least one of its sizes lies within what was counted.
    pub fn classify(self, spectrum: &Spectrum) -> Result<Classification> {
        Classification::new(self, spectrum, spectrum.scale())
    }

    /// The class of a sample at the system's sizes in `scale`, where it has none in the spectrum's own.
    ///
    /// Each size of the system is converted to the spectrum's scale and read there, and the result records it. A size
    /// outside the published pairs has no class.
    ///
    /// ```
    /// use siltcode::class::ClassSystem;
    /// use siltcode::{SizeScale, Spectrum};
    ///
    /// let spectrum = Spectrum::from_per_ml(&[(6.0, 500.0), (14.0, 60.0), (21.0, 6.0)])?;
    /// assert_eq!(ClassSystem::Nas1638.classify(&spectrum).unwrap_err().code(), "class-scale-unsuited");
    ///
    /// let class = ClassSystem::Nas1638.classify_in(&spectrum, SizeScale::Acftd)?;
    /// assert!(class.is_interpolated()); // 15 um ACFTD are 13.6 um(c), between 6 and 14
    /// assert_eq!(class.conversion.unwrap().to, SizeScale::Acftd);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// As [`classify`](Self::classify), and `conversion-unknown` where it is needed but not published.
    pub fn classify_in(self, spectrum: &Spectrum, scale: SizeScale) -> Result<Classification> {
        let own = spectrum.scale();
        let scale = if self.scales().contains(&own) { own } else { scale };
        Classification::new(self, spectrum, scale)
    }

    /// What a class allows at each size, smallest first; none if the system has no such class or no such scale.
    ///
    /// ```
    /// use siltcode::SizeScale;
    /// use siltcode::class::ClassSystem;
    ///
    /// let limits = ClassSystem::Nas1638.allowed("7".parse()?, SizeScale::Microscope).unwrap();
    /// assert_eq!(limits[0].at_most_per_100_ml, Some(32_000.0));
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    #[must_use]
    pub fn allowed(self, class: Class, scale: SizeScale) -> Option<Vec<ClassLimit>> {
        let limits = self.limits();
        let row = limits.rows.iter().position(|(row, _)| *row == class)?;
        let limit = |column: &super::limits::Column| {
            let span = column.span(scale)?;
            Some(ClassLimit { from: span.from, to: span.to, at_most_per_100_ml: *column.limits.get(row)? })
        };
        limits.columns.iter().map(limit).collect()
    }
}

impl SizeClass {
    /// Whether all particles of at least the size count, larger ones included.
    #[must_use]
    pub const fn is_cumulative(&self) -> bool {
        self.to.is_none()
    }
}

impl fmt::Display for ClassSystem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for ClassSystem {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let name = text.trim().to_lowercase();
        Self::ALL.into_iter().find(|system| system.name() == name).ok_or_else(|| {
            let systems = Self::ALL.map(Self::name).join(", ");
            ErrorKind::ClassSystemUnknown { text: text.trim().into(), systems }.into()
        })
    }
}

impl Serialize for ClassSystem {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
