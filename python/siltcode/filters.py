"""Filters: what an element, and elements in series or side by side, hold back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _native
from siltcode._display import Table, figures, html_table
from siltcode._evidence import evidence
from siltcode.samples import BySize, Sample
from siltcode.units import Unit, in_unit

Kind = Literal["bag", "spin-on", "cartridge", "water-absorbing", "empty-housing"]


class Beta:
    """The filtration ratios of an element at rated sizes in um(c): particles entering for each that leaves.

    Parameters
    ----------
    rated : mapping of size to ratio, str or Beta
        ``{4: 3, 6: 20, 14: 1000}`` or ``"4:3,6:20,14:1000"`` [um(c), -]; an interval as a pair, ``{10: (2, 20)}``, or
        ``"10:2..20"``. Ratios are above 1; above 1000 they are kept as "at least 1000", since so few particles pass.

    Raises
    ------
    SiltcodeError
        ``beta-not-above-one``, ``beta-unreadable``, ``size-repeated``, ``betas-inconsistent``.

    Notes
    -----
    A rated ratio is for all particles at and above a size, under the dust of the test (ISO 16889, medium test dust).
    Outside the rated sizes only a bound is known, and between them three rules of interpolation differ: `at` says so.

    References
    ----------
    .. [1] ISO 16889, Multi-pass method for evaluating filtration performance of a filter element.

    Examples
    --------
    >>> from siltcode import Beta
    >>> Beta({4: 3, 6: 20, 14: 5000})
    Beta('4:3,6:20,14:>1000')
    >>> Beta("5:10,7:200").at(6).known
    'between'
    """

    __slots__ = ("_exact", "_rated")

    _exact: str
    _rated: tuple[tuple[float, float, float], ...]

    def __init__(self, rated: BySize[Any] | str | Beta) -> None:
        exact = rated._exact if isinstance(rated, Beta) else rated if isinstance(rated, str) else _text(rated)
        self._exact = exact
        self._rated = tuple(_native.rated(exact))

    def __reduce__(self) -> tuple[Any, ...]:
        return Beta, (self._exact,)

    def __str__(self) -> str:
        return _native.parse_beta(self._exact)

    def __repr__(self) -> str:
        return f"Beta({str(self)!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Beta) and self._rated == other._rated

    def __hash__(self) -> int:
        return hash(self._rated)

    @property
    def rated(self) -> dict[float, tuple[float, float]]:
        """The least and the greatest ratio at each rated size [um(c) to -]."""
        return {um: (low, high) for um, low, high in self._rated}

    def as_given(self) -> str:
        """What the native module reads it from: every digit, where ``str()`` rounds.

        Examples
        --------
        >>> from siltcode import Beta
        >>> ratios = Beta({4: 1.23456789})
        >>> str(ratios), ratios.as_given()
        ('4:1.235', '4:1.23456789')
        """
        return self._exact

    def at(self, um: float) -> BetaAt:
        """What is known of the ratio at and above the size `um` [um(c)].

        Examples
        --------
        >>> from siltcode import Beta
        >>> [round(beta) for beta in Beta("5:10,7:200").at(6).rules]
        [45, 51, 49]
        """
        found = _native.beta_at(self._exact, float(um))
        rules = found["rules"]
        return BetaAt(found["known"], found["low"], found["high"], None if rules is None else tuple(rules))

    def working(self, um: float) -> float:
        """The ratio to reckon with at and above `um` [um(c)]: the value, the least of those possible, or a bound [-].

        Raises
        ------
        SiltcodeError
            ``beta-not-rated`` below the smallest rated size, where nothing but a ceiling is known.

        Examples
        --------
        >>> from siltcode import Beta
        >>> round(Beta("5:10,7:200").working(6))
        45
        """
        return _native.beta_working(self._exact, float(um))

    def size_for(self, beta: float) -> tuple[float, float, float] | None:
        """The size at which it reaches the ratio `beta`, by the three interpolations [um(c)]; None where it does not.

        Examples
        --------
        >>> from siltcode import Beta
        >>> [round(um, 2) for um in Beta("5:10,7:200").size_for(75)]
        [6.35, 6.27, 6.29]
        """
        found = _native.size_for(self._exact, float(beta))
        return None if found is None else (found[0], found[1], found[2])

    def derated(self, divisor: float) -> Beta:
        """The same rating where ``beta - 1`` is less in service: divided by `divisor`, 1 or more [-].

        Unsteady flow and vibration cost efficiency; how much comes from counts, not from a table.

        Raises
        ------
        SiltcodeError
            ``factor-out-of-range`` unless the divisor is finite and ``divisor >= 1``.

        Examples
        --------
        >>> from siltcode import Beta
        >>> Beta({4: 11, 6: 101}).derated(10)
        Beta('4:2,6:11')
        """
        return Beta({um: (low, high) for um, low, high in _native.beta_derated(self._exact, float(divisor))})

    def bins(self, sizes: Sequence[float], tested_with: Sample | None = None, *, at_best: bool = False) -> list[float]:
        """The ratio in each bin between rising sizes, the last one open.

        Parameters
        ----------
        sizes : sequence of float
            [um(c)].
        tested_with : Sample, optional
            The counts that challenged the filter in its test; without it, ISO medium test dust.
        at_best : bool
            With the largest ratio possible at each size, to show what interpolating and bounds leave open.

        Returns
        -------
        list of float [-]

        Raises
        ------
        SiltcodeError
            ``betas-inconsistent`` where the ratios cannot all be true of the challenge; ``beta-not-rated``,
            ``challenge-outside``.

        Examples
        --------
        >>> from siltcode import Beta
        >>> [round(beta, 2) for beta in Beta({4: 3, 6: 20, 14: 1000}).bins([4, 6, 14])]
        [1.94, 18.6, 1000.0]
        """
        return _native.beta_bins(self._exact, [float(um) for um in sizes], _challenge(tested_with), at_best)

    def _repr_html_(self) -> str:
        rows = [[um, figures(low), figures(high)] for um, (low, high) in self.rated.items()]
        return html_table(Table(["size, um(c)", "ratio at least", "at most"], rows))


@dataclass(frozen=True, slots=True)
class BetaAt:
    """What is known of a ratio at a size.

    Attributes
    ----------
    known : {"rated", "between", "within", "at most", "at least"}
        A rated size; between two; a nominal interval; below the rated sizes; above them, or too large to measure.
    low, high : float
        The ratio lies between these [-].
    rules : tuple of float, or None
        Between two rated sizes: ln beta over the size, ln beta over ln size, ln (beta - 1) over ln size [-].

    Examples
    --------
    >>> from siltcode import Beta
    >>> Beta({5: 10, 7: 200}).at(4)
    BetaAt(known='at most', low=1.0, high=10.0, rules=None)
    """

    known: Literal["rated", "between", "within", "at most", "at least"]
    low: float
    high: float
    rules: tuple[float, float, float] | None


def _challenge(tested_with: Sample | None) -> dict[str, Any] | None:
    return None if tested_with is None else tested_with._given()


def _text(rated: BySize[Any]) -> str:
    return ",".join(f"{um:g}:{_ratio(ratio)}" for um, ratio in rated.items())


def _ratio(ratio: Any) -> str:
    return f"{ratio[0]!r}..{ratio[1]!r}" if isinstance(ratio, (tuple, list)) else f"{float(ratio)!r}"


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
        return _native.clean_at(self._given(), float(in_unit(flow, "L/min")), float(in_unit(viscosity, "mm2/s")))

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
    return None if given is None else float(in_unit(given, unit))


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
        given = ([float(um) for um in sizes], _challenge(tested_with), at_best)
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


@dataclass(frozen=True, slots=True)
class MeasuredBeta:
    """A ratio measured by counts before and behind a filter.

    Attributes
    ----------
    ratio : float or None
        Upstream over downstream [-]; None where nothing was counted downstream.
    interval : tuple of float
        Its interval [-]; to infinity where nothing was counted downstream.
    p_equal : float
        How likely counts so far apart are if the filter holds back nothing [-].
    beta : float or None
        The ratio to reckon with: the value, or the bound where too few passed [-]; None if it is not above 1.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.measured_beta([400], [0], "10 mL")
    >>> found.ratio, found.interval[1], round(found.beta, 1)
    (None, inf, 107.9)
    """

    ratio: float | None
    interval: tuple[float, float]
    p_equal: float
    beta: float | None


def measured_beta(
    upstream: Sequence[float], downstream: Sequence[float], volume_ml: Any, level: float = 0.95, dilution: float = 1.0
) -> MeasuredBeta:
    """The filtration ratio from counts before and behind a filter.

    Parameters
    ----------
    upstream, downstream : sequence of int
        Particles counted on each side, one a run [particles]: the ratio is that of the sums.
    volume_ml : float, str or pint quantity
        The counted volume of each run [mL].
    level : float
        The level of the interval [-].
    dilution : float
        The dilution factor of the upstream runs [-].

    Returns
    -------
    MeasuredBeta

    Raises
    ------
    SiltcodeError
        ``nothing-counted`` without counts on a side; ``raw-not-whole``, ``volume-not-positive``.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413: the interval, given the sum.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.measured_beta([1000, 1000], [10, 1], "10 mL")
    >>> round(found.beta, 1), [round(end) for end in found.interval]
    (181.8, [101, 365])
    """
    before = [evidence((raw, volume_ml, dilution)) for raw in upstream]
    behind = [evidence((raw, volume_ml)) for raw in downstream]
    found = _native.measured_beta(before, behind, float(level))
    return MeasuredBeta(found["ratio"], tuple(found["interval"]), found["p_equal"], found["beta"])
