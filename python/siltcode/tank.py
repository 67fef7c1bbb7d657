"""A tank cleaned by recirculation: what a forecast of it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from siltcode import _arrays, _native
from siltcode.beta import Beta
from siltcode.codes import Code
from siltcode.filters import Train
from siltcode.forecast import Passes
from siltcode.samples import BySize, Sample, spectrum_given
from siltcode.settling import Rest
from siltcode.specs import SpecLike, spec as read_spec
from siltcode.units import number_in

#: Where a tank starts: a code, a sample, or counts at sizes.
StartLike = str | Code | Sample | BySize[float]

#: The most cells that a tank is taken apart into.
MOST_CELLS = 65535


def passes(
    start: StartLike,
    target: StartLike | SpecLike,
    beta: Beta | Train | BySize[Any] | str,
    tank: Any,
    flow: Any,
    *,
    ingress: BySize[float] | None = None,
    shedding: BySize[float] | None = None,
    bypass: float = 0.0,
    short_circuit: float = 0.0,
    dead_zone: tuple[float, float] | None = None,
    cells: int | None = None,
    margin: float = 1.0,
    scatter: float = 0.0,
    start_spread: float = 1.0,
    beta_spread: float = 1.0,
    ingress_spread: float = 1.0,
    mixing: float = 1.0,
    mixing_spread: float = 1.0,
    rest: Rest | None = None,
) -> Passes:
    """The tank turnovers and hours from a start to a target.

    Parameters
    ----------
    start : code, Sample, or mapping of size to count
        Where the tank starts: a code stands for the most it allows; counts are per mL [um(c) to particles/mL].
    target : code, Sample, mapping, published name, path or Spec
        The most there may be in the end.
    beta : Beta, Train, mapping or str
        What the filter holds back: ``{4: 3, 6: 20, 14: 1000}``. One figure, ``{5: 200}``, leaves a range open:
        `Passes.at_best_rating` to `Passes.turnovers`.
    tank, flow : str, number or pint quantity
        The fluid in the tank, ``"18 m3"`` [m3]; the flow through the filter, ``"60 L/min"`` [L/min].
    ingress : mapping, optional
        Particles per mL of tank that come in each hour, at and above sizes [um(c) to particles/mL/h].
    shedding : mapping, optional
        Particles per mL that the filter gives off, at and above sizes [um(c) to particles/mL].
    bypass, short_circuit : float
        The share of the flow that avoids the medium, and of the return that goes straight to the suction, 0 to 1 [-].
    dead_zone : (float, float), optional
        The share of the tank that hardly moves, and the share of the flow that it exchanges [-].
    cells : int, optional
        The tank as a row of so many well-mixed cells.
    margin : float
        The target is divided by this, 1 or more [-].
    scatter : float
        Coefficient of variation between bottles of the start [-].
    start_spread, beta_spread, ingress_spread, mixing_spread : float
        How surely each is known, as a geometric standard deviation, 1 or more [-]; of the ratio it is ``beta - 1`` of
        each bin between the sizes of the start, not of the ratios as given.
    mixing : float
        The factor by which imperfect mixing multiplies the turnovers of a stirred tank, 1 or more [-]. It leaves the
        floor that ingress sets as it is; a `dead_zone` or `cells` raise it.
    rest : Rest, optional
        The tank stood still before: it starts with what is still afloat.

    Returns
    -------
    Passes

    Raises
    ------
    SiltcodeError
        ``start-missing`` if a size of the target is not among the start's; ``start-unbounded``; ``no-flow`` unless tank
        and flow are above 0; ``share-out-of-range``, ``factor-out-of-range``, ``quantity-unreadable``;
        ``stokes-law-left`` if particles fall too fast in a `rest`.

    Notes
    -----
    A stirred tank of constant volume; every bin of sizes falls by its own efficiency and the channels are their sums.
    Nothing settles. What comes in sets a floor below which no number of turnovers goes.

    References
    ----------
    .. [1] A mass balance; its worked values and their sources stand in ``tests/golden/tank.csv``.

    Examples
    --------
    >>> import siltcode
    >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
    >>> job
    Passes(5.2 turnovers, 26 h, 4 um(c) decides)
    >>> wary = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min", beta_spread=1.5)
    >>> round(wary.quantile(0.9), 1)
    7.0
    """
    if cells is not None and cells not in range(1, MOST_CELLS + 1):
        message = f"{cells} cells are not 1 to {MOST_CELLS}"
        _arrays.refused("quantity-out-of-range", message, "give a few cells; 1 is a tank that is well mixed")
    given = {
        "beta": None if isinstance(beta, Train) else Beta(beta).as_given(),
        "train": beta._given() if isinstance(beta, Train) else None,
        "start": counts_given(start) or {"code": str(Code._of(_native.parse_code(str(start))))},
        "target": counts_given(target) or _target(target),
        "tank": number_in(tank, "m3"),
        "flow": number_in(flow, "L/min"),
        "ingress": None if ingress is None else spectrum_given(ingress),
        "shedding": None if shedding is None else spectrum_given(shedding),
        "bypass": float(bypass),
        "short_circuit": float(short_circuit),
        "dead_zone": None if dead_zone is None else (float(dead_zone[0]), float(dead_zone[1])),
        "cells": cells,
        "margin": float(margin),
        "scatter": float(scatter),
        "start_spread": float(start_spread),
        "beta_spread": float(beta_spread),
        "ingress_spread": float(ingress_spread),
        "mixing": float(mixing),
        "mixing_spread": float(mixing_spread),
        "rest": None if rest is None else rest._given(),
        "said": [str(each) for each in (start, target)],
    }
    return Passes(given)


def counts_given(given: Any) -> dict[str, Any] | None:
    """A start or target given as counts, in the form that the native module takes."""
    if isinstance(given, Mapping):
        given = Sample.of(given)
    return {"sample": given._given()} if isinstance(given, Sample) else None


def _target(given: Any) -> dict[str, Any]:
    return {"spec": read_spec(given).as_given()}
