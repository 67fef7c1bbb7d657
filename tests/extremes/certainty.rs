use siltcode::certainty::coincidence::Coincidence;
use siltcode::certainty::corrections::{self, Net};
use siltcode::certainty::planner::{self, Sequential};
use siltcode::certainty::poisson::{self, Limits, Method};
use siltcode::certainty::runs::{Criterion, Runs};
use siltcode::certainty::{
    Context, Limit, Odds, OddsByCount, Posterior, Probability, Rule, Scatter, assess, decision, flags, joint,
    precision, ratio,
};
use siltcode::{Channel, Dilution, PerMl, Sample, Size, Spectrum};

use super::*;

const METHODS: [Method; 3] = [Method::Garwood, Method::MidP, Method::Jeffreys];

#[test]
fn limits_of_counts() {
    for (&level, &raw) in pairs(&levels(), &RAW) {
        tried("upper", (raw, level), || poisson::upper(raw, level));
        tried("lower", (raw, level), || poisson::lower(raw, level));
        for method in METHODS {
            tried("limit", (raw, level, method), || poisson::limit(raw, level, method));
        }
    }
    for (&level, method) in pairs(&levels(), &METHODS) {
        let limits = tried("Limits", level, || Limits::new(level, *method));
        for &raw in &RAW {
            tried("of", (raw, level), || limits.of(raw));
        }
        let mut out = Vec::new();
        tried("limits", level, || poisson::limits(&RAW, level, *method, &mut out));
        assert_eq!(out.len(), RAW.len());
    }
}

#[test]
fn counts_compared() {
    let evidence = evidence();
    for (a, b) in pairs(&evidence, &evidence) {
        tried("equal", (a, b), || ratio::equal(a, b));
        tried("equal_by_e_test", (a, b), || ratio::equal_by_e_test(a, b));
        for level in [levels()[0], Level::default()] {
            tried("compare", (a, b, level), || ratio::compare(a, b, level));
        }
        let net = Net::new(Size::um_c(4.0).unwrap(), a, b);
        tried("Net::count", (a, b), || (net.count(), net.per_ml().ok(), net.significance()));
        for level in levels() {
            tried("Net::counts", (a, b, level), || (net.counts(level), net.interval(level)));
        }
        let runs = [*a, *b, *a];
        let Some(runs) = Runs::new(&runs) else { continue };
        tried("Runs", (a, b), || {
            (runs.dispersion(), runs.scatter(), runs.first_differs(), runs.drift(), runs.range())
        });
        for criterion in
            [Criterion::Chance(Level::default()), Criterion::Fraction(0.0), Criterion::Fraction(f64::MAX)]
        {
            tried("spread", (a, b), || (runs.spread(criterion), runs.is_spread_exceeded(criterion)));
        }
    }
}

#[test]
fn posteriors_and_odds() {
    for (evidence, &scatter) in pairs(&evidence(), &scatters()) {
        let posterior = tried("Posterior", (evidence, scatter), || Posterior::new(evidence, scatter));
        for (&low, &high) in pairs(&per_ml(), &per_ml()) {
            tried("between", (evidence, scatter, low, high), || posterior.between(low, high));
        }
        for &at in &per_ml() {
            tried("at_most", (evidence, scatter, at), || (posterior.at_most(at), posterior.above(at)));
        }
        for &level in &levels() {
            tried("interval", (evidence, scatter, level), || {
                (posterior.interval(level), posterior.one_sided(level))
            });
        }
        let odds = tried("Odds", (evidence, scatter), || Odds::of(evidence, scatter));
        tried("row", (evidence, scatter), || (odds.row(), odds.likeliest()));
        tried("OddsByCount", (evidence, scatter), || {
            let mut by_count = OddsByCount::new(evidence.volume, evidence.dilution, scatter);
            let mut rows = vec![[0.0; Odds::NUMBERS]; RAW.len()];
            by_count.write(&RAW, &mut rows).map(|()| rows)
        })
        .unwrap();
        for &blank in &per_ml() {
            let size = Size::um_c(4.0).unwrap();
            tried("diluted", (evidence, scatter, blank), || {
                corrections::diluted(size, evidence, scatter, blank)
                    .map(|corrected| (corrected, corrected.relative()))
            })
            .ok();
        }
    }
}

