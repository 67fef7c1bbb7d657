//! Staged filtrations drawn at random, and the best plan of them by differential evolution: an oracle that shares no code
//! with the library's search, nor its mass balance.

use siltcode::filter::{Beta, Price};
use siltcode::plan::{Bin, Catcher, Course, Limit, Problem};
use siltcode::tank::Plant;
use siltcode::units::{Duration, Flow, Mass, Volume};

use crate::{Draws, per_ml};

/// The tank of every drawn job \[L\].
const LITRES: f64 = 10_000.0;
/// Members of a generation for each dimension, generations, the weight of a difference and the chance of a crossing
/// (R. Storn, K. Price, Journal of Global Optimization 11 (1997) 341-359).
const MEMBERS: usize = 16;
const GENERATIONS: usize = 120;
const WEIGHT: (f64, f64) = (0.4, 0.9);
const CROSSING: f64 = 0.9;

/// The turnovers of the tank in an hour \[1/h\].
fn turnovers_per_hour(course: &Course) -> f64 {
    60.0 * course.plant.flow.l_per_min() / LITRES
}

/// A job with so many stages of so many elements each, into whose tank something comes: what is left in the end is at
/// least a share of the limits, and half of that, on average, is shed by the filters.
///
/// # Panics
/// If a quantity is refused, which none is.
#[must_use]
pub fn drawn(stages: usize, elements: usize, share: f64, draws: &mut Draws) -> Problem {
    let bins = 3 + draws.below(4);
    let mut sized = Vec::new();
    for (_, i) in (0..bins).zip(0..) {
        let start = 20_000.0 / 1.9_f64.powi(i) * (0.5 + draws.uniform());
        let grams = 3e-4 * 2.0_f64.powi(i) * (0.5 + draws.uniform());
        sized.push((start, grams));
    }
    let total: f64 = sized.iter().map(|bin| bin.0).sum();
    let dirt: f64 = sized.iter().map(|bin| bin.0 * bin.1).sum();
    let half = bins / 2;
    let limits = [(0, 0.08 * (0.5 + draws.uniform())), (half, 0.004 * (0.5 + draws.uniform()))];
    let courses: Vec<Course> =
        (0..).take(stages).map(|finer| course(bins, finer, elements, dirt, draws)).collect();
    // the best stage of each bin, per hour
    let rate = |course: &Course, bin: usize| {
        let through: f64 = course.catchers.iter().map(|catcher| 1.0 - catcher.held_back[bin].get()).product();
        (1.0 - through) * turnovers_per_hour(course)
    };
    let best = |bin: usize| courses.iter().map(|course| rate(course, bin)).fold(0.0, f64::max);
    let (shed_part, limit) = (draws.uniform(), |from: usize, part: f64| part * total / (bins - from) as f64);
    let bin = |(i, (start, grams)): (usize, &(f64, f64))| {
        let most = if i >= half { limit(half, limits[1].1) } else { limit(0, limits[0].1) };
        let source = share * most * best(i);
        let turnovers = courses.iter().map(turnovers_per_hour).fold(0.0, f64::max);
        Bin {
            start: per_ml(*start),
            mass: Mass::from_grams(*grams).unwrap(),
            ingress_per_hour: per_ml(source * (1.0 - shed_part)),
            shed: per_ml(source * shed_part / turnovers),
        }
    };
    let bins = sized.iter().enumerate().map(bin).collect();
    let limit = |(from, part): (usize, f64)| Limit { from, most: per_ml(part * total) };
    let hour_cost = Price::new(10.0 + 80.0 * draws.uniform()).unwrap();
    Problem { bins, limits: limits.map(limit).to_vec(), courses, hour_cost }
}

fn course(bins: usize, finer: i32, elements: usize, dirt: f64, draws: &mut Draws) -> Course {
    let mut catchers = Vec::new();
    for next in (0..).take(elements) {
        let fineness = 2.0 * draws.uniform() * 3.0_f64.powi(finer + next);
        let ratio = |i: i32| 1.02 + fineness + 0.3 * 2.0_f64.powi(i);
        let held_back = (0..).take(bins).map(|i| Beta::new(ratio(i)).unwrap().efficiency()).collect();
        let grams = dirt * (0.1 + 1.5 * draws.uniform()) / 1.8_f64.powi(finer) / elements as f64;
        catchers.push(Catcher {
            held_back,
            capacity: Some(Mass::from_grams(grams).unwrap()),
            price: Price::new(10.0 * 2.5_f64.powi(finer) * (0.5 + draws.uniform())).unwrap(),
            change_time: Duration::from_hours(0.3 * draws.uniform()).unwrap(),
        });
    }
    let flow = Flow::from_l_per_min(30.0 + 90.0 * draws.uniform()).unwrap();
    Course {
        plant: Plant::new(Volume::from_litres(LITRES).unwrap(), flow).unwrap(),
        mixing: 1.0,
        catchers,
        setup_cost: Price::new(30.0 * draws.uniform()).unwrap(),
        setup_time: Duration::from_hours(0.5 * draws.uniform()).unwrap(),
    }
}

