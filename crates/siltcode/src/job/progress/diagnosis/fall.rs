//! The fall as a whole: none, one that bends, one that the counts scatter about.

use super::{Finding, doubt, note};
use crate::job::progress::fit::Edge;
use crate::job::progress::series::{Progress, Spread};
use crate::units::significant;

impl Progress {
    pub(super) fn no_fall(&self, bin: usize) -> Option<Finding> {
        let size = &self.sizes[bin];
        let is_counted = self.joint.data.cells().any(|cell| cell.bins.contains(&bin) && cell.count > 0.0);
        (size.edge == Some(Edge::NoFall) && is_counted).then(|| {
            let [first, last] = self.joint.data.span();
            let (over, level) = (significant(last - first, 3), significant(size.now.get(), 4));
            let evidence = format!("over {over} turnovers the counts stay near {level} per mL");
            let meaning = [
                "nothing is caught at this size",
                "as much comes in as is caught",
                "the flow does not go through the filter",
            ];
            let advice = "sample before and after the filter; check valves, bypass and the element's rating";
            doubt("no-fall", evidence, meaning, advice).at(size.size)
        })
    }

    pub(super) fn bend(&self) -> Option<Finding> {
        let (bend, _) = self.joint.bend().filter(|(_, chance)| *chance < self.rare())?;
        let [early, late] = [1.0 + bend / 2.0, 1.0 - bend / 2.0];
        let evidence =
            format!("the fall is {} times as fast at the start as at the end", significant(early / late, 2));
        Some(if bend > 0.0 {
            let meaning = [
                "a part of the tank is reached slowly",
                "large particles went first",
                "more comes in than before",
            ];
            let advice = "move the return or the suction, and sample from another place in the tank";
            note("slowing", evidence, meaning, advice)
        } else {
            let meaning = [
                "the first sample was drawn before the tank was mixed",
                "the element catches more as it loads",
                "early turnovers are overstated",
            ];
            note("speeding", evidence, meaning, "check the logged flow, and go by the later samples")
        })
    }

    /// Without a stated scatter, where next to none is out of the question; else by the sum of squared residuals.
    pub(super) fn scattered(&self) -> Option<Finding> {
        const NEXT_TO_NONE: f64 = 0.01;
        let nodes = &self.joint.nodes;
        let goodness = self.goodness();
        let (is_beyond, evidence) = if self.options.spread == Spread::Found {
            let [low, high] = [nodes.first()?.cv, nodes.last()?.cv].map(|cv| significant(100.0 * cv, 2));
            (nodes[0].cv > NEXT_TO_NONE, format!("bottles differ by {low} to {high} % beyond counting"))
        } else {
            let p = goodness.p?.get();
            let [found, usual] =
                [goodness.deviance, f64::from(goodness.freedom)].map(|value| significant(value, 3));
            (
                p < self.rare(),
                format!("deviance {found} where {usual} is usual; chance {}", significant(p, 2)),
            )
        };
        let meaning = [
            "bottles differ by more than counting",
            "turnovers are not as stated",
            "the fall is not one to an even floor",
        ];
        let advice = "draw two bottles at each sampling: the scatter between them is then known";
        is_beyond.then(|| note("scatter", evidence, meaning, advice))
    }
}
