//! Codes and classes, one sample at a time, and columns of codes.

use std::cmp::Ordering;
use std::collections::HashMap;
use std::collections::hash_map::Entry;

use numpy::PyReadonlyArray1;
use pyo3::prelude::*;
use pyo3::types::{PyList, PyString};
use serde::Serialize;
use siltcode::class::{Class, ClassLimit, ClassSystem, Designation, Possible, as4059_of_code};
use siltcode::{Code, Place, RangeNumber, Size, SizeScale, bulk};

use crate::arrays::{at_row, slice};
use crate::error::Result;
use crate::given::Plain;
use crate::plain::{self, SampleGiven, SpectrumGiven};

/// A code in parts: how it prints, its range numbers, and which of them rest on few particles.
#[derive(Serialize)]
pub(crate) struct CodeParts {
    text: String,
    numbers: [Option<u8>; 3],
    few: [bool; 3],
}

impl From<Code> for CodeParts {
    fn from(code: Code) -> Self {
        let few = code.places().map(|place| matches!(place, Place::Number { few: true, .. }));
        Self { text: code.to_string(), numbers: code.range_numbers().map(|n| n.map(RangeNumber::get)), few }
    }
}

#[pyfunction]
pub(crate) fn parse_code(text: &str) -> Result<Plain<CodeParts>> {
    Ok(Plain(text.parse::<Code>()?.into()))
}

#[pyfunction]
pub(crate) fn code_of(counts: SpectrumGiven) -> Result<Plain<CodeParts>> {
    Ok(Plain(Code::of(&counts.spectrum()?)?.into()))
}

#[pyfunction]
pub(crate) fn code_of_sample(sample: SampleGiven) -> Result<Plain<CodeParts>> {
    Ok(Plain(Code::of(&sample.sample()?.spectrum()?)?.into()))
}

/// -1, 0 or 1 for cleaner, equal or dirtier; nothing where two codes cannot be compared.
#[pyfunction]
pub(crate) fn compare_codes(one: &str, other: &str) -> Result<Option<i8>> {
    let order = one.parse::<Code>()?.partial_cmp(&other.parse::<Code>()?);
    Ok(order.map(|order| match order {
        Ordering::Less => -1,
        Ordering::Equal => 0,
        Ordering::Greater => 1,
    }))
}

/// The code of each row, from range numbers as bytes and whether few particles were counted; none where no size was
/// counted. Equal codes are one and the same text.
#[pyfunction]
pub(crate) fn code_column<'py>(
    py: Python<'py>,
    numbers: [PyReadonlyArray1<'py, u8>; 3],
    few: [PyReadonlyArray1<'py, bool>; 3],
) -> Result<Bound<'py, PyList>> {
    let numbers = [slice(&numbers[0])?, slice(&numbers[1])?, slice(&numbers[2])?];
    let few = [slice(&few[0])?, slice(&few[1])?, slice(&few[2])?];
    let mut known: HashMap<[(u8, bool); 3], Option<Bound<'py, PyString>>> = HashMap::new();
    let column = PyList::empty(py);
    for row in 0..numbers[0].len() {
        let key = [0, 1, 2].map(|i| (numbers[i][row], few[i][row]));
        let text = match known.entry(key) {
            Entry::Occupied(text) => text.into_mut(),
            Entry::Vacant(place) => {
                let code = code(key).map_err(|error| at_row(error, row))?;
                place.insert(code.map(|code| PyString::new(py, &code.to_string())))
            }
        };
        column.append(text.as_ref())?;
    }
    Ok(column)
}

fn code(places: [(u8, bool); 3]) -> siltcode::Result<Option<Code>> {
    let place = |(number, few): (u8, bool)| -> siltcode::Result<Place> {
        Ok(match number {
            bulk::NOT_COUNTED => Place::NotRequired,
            bulk::ABOVE_SCALE => Place::Number { number: RangeNumber::ABOVE, few },
            _ => Place::Number { number: RangeNumber::new(number)?, few },
        })
    };
    let [a, b, c] = places.map(place);
    match [a?, b?, c?] {
        [Place::NotRequired, Place::NotRequired, Place::NotRequired] => Ok(None),
        places => Code::new(places).map(Some),
    }
}

#[pyfunction]
pub(crate) fn classify<'py>(
    py: Python<'py>,
    system: &str,
    counts: SpectrumGiven,
    convert_to: Option<&str>,
) -> Result<Bound<'py, PyAny>> {
    let (system, counts) = (system.parse::<ClassSystem>()?, counts.spectrum()?);
    let found = match convert_to {
        Some(scale) => system.classify_in(&counts, scale.parse()?)?,
        None => system.classify(&counts)?,
    };
    let text = found.to_string();
    let plain = plain::out(py, &found)?;
    plain.set_item("text", text)?;
    Ok(plain)
}

#[derive(Serialize)]
pub(crate) struct Described {
    name: &'static str,
    title: &'static str,
    scales: Vec<SizeScale>,
    classes: Vec<Class>,
    notes: &'static [&'static str],
}

/// The class systems: name, title, scales, classes, notes.
#[pyfunction]
pub(crate) fn class_systems() -> Plain<Vec<Described>> {
    let described = ClassSystem::ALL.map(|system| Described {
        name: system.name(),
        title: system.title(),
        scales: system.scales(),
        classes: system.classes(),
        notes: system.notes(),
    });
    Plain(described.into())
}

/// What a class allows at each size; nothing where the system has no such class or scale.
#[pyfunction]
pub(crate) fn class_limits(
    system: &str,
    class_: &str,
    scale: &str,
) -> Result<Plain<Option<Vec<ClassLimit>>>> {
    Ok(Plain(system.parse::<ClassSystem>()?.allowed(class_.parse()?, scale.parse()?)))
}

/// A written AS4059 class, read and printed again.
#[pyfunction]
pub(crate) fn parse_designation(text: &str) -> Result<String> {
    Ok(text.parse::<Designation>()?.to_string())
}

/// The AS4059 classes that a code leaves possible, size by size.
#[pyfunction]
pub(crate) fn as4059_possible(code: &str) -> Result<Plain<Vec<Possible>>> {
    Ok(Plain(as4059_of_code(code.parse()?)))
}

/// A size in another scale \[um\].
#[pyfunction]
pub(crate) fn convert_size(um: f64, from_: &str, to: &str) -> Result<f64> {
    Ok(Size::new(um, from_.parse::<SizeScale>()?)?.converted(to.parse()?)?.um())
}
