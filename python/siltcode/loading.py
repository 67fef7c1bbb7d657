"""How the resistance of an element grows with what it has caught, and what it has caught between two samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _arrays, _native
from siltcode.mass import Ends, assumed_given
from siltcode.samples import Sample
from siltcode.units import in_unit, number_in

#: Laws by which the resistance of an element grows.
LoadingLaw = Literal["cake", "intermediate", "standard", "complete", "cubic"]


def resistance_ratio(law: LoadingLaw, loading: Any) -> Any:
    """The resistance of an element over that of the clean one, at constant flow.

    Parameters
    ----------
    law : {"cake", "intermediate", "standard", "complete", "cubic"}
        How it grows.
    loading : number or array_like
        What was caught, times the constant of the law: ``K v``, 0 or more [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``loading-law-left`` unless ``K v < 1`` (complete) or ``K v < 2`` (standard); ``factor-out-of-range``.

    Notes
    -----
    The laws are ``dR/dv = K R**n``: cake (n = 0) ``1 + K v``; intermediate (1) ``exp(K v)``; standard (3/2)
    ``(1 - K v / 2)**-2``; complete blocking (2) ``1 / (1 - K v)``. The cubic ``1 + (K v)**3`` is that of hydraulic
    elements.

    References
    ----------
    .. [1] Integrals of the laws; their worked values and sources stand in ``tests/golden/loading.csv``.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.resistance_ratio("complete", [0.2, 0.6, 0.9]).round(2)
    array([ 1.25,  2.5 , 10.  ])
    """
    return _arrays.mapped(lambda each: _native.resistance_ratio(law, each), loading=loading)


def loading_at(law: LoadingLaw, ratio: Any) -> Any:
    """The loading at which an element has a resistance: `resistance_ratio` the other way round.

    Parameters
    ----------
    law : {"cake", "intermediate", "standard", "complete", "cubic"}
        How it grows.
    ratio : number or array_like
        The resistance over that of the clean element, 1 or more [-].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``factor-out-of-range``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.loading_at("cake", 1.9), 3)
    0.9
    """
    return _arrays.mapped(lambda each: _native.loading_at(law, each), ratio=ratio)


def capacity_used(law: LoadingLaw, pressure: Any, clean: Any, terminal: Any) -> Any:
    """The share of an element's dirt capacity that is used at a differential pressure.

    Half the terminal pressure is not half the life.

    Parameters
    ----------
    law : {"cake", "intermediate", "standard", "complete", "cubic"}
        How the resistance grows.
    pressure, clean, terminal : str, number, array_like or pint quantity
        What is read now, of the clean element, and at which the element is to be changed, all at rated flow [kPa].

    Returns
    -------
    float of the same kind and shape [-]
        Above 1 past the terminal pressure.

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless ``0 < clean <= pressure`` and ``clean < terminal``; ``quantity-unreadable``.

    Notes
    -----
    Dirt capacity is stated for mineral test dust; soft sludge or water blocks an element at a fraction of it.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.capacity_used("intermediate", "1.2 bar", "0.3 bar", "2.4 bar"), 3)
    0.667
    """
    given = {"pressure": pressure, "clean": clean, "terminal": terminal}
    return _arrays.mapped(
        lambda *each: _native.capacity_used(law, *each), **{name: in_unit(each, "kPa") for name, each in given.items()}
    )


def pressure_at_capacity(law: LoadingLaw, used: Any, clean: Any, terminal: Any) -> Any:
    """The differential pressure once a share of the capacity is used: `capacity_used` the other way round.

    Parameters
    ----------
    law : {"cake", "intermediate", "standard", "complete", "cubic"}
        How the resistance grows.
    used : number or array_like
        The share, 0 or more [-].
    clean, terminal : str, number, array_like or pint quantity
        Of the clean element, and at which the element is to be changed, both at rated flow [kPa].

    Returns
    -------
    float of the same kind and shape [kPa]

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless ``0 < clean < terminal``; ``loading-law-left``; ``factor-out-of-range``.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.pressure_at_capacity("cake", [0, 0.5, 1], 30, 240).round(6)
    array([ 30., 135., 240.])
    """
    given = {"used": used, "clean": in_unit(clean, "kPa"), "terminal": in_unit(terminal, "kPa")}
    return _arrays.mapped(lambda *each: _native.pressure_at_capacity(law, *each), **given)


@dataclass(frozen=True, slots=True)
class Captured:
    """What elements caught between two samples of a tank, of `captured_mass`.

    Attributes
    ----------
    least_g, most_g : float
        At least and at most, as the masses of the particles are [g]; 0 where the later sample weighs no less.
    may_have_risen : bool
        Whether the particles of the later sample may weigh more: then more came in than was caught.
    elements : tuple of float, or None
        How many elements of the capacity that fills, at least and at most [-]; None without a capacity.
    notes : tuple of str
        What has to be said of it.

    Examples
    --------
    >>> import siltcode
    >>> before, after = siltcode.Sample.of({4: 9000, 14: 90}), siltcode.Sample.of({4: 900, 14: 9})
    >>> siltcode.captured_mass(before, after, "18 m3", "2.65 kg/L", 1, 50, capacity="60 g").may_have_risen
    False
    """

    least_g: float
    most_g: float
    may_have_risen: bool
    elements: Ends | None
    notes: tuple[str, ...]


def captured_mass(
    before: Sample,
    after: Sample,
    tank: Any,
    density: Any,
    shape: float | tuple[float, float],
    largest: float | tuple[float, float],
    *,
    capacity: Any = None,
) -> Captured:
    """The mass that left a tank between two samples: ``V sum w_i (n_before - n_after)``.

    Parameters
    ----------
    before, after : Sample
        Counted at the same sizes.
    tank : str, number or pint quantity
        The fluid in the tank [m3].
    density, shape, largest
        What the particles are taken for, as for `mass_of` [kg/m3], [-], [um, in the samples' scale].
    capacity : str, number or pint quantity, optional
        The dirt capacity of one element [g].

    Returns
    -------
    Captured

    Raises
    ------
    SiltcodeError
        ``sizes-differ`` unless both were counted at the same sizes; as for `mass_of`.

    Notes
    -----
    What came into the tank between the samples was caught too and is not in it. Dirt capacity is stated for mineral test
    dust; soft sludge or water blocks an element at a fraction of it.

    Examples
    --------
    >>> import siltcode
    >>> before = siltcode.Sample.of({4: 30000, 6: 8500, 14: 640})
    >>> after = siltcode.Sample.of({4: 2000, 6: 500, 14: 40})
    >>> caught = siltcode.captured_mass(before, after, "18 m3", "2.65 kg/L", (0.5, 1), 50, capacity="200 g")
    >>> round(caught.least_g), round(caught.most_g), tuple(round(each, 1) for each in caught.elements)
    (147, 319, (0.7, 1.6))
    """
    assumed = assumed_given(density, shape, largest)
    grams = None if capacity is None else number_in(capacity, "g")
    found = _native.captured(before._given(), after._given(), number_in(tank, "m3"), assumed, grams)
    least, most = found["mass"]
    elements = found["elements"] and tuple(found["elements"])
    return Captured(least, most, found["may_have_risen"], elements, tuple(found["notes"]))
