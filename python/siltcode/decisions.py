"""Verdicts against limits, comparisons of counts, and tests planned before sampling."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from siltcode import _arrays, _native
from siltcode._display import Table, html_table, probability
from siltcode.batch import Rule
from siltcode.samples import Sample
from siltcode.units import in_unit

Outcome = Literal["conforms", "does not conform", "undecided"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One size against its limit: the limit [particles/mL], what was read, the probability that the limit is met [-]."""

    size: str
    limit_per_ml: float
    reading: float | str | None
    p: float | None
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class Decision:
    """A sample judged against limits.

    Attributes
    ----------
    outcome : {"conforms", "does not conform", "undecided"}
    rule : str
        By which rule, in words.
    p : float or None
        The probability that all limits are met [-]; None where it cannot be known.
    bounds : tuple of float
        What that probability cannot leave [-].
    false_accept : float or None
        If the fluid is accepted, how likely it does not conform [-].
    deciding : str or None
        The size that decides.
    each : tuple of Judged
        Size by size.
    settle : str or None
        If undecided: what would settle it.
    """

    outcome: Outcome
    rule: str
    p: float | None
    bounds: tuple[float, float]
    false_accept: float | None
    deciding: str | None
    each: tuple[Judged, ...]
    settle: str | None

    def __str__(self) -> str:
        return self.outcome

    def _repr_html_(self) -> str:
        rows = [[j.size, j.limit_per_ml, j.reading, probability(j.p), j.outcome] for j in self.each]
        below = f"to settle it: {self.settle}" if self.settle else ""
        caption = f"{self.outcome} \N{EM DASH} {self.rule}, probability {probability(self.p) or 'not known'}"
        return html_table(Table(["size", "limit /mL", "read /mL", "probability", ""], rows, caption, below))


def decide(
    sample: Sample,
    limits: Mapping[float, float],
    rule: Rule = "conformity",
    level: float = 0.95,
    scatter: float = 0.0,
) -> Decision:
    """Judges a sample against upper limits on particles.

    Parameters
    ----------
    sample : Sample
        All its runs are taken together.
    limits : mapping of size to concentration
        The most allowed at and above each size [um, in the sample's scale, to particles/mL].
    rule : {"simple-acceptance", "guard-band", "conformity"}
        The result as it is; its one-sided limits of confidence; the probability that all limits are met together.
    level : float
        The level of the rule, ``0 < level < 1`` [-].
    scatter : float
        Coefficient of variation between bottles of the same fluid [-].

    Returns
    -------
    Decision

    Raises
    ------
    SiltcodeError
        ``level-out-of-range``, ``quantity-out-of-range``, ``count-not-finite``.

    References
    ----------
    .. [1] ILAC G8:09/2019, Guidelines on decision rules and statements of conformity.

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of({14: 70}, per="raw", volume_ml=1)
    >>> decision = siltcode.decide(bottle, {14: 80})
    >>> decision.outcome, round(decision.p, 2), decision.settle
    ('undecided', 0.87, 'examine 2.206 mL of the sample in total')
    """
    pairs = [(float(um), float(per_ml)) for um, per_ml in limits.items()]
    found = _native.decide(sample._given(), pairs, rule, float(level), float(scatter))
    each = tuple(
        Judged(j["limit"]["size"], j["limit"]["per_ml"], j["reading"], j["p"], j["outcome"]) for j in found["each"]
    )
    told = (found["outcome"], found["rule"], found["p"], tuple(found["bounds"]), found["false_accept"])
    return Decision(*told, found["deciding"], each, found["settle"])


