//! `siltcode passes`: turnovers and hours from a start to a target.

mod chart;
mod report;

use siltcode::class::iso4406::Code;
use siltcode::filter::{Challenge, Rating, Share};
use siltcode::tank::forecast::{limits, upper_bounds};
use siltcode::tank::{Channel, Doubt, Ensemble, Forecast, Plant};
use siltcode::units::{Flow, Volume};
use siltcode::{PerMl, Size, Spectrum};

use crate::ListFormat;
use crate::exit::{Exit, Failure};
use crate::held::Held;
use crate::score::read_spec;
use crate::tables::json;

/// Work out the tank turnovers and hours from a start to a target.
#[derive(clap::Args)]
#[command(
    after_help = "Quantities carry their unit, SI or US customary: \"18 m3\", \"4750 gal\", \"60 L/min\", \"16 gpm\".\n\
    Exit status: 0 the target can be reached, 1 it cannot, 2 the request could not be used.\n\n\
    Examples:\n  \
    siltcode passes --from 22/20/17 --to 18/16/13 --tank \"18 m3\" --flow \"60 L/min\" \\\n      \
    --beta 4:3,6:20,14:1000\n  \
    siltcode passes --from 4:30000,6:9000,14:900 --to 18/16/13 --tank \"4750 gal\" --flow \"16 gpm\" \\\n      \
    --beta 4:10,6:75,14:1000 --ingress 4:30,6:5,14:0.2 --beta-spread 1.5 --mixing 1.2 --mixing-spread 1.2"
)]
pub(crate) struct Args {
    /// The start: a code, whose upper bounds are used, or counts per mL at sizes in um(c), 4:30000,6:9000,14:900.
    #[arg(long, value_name = "CODE|COUNTS")]
    from: String,

    /// The target: a code, a published name, a TOML file, or counts per mL at sizes.
    #[arg(long, value_name = "SPEC|COUNTS")]
    to: String,

    /// The fluid in the tank, with its unit.
    #[arg(long, value_name = "VOLUME")]
    tank: String,

    /// The flow through the filter, with its unit.
    #[arg(long, value_name = "FLOW")]
    flow: String,

    /// The filtration ratios at rated sizes in um(c), 4:3,6:20,14:1000.
    #[arg(long, value_name = "RATIOS")]
    beta: String,

    /// Particles per mL of tank that come in each hour, at and above sizes, 4:30,6:5,14:0.2.
    #[arg(long, value_name = "RATES")]
    ingress: Option<String>,

    /// The share of the flow that avoids the medium.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0)]
    bypass: f64,

    /// The share of the return that goes straight to the suction.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0)]
    short_circuit: f64,

    /// The factor by which mixing lengthens the ideal turnovers.
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    mixing: f64,

    /// The spread of the mixing factor, as a geometric standard deviation.
    #[arg(long, value_name = "GSD", default_value_t = 1.0)]
    mixing_spread: f64,

    /// The spread of beta - 1, as a geometric standard deviation.
    #[arg(long, value_name = "GSD", default_value_t = 1.0)]
    beta_spread: f64,

    /// The spread of the start, as a geometric standard deviation.
    #[arg(long, value_name = "GSD", default_value_t = 1.0)]
    start_spread: f64,

    /// The spread of the ingress, as a geometric standard deviation.
    #[arg(long, value_name = "GSD", default_value_t = 1.0)]
    ingress_spread: f64,

    /// How to print.
    #[arg(long, value_name = "FORMAT", default_value = "table")]
    format: ListFormat,
}

/// Everything a report tells.
struct Answer {
    forecast: Forecast,
    ensemble: Ensemble,
    plant: Plant,
    rating: Rating,
    assumptions: Vec<String>,
}

pub(crate) fn run(args: &Args) -> Result<Exit, Failure> {
    let answer = args.answer()?;
    let mut out = Held::new(anstream::stdout().lock());
    match args.format {
        ListFormat::Table => report::table(&mut out, &answer)?,
        ListFormat::Json => json(&mut out, &report::document(&answer)?)?,
    }
    out.release()?;
    Ok(if answer.forecast.turnovers().is_some() { Exit::Done } else { Exit::NotAllConform })
}

impl Args {
    fn answer(&self) -> Result<Answer, Failure> {
        let plant = Plant {
            bypass: Share::new(self.bypass)?,
            short_circuit: Share::new(self.short_circuit)?,
            ..Plant::new(self.tank.parse::<Volume>()?, self.flow.parse::<Flow>()?)?
        };
        let rating: Rating = self.beta.parse()?;
        let target = match counts(&self.to)? {
            Some(counts) => counts,
            None => limits(&read_spec(&self.to)?)?,
        };
        let ingress = self.ingress.as_deref().map(rates).transpose()?.unwrap_or_default();
        let dust = Challenge::iso_medium_test_dust();
        let forecast = Forecast::new(&self.start()?, &target, &rating, &dust, &ingress, &plant)?;
        let channels: Vec<Channel> =
            forecast.channels.iter().map(|channel| channel.channel.clone()).collect();
        let ensemble = Ensemble::new(&channels, self.doubt()?);
        Ok(Answer { forecast, ensemble, plant, rating, assumptions: self.assumptions() })
    }

    fn start(&self) -> Result<Vec<(Size, PerMl)>, Failure> {
        match counts(&self.from)? {
            Some(counts) => Ok(counts),
            None => Ok(upper_bounds(self.from.parse::<Code>()?)?),
        }
    }

    fn doubt(&self) -> Result<Doubt, Failure> {
        Ok(Doubt::NONE
            .start(self.start_spread)?
            .beta(self.beta_spread)?
            .ingress(self.ingress_spread)?
            .mixing(self.mixing, self.mixing_spread)?)
    }

    fn assumptions(&self) -> Vec<String> {
        let mut said = vec![
            "the tank is stirred and full, the flow constant, nothing settles".to_owned(),
            "the ratios were measured with ISO medium test dust (centres of its windows at 10 mg/L) and hold \
             in each bin of sizes"
                .to_owned(),
        ];
        if !self.from.contains(':') {
            said.push("the start is a code: the upper bounds of its numbers are used".to_owned());
        }
        if self.ingress.is_none() {
            said.push("no ingress was stated: nothing comes in".to_owned());
        }
        let spreads = [self.mixing_spread, self.beta_spread, self.start_spread, self.ingress_spread];
        said.push(if spreads.iter().all(|&spread| spread <= 1.0) {
            "no spread was stated: the planning values hold no doubt at all".to_owned()
        } else {
            "start, beta - 1, ingress and mixing are lognormal and independent".to_owned()
        });
        said
    }
}

/// Counts at sizes, if the text is a list of them: checked as a spectrum is.
fn counts(text: &str) -> Result<Option<Vec<(Size, PerMl)>>, Failure> {
    if !text.contains(':') || text.contains(['/', '\\']) {
        return Ok(None);
    }
    let spectrum = Spectrum::from_per_ml(&siltcode::filter::rating::pairs(text)?)?;
    Ok(Some(siltcode::tank::forecast::at_most(&spectrum)?))
}

fn rates(text: &str) -> Result<Vec<(Size, PerMl)>, Failure> {
    let plain = text.trim().trim_end_matches("per h").trim_end_matches("/h");
    let spectrum = Spectrum::from_per_ml(&siltcode::filter::rating::pairs(plain)?)?;
    Ok(siltcode::tank::forecast::at_most(&spectrum)?)
}
