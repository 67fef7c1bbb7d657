"""A bottle, scored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from siltcode._display import Table, figures, html_table, probability
from siltcode.certainty import Odds
from siltcode.classes import Classification, classification_of
from siltcode.codes import Code, parse_code
from siltcode.decision import Outcome
from siltcode.samples import companions_of


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that looks wrong with a bottle.

    Attributes
    ----------
    code, severity : str
        Its stable code, and how much it weighs: ``"note"`` or ``"warning"``.
    size : str or None
        The size with its scale; None where it is about the whole bottle.
    evidence, advice : str
        What was found, and what to do.

    Examples
    --------
    >>> import siltcode
    >>> flag = siltcode.Sample.of({14: 12}, per="raw", volume_ml=1).score().flags[0]
    >>> flag.code, flag.size, flag.evidence
    ('few-raw-counts', '14 um(c)', '12 particles in 1.000 mL of sample')
    """

    code: str
    severity: str
    size: str | None
    evidence: str
    advice: str


@dataclass(frozen=True, slots=True)
class ScoredChannel:
    """One size of a scored bottle.

    Attributes
    ----------
    size : str
        The size with its scale.
    per_ml : float, str or None
        The concentration [particles/mL], a bound in words, or None: not counted.
    raw : int or None
        Particles counted over all runs.
    volume_ml, dilution : float or None
        The volume counted over all runs [mL]; the dilution factor [-].
    number : int or None
        The range number; 29 above the scale.
    few : bool
        Fewer than 20 particles were counted.
    interval_per_ml : tuple of float, or None
        The interval of the concentration [particles/mL]; None where raw count or volume is missing.
    odds : Odds or None
        The odds of each range number.

    Examples
    --------
    >>> import siltcode
    >>> channel = siltcode.Sample.of({14: 12}, per="raw", volume_ml=1).score().channels[0]
    >>> channel.number, channel.few, [round(end, 1) for end in channel.interval_per_ml]
    (11, True, [6.2, 21.0])
    >>> channel.odds
    Odds(9: 0.003, 10: 0.250, 11: 0.718, 12: 0.029)
    """

    size: str
    per_ml: float | str | None
    raw: int | None
    volume_ml: float | None
    dilution: float | None
    number: int | None
    few: bool
    interval_per_ml: tuple[float, float] | None
    odds: Odds | None


@dataclass(frozen=True, slots=True)
class ClassAnswer:
    """What one class system answers, of `Batch.score` with `classes`.

    Attributes
    ----------
    system : str
        Its name.
    classification : Classification or None
        The class with what stands behind it; None where there is none.
    code, reason, hint : str or None
        Why there is none: the error's code, what was found, and what to do.

    Examples
    --------
    >>> import siltcode
    >>> score = siltcode.Sample.of({4: 1752, 6: 517, 14: 55}).score(classes=["as4059", "nas1638"])
    >>> [(answer.system, str(answer), answer.code) for answer in score.classes]
    [('as4059', '8A/8B/7C', None), ('nas1638', '', 'class-scale-unsuited')]
    """

    system: str
    classification: Classification | None
    code: str | None = None
    reason: str | None = None
    hint: str | None = None

    def __str__(self) -> str:
        return str(self.classification or "")