@dataclass(frozen=True, slots=True)
class Agreement:
    """What several counts of the same fluid say of each other.

    Attributes
    ----------
    statistic, index : float
        The sum of squares over the mean, and the same over the number of runs less one: about 1 by chance [-].
    p_scattered, p_regular : float
        How likely chance alone scatters at least, and at most, this much [-].
    scatter : float
        What the variance has beyond counting, as a coefficient of variation [-].
    first_differs : float
        How likely the first run is at least this far from the others by chance [-].
    direction : {"rising", "falling"} or None
        The way every run goes from the one before.
    p_drift : float
        How likely chance alone gives so strong a trend [-].
    spread, allowed : float
        The largest less the smallest run over the mean, and what is allowed [-].
    """

    statistic: float
    index: float
    p_scattered: float
    p_regular: float
    scatter: float
    first_differs: float
    direction: Literal["rising", "falling"] | None
    p_drift: float
    spread: float
    allowed: float


def agreement(
    k: Any, volume_ml: Any = 1.0, dilution: Any = 1.0, *, spread: float | None = None, level: float = 0.99
) -> Agreement | None:
    """Whether runs, or bottles, scatter as chance does.

    Parameters
    ----------
    k : sequence of int
        Raw counts of the same fluid at the same size, in the order counted [particles].
    volume_ml, dilution : number, sequence or str
        The counted volume [mL] and the dilution factor [-] of each.
    spread : float, optional
        How far runs may lie apart, as a fraction of their mean [-]; without it, as far as chance goes at `level`.
    level : float
        [-].

    Returns
    -------
    Agreement or None
        None for fewer than two counts, or where nothing was counted.

    Raises
    ------
    SiltcodeError
        ``raw-not-whole``, ``volume-not-positive``, ``shapes-differ``.

    References
    ----------
    .. [1] R. A. Fisher, Statistical Methods for Research Workers, 1925, section 19.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.agreement([1012, 1187, 948, 1430, 1101])
    >>> round(found.index, 1), round(found.scatter, 3)
    (31.0, 0.163)
    """
    arrays, _ = _arrays.together(k=k, volume_ml=in_unit(volume_ml, "mL"), dilution=dilution)
    counted = list(zip(*(_arrays.flat(array).tolist() for array in arrays), strict=True))
    found = _native.runs(counted, spread, float(level))
    if found is None:
        return None
    dispersion, drift, apart = found["dispersion"], found["drift"], found["spread"]
    return Agreement(
        **dispersion,
        scatter=found["scatter"],
        first_differs=found["first_differs"],
        direction=drift["monotone"],
        p_drift=drift["p"],
        spread=apart["found"],
        allowed=apart["allowed"],
    )


@dataclass(frozen=True, slots=True)
class RateRatio:
    """The first concentration over the second, its interval, and how likely equal ones differ so much [-]."""

    ratio: float | None
    interval: tuple[float, float]
    p_equal: float


def compare(first: Sequence[float], second: Sequence[float], level: float = 0.95) -> RateRatio:
    """Compares two counts.

    Parameters
    ----------
    first, second : (k, volume) or (k, volume, dilution)
        Particles counted [particles], in what volume [mL], at what dilution [-].
    level : float
        The level of the interval [-].

    Returns
    -------
    RateRatio

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.compare((100, 1), (64, 1))
    >>> round(found.ratio, 2), round(found.p_equal, 4)
    (1.56, 0.0061)
    """
    found = _native.compare(_counted(first), _counted(second), float(level))
    return RateRatio(found["ratio"], tuple(found["interval"]), found["p_equal"])


def _counted(given: Sequence[float]) -> tuple[float, float, float]:
    raw, volume, dilution = [*given, 1.0][:3]
    return float(raw), float(in_unit(volume, "mL")), float(dilution)


def most_to_accept(at_limit: float, level: float = 0.95) -> int | None:
    """The largest count that accepts, if so many particles are expected at the limit.

    Parameters
    ----------
    at_limit : float
        Particles expected in the counted volume of a fluid at the limit [particles].
    level : float
        A fluid at the limit is accepted with at most the risk ``1 - level`` [-].

    Returns
    -------
    int or None
        [particles]; None where even a count of zero would accept too often.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.most_to_accept(100), siltcode.most_to_accept(2)
    (83, None)
    """
    return _native.most_to_accept(float(at_limit), float(level))


