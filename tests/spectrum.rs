//! Spectrum laws against their golden file.

use approx::assert_relative_eq;
use serde::Deserialize;
use serde_json::Value;
use siltcode::spectrum::{Curve, Law, PowerDensity};
use siltcode::{PerMl, Size, SizeScale, Spectrum};
use siltcode_tests::golden;

#[derive(Deserialize)]
struct Row {
    id: String,
    inputs: String,
    expected: String,
}

fn row(id: &str) -> (Value, Value) {
    let row = golden::<Row>("spectrum").into_iter().find(|row| row.id == id).unwrap();
    (serde_json::from_str(&row.inputs).unwrap(), serde_json::from_str(&row.expected).unwrap())
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn size(um: f64) -> Size {
    Size::um_c(um).unwrap()
}

fn curve(law: Law, small: (f64, &Value), large: (f64, &Value)) -> Curve {
    let point = |(um, count): (f64, &Value)| (size(um), PerMl::new(number(count)).unwrap());
    Curve::through(law, point(small), point(large)).unwrap()
}

#[test]
fn z01_extrapolation_differs_three_times() {
    let (given, expected) = row("Z01");
    for (law, slope, key) in [(Law::LogLog2, "b", "log_log2"), (Law::Power, "S", "power")] {
        let curve = curve(law, (4.0, &given["N4"]), (6.0, &given["N6"]));
        assert_relative_eq!(curve.slope(), number(&expected[key][slope]), max_relative = 1e-11);
        let at = curve.at(size(number(&given["d"]))).unwrap();
        assert_relative_eq!(at.get(), number(&expected[key]["N14"]), max_relative = 1e-11);
        let weight = law.weight(size(4.0), size(6.0), size(14.0)).unwrap();
        assert_relative_eq!(weight, number(&expected[key]["weight"]), max_relative = 1e-11);
    }
}

#[test]
fn z02_counting_deviation_of_nested_channels() {
    let (given, expected) = row("Z02");
    let k = |key: &str| given[key].as_u64().unwrap();
    for (law, key) in [(Law::LogLog2, "sd_lnN14_loglog2"), (Law::Power, "sd_lnN14_power")] {
        let sd = law.counting_deviation((size(4.0), k("k4")), (size(6.0), k("k6")), size(14.0)).unwrap();
        assert_relative_eq!(sd, number(&expected[key]), max_relative = 1e-11);
    }
}

#[test]
fn z03_interpolation_within_the_sizes() {
    let (given, expected) = row("Z03");
    let spectrum =
        Spectrum::from_per_ml(&[(6.0, number(&given["N6"])), (14.0, number(&given["N14"]))]).unwrap();
    let between = spectrum.between(size(number(&given["d"]))).unwrap();
    assert_relative_eq!(between.power.unwrap().get(), number(&expected["power"]), max_relative = 1e-11);
    assert_relative_eq!(between.log_log2.unwrap().get(), number(&expected["log_log2"]), max_relative = 1e-11);
}

#[test]
fn z04_cumulative_of_a_density() {
    let (given, expected) = row("Z04");
    let density =
        PowerDensity { at_1_um: number(&given["t"]), slope: number(&given["differential_slope_s"]) };
    let curve = density.cumulative(SizeScale::UmC).unwrap();
    assert_relative_eq!(curve.slope(), number(&expected["cumulative_S"]), max_relative = 1e-11);
    let at = curve.at(size(number(&given["D"]))).unwrap();
    assert_relative_eq!(at.get(), number(&expected["N_ge_6"]), max_relative = 1e-11);
}
