"""When an element will be due: a trend of its differential pressures, carried on to the terminal one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from numpy.typing import NDArray

from siltcode import _arrays, _native
from siltcode._display import Table, figures, html_table
from siltcode.loading import LoadingLaw
from siltcode.mass import Ends
from siltcode.units import Unit, in_unit, number_in

#: What pressures are followed along.
Axis = Literal["captured-mass", "turnovers", "time"]

_UNITS: dict[str, Unit] = {"captured-mass": "g", "time": "h"}


@dataclass(frozen=True, slots=True)
class LoadingFit:
    """One law, fitted to the pressures of an element, of `loading_fits`.

    Attributes
    ----------
    law : {"cake", "intermediate", "standard", "complete"}
        The law.
    clean_kpa : float or None
        The pressure where the axis is 0; None where the law has none so far back [kPa].
    constant : float or None
        The constant ``K`` of the law, for an element that is clean there [1/unit of the axis].
    deviation : float
        The standard deviation of a reading about the line, relative to the geometric mean of the pressures [-].

    Examples
    --------
    >>> import siltcode
    >>> [fit.law for fit in siltcode.loading_fits([0, 1, 2, 3], [20, 25, 30, 35])][0]
    'cake'
    """

    law: LoadingLaw
    clean_kpa: float | None
    constant: float | None
    deviation: float


@dataclass(frozen=True, slots=True)
class LawAnswer:
    """When an element is due under one law, of `change_out`.

    Attributes
    ----------
    law : {"cake", "intermediate", "standard", "complete"}
        The law.
    aic : float
        Akaike's criterion: the smaller, the better it fits [-]. Below 2 apart laws can hardly be told from each other.
    at : float
        Where the line reaches the terminal pressure [unit of the axis].
    mean_line : tuple of float, or None
        The interval of where the mean pressure reaches it; None where unbounded [unit of the axis].
    single_reading : tuple of float, or None
        The interval of where a single reading does; None where unbounded [unit of the axis].

    Examples
    --------
    >>> import siltcode
    >>> due = siltcode.change_out([0, 1, 2, 3, 4, 5], [20, 25, 31, 39, 50, 62], "150 kPa")
    >>> round(due.under("intermediate").at, 2)
    8.88
    """

    law: LoadingLaw
    aic: float
    at: float
    mean_line: Ends | None
    single_reading: Ends | None


@dataclass(frozen=True, slots=True)
class ChangeOut:
    """When an element will be due, or why that cannot be said, of `change_out`.

    Attributes
    ----------
    outlook : {"expected", "no-trend", "falling", "too-few"}
        Whether the pressure will reach the terminal one; whether nothing says so, since a constant pressure explains the
        readings as well; whether it falls steadily, which is no good news; or whether readings are lacking.
    axis : {"captured-mass", "turnovers", "time"}
        What it is stated along [g], [-], [h].
    at : float or None
        Where the law ``dR/dv = K R**n`` that fits best, with any n from 0 to 2, reaches the terminal pressure; None
        unless it is expected [unit of the axis].
    exponent : float or None
        The n of that law [-].
    mean_line : tuple of float, or None
        The interval of where the mean pressure reaches it, whatever the exponent [unit of the axis].
    single_reading : tuple of float, or None
        The interval of where a single reading does, whatever the exponent; None where unbounded [unit of the axis].
    laws : tuple of LawAnswer
        What each of four laws says if it is the true one, the one first that fits best; empty unless it is expected.
    spread : tuple of float, or None
        From the soonest to the latest of those laws [unit of the axis].
    last : float or None
        The last reading [unit of the axis].
    growth : tuple of float, or None
        The interval of the relative growth at the mean pressure, where it does not surely rise [1/unit of the axis].
    lacking : int
        So many readings are lacking since the first rise of 10 % [-].
    note : str or None
        What has to be said of the axis.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.change_out([0, 1, 2, 3, 4], [20, 20.4, 19.8, 20.1, 20.2], "150 kPa").outlook
    'no-trend'
    >>> siltcode.change_out([0, 1, 2], [20, 25, 31], "150 kPa").lacking
    2
    """

    outlook: Literal["expected", "no-trend", "falling", "too-few"]
    axis: Axis
    at: float | None = None
    exponent: float | None = None
    mean_line: Ends | None = None
    single_reading: Ends | None = None
    laws: tuple[LawAnswer, ...] = ()
    spread: Ends | None = None
    last: float | None = None
    growth: Ends | None = None
    lacking: int = 0
    note: str | None = None

    @property
    def best(self) -> LawAnswer | None:
        """The law of the four that fits best; None unless the terminal pressure is expected.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.change_out([0, 1, 2, 3, 4, 5], [20, 25, 31, 39, 50, 62], 150).best.law
        'intermediate'
        """
        return self.laws[0] if self.laws else None

    @property
    def remaining(self) -> float | None:
        """From the last reading to where it is due; 0 where that was passed [unit of the axis].

        Examples
        --------
        >>> import siltcode
        >>> round(siltcode.change_out([0, 1, 2, 3, 4, 5], [20, 25, 31, 39, 50, 62], 150).remaining, 1)
        3.6
        """
        return None if self.at is None or self.last is None else max(self.at - self.last, 0.0)

    def under(self, law: LoadingLaw) -> LawAnswer | None:
        """What the `law` says; None unless it was fitted.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.change_out([0, 1, 2], [20, 25, 31], "150 kPa").under("cake") is None
        True
        """
        return next((answer for answer in self.laws if answer.law == law), None)

    def _repr_html_(self) -> str:
        rows = [[a.law, figures(a.at), _print(a.mean_line), _print(a.single_reading), figures(a.aic)] for a in self.laws]
        if self.at is not None:
            rows.insert(0, ["any", figures(self.at), _print(self.mean_line), _print(self.single_reading), ""])
        headings = ["law", f"due at [{_UNITS.get(self.axis, 'turnovers')}]", "mean line", "single reading", "AIC"]
        return html_table(Table(headings, rows, self.outlook, self.note or ""))


def _print(ends: Ends | None) -> str:
    return "unbounded" if ends is None else f"{figures(ends[0])} to {figures(ends[1])}"


def _pair(ends: Any) -> Ends | None:
    return None if ends is None else (ends[0], ends[1])


def along_given(along: Any, axis: str) -> Any:
    """Places along an axis as numbers of its unit."""
    _arrays.one_of(axis, "axis", ("captured-mass", "turnovers", "time"))
    return in_unit(along, _UNITS[axis]) if axis in _UNITS else along


def change_out_of(found: dict[str, Any], axis: Axis, note: str | None) -> ChangeOut:
    """The outlook as the native module gives it."""
    laws = tuple(
        LawAnswer(a["law"], a["aic"], a["at"], _pair(a["mean_line"]), _pair(a["single_reading"])) for a in found.get("laws", ())
    )
    return ChangeOut(
        found["outlook"],
        axis,
        at=found.get("at"),
        exponent=found.get("exponent"),
        mean_line=_pair(found.get("mean_line")),
        single_reading=_pair(found.get("single_reading")),
        laws=laws,
        spread=_pair(found.get("spread")),
        last=found.get("last"),
        growth=_pair(found.get("growth")),
        lacking=found.get("lacking", 0),
        note=note,
    )


def change_out(along: Any, pressure: Any, terminal: Any, *, axis: Axis = "turnovers", level: float = 0.95) -> ChangeOut:
    """When the differential pressure of an element will reach its terminal one.

    Parameters
    ----------
    along : array_like, list of str or pint quantity
        How far along the axis each reading stands, in order: the mass caught [g], the turnovers [-] or the time [h].
    pressure : array_like, list of str or pint quantity
        The readings, at rated flow: see `pressure_at_rated` [kPa]. NaN, and 0 or less, are left out.
    terminal : str, number or pint quantity
        The pressure at which the element is to be changed, at rated flow [kPa].
    axis : {"captured-mass", "turnovers", "time"}
        Time is your choice, and marked so: while the tank becomes cleaner an element loads ever more slowly.
    level : float
        The level of the intervals, from 1e-12 to 1 - 1e-12 [-].

    Returns
    -------
    ChangeOut

    Raises
    ------
    SiltcodeError
        ``axis-not-rising`` unless each reading stands as far along as the one before, or further;
        ``quantity-out-of-range`` unless `terminal` is above 0; ``level-out-of-range``; ``shapes-differ``.

    Notes
    -----
    Which law an element follows shows late. So the answer is a profile over all laws ``dR/dv = K R**n`` with n from 0 to
    2, by least squares of the logarithms of the pressures: its interval covers the truth in about 95 of 100 cases whichever
    law holds. What each of four laws says (see `resistance_ratio`) if it is the true one stands beside it: straight lines
    in ``(p**(1-n) - 1) / (1 - n)``, with Fieller's intervals, compared by Akaike's criterion on the pressures. Four
    readings since the first rise of 10 % are the least.

    References
    ----------
    .. [1] E. C. Fieller, Some problems in interval estimation, J. R. Stat. Soc. B 16 (1954) 175-185.
    .. [2] G. E. P. Box and D. R. Cox, An analysis of transformations, J. R. Stat. Soc. B 26 (1964) 211-252.

    Examples
    --------
    >>> import siltcode
    >>> bar = [0.30, 0.36, 0.47, 0.58, 0.76, 0.95, 1.22]
    >>> due = siltcode.change_out([0, 2, 4, 6, 8, 10, 12], [f"{each} bar" for each in bar], "2.2 bar", axis="time")
    >>> due.outlook, round(due.at, 1), [round(end, 1) for end in due.mean_line]
    ('expected', 16.5, [15.4, 17.9])
    >>> due.best.law, round(due.best.at, 1), [round(end, 1) for end in due.spread]
    ('intermediate', 17.1, [12.8, 26.3])
    """
    places, kpa = _columns(along, pressure, axis)
    found, note = _native.change_out(axis, places, kpa, number_in(terminal, "kPa"), float(level))
    return change_out_of(found, axis, note)


def loading_fits(along: Any, pressure: Any, *, axis: Axis = "turnovers") -> tuple[LoadingFit, ...]:
    """The four laws of loading, fitted to the differential pressures of an element.

    Parameters
    ----------
    along, pressure
        As for `change_out`.
    axis : {"captured-mass", "turnovers", "time"}
        As for `change_out`.

    Returns
    -------
    tuple of LoadingFit
        The one first that fits best.

    Raises
    ------
    SiltcodeError
        ``readings-too-few`` unless three readings above 0 stand at two places or more; ``axis-not-rising``.

    Examples
    --------
    >>> import siltcode
    >>> fits = siltcode.loading_fits([0, 1, 2, 3], [20, 25, 30, 35])
    >>> round(fits[0].clean_kpa, 3), round(fits[0].constant, 3)
    (20.0, 0.25)
    """
    places, kpa = _columns(along, pressure, axis)
    return tuple(LoadingFit(**fit) for fit in _native.loading_fits(axis, places, kpa))


def _columns(along: Any, pressure: Any, axis: str) -> tuple[NDArray[Any], NDArray[Any]]:
    (places, kpa), _ = _arrays.together(along=along_given(along, axis), pressure=in_unit(pressure, "kPa"))
    return _arrays.flat(places), _arrays.flat(kpa)