@dataclass(frozen=True, slots=True)
class Finding:
    """One requirement of the target, answered by the numbers as they are.

    Attributes
    ----------
    subject, limit : str
        What is looked at, and what is asked of it.
    found : str or None
        What was found, with its unit; None where nothing was.
    finding : str
        ``"met"``, ``"not met"`` or why it cannot be said.
    numbers_over : int or None
        How many range numbers lie between the limit and what was found: above 0 is dirtier [-].
    ratio : float or None
        What was found over the limit [-].
    note : str or None
        What must be said with it.
    status : str
        How well the limit is known: ``USER``, ``READ``, ``DERIVED`` or ``UNVERIFIED``.

    Examples
    --------
    >>> import siltcode
    >>> finding = siltcode.Sample.of({4: 6000, 6: 517, 14: 55}).score("18/16/13").verdict.findings[0]
    >>> finding.subject, finding.limit, finding.finding, finding.numbers_over, finding.ratio
    ('4 um(c)', 'number 18', 'not met', 2, 2.4)
    """

    subject: str
    limit: str
    found: str | None
    finding: str
    numbers_over: int | None
    ratio: float | None
    note: str | None
    status: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """A bottle against its target.

    Attributes
    ----------
    outcome : {"conforms", "does not conform", "undecided"}
        The answer.
    rule : str or None
        The decision rule, in words; None where the target limits no particles.
    p : float or None
        The probability that all limits on particles are met [-]; None where it is not known.
    false_accept : float or None
        If the fluid is accepted, how likely its particles exceed a limit [-].
    deciding : str or None
        The requirement that decides.
    settle : str or None
        If undecided: what would settle it.
    factor_to_remove : float
        The factor by which particle counts still have to come down [-]; 1 where the limits are met.
    findings : tuple of Finding
        Requirement by requirement.
    p_missing : {"no-particle-limits", "size-not-counted", "no-raw-counts"} or None
        Why `p` is not known.
    limits_checked : str or None
        What may be said where the bottle conforms to these limits while the specification has more.

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of({4: 1752, 6: 517, 14: 78}, per="raw", volume_ml=1)
    >>> verdict = bottle.score("18/16/13").verdict
    >>> str(verdict), round(verdict.p, 2), verdict.deciding
    ('undecided', 0.56, '14 um(c)')
    >>> verdict.rule
    'probability of conformity at least 95 %'
    """

    outcome: Outcome
    rule: str | None
    p: float | None
    false_accept: float | None
    deciding: str | None
    settle: str | None
    factor_to_remove: float
    findings: tuple[Finding, ...]
    p_missing: str | None = None
    limits_checked: str | None = None

    def __str__(self) -> str:
        return self.outcome if self.limits_checked is None else "meets the limits checked"

    def _repr_html_(self) -> str:
        rows = [[f.subject, f.limit, f.found, f.finding, f.note] for f in self.findings]
        p = f"; particles: probability {probability(self.p)}" if self.p is not None else ""
        below = f"to settle it: {self.settle}" if self.settle else ""
        headings = ["subject", "limit", "found", "finding", "note"]
        rule = f" \N{EM DASH} {self.rule}" if self.rule else ""
        return html_table(Table(headings, rows, f"{self.limits_checked or self.outcome}{rule}{p}", below))


@dataclass(frozen=True, slots=True)
class SizeChange:
    """One size then and now.

    Attributes
    ----------
    size : str
        The size.
    then_per_ml, now_per_ml : float or str
        What was read then and is read now [particles/mL]; a bound in words.
    change : {"fell", "same", "rose", "cannot-tell"}
        What became of it; the same is within half a range number.
    p : float or None
        The probability of that; where nothing is sure, that it fell; None where a count does not say what it rests on [-].

    Examples
    --------
    >>> import siltcode
    >>> then, now = (siltcode.Sample.of({4: raw}, "A", per="raw", volume_ml=1) for raw in (9000, 6000))
    >>> now.score(previous=[then]).previous.sizes[0].change
    'fell'
    """

    size: str
    then_per_ml: float | str
    now_per_ml: float | str
    change: str
    p: float | None


@dataclass(frozen=True, slots=True)
class Previous:
    """A bottle beside the previous one from the same place.

    Attributes
    ----------
    id : str
        The previous bottle.
    sizes : tuple of SizeChange
        Every size that both were counted at.

    Examples
    --------
    >>> import siltcode
    >>> then, now = (siltcode.Sample.of({4: raw}, "A", per="raw", volume_ml=1) for raw in (9000, 9010))
    >>> [at.change for at in now.score(previous=[then]).previous.sizes]
    ['same']
    """

    id: str
    sizes: tuple[SizeChange, ...]


