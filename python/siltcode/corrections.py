"""Counts put right: for dilution, for a blank, for what hides behind what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from siltcode import _arrays, _native
from siltcode._evidence import evidence
from siltcode.units import number_in


@dataclass(frozen=True, slots=True)
class Corrected:
    """A concentration with its standard uncertainty.

    Attributes
    ----------
    per_ml, uncertainty : float
        Both in the same unit [particles/mL].

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.diluted(4, 400, 1, 20, dilution_cv=0.02, blank_per_ml=5)
    >>> found.per_ml, round(found.uncertainty)
    (7995.0, 431)
    """

    per_ml: float
    uncertainty: float


def diluted(
    um: float, k: int, volume_ml: Any, dilution: float, dilution_cv: float = 0.0, blank_per_ml: float = 0.0
) -> Corrected:
    """The concentration of a diluted sample, less its blank, with its standard uncertainty.

    Parameters
    ----------
    um : float
        The size, named if the blank is above the sample [um(c)].
    k, volume_ml, dilution : number
        Particles counted [particles], in what volume [mL], at what dilution [-].
    dilution_cv : float
        The relative standard uncertainty of the dilution factor [-].
    blank_per_ml : float
        What the solvent brings in, per mL of the diluted sample [particles/mL].

    Returns
    -------
    Corrected

    Raises
    ------
    SiltcodeError
        ``blank-above-sample``, ``dilution-below-one``, ``raw-not-whole``.

    Notes
    -----
    The relative variances of count and dilution add: ``1/k + cv**2``, for a count large enough to be called normal;
    the blank is taken as exact.

    References
    ----------
    .. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, 5.1.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.diluted(4, 400, 1, 20, dilution_cv=0.02)
    >>> found.per_ml, round(found.uncertainty)
    (8000.0, 431)
    """
    counted = (float(k), number_in(volume_ml, "mL"), float(dilution))
    return Corrected(**_native.diluted(float(um), counted, float(dilution_cv), float(blank_per_ml)))


@dataclass(frozen=True, slots=True)
class Net:
    """A count less its blank.

    Attributes
    ----------
    per_ml : float or None
        The net concentration [particles/mL]; None where the blank is above the sample.
    interval_per_ml : tuple of float
        Its interval [particles/mL].
    significance : float
        The difference over its standard uncertainty [-].

    Examples
    --------
    >>> import siltcode
    >>> net = siltcode.less_blank(4, (100, 1), (36, 1))
    >>> [round(end, 1) for end in net.interval_per_ml], round(net.significance, 1)
    ([41.6, 87.6], 5.6)
    """

    per_ml: float | None
    interval_per_ml: tuple[float, float]
    significance: float


def less_blank(um: float, sample: Sequence[float], blank: Sequence[float], level: float = 0.95) -> Net:
    """A count less its blank, with the scatter of both.

    Parameters
    ----------
    um : float
        The size [um(c)].
    sample, blank : (k, volume) or (k, volume, dilution)
        Particles counted [particles], in what volume [mL], at what dilution [-].
    level : float
        The level of the interval [-].

    Returns
    -------
    Net

    Raises
    ------
    SiltcodeError
        ``raw-not-whole``, ``volume-not-positive``, ``dilution-below-one``, ``level-out-of-range``.

    Notes
    -----
    The interval is that of the profile likelihood of two Poisson counts, and does not fall below 0.

    References
    ----------
    .. [1] T.-P. Li and Y.-Q. Ma, Astrophysical Journal 272 (1983) 317-324, Eq. 17.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.less_blank(4, (100, 1), (36, 1)).per_ml
    64.0
    """
    found = _native.less_blank(float(um), evidence(sample), evidence(blank), float(level))
    return Net(found["per_ml"], tuple(found["interval_per_ml"]), found["significance"])


@dataclass(frozen=True, slots=True)
class Coincidence:
    """What a counter makes of the particles that there were.

    Attributes
    ----------
    truth, observed : float
        The particles that there were, and those counted [particles].
    loss : float
        The share that was lost [-].
    first_order : float
        What is counted if only pairs hide each other: good for small losses [particles].
    near_saturation : bool
        One more particle shows as less than half: correcting then more than doubles the uncertainty.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.Counter(dead_time=1e-5).of_observed(4877)
    >>> round(found.truth, 1), round(found.loss, 3)
    (5133.9, 0.05)
    """

    truth: float
    observed: float
    loss: float
    first_order: float
    near_saturation: bool


@dataclass(frozen=True, slots=True)
class Counter:
    """How a counter loses particles that pass its sensor together. One of the two is given.

    Attributes
    ----------
    sensing_volumes : float or None
        How many sensing volumes the counted volume is, each counting at most one particle [-].
    dead_time : float or None
        The dead time over the counting time, extended by each further particle [-].

    References
    ----------
    .. [1] M. Wales and J. N. Wilson, Review of Scientific Instruments 32 (1961).
    .. [2] Aerosol Science and Technology 47 (2013) 177-182: the inverse, by the Lambert W function.

    Examples
    --------
    >>> import siltcode
    >>> seen = siltcode.Counter(sensing_volumes=1e5).of_truth(5000)
    >>> round(seen.observed, 1), round(seen.first_order), seen.near_saturation
    (4877.1, 4875, False)
    """

    sensing_volumes: float | None = None
    dead_time: float | None = None

    def of_truth(self, particles: float) -> Coincidence:
        """What it counts of so many `particles` [particles].

        Examples
        --------
        >>> import siltcode
        >>> siltcode.Counter(sensing_volumes=1000).of_truth(1000).near_saturation
        True
        """
        return self._of(particles, True)

    def of_observed(self, particles: float) -> Coincidence:
        """What is behind so many counted `particles` [particles], on the side of few.

        Raises
        ------
        SiltcodeError
            ``quantity-out-of-range`` if the counter cannot show so many.

        Examples
        --------
        >>> import siltcode
        >>> round(siltcode.Counter(sensing_volumes=1e5).of_observed(4877.1).truth)
        5000
        """
        return self._of(particles, False)

    def _of(self, particles: float, is_truth: bool) -> Coincidence:
        if (self.sensing_volumes is None) == (self.dead_time is None):
            message = "a counter is known by its sensing volumes or by its dead time"
            _arrays.refused("quantity-out-of-range", message, "give one of the two")
        found = _native.coincidence(float(particles), is_truth, self.sensing_volumes, self.dead_time)
        assert found is not None  # a counter was given
        return Coincidence(**found)


def coincidence(observed: float, sensing_volumes: float) -> tuple[float, float]:
    """The particles behind an observed count, where particles hide behind each other.

    Parameters
    ----------
    observed : float
        Particles counted in a run [particles].
    sensing_volumes : float
        How many sensing volumes the counted volume is, each counting at most one particle [-].

    Returns
    -------
    (float, float)
        The particles that there were [particles], and the share that was lost [-].

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless ``observed < sensing_volumes``.

    References
    ----------
    .. [1] M. Wales and J. N. Wilson, Review of Scientific Instruments 32 (1961).

    Examples
    --------
    >>> import siltcode
    >>> truth, lost = siltcode.coincidence(4877.1, 1e5)
    >>> round(truth), round(lost, 3)
    (5000, 0.025)
    """
    found = Counter(sensing_volumes=float(sensing_volumes)).of_observed(observed)
    return found.truth, found.loss
