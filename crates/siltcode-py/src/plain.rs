//! Plain Python values to the library's types, and its results to plain Python values.

use pyo3::prelude::*;
use serde::{Deserialize, Serialize};
use siltcode::certainty::poisson::Method;
use siltcode::certainty::runs::Criterion;
use siltcode::certainty::{Context, Level, Rule, Scatter};
use siltcode::intake::{self, Decimal, Form, Limits, Options};
use siltcode::sample::Run;
use siltcode::spectrum::Law;
use siltcode::{
    Basis, Channel, Companion, CountedVolume, Dilution, ErrorKind, Evidence, Field, LeaveOut, PerMl,
    Property, Reading, Sample, Size, SizeScale, Spectrum,
};

use crate::batch::How;
use crate::certainty::counter;
use crate::error::Result;
use crate::given::evidence;

/// A result as dictionaries, lists, numbers and text.
pub(crate) fn out<'py>(py: Python<'py>, value: &impl Serialize) -> Result<Bound<'py, PyAny>> {
    Ok(pythonize::pythonize(py, value)?)
}

pub(crate) fn level(value: f64) -> siltcode::Result<Level> {
    Level::new(value)
}

pub(crate) fn scatter(cv: f64) -> siltcode::Result<Scatter> {
    Scatter::from_cv(cv)
}

/// One of a few words.
fn choice<T: Copy>(given: &str, what: &str, choices: &[(&str, T)]) -> siltcode::Result<T> {
    let found = choices.iter().find(|(name, _)| name.eq_ignore_ascii_case(given.trim()));
    found.map(|(_, value)| *value).ok_or_else(|| {
        let range = choices.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
        ErrorKind::QuantityOutOfRange {
            quantity: what.into(),
            value: given.into(),
            range: format!("one of {range}"),
        }
        .into()
    })
}

pub(crate) fn method(name: &str) -> siltcode::Result<Method> {
    let methods = [("garwood", Method::Garwood), ("mid-p", Method::MidP), ("jeffreys", Method::Jeffreys)];
    choice(name, "interval method", &methods)
}

pub(crate) fn law(name: &str) -> siltcode::Result<Law> {
    choice(name, "law", &[("power", Law::Power), ("log-log2", Law::LogLog2)])
}

pub(crate) fn basis(name: &str) -> siltcode::Result<Basis> {
    let bases = [
        ("mL", Basis::PerMl),
        ("10 mL", Basis::Per10Ml),
        ("10mL", Basis::Per10Ml),
        ("100 mL", Basis::Per100Ml),
        ("100mL", Basis::Per100Ml),
        ("L", Basis::PerL),
        ("raw", Basis::Raw),
    ];
    choice(name, "basis of the counts", &bases)
}

/// The counts of one bottle or run as Python gives them.
#[derive(Deserialize)]
pub(crate) struct SpectrumGiven {
    scale: String,
    per: String,
    #[serde(default)]
    differential: bool,
    channels: Vec<ChannelGiven>,
}

/// One size: a number, a bound in words, or nothing; and what it rests on.
#[derive(Deserialize)]
struct ChannelGiven {
    um: f64,
    reading: Option<ReadingGiven>,
    raw: Option<f64>,
    volume_ml: Option<f64>,
    dilution: Option<f64>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum ReadingGiven {
    Number(f64),
    Words(String),
}

impl SpectrumGiven {
    pub(crate) fn spectrum(&self) -> siltcode::Result<Spectrum> {
        let (scale, basis): (SizeScale, Basis) = (self.scale.parse()?, basis(&self.per)?);
        let channels = self.channels.iter().map(|channel| channel.channel(scale, basis));
        let channels = channels.collect::<siltcode::Result<_>>()?;
        if self.differential { Spectrum::differential(channels) } else { Spectrum::cumulative(channels) }
    }
}

impl ChannelGiven {
    fn channel(&self, scale: SizeScale, basis: Basis) -> siltcode::Result<Channel> {
        let size = Size::new(self.um, scale)?;
        let evidence = self.evidence()?;
        match (&self.reading, evidence) {
            (None, Some(evidence)) => Ok(Channel::counted(size, evidence)),
            (reading, evidence) => {
                let reading = reading.as_ref().map_or(Ok(Reading::NotCounted), |given| given.reading(basis));
                Ok(Channel { size, reading: reading?, evidence })
            }
        }
    }