#[test]
fn verdicts() {
    let sizes = [4.0, 6.0, 14.0].map(|um| Size::um_c(um).unwrap());
    let few: Vec<_> = evidence().into_iter().step_by(5).collect();
    for (evidence, &limit) in pairs(&few, &per_ml()) {
        let channels = sizes.map(|size| Channel::counted(size, *evidence)).to_vec();
        let spectrum = Spectrum::cumulative(channels).unwrap();
        let limits = sizes.map(|size| Limit { size, per_ml: limit });
        let level = Level::default();
        for scatter in [Scatter::NONE, Scatter::from_cv(10.0).unwrap()] {
            tried("meets", (evidence, limit, scatter), || joint::meets(&spectrum, &limits, scatter));
            for rule in [Rule::SimpleAcceptance, Rule::GuardBand(level), Rule::Conformity(level)] {
                tried("decide", (evidence, limit, rule), || {
                    decision::decide(&spectrum, &limits, rule, scatter)
                });
            }
        }
        let sample = Sample::new("x", [spectrum.clone(), spectrum.clone()]);
        let context = Context::default();
        tried("assess", (evidence, limit), || assess(&sample, &spectrum, &context));
        tried("flags", (evidence, limit), || flags::of(&sample, &spectrum, &context));
    }
}

#[test]
fn plans_and_precision() {
    for (&mean, &level) in pairs(&means(), &levels()) {
        tried("most_to_accept", (mean, level), || planner::most_to_accept(mean, level));
        tried("nested", mean, || {
            means().into_iter().map(|larger| precision::nested_correlation(mean, larger)).collect::<Vec<_>>()
        });
        for &scatter in &scatters() {
            tried("guarded", (mean, level, scatter), || {
                let limit = PerMl::new(mean.get()).unwrap();
                (
                    precision::guarded(limit, scatter, level),
                    precision::expanded_in_numbers(scatter, mean).ok(),
                )
            });
            tried("numbers", scatter, || {
                (precision::sd_in_numbers(scatter), precision::difference_in_numbers(scatter, level))
            });
        }
    }
    for &bands in NUMBERS.iter().filter(|bands| !bands.is_nan()) {
        tried("false_accept", bands, || precision::false_accept_at_limit(bands));
    }
    for (&limit, &clean) in pairs(&per_ml(), &per_ml()) {
        for &level in &levels() {
            tried("volume", (limit, clean, level), || planner::volume(limit, clean, level, Level::default()))
                .ok();
        }
        for risk in [0.0, 5e-324, 0.05, 0.4] {
            let risk = Probability::new(risk).unwrap();
            let Ok(sequential) =
                tried("Sequential", (limit, clean), || Sequential::new(clean, limit, risk, risk))
            else {
                continue;
            };
            for (&raw, &volume) in pairs(&RAW, &volumes()) {
                tried("step", (limit, clean, raw, volume), || {
                    (
                        sequential.step(raw, volume),
                        sequential.accept_up_to(volume),
                        sequential.reject_from(volume),
                    )
                });
            }
        }
    }
}

#[test]
fn coincidence() {
    for make in [Coincidence::occupied, Coincidence::dead_time] {
        for (coincidence, &mean) in pairs(&valid(make, &[]), &means()) {
            tried("coincidence", (coincidence, mean), || {
                let observed =
                    (coincidence.observed(mean), coincidence.loss(mean), coincidence.first_order(mean));
                (observed, coincidence.truth(mean).ok(), coincidence.is_near_saturation(mean))
            });
        }
    }
    let dilution = Dilution::new(1e9).unwrap();
    tried("summed", dilution, || evidence().into_iter().reduce(siltcode::Evidence::summed));
}
