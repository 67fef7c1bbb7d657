"""Flushing a line: whether its flow is turbulent enough to lift what sticks to the wall."""

from __future__ import annotations

from typing import Any

from siltcode import _arrays, _native
from siltcode.units import in_unit


def pipe_reynolds(flow: Any, bore: Any, viscosity: Any) -> Any:
    """The Reynolds number of a flow in a pipe.

    Parameters
    ----------
    flow : str, number, array_like or pint quantity
        The flow [L/min].
    bore : str, number, array_like or pint quantity
        The inner diameter [m]; infinite numbers come of a pipe without one.
    viscosity : str, number, array_like or pint quantity
        The kinematic viscosity, ``"10 cSt"`` [mm2/s].

    Returns
    -------
    float of the same kind and shape [-]

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless flow and bore are 0 or more and the viscosity is above 0;
        ``quantity-unreadable``.

    References
    ----------
    .. [1] MIL-STD-419E, 5.6.1: ``3160 Q / (d v)`` with Q in US gal/min, d in inches and v in cSt.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.pipe_reynolds("20 gpm", "1 in", "10 cSt"))
    6320
    """
    return _arrays.mapped(lambda *given: _native.pipe_reynolds(*given)[0], **_in_units(flow, bore, viscosity))


def flushes(flow: Any, bore: Any, viscosity: Any) -> Any:
    """Whether a flow is turbulent enough to flush a line: a Reynolds number of 4000 or more.

    Parameters
    ----------
    flow, bore, viscosity
        As for `pipe_reynolds`.

    Returns
    -------
    bool of the same kind and shape

    References
    ----------
    .. [1] MIL-STD-419E, 5.6.1.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.flushes(["10 gpm", "20 gpm"], "1 in", "10 cSt")
    array([False,  True])
    """
    number = lambda *given: _native.pipe_reynolds(*given)[1]  # noqa: E731
    return _arrays.mapped(number, bool, **_in_units(flow, bore, viscosity))


def _in_units(flow: Any, bore: Any, viscosity: Any) -> dict[str, Any]:
    return {"flow": in_unit(flow, "L/min"), "bore": in_unit(bore, "m"), "viscosity": in_unit(viscosity, "mm2/s")}
