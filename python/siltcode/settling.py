"""How fast particles settle, and what a tank drops while it stands still."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from siltcode import _arrays, _native
from siltcode.errors import SiltcodeError
from siltcode.units import in_unit, number_in


@dataclass(frozen=True, slots=True)
class Settling:
    """How particles of one size and density settle in a liquid at rest.

    Attributes
    ----------
    um : float
        The size [um(c)].
    speed_mm_per_h : float
        Downwards; negative for what rises [mm/h].
    reynolds : float
        The Reynolds number of the particle [-].
    reads_high : bool
        Whether the law reads high here, ``0.1 <= Re < 1``.

    Examples
    --------
    >>> import siltcode
    >>> drop = siltcode.Liquid("850 kg/m3", "10 mPa.s").settling(20, "1 kg/L")
    >>> round(drop.speed_mm_per_h, 1), drop.reads_high
    (11.8, False)
    """

    um: float
    speed_mm_per_h: float
    reynolds: float
    reads_high: bool


@dataclass(frozen=True, slots=True)
class Liquid:
    """A liquid that particles settle in, at its temperature.

    Attributes
    ----------
    density : str, number or pint quantity
        Its density, ``"850 kg/m3"`` [kg/m3].
    viscosity : str, number or pint quantity
        Its viscosity, ``"10 mPa.s"`` [mPa.s]; with its unit a kinematic one too, ``"12 cSt"``.

    Notes
    -----
    Stokes' law ``v = g (rho_p - rho_f) d**2 / (18 mu)`` for single spheres in still liquid, few enough not to hinder one
    another. It reads high from ``Re = 0.1`` and is refused from 1 on (both limits UNVERIFIED).

    References
    ----------
    .. [1] G. G. Stokes, On the effect of the internal friction of fluids on the motion of pendulums, 1851.

    Examples
    --------
    >>> import siltcode
    >>> oil = siltcode.Liquid("850 kg/m3", "10 mPa.s")
    >>> round(oil.settling(10, "2650 kg/m3").speed_mm_per_h, 4)
    35.3039
    """

    density: Any
    viscosity: Any

    def _given(self) -> dict[str, float]:
        density = number_in(self.density, "kg/m3")
        return {"density": density, "viscosity": _dynamic(self.viscosity, density)}

    def settling(self, um: float, particle: Any) -> Settling:
        """How particles of a size and density settle in it.

        Parameters
        ----------
        um : float
            Their size, taken for the diameter of a sphere [um(c)].
        particle : str, number or pint quantity
            Their density [kg/m3].

        Returns
        -------
        Settling

        Raises
        ------
        SiltcodeError
            ``stokes-law-left`` unless ``Re < 1``; ``quantity-out-of-range``, ``quantity-unreadable``.

        Examples
        --------
        >>> import siltcode
        >>> water = siltcode.Liquid("998 kg/m3", "1 mm2/s")
        >>> water.settling(80, "2650 kg/m3").reads_high
        True
        """
        found = _native.settling(self._given(), float(um), number_in(particle, "kg/m3"))
        return Settling(float(um), found["mm_per_h"], found["reynolds"], found["reads_high"])

    def hours_over(self, height: Any, um: float, particle: Any) -> float:
        """How long particles take over a height [h]; infinite for those that do not move.

        Parameters
        ----------
        height : str, number or pint quantity
            [m].
        um, particle
            As for `settling`.

        Examples
        --------
        >>> import siltcode
        >>> round(siltcode.Liquid(850, 10).hours_over("2 m", 10, 2650), 4)
        56.6509
        """
        particle = number_in(particle, "kg/m3")
        found = _native.hours_over(self._given(), float(um), particle, number_in(height, "m"))
        return math.inf if found is None else found

    def speed(self, um: Any, particle: Any) -> Any:
        """The settling speed of many sizes at once.

        Parameters
        ----------
        um : number or array_like, any shape
            Sizes [um(c)]; NaN stays NaN.
        particle : str, number, array_like or pint quantity
            Densities [kg/m3], broadcast with the sizes.

        Returns
        -------
        float of the same kind and shape [mm/h]

        Raises
        ------
        SiltcodeError
            ``stokes-law-left`` with the row, as for `settling`.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.Liquid(850, 10).speed([5, 10], 2650).round(2)
        array([ 8.83, 35.3 ])
        """
        arrays, back = _arrays.together(um=um, particle=in_unit(particle, "kg/m3"))
        return back(_native.settling_speeds(self._given(), *map(_arrays.flat, arrays)).reshape(arrays[0].shape))

    def left(self, um: Any, particle: Any, time: Any, height: Any, *, stirred: bool = False) -> Any:
        """The share of particles that is still afloat after a time.

        Parameters
        ----------
        um, particle
            As for `speed`.
        time : str, number, array_like or pint quantity
            How long [h].
        height : str, number, array_like or pint quantity
            The height of the column [m].
        stirred : bool
            Kept evenly mixed above its floor, ``exp(-v t / H)``; without it at rest, ``1 - v t / H`` on average.

        Returns
        -------
        float of the same kind and shape [-]

        Examples
        --------
        >>> import siltcode
        >>> oil = siltcode.Liquid("850 kg/m3", "10 mPa.s")
        >>> round(oil.left(10, 2650, "24 h", "2 m"), 3), round(oil.left(10, 2650, "1 d", "2 m", stirred=True), 3)
        (0.576, 0.655)
        """
        given = {
            "um": um,
            "particle": in_unit(particle, "kg/m3"),
            "time": in_unit(time, "h"),
            "height": in_unit(height, "m"),
        }
        arrays, back = _arrays.together(**given)
        left = _native.settling_left(self._given(), [_arrays.flat(array) for array in arrays], stirred)
        return back(left.reshape(arrays[0].shape))


def _dynamic(viscosity: Any, density: float) -> float:
    """Either viscosity, of a liquid of this density [mPa.s]."""
    if isinstance(viscosity, str):
        return _native.viscosity_mpa_s(viscosity, density)
    try:
        return number_in(viscosity, "mPa.s")
    except SiltcodeError:
        return _native.viscosity_mpa_s(f"{in_unit(viscosity, 'mm2/s')} mm2/s", density)


@dataclass(frozen=True, slots=True)
class Rest:
    """A tank left to itself before the cleaning, for `passes`.

    What has settled lies on the floor and comes back when it is stirred: a cleaning starts from here only if the floor
    is left alone. Every particle between two sizes is taken to fall as slowly as the smallest of them.

    Attributes
    ----------
    liquid : Liquid
        What they settle in.
    particle : str, number or pint quantity
        The density of the particles [kg/m3].
    depth : str, number or pint quantity
        The depth of the liquid [m].
    time : str, number or pint quantity
        How long it stands [h].

    Examples
    --------
    >>> import siltcode
    >>> rest = siltcode.Rest(siltcode.Liquid("850 kg/m3", "10 mPa.s"), "2650 kg/m3", "2 m", "24 h")
    >>> start = {4: 9000, 10: 1000}
    >>> job = siltcode.passes(start, {10: 100}, {4: 10, 10: 75}, "18 m3", "60 L/min", rest=rest)
    >>> round(job.channels[0].start_per_ml)
    576
    """

    liquid: Liquid
    particle: Any
    depth: Any
    time: Any

    def _given(self) -> dict[str, Any]:
        return {
            "liquid": self.liquid._given(),
            "particle": number_in(self.particle, "kg/m3"),
            "depth": number_in(self.depth, "m"),
            "time": number_in(self.time, "h"),
        }
