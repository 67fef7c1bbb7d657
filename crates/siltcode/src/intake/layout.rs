//! Which column of a table holds what: made from its heading, the caller's hints and documented defaults.

use crate::companion::{CompanionUnit, Property};
use crate::count::Basis;
use crate::error::{ErrorKind, Result};
use crate::size::{Size, SizeScale};

use super::heading::{Counts, Role};
use super::options::{Form, Options};

/// The columns of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    pub(super) id: Option<usize>,
    pub(super) run: Option<usize>,
    /// The counted volume, and what one unit of it is \[mL\].
    pub(super) volume: Option<(usize, f64)>,
    pub(super) dilution: Option<usize>,
    pub(super) kind: Option<usize>,
    pub(super) companions: Vec<(usize, Property, CompanionUnit)>,
    pub(super) notes: Vec<usize>,
    pub(super) counts: CountColumns,
    /// How many columns the heading has.
    pub(super) width: usize,
    /// What the heading did not say, and was assumed.
    pub(super) assumed: Assumed,
}

/// What was assumed by default.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Assumed {
    pub(super) basis: bool,
    pub(super) scale: bool,
}

/// Where the counts stand.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum CountColumns {
    /// A column per size.
    Wide { form: Form, columns: Vec<CountColumn> },
    /// A row per size.
    Long { form: Form, size: usize, count: usize, basis: RowBasis, scale: RowScale },
}

/// One column of counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CountColumn {
    pub(super) column: usize,
    pub(super) size: Size,
    pub(super) basis: Basis,
}

/// What the counts of a row refer to: the same for all rows, or said in a column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RowBasis {
    pub(super) column: Option<usize>,
    pub(super) otherwise: Basis,
}

/// The scale of a row's size: the same for all rows, or said in a column or with the size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RowScale {
    pub(super) column: Option<usize>,
    pub(super) otherwise: SizeScale,
}

impl Layout {
    /// The layout of a heading; none if it names no counts.
    ///
    /// # Errors
    /// `size-repeated`, `bands-not-adjoining` and `size-not-positive` where the heading names counts that cannot be.
    pub(super) fn of(heading: &[String], options: &Options) -> Result<Option<Self>> {
        let roles: Vec<Role> = heading.iter().map(|text| Role::of(text)).collect();
        let first = |wanted: fn(&Role) -> bool| roles.iter().position(wanted);
        let volume = roles.iter().enumerate().find_map(|(column, role)| match role {
            Role::Volume { ml } => Some((column, *ml)),
            _ => None,
        });
        let has_volume = volume.is_some() || options.volume.is_some();
        let Some((counts, assumed)) = counts(&roles, heading, options, has_volume)? else { return Ok(None) };
        let mut layout = Self {
            id: id_column(&roles),
            run: first(|role| *role == Role::Run),
            volume,
            dilution: first(|role| *role == Role::Dilution),
            kind: first(|role| *role == Role::Kind),
            companions: companions(&roles),
            notes: Vec::new(),
            counts,
            width: heading.len(),
            assumed,
        };
        layout.notes = (0..roles.len()).filter(|&column| layout.is_note(column, &roles)).collect();
        Ok(Some(layout))
    }

    /// A column that nothing else claims and that has a heading.
    fn is_note(&self, column: usize, roles: &[Role]) -> bool {
        let claimed = [self.id, self.run, self.volume.map(|(column, _)| column), self.dilution, self.kind];
        let companion = self.companions.iter().any(|(companion, ..)| *companion == column);
        let counted = match &self.counts {
            CountColumns::Wide { columns, .. } => columns.iter().any(|count| count.column == column),
            CountColumns::Long { size, count, basis, scale, .. } => {
                [Some(*size), Some(*count), basis.column, scale.column].contains(&Some(column))
            }
        };
        !claimed.contains(&Some(column)) && !companion && !counted && roles[column] != Role::Rejected
    }

    /// Whether a heading names its counts in words: a row of numbers can be counts as well as sizes.
    pub(super) fn is_worded(heading: &[String]) -> bool {
        heading.iter().any(|text| matches!(Role::of(text), Role::Counts(counts) if !counts.is_bare()))
    }

    /// The columns whose cells are counts.
    pub(super) fn count_columns(&self) -> Vec<usize> {
        match &self.counts {
            CountColumns::Wide { columns, .. } => columns.iter().map(|count| count.column).collect(),
            CountColumns::Long { count, .. } => vec![*count],
        }
    }

