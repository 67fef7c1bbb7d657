"""Filtration ratios reckoned with: in series, with a leak, from pairs of concentrations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from siltcode import _arrays, _native


def in_series(first: Any, second: Any) -> Any:
    """The ratio of two elements in series for one and the same particle: the product.

    Parameters
    ----------
    first, second : number or array_like
        Ratios above 1 [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``beta-not-above-one``.

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
        The ratio of the element, above 1 [-].
    leak : number or array_like
        The share of the flow, 0 to 1 [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``beta-not-above-one``, ``share-out-of-range``.

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
        ``beta-not-above-one``, ``nothing-counted``, ``count-not-finite``.

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
