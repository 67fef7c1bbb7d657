//! Many tanks at once: each is what one channel says.

use siltcode::tank::Turnovers;
use siltcode::tank::bulk::{self, Columns};
use siltcode_tests::one_bin;

#[test]
fn many_scenarios_are_each_a_channel() {
    let draw = |i: u32, by: f64| (f64::from(i) * by).fract();
    let rows: Vec<[f64; 4]> = (0..3000)
        .map(|i| {
            let target = 10_f64.powf(1.0 + 2.0 * draw(i, 0.618));
            let start = target * 10_f64.powf(3.0 * draw(i, 0.414) - 0.2);
            let ratio = 1.0 + 10_f64.powf(4.0 * draw(i, 0.732) - 1.0);
            [start, target, ratio, if i % 3 == 0 { 0.0 } else { target * draw(i, 0.236) }]
        })
        .collect();
    let column = |at: usize| rows.iter().map(|row| row[at]).collect::<Vec<f64>>();
    let [start, target, ratio, ingress] = [0, 1, 2, 3].map(column);
    let columns = |from: usize, to: usize| Columns {
        start: &start[from..to],
        target: &target[from..to],
        beta: &ratio[from..to],
        ingress: &ingress[from..to],
    };
    let mut found = vec![f64::NAN; 1500];
    bulk::turnovers(&[columns(0, 1500), columns(1500, 3000)], &mut found).unwrap();
    let one = |row: &[f64; 4]| {
        one_bin(row[0], row[3], row[2], row[1]).turnovers().map_or(f64::INFINITY, Turnovers::get)
    };
    for (i, found) in found.into_iter().enumerate() {
        let expected = one(&rows[i]).max(one(&rows[i + 1500]));
        let same = found.to_bits() == expected.to_bits(); // 0 and infinity
        assert!(same || (found / expected - 1.0).abs() < 1e-12, "{i}: {found} for {expected}");
    }
    let bad = Columns {
        start: &[1.0; 4],
        target: &[0.5; 4],
        beta: &[0.9, f64::NAN, 75.0, f64::INFINITY],
        ingress: &[0.0, 0.0, -1.0, 0.0],
    };
    let mut found = [0.0; 4];
    bulk::turnovers(&[bad], &mut found).unwrap();
    assert!(found[..3].iter().all(|found| found.is_nan()), "{found:?}");
    assert!((found[3] - 2.0_f64.ln()).abs() < 1e-15);
    bulk::turnovers(&[bad, Columns { beta: &[75.0; 4], ingress: &[0.0; 4], ..bad }], &mut found).unwrap();
    assert!(found[..3].iter().all(|found| found.is_nan()), "{found:?}");
    // what holds back nothing never gets there, unless it is there
    let none =
        Columns { start: &[1.0, 0.5, 1.0, 0.2], beta: &[1.0; 4], ingress: &[0.0, 0.0, 3.0, 3.0], ..bad };
    bulk::turnovers(&[none], &mut found).unwrap();
    assert!(found[0].is_infinite() && found[2].is_infinite(), "{found:?}");
    assert!(found[1] <= 0.0 && found[3] <= 0.0, "{found:?}");
    assert_eq!(bulk::turnovers(&[bad], &mut [0.0; 3]).unwrap_err().code(), "lengths-differ");
}
