//! Which column of a table holds what: made from its heading and the caller's hints.

use crate::companion::{CompanionUnit, Property};
use crate::count::Basis;
use crate::error::{ErrorKind, Result};
use crate::field::Field;
use crate::size::{Size, SizeScale};

use super::heading::{self, Counts, Role};
use super::number::{self, Cell, Marks};
use super::options::{Form, Options};
use super::statistic::Statistic;

/// The columns of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    pub(super) id: Option<usize>,
    /// Whether the bottle's name is that of its tank, its point or the like, for want of a name of its own.
    pub(super) named_by_place: bool,
    /// Other columns of names, which tell bottles of one name apart.
    pub(super) more_ids: Vec<usize>,
    pub(super) run: Option<usize>,
    /// The counted volume, and what one unit of it is \[mL\].
    pub(super) volume: Option<(usize, f64)>,
    pub(super) dilution: Option<usize>,
    pub(super) kind: Option<usize>,
    /// The printed code.
    pub(super) code: Option<usize>,
    /// The unit of the counts of each row.
    pub(super) unit: Option<usize>,
    pub(super) fields: Vec<(usize, Field)>,
    pub(super) companions: Vec<(usize, Property, CompanionUnit)>,
    /// Columns that are kept as text.
    pub(super) notes: Vec<usize>,
    pub(super) counts: CountColumns,
    /// How many columns the heading has.
    pub(super) width: usize,
    /// What the heading says of all its counts.
    pub(super) said: Said,
}

/// What a heading says of all its counts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Said {
    pub(super) basis: Option<Basis>,
    pub(super) scale: Option<SizeScale>,
    pub(super) form: Option<Form>,
    /// Sizes are said to be at and above, as cumulative counts are.
    pub(super) compared: bool,
    /// The standard of codes is named, which may mean its sizes or its range numbers.
    pub(super) standard: bool,
    /// They are called counts, which beside a counted volume are raw ones.
    pub(super) named_as_raw: bool,
}

/// Where the counts stand.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum CountColumns {
    /// A column per size; of every run, where several runs stand side by side.
    Wide { form: Form, runs: Vec<RunColumns> },
    /// A row per size.
    Long {
        form: Form,
        size: usize,
        count: usize,
        basis: Option<Basis>,
        scale: SizeScale,
        scale_column: Option<usize>,
    },
    /// A row per size and a column per bottle, or per run.
    Across { form: Form, size: usize, columns: Vec<AcrossColumn>, basis: Option<Basis>, scale: SizeScale },
    /// No counts: a column with the printed code.
    Codes { column: usize },
    /// No counts: a column with the range number of each size.
    Numbers { columns: Vec<(usize, Size)> },
}

/// The columns of one run.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct RunColumns {
    /// The run's label, where the heading gives one.
    pub(super) label: Option<String>,
    pub(super) columns: Vec<CountColumn>,
}

/// One column of counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CountColumn {
    pub(super) column: usize,
    pub(super) size: Size,
    /// What the counts refer to; none where nothing says it.
    pub(super) basis: Option<Basis>,
}

/// One bottle, or one run, of a table with a row per size.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct AcrossColumn {
    pub(super) column: usize,
    pub(super) id: Option<String>,
    pub(super) run: Option<String>,
}

/// What one column's heading says, with what stands above and below it.
#[derive(Debug, Clone)]
struct Column {
    role: Role,
    /// What it says of counts, if it does.
    counts: Option<Counts>,
}

