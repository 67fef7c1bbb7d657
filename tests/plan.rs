//! Staged plans: worked values, a fine grid over all times, what must hold of any, and jobs that cannot be planned.

use proptest::prelude::*;
use siltcode::PerMl;
use siltcode::filter::{Efficiency, Price};
use siltcode::plan::{
    Aim, Answer, Bin, Catcher, CheapStage, Course, Effort, Job, Limit, Problem, Schedule, SearchEnd,
};
use siltcode::tank::Plant;
use siltcode::units::{Duration, Flow, Mass, Volume};
use siltcode_tests::planning::{drawn, evolved};
use siltcode_tests::{Draws, Example, beta, cases, per_ml};

fn price(value: f64) -> Price {
    Price::new(value).unwrap()
}

fn hours(value: f64) -> Duration {
    Duration::from_hours(value).unwrap()
}

fn grams(value: f64) -> Mass {
    Mass::from_grams(value).unwrap()
}

fn efficiency(share: f64) -> Efficiency {
    if share > 0.0 { beta(1.0 / (1.0 - share)).efficiency() } else { Efficiency::NONE }
}

fn plant(litres: f64, flow: f64) -> Plant {
    Plant::new(Volume::from_litres(litres).unwrap(), Flow::from_l_per_min(flow).unwrap()).unwrap()
}

/// A stage of one element: flow \[L/min\], efficiencies, capacity \[g\], price and set-up cost.
fn course(litres: f64, flow: f64, held_back: &[f64], capacity: f64, each: f64, setup: f64) -> Course {
    let catcher = Catcher {
        held_back: held_back.iter().copied().map(efficiency).collect(),
        capacity: Some(grams(capacity)),
        price: price(each),
        change_time: hours(0.0),
    };
    Course {
        plant: plant(litres, flow),
        mixing: 1.0,
        catchers: vec![catcher],
        setup_cost: price(setup),
        setup_time: hours(0.0),
    }
}

fn bin(start: f64, mass: f64) -> Bin {
    Bin { start: per_ml(start), mass: grams(mass), ingress_per_hour: PerMl::ZERO, shed: PerMl::ZERO }
}

/// The coarse and the fine stage of P02.
fn two_stages(setup_coarse: f64) -> Problem {
    let p02 = Example::one("plan", "P02");
    let (litres, starts) = (p02.number("V_L"), p02.list("n0_bins"));
    let bins = starts.iter().zip(p02.list("g_per_count_bin")).map(|(&start, mass)| bin(start, mass));
    let from = p02.inputs["cum_index"].as_array().unwrap().iter().map(|i| i.as_u64().unwrap());
    let limit = |(from, most)| Limit { from: usize::try_from(from).unwrap(), most: per_ml(most) };
    let stage = |name: &str, of: &str, setup: f64| {
        let (flow, held_back) = (p02.number(&format!("Q_{name}")), p02.list(&format!("E_{name}")));
        let (each, capacity) = (p02.number(&format!("price_{of}")), p02.number(&format!("cap_{of}_g")));
        course(litres, flow, &held_back, capacity, each, setup)
    };
    Problem {
        bins: bins.collect(),
        limits: from.zip(p02.list("limits_cum")).map(limit).collect(),
        courses: vec![stage("coarse", "c", setup_coarse), stage("fine", "f", 0.0)],
        hour_cost: price(60.0 * p02.number("time_cost_per_min")),
    }
}

fn fine_only(problem: &Problem) -> Problem {
    Problem { courses: vec![problem.courses[1].clone()], ..problem.clone() }
}

fn cheapest(problem: &Problem) -> Schedule {
    problem.best(Aim::Cheapest).unwrap().unwrap()
}

