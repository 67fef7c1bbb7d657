//! The pace of a tank against its elements, and of its sizes against each other.

use serde::Serialize;

use super::{Finding, doubt, note};
use crate::certainty::{Probability, normal};
use crate::filter::Efficiency;
use crate::job::progress::fit::ShownEfficiency;
use crate::job::progress::series::Progress;
use crate::units::significant;

/// How far the efficiency that a tank shows lies below the filter's, and what would explain it.
///
/// ```
/// use siltcode::filter::Beta;
/// use siltcode::job::progress::{Shortfall, ShownEfficiency};
///
/// let expected = Beta::new(200.0)?.efficiency();
/// let shortfall = Shortfall::new(ShownEfficiency::new(0.72)?, ShownEfficiency::new(0.03)?, expected);
/// assert_eq!(format!("{:.3} {:.3}", shortfall.bypass, shortfall.short_circuit), "0.276 0.277");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Shortfall {
    /// The efficiency that the tank shows over the filter's \[-\]; also the share of the stated flow that would explain
    /// it, and the inverse of the factor on the stated volume.
    pub ratio: f64,
    /// The share of the flow past the medium that would explain it \[-\].
    pub bypass: f64,
    /// The share of the return straight to the suction that would explain it \[-\].
    pub short_circuit: f64,
    /// The difference in standard errors \[-\].
    pub z: f64,
    /// How likely chance alone makes it look so slow.
    pub p: Probability,
}

impl Shortfall {
    /// That of an efficiency with its standard error, where the filter should have another.
    #[must_use]
    pub fn new(shown: ShownEfficiency, standard_error: ShownEfficiency, expected: Efficiency) -> Self {
        let (shown, expected) = (shown.get(), expected.get());
        let z = (expected - shown) / standard_error.get();
        Self {
            ratio: shown / expected,
            bypass: 1.0 - shown / expected,
            short_circuit: (expected - shown) / (expected - shown * (1.0 - expected)),
            z,
            p: Probability::rounded(normal::upper_tail(z)),
        }
    }
}

/// What would explain a tank that shows this part of what its elements should give, in a bin where they let little pass.
fn causes(part: f64) -> Vec<String> {
    let percent = |share: f64| significant(100.0 * share, 2);
    vec![
        format!("{} % of the flow passes the medium by", percent(1.0 - part)),
        format!("about {} % of the return goes straight back to the suction", percent(1.0 - part)),
        format!("the flow is {} % of what is stated", percent(part)),
        format!("the tank holds {} times what is stated", significant(1.0 / part, 2)),
        "the elements retain less than they are rated for, in this fluid at this flow".into(),
    ]
}

impl Progress {
    pub(super) fn pace(&self) -> Option<Finding> {
        let pace = self.joint.pace().filter(|pace| pace.chance < self.rare())?;
        let evidence = format!(
            "the tank shows {} % of what its elements should give; chance {} that it is {} % or {}",
            significant(100.0 * pace.factor, 2),
            significant(pace.chance, 2),
            significant(100.0 * pace.bound, 2),
            if pace.factor < 1.0 { "more" } else { "less" }
        );
        if pace.factor < 1.0 {
            let advice = "check flow and volume first; then sample before and after the filter, and from another place in the tank";
            return Some(doubt("slow", evidence, causes(pace.factor), advice));
        }
        let meaning = [
            "the flow is higher, or the tank holds less, than is stated",
            "particles settle: the samples show less than the tank holds",
            "the fluid is displaced rather than mixed",
        ];
        let advice = "check flow and volume, stir up what has settled or sample near the bottom, and go by the samples";
        Some(note("fast", evidence, meaning, advice))
    }

    pub(super) fn disagreement(&self) -> Option<Finding> {
        let odds = self.joint.odds().filter(|odds| odds.chance < self.rare())?;
        let [small, large] = [odds.smaller, odds.larger].map(|bin| &self.sizes[bin]);
        let evidence = format!(
            "{} falls {} times as fast as {}, against what the elements give; chance {}",
            small.size,
            significant(odds.factor, 3),
            large.size,
            significant(odds.chance, 2)
        );
        let meaning =
            ["free water counted as particles", "air bubbles", "bottles or caps that were not clean"];
        let advice = "no filter does that: test for water, let the bottle stand or degas it, and draw again into certified bottles";
        Some(doubt("sizes-disagree", evidence, meaning, advice).at(large.size))
    }
}
