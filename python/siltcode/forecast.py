"""The forecast of a cleaning: turnovers and hours to a target, with their doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from siltcode import _arrays, _native
from siltcode._display import Table, figures, html_table
from siltcode.codes import Code
from siltcode.reference import Caution, cautions_html, cautions_of
from siltcode.units import number_in


@dataclass(frozen=True, slots=True)
class Remedy:
    """What would bring a floor down to its target; each alone, and more than this of it.

    Attributes
    ----------
    flow : float or None
        A larger flow [L/min]; None where the filter sheds too much at any.
    beta : float or None
        A larger ratio in every bin [-]; None where even a perfect filter would not do.
    ingress_share : float or None
        The share of the ingress that may remain [-].

    Examples
    --------
    >>> import siltcode
    >>> incoming = {4: 3000, 6: 900, 14: 10}
    >>> stuck = siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", "18 m3", "60 L/min", ingress=incoming)
    >>> remedy = stuck.channels[0].remedy
    >>> round(remedy.flow), remedy.beta, round(remedy.ingress_share, 2)
    (635, None, 0.09)
    """

    flow: float | None
    beta: float | None
    ingress_share: float | None


@dataclass(frozen=True, slots=True)
class ChannelForecast:
    """One size of the target.

    Attributes
    ----------
    size_um : float
        Particles at and above this size [um(c)].
    start_per_ml, target_per_ml, floor_per_ml : float
        The start, the most allowed, and what no number of turnovers goes below [particles/mL].
    turnovers : float or None
        The turnovers needed [-]; None where the target cannot be reached.
    per_further_number : float or None
        The turnovers from the target to the next cleaner range number [-].
    remedy : Remedy or None
        What would make it reachable.

    Examples
    --------
    >>> import siltcode
    >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
    >>> [(channel.size_um, round(channel.turnovers, 2)) for channel in job.channels]
    [(4.0, 5.2), (6.0, 2.89), (14.0, 2.79)]
    """

    size_um: float
    start_per_ml: float
    target_per_ml: float
    floor_per_ml: float
    turnovers: float | None
    per_further_number: float | None
    remedy: Remedy | None


class Passes:
    """The forecast of `passes`.

    Attributes
    ----------
    turnovers : float
        The tank turnovers by the best estimates, the mixing factor included [-]; infinite where the target cannot be
        reached with the least that the ratings allow.
    nominal : float
        The same without the mixing factor: those of a stirred tank [-].
    at_best_rating : float
        The turnovers if every ratio is the best that its rating allows [-]: with `turnovers` the range that bounds,
        intervals and sizes without a rating leave open.
    hours : float
        The time they take [h].
    mean : float
        The mean number of turnovers over the doubt [-]; infinite where the target may be out of reach.
    reachable : bool or None
        Whether any number of turnovers is enough; None where the ratings leave that open.
    unverified : bool
        Whether a limit of the target was recalled and not read: verify it before use.
    deciding : str
        The size that takes longest.
    channels : tuple of ChannelForecast
        Size by size.
    causes : dict of str to float, or None
        The share of the variance by cause: ``start``, ``beta``, ``ingress``, ``mixing`` [-]; None without doubt.
    advice : str or None
        The largest cause in words, and what would narrow it.
    transfers : int or None
        How many transfers through the filter into a clean tank would do instead [-]; None where no number does.
    assumptions : tuple of str
        What was taken for granted.

    Examples
    --------
    >>> import siltcode
    >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
    >>> round(job.turnovers, 1), round(job.hours), job.deciding
    (5.2, 26, '4 um(c)')
    """

    def __init__(self, given: dict[str, Any]) -> None:
        self._given = given
        self._native = _native.passes(given)
        parts = self._native.parts()
        self.turnovers: float = _or_infinite(parts["turnovers"])
        self.nominal: float = _or_infinite(parts["nominal"])
        self.at_best_rating: float = min(_or_infinite(parts["at_best_rating"]), self.turnovers)
        left_open = math.isinf(self.turnovers) and math.isfinite(self.at_best_rating)
        self.reachable: bool | None = None if left_open else math.isfinite(self.turnovers)
        self.hours: float = _or_infinite(parts["hours"])
        self.unverified: bool = parts["unverified"]
        self.mean: float = parts["mean"]
        self.deciding: str = parts["deciding"]
        self.channels = tuple(_channel(channel) for channel in parts["channels"])
        self.causes: dict[str, float] | None = parts["causes"]
        self.advice: str | None = parts["advice"]
        self.transfers: int | None = parts["transfers"]
        self.assumptions: tuple[str, ...] = tuple(parts["assumptions"])

    def __reduce__(self) -> tuple[Any, ...]:
        return Passes, (self._given,)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Passes) and self._given == other._given

    def __hash__(self) -> int:
        return hash((self.turnovers, self.channels))

    def quantile(self, p: float) -> float:
        """The turnovers that are enough with probability `p`, ``0 < p < 1`` [-]; infinite where no number is.

        Raises
        ------
        SiltcodeError
            ``level-out-of-range`` unless ``0 < p < 1``.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", "18 m3", "60 L/min", beta_spread=1.5)
        >>> [round(job.quantile(p), 1) for p in (0.1, 0.5, 0.9)]
        [4.2, 5.2, 7.0]
        """
        found = self._native.quantile(float(p))
        return math.inf if found is None else found

    def hours_of(self, turnovers: float) -> float:
        """The time that so many `turnovers` take [h].

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> job.hours_of(7)
        35.0
        """
        return self._native.hours(turnovers) if math.isfinite(turnovers) else math.inf

    def turnovers_in(self, time: Any) -> float:
        """The turnovers within a `time`, text with a unit or a number [h] at a steady flow [-].

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> job.turnovers_in("1 d")
        4.8
        """
        return self._native.turnovers(number_in(time, "h"))

    def hours_declining(self, to: Any, over: Any) -> float:
        """The time to the target while the flow declines as the filter loads up.

        Parameters
        ----------
        to : str, number or pint quantity
            The flow in the end, above 0: it goes there in a straight line and stays [L/min].
        over : str, number or pint quantity
            The time that the decline takes [h].

        Returns
        -------
        float [h]
            Infinite where the flow in the end would not hold one of the targets.

        Raises
        ------
        SiltcodeError
            ``no-flow`` unless `to` is above 0.

        Notes
        -----
        What comes in goes on by the hour, so more turnovers are needed than at a steady flow.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> round(job.hours, 1), round(job.hours_declining("30 L/min", "20 h"), 1)
        (26.0, 42.0)
        """
        found = self._native.hours_declining(number_in(to, "L/min"), number_in(over, "h"))
        return math.inf if found is None else found

    def turnovers_declining(self, time: Any, to: Any, over: Any) -> float:
        """The turnovers within a `time` [h] while the flow declines; `to` and `over` as for `hours_declining` [-].

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> job.turnovers_declining("20 h", "30 L/min", "20 h")  # instead of 4
        3.0
        """
        hours, over_hours = number_in(time, "h"), number_in(over, "h")
        return self._native.turnovers_declining(hours, number_in(to, "L/min"), over_hours)

    def transferred(self, transfers: int) -> dict[float, float]:
        """The concentrations after so many `transfers` through the filter into a clean tank, without mixing.

        Returns
        -------
        dict of size to concentration [um(c) to particles/mL]

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes({14: 1000}, {14: 10}, {14: 10}, "18 m3", "60 L/min")
        >>> job.transfers, round(job.transferred(2)[14.0], 6)
        (2, 10.0)
        """
        sizes = [channel.size_um for channel in self.channels]
        return dict(zip(sizes, self._native.transferred(_arrays.whole(transfers, "transfers")), strict=True))

    def beta_for(self, turnovers: float) -> dict[float, float | None]:
        """The ratio, the same in every bin, that would be enough in so many turnovers.

        Parameters
        ----------
        turnovers : float
            The turnovers there is time for [-].

        Returns
        -------
        dict of size to ratio [um(c) to -]
            None where even a perfect filter would not do.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> round(job.beta_for(4.0)[4.0], 3)
        3.259
        """
        sizes = [channel.size_um for channel in self.channels]
        return dict(zip(sizes, self._native.beta_for(float(turnovers)), strict=True))

    def flow_for(self, time: Any) -> float | None:
        """The flow that would be enough in a `time`, text with a unit or a number [h]; None where no flow is [L/min].

        What the filter holds back is taken to be the same at any flow, which a flow far above its rating is not.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> round(job.flow_for("8 h"))
        195
        """
        return self._native.flow_for(number_in(time, "h"))

    def code_after(self, turnovers: float) -> Code:
        """The code after so many `turnovers`, for a target at the sizes of the code.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> job.code_after(3)
        Code('20/16/13')
        """
        return Code._of(_native.parse_code(self._native.code_after(float(turnovers))))

    def clean_after(self, turnovers: Any) -> Any:
        """The probability that so many turnovers are enough.

        Parameters
        ----------
        turnovers : number or array_like, any shape
            Numbers of turnovers [-].

        Returns
        -------
        float of the same kind and shape [-]
            Without doubt 0 or 1.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", "18 m3", "60 L/min", beta_spread=1.5)
        >>> job.clean_after([4, 6, 8]).round(2)
        array([0.05, 0.75, 0.96])
        """
        values, back = _arrays.floats(turnovers, "turnovers")
        return back(self._native.clean_after(_arrays.flat(values)).reshape(values.shape))

    def path(self, turnovers: Any = None, at: Literal["tank", "suction"] = "tank") -> dict[str, NDArray[np.float64]]:
        """The concentrations at each size of the target along the way.

        Parameters
        ----------
        turnovers : array_like, optional
            Numbers of turnovers [-]; without them, 101 from none to a little beyond the last target.
        at : {"tank", "suction"}
            On average over the tank, or what a sample of the suction line shows.

        Returns
        -------
        dict of str to ndarray
            ``"turnovers"`` [-], ``"hours"`` [h], and ``"4 um(c)"`` and so on [particles/mL].

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", "18 m3", "60 L/min")
        >>> job.path([0, job.turnovers])["4 um(c)"].round(6)
        array([40000.,  2500.])
        """
        end = 1.2 * self.turnovers if self.reachable and self.turnovers > 0 else 10.0
        given = np.linspace(0.0, end, 101) if turnovers is None else turnovers
        values = np.atleast_1d(_arrays.floats(given, "turnovers")[0]).astype(np.float64)
        at_suction = _arrays.one_of(at, "at", ("tank", "suction")) == "suction"
        along = self._native.path(_arrays.flat(values), at_suction)
        names = [f"{channel.size_um:g} um(c)" for channel in self.channels]
        with np.errstate(over="ignore"):  # more hours than a number holds are infinitely many
            hours = values * self.hours_of(1.0)
        return {"turnovers": values, "hours": hours, **dict(zip(names, along, strict=True))}

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What to beware of in such a job; `siltcode.DEFERENCE` stands above it.

        Examples
        --------
        >>> import siltcode
        >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
        >>> job.cautions[0].topic
        'flammable vapour'
        """
        return cautions_of(*self._given["said"])[0]

    def __repr__(self) -> str:
        target = ", target UNVERIFIED" if self.unverified else ""
        if self.reachable is None:
            return f"Passes(at least {figures(self.at_best_rating, 3)} turnovers: the rating leaves the most open{target})"
        if not self.reachable:
            return f"Passes(not reachable: {self.deciding} decides{target})"
        turnovers, hours = figures(self.turnovers, 3), figures(self.hours, 3)
        return f"Passes({turnovers} turnovers, {hours} h, {self.deciding} decides{target})"

    def _repr_html_(self) -> str:
        rows = [_forecast_row(channel) for channel in self.channels]
        headings = ["size, um(c)", "start /mL", "target /mL", "floor /mL", "turnovers"]
        return html_table(Table(headings, rows, repr(self)[7:-1], "assumed: " + "; ".join(self.assumptions))) + cautions_html(*self._given["said"])


def _or_infinite(value: float | None) -> float:
    return math.inf if value is None else value


def _forecast_row(channel: ChannelForecast) -> list[Any]:
    counts = [channel.start_per_ml, channel.target_per_ml, channel.floor_per_ml]
    needed = "not reachable" if channel.turnovers is None else float(figures(channel.turnovers, 3))
    return [channel.size_um, *counts, needed]


def _channel(part: dict[str, Any]) -> ChannelForecast:
    return ChannelForecast(**{**part, "remedy": None if part["remedy"] is None else _remedy(**part["remedy"])})


def _remedy(flow: float | None, beta: float | None, ingress_share: float | None) -> Remedy:
    return Remedy(flow, beta, ingress_share)
