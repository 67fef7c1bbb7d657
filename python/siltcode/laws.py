"""The two laws that a spectrum may follow between its sizes, and beyond them for a picture only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _arrays, _native

Law = Literal["power", "log-log2"]


@dataclass(frozen=True, slots=True)
class Curve:
    """One law through two points.

    Attributes
    ----------
    law : {"power", "log-log2"}
        ``N = T d**-S``, or ``ln N = a - b (ln d)**2`` with sizes of at least 1 um: the straight line of the graph paper.
    small, large : (float, float)
        A size and the particles at and above it, both above 0 [um(c), particles/mL].

    Notes
    -----
    Both fit mineral dust with one peak; behind a fine filter the large end is cut off and both read too high there. Beyond
    the two points this is extrapolation: good for a picture, never for a class. The form of the second law is recalled, not
    read (UNVERIFIED).

    Examples
    --------
    >>> import siltcode
    >>> [round(siltcode.Curve(law, (6, 500), (14, 40)).at(10), 1) for law in ("power", "log-log2")]
    [109.1, 122.4]
    """

    law: Law
    small: tuple[float, float]
    large: tuple[float, float]

    @property
    def slope(self) -> float:
        """`S` of the power law, `b` of the log-log2 law [-].

        Examples
        --------
        >>> import siltcode
        >>> round(siltcode.Curve("power", (6, 500), (14, 40)).slope, 3)
        2.981
        """
        return _native.law_slope(self.law, *self._points())

    def at(self, um: Any) -> Any:
        """The particles at and above sizes.

        Parameters
        ----------
        um : number or array_like
            [um(c)].

        Returns
        -------
        float of the same kind and shape [particles/mL]

        Raises
        ------
        SiltcodeError
            ``law-undefined`` unless the sizes differ, both counts are above 0 and the log-log2 law is asked for at least
            1 um.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.Curve("power", (6, 500), (14, 40)).at([6, 8, 14]).round()
        array([500., 212.,  40.])
        """
        small, large = self._points()
        return _arrays.mapped(lambda size: _native.law_at(self.law, small, large, size), um=um)

    def weight(self, um: float) -> float:
        """How far `um` lies beyond the larger point, in steps from the smaller to it along the law's axis [-].

        Above 0 beyond it, between -1 and 0 between the two.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.Curve("power", (6, 500), (14, 40)).weight(6)
        -1.0
        """
        return _native.law_weight(self.law, float(self.small[0]), float(self.large[0]), float(um))

    def _points(self) -> tuple[tuple[float, float], tuple[float, float]]:
        (small, many), (large, few) = self.small, self.large
        return (float(small), float(many)), (float(large), float(few))


def counting_deviation(law: Law, small: tuple[float, int], large: tuple[float, int], um: float) -> float:
    """The standard deviation of ln N that a law reads at a size, from particles counted at two sizes of one volume.

    Parameters
    ----------
    law : {"power", "log-log2"}
        As for `Curve`.
    small, large : (float, int)
        A size and the particles counted there, ``small >= large >= 1`` [um(c), particles].
    um : float
        The size to read [um(c)].

    Returns
    -------
    float [-]
        One range number is about ``ln 2``.

    Raises
    ------
    SiltcodeError
        ``law-undefined``, ``raw-not-whole``.

    Notes
    -----
    Counts are Poisson and nested. By the delta method, with weight ``w``:
    ``(w/k1)**2 (k1-k2) + ((1+w)/k2 - w/k1)**2 k2``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.counting_deviation("power", (4, 2000), (6, 500), 14), 4)
    0.1217
    """
    (low, many), (high, few) = small, large
    return _native.counting_deviation(law, (float(low), float(many)), (float(high), float(few)), float(um))


def power_density(at_1_um: float, slope: float, um: Any) -> Any:
    """The particles at and above sizes of a power law that is stated by its density ``n(d) = t d**-s``.

    Parameters
    ----------
    at_1_um : float
        The density at 1 um, ``t >= 0`` [particles/mL/um].
    slope : float
        The slope of the density, ``s > 1`` [-].
    um : number or array_like
        Sizes [um(c)].

    Returns
    -------
    float of the same kind and shape [particles/mL]

    Raises
    ------
    SiltcodeError
        ``law-undefined`` unless ``1 < slope < inf``; ``count-not-finite``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.power_density(1e5, 4.2, 6), 2)
    101.1
    """
    return _arrays.mapped(lambda size: _native.power_density(float(at_1_um), float(slope), size), um=um)
