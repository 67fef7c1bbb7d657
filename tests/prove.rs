//! Proofs by trying everything. They take a minute, so `make prove` runs them and the daily tests do not.

use siltcode::bulk::Path;
use siltcode_tests::Ranges;

/// Bit patterns tried at a time.
const BLOCK: usize = 1 << 20;

#[test]
#[ignore = "takes a minute: make prove"]
fn every_single_precision_float_reads_the_table_literally() {
    let table = Ranges::default();
    let threads: u32 = std::thread::available_parallelism().map_or(1, |n| n.get().try_into().unwrap());
    let blocks = (1_u64 << 32) / BLOCK as u64;
    std::thread::scope(|scope| {
        for thread in 0..threads {
            let table = &table;
            scope.spawn(move || {
                for block in (u64::from(thread)..blocks).step_by(threads as usize) {
                    prove_block(table, u32::try_from(block * BLOCK as u64).unwrap());
                }
            });
        }
    });
}

fn prove_block(table: &Ranges, first: u32) {
    let values: Vec<f32> = (0..).take(BLOCK).map(|i: u32| f32::from_bits(first + i)).collect();
    let literal: Vec<u8> = values.iter().map(|&value| table.number(value.into())).collect();
    let doubles: Vec<f64> = values.iter().map(|&value| value.into()).collect();
    let mut numbers = vec![0; BLOCK];
    for path in Path::all() {
        path.range_numbers_f32(&values, &mut numbers).unwrap();
        assert!(numbers == literal, "single precision, {path}, bits {first:#x} and on");
        path.range_numbers(&doubles, &mut numbers).unwrap();
        assert!(numbers == literal, "double precision, {path}, bits {first:#x} and on");
    }
}
