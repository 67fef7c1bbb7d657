//! What the rows of a table mean, decided for the whole table before the first row is read: what counts refer to, the
//! scale of the sizes, cumulative or not, the counted volume, and how decimals are marked.
//!
//! Each is decided by what the file says, and only by that. Where nothing decides, or two places disagree, and the
//! readings give different codes, the table is refused and both readings are named.

use super::heading;
use super::layout::{CountColumns, Layout};
use super::lines::Record;
use super::number::{self, Cell, Marks};
use super::options::{Decimal, Form, Options};
use super::row::{cell_basis, unit_of_row};
use super::statement::{self, Context};
use super::statistic::statistic;
use super::table::{is_count, is_run_label};
use super::words;
use crate::class::iso4406::{Code, Place, RangeNumber};
use crate::count::{Basis, CountedVolume, Dilution};
use crate::error::{Error, ErrorKind, Result};
use crate::field::Field;
use crate::size::{Size, SizeScale};

/// A table whose meaning is settled.
#[derive(Debug, Clone)]
pub(super) struct Settled {
    pub(super) layout: Layout,
    pub(super) marks: Marks,
    /// The counted volume and the dilution of every row that does not say its own.
    pub(super) volume: Option<CountedVolume>,
    pub(super) dilution: Option<Dilution>,
    /// Concentrations are of the fluid as diluted.
    pub(super) as_diluted: bool,
    /// What was taken without being said.
    pub(super) assumed_scale: bool,
    /// A column whose heading does not say that it names bottles was taken for their names.
    pub(super) named_by: Option<usize>,
    /// Numbers above a thousand are written without marks, so a mark in one is none of thousands.
    pub(super) ungrouped: bool,
    /// What the headings do not say themselves, as names and values of options.
    pub(super) read_as: Vec<(&'static str, String)>,
}

/// Everything a table is settled by.
pub(super) struct Evidence<'a> {
    /// What is said above and below it.
    pub(super) context: &'a Context,
    /// Its first rows.
    pub(super) rows: &'a [Record],
    /// The names of its columns.
    pub(super) names: &'a [String],
    pub(super) options: &'a Options,
}

/// Settles a table.
///
/// # Errors
/// `basis-not-stated`, `basis-contradicted`, `scale-not-stated`, `scale-contradicted`, `form-contradicted`,
/// `volume-contradicted`, `dilution-unclear`, `decimal-undecided`: nothing decides between two readings.
pub(super) fn settle(mut layout: Layout, evidence: &Evidence<'_>) -> Result<Settled> {
    let mut read_as = Vec::new();
    let named_by = find_names(&mut layout, evidence.rows);
    find_units(&mut layout, evidence.rows);
    if evidence.context.says_range_numbers() && evidence.options.basis.is_none() {
        layout.take_range_numbers(|layout| all_range_numbers(layout, evidence.rows));
    }
    if !layout.holds_counts() {
        let marks = evidence.options.decimal.map_or(Marks::Mixed, Marks::Given);
        return Ok(Settled {
            layout,
            marks,
            volume: None,
            dilution: None,
            as_diluted: false,
            assumed_scale: false,
            named_by,
            ungrouped: false,
            read_as,
        });
    }
    ensure_counts_are_named(&layout, evidence)?;
    find_runs(&mut layout, evidence.rows);
    let marks = settle_marks(&layout, evidence)?;
    settle_form(&mut layout, evidence, &mut read_as)?;
    let assumed_scale = settle_scale(&mut layout, evidence, &mut read_as)?;
    let volume = settle_volume(&layout, evidence, marks, &mut read_as)?;
    settle_basis(&mut layout, evidence, marks, volume, &mut read_as)?;
    let dilution = settle_dilution(&layout, evidence, &mut read_as)?;
    if let Some(decimal) = marks.decimal() {
        read_as.push(("decimal", if decimal == Decimal::Comma { "comma" } else { "dot" }.to_owned()));
    }
    let ungrouped = writes_thousands_plainly(&layout, evidence.rows);
    let as_diluted = evidence.context.is_of_fluid_as_diluted();
    if as_diluted {
        read_as.push(("diluted", "yes".to_owned()));
    }
    Ok(Settled { layout, marks, volume, dilution, as_diluted, assumed_scale, named_by, ungrouped, read_as })
}