#[test]
fn a_cheap_stage_pays_so_long() {
    let p01 = Example::one("plan", "P01");
    let bags = CheapStage {
        plant: plant(p01.number("V_L"), p01.number("Q")),
        held_back: efficiency(p01.number("E_coarse")),
        dirt: grams(p01.number("mass_g_capturable")),
        cheap: (price(p01.number("price_c")), grams(p01.number("cap_c_g"))),
        dear: (price(p01.number("price_f")), grams(p01.number("cap_f_g"))),
        hour_cost: price(60.0 * p01.number("time_cost_per_min")),
    };
    let until = bags.break_even().unwrap();
    p01.meets("/saving_per_g", until.saving_per_gram);
    p01.meets("/t_star_min", until.time.minutes());
    p01.meets("/mass_left_g", until.dirt_left.grams());
    let never = CheapStage { hour_cost: price(1e9), ..bags }.break_even().unwrap();
    assert_eq!((never.time, never.dirt_left), (hours(0.0), bags.dirt));
    let as_dear = CheapStage { cheap: bags.dear, ..bags }.break_even().unwrap();
    assert_eq!(as_dear.time, hours(0.0));
    assert!(CheapStage { hour_cost: price(0.0), ..bags }.break_even().is_err());
}

#[test]
fn parts_of_elements_are_the_relaxation() {
    let (p02, cost) = (Example::one("plan", "P02"), Example::one("plan", "P02c"));
    let problem = two_stages(0.0);
    let found = problem.cheapest_in_parts().unwrap().unwrap();
    p02.meets("/t_coarse_min", found.legs[0].time.minutes());
    p02.meets("/t_fine_min", found.legs[1].time.minutes());
    p02.meets("/mass_coarse_g", found.legs[0].elements[0].caught.grams());
    p02.meets("/mass_fine_g", found.legs[1].elements[0].caught.grams());
    let left = &found.legs[1].left;
    for (i, limit) in problem.limits.iter().enumerate() {
        let sum: f64 = left[limit.from..].iter().map(|bin| bin.get()).sum();
        p02.meets(&format!("/final_cum/{i}"), sum);
    }
    cost.meets("/cost", found.cost.get());
    assert!(found.is_optimal() && found.lower_bound <= found.cost.get());
    let alone = fine_only(&problem).cheapest_in_parts().unwrap().unwrap();
    p02.meets("/t_fine_only", alone.legs[0].time.minutes());
    cost.meets("/cost_fine_only", alone.cost.get());
}

#[test]
fn whole_elements_change_the_plan() {
    let (grid, whole) = (Example::one("plan", "P03"), Example::one("plan", "P03w"));
    let problem = two_stages(grid.number("setup_coarse"));
    let found = cheapest(&problem);
    whole.meets("/t_coarse_min", found.legs[0].time.minutes());
    whole.meets("/t_fine_min", found.legs[1].time.minutes());
    whole.meets("/n_coarse", found.legs[0].elements[0].number);
    whole.meets("/n_fine", found.legs[1].elements[0].number);
    whole.meets("/cost", found.cost.get());
    assert!(found.cost.get() <= grid.expected["cost"].as_f64().unwrap());
    assert!(found.is_optimal());
    let alone = cheapest(&fine_only(&problem));
    grid.meets("/cost_fine_only", alone.cost.get());
    grid.meets("/n_fine_only", alone.legs[0].elements[0].number);
}

/// What whole elements and times cost, worked out apart from the library; none where the limits are not met.
fn cost_of(problem: &Problem, minutes: &[f64]) -> Option<f64> {
    let mut left: Vec<f64> = problem.bins.iter().map(|bin| bin.start.get()).collect();
    let mut cost = 0.0;
    for (course, &time) in problem.courses.iter().zip(minutes) {
        if time <= 0.0 {
            continue;
        }
        cost += course.setup_cost.get() + time / 60.0 * problem.hour_cost.get();
        let turnovers = time * course.plant.flow.l_per_min() / course.plant.volume.litres();
        let mut caught = vec![0.0; course.catchers.len()];
        for (i, left) in left.iter_mut().enumerate() {
            let through: f64 = course.catchers.iter().map(|c| c.held_back[i].penetration()).product();
            let taken = *left * (1.0 - (-(1.0 - through) * turnovers).exp());
            let mut reaching = 1.0;
            for (sum, catcher) in caught.iter_mut().zip(&course.catchers) {
                let share = reaching * catcher.held_back[i].get();
                *sum += taken * problem.bins[i].mass.grams() * share / (1.0 - through);
                reaching -= share;
            }
            *left -= taken;
        }
        for (catcher, caught) in course.catchers.iter().zip(caught) {
            let number = (caught / catcher.capacity.unwrap().grams() - 1e-9).ceil().max(1.0);
            let change = catcher.change_time.hours() * problem.hour_cost.get();
            cost += number * (catcher.price.get() + change);
        }
    }
    let met = |limit: &Limit| left[limit.from..].iter().sum::<f64>() <= limit.most.get() * (1.0 + 1e-9);
    problem.limits.iter().all(met).then_some(cost)
}

