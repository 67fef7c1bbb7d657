//! Elements combined: side by side in a stage, stage behind stage, and the flow that misses them.
//!
//! What passes is what counts. Side by side, each element passes its share of the flow; one behind the other, the
//! second meets only what the first let through. For one and the same particle the passed shares multiply; for all
//! particles above a size they do not, because the survivors of the first stage are the ones hard to catch. So a train
//! is worked out bin by bin, and where only ratios above sizes are known the answer is a pair of bounds.
//!
//! ```
//! use siltcode::filter::{Challenge, Element, Kind, Share, Stage, Train};
//! use siltcode::{Size, units::Flow};
//!
//! let flow = Flow::from_l_per_min(60.0)?;
//! let bag = Element::new(Kind::Bag, flow, Some("4:1.5,6:2,14:20".parse()?))?;
//! let fine = Element::new(Kind::Cartridge, flow, Some("4:10,6:200,14:1000".parse()?))?;
//! let train = Train::new(vec![Stage::of(bag), Stage::of(fine).leaking(Share::new(0.01)?)])?;
//!
//! let sizes = [Size::um_c(4.0)?, Size::um_c(6.0)?, Size::um_c(14.0)?];
//! let bins = train.bins(&sizes, &Challenge::iso_medium_test_dust())?;
//! assert_eq!(bins.iter().map(|e| format!("{:.3}", e.get())).collect::<Vec<_>>(), ["0.869", "0.992", "0.999"]);
//! // all that is known of the particles above 4 um(c) from the two ratios alone:
//! let bounds = train.lumped(sizes[0])?;
//! assert_eq!([bounds.low, bounds.high].map(|e| format!("{:.3}", e.get())), ["0.891", "0.927"]);
//! assert_eq!(train.ceiling(), None); // the bag catches some of what leaks
//! # Ok::<(), siltcode::Error>(())
//! ```

use super::beta::{Beta, Efficiency, Share};
use super::challenge::Challenge;
use super::element::{Element, Kind};
use super::rating::Rating;
use crate::certainty::Interval;
use crate::error::{ErrorKind, Result};
use crate::size::Size;
use crate::units::Flow;

/// One element of a stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Branch {
    /// The flow that goes this way, as planned or measured. It follows the pressures, and shifts as elements load.
    pub flow: Flow,
    /// What stands there.
    pub element: Element,
}

/// Elements side by side, and the share of the flow that gets past them.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    branches: Vec<Branch>,
    leak: Share,
}

impl Stage {
    /// A stage of one element, at its rated flow.
    #[must_use]
    pub fn of(element: Element) -> Self {
        Self { branches: vec![Branch { flow: element.rated_flow(), element }], leak: Share::NONE }
    }

    /// Elements side by side.
    ///
    /// # Errors
    /// `train-empty` unless some flow goes through the branches.
    pub fn parallel(branches: Vec<Branch>) -> Result<Self> {
        let total: f64 = branches.iter().map(|branch| branch.flow.l_per_min()).sum();
        if total > 0.0 && total.is_finite() {
            Ok(Self { branches, leak: Share::NONE })
        } else {
            Err(ErrorKind::TrainEmpty {}.into())
        }
    }

    /// With a share of the flow that gets past the elements: an open relief valve, a seal that does not seal.
    #[must_use]
    pub fn leaking(self, leak: Share) -> Self {
        Self { leak, ..self }
    }

    /// The elements.
    #[must_use]
    pub fn branches(&self) -> &[Branch] {
        &self.branches
    }

    /// The mean over the branches by flow, then mixed with what leaks \[-\].
    fn passed(&self, passed: impl Fn(&Element) -> Result<f64>) -> Result<f64> {
        let (mut sum, mut flow) = (0.0, 0.0);
        for branch in &self.branches {
            sum += branch.flow.l_per_min() * passed(&branch.element)?;
            flow += branch.flow.l_per_min();
        }
        let leak = self.leak.get();
        Ok((1.0 - leak) * sum / flow + leak)
    }
}

/// Stages one behind the other, with a share of the flow that misses them all.
#[derive(Debug, Clone, PartialEq)]
pub struct Train {
    stages: Vec<Stage>,
    bypass: Share,
}

impl Train {
    /// Stages in the order of the flow.
    ///
    /// # Errors
    /// `train-empty` without a stage.
    pub fn new(stages: Vec<Stage>) -> Result<Self> {
        if stages.is_empty() {
            Err(ErrorKind::TrainEmpty {}.into())
        } else {
            Ok(Self { stages, bypass: Share::NONE })
        }
    }

    /// With a share of the flow that misses the whole train.
    #[must_use]
    pub fn bypassed(self, bypass: Share) -> Self {
        Self { bypass, ..self }
    }

