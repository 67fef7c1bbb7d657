//! TOML read key by key, with the line of whatever cannot be used.

use std::ops::Range;
use std::str::FromStr;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::error::{Error, ErrorKind, Position, Result};

/// A text of keys and values.
pub(crate) struct Document<'t> {
    text: &'t str,
    root: Spanned<DeTable<'t>>,
}

/// A table of it, and what it describes.
pub(crate) struct Keyed<'d> {
    text: &'d str,
    table: &'d DeTable<'d>,
    span: Range<usize>,
    place: String,
}

impl<'t> Document<'t> {
    /// # Errors
    /// `job-unreadable` unless the text is TOML.
    pub(crate) fn parse(text: &'t str) -> Result<Self> {
        let root = DeTable::parse(text).map_err(|error| {
            let kind = ErrorKind::JobUnreadable { message: error.message().into() };
            placed(kind.into(), text, error.span().map_or(0, |span| span.start))
        })?;
        Ok(Self { text, root })
    }

    /// The outermost table.
    pub(crate) fn root(&self, place: &str) -> Keyed<'_> {
        Keyed { text: self.text, table: self.root.get_ref(), span: 0..0, place: place.into() }
    }
}

impl Keyed<'_> {
    /// Refuses every key but these.
    ///
    /// # Errors
    /// `job-key-unknown`.
    pub(crate) fn only(&self, known: &[&str]) -> Result<()> {
        match self.table.keys().find(|key| !known.contains(&key.get_ref().as_ref())) {
            Some(key) => {
                let (key, at) = (key.get_ref().to_string(), key.span().start);
                let kind =
                    ErrorKind::JobKeyUnknown { key, place: self.place.clone(), known: known.join(", ") };
                Err(placed(kind.into(), self.text, at))
            }
            None => Ok(()),
        }
    }

    fn get(&self, key: &str) -> Option<&Spanned<DeValue<'_>>> {
        self.table.iter().find(|(at, _)| at.get_ref().as_ref() == key).map(|(_, value)| value)
    }

    /// What was asked for must be there.
    ///
    /// # Errors
    /// `job-key-missing`.
    pub(crate) fn required<T>(&self, key: &str, found: Option<T>) -> Result<T> {
        found.ok_or_else(|| self.missing(key))
    }

    /// The error of a key that is not there.
    pub(crate) fn missing(&self, key: &str) -> Error {
        let kind = ErrorKind::JobKeyMissing { key: key.into(), place: self.place.clone() };
        placed(kind.into(), self.text, self.span.start)
    }

    /// What a key has, made of its text.
    ///
    /// # Errors
    /// `job-value-unusable` unless it is text; those of `read`, with the line.
    pub(crate) fn read<T>(&self, key: &str, read: impl FnOnce(&str) -> Result<T>) -> Result<Option<T>> {
        let Some(value) = self.get(key) else { return Ok(None) };
        let text = value.get_ref().as_str();
        let text = text.ok_or_else(|| self.unusable(key, "text in quotes, a quantity with its unit"))?;
        read(text).map(Some).map_err(|error| placed(error, self.text, value.span().start))
    }

    /// What a key has, read from its text.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub(crate) fn parsed<T: FromStr<Err = Error>>(&self, key: &str) -> Result<Option<T>> {
        self.read(key, str::parse)
    }

    /// One text, or a list of two, each read: least and most.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub(crate) fn least_and_most<T: FromStr<Err = Error> + Copy>(&self, key: &str) -> Result<Option<(T, T)>> {
        let Some(list) = self.get(key).and_then(|value| value.get_ref().as_array()) else {
            return Ok(self.parsed(key)?.map(|one| (one, one)));
        };
        let texts: Vec<_> = list.iter().filter_map(|value| value.get_ref().as_str()).collect();
        let [least, most] = texts[..] else {
            return Err(self.unusable(key, "one value, or a list of the least and the most"));
        };
        let at = |error| placed(error, self.text, list[0].span().start);
        Ok(Some((least.parse().map_err(at)?, most.parse().map_err(at)?)))
    }

    /// The words of a key.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub(crate) fn words(&self, key: &str) -> Result<Option<String>> {
        self.read(key, |text| Ok(text.trim().to_owned()))
    }

    /// A plain number, made into what it stands for.
    ///
    /// # Errors
    /// `job-value-unusable` unless it is a finite number; those of `make`, with the line.
    pub(crate) fn number<T>(&self, key: &str, make: impl FnOnce(f64) -> Result<T>) -> Result<Option<T>> {
        let Some(value) = self.get(key) else { return Ok(None) };
        let number = match value.get_ref() {
            DeValue::Integer(whole) => {
                i64::from_str_radix(whole.as_str(), whole.radix()).ok().map(|n| n as f64)
            }
            DeValue::Float(float) => float.as_str().parse().ok(),
            _ => None,
        };
        let number = number.filter(|n: &f64| n.is_finite());
        let number = number.ok_or_else(|| self.unusable(key, "a plain number, without quotes"))?;
        make(number).map(Some).map_err(|error| placed(error, self.text, value.span().start))
    }

    /// A table inside.
    ///
    /// # Errors
    /// `job-value-unusable` unless it is one.
    pub(crate) fn table(&self, key: &str, place: impl Into<String>) -> Result<Option<Keyed<'_>>> {
        let Some(value) = self.get(key) else { return Ok(None) };
        let table = value.get_ref().as_table().ok_or_else(|| self.unusable(key, "a table"))?;
        Ok(Some(Keyed { text: self.text, table, span: value.span(), place: place.into() }))
    }

    /// The tables of a list; none where there is no such key.
    ///
    /// # Errors
    /// `job-value-unusable` unless it is a list of tables.
    pub(crate) fn tables(&self, key: &str, place: impl Fn(usize) -> String) -> Result<Vec<Keyed<'_>>> {
        let Some(value) = self.get(key) else { return Ok(Vec::new()) };
        let expected = format!("one [[{key}]] for each");
        let list = value.get_ref().as_array().ok_or_else(|| self.unusable(key, &expected))?;
        let table = |(i, value)| {
            let value: &Spanned<DeValue<'_>> = value;
            let table = value.get_ref().as_table().ok_or_else(|| self.unusable(key, &expected))?;
            Ok(Keyed { text: self.text, table, span: value.span(), place: place(i) })
        };
        list.iter().enumerate().map(table).collect()
    }

    /// The same table, described otherwise.
    pub(crate) fn named(self, place: String) -> Self {
        Self { place, ..self }
    }

    /// The error of a value that does not fit its key.
    pub(crate) fn unusable(&self, key: &str, expected: &str) -> Error {
        let span = self.get(key).map_or(self.span.clone(), Spanned::span);
        let found = self.text.get(span.clone()).and_then(|text| text.lines().next()).unwrap_or_default();
        let (key, found, expected) = (key.into(), found.trim_matches('"').into(), expected.into());
        placed(ErrorKind::JobValueUnusable { key, found, expected }.into(), self.text, span.start)
    }

    /// An error of this table, with its line.
    pub(crate) fn at(&self, error: Error) -> Error {
        placed(error, self.text, self.span.start)
    }
}

/// The error with the line of a place in the text, unless it has one.
fn placed(error: Error, text: &str, start: usize) -> Error {
    if error.position().is_some() {
        return error;
    }
    let before = &text.as_bytes()[..start.min(text.len())];
    let line = before.iter().filter(|&&byte| byte == b'\n').count() as u64 + 1;
    error.at(Position { line: Some(line), ..Position::default() })
}