@dataclass(frozen=True, slots=True)
class VolumePlan:
    """A test planned before sampling.

    Attributes
    ----------
    volume_ml : float
        The volume of the sample as drawn to examine [mL].
    at_limit : float
        Particles expected in it at the limit [particles].
    most_to_accept : int
        The largest count that accepts [particles].
    power : float
        How likely the clean fluid passes [-].
    """

    volume_ml: float
    at_limit: float
    most_to_accept: int
    power: float


def plan_volume(limit_per_ml: float, clean_per_ml: float, level: float = 0.95, power: float = 0.9) -> VolumePlan:
    """The least volume that tells a clean fluid from one above the limit.

    Parameters
    ----------
    limit_per_ml, clean_per_ml : float
        The limit, and how clean the fluid is believed to be, ``0 <= clean < limit`` [particles/mL].
    level : float
        A fluid above the limit passes with at most the risk ``1 - level`` [-].
    power : float
        How likely the clean fluid must pass [-].

    Returns
    -------
    VolumePlan

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless ``0 <= clean < limit``, or if the two are too close.

    Examples
    --------
    >>> import siltcode
    >>> plan = siltcode.plan_volume(1.3, 0.65)
    >>> round(plan.volume_ml, 1), plan.most_to_accept
    (19.6, 17)
    """
    found = _native.plan_volume(float(limit_per_ml), float(clean_per_ml), float(level), float(power))
    return VolumePlan(found["volume"], found["at_limit"], found["most_to_accept"], found["power"])


def sequential_step(
    k: int,
    examined_ml: Any,
    clean_per_ml: float,
    limit_per_ml: float,
    risks: tuple[float, float] = (0.05, 0.05),
) -> Literal["accept", "continue", "reject"]:
    """What to do after counting so far: count until the counts themselves say enough.

    Parameters
    ----------
    k : int
        Particles counted so far [particles].
    examined_ml : number or str
        The volume of the sample as drawn that was examined so far [mL].
    clean_per_ml, limit_per_ml : float
        The two concentrations to tell apart [particles/mL].
    risks : (float, float)
        Of rejecting the clean fluid, and of accepting one at the limit [-].

    Returns
    -------
    {"accept", "continue", "reject"}

    Notes
    -----
    Wald's boundaries are recalled, not read (MEMORY): not for acceptance.

    References
    ----------
    .. [1] A. Wald, Sequential Analysis, 1947.

    Examples
    --------
    >>> import siltcode
    >>> [siltcode.sequential_step(k, "1 mL", 5, 10) for k in (2, 7, 12)]
    ['accept', 'continue', 'reject']
    """
    examined = float(in_unit(examined_ml, "mL"))
    step = _native.sequential_step(float(clean_per_ml), float(limit_per_ml), risks, float(k), examined)
    return step  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class Corrected:
    """A concentration and its standard uncertainty [particles/mL]."""

    per_ml: float
    uncertainty: float


def diluted(
    um: float, k: int, volume_ml: Any, dilution: float, dilution_cv: float = 0.0, blank_per_ml: float = 0.0
) -> Corrected:
    """The concentration of a diluted sample, less its blank, with its standard uncertainty.

    Parameters
    ----------
    um : float
        The size, named if the blank is above the sample [um(c)].
    k, volume_ml, dilution : number
        Particles counted [particles], in what volume [mL], at what dilution [-].
    dilution_cv : float
        The relative standard uncertainty of the dilution factor [-].
    blank_per_ml : float
        What the solvent brings in, per mL of the diluted sample [particles/mL].

    Returns
    -------
    Corrected

    Raises
    ------
    SiltcodeError
        ``blank-above-sample``, ``dilution-below-one``, ``raw-not-whole``.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.diluted(4, 400, 1, 20, dilution_cv=0.02)
    >>> found.per_ml, round(found.uncertainty)
    (8000.0, 431)
    """
    counted = (float(k), float(in_unit(volume_ml, "mL")), float(dilution))
    return Corrected(**_native.diluted(float(um), counted, float(dilution_cv), float(blank_per_ml)))