impl Layout {
    /// The layout of a heading; none if it names no counts.
    ///
    /// `lines` are the heading's lines from the top, of which `names` is the one with the names of the columns.
    ///
    /// # Errors
    /// `size-repeated`, `bands-not-adjoining` and `size-not-positive` where the heading names counts that cannot be.
    pub(super) fn of(lines: &[Vec<String>], names: usize, options: &Options) -> Result<Option<Self>> {
        let Some(own) = lines.get(names) else { return Ok(None) };
        if !holds_no_counts(own) {
            return Ok(None);
        }
        let mut own = own.clone();
        own.resize(lines.iter().map(Vec::len).max().unwrap_or(0), String::new());
        let own = &own;
        let columns = columns(lines, names, own);
        let roles: Vec<&Role> = columns.iter().map(|column| &column.role).collect();
        let first = |wanted: fn(&Role) -> bool| roles.iter().position(|role| wanted(role));
        let Some((counts, said)) = counts(&columns, own, options)? else { return Ok(None) };
        let own_id = id_column(&roles);
        let place = place_column(&roles).filter(|_| own_id.is_none());
        let mut layout = Self {
            id: own_id.or(place),
            named_by_place: place.is_some(),
            more_ids: more_ids(&roles, own_id),
            run: first(|role| *role == Role::Run),
            volume: roles.iter().enumerate().find_map(|(column, role)| match role {
                Role::Volume { ml } => Some((column, *ml)),
                _ => None,
            }),
            dilution: first(|role| *role == Role::Dilution),
            kind: first(|role| *role == Role::Kind),
            code: first(|role| *role == Role::Code),
            unit: first(|role| *role == Role::BasisOfRow),
            fields: fields(&roles),
            companions: companions(&roles),
            notes: Vec::new(),
            counts,
            width: own.len(),
            said,
        };
        layout.notes = (0..own.len())
            .filter(|&column| layout.is_note(column) && !own[column].trim().is_empty())
            .collect();
        Ok(Some(layout))
    }

    /// A column that nothing else claims.
    fn is_note(&self, column: usize) -> bool {
        let claimed = [
            self.id,
            self.run,
            self.volume.map(|(column, _)| column),
            self.dilution,
            self.kind,
            self.code,
            self.unit,
        ];
        let named = self.companions.iter().any(|(companion, ..)| *companion == column)
            || self.fields.iter().any(|(field, _)| *field == column);
        let counted = match &self.counts {
            CountColumns::Long { size, scale_column, .. } => *size == column || *scale_column == Some(column),
            CountColumns::Across { size, .. } => *size == column,
            _ => false,
        };
        !claimed.contains(&Some(column)) && !named && !counted && !self.count_columns().contains(&column)
    }

    /// The columns whose cells are counts, codes or range numbers.
    pub(super) fn count_columns(&self) -> Vec<usize> {
        match &self.counts {
            CountColumns::Wide { runs, .. } => {
                runs.iter().flat_map(|run| run.columns.iter().map(|count| count.column)).collect()
            }
            CountColumns::Long { count, .. } => vec![*count],
            CountColumns::Across { columns, .. } => columns.iter().map(|across| across.column).collect(),
            CountColumns::Codes { column } => vec![*column],
            CountColumns::Numbers { columns } => columns.iter().map(|(column, _)| *column).collect(),
        }
    }

    /// The last column whose cells are counts.
    pub(super) fn last_count(&self) -> usize {
        self.count_columns().into_iter().max().unwrap_or(0)
    }

    /// Whether its rows hold counts, not codes.
    pub(super) const fn holds_counts(&self) -> bool {
        !matches!(self.counts, CountColumns::Codes { .. } | CountColumns::Numbers { .. })
    }

    /// Cumulative or differential.
    pub(super) const fn form(&self) -> Form {
        match &self.counts {
            CountColumns::Wide { form, .. }
            | CountColumns::Long { form, .. }
            | CountColumns::Across { form, .. } => *form,
            CountColumns::Codes { .. } | CountColumns::Numbers { .. } => Form::Cumulative,
        }
    }

    /// The scale of its sizes.
    pub(super) fn scale(&self) -> SizeScale {
        match &self.counts {
            CountColumns::Wide { runs, .. } => {
                let first = runs.iter().find_map(|run| run.columns.first());
                first.map_or(SizeScale::UmC, |count| count.size.scale())
            }
            CountColumns::Long { scale, .. } | CountColumns::Across { scale, .. } => *scale,
            CountColumns::Codes { .. } | CountColumns::Numbers { .. } => SizeScale::UmC,
        }
    }

    /// What the counts refer to, where that is the same for all.
    pub(super) fn basis(&self) -> Option<Basis> {
        match &self.counts {
            CountColumns::Wide { runs, .. } => runs.first()?.columns.first()?.basis,
            CountColumns::Long { basis, .. } | CountColumns::Across { basis, .. } => *basis,
            CountColumns::Codes { .. } | CountColumns::Numbers { .. } => None,
        }
    }