    /// The last column whose cells are counts.
    pub(super) fn last_count(&self) -> usize {
        match &self.counts {
            CountColumns::Wide { columns, .. } => columns.iter().map(|c| c.column).max().unwrap_or(0),
            CountColumns::Long { count, .. } => *count,
        }
    }

    /// Cumulative or differential.
    pub(super) const fn form(&self) -> Form {
        match &self.counts {
            CountColumns::Wide { form, .. } | CountColumns::Long { form, .. } => *form,
        }
    }
}

/// The bottle's column: the best of the names that mean it.
fn id_column(roles: &[Role]) -> Option<usize> {
    let ranked = roles.iter().enumerate().filter_map(|(column, role)| match role {
        Role::Id { rank } => Some((*rank, column)),
        _ => None,
    });
    ranked.min().map(|(_, column)| column)
}

fn companions(roles: &[Role]) -> Vec<(usize, Property, CompanionUnit)> {
    let named = roles.iter().enumerate().filter_map(|(column, role)| match role {
        Role::Companion { property, unit, .. } => Some((column, property.clone(), unit.clone())),
        _ => None,
    });
    named.collect()
}

fn counts(
    roles: &[Role],
    heading: &[String],
    options: &Options,
    has_volume: bool,
) -> Result<Option<(CountColumns, Assumed)>> {
    let said: Vec<(usize, Counts)> = (roles.iter().enumerate())
        .filter_map(|(column, role)| match role {
            Role::Counts(counts) => Some((column, *counts)),
            _ => None,
        })
        .collect();
    let sized: Vec<(usize, Counts)> =
        said.iter().copied().filter(|(_, counts)| counts.size.is_some()).collect();
    let bare = sized.iter().filter(|(_, counts)| counts.is_bare()).count();
    if sized.is_empty() || (bare == sized.len() && !are_sizes(&sized)) {
        return Ok(long(roles, &said, options));
    }
    wide(&sized, heading, options, has_volume).map(Some)
}

/// Whether headings that are nothing but numbers are sizes: two or more, rising, and none larger than a counter sees.
/// A row of counts falls.
fn are_sizes(sized: &[(usize, Counts)]) -> bool {
    const LARGEST_UM: f64 = 200.0;
    let um: Vec<f64> = sized.iter().filter_map(|(_, counts)| counts.size.map(|(um, _)| um)).collect();
    um.len() >= 2 && um.is_sorted_by(|a, b| a < b) && um.iter().all(|&um| um <= LARGEST_UM)
}

fn wide(
    sized: &[(usize, Counts)],
    heading: &[String],
    options: &Options,
    has_volume: bool,
) -> Result<(CountColumns, Assumed)> {
    let scale = options.scale.or_else(|| sized.iter().find_map(|(_, counts)| counts.scale));
    let basis = options.basis.or_else(|| sized.iter().find_map(|(_, counts)| counts.basis));
    let mut kept: Vec<(CountColumn, Option<f64>)> = Vec::new();
    for &(column, counts) in sized {
        let Some((um, to)) = counts.size else { continue };
        let own = options.scale.or(counts.scale).or(scale).unwrap_or(SizeScale::UmC);
        let basis = options.basis.or(counts.basis).or(basis).unwrap_or(Basis::PerMl);
        let new = CountColumn { column, size: Size::new(um, own)?, basis };
        match kept.iter_mut().find(|(other, _)| other.size == new.size) {
            Some((other, _)) => *other = better(*other, new, has_volume)?,
            None => kept.push((new, to)),
        }
    }
    kept.sort_by(|(a, _), (b, _)| a.size.um().total_cmp(&b.size.um()));
    let banded = kept.iter().any(|(_, to)| to.is_some());
    if banded {
        ensure_bands_adjoin(&kept, heading)?;
    }
    let said = sized.iter().find_map(|(_, counts)| counts.form);
    let form = options.form.or(said).unwrap_or(if banded { Form::Differential } else { Form::Cumulative });
    let assumed = Assumed { basis: basis.is_none(), scale: scale.is_none() };
    let columns = kept.into_iter().map(|(column, _)| column).collect();
    Ok((CountColumns::Wide { form, columns }, assumed))
}

