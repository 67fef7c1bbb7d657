//! Worked examples of golden files, whose inputs and answers are JSON.

use serde::Deserialize;
use serde_json::Value;

use crate::golden;

/// Half of the last of thirteen digits: answers of ten digits or more are printed to so many.
const PRINTED: f64 = 5e-13;

#[derive(Deserialize)]
struct Row {
    id: String,
    inputs: String,
    expected: String,
    tolerance: String,
    status: String,
}

/// How far an answer may lie off: a share of it, or so much.
#[derive(Clone, Copy)]
enum Tolerance {
    Relative(f64),
    Absolute(f64),
}

impl Tolerance {
    /// # Panics
    /// If the text is neither `exact`, `rel X` nor `abs X`.
    fn read(text: &str) -> Self {
        match text.split_once(' ') {
            None if text == "exact" => Self::Relative(f64::EPSILON),
            Some(("rel", size)) => Self::Relative(size.parse().unwrap()),
            Some(("abs", size)) => Self::Absolute(size.parse().unwrap()),
            _ => panic!("tolerance {text}"),
        }
    }

    fn of(self, expected: &serde_json::Number) -> f64 {
        let digits = expected.to_string().bytes().filter(u8::is_ascii_digit).count();
        let printed = if digits >= 10 { PRINTED } else { 0.0 };
        match self {
            Self::Relative(size) => size.max(printed) * expected.as_f64().unwrap().abs(),
            Self::Absolute(size) => size,
        }
    }
}

/// A worked example: its inputs, its answers, and how closely they must be met.
pub struct Example {
    /// Its name in the file.
    pub id: String,
    /// What is given.
    pub inputs: Value,
    /// What is to be found.
    pub expected: Value,
    /// How the answers are known.
    pub status: String,
    tolerance: Tolerance,
}

impl Example {
    /// All examples of `golden/NAME.csv`.
    ///
    /// # Panics
    /// If the file cannot be read, or a row is none.
    #[must_use]
    pub fn all(file: &str) -> Vec<Self> {
        golden::<Row>(file).into_iter().map(Self::of).collect()
    }

    /// One example of `golden/NAME.csv`.
    ///
    /// # Panics
    /// If the file cannot be read, or has no such row.
    #[must_use]
    pub fn one(file: &str, id: &str) -> Self {
        let row = golden::<Row>(file).into_iter().find(|row| row.id == id);
        Self::of(row.unwrap_or_else(|| panic!("{file} has no row {id}")))
    }

    fn of(row: Row) -> Self {
        let json =
            |text: &str| serde_json::from_str(text).unwrap_or_else(|error| panic!("{}: {error}", row.id));
        let (inputs, expected) = (json(&row.inputs), json(&row.expected));
        Self { id: row.id, inputs, expected, status: row.status, tolerance: Tolerance::read(&row.tolerance) }
    }

    /// The same example, to be met within another share of its answers.
    #[must_use]
    pub fn within(self, relative: f64) -> Self {
        Self { tolerance: Tolerance::Relative(relative), ..self }
    }

    /// An input that is a number.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn number(&self, key: &str) -> f64 {
        self.inputs[key].as_f64().unwrap_or_else(|| panic!("{}: no number {key}", self.id))
    }

    /// An input that is a count of particles.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn raw(&self, key: &str) -> u64 {
        self.inputs[key].as_u64().unwrap_or_else(|| panic!("{}: no count {key}", self.id))
    }

    /// An input that is a list of numbers.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn list(&self, key: &str) -> Vec<f64> {
        let list = self.inputs[key].as_array().unwrap_or_else(|| panic!("{}: no list {key}", self.id));
        list.iter().map(|value| value.as_f64().unwrap()).collect()
    }

    /// The answer at a place, `/key/0`, is found.
    ///
    /// # Panics
    /// If it is not.
    pub fn meets(&self, place: &str, found: f64) {
        let expected = self.expected.pointer(place);
        self.compare(place, expected.unwrap_or_else(|| panic!("{} {place}", self.id)), &found.into());
    }

    /// Every answer is found; those named as `besides` may be left out.
    ///
    /// # Panics
    /// If one is not.
    pub fn answered(&self, found: &Value, besides: &[&str]) {
        for (key, expected) in self.expected.as_object().unwrap() {
            if found.get(key).is_some() || !besides.contains(&key.as_str()) {
                self.compare(&format!("/{key}"), expected, &found[key]);
            }
        }
    }

    fn compare(&self, place: &str, expected: &Value, found: &Value) {
        let at = format!("{} {place}", self.id);
        match (expected, found) {
            (Value::Object(expected), Value::Object(found)) => {
                for (key, expected) in expected {
                    let found = found.get(key).unwrap_or(&Value::Null);
                    self.compare(&format!("{place}/{key}"), expected, found);
                }
            }
            (Value::Array(expected), Value::Array(found)) => {
                assert_eq!(expected.len(), found.len(), "{at}");
                for (i, (expected, found)) in expected.iter().zip(found).enumerate() {
                    self.compare(&format!("{place}/{i}"), expected, found);
                }
            }
            (Value::Number(expected), Value::Number(found)) => {
                let off = (found.as_f64().unwrap() - expected.as_f64().unwrap()).abs();
                assert!(off <= self.tolerance.of(expected), "{at}: {found} for {expected}");
            }
            _ => assert_eq!(expected, found, "{at}"),
        }
    }
}
