//! Any text as a specification; one that is read can be said and checked.
#![no_main]

use libfuzzer_sys::fuzz_target;
use siltcode::{Sample, Spec, Spectrum};

fuzz_target!(|text: &str| {
    let Ok(spec) = Spec::from_toml(text) else { return };
    for requirement in &spec.requirements {
        assert!(!requirement.demand.subject().is_empty());
        let _ = requirement.demand.limit();
    }
    let spectrum =
        Spectrum::from_per_ml(&[(4.0, 1752.0), (6.0, 517.0), (14.0, 55.0)]).expect("counts that fall");
    let _ = spec.check(&Sample::new("fuzz", [spectrum]));
});
