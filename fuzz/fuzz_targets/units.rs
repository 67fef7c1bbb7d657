//! Any text as a quantity with its unit, a size, or a list of sizes with values; what is read is printed as what can be
//! read again.
#![no_main]

use std::fmt::{Debug, Display};
use std::str::FromStr;

use libfuzzer_sys::fuzz_target;
use siltcode::filter::Rating;
use siltcode::filter::rating::pairs;
use siltcode::tank::Sources;
use siltcode::units::{
    Density, Duration, DynamicViscosity, Flow, Head, KinematicViscosity, Length, Mass, Pressure, Temperature,
    Volume,
};
use siltcode::{Size, SizeScale};

fn there_and_back<T: FromStr<Err: Debug> + Display>(text: &str) {
    if let Ok(value) = text.parse::<T>() {
        let printed = value.to_string();
        assert!(printed.len() < 64, "{printed}");
        printed.parse::<T>().expect("what is printed can be read");
    }
}

fuzz_target!(|text: &str| {
    there_and_back::<Density>(text);
    there_and_back::<Duration>(text);
    there_and_back::<DynamicViscosity>(text);
    there_and_back::<Flow>(text);
    there_and_back::<Head>(text);
    there_and_back::<KinematicViscosity>(text);
    there_and_back::<Length>(text);
    there_and_back::<Mass>(text);
    there_and_back::<Pressure>(text);
    there_and_back::<Size>(text);
    there_and_back::<SizeScale>(text);
    there_and_back::<Temperature>(text);
    there_and_back::<Volume>(text);
    let _ = (text.parse::<Rating>(), pairs(text), Sources::rates_per_hour(text));
});
