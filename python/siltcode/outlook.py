"""What the samples of a job say: the fall of each size, what remains, what looks wrong."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from siltcode._display import Table, figures, html_table
from siltcode.reference import Caution


@dataclass(frozen=True, slots=True)
class FitErrors:
    """Standard errors of a fall, of `fit_progress` and `expected_errors`.

    Attributes
    ----------
    above_floor : float
        Of the height above the floor at the first sample [particles/mL].
    efficiency : float
        Of the efficiency that the tank shows [-].
    floor : float or None
        Of the floor [particles/mL]; None where none was fitted or found.
    correlation : float or None
        Of efficiency and floor [-]; near 1 a slow fall cannot be told from a high floor.

    Examples
    --------
    >>> import siltcode
    >>> early = siltcode.expected_errors(10_000, 0.95, 100, [0, 0.25, 0.5, 0.75, 1], 1)
    >>> round(early.floor), round(early.correlation, 2)  # around a floor of 100 per mL
    (754, 0.99)
    """

    above_floor: float
    efficiency: float
    floor: float | None
    correlation: float | None


@dataclass(frozen=True, slots=True)
class SizeFit:
    """The most likely fall of the bin from one size to the next larger, of `fit_progress`.

    Attributes
    ----------
    size_um : float
        The bin starts at this size; the last is open [um].
    efficiency : float
        How fast the bin falls, per turnover [-]; in the last stage.
    efficiencies : tuple of float
        The same in each stage [-].
    above_floor_per_ml, floor_per_ml : float
        The height of the bin above its floor at the first sample, and its floor [particles/mL]; 0 unless one is shown.
    now_per_ml : float
        What there is at and above the size at the last sample: of this bin and all larger [particles/mL].
    errors : FitErrors or None
        Standard errors; None where the samples do not fix the fall.
    edge : {"no-fall", "sudden"} or None
        Where the counts do not fix the rate: they do not fall, or had fallen by the second sample.

    Examples
    --------
    >>> import siltcode
    >>> seen = {4: [5030, 1975, 1494, 1192, 1190]}
    >>> fit = siltcode.fit_progress([0, 1, 2, 3, 4], seen, [0.5, 0.5, 1, 2, 5], floor=True, scatter=0).fits[0]
    >>> round(fit.efficiency, 3), round(fit.floor_per_ml, 1), round(fit.errors.floor, 1)
    (0.952, 14.8, 16.0)
    """

    size_um: float
    efficiency: float
    efficiencies: tuple[float, ...]
    above_floor_per_ml: float
    floor_per_ml: float
    now_per_ml: float
    errors: FitErrors | None
    edge: Literal["no-fall", "sudden"] | None


@dataclass(frozen=True, slots=True)
class SizeRemaining:
    """How many turnovers remain at one size, of `Progress.remaining`.

    Attributes
    ----------
    size_um : float
        Particles at and above this size [um].
    target_per_ml, now_per_ml : float
        The most there may be, and the curve at the last sample [particles/mL].
    estimate, low, high : float
        By the most likely curve, and the ends of the interval [-]; infinite for never.
    against_never : float
        The likelihood ratio statistic against "it is never met" [-].
    floor_seen_after : float or None
        Where a floor as high as the target cannot be ruled out: after how many more turnovers one more sample, counted in
        the last one's volume, would tell it from none [-].

    Examples
    --------
    >>> import siltcode
    >>> job = siltcode.fit_progress([0, 1], {4: [20_010, 9_000]}, 1)
    >>> 0.5 < job.remaining(640).sizes[0].floor_seen_after < 5
    True
    """

    size_um: float
    target_per_ml: float
    now_per_ml: float
    estimate: float
    low: float
    high: float
    against_never: float
    floor_seen_after: float | None


@dataclass(frozen=True, slots=True)
class ProgressFinding:
    """Something that the samples of a job say.

    Attributes
    ----------
    code : str
        Stable, for programs.
    severity : {"note", "doubt"}
        Whether to keep it in mind, or to clear it up before relying on the rest.
    size : str or None
        The size it concerns.
    evidence : str
        What was found, with its numbers.
    meaning : tuple of str
        What it may mean; counts alone do not tell these apart.
    advice : str
        What to do next.

    Examples
    --------
    >>> import siltcode
    >>> job = siltcode.fit_progress(range(5), {4: [9_000, 3_600, 1_500, 620, 1_900]}, 1)
    >>> job.findings[0].code, job.findings[0].evidence[:22]
    ('rising', 'from 620 to 1900 per m')
    """

    code: str
    severity: Literal["note", "doubt"]
    size: str | None
    evidence: str
    meaning: tuple[str, ...]
    advice: str


@dataclass(frozen=True, slots=True)
class Remaining:
    """How many turnovers remain until every size meets its target, of `Progress.remaining`.

    Attributes
    ----------
    estimate, low, high : float
        By the most likely curves, and the ends of the interval [-]. 0 where the target is met; infinite where it is never
        met, or, for the high end, where that it is never met cannot be excluded.
    deciding : str
        The size that is met last, or never.
    sizes : tuple of SizeRemaining
        Each size of the target.
    assumptions : tuple of str
        What was taken for granted.
    findings : tuple of ProgressFinding
        What looks wrong, with what bears on this target.
    cautions : tuple of Caution
        What to beware of where the tank is circulated on and sampled again.

    Examples
    --------
    >>> import siltcode
    >>> job = siltcode.fit_progress([0, 1, 2, 3, 4], {4: [5031, 2012, 1589, 1420, 1705]}, [0.5, 0.5, 1, 2, 5], floor=True, scatter=0)
    >>> job.remaining(200)
    Remaining(1.04 turnovers, 0.789 to 1.44; 4 um(c) decides)
    >>> job.remaining(130).high  # the floor may be there
    inf
    """

    estimate: float
    low: float
    high: float
    deciding: str
    sizes: tuple[SizeRemaining, ...]
    assumptions: tuple[str, ...]
    findings: tuple[ProgressFinding, ...]
    cautions: tuple[Caution, ...]

    def __repr__(self) -> str:
        return f"Remaining({_number(self.estimate)}, {_interval(self.low, self.high)}; {self.deciding} decides)"

    def _repr_html_(self) -> str:
        headings = ["size, um", "now /mL", "target /mL", "turnovers", "interval"]
        rows = [
            [s.size_um, s.now_per_ml, s.target_per_ml, _number(s.estimate).split(" ")[0], _interval(s.low, s.high)]
            for s in self.sizes
        ]
        found = [f"{finding.code}: {finding.evidence}" for finding in self.findings]
        below = "; ".join(["assumed: " + "; ".join(self.assumptions), *found])
        return html_table(Table(headings, rows, repr(self)[10:-1], below))


def findings_of(parts: Iterable[dict[str, Any]]) -> tuple[ProgressFinding, ...]:
    """Findings as the native module gives them."""
    return tuple(ProgressFinding(**{**each, "meaning": tuple(each["meaning"])}) for each in parts)


def fit_of(parts: dict[str, Any]) -> SizeFit:
    """The fall of a size as the native module gives it."""
    errors = None if parts["errors"] is None else FitErrors(**parts["errors"])
    given = {name: parts[name] for name in SizeFit.__slots__}
    return SizeFit(**{**given, "efficiencies": tuple(parts["efficiencies"]), "errors": errors})


def or_never(turnovers: float | None) -> float:
    """Turnovers, infinite where there is no end."""
    return math.inf if turnovers is None else turnovers


def _number(turnovers: float) -> str:
    return "never" if math.isinf(turnovers) else f"{figures(turnovers, 3)} turnovers"


def _interval(low: float, high: float) -> str:
    if math.isinf(low):
        return "surely"
    return f"{figures(low, 3)} to {'no end' if math.isinf(high) else figures(high, 3)}"