/// In a table without a column of names, the first column of words left of the counts is taken for it.
fn find_names(layout: &mut Layout, rows: &[Record]) -> Option<usize> {
    if layout.id.is_some() || rows.is_empty() || matches!(layout.counts, CountColumns::Across { .. }) {
        return None;
    }
    let first_count = layout.count_columns().into_iter().min()?;
    let holds_names = |column: usize| {
        let names = rows.iter().filter_map(|row| row.text(Some(column)));
        let worded = |text: &&str| text.contains(char::is_alphabetic) && !names_run(text);
        5 * names.clone().filter(worded).count() >= 4 * rows.len() && names.count() > 0
    };
    let at = layout.notes.iter().position(|&column| column < first_count && holds_names(column))?;
    let column = layout.notes.remove(at);
    layout.id = Some(column);
    layout.named_by_place = true;
    Some(column)
}

/// A column `unit` that holds no unit of counts names a machine.
fn find_units(layout: &mut Layout, rows: &[Record]) {
    let Some(column) = layout.unit else { return };
    let mut cells = rows.iter().filter_map(|row| row.text(Some(column))).peekable();
    if cells.peek().is_none() || cells.any(|text| unit_of_row(text).is_ok()) {
        return;
    }
    layout.unit = None;
    layout.fields.push((column, Field::Equipment));
    if layout.id.is_none() {
        layout.id = Some(column);
        layout.named_by_place = true;
    }
}

/// A column of counts whose heading is empty may be a size between its neighbours.
fn ensure_counts_are_named(layout: &Layout, evidence: &Evidence<'_>) -> Result<()> {
    let Some(column) = layout.unnamed_among_counts(evidence.names) else { return Ok(()) };
    let holds_counts = evidence.rows.iter().any(|row| row.cells.get(column).is_some_and(is_count));
    if holds_counts { Err(ErrorKind::HeadingEmpty { column: column + 1 }.into()) } else { Ok(()) }
}

/// Whether numbers of four digits and more are written without a mark between thousands.
fn writes_thousands_plainly(layout: &Layout, rows: &[Record]) -> bool {
    let columns = layout.count_columns();
    let cells = rows.iter().flat_map(|row| columns.iter().filter_map(|&column| row.text(Some(column))));
    let whole = |cell: &str| cell.bytes().take_while(u8::is_ascii_digit).count();
    cells.filter(|cell| whole(cell) >= 4).count() > 0
}

/// A column that its heading does not name, but whose cells are labels of runs and names of summaries, is that of runs.
fn find_runs(layout: &mut Layout, rows: &[Record]) {
    if layout.run.is_some() || rows.is_empty() {
        return;
    }
    let labels = |column: usize| {
        let is_run = |text: &str| names_run(text) && text.len() > 2;
        let cells = || rows.iter().filter_map(|row| row.text(Some(column)));
        cells().any(is_run) && cells().all(|text| is_run(text) || statistic(text).is_some())
    };
    if let Some(at) = layout.notes.iter().position(|&column| labels(column)) {
        layout.run = Some(layout.notes.remove(at));
    }
}

/// Whether a text names a run by a word (`Run 2`, `R2`, `2nd pass`), as no name of a bottle or of a machine does.
fn names_run(text: &str) -> bool {
    let folded = words::fold(text);
    let is_word = |word: &&str| word.starts_with(char::is_alphabetic);
    let mut words_of = folded
        .split(|c: char| !c.is_alphabetic())
        .filter(is_word)
        .filter(|word| !matches!(*word, "st" | "nd" | "rd" | "th"));
    let first = words_of.next();
    is_run_label(text) && first.is_some_and(|word| word == "r" || words::is("run", word))
}