/// The least over a grid of all times up to some minutes, worked out apart from the library.
fn least_on_grid(problem: &Problem, most: f64, steps: u32) -> f64 {
    let stages = u32::try_from(problem.courses.len()).unwrap();
    let costs = (0..(steps + 1).pow(stages)).filter_map(|place| {
        let step = |stage: u32| f64::from(place / (steps + 1).pow(stage) % (steps + 1));
        let minutes: Vec<f64> = (0..stages).map(|stage| most * step(stage) / f64::from(steps)).collect();
        cost_of(problem, &minutes)
    });
    costs.fold(f64::INFINITY, f64::min)
}

fn minutes(schedule: &Schedule) -> Vec<f64> {
    schedule.legs.iter().map(|leg| leg.time.minutes()).collect()
}

/// Three stages, the last with two elements one behind the other.
fn three_stages() -> Problem {
    let two = two_stages(40.0);
    let mut last = two.courses[1].clone();
    last.catchers.insert(
        0,
        Catcher {
            held_back: [0.3, 0.7, 0.9, 0.99].map(efficiency).to_vec(),
            capacity: Some(grams(60.0)),
            price: price(70.0),
            change_time: hours(0.2),
        },
    );
    let middle = course(10_000.0, 60.0, &[0.2, 0.6, 0.9, 0.995], 150.0, 60.0, 20.0);
    Problem { courses: vec![two.courses[0].clone(), middle, last], ..two }
}

#[test]
fn no_point_of_a_fine_grid_is_cheaper() {
    for (problem, most, steps) in [(two_stages(60.0), 1500.0, 750), (three_stages(), 1200.0, 96)] {
        let found = cheapest(&problem);
        assert!(found.is_optimal(), "{}", found.gap());
        let own = cost_of(&problem, &minutes(&found)).unwrap();
        approx::assert_relative_eq!(own, found.cost.get(), max_relative = 1e-9);
        let grid = least_on_grid(&problem, most, steps);
        assert!(found.cost.get() <= grid && found.lower_bound <= grid, "{} {grid}", found.cost.get());
        // one step of the grid in every stage is all that it can cost more, where it does not need another element
        let step = most / f64::from(steps) * f64::from(u32::try_from(problem.courses.len()).unwrap());
        assert!(grid - found.cost.get() < step * problem.hour_cost.get() / 60.0 + 30.0, "{grid}");
    }
}

#[test]
fn what_comes_in_is_planned_for_and_the_bound_still_holds() {
    let still = cheapest(&two_stages(60.0));
    let mut problem = two_stages(60.0);
    problem.bins.iter_mut().for_each(|bin| bin.ingress_per_hour = per_ml(1.0));
    let found = cheapest(&problem);
    assert!(found.cost > still.cost && found.lower_bound <= found.cost.get() && found.gap() < 0.05);
    for limit in &problem.limits {
        let left: f64 = found.legs[1].left[limit.from..].iter().map(|bin| bin.get()).sum();
        assert!(left <= limit.most.get() * (1.0 + 1e-9));
    }
    problem.bins.iter_mut().for_each(|bin| bin.ingress_per_hour = per_ml(2000.0));
    assert_eq!(problem.best(Aim::Cheapest).unwrap(), None);
}

/// Differential evolution, which shares no code with the search, finds nothing cheaper: `make study NAME=plan` has 200 jobs.
#[test]
fn with_sources_nothing_cheaper_is_found_and_the_gap_is_small() {
    for (job, share) in [(1, 0.05), (2, 0.3), (3, 0.6), (4, 0.45), (5, 0.2), (6, 0.6)] {
        let mut draws = Draws(job);
        let problem = drawn(2 + usize::from(job > 4), 1 + usize::from(job % 2 == 0), share, &mut draws);
        let found = cheapest(&problem);
        let best = evolved(&problem, &mut draws).unwrap();
        assert!(found.cost.get() <= 1.005 * best, "{job}: {} for {best}", found.cost.get());
        assert!(found.lower_bound <= best * (1.0 + 1e-9), "{job}: {} above {best}", found.lower_bound);
        assert!(found.gap() < 0.05, "{job}: {}", found.gap());
    }
}

