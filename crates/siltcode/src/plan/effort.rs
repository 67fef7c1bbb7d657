//! How long the search for a plan may go on, and how it ended.

use std::fmt;

use serde::Serialize;

/// How long the search for the best plan may go on. What it has found by then is a plan all the same, and its bound says how
/// far it may lie from the best.
///
/// The library reads no clock: whoever has one passes a question that is asked again and again.
///
/// ```
/// use std::time::{Duration, Instant};
/// use siltcode::plan::Effort;
///
/// let begun = Instant::now();
/// let late = || begun.elapsed() > Duration::from_millis(200);
/// let effort = Effort::default().until(&late);
/// assert!(!effort.is_stopped());
/// ```
#[derive(Clone, Copy)]
pub struct Effort<'a> {
    parts: usize,
    stop: Option<&'a (dyn Fn() -> bool + Sync)>,
}

/// How the search for the best plan ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SearchEnd {
    /// The bound met the plan, or nothing was left that could bring them nearer.
    Complete,
    /// As many parts were looked into as were allowed.
    PartsUsed,
    /// The caller stopped it.
    Stopped,
}

impl Default for Effort<'_> {
    /// As many parts as settle all but crowded problems, and no stop.
    fn default() -> Self {
        Self { parts: Self::USUAL_PARTS, stop: None }
    }
}

impl<'a> Effort<'a> {
    /// Parts of all plans that are looked into where nothing else is said.
    pub const USUAL_PARTS: usize = 400;

    /// With so many parts of all plans to look into.
    #[must_use]
    pub const fn parts(self, parts: usize) -> Self {
        Self { parts, ..self }
    }

    /// Until a question is answered with yes. It is asked about once a millisecond.
    #[must_use]
    pub const fn until(self, stop: &'a (dyn Fn() -> bool + Sync)) -> Self {
        Self { stop: Some(stop), ..self }
    }

    /// Whether the caller stops the search.
    #[must_use]
    pub fn is_stopped(&self) -> bool {
        self.stop.is_some_and(|stop| stop())
    }

    pub(super) const fn most_parts(&self) -> usize {
        self.parts
    }
}

impl fmt::Debug for Effort<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Effort")
            .field("parts", &self.parts)
            .field("stop", &self.stop.map(|_| "asked"))
            .finish()
    }
}