/// A table that could not be settled: its rows are only kept, not read.
pub(super) fn unsettled(layout: Layout) -> Settled {
    Settled {
        layout,
        marks: Marks::Mixed,
        volume: None,
        dilution: None,
        as_diluted: false,
        assumed_scale: false,
        named_by: None,
        ungrouped: false,
        read_as: Vec::new(),
    }
}

/// Two places that say different things, each with its line.
type Disagreement<T> = [(u64, T); 2];

/// The one value that several places say, or the two that differ, each with its line.
fn agreed<T: PartialEq + Copy>(said: &[(u64, T)]) -> std::result::Result<Option<(u64, T)>, Disagreement<T>> {
    let Some(&first) = said.first() else { return Ok(None) };
    match said.iter().find(|(_, other)| *other != first.1) {
        Some(&second) => Err([first, second]),
        None => Ok(Some(first)),
    }
}

fn settle_form(
    layout: &mut Layout,
    evidence: &Evidence<'_>,
    read_as: &mut Vec<(&'static str, String)>,
) -> Result<()> {
    if let Some(form) = evidence.options.form {
        layout.set_form(form);
        read_as.push(("form", form_name(form).into()));
        return Ok(());
    }
    let contradicted =
        |first: String, second: String| Err(ErrorKind::FormContradicted { first, second }.into());
    let in_line = |(line, form): (u64, Form)| format!("line {line} says that counts are {}", form_name(form));
    let said = match agreed(&evidence.context.forms()) {
        Err([first, second]) => return contradicted(in_line(first), in_line(second)),
        Ok(said) => said,
    };
    let Some((line, form)) = said else { return Ok(()) };
    let banded = holds_bands(layout, evidence.rows).then_some(Form::Differential);
    let own = layout.said.form.or(banded).or(layout.said.compared.then_some(Form::Cumulative));
    match own {
        Some(own) if own != form => {
            let how = if layout.said.form.is_none() { "at and above a size" } else { form_name(own) };
            contradicted(format!("the headings say that counts are {how}"), in_line((line, form)))
        }
        Some(_) => Ok(()),
        None => {
            layout.set_form(form);
            read_as.push(("form", form_name(form).into()));
            Ok(())
        }
    }
}

/// Whether rows name bands, such as `4-6`.
fn holds_bands(layout: &Layout, rows: &[Record]) -> bool {
    let (CountColumns::Long { size, .. } | CountColumns::Across { size, .. }) = &layout.counts else {
        return false;
    };
    let band = |row: &Record| heading::counts(row.cells.get(*size)?)?.size?.1;
    rows.iter().any(|row| band(row).is_some())
}

const fn form_name(form: Form) -> &'static str {
    match form {
        Form::Cumulative => "cumulative",
        Form::Differential => "differential",
    }
}

