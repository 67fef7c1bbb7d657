//! Many texts in one buffer.

/// Texts one behind the other in one buffer, each known by where it ends: the layout of Arrow's large strings.
///
/// ```
/// use siltcode::intake::columns::Texts;
///
/// let mut texts = Texts::default();
/// texts.push("S1");
/// texts.push("");
/// assert_eq!(texts.iter().collect::<Vec<_>>(), ["S1", ""]);
/// assert_eq!(texts.into_parts(), ("S1".to_owned(), vec![0, 2, 2]));
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Texts {
    text: String,
    /// Where each text begins, and where the last one ends.
    offsets: Vec<i64>,
}

impl Default for Texts {
    fn default() -> Self {
        Self { text: String::new(), offsets: vec![0] }
    }
}

impl Texts {
    /// Another text behind the others.
    #[inline]
    pub fn push(&mut self, text: &str) {
        self.text.push_str(text);
        self.offsets.push(offset(self.text.len()));
    }

    /// The text in place `at`; none beyond the last.
    #[must_use]
    pub fn get(&self, at: usize) -> Option<&str> {
        match self.offsets.get(at..)? {
            [from, to, ..] => self.text.get(place(*from)..place(*to)),
            _ => None,
        }
    }

    /// The last text.
    #[must_use]
    pub fn last(&self) -> Option<&str> {
        self.get(self.len().checked_sub(1)?)
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.offsets.len() - 1
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Each text, in order.
    pub fn iter(&self) -> impl Iterator<Item = &str> {
        (0..self.len()).filter_map(|at| self.get(at))
    }

    /// The buffer, and the offsets of the texts in it \[bytes\]: one more than there are texts, rising from 0.
    #[must_use]
    pub fn into_parts(self) -> (String, Vec<i64>) {
        (self.text, self.offsets)
    }

    /// Drops all but the first `length` texts, keeping the memory.
    pub(super) fn truncate(&mut self, length: usize) {
        self.offsets.truncate(length + 1);
        self.text.truncate(self.offsets.last().copied().map_or(0, place));
    }

    /// The texts of another behind these.
    #[cfg(feature = "parallel")]
    pub(super) fn append(&mut self, other: &Self) {
        let before = offset(self.text.len());
        self.text.push_str(&other.text);
        self.offsets.extend(other.offsets[1..].iter().map(|end| before + end));
    }
}

#[allow(clippy::cast_possible_wrap)] // no buffer is longer than half of what an address can reach
const fn offset(length: usize) -> i64 {
    length as i64
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // the length of a buffer, by `offset`
const fn place(offset: i64) -> usize {
    offset as usize
}
