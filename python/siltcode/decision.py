"""Verdicts against limits on particles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from siltcode import _native
from siltcode._display import Table, html_table, probability
from siltcode.samples import BySize, Sample

Outcome = Literal["conforms", "does not conform", "undecided"]
Rule = Literal["simple-acceptance", "guard-band", "conformity"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One size against its limit.

    Attributes
    ----------
    size : str
        The size with its scale.
    limit_per_ml : float
        The most allowed [particles/mL].
    reading : float, str or None
        The concentration [particles/mL], a bound in words, or None: not counted.
    p : float or None
        The probability that the limit is met [-]; None where it cannot be known.
    outcome : {"conforms", "does not conform", "undecided"}
        The answer for this size alone.

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of({14: 70}, per="raw", volume_ml=1)
    >>> judged = siltcode.decide(bottle, {14: 80}).each[0]
    >>> judged.size, judged.reading, round(judged.p, 2)
    ('14 um(c)', 70.0, 0.86)
    """

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
        The answer for all sizes together.
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

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of({14: 70}, per="raw", volume_ml=1)
    >>> decision = siltcode.decide(bottle, {14: 80})
    >>> str(decision), decision.rule
    ('undecided', 'probability of conformity at least 95 %')
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
        caption = f"{self.outcome} \N{EM DASH} {self.rule}; probability {probability(self.p) or 'not known'}"
        return html_table(Table(["size", "limit /mL", "read /mL", "probability", "outcome"], rows, caption, below))


def decide(
    sample: Sample,
    limits: BySize[float],
    rule: Rule = "conformity",
    level: float = 0.95,
    scatter: float = 0.0,
    repeatability: float | None = None,
) -> Decision:
    """Judges a sample against upper limits on particles.

    Parameters
    ----------
    sample : Sample
        All its runs are taken together; that they vary is allowed for.
    limits : mapping of size to concentration
        The most allowed at and above each size [um, in the sample's scale, to particles/mL].
    rule : {"simple-acceptance", "guard-band", "conformity"}
        The result as it is; its one-sided limits of confidence; the probability that all limits are met together.
    level : float
        The level of the rule, ``0 < level < 1`` [-].
    scatter : float
        Coefficient of variation between bottles of the same fluid, 0 to 1 [-].
    repeatability : float, optional
        Coefficient of variation between runs of one bottle, 0 to 1 [-], as the counter's maker or the laboratory's own study
        gives it: allowed for together with what the runs say. `Batch.score` knows the runs of all bottles besides.

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
    ('undecided', 0.86, 'count about 6.7 mL in all')
    """
    pairs = [(float(um), float(per_ml)) for um, per_ml in limits.items()]
    found = _native.decide(sample._given(), pairs, rule, float(level), float(scatter), repeatability)
    each = tuple(
        Judged(j["limit"]["size"], j["limit"]["per_ml"], j["reading"], j["p"], j["outcome"]) for j in found["each"]
    )
    told = (found["outcome"], found["rule"], found["p"], tuple(found["bounds"]), found["false_accept"])
    return Decision(*told, found["deciding"], each, found["settle"])
