//! Spectrum laws and masses against their golden file and against the open counts of ISO medium test dust.

use approx::assert_relative_eq;
use serde::Deserialize;
use serde_json::Value;
use siltcode::mass::{MassAssumptions, mass_of_spheres};
use siltcode::spectrum::{Curve, Law, PowerDensity};
use siltcode::tables::ISO_MEDIUM_TEST_DUST;
use siltcode::units::Density;
use siltcode::{PerMl, Size, SizeScale, Spectrum};
use siltcode_tests::{golden, rows};

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

#[test]
fn z05_mass_of_spheres_of_one_size() {
    let (given, expected) = row("Z05");
    let count = PerMl::new(number(&given["n_per_mL"])).unwrap();
    let density = Density::from_kg_per_litre(number(&given["rho_g_cm3"])).unwrap();
    let mass = mass_of_spheres(count, size(number(&given["d_um"])), density).unwrap();
    assert_relative_eq!(mass.mg_per_litre(), number(&expected["mg_per_L"]), max_relative = 1e-12);
}

#[test]
fn z06_mass_depends_on_the_largest_size() {
    let (given, expected) = row("Z06");
    let counts = [(4.0, "N4"), (6.0, "N6"), (14.0, "N14")].map(|(um, key)| (um, number(&given[key])));
    let spectrum = Spectrum::from_per_ml(&counts).unwrap();
    let density = Density::from_kg_per_litre(number(&given["rho"])).unwrap();
    for i in 0..2 {
        let mass =
            spectrum.mass(MassAssumptions::spheres(density, size(number(&given["d_max"][i])))).unwrap();
        let of_bins = [&expected["mg_L_4_6"], &expected["mg_L_6_14"], &expected["mg_L_14_dmax"][i]];
        for (bin, expected) in mass.bins.iter().zip(of_bins) {
            assert_relative_eq!(bin.power.0.mg_per_litre(), number(expected), max_relative = 1e-10);
        }
        let (least, most) = mass.under(Law::Power);
        assert_eq!(least, most);
        assert_relative_eq!(least.mg_per_litre(), number(&expected["total"][i]), max_relative = 1e-10);
    }
}

/// A size \[um(c)\] of the test dust with the window allowed there \[1/mL\].
type Window = (f64, [f64; 2]);

/// The windows of the test dust, with the dust added \[mg/L\].
fn test_dust() -> [(f64, Vec<Window>); 3] {
    let table: Vec<Vec<String>> = rows(ISO_MEDIUM_TEST_DUST.text);
    [(3.0, 1), (10.0, 3), (15.0, 5)].map(|(mg_per_litre, column)| {
        let cell = |row: &[String], i: usize| row[i].parse().unwrap();
        let window = |row: &Vec<String>| (cell(row, 0), [cell(row, column), cell(row, column + 1)]);
        (mg_per_litre, table.iter().map(window).collect())
    })
}

fn centres(windows: &[Window]) -> Vec<(f64, f64)> {
    windows.iter().map(|(um, [min, max])| (*um, f64::midpoint(*min, *max))).collect()
}

#[test]
fn both_laws_read_test_dust_within_its_windows() {
    for (mg_per_litre, windows) in test_dust() {
        assert_eq!(windows.len(), 16);
        for i in 1..windows.len() - 1 {
            let (um, [min, max]) = windows[i];
            let mut others = centres(&windows);
            others.remove(i);
            let between = Spectrum::from_per_ml(&others).unwrap().between(size(um)).unwrap();
            let within = |count: PerMl| (min..=max).contains(&count.get());
            assert!(within(between.power.unwrap()), "{mg_per_litre} mg/L, {um} um, power law");
            // Below 4 um the dust follows the power law and no longer the log-log2 law, which reads high.
            assert_eq!(within(between.log_log2.unwrap()), um >= 4.0, "{mg_per_litre} mg/L, {um} um");
        }
    }
}

#[test]
fn the_three_concentrations_of_test_dust_weigh_as_they_were_mixed() {
    let density = Density::from_kg_per_litre(number(&row("Z06").0["rho"])).unwrap();
    let per_mg: Vec<[f64; 2]> = test_dust()
        .iter()
        .map(|(mg_per_litre, windows)| {
            let spectrum = Spectrum::from_per_ml(&centres(windows)).unwrap();
            let mass = spectrum.mass(MassAssumptions::spheres(density, size(50.0))).unwrap();
            Law::BOTH.map(|law| mass.under(law).0.mg_per_litre() / mg_per_litre)
        })
        .collect();
    for ratio in per_mg.iter().flatten() {
        // Grains fill about half of the sphere of their projected area, so spheres are an upper guess.
        assert!((1.9..2.0).contains(ratio), "{per_mg:?}");
    }
}
