"""Turnovers from logged readings: of a totaliser where there are any, else of the flow over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siltcode import _arrays, _native
from siltcode.units import in_unit, number_in


@dataclass(frozen=True, slots=True)
class LogGap:
    """Two readings that say little of what went on between them.

    Attributes
    ----------
    from_hours, to_hours : float
        The readings [h].
    turnovers : float or None
        What the straight line between their flows adds [-]; None, and nothing is counted, where one has no flow.
    text : str
        The same in words.

    Examples
    --------
    >>> import siltcode
    >>> log = siltcode.turnovers_logged([0, 12], "6 m3", flow=[50, 50], longest_gap="4 h")
    >>> log.gaps[0].text
    '0 s to 12 h: 6 turnovers, if the flow went on evenly'
    """

    from_hours: float
    to_hours: float
    turnovers: float | None
    text: str


@dataclass(frozen=True, eq=False, slots=True)
class Logged:
    """Turnovers from a log, of `turnovers_logged`.

    Attributes
    ----------
    at : array of float
        Since the first reading, at each [-].
    gaps : tuple of LogGap
        Where the log leaves something open.
    resets_hours : tuple of float
        Where the totaliser went back: it was set to zero or changed, and the flow stands in for it [h].

    Examples
    --------
    >>> import siltcode
    >>> siltcode.turnovers_logged([0, 2, 4], "6 m3", total=["0 m3", "5 m3", "9 m3"], longest_gap="4 h").turnovers
    1.5
    """

    at: NDArray[np.float64]
    gaps: tuple[LogGap, ...]
    resets_hours: tuple[float, ...]

    @property
    def turnovers(self) -> float:
        """All of them [-]."""
        return float(self.at[-1]) if self.at.size else 0.0


def turnovers_logged(time: Any, tank: Any, *, flow: Any = None, total: Any = None, longest_gap: Any) -> Logged:
    """Turnovers of a tank from what was logged, ``integral Q dt / V``.

    While elements load up and pumps are throttled the flow falls, so hours say little.

    Parameters
    ----------
    time : array_like, list of str or pint quantity
        Since any start, rising [h].
    tank : str, number or pint quantity
        The fluid in the tank [m3].
    flow : array_like, list of str or pint quantity, optional
        The flow at each time; NaN where it was not read [L/min].
    total : array_like, list of str or pint quantity, optional
        What a totaliser shows at each time; NaN where it was not read [m3].
    longest_gap : str, number or pint quantity
        What lies longer than this between two readings of the flow is said to be a gap [h].

    Returns
    -------
    Logged

    Raises
    ------
    SiltcodeError
        ``axis-not-rising``; ``quantity-out-of-range`` unless the volume is above 0; ``shapes-differ``.

    Notes
    -----
    Between two readings of a totaliser its difference counts, and the flow only shares it out; elsewhere the flow, by
    the trapezoid rule.

    Examples
    --------
    >>> import siltcode
    >>> log = siltcode.turnovers_logged([0, 2, 4], "6 m3", flow=["60 L/min", "50 L/min", "40 L/min"], longest_gap="4 h")
    >>> log.at.round(2)
    array([0. , 1.1, 2. ])
    """
    given = {"time": in_unit(time, "h"), "flow": in_unit(flow, "L/min"), "total": in_unit(total, "m3")}
    arrays, _ = _arrays.together(**given)
    columns = [_arrays.flat(array) for array in arrays]
    found = _native.turnovers_logged(columns, number_in(tank, "m3"), number_in(longest_gap, "h"))
    gaps = tuple(LogGap(*gap) for gap in found["gaps"])
    return Logged(np.array(found["at"]), gaps, tuple(found["resets"]))