@dataclass(frozen=True, slots=True)
class LeftOutRun:
    """A run that a result does without.

    Attributes
    ----------
    place : int
        Its place among the runs of the bottle, from 1.
    label : str or None
        Its own label, where it has one.
    reason : {"named", "first-run"}
        Why it was left out.

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of([{4: n} for n in (2310, 2048, 2076)], "A", per="raw", volume_ml=1)
    >>> (left_out,) = siltcode.Batch.of([bottle]).score(skip_first_run=True)[0].left_out
    >>> left_out.place, left_out.reason
    (1, 'first-run')
    """

    place: int
    label: str | None
    reason: str


@dataclass(frozen=True, slots=True)
class SizeRepeatability:
    """How much runs of one bottle vary beyond counting, at one size.

    Attributes
    ----------
    file : str or None
        The file whose bottles say so; None for bottles made here.
    size : str or None
        The size; None for a stated variation, which holds for every size without runs of its own.
    cv : float
        The coefficient of variation between runs [-].
    effective_number : float
        The effective number of degrees of freedom it is known from [-].
    bottles : int
        Bottles it rests on.
    source : {"runs", "stated", "runs-and-stated"}
        Where it comes from.

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of({4: 2310}, "A", per="raw", volume_ml=1)
    >>> (stated,) = siltcode.Batch.of([bottle]).score(repeatability=0.02).repeatability
    >>> stated.cv, stated.effective_number, stated.source
    (0.02, 4.0, 'stated')
    """

    file: str | None
    size: str | None
    cv: float
    effective_number: float
    bottles: int
    source: str


@dataclass(frozen=True, slots=True)
class Score:
    """A bottle, scored.

    Attributes
    ----------
    id : str
        The bottle's name.
    iso4406 : str or None
        The code as printed, where the code's sizes were counted.
    scale : str
        The scale of its sizes.
    runs : int
        How many runs it rests on.
    level : float
        The level of the intervals [-].
    channels : tuple of ScoredChannel
        Every size, smallest first.
    flags : tuple of Flag
        What looks wrong.
    certainty_unknown : str or None
        Where the certainty is not known: what to record next time.
    verdict : Verdict or None
        The verdict, if there was a target.
    classes : tuple of ClassAnswer
        What the class systems that were asked answer, in their order.
    scatter : float or None
        The scatter between bottles that was stated, as a coefficient of variation [-].
    counting_only : bool
        Intervals, odds and verdict allow for counting error only: there are no two runs, and no variation was stated.
    drowned_in_blank : tuple of str, or None
        Sizes whose band the subtracted blank held more of than the bottle; None if no blank was subtracted.
    companions : tuple of (str, str)
        What else was measured: property and value with its unit.
    point : {"return-line", "suction-line", "bottom"} or None
        Where it was drawn, if not in the tank itself: it is judged as a sample of that point.
    comparison : tuple of Finding, or None
        Requirement by requirement, where the limits are of another place in the supply: compared, without a verdict.
    previous : Previous or None
        Beside the previous bottle from the same place, where there is one.
    left_out : tuple of LeftOutRun
        The runs that the result does without, as asked.

    Examples
    --------
    >>> import siltcode
    >>> score = siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A", per="raw", volume_ml=1).score("18/16/13")
    >>> score
    Score('A': 18/16/13 conforms)
    >>> [channel.raw for channel in score.channels], score.flags
    ([1752, 517, 55], ())
    """

    id: str
    iso4406: str | None
    scale: str
    runs: int
    level: float
    channels: tuple[ScoredChannel, ...]
    flags: tuple[Flag, ...]
    certainty_unknown: str | None
    verdict: Verdict | None
    classes: tuple[ClassAnswer, ...] = ()
    scatter: float | None = None
    drowned_in_blank: tuple[str, ...] | None = None
    companions: tuple[tuple[str, str], ...] = ()
    point: str | None = None
    comparison: tuple[Finding, ...] | None = None
    previous: Previous | None = None
    counting_only: bool = True
    left_out: tuple[LeftOutRun, ...] = ()

    @property
    def code(self) -> Code | None:
        """The code, to compare."""
        return None if self.iso4406 is None else parse_code(self.iso4406)

    def __str__(self) -> str:
        return self.iso4406 or ""

    def __repr__(self) -> str:
        verdict = "" if self.verdict is None else f" {self.verdict}"
        return f"Score({self.id!r}: {self.iso4406}{verdict})"

    def _repr_html_(self) -> str:
        rows = [_channel_row(channel) for channel in self.channels]
        headings = ["size", "particles/mL", f"interval, {self.level:.0%}", "counted", "number", "odds"]
        below = "; ".join(f"{flag.code} {flag.size or ''}: {flag.advice}" for flag in self.flags)
        table = html_table(Table(headings, rows, f"{self.id}: {self.iso4406}", self.certainty_unknown or below))
        answers = [[answer.system, str(answer) or answer.reason] for answer in self.classes]
        classes = html_table(Table(["class system", "class"], answers)) if answers else ""
        return table + classes + ("" if self.verdict is None else self.verdict._repr_html_())


