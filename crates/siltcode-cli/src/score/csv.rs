//! Scores as comma-separated values: one line a bottle, for a spreadsheet.

use std::io::{self, Write};

use siltcode::certainty::Interval;
use siltcode::provenance::InputDigest;
use siltcode::{Code, PerMl, Scored, ScoredChannel, SizeScale};

use super::classes::{self, Asked};
use super::report::{Report, Tally};
use crate::held::Held;

const HEADING: [&str; 25] = [
    "id", "iso4406", "scale", "runs", "per_ml_1", "per_ml_2", "per_ml_3", "low_1", "low_2", "low_3",
    "high_1", "high_2", "high_3", "number_1", "number_2", "number_3", "raw_1", "raw_2", "raw_3", "outcome",
    "p", "rule", "deciding", "settle", "flags",
];

/// One line a bottle. The columns 1 to 3 are the sizes of the code in the bottle's scale.
pub(super) struct Csv<W: Write> {
    out: csv::Writer<Held<W>>,
    asked: Asked,
    started: bool,
}

impl<W: Write> Csv<W> {
    pub(super) fn new(out: W, asked: Asked) -> Self {
        Self { out: csv::Writer::from_writer(Held::new(out)), asked, started: false }
    }

    fn start(&mut self) -> io::Result<()> {
        if !self.started {
            let own = HEADING.map(str::to_owned);
            self.out.write_record(own.into_iter().chain(self.asked.headings()))?;
            self.started = true;
        }
        Ok(())
    }
}

impl<W: Write> Report for Csv<W> {
    fn scored(&mut self, scored: &Scored) -> io::Result<()> {
        self.start()?;
        Ok(self.out.write_record(record(scored))?)
    }

    fn finish(mut self: Box<Self>, _: &Tally, _: Vec<InputDigest>) -> io::Result<()> {
        self.start()?;
        let out = self.out.into_inner().map_err(csv::IntoInnerError::into_error)?;
        out.release()
    }
}

fn record(scored: &Scored) -> Vec<String> {
    let places = code_channels(scored);
    let column = |value: fn(&ScoredChannel) -> Option<String>| {
        places.map(|channel| channel.and_then(value).unwrap_or_default())
    };
    let text = |text: Option<String>| text.unwrap_or_default();
    let verdict = scored.verdict.as_ref();
    let mut record = vec![
        scored.id.clone(),
        text(scored.iso4406.map(|code| code.to_string())),
        scored.scale.to_string(),
        scored.runs.to_string(),
    ];
    record.extend(column(|channel| channel.per_ml.is_counted().then(|| channel.per_ml.to_string())));
    let end = |end: fn(&Interval<PerMl>) -> PerMl| {
        places.map(|channel| {
            let interval = channel.and_then(|channel| channel.interval_per_ml.as_ref());
            interval.map(|interval| end(interval).to_string()).unwrap_or_default()
        })
    };
    record.extend(end(|interval| interval.low));
    record.extend(end(|interval| interval.high));
    record.extend(column(|channel| channel.number.map(|number| number.to_string())));
    record.extend(column(|channel| channel.raw.map(|raw| raw.to_string())));
    record.push(text(verdict.map(|verdict| verdict.outcome.to_string())));
    record.push(text(verdict.and_then(|verdict| verdict.p).map(|p| p.to_string())));
    record.push(text(verdict.map(|verdict| verdict.rule.to_string())));
    record.push(text(verdict.and_then(|verdict| verdict.deciding.clone())));
    record.push(text(verdict.and_then(|verdict| verdict.settle).map(|settle| settle.to_string())));
    record.push(scored.flags.iter().map(|flag| flag.code).collect::<Vec<_>>().join(" "));
    record.extend(scored.classes.iter().flat_map(classes::cells));
    record
}

/// The channels at the code's three sizes, in the bottle's own scale.
pub(super) fn code_channels(scored: &Scored) -> [Option<&ScoredChannel>; 3] {
    let sizes: [Option<f64>; 3] = Code::sizes_um(scored.scale);
    let scale: SizeScale = scored.scale;
    sizes.map(|um| {
        let same = |channel: &&ScoredChannel| Some(channel.size.um()) == um && channel.size.scale() == scale;
        scored.channels.iter().find(same)
    })
}