    /// A column without a heading among the columns of counts.
    pub(super) fn unnamed_among_counts(&self, names: &[String]) -> Option<usize> {
        let CountColumns::Wide { .. } = self.counts else { return None };
        let columns = self.count_columns();
        let (first, last) = (columns.iter().min()?, columns.iter().max()?);
        (*first..*last).find(|column| {
            !columns.contains(column) && names.get(*column).is_none_or(|name| name.trim().is_empty())
        })
    }

    /// Takes this basis for every count of which none is said.
    pub(super) fn assume_basis(&mut self, assumed: Basis) {
        match &mut self.counts {
            CountColumns::Wide { runs, .. } => {
                let all = runs.iter_mut().flat_map(|run| run.columns.iter_mut());
                all.for_each(|count| count.basis = count.basis.or(Some(assumed)));
            }
            CountColumns::Long { basis, .. } | CountColumns::Across { basis, .. } => {
                *basis = basis.or(Some(assumed));
            }
            CountColumns::Codes { .. } | CountColumns::Numbers { .. } => {}
        }
    }

    /// Takes the columns of counts for range numbers, where they can be.
    pub(super) fn take_range_numbers(&mut self, can_be: impl Fn(&Self) -> bool) {
        let CountColumns::Wide { runs, .. } = &self.counts else { return };
        let [run] = runs.as_slice() else { return };
        if self.said.basis.is_none() && can_be(self) {
            let columns = run.columns.iter().map(|count| (count.column, count.size)).collect();
            self.counts = CountColumns::Numbers { columns };
        }
    }

    /// Takes this form.
    pub(super) const fn set_form(&mut self, new: Form) {
        match &mut self.counts {
            CountColumns::Wide { form, .. }
            | CountColumns::Long { form, .. }
            | CountColumns::Across { form, .. } => {
                *form = new;
            }
            CountColumns::Codes { .. } | CountColumns::Numbers { .. } => {}
        }
    }

    /// Takes this scale for all sizes.
    ///
    /// # Errors
    /// Those of [`Size::new`].
    pub(super) fn set_scale(&mut self, new: SizeScale) -> Result<()> {
        match &mut self.counts {
            CountColumns::Wide { runs, .. } => {
                for count in runs.iter_mut().flat_map(|run| run.columns.iter_mut()) {
                    count.size = Size::new(count.size.um(), new)?;
                }
            }
            CountColumns::Long { scale, .. } | CountColumns::Across { scale, .. } => *scale = new,
            CountColumns::Codes { .. } | CountColumns::Numbers { .. } => {}
        }
        Ok(())
    }

    /// The sizes that its heading names \[um\].
    pub(super) fn sizes_um(&self) -> Vec<f64> {
        match &self.counts {
            CountColumns::Wide { runs, .. } => {
                runs.iter().flat_map(|run| run.columns.iter().map(|count| count.size.um())).collect()
            }
            _ => Vec::new(),
        }
    }

    /// Better is the layout that names more.
    pub(super) fn weight(&self) -> (usize, usize) {
        let known = usize::from(self.id.is_some()) + usize::from(self.run.is_some()) + self.fields.len();
        (self.count_columns().len() + known, self.width)
    }
}

/// Whether a line may be a heading: every number in it is a size, all sizes are written as numbers then, and they rise.
fn holds_no_counts(cells: &[String]) -> bool {
    let is_number = |cell: &&String| !matches!(number::read(cell, Marks::Mixed), Ok(Cell::Missing) | Err(_));
    let numbers = cells.iter().filter(is_number).count();
    if numbers == 0 {
        return true;
    }
    let size = |cell: &String| heading::counts(cell).and_then(|counts| counts.size);
    let bands: Vec<(f64, Option<f64>)> = cells.iter().filter_map(size).collect();
    let banded = bands.iter().any(|(_, to)| to.is_some());
    let sizes: Vec<f64> = bands.into_iter().map(|(um, _)| um).collect();
    let all_numbers = cells.iter().filter(is_number).all(|cell| size(cell).is_some());
    all_numbers && (banded || sizes.len() == numbers) && are_sizes(one_run(&sizes))
}

