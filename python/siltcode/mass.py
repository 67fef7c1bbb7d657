"""What the particles of a sample weigh: an interval, with what it takes for granted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from siltcode import _arrays, _native
from siltcode._display import Table, figures, html_table
from siltcode.samples import Sample
from siltcode.units import in_unit, number_in

#: Least and most [mg/L].
Ends = tuple[float, float]


@dataclass(frozen=True, slots=True)
class MassBin:
    """The mass of the particles between two sizes, as least and most under each law [mg/L].

    Attributes
    ----------
    from_, to : str
        The sizes; `to` is None above the largest counted size, where the law of the last two sizes is carried on.
    power, log_log2 : tuple of float
        By the power law and by the log-log2 law [mg/L].

    Examples
    --------
    >>> import siltcode
    >>> mass = siltcode.mass_of(siltcode.Sample.of({6: 500, 14: 40}), "2.65 kg/L", 1, 30)
    >>> [(bin.from_, bin.to, round(bin.power[1], 3)) for bin in mass.bins]
    [('6 um(c)', '14 um(c)', 0.382), ('14 um(c)', None, 0.349)]
    """

    from_: str
    to: str | None
    power: Ends
    log_log2: Ends


@dataclass(frozen=True, slots=True)
class MassEstimate:
    """The mass of the particles of a sample, of `mass_of`.

    Attributes
    ----------
    least, most : float
        Over both laws [mg/L].
    power, log_log2 : tuple of float
        Least and most under each law [mg/L].
    bins : tuple of MassBin
        Size by size, smallest first.

    Examples
    --------
    >>> import siltcode
    >>> mass = siltcode.mass_of(siltcode.Sample.of({4: 2000, 6: 500, 14: 40}), "2.65 kg/L", 1, 70)
    >>> round(mass.power[0], 3), round(mass.log_log2[0], 3)
    (1.35, 1.128)
    """

    least: float
    most: float
    power: Ends
    log_log2: Ends
    bins: tuple[MassBin, ...]

    def __str__(self) -> str:
        return f"{figures(self.least, 3)} to {figures(self.most, 3)} mg/L"

    def _repr_html_(self) -> str:
        rows = [[b.from_, b.to or "", *map(figures, b.power), *map(figures, b.log_log2)] for b in self.bins]
        headings = ["from", "to", "power law, at least", "at most", "log-log2 law, at least", "at most"]
        return html_table(Table(headings, rows, f"{self}", "mg/L"))


def mass_of(
    sample: Sample,
    density: Any,
    shape: float | tuple[float, float],
    largest: float | tuple[float, float],
) -> MassEstimate:
    """The mass of the particles of a sample from the smallest counted size up.

    Parameters
    ----------
    sample : Sample
        Only plain counts take part.
    density : one or a pair of str, number or pint quantity
        Of the particles, as least and most [kg/m3].
    shape : float or (float, float)
        The volume of a particle over that of the sphere of its size, as least and most; 1 for spheres [-].
    largest : float or (float, float)
        The size of the largest particle, as least and most [um, in the sample's scale].

    Returns
    -------
    MassEstimate

    Raises
    ------
    SiltcodeError
        ``nothing-counted`` without a plain count; ``quantity-out-of-range`` unless each pair rises, `shape` is above 0
        and finite and `largest` is at least the largest counted size.

    Notes
    -----
    Judge by it how an element loads up; it does not stand for a weighed filter. Counts up to 14 um leave a factor of two
    to the largest size alone, and particles below the smallest counted size are not in it.

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of({4: 2000, 6: 500, 14: 40})
    >>> str(siltcode.mass_of(bottle, density="2.65 kg/L", shape=(0.5, 1), largest=(30, 70)))
    '0.478 to 1.35 mg/L'
    """
    found = _native.mass(sample._given(), assumed_given(density, shape, largest))
    bins = tuple(MassBin(b["from"], b["to"], tuple(b["power"]), tuple(b["log_log2"])) for b in found["bins"])
    least, most = found["spread"]
    return MassEstimate(least, most, tuple(found["power"]), tuple(found["log_log2"]), bins)


def assumed_given(density: Any, shape: Any, largest: Any) -> dict[str, Any]:
    """What particles are taken for, in the form that the native module takes."""
    least, most = _pair(density)
    return {
        "density": (number_in(least, "kg/m3"), number_in(most, "kg/m3")),
        "shape": tuple(map(float, _pair(shape))),
        "largest": tuple(map(float, _pair(largest))),
    }


def _pair(given: Any) -> tuple[Any, Any]:
    pair = given if isinstance(given, (tuple, list)) else (given, given)
    if len(pair) != 2:
        _arrays.refused("lengths-differ", f"{given} are not a least and a most", "give one value, or a pair")
    return pair[0], pair[1]


def mass_of_spheres(per_ml: Any, um: Any, density: Any) -> Any:
    """The mass of spheres of one size: ``rho pi / 6 d**3`` each.

    Parameters
    ----------
    per_ml : number or array_like
        How many there are [particles/mL].
    um : number or array_like
        Their size [um(c)].
    density : str, number, array_like or pint quantity
        Their density [kg/m3].

    Returns
    -------
    float of the same kind and shape [mg/L]

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.mass_of_spheres(1000, 10, "2.65 kg/L"), 5)
    1.38754
    """
    return _arrays.mapped(_native.mass_of_spheres, per_ml=per_ml, um=um, density=in_unit(density, "kg/m3"))
