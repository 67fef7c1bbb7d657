//! Floors: whether there is one, whether it stands in the way of the target, and when one would be seen.

use super::{Finding, doubt, note};
use crate::count::PerMl;
use crate::job::progress::series::Progress;
use crate::size::Size;
use crate::tank::Target;
use crate::units::significant;

const MEANING: [&str; 2] = [
    "ingress: the floor is then in inverse proportion to the flow",
    "the filter sheds: the floor is then the same at any flow",
];
const ADVICE: &str =
    "sample at two flows: they tell the two apart; close vents and returns, or change the element";

impl Progress {
    pub(super) fn shown_floor(&self) -> Option<Finding> {
        let p = self.floor_test()?.p.get();
        (p < self.rare() && self.is_floor_shown()).then(|| {
            let evidence = format!("{}; chance {}", self.floors(), significant(p, 2));
            note("floor", evidence, MEANING, ADVICE)
        })
    }

    /// The floor of each size and larger.
    fn floors(&self) -> String {
        let each = self.sizes.iter().enumerate().filter(|(bin, _)| self.joint.floor_from(*bin) > 0.0);
        let each = each
            .map(|(bin, size)| format!("{} at {}", significant(self.joint.floor_from(bin), 3), size.size));
        format!("a floor of {} per mL", each.collect::<Vec<_>>().join(", "))
    }

    /// Whether a limit is out of reach at a fitted size: a floor is shown that is not below it, and the confidence that the
    /// limit is ever met is at most 30 %. False at other sizes.
    ///
    /// The floor of a few samples is often shown too high by bottles that scatter, so the best estimate alone does not
    /// settle it: in a job whose floor is half the target it would in one of 14.
    #[must_use]
    pub fn is_out_of_reach(&self, size: Size, limit: PerMl) -> bool {
        const MOST: f64 = 0.3;
        let is_below = self.floor(size).is_some_and(|floor| floor > PerMl::ZERO && floor >= limit);
        is_below && self.confidence(size, limit, None).is_none_or(|ever| ever.get() <= MOST)
    }

    pub(super) fn target_below_floor(&self, bin: usize, limit: PerMl) -> Option<Finding> {
        let (floor, size) = (self.joint.floor_from(bin), &self.sizes[bin]);
        (size.now > limit && self.is_out_of_reach(size.size, limit)).then(|| {
            let [floor, limit] = [floor, limit.get()].map(|per_ml| significant(per_ml, 3));
            let evidence = format!("a floor of {floor} per mL, the target is {limit}");
            doubt("target-below-floor", evidence, MEANING, ADVICE).at(size.size)
        })
    }

    pub(super) fn floor_not_seen(&self, target: Option<&Target>) -> Option<Finding> {
        let outlook = self.outlook(target?).ok()?;
        let open = outlook
            .sizes
            .iter()
            .filter(|size| size.remaining.estimate.is_some() && size.remaining.high.is_none());
        let open: Vec<_> = open.filter(|_| self.joint.is_floor_open()).collect();
        let latest =
            open.iter().filter_map(|size| size.floor_seen_after).max_by(|a, b| a.get().total_cmp(&b.get()));
        (!open.is_empty()).then(|| {
            let sizes = open.iter().map(|size| size.size.to_string()).collect::<Vec<_>>().join(", ");
            let next = latest.map_or(String::new(), |more| {
                format!("; a sample after {more} more turnovers would show one")
            });
            let evidence = format!("a floor as high as the target cannot be ruled out at {sizes}{next}");
            let meaning = ["there may be no end to what remains"];
            note("floor-not-seen", evidence, meaning, "circulate on and sample again")
        })
    }
}
