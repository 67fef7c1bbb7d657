"""Quantities with their units, as text; quantities of the `pint` package are taken too, without needing it."""

from __future__ import annotations

from typing import Any, Literal

from siltcode import _native
from siltcode.errors import SiltcodeError

Unit = Literal["mL", "m3", "L/min", "kPa", "h", "m", "m head", "degC", "g", "mg/L", "kg/m3", "mm2/s", "mPa.s"]

_PINT = {
    "mL": "milliliter",
    "m3": "meter ** 3",
    "L/min": "liter / minute",
    "kPa": "kilopascal",
    "h": "hour",
    "m": "meter",
    "m head": "meter",
    "degC": "degree_Celsius",
    "g": "gram",
    "mg/L": "milligram / liter",
    "kg/m3": "kilogram / meter ** 3",
    "mm2/s": "millimeter ** 2 / second",
    "mPa.s": "millipascal * second",
}


def in_unit(given: Any, unit: Unit) -> Any:
    """A quantity as a number of one unit.

    Parameters
    ----------
    given : number, array_like, str, list of str or pint quantity
        Text with a unit (``"18 m3"``, ``"4,750 gal"``), a quantity of `pint`, or plain numbers, taken to be in `unit`.
    unit : {"mL", "m3", "L/min", "kPa", "h", "m", "m head", "degC", "g", "mg/L", "kg/m3", "mm2/s", "mPa.s"}
        The wanted unit; ``"m head"`` for a height of liquid, which may be negative.

    Returns
    -------
    number or array_like [unit]

    Raises
    ------
    SiltcodeError
        ``quantity-unreadable`` if it is no quantity of that kind; ``quantity-out-of-range``.

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
    if isinstance(given, (list, tuple)) and any(isinstance(each, str) for each in given):
        return [in_unit(each, unit) for each in given]
    if hasattr(given, "magnitude") and hasattr(given, "to"):
        return _magnitude(given, unit)
    return given


def number_in(given: Any, unit: Unit) -> float:
    """A single quantity as a number of one unit; as `in_unit`, but nothing besides a number comes back."""
    value = in_unit(given, unit)
    try:
        return float(value)
    except (TypeError, ValueError) as error:
        hint = f"give a number of {unit}, or text with a unit"
        raise SiltcodeError(f"`{given}` is no quantity", "quantity-unreadable", hint) from error


def _magnitude(quantity: Any, unit: Unit) -> Any:
    try:
        return quantity.to(_PINT[unit]).magnitude
    except TypeError as error:  # a quantity of another kind
        raise SiltcodeError(str(error), "quantity-unreadable", f"give a quantity that has the unit {unit}") from error
