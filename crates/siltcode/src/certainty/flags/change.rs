//! What changed since the same point was sampled before.
//!
//! Bins are compared, not cumulative counts: what is filtered at 14 um is missing at 4 um too, and hides there what happens
//! to the fine particles. Two bottles differ by their own scatter beside counting; where that was not stated, a common one is
//! allowed for.

use super::{Context, Flag, doubt, percent};
use crate::certainty::factor::RandomFactor;
use crate::certainty::student::Student;
use crate::count::Evidence;
use crate::size::Size;
use crate::spectrum::Spectrum;

/// What bottles may vary by where it was not stated \[-\].
const UNKNOWN_CV: f64 = 0.05;

/// The particles of one bin, now and before, in the volumes examined.
#[derive(Clone, Copy)]
struct Bin {
    size: Size,
    now: f64,
    before: f64,
    /// The volume examined before over that examined now \[-\].
    volumes: f64,
    /// What varies beside counting, now and before together.
    factor: RandomFactor,
}

impl Bin {
    /// The logarithm of the concentration now over that before.
    fn change(&self) -> f64 {
        ((self.now + 0.5) / (self.before + 0.5) * self.volumes).ln()
    }

    fn counting(&self) -> f64 {
        1.0 / (self.now + 0.5) + 1.0 / (self.before + 0.5)
    }

    /// Whether it fell, by more than chance with this risk allows.
    fn falls(&self, risk: f64) -> bool {
        let factor = self.factor.and(RandomFactor::computed(self.counting().sqrt(), f64::INFINITY));
        self.change() < -Student::new(factor.degrees()).upper_quantile(risk) * factor.log_sd()
    }

    /// Whether it rose against another bin, by more than chance with this risk allows.
    fn rises_against(&self, other: &Self, risk: f64) -> bool {
        let counting = RandomFactor::computed((self.counting() + other.counting()).sqrt(), f64::INFINITY);
        let factor = self.factor.and(other.factor).and(counting);
        let reach = Student::new(factor.degrees()).upper_quantile(risk) * factor.log_sd();
        self.change() - other.change() > reach
    }
}

/// The bins counted now and before with raw counts, smallest size first.
fn bins(now: &Spectrum, before: &Spectrum, context: &Context<'_>) -> Vec<Bin> {
    let pairs = now.channels().iter().filter_map(|channel| {
        Some((channel.size, channel.evidence?, before.channel(channel.size)?.evidence?))
    });
    let pairs: Vec<_> = pairs.collect();
    let larger = pairs.iter().skip(1).map(|(_, now, before)| (now.raw, before.raw)).chain([(0, 0)]);
    let bin = |(&(size, now, before), larger): (&(Size, Evidence, Evidence), (u64, u64))| Bin {
        size,
        now: now.raw.saturating_sub(larger.0) as f64,
        before: before.raw.saturating_sub(larger.1) as f64,
        volumes: before.examined_ml() / now.examined_ml(),
        factor: varied(size, now.runs, context).and(varied(size, before.runs, context)),
    };
    pairs.iter().zip(larger).map(bin).collect()
}

/// What one bottle of so many runs varies by.
fn varied(size: Size, runs: u32, context: &Context<'_>) -> RandomFactor {
    let between =
        context.scatter.map_or(RandomFactor::computed(UNKNOWN_CV, f64::INFINITY), RandomFactor::from);
    let run = context.repeatability.and_then(|known| known.of_batch(size)).map(|known| known.factor());
    run.unwrap_or(RandomFactor::NONE).averaged(1.0 / f64::from(runs.max(1))).and(between)
}

pub(super) fn of_change(now: &Spectrum, earlier: &Spectrum, context: &Context<'_>) -> Vec<Flag> {
    let bins = bins(now, earlier, context);
    let Some((fine, larger)) = bins.split_first() else { return Vec::new() };
    let risk = context.alarm.risk() / 2.0;
    fine_stays(fine, larger, risk).into_iter().chain(share_rises(fine, larger, risk)).collect()
}

/// The fine particles stay while every larger bin falls, and falls more than the fine ones may have.
fn fine_stays(fine: &Bin, larger: &[Bin], risk: f64) -> Option<Flag> {
    let each_falls =
        larger.len() >= 2 && larger.iter().all(|bin| bin.falls(risk) && fine.rises_against(bin, risk));
    (each_falls && !fine.falls(risk)).then(|| {
        let end = larger[0].size.um();
        let evidence = format!(
            "particles from {} to {end} um: {:.2} times what they were, while all larger ones fell",
            fine.size.um(),
            fine.change().exp()
        );
        let advice = "look for water, bubbles, additive or wax, or a filter that releases fines; larger sizes are filtered well";
        doubt("fine-stays-coarse-falls", Some(fine.size), evidence, advice)
    })
}

/// The fine particles fall, but the largest size with counts falls less, or rises.
fn share_rises(fine: &Bin, larger: &[Bin], risk: f64) -> Option<Flag> {
    let large = larger.iter().rev().find(|bin| bin.now > 0.0 && bin.before > 0.0)?;
    let rises = fine.falls(risk) && large.rises_against(fine, risk);
    rises.then(|| {
        let share = |large: f64, fine: f64| percent(large / fine.max(1.0));
        let evidence = format!(
            "{} falls, but for each 100 particles of its bin those of {} rise from {} to {}",
            fine.size,
            large.size,
            share(large.before, fine.before),
            share(large.now, fine.now)
        );
        let advice = "look for water drops or air: let a bottle rest and warm it, count again, and compare";
        doubt("possible-water-or-air", Some(large.size), evidence, advice)
    })
}
