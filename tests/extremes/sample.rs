use siltcode::class::{ClassSystem, as4059_of_code};
use siltcode::mass::{MassAssumptions, mass_of_spheres};
use siltcode::settling::Liquid;
use siltcode::spectrum::{Curve, Law};
use siltcode::tank::{Sources, Start, Target};
use siltcode::units::{Density, Duration, DynamicViscosity, Length, significant};
use siltcode::{Channel, Code, RangeNumber, Reading, Sample, SizeScale, Spec, Spectrum, bulk};

use super::*;

const SCALES: [SizeScale; 4] = [SizeScale::UmC, SizeScale::UmB, SizeScale::Acftd, SizeScale::Microscope];

/// Spectra of every count that can be, counted, bounded and missing.
fn spectra() -> Vec<Spectrum> {
    let mut spectra = Vec::new();
    for (&count, scale) in pairs(&per_ml(), &SCALES) {
        for reading in [Reading::Count(count), Reading::Below(count), Reading::Above(count), Reading::TooMany]
        {
            let sizes = [4.0, 6.0, 14.0, 1e300].map(|um| Size::new(um, *scale).unwrap());
            let channels = sizes.map(|size| Channel::new(size, reading)).to_vec();
            spectra.extend(Spectrum::cumulative(channels.clone()).ok());
            spectra.extend(Spectrum::differential(channels).ok());
        }
    }
    assert!(spectra.len() > 100);
    spectra
}

#[test]
fn codes_and_classes() {
    for per_ml in per_ml() {
        tried("RangeNumber", per_ml, || (RangeNumber::of(per_ml), RangeNumber::of(per_ml).bounds()));
    }
    for spectrum in spectra() {
        let code = tried("Code", &spectrum, || Code::of(&spectrum));
        if let Ok(code) = code {
            tried("as4059_of_code", code, || as4059_of_code(code));
            tried("ends", code, || (Start::of_code(code).ok(), Target::of_code(code).ok()));
        }
        for (system, scale) in pairs(&ClassSystem::ALL, &SCALES) {
            tried("classify", (&spectrum, system), || system.classify(&spectrum)).ok();
            tried("classify_in", (&spectrum, system, scale), || system.classify_in(&spectrum, *scale)).ok();
        }
    }
}

#[test]
fn spectra_and_laws() {
    let few: Vec<Spectrum> = spectra().into_iter().step_by(7).collect();
    for (one, other) in pairs(&few, &few) {
        tried("less_blank", (one, other), || one.less_blank(other)).ok();
        tried("of runs", (one, other), || Sample::new("x", [one.clone(), other.clone()]).spectrum()).ok();
    }
    for (spectrum, &size) in pairs(&few, &sizes()) {
        tried("between", (spectrum, size), || spectrum.between(size));
        tried("bins", spectrum, || (spectrum.bins(), spectrum.converted(SizeScale::Acftd).ok()));
        tried("endpoints", spectrum, || {
            let sources =
                Sources::NONE.ingress_per_hour(spectrum).and_then(|sources| sources.shedding(spectrum));
            (Start::of_counts(spectrum).ok(), Target::of_counts(spectrum).ok(), sources.ok())
        });
    }
    for (&small, &large) in pairs(&sizes(), &sizes()) {
        for (&count, &more) in pairs(&per_ml(), &per_ml()) {
            for law in [Law::Power, Law::LogLog2] {
                let Ok(curve) = tried("through", (small, large, count, more), || {
                    Curve::through(law, (small, more), (large, count))
                }) else {
                    continue;
                };
                for size in sizes() {
                    tried("at", (curve.law(), small, large, count, more, size), || curve.at(size)).ok();
                }
            }
        }
    }
}

#[test]
fn masses_and_settling() {
    let densities = valid(Density::from_kg_per_m3, &[2650.0]);
    for (spectrum, &density) in pairs(&spectra(), &densities) {
        for &size in &sizes() {
            tried("mass", (spectrum, density, size), || {
                spectrum.mass(MassAssumptions::spheres(density, size))
            })
            .ok();
        }
    }
    for (&count, &size) in pairs(&per_ml(), &sizes()) {
        for &density in &densities {
            tried("mass_of_spheres", (count, size, density), || mass_of_spheres(count, size, density)).ok();
        }
    }
    let (times, heights) = (valid(Duration::from_hours, &[]), valid(Length::from_metres, &[]));
    for (&density, &viscosity) in pairs(&densities, &valid(DynamicViscosity::from_pa_s, &[])) {
        let liquid = Liquid { density, viscosity };
        for (&size, &particle) in pairs(&sizes(), &densities) {
            let Ok(settling) =
                tried("settling", (density, viscosity, size, particle), || liquid.settling(size, particle))
            else {
                continue;
            };
            tried("reads_high", settling, || (settling.reads_high(), settling.speed(), settling.reynolds()));
            for (&time, &height) in pairs(&times, &heights) {
                tried("left", (settling, time, height), || {
                    let left = (settling.left_at_rest(time, height), settling.left_stirred(time, height));
                    (left, settling.time_over(height))
                });
            }
        }
    }
}

#[test]
fn arrays() {
    let mut out = vec![0; NUMBERS.len()];
    tried("range_numbers", (), || bulk::range_numbers(&NUMBERS, &mut out)).unwrap();
    for (number, found) in NUMBERS.iter().zip(&out) {
        assert_eq!(*found, bulk::range_number_of(*number), "{number}");
    }
}

#[test]
fn numbers_are_printed_short() {
    for number in NUMBERS {
        for digits in [0, 1, 6, 17, 400] {
            assert!(significant(number, digits).len() < 440, "{number} {digits}");
        }
        assert!(significant(number, 6).len() < 30, "{number}");
    }
    // No line of any message or answer holds a number of hundreds of digits.
    let mut shown: Vec<String> = per_ml().iter().map(ToString::to_string).collect();
    shown.extend(sizes().iter().map(ToString::to_string));
    shown
        .extend(NUMBERS.iter().filter_map(|&number| PerMl::new(number).err()).map(|error| error.to_string()));
    shown
        .extend(NUMBERS.iter().filter_map(|&number| Size::um_c(number).err()).map(|error| error.to_string()));
    shown
        .extend(NUMBERS.iter().filter_map(|&number| Level::new(number).err()).map(|error| error.to_string()));
    shown.extend(
        NUMBERS.iter().filter_map(|&number| Dilution::new(number).err()).map(|error| error.to_string()),
    );
    shown.extend(
        NUMBERS.iter().filter_map(|&number| CountedVolume::from_ml(number).err()).map(|e| e.to_string()),
    );
    let limit = "title = \"x\"\n[counts]\n\"4 um(c)\" = 1e300\n[companions]\nwater = \"1e300 mg/kg\"\n";
    shown.extend(
        Spec::from_toml(limit).map(|spec| {
            format!("{:?}", spec.requirements.iter().map(|r| r.demand.limit()).collect::<Vec<_>>())
        }),
    );
    for text in shown {
        let longest = text.split(|c: char| !c.is_ascii_digit()).map(str::len).max();
        assert!(longest < Some(25), "{text}");
    }
}