/// The sizes of the first of several runs side by side, where all have the same sizes; else all.
fn one_run(um: &[f64]) -> &[f64] {
    let length =
        um.iter().skip(1).position(|&other| Some(&other) == um.first()).map_or(um.len(), |at| at + 1);
    let first = &um[..length];
    if um.chunks(length.max(1)).all(|run| run == first) { first } else { um }
}

/// Whether headings that are nothing but numbers are sizes: two or more, rising, and none larger than a counter sees.
/// A row of counts falls.
fn are_sizes(um: &[f64]) -> bool {
    const LARGEST_UM: f64 = 200.0;
    um.len() >= 2 && um.is_sorted_by(|a, b| a < b) && um.iter().all(|&um| um <= LARGEST_UM)
}

/// What each column's heading says: its own line, the group above it and the unit below it.
fn columns(lines: &[Vec<String>], names: usize, own: &[String]) -> Vec<Column> {
    let cell = |line: &[String], column: usize| line.get(column).map_or("", |cell| cell.trim()).to_owned();
    let mut group = vec![String::new(); names];
    (0..own.len())
        .map(|column| {
            let name = cell(own, column);
            for (group, line) in group.iter_mut().zip(lines) {
                let above = cell(line, column);
                if !above.is_empty() {
                    *group = above;
                }
            }
            let units: Vec<String> = lines[names + 1..].iter().map(|line| cell(line, column)).collect();
            let own_group: Vec<String> = lines[..names].iter().map(|line| cell(line, column)).collect();
            one_column(&group, own_group.join(" ").trim(), &name, &units)
        })
        .collect()
}

fn one_column(groups: &[String], own_group: &str, name: &str, units: &[String]) -> Column {
    let unit = units.join(" ");
    let with_unit = Role::of(format!("{name} {unit}").trim());
    let with_group = Role::of(format!("{own_group} {name} {unit}").trim());
    let role = match Role::of(name) {
        // A name that stands one line higher, over an empty cell or over its unit.
        Role::Note if !own_group.is_empty() && !matches!(with_group, Role::Note | Role::Counts(_)) => {
            with_group
        }
        Role::Note | Role::Counts(_) if with_unit != Role::Note => with_unit,
        Role::Volume { .. } | Role::Companion { .. } if !unit.is_empty() && with_unit != Role::Note => {
            with_unit
        }
        own => own,
    };
    let speaks_of_counts = matches!(role, Role::Note | Role::Counts(_) | Role::Run);
    let counts = speaks_of_counts.then(|| of_parts(groups, name, units)).flatten();
    let role = match (role, &counts) {
        (Role::Note | Role::Counts(_) | Role::Run, Some(counts)) if counts.size.is_some() => {
            Role::Counts(counts.clone())
        }
        (role, _) => role,
    };
    let counts = match &role {
        Role::Counts(counts) => Some(counts.clone()),
        _ => None,
    };
    Column { role, counts }
}

/// What the parts of a heading say together; none if they say anything else than of counts.
fn of_parts(groups: &[String], name: &str, units: &[String]) -> Option<Counts> {
    if name.is_empty() && units.iter().all(String::is_empty) {
        return None;
    }
    let group = groups.join(" ");
    let of_group = heading::parse(&group);
    let group_speaks = of_group.unknown.is_none() && of_group.counts != Counts::default();
    let units_basis = units.iter().find_map(|unit| heading::volume_alone(unit));
    let mut found = match (group_speaks, heading::counts(&format!("{group} {name}"))) {
        (true, Some(counts)) => Some(counts),
        _ => heading::counts(name),
    };
    // A plain number or letter under a size is a run.
    if group_speaks && of_group.counts.size.is_some() && found.as_ref().is_none_or(Counts::is_bare) {
        let label = name.trim();
        let is_label = !label.is_empty() && label.len() <= 2;
        if is_label {
            found = Some(Counts { run: Some(label.to_owned()), ..of_group.counts.clone() });
        }
    }
    let mut found = found?;
    if let Some(of_units) = heading::counts(&units.join(" ")) {
        found.basis = found.basis.or(of_units.basis);
        found.scale = found.scale.or(of_units.scale);
        found.micrometres |= of_units.micrometres;
        found.counted |= of_units.counted;
        found.form = found.form.or(of_units.form);
    }
    found.basis =
        found.basis.or(units_basis).or_else(|| heading::stated_basis(&group).filter(|_| !group_speaks));
    Some(found)
}