    /// The stages in the order of the flow.
    #[must_use]
    pub fn stages(&self) -> &[Stage] {
        &self.stages
    }

    /// The elements whose planned flow is above their rated flow, where ratings and pressures are not claimed any more.
    pub fn overloaded(&self) -> impl Iterator<Item = &Branch> {
        let branches = self.stages.iter().flat_map(|stage| &stage.branches);
        branches.filter(|branch| branch.flow > branch.element.rated_flow())
    }

    /// The efficiency in each bin between these rising sizes; the last bin is open. Every element is taken to have been
    /// tested with the same challenge; an empty housing holds back nothing.
    ///
    /// # Errors
    /// `beta-missing` where an element has no rating; as [`Rating::bins`] for every element.
    pub fn bins(&self, sizes: &[Size], challenge: &Challenge) -> Result<Vec<Efficiency>> {
        self.bins_of(sizes.len(), |rating| rating.bins(sizes, challenge))
    }

    /// The same with the least that each rating leaves possible below its smallest size: [`Rating::bins_at_worst`].
    ///
    /// # Errors
    /// As [`bins`](Self::bins) without `beta-not-rated`.
    pub fn bins_at_worst(&self, sizes: &[Size], challenge: &Challenge) -> Result<Vec<Efficiency>> {
        self.bins_of(sizes.len(), |rating| rating.bins_at_worst(sizes, challenge))
    }

    /// The same with the largest ratio that each rating leaves possible: [`Rating::bins_at_best`].
    ///
    /// # Errors
    /// As [`bins`](Self::bins).
    pub fn bins_at_best(&self, sizes: &[Size], challenge: &Challenge) -> Result<Vec<Efficiency>> {
        self.bins_of(sizes.len(), |rating| rating.bins_at_best(sizes, challenge))
    }

    fn bins_of(&self, bins: usize, of: impl Fn(&Rating) -> Result<Vec<Beta>>) -> Result<Vec<Efficiency>> {
        let of_bin = |i: usize| {
            self.efficiency(|element| match (element.rating(), element.kind()) {
                (Some(rating), _) => Ok(of(rating)?[i].penetration()),
                (None, Kind::EmptyHousing) => Ok(1.0),
                (None, kind) => Err(ErrorKind::BetaMissing { kind: kind.to_string() }.into()),
            })
        };
        (0..bins).map(of_bin).collect()
    }

    /// The least and the greatest efficiency for all particles at and above a size, from the ratios at that size
    /// alone: between the best stage by itself, and stages that each catch the same share of what reaches them.
    ///
    /// The bounds hold where all stages find the same particles hard to catch, and for the mixture of the test.
    ///
    /// # Errors
    /// `scales-mixed` where the size is in another scale than a rating.
    pub fn lumped(&self, size: Size) -> Result<Interval<Efficiency>> {
        let known = |element: &Element| -> Result<Interval<Efficiency>> {
            match (element.rating(), element.kind()) {
                (Some(rating), _) => Ok(rating.at(size)?.efficiency()),
                (None, Kind::EmptyHousing) => Ok(Interval { low: Efficiency::NONE, high: Efficiency::NONE }),
                (None, _) => Ok(Interval { low: Efficiency::NONE, high: Efficiency::WHOLE }),
            }
        };
        let best =
            self.stages.iter().map(|stage| stage.passed(|element| Ok(1.0 - known(element)?.low.get())));
        let best = best.collect::<Result<Vec<_>>>()?.into_iter().fold(1.0, f64::min);
        let high = self.efficiency(|element| Ok(1.0 - known(element)?.high.get()))?;
        Ok(Interval { low: Efficiency::of_passed(best).bypassed(self.bypass), high })
    }

    /// The filtration ratio that the train cannot exceed, because so much of the flow meets no medium at all; none
    /// where all of it meets one, or nothing does.
    #[must_use]
    pub fn ceiling(&self) -> Option<Beta> {
        let unmet = |element: &Element| Ok(f64::from(u8::from(element.kind() == Kind::EmptyHousing)));
        let unmet = self.efficiency(unmet).ok().map(|met| 1.0 - met.get())?;
        Beta::new(1.0 / unmet).ok().filter(|beta| *beta != Beta::INFINITE && *beta != Beta::ONE)
    }

    /// One less what passes all stages, or the bypass, for particles of which each element passes such a share.
    fn efficiency(&self, passed: impl Fn(&Element) -> Result<f64>) -> Result<Efficiency> {
        let through = self
            .stages
            .iter()
            .try_fold(1.0, |through, stage| Ok::<_, crate::Error>(through * stage.passed(&passed)?))?;
        Ok(Efficiency::of_passed(through).bypassed(self.bypass))
    }
}
