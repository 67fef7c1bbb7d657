//! What `siltcode passes` is asked, read into the library's own terms.

use siltcode::certainty::Interval;
use siltcode::filter::rating::pairs;
use siltcode::filter::{BetaAt, Challenge, Efficiency, Element, Kind, Rating, Share, Stage, Train};
use siltcode::tank::{
    Channel, DeadZone, Decline, Doubt, Ensemble, Forecast, Mixing, MixingFactor, Plant, Sources, Target,
};
use siltcode::units::Flow;
use siltcode::{Size, Spectrum};

use super::{Answer, Args, Falling, Spread};
use crate::failure::{Failure, Refusal};
use crate::score::read_spec;
use crate::start::{From, counts};

/// The efficiencies of a train in bins: the least or the best its ratings allow.
type Bins = fn(&Train, &[Size], &Challenge) -> siltcode::Result<Vec<Efficiency>>;

impl Args {
    pub(super) fn answer(&self) -> Result<Answer, Failure> {
        let (from, target, plant) = (self.start()?, self.target()?, self.plant()?);
        let (ratings, sources) = (self.ratings()?, self.sources()?);
        let (train, dust) = (train(&ratings, plant.flow)?, Challenge::iso_medium_test_dust());
        let forecast = |bins: Bins| {
            Forecast::new(&from.start, &target, |sizes| bins(&train, sizes, &dust), &sources, &plant)
        };
        let best = forecast(Train::bins_at_best).ok().and_then(|best| best.turnovers());
        let forecast = forecast(Train::bins_at_worst)?;
        let channels: Vec<Channel> =
            forecast.channels.iter().map(|channel| channel.channel.clone()).collect();
        let doubtful = self.stated_doubt() || from.start.log_sd().iter().any(|&sd| sd > 0.0);
        Ok(Answer {
            assumptions: self.assumptions(&forecast, &ratings, &from, doubtful)?,
            ensemble: Ensemble::new(&channels, self.doubt()?),
            falling: self.falling(&forecast)?,
            beta_spread: self.spread_of_beta(&forecast, &train, &dust),
            forecast,
            best,
            train,
            doubtful,
            within: self.within.as_deref().map(str::parse).transpose()?,
            inputs: from.inputs,
            said: vec![self.from.clone(), self.to.clone()],
            unverified: target.is_unverified(),
            specification: target.specification().cloned(),
        })
    }

    /// The time it takes while the flow falls.
    fn falling(&self, forecast: &Forecast) -> Result<Option<Falling>, Failure> {
        let (Some(to), Some(over)) = (&self.falls_to, &self.falls_over) else { return Ok(None) };
        let (to, over) = (to.parse()?, over.parse()?);
        let time = forecast.time_declining(&Decline::new(&forecast.plant, to, over)?)?;
        Ok(Some(Falling { to, over, time }))
    }

    /// The ratio at and above the deciding size in two cases of three, where the test dust holds it.
    fn spread_of_beta(&self, forecast: &Forecast, train: &Train, dust: &Challenge) -> Option<Spread> {
        let size = forecast.deciding().size;
        let sizes: Vec<Size> =
            forecast.channels.iter().map(|channel| channel.size).filter(|at| at.um() >= size.um()).collect();
        let bins = train.bins_at_worst(&sizes, dust).ok()?;
        let ratio = |factor: f64| {
            let bins: Vec<_> = bins.iter().map(|bin| bin.excess_times(factor)).collect();
            dust.ratio(&sizes, &bins).ok()
        };
        let factor = self.beta_spread;
        let (low, high) = (ratio(1.0 / factor)?, ratio(factor)?);
        (factor > 1.0).then_some(Spread { factor, size_um_c: size.um(), low, high })
    }

    fn start(&self) -> Result<From, Failure> {
        From::read(&self.from, self.bottle.as_deref(), self.counted.as_deref())
    }

    fn target(&self) -> Result<Target, Failure> {
        let target = match counts(&self.to)? {
            Some(counts) => Target::of_counts(&Spectrum::from_per_ml(&counts)?)?,
            None => Target::of_spec(&read_spec(&self.to)?)?,
        };
        Ok(target.with_margin(self.margin)?)
    }

    fn plant(&self) -> Result<Plant, Failure> {
        let plant = Plant::new(self.tank.parse()?, self.flow.parse()?)?;
        let (bypass, short_circuit) = (Share::new(self.bypass)?, Share::new(self.short_circuit)?);
        let mixing_factor = MixingFactor::new(self.mixing)?;
        Ok(Plant { bypass, short_circuit, mixing: self.mixing()?, mixing_factor, ..plant })
    }