/// The bottle's column: the best of the names that mean it.
fn id_column(roles: &[&Role]) -> Option<usize> {
    let ranked = roles.iter().enumerate().filter_map(|(column, role)| match role {
        Role::Id { rank } => Some((*rank, column)),
        _ => None,
    });
    ranked.min().map(|(_, column)| column)
}

/// The column that names a bottle where none does so itself: its tank, the point it was drawn from, the equipment.
fn place_column(roles: &[&Role]) -> Option<usize> {
    [Field::Tank, Field::Equipment, Field::Point, Field::Site]
        .into_iter()
        .find_map(|wanted| roles.iter().position(|role| **role == Role::Field(wanted)))
}

/// Other columns with names of bottles, not only numbers of rows.
fn more_ids(roles: &[&Role], id: Option<usize>) -> Vec<usize> {
    let is_name = |role: &Role| matches!(role, Role::Id { rank } if *rank < heading::NUMBERED);
    (0..roles.len()).filter(|&column| Some(column) != id && is_name(roles[column])).collect()
}

fn fields(roles: &[&Role]) -> Vec<(usize, Field)> {
    let named = roles.iter().enumerate().filter_map(|(column, role)| match role {
        Role::Field(field) => Some((column, *field)),
        _ => None,
    });
    named.collect()
}

fn companions(roles: &[&Role]) -> Vec<(usize, Property, CompanionUnit)> {
    let named = roles.iter().enumerate().filter_map(|(column, role)| match role {
        Role::Companion { property, unit, .. } => Some((column, property.clone(), unit.clone())),
        _ => None,
    });
    named.collect()
}

type Found = Option<(CountColumns, Said)>;

/// A column of counts, and the upper size of its band \[um\].
type Band = (CountColumn, Option<f64>);

fn counts(columns: &[Column], heading: &[String], options: &Options) -> Result<Found> {
    let said: Vec<(usize, &Counts)> = (columns.iter().enumerate())
        .filter_map(|(column, found)| Some((column, found.counts.as_ref()?)))
        .collect();
    let sized: Vec<(usize, &Counts)> =
        said.iter().copied().filter(|(_, counts)| counts.size.is_some() && !is_aside(counts)).collect();
    let bare = sized.iter().filter(|(_, counts)| counts.is_bare()).count();
    let um: Vec<f64> = sized.iter().filter_map(|(_, counts)| counts.size.map(|(um, _)| um)).collect();
    if !sized.is_empty() && (bare < sized.len() || are_sizes(&um)) {
        if let Some(text) = without_size(&said, heading) {
            return Err(ErrorKind::SizeUnreadable { text: text.trim().into() }.into());
        }
        return wide(&sized, heading, options).map(Some);
    }
    Ok(long(columns, &said, heading, options).or_else(|| codes(columns)))
}

/// Whether a column sums up runs, or is a limit.
fn is_aside(counts: &Counts) -> bool {
    counts.statistic.is_some()
}

fn codes(columns: &[Column]) -> Found {
    let column = columns.iter().position(|column| column.role == Role::Code)?;
    let known = columns.iter().any(|column| {
        matches!(column.role, Role::Id { .. } | Role::Field(_) | Role::Run | Role::Companion { .. })
    });
    known.then_some((CountColumns::Codes { column }, Said::default()))
}

/// A column of counts whose heading names no size, among others that do.
fn without_size<'c>(said: &[(usize, &'c Counts)], heading: &'c [String]) -> Option<&'c str> {
    let lacks = |counts: &Counts| {
        counts.size.is_none()
            && counts.statistic.is_none()
            && counts.micrometres
            && (counts.compared || counts.basis.is_some())
    };
    said.iter()
        .find(|(_, counts)| lacks(counts))
        .and_then(|(column, _)| heading.get(*column))
        .map(String::as_str)
}