/// Settles the scale; whether it was taken because the sizes are those of ISO 4406.
fn settle_scale(
    layout: &mut Layout,
    evidence: &Evidence<'_>,
    read_as: &mut Vec<(&'static str, String)>,
) -> Result<bool> {
    if let Some(scale) = evidence.options.scale {
        layout.set_scale(scale)?;
        read_as.push(("scale", scale.to_string()));
        return Ok(false);
    }
    let contradicted =
        |first: String, second: String| Err(ErrorKind::ScaleContradicted { first, second }.into());
    let in_line = |(line, scale): (u64, SizeScale)| format!("line {line} says that sizes are in {scale}");
    let said = match agreed(&evidence.context.scales()) {
        Err([first, second]) => return contradicted(in_line(first), in_line(second)),
        Ok(said) => said,
    };
    match (layout.said.scale, said) {
        (Some(own), Some((line, other))) if own != other => {
            contradicted(format!("the headings say that sizes are in {own}"), in_line((line, other)))
        }
        (Some(_), _) => Ok(false),
        (None, Some((_, scale))) => {
            layout.set_scale(scale)?;
            read_as.push(("scale", scale.to_string()));
            Ok(false)
        }
        (None, None) => {
            let has_column = matches!(layout.counts, CountColumns::Long { scale_column: Some(_), .. });
            let sizes = sizes_of(layout, evidence.rows);
            if sizes.iter().any(|&(_, said)| said) || has_column {
                return Ok(false);
            }
            let of_standard = |um: f64| {
                Code::sizes_um(SizeScale::UmC).contains(&Some(um)) || [21.0, 38.0, 70.0].contains(&um)
            };
            if sizes.is_empty() || sizes.iter().any(|&(um, _)| of_standard(um)) {
                return Ok(true);
            }
            // The older class systems have all of these, in the scale that they were made with.
            let of_nas1638 = [5.0, 15.0, 25.0, 50.0, 100.0];
            let has = |um: &f64| sizes.iter().any(|(size, _)| (size - um).abs() < f64::EPSILON);
            if of_nas1638.iter().all(has) {
                layout.set_scale(SizeScale::Acftd)?;
                read_as.push(("scale", SizeScale::Acftd.to_string()));
                return Ok(true);
            }
            let sizes = sizes.iter().map(|(um, _)| um.to_string()).collect::<Vec<_>>().join(", ");
            Err(ErrorKind::ScaleNotStated { sizes }.into())
        }
    }
}

/// The sizes of a table, each with whether its scale is said beside it \[um\].
fn sizes_of(layout: &Layout, rows: &[Record]) -> Vec<(f64, bool)> {
    let (CountColumns::Long { size, .. } | CountColumns::Across { size, .. }) = &layout.counts else {
        return layout.sizes_um().into_iter().map(|um| (um, false)).collect();
    };
    let mut sizes: Vec<(f64, bool)> = Vec::new();
    for counts in rows.iter().filter_map(|row| heading::counts(row.cells.get(*size)?)) {
        if let Some((um, _)) = counts.size
            && !sizes.iter().any(|(known, _)| (known - um).abs() < f64::EPSILON)
        {
            sizes.push((um, counts.scale.is_some()));
        }
    }
    sizes
}

fn settle_volume(
    layout: &Layout,
    evidence: &Evidence<'_>,
    marks: Marks,
    read_as: &mut Vec<(&'static str, String)>,
) -> Result<Option<CountedVolume>> {
    if let Some(volume) = evidence.options.volume {
        read_as.push(("volume", volume.ml().to_string()));
        return Ok(Some(volume));
    }
    let contradicted =
        |first: String, second: String| Err(ErrorKind::VolumeContradicted { first, second }.into());
    let in_line = |(line, ml): (u64, f64)| format!("line {line} says that {ml} mL were counted");
    let said = match agreed(&evidence.context.volumes()) {
        Err([first, second]) => return contradicted(in_line(first), in_line(second)),
        Ok(said) => said,
    };
    let Some((line, ml)) = said else { return Ok(None) };
    let own = volumes_of(layout, evidence.rows, marks).find(|(_, own)| (own - ml).abs() > 1e-9 * ml);
    if let Some(own) = own {
        return contradicted(in_line((line, ml)), in_line(own));
    }
    read_as.push(("volume", ml.to_string()));
    CountedVolume::from_ml(ml).map(Some)
}

/// The counted volumes that rows say themselves, each with its line \[mL\].
fn volumes_of<'a>(
    layout: &Layout,
    rows: &'a [Record],
    marks: Marks,
) -> impl Iterator<Item = (u64, f64)> + 'a {
    let volume = layout.volume;
    rows.iter().filter_map(move |row| {
        let (column, ml) = volume?;
        match number::read(row.cells.get(column)?, marks) {
            Ok(Cell::Number(number)) => Some((row.line, number.value * ml)),
            _ => None,
        }
    })
}

