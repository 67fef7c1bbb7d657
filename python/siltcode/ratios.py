"""Filtration ratios reckoned with: in series, with a leak, from pairs of concentrations, from counts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from siltcode import _arrays, _native
from siltcode._evidence import evidence


def in_series(first: Any, second: Any) -> Any:
    """The ratio of two elements in series for one and the same particle: the product.

    Parameters
    ----------
    first, second : number or array_like
        Ratios of 1 or more [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``beta-below-one``.

    Notes
    -----
    For all particles above a size the product is too high: the survivors of the first are the ones hard to catch. A
    `Train` works in bins.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.in_series(10, 75)
    750.0
    """
    return _arrays.mapped(_native.in_series, first=first, second=second)


def leaking(beta: Any, leak: Any) -> Any:
    """The ratio of an element that a share of the flow gets past, at a seal or a relief valve.

    Parameters
    ----------
    beta : number or array_like
        The ratio of the element, 1 or more [-].
    leak : number or array_like
        The share of the flow, 0 to 1 [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``beta-below-one``, ``share-out-of-range``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.leaking(1000, 0.01), 1)
    91.0
    """
    return _arrays.mapped(_native.leaking, beta=beta, leak=leak)


def leak_ceiling(leak: Any) -> Any:
    """The ratio that no element exceeds if a share of the flow gets past it: ``1 / leak``.

    Parameters
    ----------
    leak : number or array_like
        The share of the flow, 0 to 1 [-].

    Returns
    -------
    float of the same kind and shape [-]
        Infinite without a leak.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.leak_ceiling([0, 0.01, 0.05])
    array([ inf, 100.,  20.])
    """
    return _arrays.mapped(_ceiling, leak=leak)


def _ceiling(leak: float) -> float:
    found = _native.ceiling(leak)
    return math.inf if found is None else found


def ratio_of_pairs(pairs: Sequence[tuple[float, float]]) -> float:
    """The ratio of concentrations before and behind a filter, several pairs together: that of the sums.

    Parameters
    ----------
    pairs : sequence of (float, float)
        Upstream and downstream [particles/mL].

    Returns
    -------
    float [-]

    Raises
    ------
    SiltcodeError
        ``beta-below-one``, ``nothing-counted``, ``count-not-finite``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.ratio_of_pairs([(1000, 10), (1000, 1)]), 1)
    181.8
    """
    return _native.ratio_of_pairs([(float(upstream), float(downstream)) for upstream, downstream in pairs])


def ratio_of_bins(bins: Sequence[tuple[float, float]]) -> float:
    """The ratio for all particles together, from the bins they stand in.

    Parameters
    ----------
    bins : sequence of (float, float)
        What enters in each bin [particles/mL], and the ratio there [-].

    Returns
    -------
    float [-]

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.ratio_of_bins([(1000, 2), (1000, 1000)]), 2)
    3.99
    """
    return _native.ratio_of_bins([(float(entering), float(beta)) for entering, beta in bins])


@dataclass(frozen=True, slots=True)
class MeasuredBeta:
    """A ratio measured by counts before and behind a filter.

    Attributes
    ----------
    ratio : float or None
        Upstream over downstream [-]; None where nothing was counted downstream.
    interval : tuple of float
        Its interval [-]; to infinity where nothing was counted downstream.
    p_equal : float
        How likely counts so far apart are if the filter holds back nothing [-].
    beta : float or None
        The ratio to reckon with: the value, or the bound where too few passed [-]; None if it is below 1.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.measured_beta([400], [0], "10 mL")
    >>> found.ratio, found.interval[1], round(found.beta, 1)
    (None, inf, 107.9)
    """

    ratio: float | None
    interval: tuple[float, float]
    p_equal: float
    beta: float | None


def measured_beta(
    upstream: Sequence[float], downstream: Sequence[float], volume_ml: Any, level: float = 0.95, dilution: float = 1.0
) -> MeasuredBeta:
    """The filtration ratio from counts before and behind a filter.

    Parameters
    ----------
    upstream, downstream : sequence of int
        Particles counted on each side, one a run [particles]: the ratio is that of the sums.
    volume_ml : float, str or pint quantity
        The counted volume of each run [mL].
    level : float
        The level of the interval [-].
    dilution : float
        The dilution factor of the upstream runs [-].

    Returns
    -------
    MeasuredBeta

    Raises
    ------
    SiltcodeError
        ``nothing-counted`` without counts on a side; ``raw-not-whole``, ``volume-not-positive``.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413: the interval, given the sum.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.measured_beta([1000, 1000], [10, 1], "10 mL")
    >>> round(found.beta, 1), [round(end) for end in found.interval]
    (181.8, [101, 365])
    """
    before = [evidence((raw, volume_ml, dilution)) for raw in upstream]
    behind = [evidence((raw, volume_ml)) for raw in downstream]
    found = _native.measured_beta(before, behind, float(level))
    return MeasuredBeta(found["ratio"], tuple(found["interval"]), found["p_equal"], found["beta"])
