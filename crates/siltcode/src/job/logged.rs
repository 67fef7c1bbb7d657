//! Turnovers from what was logged: the readings of a totaliser where there are any, else the flow over time.
//!
//! While elements load up and pumps are throttled the flow falls, so hours say little: turnovers are `integral Q dt / V`,
//! by the trapezoid rule. ([`Decline`](crate::tank::Decline) plans a flow that falls; this is for one that was read.)
//!
//! ```
//! use siltcode::job::logged::{LogEntry, turnovers};
//! use siltcode::units::{Duration, Flow, Volume};
//!
//! let entry = |hours, l_per_min| Ok::<_, siltcode::Error>(LogEntry::of_flow(Duration::from_hours(hours)?, Flow::from_l_per_min(l_per_min)?));
//! let log = [entry(0.0, 60.0)?, entry(2.0, 50.0)?, entry(4.0, 40.0)?, entry(16.0, 40.0)?];
//! let logged = turnovers(&log, Volume::from_m3(6.0)?, Duration::from_hours(6.0)?)?;
//! let at: Vec<_> = logged.at.iter().map(|turnovers| turnovers.to_string()).collect();
//! assert_eq!(at, ["0", "1.1", "2", "6.8"]);
//! assert_eq!(logged.gaps[0].to_string(), "4 h to 16 h: 4.8 turnovers, if the flow went on evenly");
//! # Ok::<(), siltcode::Error>(())
//! ```

use std::fmt;

use serde::Serialize;

use crate::error::{ErrorKind, Result};
use crate::tank::Turnovers;
use crate::units::{Duration, Flow, Volume};

/// What was read at one time. What was not read is left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogEntry {
    /// Since any start.
    pub time: Duration,
    /// The flow.
    pub flow: Option<Flow>,
    /// What a totaliser shows.
    pub total: Option<Volume>,
}

/// Turnovers from a log.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Logged {
    /// Since the first reading, at each.
    pub at: Vec<Turnovers>,
    /// Where the log leaves something open.
    pub gaps: Vec<Gap>,
    /// Readings of a totaliser below the one before: it was set to zero or changed, and the flow stands in for it.
    pub resets: Vec<Duration>,
}

/// Two readings that say little of what went on between them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Gap {
    /// The earlier.
    pub from: Duration,
    /// The later.
    pub to: Duration,
    /// What the straight line between their flows adds; none, and nothing is counted, where one has no flow.
    pub turnovers: Option<Turnovers>,
}

impl LogEntry {
    /// A flow that was read.
    #[must_use]
    pub const fn of_flow(time: Duration, flow: Flow) -> Self {
        Self { time, flow: Some(flow), total: None }
    }

    /// A totaliser that was read.
    #[must_use]
    pub const fn of_total(time: Duration, total: Volume) -> Self {
        Self { time, flow: None, total: Some(total) }
    }

    fn minutes_to(&self, later: &Self) -> f64 {
        later.time.minutes() - self.time.minutes()
    }

    /// What a flow that changes evenly moves until a later reading \[L\].
    fn moved_until(&self, later: &Self) -> Option<f64> {
        let mean = f64::midpoint(self.flow?.l_per_min(), later.flow?.l_per_min());
        Some(mean * self.minutes_to(later))
    }
}

impl Logged {
    /// All of them.
    #[must_use]
    pub fn turnovers(&self) -> Turnovers {
        self.at.last().copied().unwrap_or(Turnovers::NONE)
    }
}

impl fmt::Display for Gap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}: ", self.from, self.to)?;
        match self.turnovers {
            Some(turnovers) => write!(f, "{turnovers} turnovers, if the flow went on evenly"),
            None => f.write_str("no flow was read, nothing is counted"),
        }
    }
}

/// The turnovers of a tank since the first reading. Between two readings of a totaliser its difference counts; readings of
/// the flow between them only share it out. Elsewhere the flow counts, and what lies longer than `longest` between two
/// readings is said to be a gap.
///
/// # Errors
/// `axis-not-rising` unless each reading is later than the one before; `quantity-out-of-range` unless the volume is above
/// 0; `factor-out-of-range` where a result leaves the range of a double.
pub fn turnovers(log: &[LogEntry], tank: Volume, longest: Duration) -> Result<Logged> {
    if tank.litres() <= 0.0 {
        let (quantity, value) = ("volume of the tank".into(), tank.to_string());
        return Err(ErrorKind::QuantityOutOfRange { quantity, value, range: "above 0".into() }.into());
    }
    if let Some(pair) = log.windows(2).find(|pair| pair[1].time <= pair[0].time) {
        let (before, after) = (pair[0].time.to_string(), pair[1].time.to_string());
        return Err(ErrorKind::AxisNotRising { before, after }.into());
    }
    let (by_total, resets) = moved_by_total(log);
    let (mut at, mut gaps, mut litres) = (Vec::with_capacity(log.len()), Vec::new(), 0.0);
    for (i, entry) in log.iter().enumerate() {
        if let Some(before) = i.checked_sub(1) {
            let earlier = &log[before];
            let by_flow = earlier.moved_until(entry);
            let is_gap = by_flow.is_none() || earlier.minutes_to(entry) > longest.minutes();
            if by_total[before].is_none() && is_gap {
                let turnovers = by_flow.map(|moved| Turnovers::new(moved / tank.litres())).transpose()?;
                gaps.push(Gap { from: earlier.time, to: entry.time, turnovers });
            }
            litres += by_total[before].or(by_flow).unwrap_or(0.0);
        }
        at.push(Turnovers::new(litres / tank.litres())?);
    }
    Ok(Logged { at, gaps, resets })
}

