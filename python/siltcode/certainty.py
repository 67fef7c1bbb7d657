"""How sure a count, a code and a verdict are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from siltcode import _arrays, _native
from siltcode._display import Table, html_table, probability
from siltcode._evidence import evidence
from siltcode.units import in_unit

Method = Literal["garwood", "mid-p", "jeffreys"]

#: The numbers 0 to 28 and above the scale.
_NUMBERS = 30


def poisson_interval(k: Any, level: float = 0.95, method: Method = "garwood") -> Any:
    """The expected count behind a raw count, as a two-sided interval.

    Parameters
    ----------
    k : int or array_like of int, any shape
        Raw counts, before any scaling [particles]; NaN is not counted.
    level : float
        Confidence level, ``0 < level < 1`` [-].
    method : {"garwood", "mid-p", "jeffreys"}
        Exact (covers at least the level); half of the count's own probability on each side; or the equal tails of the
        posterior Gamma(k + 1/2).

    Returns
    -------
    low, high : float of the same kind and shape [particles]

    Raises
    ------
    SiltcodeError
        ``level-out-of-range``; ``raw-not-whole`` unless ``k`` is whole and ``0 <= k <= 2**53``.

    Notes
    -----
    Relative error below 1e-12 for levels 0.8 to 0.999 and counts to 1e9.

    References
    ----------
    .. [1] F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936) 437-442.

    Examples
    --------
    >>> import siltcode
    >>> low, high = siltcode.poisson_interval(10)
    >>> round(low, 2), round(high, 2)
    (4.8, 18.39)
    """
    values, back = _arrays.floats(k, "k")
    low, high = _native.poisson_interval(_arrays.flat(values), float(level), method)
    return back(low.reshape(values.shape)), back(high.reshape(values.shape))


class Odds(Mapping[int, float]):
    """The probability of each range number, cleanest first; 29 is above the scale.

    Numbers less likely than one in a million are left out; any number from 0 to 29 may be asked for.

    Examples
    --------
    >>> import siltcode
    >>> odds = siltcode.code_odds(50, volume_ml=5)
    >>> {number: round(p, 2) for number, p in odds.items() if p > 0.01}
    {10: 0.49, 11: 0.51}
    >>> odds.likeliest, odds[3]
    (11, 0.0)
    """

    __slots__ = ("_odds",)

    def __init__(self, odds: Mapping[int, float]) -> None:
        self._odds = {int(number): float(p) for number, p in odds.items() if p > 0}

    def __getitem__(self, number: int) -> float:
        if number not in range(_NUMBERS):
            raise KeyError(number)
        return self._odds.get(number, 0.0)

    def __iter__(self) -> Iterator[int]:
        return iter(self._odds)

    def __len__(self) -> int:
        return len(self._odds)

    def __hash__(self) -> int:
        return hash(tuple(self._odds.items()))

    @property
    def likeliest(self) -> int:
        """The number with the highest probability."""
        return max(self._odds, key=self._odds.__getitem__)

    def __repr__(self) -> str:
        shown = {number: p for number, p in self._odds.items() if p >= 0.001}
        return f"Odds({', '.join(f'{_printed(number)}: {probability(p)}' for number, p in shown.items())})"

    def _repr_html_(self) -> str:
        rows = [[_printed(number), probability(p)] for number, p in self._odds.items() if p >= 0.001]
        return html_table(Table(["range number", "probability"], rows))


def _printed(number: int) -> str:
    return ">28" if number == _NUMBERS - 1 else str(number)


def code_odds(k: Any, volume_ml: Any, dilution: Any = 1.0, scatter: float = 0.0) -> Any:
    """How likely the fluid's true range number is each of those that come into question, given a raw count.

    Parameters
    ----------
    k : int or array_like of int
        Particles counted at and above one size, before any scaling [particles]; NaN is not counted.
    volume_ml : number, array_like or str
        The volume they were counted in [mL], after dilution; or text with a unit.
    dilution : number or array_like
        Total volume over sample volume, 1 or more [-].
    scatter : float
        Coefficient of variation between bottles of the same fluid, where it is known [-].

    Returns
    -------
    Odds, or ndarray of float, shape (..., 30) [-]
        For plain numbers a mapping of range number to probability; for arrays one row of 30 probabilities each, the last
        for above the scale. NaN where not counted.

    Raises
    ------
    SiltcodeError
        ``raw-not-whole``, ``volume-not-positive``, ``dilution-below-one``, ``quantity-out-of-range``.

    Notes
    -----
    The concentration has the posterior Gamma(k + 1/2) of Jeffreys' prior. The counts say nothing of how well the bottle
    stands for the tank.

    References
    ----------
    .. [1] H. Jeffreys, An invariant form for the prior probability in estimation problems, Proceedings of the Royal
       Society A 186 (1946) 453-461.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.code_odds(12, volume_ml="1 mL")
    Odds(9: 0.003, 10: 0.250, 11: 0.718, 12: 0.029)
    """
    given = {"k": k, "volume_ml": in_unit(volume_ml, "mL"), "dilution": dilution}
    arrays, _ = _arrays.together(**given)
    raw, volume, factor = map(_arrays.flat, arrays)
    odds = _native.code_odds(raw, volume, factor, float(scatter)).reshape(*arrays[0].shape, _NUMBERS)
    if odds.ndim > 1 or np.isnan(odds[0]):
        return odds
    return Odds(dict(enumerate(odds.tolist())))


@dataclass(frozen=True, slots=True)
class Posterior:
    """What a count says of the concentration it came from.

    Attributes
    ----------
    k : int
        Particles counted [particles].
    volume_ml : number, str or pint quantity
        In what volume, after dilution [mL].
    dilution : float
        Total volume over sample volume [-].
    scatter : float
        Coefficient of variation between bottles of the same fluid [-].

    Notes
    -----
    Without scatter Gamma(k + 1/2) over the examined volume, Jeffreys' posterior; scatter multiplies it by a lognormal factor
    of median 1. Intervals without scatter are Garwood's.

    Examples
    --------
    >>> import siltcode
    >>> fluid = siltcode.Posterior(50, "5 mL")
    >>> round(fluid.at_most(10), 4)
    0.4906
    >>> [round(end, 2) for end in fluid.interval()]
    [7.42, 13.18]
    """

    k: int
    volume_ml: Any
    dilution: float = 1.0
    scatter: float = 0.0

    def at_most(self, per_ml: float) -> float:
        """The probability that the concentration is at most `per_ml` [particles/mL to -].

        Examples
        --------
        >>> import siltcode
        >>> round(siltcode.Posterior(70, "1 mL").at_most(80), 2)
        0.87
        """
        return _native.at_most(self._evidence(), float(self.scatter), float(per_ml))

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """The two-sided interval at a `level` [particles/mL].

        Examples
        --------
        >>> import siltcode
        >>> [round(end, 2) for end in siltcode.Posterior(10, "1 mL", dilution=2).interval()]
        [9.59, 36.78]
        """
        return self._intervals(level)[0]

    def one_sided(self, level: float = 0.95) -> tuple[float, float]:
        """The lower and the upper limit, each for itself at a `level` [particles/mL].

        Examples
        --------
        >>> import siltcode
        >>> [round(end, 2) for end in siltcode.Posterior(0, "1 mL").one_sided()]
        [0.0, 3.0]
        """
        return self._intervals(level)[1]

    def _evidence(self) -> tuple[float, float, float]:
        return evidence((self.k, self.volume_ml, self.dilution))

    def _intervals(self, level: float) -> list[tuple[float, float]]:
        found = _native.posterior(self._evidence(), float(self.scatter), float(level))
        return [(low, high) for low, high in found]
