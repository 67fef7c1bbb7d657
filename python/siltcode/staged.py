"""A job planned: which stages, for how long, with how many elements, at what cost."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from siltcode import _native
from siltcode._display import Table, figures, html_table
from siltcode.codes import Code
from siltcode.errors import SiltcodeError
from siltcode.forecast import Remedy
from siltcode.reference import Caution, cautions_html, cautions_of
from siltcode.tank import StartLike, counts_given


@dataclass(frozen=True, slots=True)
class PlannedElement:
    """The elements of one place in a stage.

    Attributes
    ----------
    kind : str
        ``"bag"``, ``"spin-on"``, ``"cartridge"``, ``"water-absorbing"`` or ``"empty-housing"``.
    number : int
        How many are used up: so many to bring.
    spare : int
        How many more to bring, since those may be full before the end; they are in no cost.
    caught_g : float
        What they catch together [g].
    capacity_g : float or None
        What one of them holds [g]; None where that is not known.
    price : float or None
        What one of them costs [money].

    Examples
    --------
    >>> import siltcode
    >>> siltcode.PlannedElement("bag", 1, 0, 310.0, 500.0, 12.0).number
    1
    """

    kind: str
    number: int
    spare: int
    caught_g: float
    capacity_g: float | None
    price: float | None


@dataclass(frozen=True, slots=True)
class PlannedStage:
    """What one stage of a plan does.

    Attributes
    ----------
    name : str
        What it is called.
    flow : float
        The flow [L/min].
    hours, setup_hours, change_hours : float
        How long the tank is circulated through it, and how long setting up and putting in all elements take [h].
    setup_cost : float
        What setting up costs, beside the time [money].
    turnovers : float
        The tank turnovers in that time [-].
    elements : tuple of PlannedElement
        In the order of the flow.
    left_per_ml : dict of float to float
        What it leaves at and above each size [um(c) to particles/mL].

    Examples
    --------
    >>> import siltcode
    >>> bag = siltcode.PlannedElement("bag", 1, 0, 310.0, 500.0, 12.0)
    >>> siltcode.PlannedStage("coarse", 120.0, 3.0, 0.5, 0.2, 0.0, 1.2, (bag,), {4.0: 20000.0}).elements[0].kind
    'bag'
    """

    name: str
    flow: float
    hours: float
    setup_hours: float
    change_hours: float
    setup_cost: float
    turnovers: float
    elements: tuple[PlannedElement, ...]
    left_per_ml: dict[float, float]


@dataclass(frozen=True, slots=True)
class OutOfReach:
    """What stands in the way of the stage that comes nearest to the target.

    Attributes
    ----------
    stage : str
        The stage.
    size_um : float
        The size that decides [um(c)].
    floor_per_ml, target_per_ml : float
        What no time goes below there, and the target [particles/mL].
    remedy : Remedy or None
        What would make it reachable with that stage.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.OutOfReach("fine", 4.0, 2600.0, 2500.0, None).size_um
    4.0
    """

    stage: str
    size_um: float
    floor_per_ml: float
    target_per_ml: float
    remedy: Remedy | None


@dataclass(frozen=True, slots=True)
class Booked:
    """How long to book so that a plan is enough with a probability.

    Attributes
    ----------
    stretch : float
        By what to lengthen every stage [-].
    hours : float
        All of the time then, with setting up and changing elements [h].

    Examples
    --------
    >>> import siltcode
    >>> siltcode.Booked(1.3, 42.0).hours
    42.0
    """

    stretch: float
    hours: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The cheapest or quickest plan of a job, or what stands in its way.

    Attributes
    ----------
    title : str
        What the job is called.
    money : str or None
        The job's own name of the money.
    quickest : bool
        Whether time was to be least rather than cost.
    stages : tuple of PlannedStage
        The stages that are used, in order; none where the start meets the target, or it cannot be reached.
    hours : float or None
        All of the time, with setting up and changing elements [h]; None where the target cannot be reached.
    cost : float or None
        All of the cost [money]; None where the target cannot be reached, or an hour or an element has no price.
    lower_bound : float or None
        What no plan goes below: money for the cheapest, hours for the quickest.
    gap : float or None
        How far the plan may lie above the best there is, as a part of it [-].
    optimal : bool
        Whether it is proven that no plan is better by more than a millionth.
    search : {"complete", "parts-used", "stopped"} or None
        How the search for the best plan ended; None where the target cannot be reached.
    start_per_ml, target_per_ml : dict of float to float
        The start and the most allowed at and above each size [um(c) to particles/mL].
    doubtful : bool
        Whether anything was said to be in doubt; where nothing was, the times hold none.
    p50, p90 : Booked or None
        What to book so that it is enough in half and in 90 % of all cases; None where nothing is in doubt, or no time is.
    conservative_hours : float or None
        So much less than `p90` is enough in 90 % of all cases where each stage is followed by itself with one error of all
        ratios [h].
    out_of_reach : OutOfReach or None
        What stands in the way, where the target cannot be reached.
    unverified : bool
        Whether a limit of the target was recalled and not read: verify it before use.
    assumptions : tuple of str
        What was taken for granted.
    said : tuple of str
        The title, the fluid and the target, by which cautions apply.

    Examples
    --------
    >>> import siltcode
    >>> element = {"kind": "cartridge", "beta": "4:3,6:20,14:1000", "rated_flow": "60 L/min", "price": 220}
    >>> stage = {"name": "fine", "flow": "60 L/min", "element": [element]}
    >>> siltcode.plan(tank="18 m3", start="22/20/17", target="18/16/13", hour_cost=45, stage=[stage])
    Plan(fine 26 h; 26 h, 1389, the best there is)
    """

    title: str
    money: str | None
    quickest: bool
    stages: tuple[PlannedStage, ...]
    hours: float | None
    cost: float | None
    lower_bound: float | None
    gap: float | None
    optimal: bool
    search: str | None
    start_per_ml: dict[float, float]
    target_per_ml: dict[float, float]
    doubtful: bool
    p50: Booked | None
    p90: Booked | None
    conservative_hours: float | None
    out_of_reach: OutOfReach | None
    unverified: bool
    assumptions: tuple[str, ...]
    said: tuple[str, ...] = ()

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What to beware of in such a job; `siltcode.DEFERENCE` stands above it.

        Examples
        --------
        >>> import siltcode
        >>> element = {"kind": "bag", "beta": "4:1.5,6:2,14:20", "rated_flow": "60 L/min", "price": 12}
        >>> job = {"tank": "18 m3", "target": "18/16/13", "hour_cost": 45, "title": "Standby generator"}
        >>> found = siltcode.plan(job, start="22/20/17", stage=[{"name": "bag", "flow": "60 L/min", "element": [element]}])
        >>> "tank on standby" in [caution.topic for caution in found.cautions]
        True
        """
        return cautions_of(*self.said)[0]

    @property
    def reachable(self) -> bool:
        """Whether any plan meets the target.

        Examples
        --------
        >>> import siltcode
        >>> element = {"kind": "bag", "beta": "4:1.5,6:2,14:20", "rated_flow": "60 L/min", "price": 12}
        >>> stage = {"name": "coarse", "flow": "60 L/min", "element": [element]}
        >>> flooded = {"ingress": "4:9000,6:900,14:90 per h", "stage": [stage]}
        >>> siltcode.plan(tank="18 m3", start="22/20/17", target="18/16/13", hour_cost=45, **flooded).reachable
        False
        """
        return self.out_of_reach is None

    def __repr__(self) -> str:
        if self.out_of_reach is not None:
            way = self.out_of_reach
            return f"Plan(out of reach: {way.size_um:g} um(c) goes no lower than {figures(way.floor_per_ml)} /mL)"
        stages = ", ".join(f"{stage.name} {figures(stage.hours, 2)} h" for stage in self.stages) or "nothing to do"
        cost = "" if self.cost is None else f", {figures(self.cost)}{f' {self.money}' if self.money else ''}"
        unverified = ", target UNVERIFIED" if self.unverified else ""
        return f"Plan({stages}; {figures(self.hours, 2)} h{cost}, {self._proven()}{unverified})"

    def _proven(self) -> str:
        return "the best there is" if self.optimal else f"within {figures(100 * (self.gap or 0.0), 2)} % of the best"

    def _repr_html_(self) -> str:
        sizes = [f"left {size:g} um(c) /mL" for size in self.start_per_ml]
        rows: list[list[Any]] = [["at the start", None, None, "", *self.start_per_ml.values()]]
        for stage in self.stages:
            elements = ", ".join(f"{element.number} {element.kind}" for element in stage.elements)
            rows.append([stage.name, stage.flow, stage.hours, elements, *stage.left_per_ml.values()])
        rows.append(["target", None, None, "", *(self.target_per_ml.get(size) for size in self.start_per_ml)])
        headings = ["stage", "flow [L/min]", "time [h]", "elements", *sizes]
        below = "; ".join([*self._bookings(), *self.assumptions])
        return html_table(Table(headings, rows, f"{self.title}: {self!r}", below)) + cautions_html(*self.said)

    def _bookings(self) -> list[str]:
        if not self.doubtful:
            return []
        shares = ((50, self.p50), (90, self.p90))
        return [
            f"{share} % sure: no time is enough" if booked is None else f"{share} % sure: book {figures(booked.hours, 2)} h"
            for share, booked in shares
        ]


def plan(
    job: str | os.PathLike[str] | Mapping[str, Any] | None = None,
    *,
    start: StartLike | None = None,
    quickest: bool = False,
    search_time: float | None = None,
    **described: Any,
) -> Plan:
    """The cheapest or quickest staged filtration of a tank.

    Parameters
    ----------
    job : path, str or mapping, optional
        The TOML file of a job, its text, or the same as a dictionary.
    start : code, Sample, or mapping of size to count, optional
        Where the tank starts, in place of the job's own start [um(c) to particles/mL].
    quickest : bool
        The least time rather than the least cost.
    search_time : float, optional
        How long the search for the best plan may take [s]; the plan found by then comes with its bound.
    **described
        What the job has, by its names in the file, over what `job` says: ``tank``, ``target``, ``hour_cost``, ``stage``.
        A ``target`` may be a TOML file, in the folder of the job's.

    Returns
    -------
    Plan

    Raises
    ------
    SiltcodeError
        ``job-unreadable``, ``job-key-unknown``, ``job-key-missing``, ``job-value-unusable``, with file and line as far
        as there are any; ``start-missing`` if a size of the target is not among the start's; ``beta-not-rated``.

    Notes
    -----
    A stirred tank; each stage goes through it until the next. Elements are whole ones, and setting up counts. All
    choices of stages and elements are weighed against a bound below them that is proven, so that `Plan.optimal` is no
    estimate. The demo folder has such a file, ``bunker-tank-job.toml``.

    References
    ----------
    .. [1] A mass balance; its worked values and their sources stand in ``tests/golden/plan.csv``.
    .. [2] S. Boyd, L. Vandenberghe, Convex Optimization, 2004, sections 5.1 and 11.3: the bound.

    Examples
    --------
    >>> import siltcode
    >>> bag = {"kind": "bag", "beta": "4:1.5,6:2,14:20", "rated_flow": "200 L/min", "dirt_capacity": "400 g", "price": 15}
    >>> fine = {"kind": "cartridge", "beta": "4:10,6:75,14:1000", "rated_flow": "60 L/min", "dirt_capacity": "80 g"}
    >>> stages = [
    ...     {"name": "coarse", "flow": "120 L/min", "element": [bag]},
    ...     {"name": "fine", "flow": "60 L/min", "element": [{**fine, "price": 220}]},
    ... ]
    >>> particles = {"density": "2.65 kg/L", "largest": "30 um(c)"}
    >>> job = {"tank": "18 m3", "target": "18/16/13", "hour_cost": 45, "particles": particles, "stage": stages}
    >>> found = siltcode.plan(job, start="22/20/17")
    >>> [stage.name for stage in found.stages], found.optimal
    (['coarse', 'fine'], True)
    """
    given = None if start is None else counts_given(start) or {"code": str(Code._of(_native.parse_code(str(start))))}
    written, file = _written(job)
    whole = _with(written, described)
    try:
        parts = _native.plan(whole, _named_files(whole, file), given, bool(quickest), search_time)
    except SiltcodeError as error:
        as_written = isinstance(written, str) and not described
        message = error.message if as_written else error.message.removesuffix(f" (line {error.line})")
        raise SiltcodeError(message, error.code, error.hint, file, line=error.line if as_written else None) from None
    return _plan(parts, bool(quickest))


def _written(job: Any) -> tuple[str | dict[str, Any], str | None]:
    """The job as text or as a dictionary, and the file it stands in."""
    if job is None or isinstance(job, Mapping):
        return dict(job or {}), None
    if isinstance(job, str) and "\n" in job:
        return job, None
    return Path(job).read_text(encoding="utf-8"), str(job)


def _with(written: str | dict[str, Any], described: dict[str, Any]) -> str:
    """The job as TOML, with what is described besides."""
    if isinstance(written, dict):
        return _native.job_text({**written, **described})
    if not described:
        return written
    try:
        return _native.job_text({**tomllib.loads(written), **described})
    except tomllib.TOMLDecodeError:
        return written  # refused by its reader, with the line


def _named_files(job: str, file: str | None) -> dict[str, str]:
    """The texts of the files that a job names: its target, in the folder of the job unless the path is absolute."""
    try:
        target = tomllib.loads(job).get("target")
    except tomllib.TOMLDecodeError:
        return {}  # refused by its reader, with the line
    if not isinstance(target, str) or not target.strip().lower().endswith(".toml"):
        return {}
    name = target.strip()
    return {name: (Path(file or "").parent / name).read_text(encoding="utf-8")}


def _plan(parts: dict[str, Any], quickest: bool) -> Plan:
    found: dict[str, Any] = parts["plan"] or {}
    sizes = found.get("sizes_um", [])
    targets = zip(sizes, found.get("target_per_ml", []), strict=True)
    return Plan(
        title=parts["title"],
        money=parts["money"],
        quickest=quickest,
        stages=tuple(_stage(stage, sizes) for stage in found.get("stages", [])),
        start_per_ml=dict(zip(sizes, found.get("start_per_ml", []), strict=True)),
        target_per_ml={size: most for size, most in targets if most is not None},
        optimal=found.get("optimal", False),
        search=found.get("search"),
        doubtful=found.get("doubtful", False),
        p50=_booked(found.get("p50")),
        p90=_booked(found.get("p90")),
        conservative_hours=found.get("conservative_hours"),
        out_of_reach=_in_the_way(parts["out_of_reach"]),
        unverified=parts["unverified"],
        assumptions=tuple(parts["assumptions"]),
        said=tuple(parts["said"]),
        **{name: found.get(name) for name in ("hours", "cost", "lower_bound", "gap")},
    )


def _in_the_way(way: dict[str, Any] | None) -> OutOfReach | None:
    if way is None:
        return None
    remedy = way.pop("remedy")
    return OutOfReach(**way, remedy=None if remedy is None else Remedy(**remedy))


def _stage(stage: dict[str, Any], sizes: list[float]) -> PlannedStage:
    left = dict(zip(sizes, stage.pop("left_per_ml"), strict=True))
    elements = tuple(
        PlannedElement(**{**element, **{name: round(element[name]) for name in ("number", "spare")}})
        for element in stage.pop("elements")
    )
    return PlannedStage(**stage, elements=elements, left_per_ml=left)


def _booked(booked: dict[str, float] | None) -> Booked | None:
    return None if booked is None else Booked(**booked)