/// What moved from each reading to the next by a totaliser \[L\], where two of its readings enclose them; and where it
/// went back.
fn moved_by_total(log: &[LogEntry]) -> (Vec<Option<f64>>, Vec<Duration>) {
    let totals: Vec<(usize, f64)> =
        log.iter().enumerate().filter_map(|(i, entry)| Some((i, entry.total?.litres()))).collect();
    let (mut moved, mut resets) = (vec![None; log.len()], Vec::new());
    for pair in totals.windows(2) {
        let ((from, before), (to, after)) = (pair[0], pair[1]);
        if after < before {
            resets.push(log[to].time);
            continue;
        }
        for (share, moved) in shares(&log[from..=to]).into_iter().zip(&mut moved[from..to]) {
            *moved = Some((after - before) * share);
        }
    }
    (moved, resets)
}

/// How what moved between the first and the last reading is shared out among those between: by their flows where all are
/// known, else by time.
fn shares(log: &[LogEntry]) -> Vec<f64> {
    let by_flow: Option<Vec<f64>> = log.windows(2).map(|pair| pair[0].moved_until(&pair[1])).collect();
    let by_time = || log.windows(2).map(|pair| pair[0].minutes_to(&pair[1])).collect();
    let weights = by_flow.filter(|moved| moved.iter().any(|moved| *moved > 0.0)).unwrap_or_else(by_time);
    let sum: f64 = weights.iter().sum();
    weights.iter().map(|weight| weight / sum).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hours(hours: f64) -> Duration {
        Duration::from_hours(hours).unwrap()
    }

    fn entry(at: f64, flow: Option<f64>, total: Option<f64>) -> LogEntry {
        let flow = flow.map(|flow| Flow::from_l_per_min(flow).unwrap());
        LogEntry { time: hours(at), flow, total: total.map(|total| Volume::from_litres(total).unwrap()) }
    }

    fn of(log: &[LogEntry]) -> Logged {
        turnovers(log, Volume::from_litres(6000.0).unwrap(), hours(2.0)).unwrap()
    }

    fn at(logged: &Logged) -> Vec<f64> {
        logged.at.iter().map(|turnovers| (turnovers.get() * 1e9).round() / 1e9).collect()
    }

    #[test]
    fn a_totaliser_comes_before_the_flow_and_the_flow_shares_it_out() {
        let log = [
            entry(0.0, Some(100.0), Some(500.0)),
            entry(1.0, Some(100.0), None),
            entry(2.0, Some(0.0), Some(9500.0)), // 9000 L by the meter, and 6000 + 3000 by the flow
            entry(3.0, Some(100.0), Some(12500.0)),
            entry(4.0, Some(100.0), None),
        ];
        let logged = of(&log);
        assert_eq!(at(&logged), [0.0, 1.0, 1.5, 2.0, 3.0]);
        assert!(logged.gaps.is_empty() && logged.resets.is_empty());
    }

    #[test]
    fn what_is_not_known_is_said() {
        let unread =
            of(&[entry(0.0, Some(100.0), None), entry(1.0, None, None), entry(2.0, Some(100.0), None)]);
        assert_eq!(at(&unread), [0.0, 0.0, 0.0]);
        assert_eq!(unread.gaps.len(), 2);
        assert_eq!(unread.gaps[0].to_string(), "0 s to 1 h: no flow was read, nothing is counted");
        let long = of(&[entry(0.0, Some(100.0), None), entry(3.0, Some(100.0), None)]);
        assert_eq!((long.turnovers().get(), long.gaps.len()), (3.0, 1));
        let reset = of(&[entry(0.0, Some(100.0), Some(9000.0)), entry(1.0, Some(100.0), Some(50.0))]);
        assert_eq!((at(&reset), reset.resets), (vec![0.0, 1.0], vec![hours(1.0)]));
    }

    #[test]
    fn by_the_meter_alone_it_is_shared_out_by_time_and_needs_no_flow() {
        let log = [entry(0.0, None, Some(0.0)), entry(9.0, None, None), entry(12.0, None, Some(12000.0))];
        let logged = of(&log);
        assert_eq!(at(&logged), [0.0, 1.5, 2.0]);
        assert!(logged.gaps.is_empty());
        assert!(of(&[]).at.is_empty());
    }

    #[test]
    fn readings_out_of_order_and_tanks_of_nothing_are_refused() {
        let back = [entry(1.0, Some(1.0), None), entry(1.0, Some(1.0), None)];
        let code = |log: &[LogEntry], litres: f64| {
            turnovers(log, Volume::from_litres(litres).unwrap(), hours(2.0)).unwrap_err().code()
        };
        assert_eq!(code(&back, 1.0), "axis-not-rising");
        assert_eq!(code(&back, 0.0), "quantity-out-of-range");
    }
}
