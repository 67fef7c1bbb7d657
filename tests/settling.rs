//! Stokes settling against its golden row.

use siltcode::Size;
use siltcode::settling::Liquid;
use siltcode::units::{Density, Duration, DynamicViscosity, Length};
use siltcode_tests::Example;

#[test]
fn t17_a_grain_in_oil() {
    let row = Example::one("tank", "T17");
    let density = |key: &str| Density::from_kg_per_m3(row.number(key)).unwrap();
    let liquid = Liquid {
        density: density("rho_f"),
        viscosity: DynamicViscosity::from_pa_s(row.number("mu_Pa_s")).unwrap(),
    };
    let grain = liquid.settling(Size::um_c(row.number("d_um")).unwrap(), density("rho_p")).unwrap();
    let (height, day) =
        (Length::from_metres(row.number("H_m")).unwrap(), Duration::from_hours(24.0).unwrap());
    row.meets("/v_m_s", grain.speed().m_per_s());
    row.meets("/v_mm_h", grain.speed().mm_per_h());
    row.meets("/hours_to_fall_H", grain.time_over(height).unwrap().hours());
    row.meets("/Re", grain.reynolds());
    row.meets("/mean_left_quiescent_24h", grain.left_at_rest(day, height));
    row.meets("/mean_left_stirred_24h", grain.left_stirred(day, height));
}
