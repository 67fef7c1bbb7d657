//! Stokes settling against its golden row.

use approx::assert_relative_eq;
use serde::Deserialize;
use serde_json::Value;
use siltcode::Size;
use siltcode::settling::Liquid;
use siltcode::units::{Density, Duration, DynamicViscosity, Length};
use siltcode_tests::golden;

#[derive(Deserialize)]
struct Row {
    id: String,
    inputs: String,
    expected: String,
}

#[test]
fn t17_a_grain_in_oil() {
    let row = golden::<Row>("tank").into_iter().find(|row| row.id == "T17").unwrap();
    let given: Value = serde_json::from_str(&row.inputs).unwrap();
    let expected: Value = serde_json::from_str(&row.expected).unwrap();
    let given = |key: &str| given[key].as_f64().unwrap();
    let density = |key: &str| Density::from_kg_per_m3(given(key)).unwrap();
    let liquid = Liquid {
        density: density("rho_f"),
        viscosity: DynamicViscosity::from_pa_s(given("mu_Pa_s")).unwrap(),
    };
    let grain = liquid.settling(Size::um_c(given("d_um")).unwrap(), density("rho_p")).unwrap();
    let (height, day) = (Length::from_metres(given("H_m")).unwrap(), Duration::from_hours(24.0).unwrap());
    for (key, found) in [
        ("v_m_s", grain.speed().m_per_s()),
        ("v_mm_h", grain.speed().mm_per_h()),
        ("hours_to_fall_H", grain.time_over(height).unwrap().hours()),
        ("Re", grain.reynolds()),
        ("mean_left_quiescent_24h", grain.left_at_rest(day, height)),
        ("mean_left_stirred_24h", grain.left_stirred(day, height)),
    ] {
        assert_relative_eq!(found, expected[key].as_f64().unwrap(), max_relative = 1e-12);
    }
}
