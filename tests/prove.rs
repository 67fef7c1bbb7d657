//! Proofs by trying everything. They take a minute, so `make prove` runs them and the daily tests do not.

use siltcode::bulk::Path;
use siltcode_tests::Ranges;

/// Bit patterns tried at a time.
const BLOCK: usize = 1 << 20;

#[test]
#[ignore = "takes a minute: make prove"]
fn every_single_precision_float_reads_the_table_literally() {
    on_all_threads((1 << 32) / BLOCK as u64, |table, block| {
        prove_block(table, u32::try_from(block * BLOCK as u64).unwrap());
    });
}

/// Sign, exponent and the highest sixteen bits of the fraction, which decide most doubles, with the rest of the bits at
/// both ends and beside them.
#[test]
#[ignore = "takes a minute: make prove"]
fn every_beginning_of_a_double_reads_the_table_literally() {
    const REST_BITS: u32 = 36;
    const RESTS: [u64; 4] = [0, 1, 1 << (REST_BITS - 1), (1 << REST_BITS) - 1];
    let beginnings = (BLOCK / RESTS.len()) as u64;
    on_all_threads((1 << (u64::BITS - REST_BITS)) / beginnings, |table, block| {
        let beginnings = block * beginnings..(block + 1) * beginnings;
        let bits = beginnings.flat_map(|beginning| RESTS.map(|rest| beginning << REST_BITS | rest));
        let doubles: Vec<f64> = bits.map(f64::from_bits).collect();
        let literal: Vec<u8> = doubles.iter().map(|&value| table.number(value)).collect();
        let mut numbers = vec![0; BLOCK];
        for path in Path::all() {
            path.range_numbers(&doubles, &mut numbers).unwrap();
            assert!(numbers == literal, "{path}, block {block}");
        }
    });
}

fn on_all_threads(blocks: u64, prove: impl Fn(&Ranges, u64) + Sync) {
    let table = Ranges::default();
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    std::thread::scope(|scope| {
        for thread in 0..threads as u64 {
            let (table, prove) = (&table, &prove);
            scope.spawn(move || (thread..blocks).step_by(threads).for_each(|block| prove(table, block)));
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
