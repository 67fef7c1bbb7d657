//! Headings by name.

/// Headings of the bottle, the best first.
pub(super) const IDS: [&str; 30] = [
    "id",
    "sample id",
    "sample no",
    "sample number",
    "sample name",
    "sample",
    "bottle id",
    "bottle no",
    "bottle number",
    "bottle name",
    "bottle",
    "lab id",
    "lab no",
    "lab number",
    "laboratory no",
    "specimen",
    "specimen id",
    "sampleid",
    "bottleid",
    "sample ref",
    "sample reference",
    "reference",
    "ref",
    "name",
    "label",
    "probe",
    "flasche",
    "no",
    "nr",
    "#",
];
pub(super) const RUNS: [&str; 11] = [
    "run",
    "run no",
    "run number",
    "replicate",
    "replicate no",
    "rep",
    "repeat",
    "measurement",
    "count no",
    "test run",
    "lauf",
];
pub(super) const VOLUMES: [&str; 8] = [
    "volume",
    "vol",
    "counted volume",
    "volume counted",
    "count volume",
    "analysed volume",
    "analyzed volume",
    "volume per run",
];
pub(super) const DILUTIONS: [&str; 5] =
    ["dilution", "dilution factor", "dil", "dil factor", "dilution ratio"];
pub(super) const DATES: [&str; 14] = [
    "date",
    "time",
    "date time",
    "datetime",
    "timestamp",
    "sampled",
    "sampled at",
    "sampled on",
    "sample date",
    "sampling date",
    "date sampled",
    "counted at",
    "counted on",
    "sample time",
];
pub(super) const KINDS: [&str; 5] = ["kind", "type", "sample type", "sample kind", "sample or blank"];
pub(super) const BASES: [&str; 6] = ["unit", "units", "basis", "count unit", "count basis", "counts per"];
pub(super) const SCALES: [&str; 3] = ["scale", "size scale", "size unit"];
