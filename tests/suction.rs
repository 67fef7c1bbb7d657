//! Suction of a pump: golden rows, its limits, bad input.

#![allow(clippy::float_cmp)] // exact results are compared exactly

use siltcode::job::suction::drop_between;
use siltcode::job::{PumpLimits, Suction, SuctionLimit, SuctionLine};
use siltcode::units::{Density, Head, Pressure};
use siltcode_tests::Example;

fn kpa(value: f64) -> Pressure {
    Pressure::from_kpa(value).unwrap()
}

fn metres(value: f64) -> Head {
    Head::from_metres(value).unwrap()
}

fn density(kg_per_m3: f64) -> Density {
    Density::from_kg_per_m3(kg_per_m3).unwrap()
}

#[test]
fn l09_heads_in_feet() {
    let l09 = Example::one("suction", "L09").within(1e-14); // feet to pascals and back
    let water = density(998.0);
    let column = |feet: f64| Head::from_feet(feet).unwrap().pressure_in(water).unwrap();
    for (i, height) in l09.list("h_ft").into_iter().enumerate() {
        let line = SuctionLine {
            atmosphere: column(l09.number("Ha_ft")),
            lift: Head::from_feet(-height).unwrap(),
            line_loss: column(l09.number("he") + l09.number("hf")),
            element_drop: kpa(0.0),
        };
        let suction = Suction::of_line(&line, column(l09.number("hvp")), water).unwrap();
        l09.meets(&format!("/NPSHA_ft/{i}"), suction.head_available().unwrap().feet());
    }
}

#[test]
fn l10_a_lift_with_losses() {
    let l10 = Example::one("suction", "L10");
    let pa = |key: &str| Pressure::from_pa(l10.number(key)).unwrap();
    let line = SuctionLine {
        atmosphere: pa("p_atm_Pa"),
        lift: metres(l10.number("suction_lift_m")),
        line_loss: pa("line_loss_Pa"),
        element_drop: pa("suction_element_dP_Pa"),
    };
    let suction = Suction::of_line(&line, pa("p_vap_Pa"), density(l10.number("rho"))).unwrap();
    l10.meets("/p_inlet_abs_Pa", suction.inlet().pa());
    l10.meets("/vacuum_Pa", suction.vacuum().unwrap().pa());
    l10.meets("/NPSHA_m", suction.head_available().unwrap().metres());
    let gauge = suction.vacuum().unwrap();
    let read = Suction::of_gauge(pa("p_atm_Pa"), gauge, pa("p_vap_Pa"), density(l10.number("rho"))).unwrap();
    l10.meets("/NPSHA_m", read.head_available().unwrap().metres());
}

#[test]
fn the_nearer_limit_counts() {
    let suction = Suction::of_gauge(kpa(101.0), kpa(40.0), kpa(1.0), density(1000.0)).unwrap(); // 60 kPa left
    let column = metres(1.0).pressure_in(density(1000.0)).unwrap().kpa();
    let pump = |required: Option<f64>, margin: f64, vacuum: Option<f64>| PumpLimits {
        head_required: required.map(metres),
        margin: metres(margin),
        vacuum: vacuum.map(kpa),
    };
    let reserve = |pump: &PumpLimits| suction.reserve(pump).unwrap();
    assert_eq!(reserve(&pump(None, 1.0, None)), None);
    let by_vacuum = reserve(&pump(Some(3.0), 1.0, Some(50.0))).unwrap();
    assert_eq!((by_vacuum.limit, by_vacuum.left.kpa().round()), (SuctionLimit::Vacuum, 10.0));
    let by_head = reserve(&pump(Some(3.0), 2.5, Some(50.0))).unwrap();
    assert_eq!(by_head.limit, SuctionLimit::Head);
    assert!((by_head.left.kpa() - (60.0 - 5.5 * column)).abs() < 1e-9 && !by_head.is_passed());
    assert!(reserve(&pump(Some(3.0), 4.0, None)).unwrap().is_passed());
    // what is left is what the element may still take
    let line = SuctionLine {
        atmosphere: kpa(101.0),
        lift: metres(0.0),
        line_loss: kpa(40.0),
        element_drop: by_head.left,
    };
    let full = Suction::of_line(&line, kpa(1.0), density(1000.0)).unwrap();
    let left = full.reserve(&pump(Some(3.0), 2.5, None)).unwrap().unwrap().left;
    assert!(left.kpa().abs() < 1e-9, "{left}");
}

#[test]
fn bad_input_is_an_error() {
    let line = |loss: f64, element: f64| SuctionLine {
        atmosphere: kpa(101.0),
        lift: metres(-2.0),
        line_loss: kpa(loss),
        element_drop: kpa(element),
    };
    let code = |line: &SuctionLine, vapour: f64| {
        Suction::of_line(line, kpa(vapour), density(850.0)).map_or_else(|error| error.code(), |_| "none")
    };
    assert_eq!(code(&line(0.0, 0.0), 0.0), "none");
    for (loss, element, vapour) in
        [(-1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, -1.0), (f64::MAX, f64::MAX, 0.0)]
    {
        assert_eq!(code(&line(loss, element), vapour), "quantity-out-of-range");
    }
    let suction = Suction::of_line(&line(0.0, 0.0), kpa(0.0), density(850.0)).unwrap();
    let margin = PumpLimits { head_required: None, margin: metres(-1.0), vacuum: None };
    assert_eq!(suction.reserve(&margin).unwrap_err().code(), "quantity-out-of-range");
    assert_eq!(drop_between(kpa(20.0), kpa(8.0)).unwrap_err().code(), "gauges-crossed");
    assert_eq!(
        drop_between(kpa(-5.0), kpa(8.0)).unwrap().kpa().round(),
        13.0,
        "pressure before, vacuum behind"
    );
}
