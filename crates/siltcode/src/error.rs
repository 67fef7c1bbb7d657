//! One error for the whole library: what was found, where, and what to do about it.
//!
//! Every kind has a stable code (`count-rises-with-size`), a message that names the value and its unit, and a hint.
//! Codes never change their meaning; new kinds may come, so match with a wildcard arm.
//!
//! ```
//! use siltcode::Code;
//!
//! let error = "16/18/13".parse::<Code>().unwrap_err();
//! assert_eq!(error.code(), "code-rises-with-size");
//! assert!(error.hint().contains("cumulative"));
//! ```

use std::fmt;

use crate::units::Shortest;

/// What a call of this library gives back.
pub type Result<T> = std::result::Result<T, Error>;

/// Why an input could not be used: a kind, where it stands, and a hint.
///
/// It is one pointer wide plus its position, so results stay small. It is neither a program's text format nor
/// translated: programs use [`Error::code`].
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub struct Error {
    kind: Box<ErrorKind>,
    position: Option<Box<Position>>,
}

impl Error {
    /// The kind, with the values that were found.
    #[must_use]
    pub fn kind(&self) -> &ErrorKind {
        &self.kind
    }

    /// The stable code, for programs: lower case, words joined by hyphens.
    #[must_use]
    pub fn code(&self) -> &'static str {
        self.kind.code()
    }

    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> String {
        self.kind.hint()
    }

    /// Where the input stands, if it came from a file or a table.
    #[must_use]
    pub fn position(&self) -> Option<&Position> {
        self.position.as_deref()
    }

    /// The same error, placed.
    #[must_use]
    pub fn at(mut self, position: Position) -> Self {
        self.position = Some(Box::new(position));
        self
    }
}

impl From<ErrorKind> for Error {
    fn from(kind: ErrorKind) -> Self {
        Self { kind: Box::new(kind), position: None }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.position {
            Some(position) => write!(f, "{} ({position})", self.kind),
            None => write!(f, "{}", self.kind),
        }
    }
}

/// Where in the input something stands. Lines count from 1, as an editor shows them.
#[derive(Debug, Clone, Default, PartialEq, Eq, serde::Serialize)]
pub struct Position {
    /// The file's name, as the caller gave it.
    pub file: Option<String>,
    /// The sheet of a workbook.
    pub sheet: Option<String>,
    /// The line (in a workbook: the row), from 1.
    pub line: Option<u64>,
    /// The column's heading.
    pub column: Option<String>,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts = [
            self.file.clone(),
            self.sheet.as_ref().map(|sheet| format!("sheet {sheet}")),
            self.line.map(|line| format!("line {line}")),
            self.column.as_ref().map(|column| format!("column {column}")),
        ];
        f.write_str(&parts.into_iter().flatten().collect::<Vec<_>>().join(", "))
    }
}

/// How a value stands in a message: numbers of any size in few digits.
trait InMessage {
    fn in_message(&self) -> impl fmt::Display;
}

impl InMessage for f64 {
    fn in_message(&self) -> impl fmt::Display {
        Shortest(*self)
    }
}

impl InMessage for String {
    fn in_message(&self) -> impl fmt::Display {
        self
    }
}

impl InMessage for usize {
    fn in_message(&self) -> impl fmt::Display {
        *self
    }
}

impl InMessage for u64 {
    fn in_message(&self) -> impl fmt::Display {
        *self
    }
}

/// One row per kind: its values, its code, its message, its hint.
macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident { $($field:ident: $type:ty),* } $code:literal $message:literal $hint:literal)*) => {
        /// What is wrong, with the values that were found.
        #[derive(Debug, Clone, PartialEq)]
        #[non_exhaustive]
        pub enum ErrorKind {
            $($(#[$doc])* #[allow(missing_docs)] $kind { $($field: $type),* },)*
        }

        impl std::error::Error for ErrorKind {}

        impl fmt::Display for ErrorKind {
            #[allow(unused_variables)]
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                match self {
                    $(Self::$kind { $($field),* } => {
                        $(let $field = $field.in_message();)*
                        write!(f, $message)
                    })*
                }
            }
        }

        impl ErrorKind {
            /// Every code there is, in the order of the kinds.
            pub const CODES: &'static [&'static str] = &[$($code),*];

            fn code(&self) -> &'static str {
                match self { $(Self::$kind { .. } => $code,)* }
            }

            #[allow(unused_variables)]
            fn hint(&self) -> String {
                match self { $(Self::$kind { $($field),* } => format!($hint),)* }
            }
        }
    };
}