/// The least cost that differential evolution finds over all choices of stages; none where it finds no plan.
#[must_use]
pub fn evolved(problem: &Problem, draws: &mut Draws) -> Option<f64> {
    let stages = problem.courses.len();
    let choices = 1..1_u32 << stages;
    let used = choices.map(|choice| (0..stages).filter(|i| choice >> i & 1 == 1).collect::<Vec<_>>());
    used.filter_map(|used| evolved_of(problem, &used, draws)).min_by(f64::total_cmp)
}

/// The least cost with these stages. The last one runs until the limits are met.
fn evolved_of(problem: &Problem, used: &[usize], draws: &mut Draws) -> Option<f64> {
    let free = used.len() - 1;
    let alone = cost_of(problem, used, &vec![0.0; free]);
    let most = 40.0;
    if free == 0 {
        return alone;
    }
    let value = |hours: &[f64]| cost_of(problem, used, hours).unwrap_or(f64::INFINITY);
    let mut members: Vec<Vec<f64>> = Vec::new();
    for _ in 0..MEMBERS * free {
        // short and long runs alike
        members.push((0..free).map(|_| most * draws.uniform().powi(3)).collect());
    }
    let mut values: Vec<f64> = members.iter().map(|member| value(member)).collect();
    for _ in 0..GENERATIONS {
        for i in 0..members.len() {
            let (a, b, other) =
                (draws.below(members.len()), draws.below(members.len()), draws.below(members.len()));
            let best = (0..values.len()).min_by(|&a, &b| values[a].total_cmp(&values[b]))?;
            let base = if draws.uniform() < 0.5 { best } else { other };
            let weight = WEIGHT.0 + (WEIGHT.1 - WEIGHT.0) * draws.uniform();
            let sure = draws.below(free);
            let tried: Vec<f64> = (0..free)
                .map(|d| {
                    let crossed = members[base][d] + weight * (members[a][d] - members[b][d]);
                    if d == sure || draws.uniform() < CROSSING {
                        crossed.clamp(0.0, most)
                    } else {
                        members[i][d]
                    }
                })
                .collect();
            let found = value(&tried);
            if found <= values[i] {
                (members[i], values[i]) = (tried, found);
            }
        }
    }
    values.into_iter().filter(|value| value.is_finite()).min_by(f64::total_cmp)
}

/// What hours of the used stages but the last cost, with the last one as long as it has to be.
fn cost_of(problem: &Problem, used: &[usize], hours: &[f64]) -> Option<f64> {
    let mut now: Vec<f64> = problem.bins.iter().map(|bin| bin.start.get()).collect();
    let mut cost = 0.0;
    let (&last, before) = used.split_last()?;
    for (&stage, &hours) in before.iter().zip(hours) {
        let (after, spent) = run(problem, stage, &now, hours);
        (now, cost) = (after, cost + spent);
    }
    let over = |hours: f64| {
        let (left, _) = run(problem, last, &now, hours);
        let limits = problem.limits.iter();
        limits.map(|limit| left[limit.from..].iter().sum::<f64>() / limit.most.get()).fold(0.0, f64::max)
            - 1.0
    };
    let (mut low, mut high) = (0.0, 1.0);
    while over(high) > 0.0 {
        (low, high) = (high, 2.0 * high);
        if high > 1e4 {
            return None;
        }
    }
    for _ in 0..45 {
        let middle = 0.5 * (low + high);
        if over(middle) > 0.0 { low = middle } else { high = middle }
    }
    Some(cost + run(problem, last, &now, high).1)
}

/// What a stage leaves after these hours, and what it costs.
fn run(problem: &Problem, stage: usize, before: &[f64], hours: f64) -> (Vec<f64>, f64) {
    let course = &problem.courses[stage];
    let mut grams = vec![0.0; course.catchers.len()];
    let mut left = Vec::with_capacity(before.len());
    for (i, (bin, &start)) in problem.bins.iter().zip(before).enumerate() {
        let through: Vec<f64> = course
            .catchers
            .iter()
            .scan(1.0, |through, catcher| {
                let reaching = *through;
                *through *= 1.0 - catcher.held_back[i].get();
                Some(reaching - *through)
            })
            .collect();
        let held_back: f64 = through.iter().sum();
        let turnovers = turnovers_per_hour(course);
        let rate = held_back * turnovers;
        let source = bin.ingress_per_hour.get() + bin.shed.get() * turnovers;
        let fallen = (-rate * hours).exp();
        let after = start * fallen + source * (1.0 - fallen) / rate;
        let caught = bin.mass.grams() * (start + source * hours - after);
        for (sum, part) in grams.iter_mut().zip(&through) {
            *sum += caught * part / held_back;
        }
        left.push(after);
    }
    let hour = problem.hour_cost.get();
    let elements = course.catchers.iter().zip(&grams).map(|(catcher, grams)| {
        let capacity = catcher.capacity.map_or(f64::INFINITY, Mass::grams);
        let number = (grams / capacity - 1e-9).ceil().max(1.0);
        number * (catcher.price.get() + hour * catcher.change_time.hours())
    });
    let setting_up = course.setup_cost.get() + hour * course.setup_time.hours();
    (left, hour * hours + elements.sum::<f64>() + setting_up)
}