    fn evidence(&self) -> siltcode::Result<Option<Evidence>> {
        let Some(raw) = self.raw.filter(|raw| !raw.is_nan()) else { return Ok(None) };
        let ml = self.volume_ml.ok_or(ErrorKind::RawWithoutVolume {})?;
        evidence(raw, ml, self.dilution.unwrap_or(1.0)).map(Some)
    }
}

impl ReadingGiven {
    fn reading(&self, basis: Basis) -> siltcode::Result<Reading> {
        let scaled = |value: f64| PerMl::new(value / basis.volume_ml().unwrap_or(1.0));
        let reading = match self {
            Self::Number(value) if value.is_nan() => return Ok(Reading::NotCounted),
            Self::Number(value) => return Ok(Reading::Count(scaled(*value)?)),
            Self::Words(words) => words.parse::<Reading>()?,
        };
        Ok(match reading {
            Reading::Count(value) => Reading::Count(scaled(value.get())?),
            Reading::Below(value) => Reading::Below(scaled(value.get())?),
            Reading::Above(value) => Reading::Above(scaled(value.get())?),
            other => other,
        })
    }
}

/// A bottle: its runs, what else was measured (property and value in words), and notes.
#[derive(Deserialize)]
pub(crate) struct SampleGiven {
    id: String,
    runs: Vec<(Option<String>, SpectrumGiven)>,
    companions: Vec<(String, String)>,
    notes: Vec<(String, String)>,
    fields: Vec<(String, String)>,
    printed: Option<String>,
}

impl SampleGiven {
    pub(crate) fn sample(&self) -> siltcode::Result<Sample> {
        let run = |(label, given): &(Option<String>, SpectrumGiven)| {
            Ok(Run { label: label.clone(), spectrum: given.spectrum()? })
        };
        let companion = |(property, measured): &(String, String)| {
            let property = Property::named(property).unwrap_or_else(|| Property::Microbial(property.clone()));
            Ok(Companion { property, measured: measured.parse()? })
        };
        let field = |(name, text): &(String, String)| {
            let names: Vec<(&str, Field)> =
                Field::ALL.into_iter().map(|field| (field.name(), field)).collect();
            Ok((choice(name, "field of a bottle", &names)?, text.clone()))
        };
        Ok(Sample {
            id: self.id.clone(),
            runs: self.runs.iter().map(run).collect::<siltcode::Result<_>>()?,
            companions: self.companions.iter().map(companion).collect::<siltcode::Result<_>>()?,
            notes: self.notes.clone(),
            fields: self.fields.iter().map(field).collect::<siltcode::Result<_>>()?,
            printed: self.printed.as_deref().map(str::parse).transpose()?,
            source: None,
        })
    }
}

/// What is known of an input beforehand.
#[derive(Deserialize)]
pub(crate) struct OptionsGiven {
    delimiter: Option<String>,
    decimal: Option<String>,
    per: Option<String>,
    scale: Option<String>,
    differential: Option<bool>,
    volume_ml: Option<f64>,
    dilution: Option<f64>,
    sheet: Option<String>,
}

impl OptionsGiven {
    pub(crate) fn options(&self) -> siltcode::Result<Options> {
        let delimiters = [
            (",", b','),
            (";", b';'),
            ("tab", b'\t'),
            ("\t", b'\t'),
            ("|", b'|'),
            ("blanks", intake::BLANKS),
            ("colon", intake::COLON),
        ];
        let delimiter = |given: &String| match delimiters.iter().find(|(name, _)| name == given) {
            Some((_, byte)) => Ok(*byte),
            None => choice(given, "delimiter", &delimiters),
        };
        let form = |differential| if differential { Form::Differential } else { Form::Cumulative };
        let decimals = [(".", Decimal::Dot), (",", Decimal::Comma)];
        Ok(Options {
            delimiter: self.delimiter.as_ref().map(delimiter).transpose()?,
            decimal: self
                .decimal
                .as_ref()
                .map(|given| choice(given, "decimal mark", &decimals))
                .transpose()?,
            basis: self.per.as_deref().map(basis).transpose()?,
            scale: self.scale.as_deref().map(str::parse).transpose()?,
            form: self.differential.map(form),
            volume: self.volume_ml.map(CountedVolume::from_ml).transpose()?,
            dilution: self.dilution.map(Dilution::new).transpose()?,
            sheet: self.sheet.clone(),
            limits: Limits::default(),
            corrections: None,
        })
    }
}

/// How to score, and what else is known.
#[derive(Deserialize)]
pub(crate) struct ScoringGiven {
    level: f64,
    rule: Option<String>,
    #[serde(default)]
    repeatability: Option<f64>,
    #[serde(default)]
    skip_first_run: bool,
    #[serde(default)]
    leave_out: Vec<String>,
    scatter: Option<f64>,
    alarm: Option<f64>,
    spread: Option<f64>,
    method: Option<String>,
    sensing_volumes: Option<f64>,
    dead_time: Option<f64>,
    subtract: Option<SampleGiven>,
    blank: Option<SampleGiven>,
    #[serde(default)]
    classes: Vec<String>,
    convert_to: Option<String>,
}

impl ScoringGiven {
    pub(crate) fn scoring(self) -> siltcode::Result<How> {
        let level = Level::new(self.level)?;
        let alarm = self.alarm.map_or(Ok(Context::default().alarm), Level::new)?;
        let context = Context {
            level,
            scatter: self.scatter.map(Scatter::stated).transpose()?,
            alarm,
            spread: self.spread.map_or(Criterion::Chance(alarm), Criterion::Fraction),
            coincidence: counter(self.sensing_volumes, self.dead_time)?,
            ..Context::default()
        };
        let rule = self.rule.as_deref().map(|name| rule(name, level)).transpose()?;
        let counts = |given: Option<SampleGiven>| given.map(|given| given.sample()?.spectrum()).transpose();
        Ok(How {
            rule,
            subtract: counts(self.subtract)?,
            blank: counts(self.blank)?,
            method: self.method,
            classes: self.classes.iter().map(|name| name.parse()).collect::<siltcode::Result<_>>()?,
            repeatability: self.repeatability.map(Scatter::stated).transpose()?,
            leave_out: LeaveOut {
                skip_first_run: self.skip_first_run,
                named: self.leave_out.iter().map(|run| run.parse()).collect::<siltcode::Result<_>>()?,
            },
            convert_to: self.convert_to.as_deref().map(str::parse).transpose()?,
            context,
        })
    }
}

pub(crate) fn rule(name: &str, level: Level) -> siltcode::Result<Rule> {
    let rules = [
        ("simple-acceptance", Rule::SimpleAcceptance),
        ("guard-band", Rule::GuardBand(level)),
        ("conformity", Rule::Conformity(level)),
    ];
    choice(name, "decision rule", &rules)
}

macro_rules! from_plain_values {
    ($($type:ident)*) => { $(
        impl<'py> ::pyo3::FromPyObject<'_, 'py> for $type {
            type Error = ::pyo3::PyErr;

            fn extract(given: ::pyo3::Borrowed<'_, 'py, ::pyo3::PyAny>) -> ::pyo3::PyResult<Self> {
                Ok(::pythonize::depythonize(&given)?)
            }
        }
    )* };
}

pub(crate) use from_plain_values;

from_plain_values! { SpectrumGiven SampleGiven OptionsGiven ScoringGiven }
