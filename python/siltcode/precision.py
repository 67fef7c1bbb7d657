"""What a relative uncertainty comes to, at a limit and in range numbers."""

from __future__ import annotations

from typing import Any

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
    return _arrays.mapped(_native.guarded, limit_per_ml=limit_per_ml, relative=relative, level=level)


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


def expanded_in_numbers(scatter: float, total: float) -> float:
    """The expanded uncertainty (factor 2) of a result, in range numbers: ``2 sqrt(scatter**2 + 1 / total) / ln 2``.

    Parameters
    ----------
    scatter : float
        Coefficient of variation between bottles [-].
    total : float
        Particles counted, above 0 [particles].

    Returns
    -------
    float [range numbers]

    Raises
    ------
    SiltcodeError
        ``count-not-finite`` unless ``total > 0``.

    References
    ----------
    .. [1] ISO/TS 19036:2006/Amd.1:2009, Eq. (1): the sum of the two variances.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.expanded_in_numbers(0.1, 100), 2)
    0.41
    """
    return _native.expanded_in_numbers(float(scatter), float(total))


def false_accept_at_limit(bands: Any) -> Any:
    """The chance to accept a fluid exactly at the limit, behind a guard band of so many standard uncertainties.

    Parameters
    ----------
    bands : number or array_like
        The width of the guard band [standard uncertainties].

    Returns
    -------
    float of the same kind and shape [-]

    References
    ----------
    .. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.false_accept_at_limit(0), round(siltcode.false_accept_at_limit(1.645), 3)
    (0.5, 0.05)
    """
    return _arrays.mapped(_native.false_accept_at_limit, bands=bands)


def nested_correlation(smaller: Any, larger: Any) -> Any:
    """How strongly the counts at two nested sizes move together: ``sqrt(larger / smaller)``.

    Parameters
    ----------
    smaller, larger : number or array_like
        Particles expected at and above the smaller and the larger size, ``larger <= smaller`` [particles].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``count-rises-with-size`` unless ``larger <= smaller`` and ``smaller > 0``.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.nested_correlation(400, 100)
    0.5
    """
    return _arrays.mapped(_native.nested_correlation, smaller=smaller, larger=larger)