/// Of two columns of the same size, the raw counts where their volume is known, else the concentration.
fn better(old: CountColumn, new: CountColumn, has_volume: bool) -> Result<CountColumn> {
    match (old.basis == Basis::Raw, new.basis == Basis::Raw) {
        (true, false) => Ok(if has_volume { old } else { new }),
        (false, true) => Ok(if has_volume { new } else { old }),
        _ => Err(ErrorKind::SizeRepeated { size: old.size.to_string() }.into()),
    }
}

fn ensure_bands_adjoin(kept: &[(CountColumn, Option<f64>)], heading: &[String]) -> Result<()> {
    let name = |column: &CountColumn| heading[column.column].trim().to_owned();
    for pair in kept.windows(2) {
        let ((below, to), (above, _)) = (&pair[0], &pair[1]);
        if to.is_some_and(|to| (to - above.size.um()).abs() > f64::EPSILON) {
            return Err(ErrorKind::BandsNotAdjoining { below: name(below), above: name(above) }.into());
        }
    }
    Ok(())
}

/// A table with a row per size: a column of sizes and a column of counts.
fn long(roles: &[Role], said: &[(usize, Counts)], options: &Options) -> Option<(CountColumns, Assumed)> {
    let (size, of_size) = said.iter().find(|(_, counts)| counts.heads_sizes())?;
    let (count, of_count) = said.iter().find(|(_, counts)| counts.heads_counts())?;
    let column = |wanted: &Role| roles.iter().position(|role| role == wanted);
    let basis_column = column(&Role::BasisOfRow).filter(|_| options.basis.is_none());
    let scale_column = column(&Role::ScaleOfRow).filter(|_| options.scale.is_none());
    let basis = options.basis.or(of_count.basis);
    let scale = options.scale.or(of_size.scale).or(of_count.scale);
    let form = options.form.or(of_count.form).or(of_size.form).unwrap_or(Form::Cumulative);
    let columns = CountColumns::Long {
        form,
        size: *size,
        count: *count,
        basis: RowBasis { column: basis_column, otherwise: basis.unwrap_or(Basis::PerMl) },
        scale: RowScale { column: scale_column, otherwise: scale.unwrap_or(SizeScale::UmC) },
    };
    let assumed = Assumed {
        basis: basis.is_none() && basis_column.is_none(),
        scale: scale.is_none() && scale_column.is_none(),
    };
    Some((columns, assumed))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout(heading: &str) -> Option<Layout> {
        let heading: Vec<String> = heading.split(';').map(str::to_owned).collect();
        Layout::of(&heading, &Options::default()).unwrap()
    }

    fn bases(heading: &str) -> Vec<Basis> {
        match layout(heading).unwrap().counts {
            CountColumns::Wide { columns, .. } => columns.iter().map(|count| count.basis).collect(),
            CountColumns::Long { .. } => panic!("{heading}"),
        }
    }

    #[test]
    fn bare_numbers_are_sizes_only_together() {
        assert!(layout("id;4;6;14").unwrap().assumed.scale);
        assert_eq!(layout("id;4"), None);
        assert_eq!(layout("name;remark"), None);
    }

    #[test]
    fn one_unit_holds_for_its_neighbours() {
        assert_eq!(bases("id;4 um(c) per 100 mL;6;14"), [Basis::Per100Ml; 3]);
    }

    #[test]
    fn raw_counts_win_where_their_volume_is_known() {
        assert_eq!(bases("id;volume mL;raw 4 um;4 um /mL"), [Basis::Raw]);
        assert_eq!(bases("id;raw 4 um;4 um /mL"), [Basis::PerMl]);
    }

    #[test]
    fn bands_must_adjoin() {
        assert_eq!(layout("id;4-6 um;6-14 um;>14 um").unwrap().form(), Form::Differential);
        let gap: Vec<String> = ["4-6 um", "7-14 um"].map(str::to_owned).to_vec();
        assert_eq!(Layout::of(&gap, &Options::default()).unwrap_err().code(), "bands-not-adjoining");
    }

    #[test]
    fn a_row_per_size_is_found() {
        let layout = layout("sample;size um(c);count per 100 mL").unwrap();
        assert!(matches!(layout.counts, CountColumns::Long { size: 1, count: 2, .. }));
        assert_eq!(layout.assumed, Assumed::default());
    }
}
