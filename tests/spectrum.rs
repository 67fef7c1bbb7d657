//! Spectrum laws and masses against their golden file and against the open counts of ISO medium test dust.

use siltcode::mass::{MassAssumptions, mass_of_spheres};
use siltcode::spectrum::{Curve, Law, PowerDensity};
use siltcode::tables::ISO_MEDIUM_TEST_DUST;
use siltcode::units::Density;
use siltcode::{PerMl, Size, SizeScale, Spectrum};
use siltcode_tests::{Example, rows};

fn size(um: f64) -> Size {
    Size::um_c(um).unwrap()
}

fn density_of(row: &Example, key: &str) -> Density {
    Density::from_kg_per_litre(row.number(key)).unwrap()
}

#[test]
fn z01_extrapolation_differs_three_times() {
    let row = Example::one("spectrum", "Z01");
    let point = |um: f64, key: &str| (size(um), PerMl::new(row.number(key)).unwrap());
    for (law, slope, key) in [(Law::LogLog2, "b", "log_log2"), (Law::Power, "S", "power")] {
        let curve = Curve::through(law, point(4.0, "N4"), point(6.0, "N6")).unwrap();
        row.meets(&format!("/{key}/{slope}"), curve.slope());
        row.meets(&format!("/{key}/N14"), curve.at(size(row.number("d"))).unwrap().get());
        row.meets(&format!("/{key}/weight"), law.weight(size(4.0), size(6.0), size(14.0)).unwrap());
    }
}

#[test]
fn z02_counting_deviation_of_nested_channels() {
    let row = Example::one("spectrum", "Z02");
    for (law, key) in [(Law::LogLog2, "/sd_lnN14_loglog2"), (Law::Power, "/sd_lnN14_power")] {
        let counted = [(size(4.0), row.raw("k4")), (size(6.0), row.raw("k6"))];
        row.meets(key, law.counting_deviation(counted[0], counted[1], size(14.0)).unwrap());
    }
}

#[test]
fn z03_interpolation_within_the_sizes() {
    let row = Example::one("spectrum", "Z03");
    let spectrum = Spectrum::from_per_ml(&[(6.0, row.number("N6")), (14.0, row.number("N14"))]).unwrap();
    let between = spectrum.between(size(row.number("d"))).unwrap();
    row.meets("/power", between.power.unwrap().get());
    row.meets("/log_log2", between.log_log2.unwrap().get());
}

#[test]
fn z04_cumulative_of_a_density() {
    let row = Example::one("spectrum", "Z04");
    let density = PowerDensity { at_1_um: row.number("t"), slope: row.number("differential_slope_s") };
    let curve = density.cumulative(SizeScale::UmC).unwrap();
    row.meets("/cumulative_S", curve.slope());
    row.meets("/N_ge_6", curve.at(size(row.number("D"))).unwrap().get());
}

#[test]
fn z05_mass_of_spheres_of_one_size() {
    let row = Example::one("spectrum", "Z05");
    let count = PerMl::new(row.number("n_per_mL")).unwrap();
    let mass = mass_of_spheres(count, size(row.number("d_um")), density_of(&row, "rho_g_cm3")).unwrap();
    row.meets("/mg_per_L", mass.mg_per_litre());
}

#[test]
fn z06_mass_depends_on_the_largest_size() {
    let row = Example::one("spectrum", "Z06");
    let counts = [(4.0, "N4"), (6.0, "N6"), (14.0, "N14")].map(|(um, key)| (um, row.number(key)));
    let spectrum = Spectrum::from_per_ml(&counts).unwrap();
    for (i, largest) in row.list("d_max").into_iter().enumerate() {
        let mass = spectrum.mass(MassAssumptions::spheres(density_of(&row, "rho"), size(largest))).unwrap();
        let of_bins = ["/mg_L_4_6".into(), "/mg_L_6_14".into(), format!("/mg_L_14_dmax/{i}")];
        for (bin, place) in mass.bins.iter().zip(of_bins) {
            row.meets(&place, bin.power.0.mg_per_litre());
        }
        let (least, most) = mass.under(Law::Power);
        assert_eq!(least, most);
        row.meets(&format!("/total/{i}"), least.mg_per_litre());
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
    let density = density_of(&Example::one("spectrum", "Z06"), "rho");
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
