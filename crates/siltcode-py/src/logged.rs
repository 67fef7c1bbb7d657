//! Turnovers from logged readings.

use pyo3::prelude::*;
use serde::Serialize;
use siltcode::job::logged::{LogEntry, turnovers};
use siltcode::tank::Turnovers;
use siltcode::units::{Duration, Flow, Volume};

use crate::arrays::{Floats, placed, slice};
use crate::error::Result;
use crate::given::{Given, Plain};

#[derive(Serialize)]
pub(crate) struct LoggedParts {
    at: Vec<f64>,
    /// From, to \[h\], the turnovers that were taken for it, and in words.
    gaps: Vec<(f64, f64, Option<f64>, String)>,
    resets: Vec<f64>,
}

/// Turnovers at each reading of time \[h\], flow \[L/min\] and totaliser \[m3\]; NaN for what was not read.
#[pyfunction]
pub(crate) fn turnovers_logged(
    columns: [Floats<'_>; 3],
    tank: Given<Volume>,
    longest: Given<Duration>,
) -> Result<Plain<LoggedParts>> {
    let [time, flow, total] = [slice(&columns[0])?, slice(&columns[1])?, slice(&columns[2])?];
    let known = |value: f64| Some(value).filter(|value| !value.is_nan());
    let entry = |i: usize| {
        Ok(LogEntry {
            time: Duration::from_hours(time[i])?,
            flow: known(flow[i]).map(Flow::from_l_per_min).transpose()?,
            total: known(total[i]).map(Volume::from_m3).transpose()?,
        })
    };
    let log = (0..time.len()).map(|i| placed(entry(i), i));
    let logged = turnovers(&log.collect::<siltcode::Result<Vec<_>>>()?, tank.0, longest.0)?;
    let gaps = logged.gaps.iter();
    let gaps = gaps.map(|gap| {
        let turnovers = gap.turnovers.map(Turnovers::get);
        (gap.from.hours(), gap.to.hours(), turnovers, gap.to_string())
    });
    Ok(Plain(LoggedParts {
        gaps: gaps.collect(),
        at: logged.at.iter().map(|turnovers| turnovers.get()).collect(),
        resets: logged.resets.iter().map(|time| time.hours()).collect(),
    }))
}
