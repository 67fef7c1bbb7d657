"""A job under way: how fast its counts fall, whether they have a floor, how many turnovers remain, and what looks wrong."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siltcode import _arrays, _native
from siltcode._display import Table, figures, html_table
from siltcode.beta import Beta
from siltcode.codes import Code
from siltcode.outlook import FitErrors, ProgressFinding, Remaining, SizeFit, SizeRemaining, findings_of, fit_of, or_never
from siltcode.reference import Caution
from siltcode.samples import BySize, Sample
from siltcode.specs import SpecLike, spec as read_spec
from siltcode.tank import StartLike, counts_given
from siltcode.units import in_unit


class Progress:
    """What the samples of a job say: made by `fit_progress`.

    Attributes
    ----------
    fits : tuple of SizeFit
        The most likely fall of each bin between sizes, sizes rising.
    ln_likelihood : float
        The logarithm of the likelihood of all counts, with what was known of the elements beforehand [-].
    deviance, pearson : float
        Twice what the likelihood lacks to the most it can be, and the sum of squared residuals over their variances: both
        about `freedom` [-].
    freedom : int
        Counts less what was fitted to them [-].
    p : float or None
        How likely chance alone gives at least this deviance [-]; None without freedom.
    floor_statistic, floor_p : float or None
        The likelihood ratio statistic against no floor, and how likely chance alone makes it as large [-].
    floor_shown : bool
        Whether the samples show a floor, beyond one chance in a hundred, or it was said that there may be one.
    scatter : float
        The coefficient of variation of bottles beyond counting [-]: as stated, or in the middle of what it may be.

    Examples
    --------
    >>> import siltcode
    >>> job = siltcode.fit_progress([0, 1, 2, 3, 4], {4: [5031, 2012, 1589, 1420, 1705]}, [0.5, 0.5, 1, 2, 5], floor=True, scatter=0)
    >>> job
    Progress(4 um: 0.945 per turnover, floor 115/mL)
    """

    __slots__ = (
        "_given",
        "_native",
        "deviance",
        "fits",
        "floor_p",
        "floor_shown",
        "floor_statistic",
        "freedom",
        "ln_likelihood",
        "p",
        "pearson",
        "scatter",
    )

    fits: tuple[SizeFit, ...]
    ln_likelihood: float
    deviance: float
    pearson: float
    freedom: int
    p: float | None
    floor_statistic: float | None
    floor_p: float | None
    floor_shown: bool
    scatter: float

    def __init__(self, given: dict[str, Any]) -> None:
        self._given = given
        self._native = _native.fit_progress(given)
        self.fits = tuple(map(fit_of, self._native.fits()))
        whole = self._native.whole()
        goodness = whole["goodness"]
        self.ln_likelihood, self.scatter = whole["ln_likelihood"], whole["scatter"]
        self.deviance, self.pearson = goodness["deviance"], goodness["pearson"]
        self.freedom, self.p = goodness["freedom"], goodness["p"]
        self.floor_statistic, self.floor_p = whole["floor_statistic"], whole["floor_p"]
        self.floor_shown = whole["floor_shown"]

    def __reduce__(self) -> tuple[Any, ...]:
        return Progress, (self._given,)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Progress) and other.fits == self.fits

    def __hash__(self) -> int:
        return hash(self.fits)

    @property
    def efficiency(self) -> dict[float, float]:
        """The efficiency that the tank itself shows in the bin from each size to the next [um: -].

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.fit_progress([0, 1, 2, 3, 4], {4: [5031, 2012, 1589, 1420, 1705]}, [0.5, 0.5, 1, 2, 5], floor=True, scatter=0)
        >>> {size: round(shown, 3) for size, shown in job.efficiency.items()}
        {4.0: 0.945}
        """
        return {fit.size_um: fit.efficiency for fit in self.fits}

    @property
    def floor(self) -> dict[float, float]:
        """What no number of turnovers goes below in the bin from each size to the next [um: particles/mL].

        0 unless a floor is shown.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.fit_progress([0, 1, 2, 3, 4], {4: [5031, 2012, 1589, 1420, 1705]}, [0.5, 0.5, 1, 2, 5], floor=True, scatter=0)
        >>> {size: round(floor) for size, floor in job.floor.items()}
        {4.0: 115}
        """
        return {fit.size_um: fit.floor_per_ml for fit in self.fits}

    @property
    def findings(self) -> tuple[ProgressFinding, ...]:
        """What looks wrong, the doubts first; those of `Remaining` know the target besides.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.fit_progress([0, 1, 2, 3, 4], {4: [5031, 2012, 1589, 1420, 1705]}, [0.5, 0.5, 1, 2, 5], floor=True, scatter=0)
        >>> [finding.code for finding in job.findings]
        ['floor']
        """
        return findings_of(self._native.findings(None))

    def remaining(self, target: float | StartLike | SpecLike) -> Remaining:
        """How many turnovers remain after the last sample until a target is met at every size.

        Parameters
        ----------
        target : number, code, Sample, mapping, published name, path or Spec
            What must be met; a number where there is one size only [particles/mL].

        Returns
        -------
        Remaining

        Raises
        ------
        SiltcodeError
            ``size-not-sampled`` where the target limits a size at which the samples show no fall.

        Notes
        -----
        The interval is that of the profile likelihood [1]_ of all bins together, averaged over what the scatter of bottles
        may be. Its upper end is infinite exactly where a floor as high as the target cannot be ruled out.

        References
        ----------
        .. [1] S. A. Murphy, A. W. van der Vaart, Journal of the American Statistical Association 95 (2000) 449-465.

        Examples
        --------
        >>> import siltcode
        >>> seen = {4: [9100, 3700, 1500, 610], 14: [300, 110, 41, 16]}
        >>> job = siltcode.fit_progress([0, 1, 2, 3], seen, 1)
        >>> job.remaining({4: 320, 14: 40}).deciding
        '4 um(c)'
        """
        is_number = isinstance(target, (int, float))
        wanted: Any = dict.fromkeys(self.efficiency, float(target)) if is_number else target  # type: ignore[arg-type]
        given = counts_given(wanted) or {"spec": read_spec(wanted).as_given()}
        parts = self._native.outlook(given)
        ends = {key: or_never(parts["remaining"][key]) for key in ("estimate", "low", "high")}
        names = [size.pop("size") for size in parts["sizes"]]
        sizes = tuple(SizeRemaining(**{**size, **{key: or_never(size[key]) for key in ends}}) for size in parts["sizes"])
        cautions = tuple(Caution(**each) for each in parts["cautions"])
        findings, assumptions = findings_of(self._native.findings(given)), tuple(parts["assumptions"])
        return Remaining(**ends, deciding=names[parts["deciding"]], sizes=sizes, assumptions=assumptions, findings=findings, cautions=cautions)

    def path(self, turnovers: Any) -> dict[float, NDArray[np.float64]]:
        """The most likely curves, by size.

        Parameters
        ----------
        turnovers : number or array_like
            Counted as those of the samples [-].

        Returns
        -------
        dict of size to array [um: particles/mL]

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.fit_progress([0, 1, 2, 3, 4], {4: [5031, 2012, 1589, 1420, 1705]}, [0.5, 0.5, 1, 2, 5], floor=True, scatter=0)
        >>> job.path([0, 4, 8])[4].round()
        array([10070.,   342.,   120.])
        """
        values = _arrays.flat(np.atleast_1d(_arrays.floats(turnovers, "turnovers")[0]))
        return {fit.size_um: self._native.path(place, values) for place, fit in enumerate(self.fits)}

    def __repr__(self) -> str:
        each = [f"{fit.size_um:g} um: {figures(fit.efficiency, 3)} per turnover, floor {figures(fit.floor_per_ml, 3)}/mL" for fit in self.fits]
        return f"Progress({'; '.join(each)})"

    def _repr_html_(self) -> str:
        headings = ["from size, um", "efficiency", "+-", "floor /mL", "+-", "now /mL at and above"]
        rows = []
        for fit in self.fits:
            errors = fit.errors or FitErrors(math.nan, math.nan, None, None)
            rows.append([fit.size_um, fit.efficiency, errors.efficiency, fit.floor_per_ml, errors.floor, fit.now_per_ml])
        below = "; ".join(f"{finding.size or ''} {finding.code}: {finding.evidence}" for finding in self.findings)
        return html_table(Table(headings, rows, below=below))


def fit_progress(
    turnovers: Any,
    counts: BySize[Sequence[Any]] | Sequence[str | Code | Sample],
    volume: Any = None,
    *,
    dilution: Any = 1.0,
    floor: bool | None = None,
    scatter: float | tuple[float, float] | None = None,
    expected: Beta | BySize[Any] | str | None = None,
    stages: Sequence[tuple[float, Beta | BySize[Any] | str | None]] | None = None,
    dead_zone: tuple[float, float] | None = None,
    cells: int | None = None,
    level: float = 0.95,
    alarm: float = 0.99,
) -> Progress:
    """The fall of the counts of a tank that is being cleaned: its efficiency, its floor, and what they foresee.

    Parameters
    ----------
    turnovers : array_like
        After how many turnovers each sample was drawn [-].
    counts : mapping of size to array_like, or sequence of str, Code or Sample
        The particles counted at and above each size, a value for each sample: a whole number, or ``"<500"``, ``">=20000"``;
        None where there is none [um(c): particles]. Or for each sample its code or its counts.
    volume : str, number, array_like or pint quantity, optional
        The volume in which was counted [mL]; not needed for samples that know theirs.
    dilution : number or array_like
        How much each sample was diluted, 1 or more [-].
    floor : bool, optional
        True: there may be one, and estimates have the most likely. False: there is none. Without it: estimates have one as
        soon as the samples show it, and intervals allow for one from the start.
    scatter : float or tuple of float, optional
        The coefficient of variation of bottles beyond counting [-]; 0 for counting alone. How much of it all sizes of a
        bottle share is taken from the samples. Two numbers state both parts: what all sizes of a bottle share, and what each
        size has for itself. Without it: intervals allow for all that it may be, each with the probability that the samples
        give it.
    expected : Beta, mapping, str, optional
        The filtration ratio that the elements should have [-]. It ties the sizes together while samples are few, and a slow
        fall is found against it.
    stages : sequence of pairs, optional
        Where elements were changed: for each period the turnovers from which on it lasts, and the filtration ratio or None;
        instead of `expected`. A period may lie ahead.
    dead_zone, cells : optional
        How the fluid moves, as in `passes`; stirred without either. Samples are taken to show the mean of the tank.
    level, alarm : float
        The level of intervals, and that at which a difference counts as more than chance [-].

    Returns
    -------
    Progress

    Raises
    ------
    SiltcodeError
        ``too-few-samples``, ``nothing-bounds-above``, ``count-impossible``, ``raw-without-volume``, ``volume-unknown``,
        ``shapes-differ``.

    Notes
    -----
    The particles between each size and the next are a bin. Counts in it are Poisson about ``V (a exp(-kappa tau) + c)``,
    with ``a``, ``kappa`` and ``c >= 0`` of its own, all bins fitted together; all counts of a bottle share one factor that
    scatters from bottle to bottle, and each bin has one of its own besides. Bounds and codes take part with their probability.

    References
    ----------
    .. [1] P. McCullagh, J. A. Nelder, Generalized Linear Models, 2nd ed., 1989, chapters 6 and 9.
    .. [2] S. G. Self, K.-Y. Liang, Journal of the American Statistical Association 82 (1987) 605-610: the test on the edge.

    Examples
    --------
    >>> import siltcode
    >>> seen = {4: [">=20000", 9100, 3350, 1230, "<500"]}
    >>> siltcode.fit_progress([0, 1, 2, 3, 4], seen, "1 mL", floor=False, scatter=0)
    Progress(4 um: 1 per turnover, floor 0/mL)
    >>> codes = ["22/20/17", "21/19/16", "19/17/14", "18/16/13", "17/15/11"]
    >>> siltcode.fit_progress([0, 1, 2, 3, 4], codes, "10 mL").remaining("16/14/11").deciding
    '6 um(c)'
    """
    bottles = _columns(counts) if isinstance(counts, Mapping) else list(map(_bottle, counts))
    volumes = math.nan if volume is None else in_unit(volume, "mL")
    given = {"turnovers": turnovers, "volume": volumes, "dilution": dilution, "counts": np.arange(len(bottles))}
    arrays, _ = _arrays.together(**given)
    after, millilitres, dilutions = (_arrays.flat(array) for array in arrays[:3])
    if after.size != len(bottles):
        _arrays.refused("shapes-differ", f"{after.size} turnovers are given, and {len(bottles)} samples", "give a number of turnovers for each sample")
    for bottle, tau, ml, factor in zip(bottles, after, millilitres, dilutions, strict=True):
        bottle.update(turnovers=float(tau), volume_ml=None if np.isnan(ml) else float(ml), dilution=float(factor))
    if stages is None:
        stages = [] if expected is None else [(0.0, expected)]
    periods = [{"since": float(since), "rating": None if ratio is None else Beta(ratio).as_given()} for since, ratio in stages]
    shared, own = scatter if isinstance(scatter, tuple) else (scatter, None)
    parts = {"scatter": None if shared is None else float(shared), "own_scatter": None if own is None else float(own)}
    how = {"floor": floor, **parts, "stages": periods, "dead_zone": dead_zone, "cells": cells}
    return Progress({"bottles": bottles, **how, "level": float(level), "alarm": float(alarm)})


def _bottle(given: Any) -> dict[str, Any]:
    if isinstance(given, Sample):
        return {"code": None, "sample": given._given(), "seen": []}
    return {"code": str(Code._of(_native.parse_code(str(given)))), "sample": None, "seen": []}


def _columns(counts: Mapping[Any, Any]) -> list[dict[str, Any]]:
    """A bottle for each row of columns by size."""
    columns = {float(size): list(column) for size, column in counts.items()}
    lengths = {len(column) for column in columns.values()}
    if len(lengths) > 1:
        message = f"the sizes have {', '.join(map(str, sorted(lengths)))} counts"
        _arrays.refused("shapes-differ", message, "give a count of every size for each sample, or None")
    rows = range(max(lengths, default=0))
    seen = [[(size, _seen(column[row])) for size, column in columns.items() if _is_counted(column[row])] for row in rows]
    return [{"code": None, "sample": None, "seen": each} for each in seen]


def _is_counted(value: Any) -> bool:
    return value is not None and value == value


def _seen(value: Any) -> str:
    return value if isinstance(value, str) else repr(float(value))


def expected_errors(above_floor: float, efficiency: float, floor: float, turnovers: Any, volume: Any) -> FitErrors | None:
    """The standard errors to be expected of samples that are still to be drawn: what a floor would need to be seen.

    Parameters
    ----------
    above_floor, efficiency, floor : float
        The fall: height above the floor at the first sample [particles/mL], per turnover [-], floor [particles/mL].
    turnovers : array_like
        After how many turnovers each sample will be drawn [-].
    volume : str, number, array_like or pint quantity
        The volume in which will be counted [mL].

    Returns
    -------
    FitErrors or None
        None where such samples do not fix the fall.

    Raises
    ------
    SiltcodeError
        ``factor-out-of-range``, ``count-not-finite``, ``volume-not-positive``, ``shapes-differ``.

    Notes
    -----
    By the expected (Fisher's) information of Poisson counts.

    Examples
    --------
    >>> import siltcode
    >>> late = siltcode.expected_errors(10_000, 0.95, 100, [0, 1, 2, 3, 4], "1 mL")
    >>> round(late.floor)
    26
    """
    arrays, _ = _arrays.together(turnovers=turnovers, volume=in_unit(volume, "mL"))
    after, millilitres = (_arrays.flat(np.atleast_1d(array)).tolist() for array in arrays)
    parts = _native.expected_errors(float(above_floor), float(efficiency), float(floor), after, millilitres)
    return None if parts is None else FitErrors(**parts)


@dataclass(frozen=True, slots=True)
class Shortfall:
    """How far the efficiency that a tank shows lies below the filter's, and what would explain it, of `shortfall`.

    Attributes
    ----------
    ratio : float
        The shown over the filter's [-]; also the share of the stated flow that would explain it, and the inverse of the
        factor on the stated volume.
    bypass, short_circuit : float
        The share of the flow past the medium, or of the return straight to the suction, that would explain it [-].
    z, p : float
        The difference in standard errors, and how likely chance alone makes it as large [-].

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.shortfall(0.72, 0.03, 200)
    >>> round(found.bypass, 3), round(found.short_circuit, 3)
    (0.276, 0.277)
    """

    ratio: float
    bypass: float
    short_circuit: float
    z: float
    p: float


def shortfall(shown: float, standard_error: float, beta: float) -> Shortfall:
    """How far an efficiency lies below that of a filter, and what would explain it. Counts do not tell the causes apart.

    Parameters
    ----------
    shown, standard_error : float
        The efficiency that the tank shows, and its standard error [-].
    beta : float
        The filtration ratio, 1 or more [-].

    Returns
    -------
    Shortfall

    Raises
    ------
    SiltcodeError
        ``factor-out-of-range``, ``beta-below-one``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.shortfall(0.72, 0.03, 200).z, 2)
    9.17
    """
    return Shortfall(**_native.shortfall(float(shown), float(standard_error), float(beta)))