fn settle_basis(
    layout: &mut Layout,
    evidence: &Evidence<'_>,
    marks: Marks,
    volume: Option<CountedVolume>,
    read_as: &mut Vec<(&'static str, String)>,
) -> Result<()> {
    if let Some(basis) = evidence.options.basis {
        layout.assume_basis(basis);
        read_as.push(("per", per_name(basis).into()));
        return Ok(());
    }
    let contradicted =
        |first: String, second: String| Err(ErrorKind::BasisContradicted { first, second }.into());
    let in_line =
        |(line, basis): (u64, Basis)| format!("line {line} says that counts are {}", in_words(basis));
    let said = match agreed(&evidence.context.bases()) {
        Err([first, second]) => return contradicted(in_line(first), in_line(second)),
        Ok(said) => said,
    };
    match (layout.said.basis, said) {
        (Some(own), Some((line, other))) if own != other => {
            return contradicted(
                format!("the headings say that counts are {}", in_words(own)),
                in_line((line, other)),
            );
        }
        (Some(_), _) if layout.basis().is_some() => return Ok(()),
        (_, Some((_, basis))) => {
            layout.assume_basis(basis);
            read_as.push(("per", per_name(basis).into()));
            return Ok(());
        }
        _ => {}
    }
    if layout.unit.is_some() || cells_say_units(layout, evidence.rows) {
        return Ok(());
    }
    let volume = volume
        .map(CountedVolume::ml)
        .or_else(|| volumes_of(layout, evidence.rows, marks).map(|(_, ml)| ml).next());
    let found = match volume {
        Some(_) if layout.said.named_as_raw => Some(Basis::Raw),
        _ => decided_by_codes(layout, evidence, marks, volume),
    };
    match found {
        Some(basis) => {
            layout.assume_basis(basis);
            read_as.push(("per", per_name(basis).into()));
            Ok(())
        }
        None if layout.said.standard && all_range_numbers(layout, evidence.rows) => {
            let readings =
                "as range numbers they are a code; as counts per mL they are a very clean fluid".into();
            Err(ErrorKind::BasisNotStated { readings }.into())
        }
        None => Err(not_stated(layout, evidence.rows, marks, volume)),
    }
}

/// The value of the option `per`.
pub(super) const fn per_name(basis: Basis) -> &'static str {
    match basis {
        Basis::PerMl => "mL",
        Basis::Per10Ml => "10mL",
        Basis::Per100Ml => "100mL",
        Basis::PerL => "L",
        Basis::Raw => "raw",
    }
}

fn in_words(basis: Basis) -> String {
    basis.to_string()
}

/// Whether count cells carry their units.
fn cells_say_units(layout: &Layout, rows: &[Record]) -> bool {
    let columns = layout.count_columns();
    let cells = rows.iter().flat_map(|row| columns.iter().filter_map(|&column| row.cells.get(column)));
    cells.filter(|cell| !cell.trim().is_empty()).any(|cell| cell_basis(cell).is_some())
}

/// Whether every count could as well be a range number.
fn all_range_numbers(layout: &Layout, rows: &[Record]) -> bool {
    let columns = layout.count_columns();
    let mut cells = rows.iter().flat_map(|row| columns.iter().filter_map(|&column| row.text(Some(column))));
    cells.all(|cell| cell.parse::<RangeNumber>().is_ok())
}

