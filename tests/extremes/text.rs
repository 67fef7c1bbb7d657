use siltcode::class::{ClassRange, ClassSystem, Designation};
use siltcode::filter::Rating;
use siltcode::filter::rating::pairs as read_pairs;
use siltcode::intake::{self, Options};
use siltcode::plan::Job;
use siltcode::tank::Sources;
use siltcode::units::{Density, Duration, Flow, Length, Mass, Pressure, Temperature, Volume};
use siltcode::{Code, RangeNumber, SizeScale, Spec};

use super::*;

/// Texts of numbers and of nothing.
fn texts() -> Vec<String> {
    let long =
        ["9", "(", "1e", "4:3,", "18/16/13 ", "[[", "µ", "\u{202e}", "\0"].map(|part| part.repeat(20_000));
    let short = [
        "",
        " ",
        "-",
        "1e308",
        "-1e308",
        "5e-324",
        "1e309",
        "NaN",
        "inf",
        "1e999999999999",
        "0x10",
        "1/2/3",
        ">>28",
        "*/*/*",
        "99999999999999999999/1/0",
        "000",
        ">12",
        "9A/8B/7C",
        "4:1e308",
        "4:1..1e308",
        "14:>1e308",
        "4:1 per 0 h",
        "1e308 m3",
        "1e308 gpm",
        "-273.16 degC",
        "1e308 h",
        "5e-324 kg",
        "4 um(c)",
        "1e308 um(c)",
        "18/16/13\n",
        "１８/16/13",
    ];
    long.into_iter().chain(short.map(str::to_owned)).collect()
}

/// The first characters of a text, for a message.
fn begun(text: &str) -> String {
    text.chars().take(30).collect()
}

/// Reads every text as this.
fn read<T: std::str::FromStr + Debug>(name: &str) {
    for text in texts() {
        let ends =
            tried(name, begun(&text), || text.parse::<T>().map(|value| format!("{value:?}").len()).is_ok());
        let _ = ends;
    }
}

#[test]
fn texts_are_read_or_refused() {
    read::<Code>("Code");
    read::<RangeNumber>("RangeNumber");
    read::<SizeScale>("SizeScale");
    read::<Size>("Size");
    read::<Rating>("Rating");
    read::<ClassRange>("ClassRange");
    read::<ClassSystem>("ClassSystem");
    read::<Designation>("Designation");
    read::<Volume>("Volume");
    read::<Flow>("Flow");
    read::<Pressure>("Pressure");
    read::<Temperature>("Temperature");
    read::<Duration>("Duration");
    read::<Length>("Length");
    read::<Mass>("Mass");
    read::<Density>("Density");
    for text in texts() {
        tried("pairs", begun(&text), || read_pairs(&text)).ok();
        tried("rates", begun(&text), || Sources::rates_per_hour(&text)).ok();
        tried("spec", begun(&text), || Spec::from_toml(&text)).ok();
        tried("job", begun(&text), || Job::from_toml(&text)).ok();
    }
}

#[test]
fn counts_of_every_size_are_read() {
    for number in NUMBERS {
        let text = format!(
            "bottle,volume mL,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,{number:e},{number:e},{number},1\n"
        );
        tried("intake", number, || intake::read("x", text.as_bytes(), &Options::default())).ok();
    }
}
