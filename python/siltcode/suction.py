"""The suction side of a pump: vacuum and net positive suction head, and what is left before it is in danger."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _arrays, _native
from siltcode.reference import Caution
from siltcode.units import Unit, in_unit, number_in


@dataclass(frozen=True, slots=True)
class Suction:
    """The inlet of a pump, of `pump_suction`.

    Attributes
    ----------
    inlet_kpa : float
        The absolute pressure at the inlet [kPa].
    vacuum_kpa : float
        How far it lies below the atmosphere; negative where above [kPa].
    head_available_m : float
        The net positive suction head available; negative where the liquid would boil [m].
    reserve_kpa : float or None
        By how much the drop across the suction side may still grow at this flow; negative where a limit is passed, None
        where the pump's limits are not known [kPa].
    limit : {"head", "vacuum"} or None
        Which limit is met first.
    note : str
        What no limit here holds back.
    cautions : tuple of Caution
        What to beware of at strainers, hoses and pumps.

    Examples
    --------
    >>> import siltcode
    >>> inlet = siltcode.pump_suction("870 kg/m3", atmosphere="1 bar", vacuum="10 inHg", vacuum_rating="15 inHg")
    >>> inlet.limit, inlet.in_danger, round(inlet.reserve_kpa, 1)
    ('vacuum', False, 16.9)
    """

    inlet_kpa: float
    vacuum_kpa: float
    head_available_m: float
    reserve_kpa: float | None
    limit: Literal["head", "vacuum"] | None
    note: str
    cautions: tuple[Caution, ...]

    @property
    def in_danger(self) -> bool | None:
        """Whether a limit is passed; None where the pump's limits are not known."""
        return None if self.reserve_kpa is None else self.reserve_kpa < 0


def pump_suction(
    density: Any,
    *,
    atmosphere: Any,
    vacuum: Any = None,
    lift: Any = 0.0,
    line_loss: Any = 0.0,
    element_drop: Any = 0.0,
    vapour_pressure: Any = 0.0,
    head_required: Any = None,
    margin: Any = 0.0,
    vacuum_rating: Any = None,
) -> Suction:
    """Vacuum and net positive suction head at the inlet of a pump, and what is left before its limits.

    Parameters
    ----------
    density : str, number or pint quantity
        Of the liquid [kg/m3].
    atmosphere : str, number or pint quantity
        The absolute pressure on the liquid: that of the atmosphere for a vented tank [kPa].
    vacuum : str, number or pint quantity, optional
        As read on a gauge at the inlet, below the atmosphere [kPa]; without it the inlet is worked out from the line.
    lift : str, number or pint quantity
        The pump above the surface of the liquid; negative where the liquid stands above the pump [m head].
    line_loss, element_drop : str, number or pint quantity
        What the line takes, and what strainer, bag or element take [kPa].
    vapour_pressure : str, number or pint quantity
        Of the liquid, at its temperature [kPa].
    head_required : str, number or pint quantity, optional
        The net positive suction head the pump requires at this flow [m head].
    margin : str, number or pint quantity
        The head to be kept above that: your choice [m head].
    vacuum_rating : str, number or pint quantity, optional
        The vacuum the pump is rated for [kPa].

    Returns
    -------
    Suction

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless losses, vapour pressure and margin are 0 or more; ``quantity-unreadable``; a
        gauge and a line together are ``suction-given-twice``.

    Notes
    -----
    ``NPSHA = (p_atm - losses - p_vapour) / (rho g) - lift``. The limit is the nearer of two: that head less the one
    required and the margin, and the vacuum the pump is rated for. Oils release dissolved air well above their vapour
    pressure, and its bubbles are counted as particles.

    References
    ----------
    .. [1] A balance of heads; its worked values and their sources stand in ``tests/golden/suction.csv``.

    Examples
    --------
    >>> import siltcode
    >>> line = dict(lift="1.5 m", line_loss="8 kPa", element_drop="12 kPa", vapour_pressure="0.1 kPa")
    >>> inlet = siltcode.pump_suction("870 kg/m3", atmosphere="101.325 kPa", **line, head_required="3 m", margin="7 ft")
    >>> round(inlet.vacuum_kpa, 1), round(inlet.head_available_m, 2), round(inlet.reserve_kpa, 1)
    (32.8, 8.02, 24.6)
    """
    line = {"lift": number_in(lift, "m head"), "line_loss": number_in(line_loss, "kPa"), "element_drop": number_in(element_drop, "kPa")}
    if vacuum is not None and any(line.values()):
        message = "the suction is given by its gauge and by its line"
        _arrays.refused("suction-given-twice", message, "give the vacuum at the inlet, or lift, line loss and element drop")
    given = {
        **line,
        "density": number_in(density, "kg/m3"),
        "atmosphere": number_in(atmosphere, "kPa"),
        "vapour": number_in(vapour_pressure, "kPa"),
        "vacuum": _optional(vacuum, "kPa"),
        "head_required": _optional(head_required, "m head"),
        "margin": number_in(margin, "m head"),
        "vacuum_rating": _optional(vacuum_rating, "kPa"),
    }
    found = _native.suction(given)
    return Suction(**{**found, "cautions": tuple(Caution(**each) for each in found["cautions"])})


def _optional(given: Any, unit: Unit) -> float | None:
    return None if given is None else number_in(given, unit)


def suction_drop(before: Any, behind: Any) -> Any:
    """The drop across a strainer, a bag or an element on the suction side, from two vacuum gauges.

    Parameters
    ----------
    before, behind : str, number, array_like or pint quantity
        The vacuum on the side of the tank and on the side of the pump, both below the atmosphere [kPa].

    Returns
    -------
    float of the same kind and shape [kPa]
        As any differential pressure it needs its flow to be told from that of a clean element.

    Raises
    ------
    SiltcodeError
        ``gauges-crossed`` unless the vacuum before it is at most that behind it; ``quantity-unreadable``.

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.suction_drop("3 inHg", "8.5 inHg"), 2)
    18.63
    """
    return _arrays.mapped(_native.suction_drop, before=in_unit(before, "kPa"), behind=in_unit(behind, "kPa"))
