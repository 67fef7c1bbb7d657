"""Tests planned before sampling, and counts taken until they say enough."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _native
from siltcode.units import number_in


def most_to_accept(at_limit: float, level: float = 0.95) -> int | None:
    """The largest count that accepts, if so many particles are expected at the limit.

    Parameters
    ----------
    at_limit : float
        Particles expected in the counted volume of a fluid at the limit [particles].
    level : float
        A fluid at the limit is accepted with at most the risk ``1 - level`` [-].

    Returns
    -------
    int or None
        [particles]; None where even a count of zero would accept too often.

    Raises
    ------
    SiltcodeError
        ``count-not-finite``, ``level-out-of-range``.

    Notes
    -----
    The largest count whose one-sided upper limit lies at or below the limit.

    References
    ----------
    .. [1] F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936) 437-442.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.most_to_accept(100), siltcode.most_to_accept(2)
    (83, None)
    """
    return _native.most_to_accept(float(at_limit), float(level))


@dataclass(frozen=True, slots=True)
class VolumePlan:
    """A test planned before sampling.

    Attributes
    ----------
    volume_ml : float
        The volume of the sample as drawn to examine [mL].
    at_limit : float
        Particles expected in it at the limit [particles].
    most_to_accept : int
        The largest count that accepts [particles].
    power : float
        How likely the clean fluid passes [-].

    Examples
    --------
    >>> import siltcode
    >>> plan = siltcode.plan_volume(1.3, 0.65)
    >>> round(plan.volume_ml, 1), plan.most_to_accept, round(plan.power, 3)
    (19.6, 17, 0.904)
    """

    volume_ml: float
    at_limit: float
    most_to_accept: int
    power: float


def plan_volume(limit_per_ml: float, clean_per_ml: float, level: float = 0.95, power: float = 0.9) -> VolumePlan:
    """The least volume that tells a clean fluid from one above the limit.

    Parameters
    ----------
    limit_per_ml, clean_per_ml : float
        The limit, and how clean the fluid is believed to be, ``0 <= clean < limit`` [particles/mL].
    level : float
        A fluid above the limit passes with at most the risk ``1 - level`` [-].
    power : float
        How likely the clean fluid must pass [-].

    Returns
    -------
    VolumePlan

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless ``0 <= clean < limit``, or if the two are too close.

    Notes
    -----
    Counting alone: what varies between bottles is not in it. The power rises in steps, so it is a little above what was
    asked for.

    References
    ----------
    .. [1] F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936) 437-442.

    Examples
    --------
    >>> import siltcode
    >>> plan = siltcode.plan_volume(1.3, 0.65)
    >>> round(plan.volume_ml, 1), plan.most_to_accept
    (19.6, 17)
    """
    found = _native.plan_volume(float(limit_per_ml), float(clean_per_ml), float(level), float(power))
    return VolumePlan(found["volume"], found["at_limit"], found["most_to_accept"], found["power"])


def sequential_step(
    k: int,
    examined_ml: Any,
    clean_per_ml: float,
    limit_per_ml: float,
    risks: tuple[float, float] = (0.05, 0.05),
) -> Literal["accept", "continue", "reject"]:
    """What to do after counting so far: count until the counts themselves say enough.

    Parameters
    ----------
    k : int
        Particles counted so far [particles].
    examined_ml : number or str
        The volume of the sample as drawn that was examined so far [mL].
    clean_per_ml, limit_per_ml : float
        The two concentrations to tell apart [particles/mL].
    risks : (float, float)
        Of rejecting the clean fluid, and of accepting one at the limit [-].

    Returns
    -------
    {"accept", "continue", "reject"}

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless ``0 < clean < limit`` and the risks are above 0 and below 1 in sum;
        ``raw-not-whole``, ``volume-not-positive``.

    Notes
    -----
    Wald's boundaries are recalled, not read (UNVERIFIED): not for acceptance.

    References
    ----------
    .. [1] A. Wald, Sequential Analysis, 1947.

    Examples
    --------
    >>> import siltcode
    >>> [siltcode.sequential_step(k, "1 mL", 5, 10) for k in (2, 7, 12)]
    ['accept', 'continue', 'reject']
    """
    examined = number_in(examined_ml, "mL")
    step = _native.sequential_step(float(clean_per_ml), float(limit_per_ml), risks, float(k), examined)
    return step  # type: ignore[return-value]


def sequential_bounds(
    examined_ml: Any, clean_per_ml: float, limit_per_ml: float, risks: tuple[float, float] = (0.05, 0.05)
) -> tuple[float | None, float]:
    """The counts between which counting goes on, after so much sample.

    Parameters
    ----------
    examined_ml, clean_per_ml, limit_per_ml, risks
        As for `sequential_step`.

    Returns
    -------
    (float or None, float)
        The count up to which to accept, None where even none counted is not enough yet, and that from which to reject
        [particles].

    Examples
    --------
    >>> import siltcode
    >>> [round(count, 1) for count in siltcode.sequential_bounds("1 mL", 5, 10)]
    [3.0, 11.5]
    """
    examined = number_in(examined_ml, "mL")
    return _native.sequential_bounds(float(clean_per_ml), float(limit_per_ml), risks, examined)