fn wide(sized: &[(usize, &Counts)], heading: &[String], options: &Options) -> Result<(CountColumns, Said)> {
    let said = Said {
        basis: options.basis.or_else(|| sized.iter().find_map(|(_, counts)| counts.basis)),
        scale: options.scale.or_else(|| sized.iter().find_map(|(_, counts)| counts.scale)),
        form: options.form.or_else(|| sized.iter().find_map(|(_, counts)| counts.form)),
        compared: sized.iter().any(|(_, counts)| counts.compared),
        standard: sized.iter().any(|(_, counts)| counts.standard),
        named_as_raw: sized.iter().all(|(_, counts)| counts.named_as_raw),
    };
    let all_codes = sized.iter().all(|(_, counts)| counts.code && counts.basis.is_none() && !counts.counted);
    let mut runs: Vec<(Option<String>, Vec<Band>)> = Vec::new();
    for &(column, counts) in sized {
        let Some((um, to)) = counts.size else { continue };
        let scale = options.scale.or(counts.scale).or(said.scale).unwrap_or(SizeScale::UmC);
        let basis = options.basis.or(counts.basis);
        let new = CountColumn { column, size: Size::new(um, scale)?, basis };
        let at = runs.iter().position(|(label, _)| *label == counts.run).unwrap_or_else(|| {
            runs.push((counts.run.clone(), Vec::new()));
            runs.len() - 1
        });
        let kept = &mut runs[at].1;
        match kept.iter_mut().find(|(other, _)| other.size == new.size) {
            Some((other, _)) => *other = better(*other, new)?,
            None => kept.push((new, to)),
        }
    }
    let banded = runs.iter().any(|(_, kept)| kept.iter().any(|(_, to)| to.is_some()));
    for (_, kept) in &mut runs {
        kept.sort_by(|(a, _), (b, _)| a.size.um().total_cmp(&b.size.um()));
        if banded {
            ensure_bands_adjoin(kept, heading)?;
        }
        share_basis(kept);
    }
    if all_codes && options.basis.is_none() && runs.len() == 1 {
        let columns = runs[0].1.iter().map(|(count, _)| (count.column, count.size)).collect();
        return Ok((CountColumns::Numbers { columns }, said));
    }
    let form = said.form.unwrap_or(if banded { Form::Differential } else { Form::Cumulative });
    if banded && said.form == Some(Form::Cumulative) && options.form.is_none() {
        return Err(ErrorKind::FormContradicted {
            first: "the headings name size bands".into(),
            second: "the headings say cumulative".into(),
        }
        .into());
    }
    let runs = runs
        .into_iter()
        .map(|(label, kept)| RunColumns {
            label,
            columns: kept.into_iter().map(|(column, _)| column).collect(),
        })
        .collect();
    Ok((
        CountColumns::Wide { form, runs },
        Said { form: said.form.or(banded.then_some(Form::Differential)), ..said },
    ))
}

/// One unit holds for the neighbours that say none, unless two are said.
fn share_basis(kept: &mut [Band]) {
    let said: Vec<Basis> = kept.iter().filter_map(|(count, _)| count.basis).collect();
    if let Some(&first) = said.first()
        && said.iter().all(|basis| *basis == first)
    {
        for (count, _) in kept {
            count.basis = Some(first);
        }
    }
}

/// Of two columns of the same size, the raw counts: they say more, and give the concentration where their volume is
/// known.
fn better(old: CountColumn, new: CountColumn) -> Result<CountColumn> {
    match (old.basis == Some(Basis::Raw), new.basis == Some(Basis::Raw)) {
        (true, false) => Ok(old),
        (false, true) => Ok(new),
        // The same counts on another basis.
        _ if old.basis.is_some() && new.basis.is_some() && old.basis != new.basis => Ok(old),
        _ => Err(ErrorKind::SizeRepeated { size: old.size.to_string() }.into()),
    }
}

fn ensure_bands_adjoin(kept: &[Band], heading: &[String]) -> Result<()> {
    let name = |column: &CountColumn| heading[column.column].trim().to_owned();
    for pair in kept.windows(2) {
        let ((below, to), (above, _)) = (&pair[0], &pair[1]);
        if to.is_some_and(|to| (to - above.size.um()).abs() > f64::EPSILON) {
            return Err(ErrorKind::BandsNotAdjoining { below: name(below), above: name(above) }.into());
        }
    }
    Ok(())
}