def _channel_row(channel: ScoredChannel) -> list[Any]:
    ends = channel.interval_per_ml
    interval = "" if ends is None else f"{figures(ends[0])} to {figures(ends[1])}"
    odds = "" if channel.odds is None else repr(channel.odds)[5:-1]
    number = ">28" if channel.number == 29 else channel.number
    return [channel.size, channel.per_ml, interval, channel.raw, number, odds]


def score_of(parts: dict[str, Any]) -> Score:
    """A score as the native module gives it."""
    verdict, drowned = parts.get("verdict"), parts.get("drowned_in_blank")
    return Score(
        parts["id"],
        parts["iso4406"],
        parts["scale"],
        parts["runs"],
        parts["level"],
        tuple(_scored_channel(channel) for channel in parts["channels"]),
        tuple(Flag(**flag) for flag in parts["flags"]),
        parts.get("certainty_unknown"),
        None if verdict is None else _verdict(verdict, parts["settle"]),
        tuple(_answer(answer) for answer in parts.get("classes", ())),
        parts.get("scatter"),
        None if drowned is None else tuple(drowned),
        companions_of(parts.get("companions", ())),
        parts.get("point"),
        None if parts.get("comparison") is None else _findings(parts["comparison"]),
        _previous(parts.get("previous")),
        parts["counting_only"],
        tuple(LeftOutRun(**run) for run in parts.get("left_out", ())),
    )


def _answer(part: dict[str, Any]) -> ClassAnswer:
    if part["class"] is None:
        return ClassAnswer(part["system"], None, part["code"], part["reason"], part["hint"])
    return ClassAnswer(part["system"], classification_of({**part, "text": part["class"]}))


def _scored_channel(part: dict[str, Any]) -> ScoredChannel:
    odds, ends, number = part["odds"], part["interval_per_ml"], part["number"]
    return ScoredChannel(
        part["size"],
        part["per_ml"],
        part["raw"],
        part["volume_ml"],
        part.get("dilution"),
        29 if number == ">28" else number,
        part["few"],
        None if ends is None else tuple(ends),
        None if odds is None else Odds({29 if number == ">28" else int(number): p for number, p in odds.items()}),
    )


def _verdict(part: dict[str, Any], settle: str | None) -> Verdict:
    told = (part["outcome"], part["rule"], part["p"], part["false_accept"], part["deciding"])
    findings = _findings(part["check"]["items"])
    return Verdict(*told, settle, part["factor_to_remove"], findings, part["p_missing"], part["limits_checked"])


def _previous(part: dict[str, Any] | None) -> Previous | None:
    return None if part is None else Previous(part["id"], tuple(SizeChange(**size) for size in part["sizes"]))


def _findings(items: list[dict[str, Any]]) -> tuple[Finding, ...]:
    fields = [field for field in Finding.__slots__]
    return tuple(Finding(**{field: item[field] for field in fields}) for item in items)