/// The basis under which the counts give the codes printed beside them.
fn decided_by_codes(
    layout: &Layout,
    evidence: &Evidence<'_>,
    marks: Marks,
    volume: Option<f64>,
) -> Option<Basis> {
    let code_column = layout.code?;
    let CountColumns::Wide { runs, .. } = &layout.counts else { return None };
    if layout.form() == Form::Differential {
        return None;
    }
    let scale = layout.scale();
    let sizes = Code::sizes_um(scale);
    let columns = sizes.map(|um| {
        let size = Size::new(um?, scale).ok()?;
        runs.first()?.columns.iter().find(|count| count.size == size).map(|count| count.column)
    });
    let candidates: Vec<(Basis, f64)> = Basis::CONCENTRATIONS
        .iter()
        .filter_map(|basis| Some((*basis, basis.volume_ml()?)))
        .chain(volume.map(|ml| (Basis::Raw, ml)))
        .collect();
    let mut matched = vec![0_u32; candidates.len()];
    let mut compared = 0;
    for row in evidence.rows {
        let Some(code) = row.text(Some(code_column)).and_then(|text| text.parse::<Code>().ok()) else {
            continue;
        };
        let numbers = code.places().map(Place::range_number);
        let counts = columns.map(|column| match number::read(row.cells.get(column?)?, marks) {
            Ok(Cell::Number(number)) => Some(number.value),
            _ => None,
        });
        compared += 1;
        for ((_, ml), matched) in candidates.iter().zip(&mut matched) {
            let agrees = |(number, count): (&Option<RangeNumber>, &Option<f64>)| match (number, count) {
                (Some(number), Some(count)) => {
                    crate::count::PerMl::new(count / ml).is_ok_and(|count| RangeNumber::of(count) == *number)
                }
                _ => true,
            };
            let any = numbers.iter().zip(&counts).any(|(number, count)| number.is_some() && count.is_some());
            *matched += u32::from(any && numbers.iter().zip(&counts).all(agrees));
        }
    }
    let best = (0..candidates.len()).max_by_key(|&at| matched[at])?;
    let second = (0..candidates.len()).filter(|&at| at != best).map(|at| matched[at]).max().unwrap_or(0);
    let clear = matched[best] > 0 && 2 * matched[best] > compared && 3 * second < matched[best];
    clear.then_some(candidates[best].0)
}

/// The error that names the readings by the first count.
fn not_stated(layout: &Layout, rows: &[Record], marks: Marks, volume: Option<f64>) -> Error {
    let columns = layout.count_columns();
    let first = rows.iter().find_map(|row| {
        columns.iter().find_map(|&column| match number::read(row.cells.get(column)?, marks) {
            Ok(Cell::Number(number)) if number.value > 0.0 => Some(number.value),
            _ => None,
        })
    });
    let count = first.unwrap_or(1000.0);
    let other = match volume {
        Some(ml) => format!("as raw counts in {ml} mL it is {} per mL", count / ml),
        None => format!("as counts per 100 mL it is {} per mL", count / 100.0),
    };
    ErrorKind::BasisNotStated { readings: format!("as counts per mL, {count} is {count} per mL; {other}") }
        .into()
}