@dataclass(frozen=True, slots=True)
class Net:
    """A count less its blank.

    Attributes
    ----------
    per_ml : float or None
        The net concentration [particles/mL]; None where the blank is above the sample.
    interval_per_ml : tuple of float
        Its interval [particles/mL].
    significance : float
        The difference over its standard uncertainty [-].
    """

    per_ml: float | None
    interval_per_ml: tuple[float, float]
    significance: float


def less_blank(um: float, sample: Sequence[float], blank: Sequence[float], level: float = 0.95) -> Net:
    """A count less its blank, with the scatter of both.

    Parameters
    ----------
    um : float
        The size [um(c)].
    sample, blank : (k, volume) or (k, volume, dilution)
        Particles counted [particles], in what volume [mL], at what dilution [-].
    level : float
        The level of the interval [-].

    Returns
    -------
    Net

    Examples
    --------
    >>> import siltcode
    >>> siltcode.less_blank(4, (100, 1), (36, 1)).per_ml
    64.0
    """
    found = _native.less_blank(float(um), _counted(sample), _counted(blank), float(level))
    return Net(found["per_ml"], tuple(found["interval_per_ml"]), found["significance"])


def coincidence(observed: float, sensing_volumes: float) -> tuple[float, float]:
    """The particles behind an observed count, where particles hide behind each other.

    Parameters
    ----------
    observed : float
        Particles counted in a run [particles].
    sensing_volumes : float
        How many sensing volumes the counted volume is, each counting at most one particle [-].

    Returns
    -------
    (float, float)
        The particles that there were [particles], and the share that was lost [-].

    Raises
    ------
    SiltcodeError
        ``quantity-out-of-range`` unless ``observed < sensing_volumes``.

    References
    ----------
    .. [1] M. Wales and J. N. Wilson, Review of Scientific Instruments 32 (1961).

    Examples
    --------
    >>> import siltcode
    >>> truth, lost = siltcode.coincidence(4877.1, 1e5)
    >>> round(truth), round(lost, 3)
    (5000, 0.025)
    """
    return _native.coincidence(float(observed), float(sensing_volumes))


def guarded(limit_per_ml: Any, relative: float, level: float = 0.95) -> Any:
    """The concentration up to which a result of this relative uncertainty is accepted.

    Parameters
    ----------
    limit_per_ml : number or array_like
        The limit [particles/mL].
    relative : float
        The relative standard uncertainty of a result [-].
    level : float
        [-].

    Returns
    -------
    float of the same kind and shape [particles/mL]

    Examples
    --------
    >>> import siltcode
    >>> round(siltcode.guarded(640.0, 0.2), 1)
    460.6
    """
    values, back = _arrays.floats(limit_per_ml, "limit_per_ml")
    each = [_native.guarded(float(value), float(relative), float(level)) for value in values.flat]
    return back(np.array(each, float).reshape(values.shape))


def in_numbers(relative: float, level: float = 0.95) -> tuple[float, float]:
    """A relative standard deviation in range numbers, and the difference of two results that it explains.

    Parameters
    ----------
    relative : float
        The relative standard deviation, of reproducibility for example [-].
    level : float
        [-].

    Returns
    -------
    (float, float)
        The standard deviation, and the difference that chance stays below at the level [range numbers].

    Examples
    --------
    >>> import siltcode
    >>> [round(numbers, 2) for numbers in siltcode.in_numbers(0.2)]
    [0.29, 0.8]
    """
    return _native.in_numbers(float(relative), float(level))