    fn mixing(&self) -> Result<Mixing, Failure> {
        let Some(zone) = &self.dead_zone else { return Ok(self.cells.map_or(Mixing::Well, Mixing::Cells)) };
        let unreadable = || {
            let hint = "write the share of the tank and the exchange as a share of the flow: 0.2:0.1";
            Failure::new(Refusal::DeadZoneUnreadable, format!("`{zone}` is not a dead zone"), hint)
        };
        let (dead, exchange) = zone.split_once(':').ok_or_else(unreadable)?;
        let share =
            |text: &str| Ok::<_, Failure>(Share::new(text.trim().parse().map_err(|_| unreadable())?)?);
        Ok(Mixing::DeadZone(DeadZone::new(share(dead)?, share(exchange)?)?))
    }

    fn ratings(&self) -> Result<Vec<Rating>, Failure> {
        let rating = |text: &String| Ok(text.parse::<Rating>()?.derated(self.derate)?);
        self.beta.iter().map(rating).collect()
    }

    fn sources(&self) -> Result<Sources, Failure> {
        let mut sources = Sources::NONE;
        if let Some(text) = &self.ingress {
            sources = sources.ingress_per_hour(&Sources::rates_per_hour(text)?)?;
        }
        if let Some(text) = &self.shedding {
            sources = sources.shedding(&Spectrum::from_per_ml(&pairs(text)?)?)?;
        }
        Ok(sources)
    }

    fn stated_doubt(&self) -> bool {
        [self.mixing_spread, self.beta_spread, self.start_spread, self.ingress_spread]
            .iter()
            .any(|&factor| factor > 1.0)
    }

    /// The causes of doubt that nothing was said about.
    fn taken_as_certain(&self, from: &From) -> Vec<&'static str> {
        let start_doubted = self.start_spread > 1.0 || from.start.log_sd().iter().any(|&sd| sd > 0.0);
        let stated = [
            (start_doubted, "the start"),
            (self.beta_spread > 1.0, "beta"),
            (self.ingress_spread > 1.0 || self.ingress.is_none(), "the ingress"),
            (self.mixing_spread > 1.0, "mixing"),
        ];
        stated.into_iter().filter_map(|(stated, cause)| (!stated).then_some(cause)).collect()
    }

    fn doubt(&self) -> Result<Doubt, Failure> {
        let doubt = Doubt::NONE.start(self.start_spread)?.beta(self.beta_spread)?;
        Ok(doubt.ingress(self.ingress_spread)?.mixing(self.mixing_spread)?)
    }

    fn assumptions(
        &self,
        forecast: &Forecast,
        ratings: &[Rating],
        from: &From,
        doubtful: bool,
    ) -> Result<Vec<String>, Failure> {
        let mut said: Vec<String> = forecast.assumptions.iter().map(ToString::to_string).collect();
        said.extend(from.guessed.iter().cloned());
        said.push(
            "the ratios were measured with ISO medium test dust: the centres of its windows at 10 mg/L"
                .to_owned(),
        );
        for rating in ratings {
            let least = forecast.channels[0].size.um();
            let sizes = from.start.counts().iter().map(|&(size, _)| size);
            for size in sizes.filter(|size| size.um() >= least) {
                said.extend(unrated(size, rating.at(size)?));
            }
        }
        if self.derate <= 1.0 {
            said.push("the filter does in service what it did in its test: beta is not derated".to_owned());
        }
        if doubtful {
            said.push(
                "start, beta - 1 of each bin of sizes, ingress and mixing are lognormal and independent"
                    .to_owned(),
            );
        }
        let certain = self.taken_as_certain(from);
        if !certain.is_empty() {
            said.push(format!("no doubt was stated of {}: taken as certain", certain.join(", ")));
        }
        Ok(said)
    }
}

/// Elements one behind the other.
fn train(ratings: &[Rating], flow: Flow) -> Result<Train, Failure> {
    let stage = |rating: &Rating| Ok(Stage::of(Element::new(Kind::Cartridge, flow, Some(rating.clone()))?));
    let stages = ratings.iter().map(stage).collect::<siltcode::Result<_>>()?;
    Ok(Train::new(stages)?)
}

/// What is used of a ratio where the filter is not rated at the size.
fn unrated(size: Size, found: BetaAt) -> Option<String> {
    match found {
        BetaAt::Between(between) => {
            let [a, b, c] = between.map(|beta| beta.to_string());
            let used = found.working()?;
            Some(format!("beta at {size} is interpolated: {a}, {b} or {c} by three rules, {used} is used"))
        }
        BetaAt::AtMost(most) => Some(format!(
            "beta at {size} lies below the smallest rated size, between 1 and {most}: at worst nothing smaller than \
             that size is held back"
        )),
        BetaAt::AtLeast(bound) => Some(format!("beta at {size} is at least {bound}, and {bound} is used")),
        BetaAt::Within(Interval { low, high }) => {
            Some(format!("beta at {size} is within {low} and {high}, and {low} is used"))
        }
        BetaAt::Rated(_) => None,
    }
}
