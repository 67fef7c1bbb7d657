#![doc = include_str!("README.md")]

/// One data file: its name and its whole text, header included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Table {
    /// The file's name without its ending, such as `iso4406`.
    pub name: &'static str,
    /// The file's text: `#` header lines first, then the data.
    pub text: &'static str,
}

/// Declares one constant a file and the register that lists them all.
macro_rules! register {
    ($(#[$about:meta])* $register:ident, $folder:literal, $ending:literal: $($constant:ident $name:literal)+) => {
        $(
            #[doc = concat!("The file `", $folder, $name, $ending, "`.")]
            pub const $constant: Table = Table {
                name: $name,
                text: include_str!(concat!($folder, $name, $ending)),
            };
        )+

        $(#[$about])*
        pub const $register: &[Table] = &[$($constant),+];
    };
}

register! {
    /// Every table, as CSV.
    TABLES, "", ".csv":
    ISO4406 "iso4406"
    AS4059_CUMULATIVE "as4059_cumulative"
    AS4059_CUMULATIVE_ROUNDED "as4059_cumulative_rounded"
    AS4059_DIFFERENTIAL "as4059_differential"
    NAS1638 "nas1638"
    GOST17216 "gost17216"
    NAVAIR_01_1A_17 "navair_01_1a_17"
    SIZE_SCALES "size_scales"
    UMB "umb"
    ISO_MEDIUM_TEST_DUST "iso_medium_test_dust"
    CORRELATION "correlation"
    TEST_METHOD_RANGES "test_method_ranges"
    WATER_SOLUBILITY "water_solubility"
    COMPONENT_TARGETS "component_targets"
    UNITS "units"
    CAUTIONS "cautions"
    CONSTANTS "constants"
    ELEMENT_CHANGE "element_change"
}

register! {
    /// Every published fuel specification, as TOML.
    SPECS, "specs/", ".toml":
    WWFC_DIESEL "wwfc-diesel"
    WWFC_DIESEL_1 "wwfc-diesel-1"
    WWFC_DIESEL_5 "wwfc-diesel-5"
    WWFC_DIESEL_WATER "wwfc-diesel-water"
    JET_A1_MANUFACTURE "jet-a1-manufacture"
    JET_A1_FREE_WATER "jet-a1-free-water"
    JET_MILITARY_FREE_WATER "jet-military-free-water"
    F76 "f76"
    NUCLEAR_STANDBY_DIESEL "nuclear-standby-diesel"
    NUCLEAR_STANDBY_DIESEL_NEW "nuclear-standby-diesel-new"
    EN590_DIESEL "en590-diesel"
    NZ_DIESEL "nz-diesel"
    D975_DIESEL "d975-diesel"
    HEATING_OIL_EL "heating-oil-el"
    ISO8217_RMA "iso8217-rma"
    ISO8217_RMB "iso8217-rmb"
    ISO8217_RMD "iso8217-rmd"
    ISO8217_RME "iso8217-rme"
    ISO8217_RMG "iso8217-rmg"
    ISO8217_RMK "iso8217-rmk"
}

/// The register of sources, as CSV: what each key in a `source` column stands for.
pub const SOURCES: &str = include_str!("sources.csv");

/// The table of that name, if there is one.
///
/// # Examples
///
/// ```
/// let table = siltcode_tables::table("iso4406").unwrap();
/// assert!(table.text.contains("\n18,1300,2500,READ,"));
/// assert!(siltcode_tables::table("iso4406.csv").is_none());
/// ```
#[must_use]
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.iter().find(|table| table.name == name)
}

/// The published fuel specification of that name, if there is one.
///
/// # Examples
///
/// ```
/// let spec = siltcode_tables::spec("wwfc-diesel").unwrap();
/// assert!(spec.text.contains("max_number = 18"));
/// ```
#[must_use]
pub fn spec(name: &str) -> Option<&'static Table> {
    SPECS.iter().find(|spec| spec.name == name)
}