fn settle_dilution(
    layout: &Layout,
    evidence: &Evidence<'_>,
    read_as: &mut Vec<(&'static str, String)>,
) -> Result<Option<Dilution>> {
    if let Some(dilution) = evidence.options.dilution {
        read_as.push(("dilution", dilution.factor().to_string()));
        return Ok(Some(dilution));
    }
    let said = match agreed(&evidence.context.dilutions()) {
        Err([(line, first), (other, second)]) => {
            return Err(ErrorKind::VolumeContradicted {
                first: format!("line {line} says that the dilution is {first}"),
                second: format!("line {other} says {second}"),
            }
            .into());
        }
        Ok(said) => said.map(|(_, factor)| factor),
    };
    let own = evidence.rows.iter().find_map(|row| {
        let factor = statement::dilution(row.text(layout.dilution)?)?;
        (factor > 1.0).then_some(factor)
    });
    let factor = own.or(said).filter(|factor| *factor > 1.0);
    if let (Some(factor), Some(basis)) = (factor, layout.basis())
        && basis != Basis::Raw
        && evidence.options.basis.is_none()
        && !evidence.context.is_of_fluid_as_drawn()
        && !evidence.context.is_of_fluid_as_diluted()
    {
        return Err(ErrorKind::DilutionUnclear { factor, basis: in_words(basis) }.into());
    }
    if let Some(factor) = said {
        read_as.push(("dilution", factor.to_string()));
    }
    said.map(Dilution::new).transpose()
}

/// How the table marks its decimals.
fn settle_marks(layout: &Layout, evidence: &Evidence<'_>) -> Result<Marks> {
    if let Some(decimal) = evidence.options.decimal {
        return Ok(Marks::Given(decimal));
    }
    let mut columns = layout.count_columns();
    columns.extend(layout.volume.map(|(column, _)| column));
    columns.extend(layout.companions.iter().map(|(column, ..)| *column));
    let proofs = Proofs::of(evidence.rows, &columns);
    match (proofs.dot, proofs.comma) {
        (true, true) => return Ok(Marks::Mixed),
        (true, false) => return Ok(Marks::Found(Decimal::Dot)),
        (false, true) => return Ok(Marks::Found(Decimal::Comma)),
        (false, false) => {}
    }
    let Some(example) = proofs.example else {
        let others: Vec<usize> = layout.notes.clone();
        let elsewhere = Proofs::of(evidence.rows, &others);
        return Ok(match (elsewhere.dot, elsewhere.comma) {
            (true, false) => Marks::Found(Decimal::Dot),
            (false, true) => Marks::Found(Decimal::Comma),
            _ => Marks::Mixed,
        });
    };
    let rising = [Decimal::Dot, Decimal::Comma].map(|decimal| rising_rows(layout, evidence.rows, decimal));
    match (rising[0], rising[1]) {
        (0, 1..) => Ok(Marks::Found(Decimal::Dot)),
        (1.., 0) => Ok(Marks::Found(Decimal::Comma)),
        _ => {
            let read = |decimal| match number::read(&example, Marks::Found(decimal)) {
                Ok(Cell::Number(number) | Cell::Below(number) | Cell::Above(number)) => number.value,
                _ => f64::NAN,
            };
            let (a, b) = (read(Decimal::Dot), read(Decimal::Comma));
            let (low, high) = (a.min(b).to_string(), a.max(b).to_string());
            Err(ErrorKind::DecimalUndecided { found: example, low, high }.into())
        }
    }
}

/// What the numbers of some columns prove.
#[derive(Default)]
struct Proofs {
    dot: bool,
    comma: bool,
    /// A number that can be read either way.
    example: Option<String>,
}

impl Proofs {
    fn of(rows: &[Record], columns: &[usize]) -> Self {
        let cells = rows.iter().flat_map(|row| columns.iter().filter_map(|&column| row.cells.get(column)));
        let mut proofs = Self::default();
        for cell in cells {
            let number =
                cell.trim().trim_end_matches(|c: char| c.is_alphabetic() || matches!(c, '/' | '#' | ' '));
            let Some(readings) = number::readings(number) else { continue };
            proofs.dot |= readings.proves() == Some(Decimal::Dot);
            proofs.comma |= readings.proves() == Some(Decimal::Comma);
            if readings.is_ambiguous() {
                proofs.example.get_or_insert_with(|| number.to_owned());
            }
        }
        proofs
    }
}

/// How many rows of cumulative counts rise with size when decimals are read this way.
fn rising_rows(layout: &Layout, rows: &[Record], decimal: Decimal) -> usize {
    let CountColumns::Wide { form: Form::Cumulative, runs } = &layout.counts else { return 0 };
    let rises = |row: &&Record| {
        runs.iter().any(|run| {
            let values = run.columns.iter().filter_map(|count| {
                match number::read(row.cells.get(count.column)?, Marks::Found(decimal)) {
                    Ok(Cell::Number(number)) => Some(number.value),
                    _ => None,
                }
            });
            let values: Vec<f64> = values.collect();
            values.windows(2).any(|pair| pair[1] > pair[0])
        })
    };
    rows.iter().filter(rises).count()
}
