"""Filtration ratios of an element at rated sizes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _native
from siltcode._display import Table, figures, html_table
from siltcode.samples import BySize, Sample


class Beta:
    """The filtration ratios of an element at rated sizes in um(c): particles entering for each that leaves.

    Parameters
    ----------
    rated : mapping of size to ratio, str or Beta
        ``{4: 3, 6: 20, 14: 1000}`` or ``"4:3,6:20,14:1000"`` [um(c), -]; an interval as a pair, ``{10: (2, 20)}``, or
        ``"10:2..20"``. Ratios are 1 or more; above 1000 they are kept as "at least 1000", since so few particles pass.

    Raises
    ------
    SiltcodeError
        ``beta-below-one``, ``beta-unreadable``, ``size-repeated``, ``betas-inconsistent``.

    Notes
    -----
    A rated ratio is for all particles at and above a size, under the dust of the test (ISO 16889, medium test dust).
    Outside the rated sizes only a bound is known, and between them three rules of interpolation differ: `at` says so.

    References
    ----------
    .. [1] ISO 16889, Multi-pass method for evaluating filtration performance of a filter element.

    Examples
    --------
    >>> from siltcode import Beta
    >>> Beta({4: 3, 6: 20, 14: 5000})
    Beta('4:3,6:20,14:>1000')
    >>> Beta("5:10,7:200").at(6).known
    'between'
    """

    __slots__ = ("_exact", "_rated")

    _exact: str
    _rated: tuple[tuple[float, float, float], ...]

    def __init__(self, rated: BySize[Any] | str | Beta) -> None:
        exact = rated._exact if isinstance(rated, Beta) else rated if isinstance(rated, str) else _text(rated)
        self._exact = exact
        self._rated = tuple(_native.rated(exact))

    def __reduce__(self) -> tuple[Any, ...]:
        return Beta, (self._exact,)

    def __str__(self) -> str:
        return _native.parse_beta(self._exact)

    def __repr__(self) -> str:
        return f"Beta({str(self)!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Beta) and self._rated == other._rated

    def __hash__(self) -> int:
        return hash(self._rated)

    @property
    def rated(self) -> dict[float, tuple[float, float]]:
        """The least and the greatest ratio at each rated size [um(c) to -]."""
        return {um: (low, high) for um, low, high in self._rated}

    def as_given(self) -> str:
        """What the native module reads it from: every digit, where ``str()`` rounds.

        Examples
        --------
        >>> from siltcode import Beta
        >>> ratios = Beta({4: 1.23456789})
        >>> str(ratios), ratios.as_given()
        ('4:1.235', '4:1.23456789')
        """
        return self._exact

    def at(self, um: float) -> BetaAt:
        """What is known of the ratio at and above the size `um` [um(c)].

        Examples
        --------
        >>> from siltcode import Beta
        >>> [round(beta) for beta in Beta("5:10,7:200").at(6).rules]
        [45, 51, 49]
        """
        found = _native.beta_at(self._exact, float(um))
        rules = found["rules"]
        return BetaAt(found["known"], found["low"], found["high"], None if rules is None else tuple(rules))

    def working(self, um: float) -> float:
        """The ratio to reckon with at and above `um` [um(c)]: the value, the least of those possible, or a bound [-].

        Raises
        ------
        SiltcodeError
            ``beta-not-rated`` below the smallest rated size, where nothing but a ceiling is known.

        Examples
        --------
        >>> from siltcode import Beta
        >>> round(Beta("5:10,7:200").working(6))
        45
        """
        return _native.beta_working(self._exact, float(um))

    def size_for(self, beta: float) -> tuple[float, float, float] | None:
        """The size at which it reaches the ratio `beta`, by the three interpolations [um(c)]; None where it does not.

        Examples
        --------
        >>> from siltcode import Beta
        >>> [round(um, 2) for um in Beta("5:10,7:200").size_for(75)]
        [6.35, 6.27, 6.29]
        """
        found = _native.size_for(self._exact, float(beta))
        return None if found is None else (found[0], found[1], found[2])

    def derated(self, divisor: float) -> Beta:
        """The same rating where ``beta - 1`` is less in service: divided by `divisor`, 1 or more [-].

        Unsteady flow and vibration cost efficiency; how much comes from counts, not from a table.

        Raises
        ------
        SiltcodeError
            ``factor-out-of-range`` unless the divisor is finite and ``divisor >= 1``.

        Examples
        --------
        >>> from siltcode import Beta
        >>> Beta({4: 11, 6: 101}).derated(10)
        Beta('4:2,6:11')
        """
        return Beta({um: (low, high) for um, low, high in _native.beta_derated(self._exact, float(divisor))})

    def bins(self, sizes: Sequence[float], tested_with: Sample | None = None, *, at_best: bool = False) -> list[float]:
        """The ratio in each bin between rising sizes, the last one open.

        Parameters
        ----------
        sizes : sequence of float
            [um(c)].
        tested_with : Sample, optional
            The counts that challenged the filter in its test; without it, ISO medium test dust.
        at_best : bool
            With the largest ratio possible at each size, to show what interpolating and bounds leave open.

        Returns
        -------
        list of float [-]

        Raises
        ------
        SiltcodeError
            ``betas-inconsistent`` where the ratios cannot all be true of the challenge; ``beta-not-rated``,
            ``challenge-outside``.

        Examples
        --------
        >>> from siltcode import Beta
        >>> [round(beta, 2) for beta in Beta({4: 3, 6: 20, 14: 1000}).bins([4, 6, 14])]
        [1.94, 18.6, 1000.0]
        """
        return _native.beta_bins(self._exact, [float(um) for um in sizes], challenge_given(tested_with), at_best)

    def _repr_html_(self) -> str:
        rows = [[um, figures(low), figures(high)] for um, (low, high) in self.rated.items()]
        return html_table(Table(["size, um(c)", "ratio at least", "at most"], rows))


@dataclass(frozen=True, slots=True)
class BetaAt:
    """What is known of a ratio at a size.

    Attributes
    ----------
    known : {"rated", "between", "within", "at most", "at least"}
        A rated size; between two; a nominal interval; below the rated sizes; above them, or too large to measure.
    low, high : float
        The ratio lies between these [-].
    rules : tuple of float, or None
        Between two rated sizes: ln beta over the size, ln beta over ln size, ln (beta - 1) over ln size [-].

    Examples
    --------
    >>> from siltcode import Beta
    >>> Beta({5: 10, 7: 200}).at(4)
    BetaAt(known='at most', low=1.0, high=10.0, rules=None)
    """

    known: Literal["rated", "between", "within", "at most", "at least"]
    low: float
    high: float
    rules: tuple[float, float, float] | None


def challenge_given(tested_with: Sample | None) -> dict[str, Any] | None:
    """What a filter was tested with, in the form that the native module takes; nothing stands for test dust."""
    return None if tested_with is None else tested_with._given()


def _text(rated: BySize[Any]) -> str:
    return ",".join(f"{um:g}:{_ratio(ratio)}" for um, ratio in rated.items())


def _ratio(ratio: Any) -> str:
    return f"{ratio[0]!r}..{ratio[1]!r}" if isinstance(ratio, (tuple, list)) else f"{float(ratio)!r}"
