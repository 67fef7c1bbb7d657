"""Turnovers by themselves: quick estimates for whole arrays of scenarios, and what a turnover does."""

from __future__ import annotations

from typing import Any

from siltcode import _arrays, _native


def turnovers_needed(start_per_ml: Any, target_per_ml: Any, beta: Any, ingress_per_turnover: Any = 0.0) -> Any:
    """The turnovers of a stirred tank, for whole arrays of scenarios at one size.

    Parameters
    ----------
    start_per_ml, target_per_ml : number or array_like
        The start, and the most there may be in the end [particles/mL].
    beta : number or array_like
        The filtration ratio, 1 or more [-].
    ingress_per_turnover : number or array_like
        What comes in during one turnover [particles/mL].

    Returns
    -------
    float of the same kind and shape [-]
        0 where the target is met at the start, infinite where it cannot be reached, NaN where a value is none of a tank.

    Raises
    ------
    SiltcodeError
        ``shapes-differ``.

    Notes
    -----
    ``ln((start - floor) / (target - floor)) / E`` with ``E = 1 - 1 / beta`` and ``floor = ingress / E``. The quick
    estimate: one bin, one size. Over several sizes the slowest decides: take the largest. `passes` works in bins.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.turnovers_needed(40000, 2500, [10, 75, 1000]).round(3)
    array([3.081, 2.81 , 2.775])
    """
    given = {
        "start_per_ml": start_per_ml,
        "target_per_ml": target_per_ml,
        "beta": beta,
        "ingress_per_turnover": ingress_per_turnover,
    }
    arrays, back = _arrays.together(**given)
    needed = _native.turnovers_needed([_arrays.flat(array) for array in arrays])
    return back(needed.reshape(arrays[0].shape))


def turnovers_like_one_pass(beta: Any) -> Any:
    """The turnovers of a stirred tank that clean as much as one true passage: ``beta ln(beta) / (beta - 1)``.

    Parameters
    ----------
    beta : number or array_like
        The filtration ratio, 1 or more [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``beta-below-one``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.turnovers_like_one_pass(1090), 2)
    7.0
    """
    return _arrays.mapped(_native.turnovers_like_one_pass, beta=beta)


def passed_at_least(turnovers: Any, times: int = 1) -> Any:
    """The share of a stirred tank that has been through the filter at least so often.

    Parameters
    ----------
    turnovers : number or array_like
        [-].
    times : int
        0 or more [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``factor-out-of-range`` unless ``0 <= turnovers < inf``; ``quantity-out-of-range`` unless `times` is whole.

    Notes
    -----
    The passages of one part are Poisson distributed, their mean the turnovers.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.passed_at_least(1.0), 2), round(siltcode.passed_at_least(1.0, 2), 2)
    (0.63, 0.26)
    """
    least = _arrays.whole(times, "times")
    return _arrays.mapped(lambda each: _native.passed_at_least(each, least), turnovers=turnovers)


def displaced(beta: float, turnovers: float) -> tuple[float, float]:
    """What is left where the return pushes the fluid to the suction without any mixing.

    Parameters
    ----------
    beta, turnovers : float
        The filtration ratio, 1 or more; the turnovers [-].

    Returns
    -------
    (float, float)
        The share of the start at the suction, and on average over the tank [-].

    Examples
    --------
    >>> import siltcode
    >>> at_suction, average = siltcode.displaced(10, 1.5)
    >>> round(at_suction, 3), round(average, 3)
    (0.1, 0.055)
    """
    return _native.displaced(float(beta), float(turnovers))