/// The hours at which one bag and one cartridge are just enough were stepped over by a search that only went downhill.
#[test]
fn a_job_with_ingress_costs_no_more_than_it_must() {
    let job = r#"
tank = "18 m3"
start = "4:30000,6:9000,14:600"
target = "18/16/13"
hour_cost = 20
ingress = "4:200,6:40,14:2 per h"
particles = { density = "2.65 kg/L", largest = "70 um(c)" }
[[stage]]
name = "coarse"
flow = "100 L/min"
[[stage.element]]
kind = "bag"
beta = "4:1.2,6:1.6,14:5"
rated_flow = "200 L/min"
dirt_capacity = "250 g"
price = 12
[[stage]]
name = "fine"
flow = "60 L/min"
[[stage.element]]
kind = "cartridge"
beta = "4:3,6:20,14:1000"
rated_flow = "200 L/min"
dirt_capacity = "40 g"
price = 120
"#;
    let Answer::Plan(plan) = planned(job).unwrap() else { panic!("out of reach") };
    let cost = plan.cost.unwrap().get();
    assert!(cost < 1413.2 && plan.schedule.gap() < 0.05, "{cost}, {}", plan.schedule.gap());
}

#[test]
fn a_search_that_is_stopped_gives_a_plan_and_its_bound() {
    let problem = invented(&[[0.3, 0.5], [0.9, 0.2], [0.1, 0.6], [0.5, 0.5]], &[[0.5; 5]; 4], 30.0);
    let best = cheapest(&problem);
    assert_eq!(best.search, SearchEnd::Complete);
    let stopped = |effort: Effort<'_>| problem.best_within(Aim::Cheapest, &effort).unwrap().unwrap();
    let at_once = || true;
    for (found, end) in [
        (stopped(Effort::default().until(&at_once)), SearchEnd::Stopped),
        (stopped(Effort::default().parts(0)), SearchEnd::PartsUsed),
    ] {
        assert_eq!(found.search, end);
        assert!(found.cost >= best.cost && found.lower_bound <= best.cost.get(), "{found:?}");
        assert!(found.lower_bound > 0.2 * best.cost.get(), "a bound that says something: {found:?}");
        for limit in &problem.limits {
            let left: f64 = found.legs[3].left[limit.from..].iter().map(|bin| bin.get()).sum();
            assert!(left <= limit.most.get() * (1.0 + 1e-9));
        }
    }
}

#[test]
fn the_quickest_is_never_slower_and_never_cheaper() {
    let mut problem = three_stages();
    problem.courses[1].setup_time = hours(1.0);
    let (quick, cheap) = (problem.best(Aim::Quickest).unwrap().unwrap(), cheapest(&problem));
    assert!(quick.is_optimal() && quick.time <= cheap.time && quick.cost >= cheap.cost);
    assert!((quick.least() - quick.time.hours()).abs() < 1e-9);
}

/// An invented problem: shares of 0 to 1 for each bin and each stage.
fn invented(bins: &[[f64; 2]], stages: &[[f64; 5]], hour: f64) -> Problem {
    let sized = bins.iter().zip(0..).map(|(of, i)| {
        bin(20_000.0 / 1.9_f64.powi(i) * (0.5 + of[0]), 3e-4 * 2.0_f64.powi(i) * (0.5 + of[1]))
    });
    let bins: Vec<Bin> = sized.collect();
    let total: f64 = bins.iter().map(|bin| bin.start.get()).sum();
    let dirt: f64 = bins.iter().map(|bin| bin.start.get() * bin.mass.grams()).sum();
    let stage = |(of, finer): (&[f64; 5], i32)| {
        let ratio = |i: i32| 1.02 + 2.0 * of[0] * 3.0_f64.powi(finer) + 0.3 * 2.0_f64.powi(i);
        let held_back: Vec<f64> = (0..12).take(bins.len()).map(|i| 1.0 - 1.0 / ratio(i)).collect();
        let (capacity, each) = (dirt * (0.1 + 1.5 * of[1]) / 1.8_f64.powi(finer), 10.0 * 2.5_f64.powi(finer));
        course(10_000.0, 30.0 + 90.0 * of[2], &held_back, capacity, each * (0.5 + of[3]), 60.0 * of[4])
    };
    let half = bins.len() / 2;
    let limits = [(0, 0.05), (half, 0.002)].map(|(from, part)| Limit { from, most: per_ml(total * part) });
    let courses = stages.iter().zip(0..).map(stage).collect();
    Problem { bins, limits: limits.to_vec(), courses, hour_cost: price(hour) }
}

