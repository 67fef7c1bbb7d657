//! Tanks that are not well mixed: an active and a dead zone, and cells from the return to the suction.
//!
//! All start at one concentration, which counts as 1. Nothing is stepped: both are closed forms.

use super::cleanup::Turnovers;
use crate::filter::{Beta, Efficiency, Share};

/// What is left of the start \[-\], at the suction and on average over the tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// Where a sample of the suction line comes from.
    pub suction: f64,
    /// In the whole tank.
    pub mean: f64,
}

/// A tank of which a share stands still but for an exchange with the rest, as a share of the filter's flow.
///
/// ```
/// use siltcode::filter::{Beta, Share};
/// use siltcode::tank::{Turnovers, mixing::dead_zone};
///
/// let efficiency = Beta::new(75.0)?.efficiency();
/// let left = dead_zone(efficiency, Share::new(0.2)?, Share::new(0.1)?, Turnovers::new(7.0)?);
/// assert!(left.suction < 0.0095 && left.mean > 0.021); // a suction sample flatters the tank
/// # Ok::<(), siltcode::Error>(())
/// ```
#[must_use]
pub fn dead_zone(efficiency: Efficiency, dead: Share, exchange: Share, turnovers: Turnovers) -> Left {
    let (active, dead, exchange) = (1.0 - dead.get(), dead.get(), exchange.get());
    if dead == 0.0 {
        let left = (-efficiency.get() * turnovers.get()).exp();
        return Left { suction: left, mean: left };
    }
    let [[a, b], [c, d]] =
        [[-(efficiency.get() + exchange) / active, exchange / active], [exchange / dead, -exchange / dead]];
    let half = f64::midpoint(a, d);
    let spread = (0.25 * (a - d).powi(2) + b * c).sqrt();
    let [suction, still] = if spread == 0.0 {
        let grown = (half * turnovers.get()).exp();
        [grown, grown]
    } else {
        let weigh = |own: f64, other: f64, root: f64, from: f64| {
            (root * turnovers.get()).exp() * (own + other - from) / (root - from)
        };
        let (fast, slow) = (half - spread, half + spread);
        [weigh(a, b, fast, slow) + weigh(a, b, slow, fast), weigh(d, c, fast, slow) + weigh(d, c, slow, fast)]
    };
    Left { suction, mean: active * suction + dead * still }
}

/// A tank of `cells` stirred cells in a row from the return to the suction: 1 is well mixed, many displace.
///
/// A particle moves on at random times, so the number of its moves is Poisson distributed with mean cells times
/// turnovers, and each time round it meets the filter once: the sum over the moves is the exact solution.
#[must_use]
pub fn cells(beta: Beta, cells: u16, turnovers: Turnovers) -> Left {
    let count = u64::from(cells.max(1));
    let moves = count as f64 * turnovers.get();
    let last = (moves + 12.0 * moves.sqrt() + 40.0).ceil();
    let (mut suction, mut mean, mut log_p, mut n) = (0.0, 0.0, -moves, 0.0);
    while n <= last {
        let p = log_p.exp();
        let (rounds, extra) = ((n / count as f64).floor(), n % count as f64);
        let (now, later) = (beta.get().powf(-rounds), beta.get().powf(-rounds - 1.0));
        // of the cells a particle may start in, the last `extra` ones have passed the filter once more
        mean += p * ((count as f64 - extra) * now + extra * later) / count as f64;
        suction += p * now;
        n += 1.0;
        log_p += moves.ln() - n.ln();
    }
    Left { suction, mean }
}
