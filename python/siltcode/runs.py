"""Counts of the same fluid, compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _arrays, _native
from siltcode._evidence import evidence
from siltcode.units import in_unit


@dataclass(frozen=True, slots=True)
class Agreement:
    """What several counts of the same fluid say of each other.

    Attributes
    ----------
    statistic, index : float
        The sum of squares over the mean, and the same over the number of runs less one: about 1 by chance [-].
    p_scattered, p_regular : float
        How likely chance alone scatters at least, and at most, this much [-].
    scatter : float
        What the variance has beyond counting, as a coefficient of variation [-].
    first_differs : float
        How likely the first run is at least this far from the others by chance [-].
    direction : {"rising", "falling"} or None
        The way every run goes from the one before.
    p_drift : float
        How likely chance alone gives so strong a trend [-].
    spread, allowed : float
        The largest less the smallest run over the mean, and what is allowed [-].

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.agreement([410, 350, 280])
    >>> found.direction, found.spread > found.allowed, round(found.index, 1)
    ('falling', True, 12.2)
    """

    statistic: float
    index: float
    p_scattered: float
    p_regular: float
    scatter: float
    first_differs: float
    direction: Literal["rising", "falling"] | None
    p_drift: float
    spread: float
    allowed: float


def agreement(
    k: Any, volume_ml: Any = 1.0, dilution: Any = 1.0, *, spread: float | None = None, level: float = 0.99
) -> Agreement | None:
    """Whether runs, or bottles, scatter as chance does.

    Parameters
    ----------
    k : sequence of int
        Raw counts of the same fluid at the same size, in the order counted [particles].
    volume_ml, dilution : number, sequence or str
        The counted volume [mL] and the dilution factor [-] of each.
    spread : float, optional
        How far runs may lie apart, as a fraction of their mean [-]; without it, as far as chance goes at `level`.
    level : float
        [-].

    Returns
    -------
    Agreement or None
        None for fewer than two counts, or where nothing was counted.

    Raises
    ------
    SiltcodeError
        ``raw-not-whole``, ``volume-not-positive``, ``shapes-differ``.

    References
    ----------
    .. [1] R. A. Fisher, Statistical Methods for Research Workers, 1925, section 19.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.agreement([1012, 1187, 948, 1430, 1101])
    >>> round(found.index, 1), round(found.scatter, 3)
    (31.0, 0.163)
    """
    arrays, _ = _arrays.together(k=k, volume_ml=in_unit(volume_ml, "mL"), dilution=dilution)
    if arrays[0].ndim != 1:
        message = f"the counts have the shape {arrays[0].shape}"
        _arrays.refused("shapes-differ", message, "give the counts of one size, one a run")
    counted = list(zip(*(_arrays.flat(array).tolist() for array in arrays), strict=True))
    found = _native.runs(counted, spread, float(level))
    if found is None:
        return None
    dispersion, drift, apart = found["dispersion"], found["drift"], found["spread"]
    return Agreement(
        **dispersion,
        scatter=found["scatter"],
        first_differs=found["first_differs"],
        direction=drift["monotone"],
        p_drift=drift["p"],
        spread=apart["found"],
        allowed=apart["allowed"],
    )


@dataclass(frozen=True, slots=True)
class RateRatio:
    """Two concentrations compared.

    Attributes
    ----------
    ratio : float or None
        The first over the second [-]; None where nothing was counted in the second.
    interval : tuple of float
        Its interval [-]; to infinity where nothing was counted in the second.
    p_equal : float
        How likely equal concentrations give counts so far apart [-].

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.compare((100, 1), (64, 1))
    >>> [round(end, 2) for end in found.interval]
    [1.13, 2.17]
    """

    ratio: float | None
    interval: tuple[float, float]
    p_equal: float


def compare(first: Sequence[float], second: Sequence[float], level: float = 0.95) -> RateRatio:
    """Compares two counts.

    Parameters
    ----------
    first, second : (k, volume) or (k, volume, dilution)
        Particles counted [particles], in what volume [mL], at what dilution [-].
    level : float
        The level of the interval [-].

    Returns
    -------
    RateRatio

    Raises
    ------
    SiltcodeError
        ``raw-not-whole``, ``volume-not-positive``, ``dilution-below-one``, ``level-out-of-range``.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.compare((100, 1), (64, 1))
    >>> round(found.ratio, 2), round(found.p_equal, 4)
    (1.56, 0.0061)
    """
    found = _native.compare(evidence(first), evidence(second), float(level))
    return RateRatio(found["ratio"], tuple(found["interval"]), found["p_equal"])


def equal_by_e_test(first: Sequence[float], second: Sequence[float]) -> float:
    """How likely equal concentrations give two counts so far apart, by the test of the estimated rate.

    More powerful than the test of `compare`, but not exact.

    Parameters
    ----------
    first, second : (k, volume) or (k, volume, dilution)
        Particles counted [particles], in what volume [mL], at what dilution [-].

    Returns
    -------
    float [-]

    References
    ----------
    .. [1] K. Krishnamoorthy and J. Thomson, Journal of Statistical Planning and Inference 119 (2004) 23-35.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.equal_by_e_test((15, 1), (5, 1)), 4)
    0.025
    """
    return _native.equal_by_e_test(evidence(first), evidence(second))