/// A table with a row per size: a column of sizes and a column of counts, or a column per bottle or run.
fn long(columns: &[Column], said: &[(usize, &Counts)], heading: &[String], options: &Options) -> Found {
    let (size, of_size) = said.iter().find(|(_, counts)| counts.heads_sizes())?;
    let (count, of_count) =
        said.iter().filter(|(column, counts)| column != size && counts.heads_counts()).max_by_key(
            // A column that is the counts comes before one that sums them up, and the first before others.
            |(column, counts)| (counts.statistic.is_none(), std::cmp::Reverse(*column)),
        )?;
    // A letter may be the name of a bottle if other columns are not understood either.
    let is_letter = heading.get(*count).is_some_and(|name| name.trim().chars().count() == 1);
    let others = columns.iter().enumerate().any(|(at, other)| {
        at != *count && at != *size && other.role == Role::Note && !heading[at].trim().is_empty()
    });
    if is_letter && others {
        return None;
    }
    // Runs that stand side by side are the counts, not what sums them up.
    if of_count.statistic.is_some() && said.iter().any(|(_, counts)| counts.run.is_some()) {
        return None;
    }
    let scale_column = columns.iter().position(|column| column.role == Role::ScaleOfRow);
    let said = Said {
        basis: options.basis.or(of_count.basis).or(of_size.basis),
        scale: options.scale.or(of_size.scale).or(of_count.scale),
        form: options.form.or(of_count.form).or(of_size.form),
        compared: of_size.compared,
        standard: false,
        named_as_raw: of_count.named_as_raw,
    };
    let long = CountColumns::Long {
        form: said.form.unwrap_or(Form::Cumulative),
        size: *size,
        count: *count,
        basis: said.basis,
        scale: said.scale.unwrap_or(SizeScale::UmC),
        scale_column: scale_column.filter(|_| options.scale.is_none()),
    };
    Some((long, said))
}

/// A column of sizes is one of the first.
const FIRST_COLUMNS: usize = 6;