#[test]
fn a_number_that_can_only_be_exceeded_is_not_parted_for_ever() {
    let bins = [[0.0377, 0.5538], [0.9555, 0.2892], [0.0, 0.6672], [0.0, 0.0], [0.0, 0.0], [0.641, 0.0]];
    let stages = [
        [0.0, 0.0, 0.0, 0.0, 0.2336],
        [0.5769, 0.195, 0.6685, 0.3297, 0.0],
        [0.7662, 0.8591, 0.8037, 0.0, 0.0],
    ];
    let found = cheapest(&invented(&bins, &stages, 10.0));
    assert!(found.is_optimal(), "{}", found.gap());
}

proptest! {
    #![proptest_config(cases(24))]

    #[test]
    fn up_to_six_stages_and_twelve_bins_are_solved_and_proven(
        bins in prop::collection::vec(prop::array::uniform2(0.0..1.0_f64), 3..=12),
        stages in prop::collection::vec(prop::array::uniform5(0.0..1.0_f64), 2..=6),
        hour in 10.0..100.0_f64,
    ) {
        let problem = invented(&bins, &stages, hour);
        for aim in [Aim::Cheapest, Aim::Quickest] {
            let found = problem.best(aim).unwrap().unwrap();
            prop_assert!(found.is_optimal(), "{}", found.gap());
            let own = cost_of(&problem, &minutes(&found)).unwrap();
            prop_assert!((own / found.cost.get() - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn what_must_hold_of_any_plan(
        hour in 20.0..200.0_f64, more in 1.05..3.0_f64, setup in 0.0..100.0_f64, fine in 40.0..300.0_f64,
    ) {
        let with = |hour: f64, fine: f64| {
            let mut problem = two_stages(setup);
            problem.hour_cost = price(hour);
            problem.courses[1].catchers[0].price = price(fine);
            problem
        };
        let (problem, slack) = (with(hour, fine), 1.0 + 3e-6);
        let base = cheapest(&problem);
        prop_assert!(base.is_optimal(), "{base:?}");
        let run = |schedule: &Schedule| minutes(schedule).iter().sum::<f64>();

        let dearer = cheapest(&with(hour * more, fine));
        // whoever saves an hour by it would have saved it before; within what the bounds leave open
        prop_assert!(run(&dearer) <= run(&base) + 60.0 * 4e-6 * dearer.cost.get() / (hour * (more - 1.0)));

        let mut tighter = problem.clone();
        tighter.limits.iter_mut().for_each(|limit| limit.most = per_ml(limit.most.get() / more));
        prop_assert!(cheapest(&tighter).cost.get() * slack >= base.cost.get());

        prop_assert!(cheapest(&fine_only(&problem)).cost.get() * slack >= base.cost.get());

        let mut scaled = with(hour * more, fine * more);
        scaled.courses[0].setup_cost = price(setup * more);
        scaled.courses[0].catchers[0].price = price(problem.courses[0].catchers[0].price.get() * more);
        let scaled = cheapest(&scaled).cost.get() / more / base.cost.get();
        prop_assert!((scaled - 1.0).abs() < 3e-6, "{scaled}");
    }

    #[test]
    fn the_order_of_bins_changes_nothing(setup in 0.0..100.0_f64) {
        // one limit for all, so that any order says the same
        let mut problem = two_stages(setup);
        problem.limits.truncate(1);
        let mut turned = problem.clone();
        turned.bins.reverse();
        for course in &mut turned.courses {
            course.catchers[0].held_back.reverse();
        }
        let (one, other) = (cheapest(&problem).cost.get(), cheapest(&turned).cost.get());
        prop_assert!((one / other - 1.0).abs() < 3e-6, "{one} {other}");
    }
}

const JOB: &str = r#"
title = "Bunker tank"
tank = "18 m3"
start = "22/20/17"
target = "18/16/13"
hour_cost = 45
particles = { density = "2.65 kg/L", largest = "30 um(c)" }
[[stage]]
name = "coarse"
flow = "120 L/min"
setup_time = "30 min"
[[stage.element]]
kind = "bag"
beta = "4:1.5,6:2,14:20"
rated_flow = "200 L/min"
dirt_capacity = "400 g"
price = 15
[[stage]]
name = "fine"
flow = "60 L/min"
[[stage.element]]
kind = "cartridge"
beta = "4:3,6:20,14:1000"
rated_flow = "60 L/min"
dirt_capacity = "80 g"
price = 220
change_time = "10 min"
"#;

fn planned(job: &str) -> siltcode::Result<Answer> {
    Job::from_toml(job)?.plan(Aim::Cheapest)
}

#[test]
fn a_job_is_planned() {
    let Answer::Plan(plan) = planned(JOB).unwrap() else { panic!("out of reach") };
    assert!(plan.schedule.is_optimal() && plan.booking.is_none());
    let last = plan.stages.last().unwrap();
    for (left, target) in last.left.iter().zip(&plan.target) {
        assert!(left.get() <= target.unwrap().get() * (1.0 + 1e-9));
    }
    let spread = format!("mixing = 1.2\nspread = {{ mixing = 1.2, beta = 1.3 }}\n{JOB}");
    let Answer::Plan(doubted) = planned(&spread).unwrap() else { panic!("out of reach") };
    let booking = doubted.booking.unwrap();
    let (half, most) = (booking.p50.unwrap(), booking.p90.unwrap());
    assert!(doubted.time > plan.time);
    assert!((half.stretch - 1.0).abs() < 0.1 && most.stretch > 1.2, "{booking:?}");
    let spare = booking.conservative_by.unwrap().hours();
    assert!((0.0..0.25 * most.time.hours()).contains(&spare), "{booking:?}");
    let setting_up =
        doubted.time.hours() - doubted.schedule.legs.iter().map(|leg| leg.time.hours()).sum::<f64>();
    approx::assert_relative_eq!(
        most.time.hours() - setting_up,
        most.stretch * (doubted.time.hours() - setting_up),
        max_relative = 1e-12
    );
}

#[test]
fn out_of_reach_says_what_would_help() {
    let flooded = format!("ingress = \"4:3000,6:500,14:20 per h\"\n{JOB}");
    let Answer::OutOfReach(way) = planned(&flooded).unwrap() else { panic!("in reach") };
    assert_eq!((way.stage.as_str(), way.size.to_string().as_str()), ("fine", "4 um(c)"));
    assert!(way.floor > way.target && way.remedy.unwrap().flow.is_some() && !way.assumptions.is_empty());
}

/// Of one stage the two ways to the 90 % duration are the same; with the ratios alone in doubt, two stages of different
/// ratios are safer than one filter in their place.
#[test]
fn the_90_percent_duration_says_by_how_much_it_is_conservative() {
    let spare = |job: &str| {
        let Answer::Plan(plan) = planned(job).unwrap() else { panic!("out of reach") };
        let booking = plan.booking.unwrap();
        (booking.conservative_by.unwrap().hours(), booking.p90.unwrap().time.hours(), plan.stages.len())
    };
    let alone = JOB.split("[[stage]]").collect::<Vec<_>>();
    let one =
        format!("spread = {{ beta = 1.4, start = 1.2, mixing = 1.2 }}\n{}[[stage]]{}", alone[0], alone[2]);
    let (by, hours, _) = spare(&one);
    assert!(by < 0.01 * hours, "{by} of {hours}");
    // one stage for the fine particles, one for the others
    let two = format!("spread = {{ beta = 1.4 }}\n{}", JOB.replace("6:20", "6:1.5"));
    let (by, hours, stages) = spare(&two);
    assert!(by >= 0.0 && by < hours && stages == 2, "{by} of {hours}, {stages} stages");
}

#[test]
fn ratios_that_cannot_hold_are_named_with_their_stage() {
    let error = planned(&JOB.replace("4:3,6:20,14:1000", "4:20,6:1.5,14:1000")).unwrap_err();
    assert_eq!(error.code(), "betas-inconsistent");
    assert!(error.to_string().contains("of stage `fine`"), "{error}");
}

#[test]
fn the_quickest_needs_no_prices() {
    let kept = JOB.lines().filter(|line| !line.starts_with("price") && !line.starts_with("hour_cost"));
    let free = Job::from_toml(&kept.collect::<Vec<_>>().join("\n")).unwrap();
    let Answer::Plan(quick) = free.plan(Aim::Quickest).unwrap() else { panic!("out of reach") };
    let Answer::Plan(priced) = Job::from_toml(JOB).unwrap().plan(Aim::Quickest).unwrap() else { panic!() };
    assert_eq!(quick.cost, None);
    assert!((quick.time.hours() / priced.time.hours() - 1.0).abs() < 1e-6);
}

#[test]
fn what_a_plan_needs_is_asked_for() {
    let without = |line: &str| planned(&JOB.replace(line, "")).unwrap_err();
    for line in ["hour_cost = 45\n", "price = 220\n", "start = \"22/20/17\"\n"] {
        let line = JOB.lines().find(|at| at.starts_with(line.trim_end())).unwrap();
        let error = without(line);
        assert_eq!(error.code(), "job-key-missing", "{line}");
        assert!(error.hint().contains(line.split(' ').next().unwrap()), "{line}: {}", error.hint());
    }
    let nothing = JOB.replace("22/20/17", "12/10/7");
    let Answer::Plan(plan) = planned(&nothing).unwrap() else { panic!("out of reach") };
    assert!(plan.stages.is_empty() && plan.time == hours(0.0));
}

#[test]
fn nothing_at_all_is_never_left() {
    let job = Job::from_toml(&JOB.replace("18/16/13", "4:0")).unwrap();
    for aim in [Aim::Cheapest, Aim::Quickest] {
        let Answer::OutOfReach(way) = job.plan(aim).unwrap() else { panic!("{aim:?}") };
        assert_eq!((way.size.um(), way.target.get()), (4.0, 0.0));
    }
}

#[test]
fn without_a_word_on_particles_they_are_those_of_test_dust() {
    let lines: Vec<&str> = JOB.lines().filter(|line| !line.trim_start().starts_with("particles")).collect();
    let silent = Job::from_toml(&lines.join("\n")).unwrap();
    let Answer::Plan(plan) = silent.plan(Aim::Cheapest).unwrap() else { panic!() };
    let said = plan.assumptions.join("; ");
    assert!(said.contains("taken to be spheres of test dust") && said.contains("2650 kg/m3"), "{said}");
    let spelled = "particles = { density = \"2.65 kg/L\", largest = \"70 um(c)\" }\n";
    let same = Job::from_toml(&format!("{spelled}{}", lines.join("\n"))).unwrap();
    let Answer::Plan(same) = same.plan(Aim::Cheapest).unwrap() else { panic!() };
    assert_eq!(plan.stages, same.stages);
}

#[test]
fn an_element_without_a_ratio_and_a_target_without_its_file_are_errors() {
    let bare: Vec<&str> = JOB.lines().filter(|line| !line.trim_start().starts_with("beta")).collect();
    let error = Job::from_toml(&bare.join("\n")).unwrap().plan(Aim::Quickest).unwrap_err();
    assert_eq!((error.code(), error.to_string().contains("bag")), ("beta-missing", true), "{error}");
    let named = JOB.replace("18/16/13", "day-tank.toml");
    assert_eq!(Job::from_toml(&named).unwrap_err().code(), "spec-unknown");
    let file = |text: &'static str| Job::from_toml_with(&named, move |_| Ok(text.into()));
    assert_eq!(
        file("code = \"18/16/13\"").unwrap().target,
        Job::from_toml_with(&named, |_| Ok("code = \"18/16/13\"".into())).unwrap().target
    );
    let error = file("code = \"18/16/13\"\nwater = \"200 mg/pound\"").unwrap_err();
    let at = error.position().unwrap();
    assert_eq!((at.file.as_deref(), at.line), (Some("day-tank.toml"), Some(2)));
}
