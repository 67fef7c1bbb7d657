"""Filters: what an element, and elements in series or side by side, hold back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _native
from siltcode.beta import Beta, challenge_given
from siltcode.samples import Sample
from siltcode.units import Unit, number_in

Kind = Literal["bag", "spin-on", "cartridge", "water-absorbing", "empty-housing"]


@dataclass(frozen=True, slots=True)
class Element:
    """A filter element.

    Attributes
    ----------
    beta : Beta or None
        Its ratios; None holds back nothing that is known.
    rated_flow : str or float
        The flow it is rated for: text with a unit, or a number [L/min].
    kind : {"bag", "spin-on", "cartridge", "water-absorbing", "empty-housing"}
        What it is. An empty housing holds back nothing.
    flow : str, float or None
        The flow that goes through it, if not the rated one [L/min].
    clean_drop, terminal_drop : str, float or None
        Its differential pressure when clean, and the one at which it is to be changed, both at rated flow [kPa].
    viscosity : str, float or None
        The kinematic viscosity at which those are stated [mm2/s].
    dirt_capacity : str, float or None
        The test dust it holds until the terminal pressure [g]. Soft sludge and water block it at a small part of this.
    water_capacity : str, float or None
        The free water it binds until then [mL].
    price : float or None
        [money, the same throughout].
    change_time : str, float or None
        The time it takes to change it [h].

    Examples
    --------
    >>> from siltcode import Beta, Element
    >>> Element(Beta("4:10"), "60 L/min", "bag").kind
    'bag'
    """

    beta: Beta | None
    rated_flow: Any
    kind: Kind = "cartridge"
    flow: Any = None
    clean_drop: Any = None
    terminal_drop: Any = None
    viscosity: Any = None
    dirt_capacity: Any = None
    water_capacity: Any = None
    price: float | None = None
    change_time: Any = None

    def _given(self) -> dict[str, Any]:
        return {
            "kind": self.kind,
            "rated_flow": _number(self.rated_flow, "L/min"),
            "flow": _number(self.flow, "L/min"),
            "beta": None if self.beta is None else self.beta.as_given(),
            "clean": _number(self.clean_drop, "kPa"),
            "terminal": _number(self.terminal_drop, "kPa"),
            "viscosity": _number(self.viscosity, "mm2/s"),
            "dirt_capacity": _number(self.dirt_capacity, "g"),
            "water_capacity": _number(self.water_capacity, "mL"),
            "price": self.price,
            "change_time": _number(self.change_time, "h"),
        }

    def clean_at(self, flow: Any, viscosity: Any) -> float | None:
        """The differential pressure of the clean element at another flow and viscosity.

        Parameters
        ----------
        flow, viscosity : str, number or pint quantity
            [L/min], [mm2/s].

        Returns
        -------
        float or None [kPa]
            In proportion to both, which holds while the flow through the medium is laminar and the housing takes
            little. None where its pressures are not known.

        Raises
        ------
        SiltcodeError
            ``quantity-out-of-range`` unless ``0 < clean_drop < terminal_drop``.

        Examples
        --------
        >>> from siltcode import Beta, Element
        >>> fine = Element(Beta("4:10"), "100 L/min", clean_drop="20 kPa", terminal_drop="1.5 bar", viscosity="32 cSt")
        >>> fine.clean_at("50 L/min", "64 cSt")
        20.0
        """
        return _native.clean_at(self._given(), number_in(flow, "L/min"), number_in(viscosity, "mm2/s"))

    def at_rated(self, reading: Any, flow: Any, viscosity: Any) -> float | None:
        """What a differential pressure read at another flow and viscosity is at the element's own.

        Parameters
        ----------
        reading, flow, viscosity : str, number or pint quantity
            [kPa], [L/min, above 0], [mm2/s].

        Returns
        -------
        float or None [kPa]
            Only this can be held against the terminal pressure. None where its pressures are not known.

        Examples
        --------
        >>> from siltcode import Beta, Element
        >>> fine = Element(Beta("4:10"), "100 L/min", clean_drop="20 kPa", terminal_drop="1.5 bar", viscosity="32 cSt")
        >>> fine.at_rated("0.5 bar", "50 L/min", "32 cSt")
        100.0
        """
        given = (_number(reading, "kPa"), _number(flow, "L/min"), _number(viscosity, "mm2/s"))
        return _native.at_rated(self._given(), *given)


def _number(given: Any, unit: Unit) -> Any:
    return None if given is None else number_in(given, unit)


@dataclass(frozen=True, slots=True)
class Stage:
    """Elements side by side.

    Attributes
    ----------
    elements : tuple of Element
        The flow is shared among them in proportion to their flows.
    leak : float
        The share of the flow that gets past them all, 0 or more and below 1 [-].

    Examples
    --------
    >>> from siltcode import Beta, Element, Stage, Train
    >>> leaking = Stage((Element(Beta("4:200"), "60 L/min"),), leak=0.01)
    >>> round(Train.of(leaking).ceiling)
    100
    """

    elements: tuple[Element, ...]
    leak: float = 0.0


@dataclass(frozen=True, slots=True)
class Train:
    """Stages one behind the other.

    Attributes
    ----------
    stages : tuple of Stage
        In the order of the flow.
    bypass : float
        The share of the flow that misses them all, 0 or more and below 1 [-].

    Notes
    -----
    What one stage lets through of a bin of sizes is what the next one meets: ratios are multiplied bin by bin, since the
    product of the ratios at and above a size is too good.

    Examples
    --------
    >>> from siltcode import Beta, Element, Train
    >>> bag = Element(Beta("4:1.5,6:2,14:20"), "60 L/min", "bag")
    >>> fine = Element(Beta("4:10,6:200,14:1000"), "60 L/min")
    >>> train = Train.of(bag, fine)
    >>> [round(efficiency, 3) for efficiency in train.efficiencies([4, 6, 14])]
    [0.875, 0.997, 1.0]
    """

    stages: tuple[Stage, ...]
    bypass: float = 0.0

    @classmethod
    def of(cls, *stages: Element | Iterable[Element] | Stage, bypass: float = 0.0) -> Train:
        """A train of elements, or of several side by side.

        Parameters
        ----------
        *stages : Element, iterable of Element, or Stage
            In the order of the flow.
        bypass : float
            The share of the flow that misses them all, 0 or more and below 1 [-].

        Returns
        -------
        Train

        Examples
        --------
        >>> from siltcode import Beta, Element, Train
        >>> fine = Element(Beta("4:10"), "60 L/min")
        >>> train = Train.of([fine, fine], fine, bypass=0.02)
        >>> [len(stage.elements) for stage in train.stages]
        [2, 1]
        """
        return cls(tuple(_stage(stage) for stage in stages), bypass)

    def _given(self) -> dict[str, Any]:
        stages = [{"elements": [e._given() for e in stage.elements], "leak": stage.leak} for stage in self.stages]
        return {"stages": stages, "bypass": self.bypass}

    def efficiencies(
        self, sizes: Sequence[float], tested_with: Sample | None = None, *, at_best: bool = False
    ) -> list[float]:
        """The efficiency in each bin between rising `sizes` [um(c)], the last one open [-]; `tested_with` and `at_best` as for `Beta.bins`.

        Raises
        ------
        SiltcodeError
            As for `Beta.bins`; ``share-out-of-range``, ``train-empty``.

        Examples
        --------
        >>> from siltcode import Beta, Element, Train
        >>> Train.of(Element(Beta("4:200"), "60 L/min"), bypass=0.1).efficiencies([4])
        [0.8955]
        """
        given = ([float(um) for um in sizes], challenge_given(tested_with), at_best)
        return _native.train_bins(self._given(), *given)

    def efficiency(self, um: float) -> tuple[float, float]:
        """The least and the greatest efficiency at and above the size `um` [um(c)] that the ratios alone allow [-].

        Examples
        --------
        >>> from siltcode import Beta, Element, Train
        >>> fine = Element(Beta("4:10"), "60 L/min")
        >>> Train.of(fine, fine).efficiency(4)
        (0.9, 0.99)
        """
        return _native.train_lumped(self._given(), float(um))

    @property
    def ceiling(self) -> float | None:
        """The ratio that it cannot exceed, since so much of the flow meets no medium [-]; None without such a bound."""
        return _native.train_limits(self._given())[0]

    @property
    def overloaded(self) -> list[str]:
        """The elements whose flow is above their rated flow, in words."""
        return _native.train_limits(self._given())[1]


def _stage(stage: Element | Iterable[Element] | Stage) -> Stage:
    if isinstance(stage, Stage):
        return stage
    return Stage((stage,) if isinstance(stage, Element) else tuple(stage))