impl Layout {
    /// The layout of a table with a row per size and a column per bottle or run: the first column of the rows holds
    /// sizes, and `heading` names the others.
    ///
    /// `single` is for a sheet about one bottle, without a line of names.
    pub(super) fn across(
        heading: &[String],
        rows: &[Vec<String>],
        units: Option<&[String]>,
        options: &Options,
    ) -> Option<Self> {
        let size = (0..FIRST_COLUMNS).find(|&column| are_sizes(&sizes_down(rows, column)))?;
        let name = |line: &[String]| line.get(size).cloned().unwrap_or_default();
        let is_unit_of_size = |unit: String| {
            let said = heading::parse(&unit).counts;
            unit.trim().is_empty() || said.micrometres || said.scale.is_some()
        };
        if !units.is_none_or(|units| is_unit_of_size(name(units))) {
            return None;
        }
        let corner = format!("{} {}", name(heading), units.map(name).unwrap_or_default());
        let corner = heading::parse(corner.trim()).counts;
        let says_sizes = |row: &Vec<String>| {
            let counts = heading::counts(row.get(size)?)?;
            let of_standard = counts.size.is_some_and(|(um, _)| [4.0, 6.0, 14.0, 21.0].contains(&um));
            Some(counts.micrometres || counts.compared || counts.scale.is_some() || of_standard)
        };
        // Numbers that run 1, 2, 3 are no sizes.
        if !corner.heads_sizes() && !rows.iter().take(2).all(|row| says_sizes(row).unwrap_or(false)) {
            return None;
        }
        let numbers = |column: usize| {
            let cells = rows.iter().filter_map(|row| row.get(column)).filter(|cell| !cell.trim().is_empty());
            cells.clone().any(|cell| is_number(cell)).then_some(())
        };
        let mut columns = Vec::new();
        let mut behind_mean = false;
        for (column, name) in heading.iter().enumerate().skip(size + 1) {
            let name = name.trim();
            // A letter behind a mean is a measure of spread: `s`, `u`, `r`.
            if behind_mean && name.chars().count() == 1 && name.chars().all(char::is_lowercase) {
                continue;
            }
            behind_mean |= super::statistic::statistic(name) == Some(Statistic::Mean);
            let role = Role::of(name);
            let of_counts = heading::counts(name);
            let sums_up = super::statistic::statistic(name).is_some()
                || of_counts.as_ref().is_some_and(|counts| {
                    counts.statistic.is_some() && counts.run.is_none() && counts.size.is_none()
                });
            let aside = sums_up || matches!(role, Role::Code | Role::Companion { .. });
            if name.is_empty() || aside || numbers(column).is_none() {
                continue;
            }
            let run = run_in_heading(name);
            let is_counts = name.len() > 1 && of_counts.as_ref().is_some_and(Counts::heads_counts);
            let id = (run.is_none() && !is_counts).then(|| name.to_owned());
            columns.push(AcrossColumn { column, id, run });
        }
        if columns.is_empty() {
            return None;
        }
        let of_units = units.unwrap_or_default().iter();
        let of_columns = heading
            .iter()
            .chain(of_units)
            .find_map(|name| heading::counts(name).and_then(|counts| counts.basis));
        let own_sizes: Vec<Counts> = rows
            .iter()
            .filter_map(|row| heading::counts(row.get(size)?).filter(|counts| counts.size.is_some()))
            .collect();
        let banded = own_sizes.iter().any(|counts| counts.size.is_some_and(|(_, to)| to.is_some()));
        let said = Said {
            basis: options
                .basis
                .or(corner.basis)
                .or(of_columns)
                .or_else(|| own_sizes.iter().find_map(|counts| counts.basis)),
            scale: options
                .scale
                .or(corner.scale)
                .or_else(|| own_sizes.iter().find_map(|counts| counts.scale)),
            form: options.form.or(corner.form).or(banded.then_some(Form::Differential)),
            compared: own_sizes.iter().any(|counts| counts.compared),
            standard: false,
            named_as_raw: corner.named_as_raw,
        };
        let counts = CountColumns::Across {
            form: said.form.unwrap_or(Form::Cumulative),
            size,
            columns,
            basis: said.basis,
            scale: said.scale.unwrap_or(SizeScale::UmC),
        };
        Some(Self {
            id: None,
            named_by_place: false,
            more_ids: Vec::new(),
            run: None,
            volume: None,
            dilution: None,
            kind: None,
            code: None,
            unit: None,
            fields: Vec::new(),
            companions: Vec::new(),
            notes: Vec::new(),
            counts,
            width: heading.len(),
            said,
        })
    }
}

fn is_number(cell: &str) -> bool {
    matches!(
        number::read(cell, Marks::Mixed),
        Ok(Cell::Number(_) | Cell::Below(_) | Cell::Above(_) | Cell::TooMany)
            | Err(number::NotANumber::Ambiguous)
    )
}

/// The sizes that the first rows of a column hold, as far as they do.
fn sizes_down(rows: &[Vec<String>], column: usize) -> Vec<f64> {
    let size = |row: &Vec<String>| heading::counts(row.get(column)?).and_then(|counts| counts.size);
    let sizes: Vec<(f64, Option<f64>)> = rows.iter().map_while(size).collect();
    let falls = sizes.len() >= 2 && sizes[0].0 > sizes[1].0;
    let mut um: Vec<f64> = sizes.into_iter().map(|(um, _)| um).collect();
    if falls {
        um.reverse();
    }
    um
}

/// `Run 2`, `R2`, `Lauf 2`, `2`: the label of a run.
fn run_in_heading(name: &str) -> Option<String> {
    let plain = heading::plain(name);
    if let Some((word, letter)) = plain.split_once(' ')
        && letter.len() == 1
        && super::words::is("run", word)
    {
        return Some(letter.to_uppercase());
    }
    let split = plain.find(|c: char| c.is_ascii_digit())?;
    let (word, number) = plain.split_at(split);
    let word = word.trim();
    let known = word == "r" || word == "n" || super::words::is("run", word);
    (known && number.bytes().all(|byte| byte.is_ascii_digit())).then(|| number.to_owned())
}
