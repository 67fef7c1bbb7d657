//! Any text as a code, a class or a designation: what is read is printed, and reads back as the same.
#![no_main]

use std::fmt::{Debug, Display};
use std::str::FromStr;

use libfuzzer_sys::fuzz_target;
use siltcode::class::{ClassRange, Designation, as4059_of_code};
use siltcode::tank::{Start, Target};
use siltcode::{Code, RangeNumber};

fn there_and_back<T: FromStr<Err: Debug> + Display + PartialEq + Debug>(text: &str) -> Option<T> {
    let value = text.parse::<T>().ok()?;
    let again = value.to_string().parse::<T>().expect("what is printed can be read");
    assert_eq!(value, again);
    Some(value)
}

fuzz_target!(|text: &str| {
    there_and_back::<RangeNumber>(text);
    there_and_back::<ClassRange>(text);
    there_and_back::<Designation>(text);
    if let Some(code) = there_and_back::<Code>(text) {
        let _ = (as4059_of_code(code), Start::of_code(code), Target::of_code(code));
    }
});
