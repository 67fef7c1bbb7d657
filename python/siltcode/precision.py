"""What a relative uncertainty comes to, at a limit and in range numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from siltcode import _arrays, _native


def guarded(limit_per_ml: Any, relative: float, level: float = 0.95) -> Any:
    """The concentration up to which a result of this relative uncertainty is accepted.

    Parameters
    ----------
    limit_per_ml : number or array_like
        The limit [particles/mL].
    relative : float
        The relative standard uncertainty of a result [-].
    level : float
        [-].

    Returns
    -------
    float of the same kind and shape [particles/mL]

    Raises
    ------
    SiltcodeError
        ``count-not-finite``, ``level-out-of-range``; ``quantity-out-of-range`` unless ``0 <= relative <= 10``.

    Notes
    -----
    ``limit * exp(-z * u)`` with the quantile ``z`` of the level and the standard deviation ``u`` of the logarithm:
    results are taken as lognormal.

    References
    ----------
    .. [1] ILAC G8:09/2019, Guidelines on decision rules and statements of conformity.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.guarded(640.0, 0.2), 1)
    460.6
    """
    values, back = _arrays.floats(limit_per_ml, "limit_per_ml")
    each = [_native.guarded(float(value), float(relative), float(level)) for value in values.flat]
    return back(np.array(each, float).reshape(values.shape))


def in_numbers(relative: float, level: float = 0.95) -> tuple[float, float]:
    """A relative standard deviation in range numbers, and the difference of two results that it explains.

    Parameters
    ----------
    relative : float
        The relative standard deviation, of reproducibility for example [-].
    level : float
        [-].

    Returns
    -------
    (float, float)
        The standard deviation, and the difference that chance stays below at the level [range numbers].

    Raises
    ------
    SiltcodeError
        ``level-out-of-range``; ``quantity-out-of-range`` unless ``0 <= relative <= 10``.

    Notes
    -----
    A range number is nearly a doubling, so a standard deviation of the natural logarithm is divided by ln 2. Near the
    clean end of the scale, where the table is rounded, this is only about right.

    Examples
    --------
    >>> import siltcode
    >>> [round(numbers, 2) for numbers in siltcode.in_numbers(0.2)]
    [0.29, 0.8]
    """
    return _native.in_numbers(float(relative), float(level))