kinds! {
    // sizes and scales
    /// A particle size is not a finite number above zero.
    SizeNotPositive { um: f64 }
        "size-not-positive" "particle size {um} µm is not a finite number above 0"
        "give the size in micrometres, for example 4 um(c)"
    /// Text that is no particle size.
    SizeUnreadable { text: String }
        "size-unreadable" "`{text}` is not a particle size"
        "write the number and its scale: 4 um(c), 5 um(acftd), 15 um(microscope)"
    /// Sizes stated in two scales meet.
    ScalesMixed { left: String, right: String }
        "scales-mixed" "sizes in {left} and in {right} meet in one series"
        "the scales measure differently; convert one of them explicitly first"
    /// The same size stands twice.
    SizeRepeated { size: String }
        "size-repeated" "the size {size} stands twice"
        "keep one column or row per size"

    // counts
    /// A concentration is negative, NaN or infinite.
    CountNotFinite { value: f64 }
        "count-not-finite" "count {value} per mL is not a finite number of 0 or more"
        "leave the cell empty if the size was not counted; write TNTC if there were too many to count"
    /// Cumulative counts rise with size.
    CountRisesWithSize { small: String, small_per_ml: f64, large: String, large_per_ml: f64 }
        "count-rises-with-size"
        "{large_per_ml} per mL at {large} is more than {small_per_ml} per mL at {small}; counts at and above a size cannot rise with size"
        "two usual causes: counts per size band were given as cumulative (say so with `differential`), or part of the row is per 100 mL and part per mL"
    /// No size was counted at all.
    NothingCounted { }
        "nothing-counted" "no size has a count"
        "give at least one size with its count"
    /// A counted volume is not a finite number above zero.
    VolumeNotPositive { ml: f64 }
        "volume-not-positive" "counted volume {ml} mL is not a finite number above 0"
        "give the volume that passed the sensor for these counts, in mL"
    /// A dilution factor below 1 or not finite.
    DilutionBelowOne { factor: f64 }
        "dilution-below-one" "dilution factor {factor} is not a finite number of 1 or more"
        "the factor is total volume over sample volume: 1 for undiluted, 10 for one part in ten"
    /// A raw count that is not a whole number.
    RawNotWhole { value: f64 }
        "raw-not-whole" "raw count {value} is not a whole number of 0 or more"
        "raw counts are the particles counted, before any scaling; give a concentration as counts per mL instead"
    /// A raw count without the volume it was counted in.
    RawWithoutVolume { }
        "raw-without-volume" "raw counts are given without the counted volume"
        "give the volume of each run in mL, in a column `volume mL` or as an option"
    /// A blank larger than the sample.
    BlankAboveSample { size: String, blank_per_ml: f64, sample_per_ml: f64 }
        "blank-above-sample" "the blank has {blank_per_ml} per mL at {size}, the sample only {sample_per_ml}"
        "the sample cannot be told from the blank at this size; clean the glassware, count more volume"
    /// A blank that was not counted at a size of the sample.
    BlankIncomplete { size: String }
        "blank-incomplete" "the blank was not counted at {size}, the sample was"
        "count the blank at the same sizes, or do not subtract it"

    // ISO 4406
    /// Text that is no cleanliness code.
    CodeUnreadable { text: String }
        "code-unreadable" "`{text}` is not an ISO 4406 code"
        "write the numbers from the smallest size to the largest: 18/16/13, 14/12/>=7, */19/14 or -/18/13"
    /// A range number outside 0 to 28.
    NumberOutOfRange { text: String }
        "number-out-of-range" "`{text}` is not an ISO 4406 range number"
        "range numbers go from 0 to 28; above that write >28"
    /// Range numbers rise with size.
    CodeRisesWithSize { text: String }
        "code-rises-with-size" "`{text}` rises from left to right, which cannot happen"
        "counts are cumulative, so a larger size never has more; check the order of the numbers"

    // arrays
    /// The place for the results is not as long as the input.
    LengthsDiffer { input: usize, output: usize }
        "lengths-differ" "{input} values are given, with room for {output} results"
        "give an output of the same length as the input"
    /// A target whose particle counts are alternatives.
    TargetAlternatives { size: String }
        "target-alternatives" "the requirement at {size} is one of several alternatives, and rows of counts are held against all of them"
        "check bottle by bottle, or against a specification without alternatives for particles"

    // classes
    /// Text that is no contamination class.
    ClassUnreadable { text: String }
        "class-unreadable" "`{text}` is not a contamination class"
        "classes are 000, 00, 0, 1 and so on, >12 above the last; AS4059 adds letters: 9A/8B/7C, 6 B-F"
    /// A class that the system does not have.
    ClassNotInSystem { class: String, system: String, classes: String }
        "class-not-in-system" "`{class}` is no class of {system}"
        "its classes are {classes}, and > with the last for above it"
    /// No class system of this name.
    ClassSystemUnknown { text: String, systems: String }
        "class-system-unknown" "there is no class system named `{text}`"
        "one of: {systems}"
    /// A class system without sizes in this scale.
    ClassScaleUnsuited { system: String, scale: String, scales: String }
        "class-scale-unsuited" "{system} has no sizes in {scale}"
        "it has sizes in {scales}; convert the sizes explicitly first"
    /// None of a class system's sizes was counted.
    ClassNotCounted { system: String, sizes: String }
        "class-not-counted" "none of the sizes of {system} lies within what was counted"
        "count at one of: {sizes}"
    /// A law of size that is not defined here.
    LawUndefined { needs: String, found: String }
        "law-undefined" "no curve can be drawn through {found}"
        "{needs}"
    /// A particle too fast for Stokes' law.
    StokesLawLeft { size: String, reynolds: String, limit: f64 }
        "stokes-law-left" "{size} moves at a Reynolds number of {reynolds}, beyond Stokes' law"
        "the law holds below about {limit} (UNVERIFIED: recalled from textbooks): for smaller particles, smaller differences of density or thicker liquids"
    /// No published conversion between two size scales.
    ConversionUnknown { from: String, to: String }
        "conversion-unknown" "there is no published conversion from {from} to {to}"
        "count again in the scale that is asked for"
    /// A size outside the published pairs.
    ConversionOutside { size: String, from_um: f64, to_um: f64 }
        "conversion-outside" "{size} lies outside the published pairs of sizes"
        "they go from {from_um} to {to_um} um; nothing is read beyond them"

    // certainty
    /// A confidence level that leaves no risk, or nothing but risk.
    LevelOutOfRange { value: f64 }
        "level-out-of-range" "confidence level {value} is not from 1e-12 to 1 - 1e-12"
        "give the level as a fraction: 0.95 for 95 %"
    /// A run that is to be left out, not named as a bottle and a run.
    RunNotNamed { found: String }
        "run-not-named" "`{found}` does not name a run of a bottle"
        "name the bottle and the run, by its label or its place: W012:1"
    /// A probability outside 0 to 1.
    ProbabilityOutOfRange { value: f64 }
        "probability-out-of-range" "probability {value} is not 0 to 1"
        "give the probability as a fraction: 0.05 for 5 %"

    // units
    /// Text that is no quantity with a unit.
    QuantityUnreadable { text: String, quantity: String, units: String }
        "quantity-unreadable" "`{text}` is not a {quantity}"
        "write a number and a unit, one of: {units}"
    /// A quantity whose point may part decimals or thousands.
    QuantityAmbiguous { text: String, thousands: String, decimals: String }
        "quantity-ambiguous" "`{text}` may be {thousands} or {decimals}"
        "write {thousands} or {decimals}"
    /// A quantity outside what it can be.
    QuantityOutOfRange { quantity: String, value: String, range: String }
        "quantity-out-of-range" "{quantity} {value} is not {range}"
        "give a value that is {range}"

    // filters
    /// A share of a flow outside 0 to 1.
    ShareOutOfRange { value: f64 }
        "share-out-of-range" "share {value} is not 0 or more and below 1"
        "give the share of the flow as a fraction: 0.01 for 1 %"
    /// A factor below the least it can be, or not finite.
    FactorOutOfRange { name: String, value: f64, least: f64 }
        "factor-out-of-range" "{name} {value} is not a finite number of {least} or more"
        "give a plain number of {least} or more"
    /// A filtration ratio below 1.
    BetaBelowOne { value: f64 }
        "beta-below-one" "filtration ratio {value} is not 1 or more"
        "beta is particles entering over particles leaving: a filter that holds back 99 % has 100, one that holds back nothing has 1"
    /// An element whose filtration ratio is not known.
    BetaMissing { kind: String }
        "beta-missing" "nothing says what the {kind} holds back"
        "give its filtration ratio, such as 4:3,6:20,14:1000; one that holds back no particles has 4:1"
    /// Text that is no list of sizes with values.
    BetaUnreadable { text: String }
        "beta-unreadable" "`{text}` is not a list of sizes with values"
        "write each size in um(c) with its value: 4:3,6:20,14:1000; ratios may be bounds or intervals: 14:>1000, 10:2..20"
    /// No ratio is known at a size, only a ceiling.
    BetaNotRated { size: String, smallest: String }
        "beta-not-rated" "the filter has no rating at {size}; the smallest rated size is {smallest}"
        "below the smallest rated size only a ceiling of the ratio is known: give a ratio at {size}, or leave that size out of the target"
    /// Ratios that cannot all be true of one test.
    BetasInconsistent { from: String, to: String, reason: String }
        "betas-inconsistent" "the filtration ratios at {from} and {to} cannot both hold: {reason}"
        "check the ratios and their sizes, or give the distribution the filter was tested with"
    /// A size outside the distribution a filter was tested with.
    ChallengeOutside { size: String, from_um: f64, to_um: f64 }
        "challenge-outside" "{size} lies outside the distribution the filter was tested with"
        "it goes from {from_um} to {to_um} um; leave that size out, or give a distribution that holds it"

    /// A filtration ratio for a housing with nothing in it.
    HousingRated { }
        "housing-rated" "an empty housing is given a filtration ratio"
        "leave the ratio out, or say what element stands in the housing"
    /// A filter train without an element, or without flow.
    TrainEmpty { }
        "train-empty" "the filter train has no element with flow"
        "give at least one element and the flow that goes through it"

    // tanks
    /// A tank without volume, or a circulation without flow.
    NoFlow { volume: String, flow: String }
        "no-flow" "a tank of {volume} at {flow} is never turned over"
        "give a volume and a flow above 0"
    /// A decline to a larger flow.
    DeclineRises { from: String, to: String }
        "decline-rises" "a flow of {from} cannot decline to {to}"
        "give a final flow of at most {from}; a flow that rises is planned from its lowest value"
    /// A dead zone without exchange.
    DeadZoneCutOff { share: f64 }
        "dead-zone-cut-off" "a dead zone of {share} of the tank without any exchange is never cleaned"
        "give its exchange with the rest as a share of the flow above 0, or leave it out of the volume"
    /// A size that the start was not counted at.
    StartMissing { size: String, known: String }
        "start-missing" "{size} is asked for, and the start is not known there"
        "the start is known at {known}: count it at {size}, or leave that size out; sizes of another scale must be converted first"
    /// A start or a target without an upper bound.
    StartUnbounded { size: String }
        "start-unbounded" "nothing says how many particles there may be at {size}"
        "numbers above 28 and counts of too many have no upper bound: dilute and count again, or give counts"
    /// A target that limits no particles.
    TargetWithoutParticles { }
        "target-without-particles" "the target limits no particles"
        "give a code, a specification with one, or counts at sizes"
    /// Rates without the time in which so much comes in.
    RatesWithoutTime { text: String }
        "rates-without-time" "the rates `{text}` do not say their time"
        "say in what time they come in: 4:30,6:5,14:0.2 per h"

    // jobs
    /// A job that is not TOML.
    JobUnreadable { message: String }
        "job-unreadable" "the job is not readable TOML: {message}"
        "one `name = value` a line, text in double quotes: tank = \"18 m3\""
    /// A key that a job cannot have there.
    JobKeyUnknown { key: String, place: String, known: String }
        "job-key-unknown" "`{key}` is nothing that {place} can have"
        "it may have: {known}"
    /// A key that a job must have.
    JobKeyMissing { key: String, place: String }
        "job-key-missing" "{place} has no `{key}`"
        "add it: {key} = ..., or [[{key}]] where there may be several"
    /// A value that does not fit its key.
    JobValueUnusable { key: String, found: String, expected: String }
        "job-value-unusable" "`{found}` does not fit `{key}`"
        "give {expected}"

    // jobs under way
    /// A differential pressure without the flow at which it was read.
    FlowMissing { pressure: String }
        "flow-missing" "a differential pressure of {pressure} is given without the flow at which it was read"
        "read the flow beside every pressure: a low pressure at a low flow may be that of a loaded element"
    /// An element loaded beyond what a law can tell of.
    LoadingLawLeft { law: String, loading: String, limit: f64 }
        "loading-law-left" "the {law} law has no resistance at a loading of {loading}"
        "it is blocked at {limit}: give a loading below that, or take another law"
    /// Readings that do not follow one another along their axis.
    AxisNotRising { before: String, after: String }
        "axis-not-rising" "{after} follows on {before}"
        "give the readings in their order, and start anew where an element was changed or a meter set to zero"
    /// Fewer readings than a line can be drawn through.
    ReadingsTooFew { found: usize, least: usize }
        "readings-too-few" "{found} usable readings at different places are too few for a line"
        "read {least} or more, with pressures above 0"
    /// Two samples that were not counted at the same sizes.
    SizesDiffer { before: String, after: String }
        "sizes-differ" "one sample was counted at {before}, the other at {after}"
        "what was caught is known only between samples counted at the same sizes"
    /// A drop in pressure against the flow.
    GaugesCrossed { before: String, behind: String }
        "gauges-crossed" "the vacuum is {before} before the element and only {behind} behind it"
        "the vacuum grows towards the pump: check which gauge is which, and that both read zero at rest"

    /// Fewer samples than a fall can be drawn through.
    TooFewSamples { found: usize, needed: usize }
        "too-few-samples" "samples after {found} different numbers of turnovers are too few for a fall"
        "draw {needed} or more, each with the turnovers so far"
    /// Samples that only say how many there were at least.
    NothingBoundsAbove { }
        "nothing-bounds-above" "every sample only says how many particles there were at least"
        "dilute and count again: without a count or an upper bound nothing can be foreseen"
    /// What no count can be.
    CountImpossible { found: String }
        "count-impossible" "no whole number of particles is {found}"
        "a count is 0 or more; a code needs a counted volume in which some whole number of particles gives it"
    /// A concentration that does not say how much was counted for it.
    VolumeUnknown { size: String }
        "volume-unknown" "the count at {size} does not say in what volume it was made"
        "give the counted volume in mL: how sure a fall is depends on the particles counted, not on the concentration"
    /// Elements that were changed in a tank that is not stirred.
    PeriodsNeedStirredTank { }
        "periods-need-stirred-tank" "several periods of elements are fitted in a stirred tank only"
        "leave out the dead zone or the cells, or give the samples since the last change of elements"
    /// A target at a size that the samples were not counted at.
    SizeNotSampled { size: String, known: String }
        "size-not-sampled" "the target limits {size}, and no fall is known there"
        "the samples show a fall at {known}: count at {size}, or leave that size out of the target"

    // specifications
    /// A specification that is not TOML.
    SpecUnreadable { message: String }
        "spec-unreadable" "the specification is not readable TOML: {message}"
        "one `name = value` a line, text in double quotes: code = \"18/16/13\""
    /// A key, channel or property a specification cannot have.
    SpecKeyUnknown { key: String, known: String }
        "spec-key-unknown" "`{key}` is nothing a specification can ask for"
        "it may use: {known}"
    /// A value that does not fit its key.
    SpecValueUnusable { key: String, found: String, expected: String }
        "spec-value-unusable" "`{found}` does not fit `{key}`"
        "give {expected}"
    /// A specification without requirements.
    SpecEmpty { }
        "spec-empty" "the specification asks for nothing"
        "give at least a code: code = \"18/16/13\""
    /// No published specification has this name.
    SpecUnknown { name: String, known: String }
        "spec-unknown" "there is no specification named `{name}`"
        "give a code such as 18/16/13, a TOML file, or one of: {known}"

    // intake
    /// An input without a byte, or without a line.
    InputEmpty { }
        "input-empty" "the input is empty"
        "check that the export was finished and the right file was given"
    /// An input that is neither text nor a workbook.
    InputBinary { }
        "input-binary" "the input is neither delimited text nor an XLSX workbook"
        "export the counts as CSV or XLSX"
    /// An input whose reading failed.
    InputUnreadable { message: String }
        "input-unreadable" "reading stopped: {message}"
        "check the file and the disk it is on"
    /// A workbook that cannot be opened.
    WorkbookUnreadable { message: String }
        "workbook-unreadable" "the workbook cannot be read: {message}"
        "open it and save it again as XLSX, or export it as CSV"
    /// An input that takes up more than it may.
    InputTooLarge { what: String, limit: String, option: String }
        "input-too-large" "{what} takes up more than {limit}"
        "if the input is to be trusted, raise the limit ({option}); else split it, or export it as CSV"
    /// A sheet that the workbook does not have.
    SheetUnknown { name: String, known: String }
        "sheet-unknown" "the workbook has no sheet named `{name}`"
        "its sheets are: {known}"
    /// No line with the headings of counts.
    HeadingNotFound { first: String }
        "heading-not-found" "no line names the sizes that were counted; the first line is `{first}`"
        "give the columns headings such as `bottle`, `4 um(c) /mL`, `6 um(c) /mL`, `14 um(c) /mL`"
    /// A heading with a size that says something else besides.
    HeadingWordUnknown { word: String, heading: String }
        "heading-word-unknown" "`{word}` in the heading `{heading}` was not understood"
        "name the size and what was counted, such as `4 um(c) /mL`; leave other words out"
    /// A column of counts without a heading.
    HeadingEmpty { column: usize }
        "heading-empty" "column {column} stands among the counts and has no heading: it may be another size"
        "name its size, such as `14 um(c) /mL`, or leave the column out"
    /// A run that stands twice.
    RowRepeated { first: u64 }
        "row-repeated" "the row repeats the run of line {first} to the last digit"
        "delete the copy, or give it its own label if it is another run"
    /// A run without a count beside runs with many.
    RunEmpty { bottle: String }
        "run-empty" "the run counted nothing, and other runs of {bottle} counted many particles"
        "leave the row out if the run did not take place, or count the bottle again"
    /// A corrected row whose place cannot be found.
    CorrectionUnplaced { line: u64 }
        "correction-unplaced" "the row corrects line {line}, which has changed since it was rejected"
        "give the input as it was when the rows were rejected, or score the corrected rows without it"
    /// Nothing says what the counts refer to.
    BasisNotStated { readings: String }
        "basis-not-stated" "nothing says what the counts refer to: {readings}"
        "say it in the headings (`4 um(c) /mL`) or with the option `per`: mL, 10mL, 100mL, L or raw"
    /// Two places say different things of what the counts refer to.
    BasisContradicted { first: String, second: String }
        "basis-contradicted" "{first}, but {second}"
        "correct the file, or say which holds with the option `per`: mL, 10mL, 100mL, L or raw"
    /// Sizes of which no scale is known.
    ScaleNotStated { sizes: String }
        "scale-not-stated" "nothing says the scale of the sizes {sizes} um: they may be um(c), ACFTD or microscope sizes"
        "say it in the headings (`5 um(acftd)`) or with the option `scale`: um(c), um(b), acftd or microscope"
    /// Two places say different scales.
    ScaleContradicted { first: String, second: String }
        "scale-contradicted" "{first}, but {second}"
        "correct the file, or say which holds with the option `scale`"
    /// Two places differ in whether counts are cumulative.
    FormContradicted { first: String, second: String }
        "form-contradicted" "{first}, but {second}"
        "correct the file, or say which holds with the option `cumulative` or `differential`"
    /// Two places say different counted volumes.
    VolumeContradicted { first: String, second: String }
        "volume-contradicted" "{first}, but {second}"
        "correct the file: the volume of a run decides its concentration"
    /// A dilution beside concentrations.
    DilutionUnclear { factor: f64, basis: String }
        "dilution-unclear" "the sample was diluted by {factor}, and nothing says whether the counts {basis} are of the fluid as drawn or as diluted"
        "if they are of the fluid as drawn, say so with the option `per`; if not, multiply them by the dilution or give raw counts"
    /// Numbers whose mark may part decimals or thousands, all over a table.
    DecimalUndecided { found: String, low: String, high: String }
        "decimal-undecided" "`{found}` may be {low} or {high}, and both fit the whole table"
        "say which mark parts the decimals with the option `decimal`: dot or comma"
    /// A quote that was opened and not closed before the next row.
    QuoteOpen { }
        "quote-open" "a quote is opened in this line and not closed before the next row"
        "close the quote, or delete it"
    /// Cells that cannot be told to be a summary or a run.
    SummaryUnclear { found: String }
        "summary-unclear" "{found}; it may be a run, or a row that sums up the runs above"
        "give a run its label, or delete the row if it sums up others"
    /// Text where a run's label should stand.
    RunLabelUnclear { found: String }
        "run-label-unclear" "`{found}` is no label of a run"
        "label runs by numbers or letters (1, 2, 3); delete the row if it is no run of this bottle"
    /// Rows of one name that no runs of one bottle can be.
    RunsTooFarApart { bottle: String, ratio: String, size: String }
        "runs-too-far-apart" "rows named {bottle} differ {ratio} times at {size}: too much for runs of one bottle"
        "if they are different bottles, give them different names, dates or points; if they are runs, label them, and leave out the one that is wrong or count again"
    /// Many rows of one name that nothing tells apart.
    BottlesOrRuns { bottle: String, rows: usize }
        "bottles-or-runs" "{rows} rows are named {bottle}, and nothing tells runs of one bottle from different bottles"
        "give runs their labels, or give bottles different names, times or points"
    /// A row with counts above a line that was not understood as a heading.
    RowWithoutHeading { }
        "row-without-heading" "the row holds numbers, but no heading above it was understood"
        "give the columns headings such as `bottle`, `4 um(c) /mL`, `6 um(c) /mL`, `14 um(c) /mL`"
    /// A cell that a spreadsheet could not work out.
    CellIsError { found: String }
        "cell-is-error" "`{found}` is an error that the spreadsheet left in the cell"
        "put the value in the cell, or leave it empty if the size was not counted"
    /// A printed code that is no code.
    PrintedCodeUnreadable { found: String }
        "printed-code-unreadable" "`{found}` is no ISO 4406 code"
        "write three range numbers that do not rise, such as 18/16/13; `>=`, `*` and `-` may stand for a number"
    /// A table whose sizes stand twice or are missing.
    SizeMissing { bottle: String, sizes: String }
        "size-missing" "the row for {sizes} of {bottle} is missing, and the bands do not adjoin without it"
        "add the row; put 0 if nothing was counted"
    /// A cell of counts that is no number.
    CountUnreadable { found: String }
        "count-unreadable" "`{found}` is not a count"
        "write a number, a bound such as <1 or >60000, TNTC for too many to count, or leave the cell empty"
    /// A count is missing below a size that was counted.
    CountMissing { size: String }
        "count-missing" "the count at {size} is missing, and a larger size was counted"
        "write the count; write - if the size was not counted"
    /// A number that can be read in two ways.
    CountAmbiguous { found: String }
        "count-ambiguous" "`{found}` may be thousands or a decimal, and the file does not settle which"
        "say which mark parts the decimals: option `decimal`"
    /// A cell of another column that cannot be used.
    CellUnreadable { what: String, found: String }
        "cell-unreadable" "`{found}` is not a {what}"
        "write a plain number in the unit of the heading"
    /// A row with other than the heading's number of cells.
    RowLength { cells: usize, headings: usize }
        "row-length" "the row has {cells} cells under {headings} headings"
        "a decimal comma or a delimiter inside a cell splits it: put the cell in quotes, or use another delimiter"
    /// Text whose rows say more than columns can hold.
    TextNotPlain { found: String }
        "text-not-plain" "columns need one plain row of concentrations a bottle, and this is {found}"
        "read it with the full reader, which takes volumes, dilutions, runs, bands and any encoding"
    /// A bound where a column holds numbers.
    CountIsBound { found: String }
        "count-is-bound" "`{found}` is a bound, and a column holds numbers"
        "read this row with the full reader, which keeps bounds"
    /// Size bands that leave a gap or overlap.
    BandsNotAdjoining { below: String, above: String }
        "bands-not-adjoining" "the size bands `{below}` and `{above}` do not adjoin"
        "bands must follow one another, such as 4-6, 6-14 and >14, so that they can be summed"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_unique_and_well_formed() {
        for (i, code) in ErrorKind::CODES.iter().enumerate() {
            assert!(code.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'), "{code}");
            assert!(!ErrorKind::CODES[..i].contains(code), "{code} stands twice");
        }
    }

    #[test]
    fn prints_what_where_and_what_to_do() {
        let position = Position {
            file: Some("day.csv".into()),
            line: Some(7),
            column: Some("n6".into()),
            ..Position::default()
        };
        let error = Error::from(ErrorKind::CountNotFinite { value: -1.0 }).at(position);
        assert_eq!(
            error.to_string(),
            "count -1 per mL is not a finite number of 0 or more (day.csv, line 7, column n6)"
        );
        assert_eq!(error.code(), "count-not-finite");
        assert!(error.hint().contains("TNTC"));
    }
}
