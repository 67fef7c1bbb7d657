"""Differential pressures of an element: at rated flow, held against its limit, and what a series of them says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from siltcode import _arrays, _native
from siltcode._display import Table, html_table
from siltcode.trend import Axis, ChangeOut, along_given, change_out_of
from siltcode.reference import Caution
from siltcode.units import Unit, in_unit, number_in

#: Where an element stands.
Duty = Literal["last-point", "elsewhere"]


def pressure_at_rated(
    pressure: Any,
    flow: Any,
    rated_flow: Any,
    *,
    viscosity: Any = None,
    rated_viscosity: Any = None,
    density: Any = None,
    rated_density: Any = None,
    laminar: float = 1.0,
    laminar_at: Literal["reading", "rated"] = "reading",
) -> Any:
    """What differential pressures are at rated flow: only that can be held against a limit or followed as a trend.

    Parameters
    ----------
    pressure : str, number, array_like or pint quantity
        What the gauge shows [kPa].
    flow : str, number, array_like or pint quantity
        The flow at that moment [L/min].
    rated_flow : str, number or pint quantity
        The flow to which the limit belongs [L/min].
    viscosity, rated_viscosity : str, number, array_like or pint quantity, optional
        The kinematic viscosity at the reading, and that of the rating; the same in both where one is missing [mm2/s].
    density, rated_density : str, number, array_like or pint quantity, optional
        The density likewise [kg/m3].
    laminar : float
        The share of the pressure that is laminar, 0 to 1 [-]. All of it is taken for laminar unless told otherwise, which
        reads low where the flow has to be scaled up.
    laminar_at : {"reading", "rated"}
        Whether that is the share of the reading, or of the pressure at rated flow.

    Returns
    -------
    float of the same kind and shape [kPa]
        NaN where a reading of an array has no flow.

    Raises
    ------
    SiltcodeError
        ``flow-missing`` without a flow; ``quantity-out-of-range`` unless the flow is above 0; ``share-out-of-range``.

    Notes
    -----
    ``dP = a mu Q + b rho Q**2``, and with ``mu = nu rho`` ``dP = rho (a nu Q + b Q**2)``: the density is a factor of both
    parts.

    References
    ----------
    .. [1] GamGram No. 26, Gammon Technical Products: in proportion to the flow. Worked values and their sources stand in
       ``tests/golden/loading.csv``.

    Examples
    --------
    >>> import siltcode
    >>> from siltcode.units import in_unit
    >>> psi = in_unit("1 psi", "kPa")
    >>> round(siltcode.pressure_at_rated("8 psi", "150 gpm", "300 gpm") / psi, 1)
    16.0
    >>> round(siltcode.pressure_at_rated("8 psi", "150 gpm", "300 gpm", laminar=0.7) / psi, 1)
    20.8
    """
    if flow is None:
        _native.refuse_without_flow(f"{pressure}")
    arrays, back = _arrays.together(**_columns(pressure, flow, viscosity, density))
    rated = _rated(rated_flow, rated_viscosity, rated_density, laminar, laminar_at)
    found = _native.pressures_at_rated([_arrays.flat(array) for array in arrays], rated)
    return back(found.reshape(arrays[0].shape))


@dataclass(frozen=True, slots=True)
class ChangeRule:
    """When an element is to be changed, of `change_rule` or your own: at a pressure or at an age, whichever comes first.

    Attributes
    ----------
    limit : str, number or pint quantity
        The differential pressure, at rated flow [kPa].
    age : str, number, pint quantity or None
        The age [h].
    status : str
        How the limits are known.
    source : str
        Where they stand; empty for your own.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.ChangeRule("22 psi", "2 years").is_due("10 psi", "30 d")
    False
    """

    limit: Any
    age: Any = None
    status: str = "USER"
    source: str = ""

    def _given(self) -> tuple[float, float | None]:
        return number_in(self.limit, "kPa"), _optional(self.age, "h")

    def is_due(self, pressure: Any, age: Any = None) -> bool:
        """Whether an element with this `pressure` at rated flow [kPa], and of this `age` [h], is to be changed.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.change_rule("last-point").is_due("4 psi", "3 years")
        True
        """
        return _native.is_due(self._given(), number_in(pressure, "kPa"), _optional(age, "h"))


def change_rule(duty: Duty = "elsewhere") -> ChangeRule:
    """The published rule by which elements are changed.

    Parameters
    ----------
    duty : {"last-point", "elsewhere"}
        Whether it is the last point of filtration.

    Returns
    -------
    ChangeRule
        A maker's own limit comes before it.

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless it is one of the two.

    References
    ----------
    .. [1] UFC 3-460-03, Operation and maintenance of petroleum systems (2003), 10.3.9.1 and 10.3.9.2, in the table
       ``element_change``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.change_rule("last-point").limit, 1), siltcode.change_rule("elsewhere").source
    (103.4, 'ufc-3-460-03')
    """
    found = _native.change_rule(duty)
    return ChangeRule(found["limit_kpa"], found["age_hours"], found["status"], found["source"])


@dataclass(frozen=True, slots=True)
class GaugeFinding:
    """Something that a series of differential pressures says, of `watch_element`.

    Attributes
    ----------
    code : str
        ``due``, ``near``, ``due-by-age``, ``fallen``, ``sinking``, ``rising``, ``no-trend``, ``too-few``, ``low-flow`` or
        ``flow-missing``.
    urgency : {"alarm", "change", "note"}
        How urgent it is.
    reading : int or None
        The reading it concerns, counted from 0 [-].
    compared_with : int or None
        The earlier reading that it is compared with, counted from 0 [-].
    evidence, advice : str
        What was found, and what to do.

    Examples
    --------
    >>> import siltcode
    >>> seen = siltcode.watch_element([0, 1], [40, 20], [60, 60], 60, "100 kPa", error="2 kPa")
    >>> seen.findings[0].code, seen.findings[0].urgency
    ('fallen', 'alarm')
    """

    code: str
    urgency: Literal["alarm", "change", "note"]
    reading: int | None
    compared_with: int | None
    evidence: str
    advice: str


@dataclass(frozen=True, eq=False, slots=True)
class ElementWatch:
    """What a series of differential pressures says, of `watch_element`.

    Attributes
    ----------
    at_rated : array of float
        Each reading at rated flow; NaN where it has no flow [kPa].
    findings : tuple of GaugeFinding
        The most urgent first.
    outlook : ChangeOut or None
        When the limit will be reached; None without a reading at rated flow.
    since : int
        The first reading that the outlook rests on: that after the last fall [-].
    assumptions : tuple of str
        What was taken for granted.
    cautions : tuple of Caution
        What to beware of at housings and gauges.

    Examples
    --------
    >>> import siltcode
    >>> seen = siltcode.watch_element([0, 1], ["4 psi", "8 psi"], ["300 gpm", "150 gpm"], "300 gpm", "last-point", error="0.5 psi")
    >>> [finding.code for finding in seen.findings], seen.assumptions[0]
    (['due', 'too-few'], 'the whole pressure is taken for laminar')
    """

    at_rated: NDArray[np.float64]
    findings: tuple[GaugeFinding, ...]
    outlook: ChangeOut | None
    since: int
    assumptions: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def _repr_html_(self) -> str:
        rows = [[f.urgency, f.code, f.reading, f.evidence, f.advice] for f in self.findings]
        below = "; ".join([*self.assumptions, _native.DEFERENCE, *(f"{c.topic}: {c.text}" for c in self.cautions)])
        return html_table(Table(["urgency", "code", "reading", "evidence", "advice"], rows, "element", below))


def watch_element(
    along: Any,
    pressure: Any,
    flow: Any,
    rated_flow: Any,
    rule: Any,
    *,
    error: Any,
    near: float | None = None,
    age: Any = None,
    axis: Axis = "turnovers",
    viscosity: Any = None,
    rated_viscosity: Any = None,
    density: Any = None,
    rated_density: Any = None,
    laminar: float = 1.0,
    laminar_at: Literal["reading", "rated"] = "reading",
    level: float = 0.95,
) -> ElementWatch:
    """What the differential pressures of one element say: due, near, fallen, rising, or nothing yet.

    A pressure that falls is no good news: the element is ruptured or missing, or a bypass is open.

    Parameters
    ----------
    along : array_like, list of str or pint quantity
        How far along the axis each reading stands, in order: the mass caught [g], the turnovers [-] or the time [h].
    pressure, flow : array_like, list of str or pint quantity
        What the gauge shows [kPa] and the flow at that moment [L/min]; NaN where the flow was not read.
    rated_flow : str, number or pint quantity
        The flow to which the limit belongs [L/min].
    rule : ChangeRule, {"last-point", "elsewhere"}, str, number or pint quantity
        When the element is to be changed: a rule, the published one for a duty, or a limit [kPa].
    error : str, number or pint quantity
        By how much two readings of the same pressure may differ, exceeded once in twenty: the repeatability limit of the
        gauge [kPa].
    near : float, optional
        From this share of the limit on it is near, 0 or more and below 1 [-].
    age : str, number or pint quantity, optional
        How old the element is [h].
    axis : {"captured-mass", "turnovers", "time"}
        As for `change_out`.
    viscosity, rated_viscosity, density, rated_density, laminar, laminar_at
        As for `pressure_at_rated`.
    level : float
        The level of the intervals, above 0 and below 1 [-].

    Returns
    -------
    ElementWatch

    Raises
    ------
    SiltcodeError
        ``axis-not-rising``; ``quantity-out-of-range`` unless the rated flow and the limit are above 0 and the error is 0
        or more; ``share-out-of-range``, ``level-out-of-range``, ``shapes-differ``.

    Notes
    -----
    A fall is one of the last reading, or of the last two, below earlier ones by more than the scatter that `error` states
    makes likely in a series of this length: of elements whose pressure never falls at most 2 % ever raise an alarm. What is
    said of the trend rests on the readings since the last fall. Below half the rated flow a low reading proves little.

    Examples
    --------
    >>> import siltcode
    >>> flow = ["60 L/min", "60 L/min", "55 L/min", "50 L/min", "45 L/min", "40 L/min"]
    >>> kpa = [20, 25, 29, 33, 37, 41]
    >>> seen = siltcode.watch_element([0, 0.5, 1, 1.5, 2, 2.5], kpa, flow, "60 L/min", "elsewhere", error="1 kPa", near=0.4)
    >>> [finding.code for finding in seen.findings], round(seen.outlook.best.at, 1)
    (['near', 'rising'], 4.3)
    """
    columns, _ = _arrays.together(along=along_given(along, axis), **_columns(pressure, flow, viscosity, density))
    if isinstance(rule, str) and rule in ("last-point", "elsewhere"):
        rule = change_rule("last-point" if rule == "last-point" else "elsewhere")
    limit, limit_age = (rule if isinstance(rule, ChangeRule) else ChangeRule(rule))._given()
    given = {
        "rated": _rated(rated_flow, rated_viscosity, rated_density, laminar, laminar_at),
        "limit": limit,
        "limit_age": limit_age,
        "error": number_in(error, "kPa"),
        "near": None if near is None else float(near),
        "age": _optional(age, "h"),
        "axis": axis,
        "level": float(level),
    }
    first, *others = [_arrays.flat(array) for array in columns]
    found = _native.watch_element(first, others, given)
    outlook = found["outlook"]
    return ElementWatch(
        np.array(found["at_rated"], np.float64),
        tuple(GaugeFinding(**finding) for finding in found["findings"]),
        None if outlook is None else change_out_of(outlook, axis, None),
        found["since"],
        tuple(found["assumptions"]),
        tuple(Caution(**each) for each in found["cautions"]),
    )


def _rated(flow: Any, viscosity: Any, density: Any, laminar: float, laminar_at: str) -> dict[str, Any]:
    return {
        "flow": number_in(flow, "L/min"),
        "viscosity": _optional(viscosity, "mm2/s"),
        "density": _optional(density, "kg/m3"),
        "laminar": None if laminar == 1 else float(laminar),
        "laminar_at": _arrays.one_of(laminar_at, "laminar_at", ("reading", "rated")),
    }


def _columns(pressure: Any, flow: Any, viscosity: Any, density: Any) -> dict[str, Any]:
    return {
        "pressure": in_unit(pressure, "kPa"),
        "flow": in_unit(flow, "L/min"),
        "viscosity": in_unit(viscosity, "mm2/s"),
        "density": in_unit(density, "kg/m3"),
    }


def _optional(given: Any, unit: Unit) -> float | None:
    return None if given is None else number_in(given, unit)
