"""Staged filtration in numbers: bins, stages and prices to the best hours, with a proven bound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from siltcode import _arrays, _native
from siltcode.units import number_in


@dataclass(frozen=True, slots=True)
class BreakEven:
    """How long a cheap stage ahead of a dear one pays.

    Attributes
    ----------
    saving_per_gram : float
        What each gram in a cheap element saves in dear ones [money/g].
    hours : float
        So long [h]; 0 where it never pays.
    dirt_left_g : float
        What is left in the tank then [g].

    Examples
    --------
    >>> import siltcode
    >>> siltcode.break_even("10 m3", "50 L/min", 0.9, "1.2 kg", (25, "400 g"), (220, "80 g"), 90).saving_per_gram
    2.6875
    """

    saving_per_gram: float
    hours: float
    dirt_left_g: float


def break_even(
    tank: Any,
    flow: Any,
    held_back: float,
    dirt: Any,
    cheap: tuple[float, Any],
    dear: tuple[float, Any],
    hour_cost: float,
) -> BreakEven:
    """How long a cheap stage ahead of a dear one pays, for dirt that both hold back.

    Parameters
    ----------
    tank, flow : str, number or pint quantity
        The fluid in the tank [m3] and the flow of the cheap stage [L/min].
    held_back : float
        The share of the dirt that its elements hold back in one passage, 0 to 1 [-].
    dirt : str, number or pint quantity
        The dirt in the tank [g].
    cheap, dear : (float, str, number or pint quantity)
        What an element costs, with putting it in [money], and what it holds [g].
    hour_cost : float
        What an hour costs [money].

    Returns
    -------
    BreakEven

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless both elements hold something and an hour costs something; ``no-flow``.

    References
    ----------
    .. [1] Row P01 of ``tests/golden/plan.csv``: ``t = V/(Q E) ln(Q E m (p_f/C_f - p_c/C_c) / (V c))``.

    Examples
    --------
    >>> import siltcode
    >>> until = siltcode.break_even("10 m3", "50 L/min", 0.9, "1.2 kg", (25, "400 g"), (220, "80 g"), 90)
    >>> round(60 * until.hours), round(until.dirt_left_g)
    (504, 124)
    """
    bag, fine = ((float(price), number_in(capacity, "g")) for price, capacity in (cheap, dear))
    tank, flow, dirt = number_in(tank, "m3"), number_in(flow, "L/min"), number_in(dirt, "g")
    return BreakEven(*_native.break_even(tank, flow, float(held_back), dirt, bag, fine, float(hour_cost)))


@dataclass(frozen=True, slots=True)
class Schedule:
    """The best hours that `schedule` found.

    Attributes
    ----------
    hours : tuple of float
        Of every stage in order; 0 where it is not used [h].
    elements, caught_g : tuple of tuple of float
        Of every stage, how many of each element are used up [-], and what they catch together [g].
    left_per_ml : tuple of tuple of float
        What every stage leaves of each bin [particles/mL].
    total_hours, cost : float
        All of the time, with setting up and changing elements [h]; all of the cost [money].
    lower_bound : float
        What no plan goes below [money, or h for the quickest].
    optimal : bool
        Whether it is proven that no plan is better by more than a millionth.

    Examples
    --------
    >>> import siltcode
    >>> fine = {"flow": 60, "elements": [{"held_back": [0.99], "capacity": "80 g", "price": 220}]}
    >>> found = siltcode.schedule([8000], [0.05], [(0, 500)], "18 m3", [fine], 40)
    >>> found.elements, found.optimal
    (((5.0,),), True)
    """

    hours: tuple[float, ...]
    elements: tuple[tuple[float, ...], ...]
    caught_g: tuple[tuple[float, ...], ...]
    left_per_ml: tuple[tuple[float, ...], ...]
    total_hours: float
    cost: float
    lower_bound: float
    optimal: bool


def schedule(
    start: Sequence[float],
    grams: Sequence[float],
    limits: Sequence[tuple[int, float]],
    tank: Any,
    stages: Sequence[Mapping[str, Any]],
    hour_cost: float,
    *,
    quickest: bool = False,
    in_parts: bool = False,
) -> Schedule | None:
    """The cheapest or quickest stages for bins of particles given in numbers; `plan` makes these numbers of a job.

    Parameters
    ----------
    start : sequence of float
        What there is of each bin, smallest particles first [particles/mL].
    grams : sequence of float
        What each bin weighs in the whole tank for every particle in a millilitre [g].
    limits : sequence of (int, float)
        The first bin, from 0, and the most there may be in the end of it and all larger [particles/mL].
    tank : str, number or pint quantity
        The fluid in the tank [m3].
    stages : sequence of mapping
        In the order in which they may be used: ``flow`` [L/min], ``elements`` in the order of the flow, and if they are
        not 0 ``setup_cost`` [money] and ``setup_time`` [h]. An element has ``held_back``, a share for each bin [-],
        ``price`` [money], and if known ``capacity`` [g] and ``change_time`` [h].
    hour_cost : float
        What an hour costs [money].
    quickest : bool
        The least time rather than the least cost.
    in_parts : bool
        As if a part of an element cost that part of its price, and setting up nothing: no real plan is cheaper.

    Returns
    -------
    Schedule or None
        None where the limits cannot be met.

    Raises
    ------
    SiltcodeError
        ``lengths-differ`` unless there is a mass and an efficiency for each bin; ``quantity-out-of-range``;
        ``no-flow``; ``beta-below-one`` unless ``0 <= held_back < 1``.

    References
    ----------
    .. [1] Rows P02 and P03 of ``tests/golden/plan.csv``.
    .. [2] S. Boyd, L. Vandenberghe, Convex Optimization, 2004, sections 5.1 and 11.3: the bound.

    Examples
    --------
    >>> import siltcode
    >>> bag = {"flow": 120, "elements": [{"held_back": [0.5], "capacity": "500 g", "price": 12}]}
    >>> found = siltcode.schedule([8000], [0.05], [(0, 500)], "18 m3", [bag], 40)
    >>> round(found.hours[0], 2), round(found.cost)
    (13.86, 567)
    """
    if len(start) != len(grams):
        _arrays.refused("lengths-differ", f"{len(start)} bins have {len(grams)} masses", "give one mass for each bin")
    given = {
        "start": [float(n) for n in start],
        "grams": [float(mass) for mass in grams],
        "limits": [(int(bin_), float(most)) for bin_, most in limits],
        "tank_m3": number_in(tank, "m3"),
        "stages": [_stage(stage) for stage in stages],
        "hour_cost": float(hour_cost),
    }
    parts = _native.schedule(given, bool(quickest), bool(in_parts))
    return None if parts is None else Schedule(**{name: _frozen(value) for name, value in parts.items()})


def _stage(stage: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "flow": number_in(stage["flow"], "L/min"),
        "elements": [_element(element) for element in stage["elements"]],
        "setup_cost": float(stage.get("setup_cost", 0.0)),
        "setup_hours": number_in(stage.get("setup_time", 0.0), "h"),
    }


def _element(element: Mapping[str, Any]) -> dict[str, Any]:
    capacity = element.get("capacity")
    return {
        "held_back": [float(share) for share in element["held_back"]],
        "capacity_g": None if capacity is None else number_in(capacity, "g"),
        "price": float(element["price"]),
        "change_hours": number_in(element.get("change_time", 0.0), "h"),
    }


def _frozen(value: Any) -> Any:
    return tuple(map(_frozen, value)) if isinstance(value, list) else value
