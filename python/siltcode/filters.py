"""Filters: what an element, and elements in series or side by side, hold back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _native
from siltcode._display import Table, figures, html_table
from siltcode.units import in_unit

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

    def __init__(self, rated: Mapping[float, Any] | str | Beta) -> None:
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

    def bins(self, sizes: Sequence[float]) -> list[float]:
        """The ratio in each bin between rising `sizes` [um(c)], the last one open, under medium test dust [-].

        Raises
        ------
        SiltcodeError
            ``beta-not-rated`` below the rated sizes; ``betas-inconsistent`` if no bins have these ratios;
            ``challenge-outside`` where the dust is not known.

        Examples
        --------
        >>> from siltcode import Beta
        >>> [round(beta, 2) for beta in Beta({4: 3, 6: 20, 14: 1000}).bins([4, 6, 14])]
        [1.94, 18.6, 1000.0]
        """
        return _native.beta_bins(self._exact, [float(um) for um in sizes])

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


def _text(rated: Mapping[float, Any]) -> str:
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
        The flow that goes through it, if not the rated one: text with a unit, or a number [L/min].

    Examples
    --------
    >>> from siltcode import Beta, Element
    >>> Element(Beta("4:10"), "60 L/min", "bag")
    Element(beta=Beta('4:10'), rated_flow='60 L/min', kind='bag', flow=None)
    """

    beta: Beta | None
    rated_flow: str | float
    kind: Kind = "cartridge"
    flow: str | float | None = None

    def _given(self) -> dict[str, Any]:
        flow = None if self.flow is None else float(in_unit(self.flow, "L/min"))
        beta = None if self.beta is None else self.beta.as_given()
        return {"kind": self.kind, "rated_flow": float(in_unit(self.rated_flow, "L/min")), "flow": flow, "beta": beta}


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

    def efficiencies(self, sizes: Sequence[float]) -> list[float]:
        """The efficiency in each bin between rising `sizes` [um(c)], the last one open, under medium test dust [-].

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
        return _native.train_bins(self._given(), [float(um) for um in sizes])

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
    volume = float(in_unit(volume_ml, "mL"))
    before = [(float(raw), volume, float(dilution)) for raw in upstream]
    behind = [(float(raw), volume, 1.0) for raw in downstream]
    found = _native.measured_beta(before, behind, float(level))
    return MeasuredBeta(found["ratio"], tuple(found["interval"]), found["p_equal"], found["beta"])
