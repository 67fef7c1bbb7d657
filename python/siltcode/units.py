"""Quantities with their units, as text; quantities of the `pint` package are taken too, without needing it."""

from __future__ import annotations

from typing import Any, Literal

from siltcode import _native

Unit = Literal["mL", "m3", "L/min", "kPa", "h", "m", "degC"]

_PINT = {
    "mL": "milliliter",
    "m3": "meter ** 3",
    "L/min": "liter / minute",
    "kPa": "kilopascal",
    "h": "hour",
    "m": "meter",
    "degC": "degree_Celsius",
}


def in_unit(given: Any, unit: Unit) -> Any:
    """A quantity as a number of one unit.

    Parameters
    ----------
    given : number, array_like, str or pint quantity
        Text with a unit (``"18 m3"``, ``"4,750 gal"``), a quantity of `pint`, or plain numbers, taken to be in `unit`.
    unit : {"mL", "m3", "L/min", "kPa", "h", "m", "degC"}
        The wanted unit.

    Returns
    -------
    number or array_like [unit]

    Raises
    ------
    SiltcodeError
        ``quantity-unreadable`` if text is no quantity of that kind.

    Examples
    --------
    >>> from siltcode.units import in_unit
    >>> round(in_unit("4,750 gal", "m3"), 4)
    17.9807
    >>> in_unit(18, "m3")
    18
    """
    if isinstance(given, str):
        return _native.in_unit(given, unit)
    if hasattr(given, "magnitude") and hasattr(given, "to"):
        return given.to(_PINT[unit]).magnitude
    return given
