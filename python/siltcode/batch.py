"""Bottles read from files, scored."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, overload

from siltcode import _native
from siltcode._display import Table, counted, figures, html_table, probability
from siltcode.certainty import Odds
from siltcode.codes import Code, parse_code
from siltcode.errors import SiltcodeError
from siltcode.frames import Frame
from siltcode.samples import Per, Sample, Scale, sample_of
from siltcode.specs import Spec, SpecLike, spec as read_spec
from siltcode.units import in_unit

Rule = Literal["simple-acceptance", "guard-band", "conformity"]

#: Endings of the files that a folder stands for.
_ENDINGS = (".csv", ".tsv", ".txt", ".xlsx")
#: Bottles shown in a notebook.
_SHOWN = 30


@dataclass(frozen=True, slots=True)
class Problem:
    """A row that could not be used: where it stands, what was found, why, and what to do."""

    file: str | None
    sheet: str | None
    line: int | None
    column: str | None
    code: str
    found: str
    message: str
    hint: str


@dataclass(frozen=True, slots=True)
class Notice:
    """Something guessed, assumed or passed over while reading."""

    file: str
    line: int | None
    severity: str
    code: str
    message: str
    hint: str


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that looks wrong: its stable code, how much it weighs, where, what was found, what to do."""

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
class Finding:
    """One requirement of the target, answered by the numbers as they are."""

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
    rule : str
        The decision rule, in words.
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
    """

    outcome: Literal["conforms", "does not conform", "undecided"]
    rule: str
    p: float | None
    false_accept: float | None
    deciding: str | None
    settle: str | None
    factor_to_remove: float
    findings: tuple[Finding, ...]

    def __str__(self) -> str:
        return self.outcome

    def _repr_html_(self) -> str:
        rows = [[f.subject, f.limit, f.found, f.finding, f.note] for f in self.findings]
        p = f", probability {probability(self.p)}" if self.p is not None else ""
        below = f"to settle it: {self.settle}" if self.settle else ""
        headings = ["subject", "limit", "found", "", "note"]
        return html_table(Table(headings, rows, f"{self.outcome} \N{EM DASH} {self.rule}{p}", below))


@dataclass(frozen=True, slots=True)
class Score:
    """A bottle, scored.

    Attributes
    ----------
    id : str
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

    @property
    def code(self) -> Code | None:
        """The code, to compare."""
        return None if self.iso4406 is None else parse_code(self.iso4406)

    def __str__(self) -> str:
        return self.iso4406 or ""

    def __repr__(self) -> str:
        verdict = "" if self.verdict is None else f" {self.verdict.outcome}"
        return f"Score({self.id!r}: {self.iso4406}{verdict})"

    def _repr_html_(self) -> str:
        rows = [_channel_row(channel) for channel in self.channels]
        headings = ["size", "particles/mL", f"interval, {self.level:.0%}", "counted", "number", "odds"]
        below = "; ".join(f"{flag.code} {flag.size or ''}: {flag.advice}" for flag in self.flags)
        table = html_table(Table(headings, rows, f"{self.id}: {self.iso4406}", self.certainty_unknown or below))
        return table + ("" if self.verdict is None else self.verdict._repr_html_())


def _channel_row(channel: ScoredChannel) -> list[Any]:
    ends = channel.interval_per_ml
    interval = "" if ends is None else f"{figures(ends[0])} to {figures(ends[1])}"
    odds = "" if channel.odds is None else repr(channel.odds)[5:-1]
    number = ">28" if channel.number == 29 else channel.number
    return [channel.size, channel.per_ml, interval, channel.raw, number, odds]


def score_of(parts: dict[str, Any]) -> Score:
    """A score as the native module gives it."""
    verdict = parts.get("verdict")
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
    )


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
    fields = [field for field in Finding.__slots__]
    findings = tuple(Finding(**{field: item[field] for field in fields}) for item in part["check"]["items"])
    told = (part["outcome"], part["rule"], part["p"], part["false_accept"], part["deciding"])
    return Verdict(*told, settle, part["factor_to_remove"], findings)


class Scores(Sequence[Score]):
    """Scored bottles, in order; a frame of them for whoever reads the Arrow PyCapsule interface.

    Attributes
    ----------
    channels : Frame
        One row a size of a bottle.
    problems : tuple of Problem
        Rows that could not be read, and bottles that could not be scored.
    """

    def __init__(self, batch: Batch, spec: Spec | None, how: dict[str, Any]) -> None:
        self._batch, self._spec, self._how = batch, spec, how
        self._native = batch._native.score(None if spec is None else spec.as_given(), how)

    def __reduce__(self) -> tuple[Any, ...]:
        return Scores, (self._batch, self._spec, self._how)

    def __len__(self) -> int:
        return len(self._native)

    @overload
    def __getitem__(self, at: int) -> Score: ...
    @overload
    def __getitem__(self, at: slice) -> list[Score]: ...
    def __getitem__(self, at: int | slice) -> Score | list[Score]:
        if isinstance(at, slice):
            return [self[i] for i in range(*at.indices(len(self)))]
        return score_of(self._native.score(_place(at, len(self))))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Scores) and list(self) == list(other) and self.problems == other.problems

    def __hash__(self) -> int:
        return hash((len(self), self._batch))

    @property
    def frame(self) -> Frame:
        """One row a bottle."""
        return Frame(self._native.bottles())

    @property
    def channels(self) -> Frame:
        """One row a size of a bottle."""
        return Frame(self._native.channels())

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Rows that could not be read, and bottles that could not be scored."""
        failed = self._native.failed()
        unscored = [Problem(None, None, None, None, code, id, message, hint) for id, code, message, hint in failed]
        return (*self._batch.problems, *unscored)

    def raise_first(self) -> None:
        """Raises the package's exception for the first bottle that could not be scored."""
        for _, code, message, hint in self._native.failed():
            raise SiltcodeError(message, code, hint)

    def to_pandas(self) -> Any:
        """One row a bottle, as a `pandas.DataFrame`."""
        return self.frame.to_pandas()

    def to_polars(self) -> Any:
        """One row a bottle, as a `polars.DataFrame`."""
        return self.frame.to_polars()

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self.frame.__arrow_c_stream__(requested_schema)

    def __arrow_c_schema__(self) -> object:
        return self.frame.__arrow_c_schema__()

    def __repr__(self) -> str:
        against = "" if self._spec is None else f" against {self._spec.name}"
        return f"Scores({counted(len(self), 'bottle')}{against}, {counted(len(self.problems), 'problem')})"

    def _repr_html_(self) -> str:
        rows = [_bottle_row(score) for score in self[:_SHOWN]]
        headings = ["bottle", "ISO 4406", "verdict", "probability", "deciding", "to come down", "flags"]
        caption = "" if self._spec is None else f"Target: {self._spec.title}"
        more = [f"{len(self) - _SHOWN} more bottles"] if len(self) > _SHOWN else []
        problems = [f"{counted(len(self.problems), 'problem')}: see .problems"] if self.problems else []
        return html_table(Table(headings, rows, caption, "; ".join(more + problems)))


def _bottle_row(score: Score) -> list[Any]:
    flags = ", ".join(dict.fromkeys(flag.code for flag in score.flags))
    if score.verdict is None:
        return [score.id, score.iso4406, "", "", "", "", flags]
    verdict, factor = score.verdict, score.verdict.factor_to_remove
    down = f"{factor:.1f} times" if factor > 1 else ""
    return [score.id, score.iso4406, verdict.outcome, probability(verdict.p), verdict.deciding, down, flags]


class Batch(Sequence[Sample]):
    """Bottles, with the rows that could not be used and everything that was guessed.

    Attributes
    ----------
    blanks : tuple of Sample
    problems : tuple of Problem
    notices : tuple of Notice
    provenance : dict
        The library's version, the tables with their editions, and the digest of each input.
    """

    def __init__(self, inputs: Sequence[tuple[str, bytes]], options: dict[str, Any]) -> None:
        self._source: tuple[Any, ...] = (tuple(inputs), options)
        self._native = _native.read_counts(list(inputs), options)

    @classmethod
    def of(cls, samples: Iterable[Sample]) -> Batch:
        """A batch of samples made in Python.

        Examples
        --------
        >>> import siltcode
        >>> len(siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]))
        1
        """
        batch = cls.__new__(cls)
        batch._source = (tuple(samples),)
        batch._native = _native.batch_of([sample._given() for sample in batch._source[0]])
        return batch

    def __reduce__(self) -> tuple[Any, ...]:
        return (Batch if len(self._source) == 2 else Batch.of), self._source

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Batch) and self._source == other._source

    def __hash__(self) -> int:
        return hash(self._source[0])

    def __len__(self) -> int:
        return len(self._native)

    @overload
    def __getitem__(self, at: int) -> Sample: ...
    @overload
    def __getitem__(self, at: slice) -> list[Sample]: ...
    def __getitem__(self, at: int | slice) -> Sample | list[Sample]:
        if isinstance(at, slice):
            return [self[i] for i in range(*at.indices(len(self)))]
        return sample_of(self._native.sample(_place(at, len(self))))

    @property
    def ids(self) -> list[str]:
        """The bottles' names, in order."""
        return self._native.ids()

    @property
    def blanks(self) -> tuple[Sample, ...]:
        """The blanks."""
        return tuple(sample_of(blank) for blank in self._native.blanks())

    @property
    def problems(self) -> tuple[Problem, ...]:
        """The rows that could not be used."""
        return tuple(Problem(**{"sheet": None, **problem}) for problem in self._native.problems())

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What was guessed, assumed or passed over."""
        return tuple(_notice(**notice) for notice in self._native.notices())

    @property
    def provenance(self) -> dict[str, Any]:
        """What the results are made from."""
        return dict(self._native.provenance())

    def write_rejects(self, path: str | os.PathLike[str]) -> None:
        """Writes the rows that could not be used, to be corrected and read again."""
        Path(path).write_bytes(bytes(self._native.rejects()))

    def score(
        self,
        spec: SpecLike | None = None,
        *,
        level: float = 0.95,
        rule: Rule | None = None,
        scatter: float | None = None,
        spread: float | None = None,
        alarm: float = 0.99,
        method: str | None = None,
        sensing_volumes: float | None = None,
        subtract: Sample | None = None,
    ) -> Scores:
        """Scores every bottle: code, intervals, odds, flags and a verdict.

        Parameters
        ----------
        spec : str, path, Code or Spec, optional
            The target, as for `spec`.
        level : float
            The level of intervals and of the decision rule, ``0 < level < 1`` [-].
        rule : {"simple-acceptance", "guard-band", "conformity"}, optional
            The decision rule; without it conformity, or simple acceptance where a raw count is missing.
        scatter : float, optional
            Coefficient of variation between bottles of the same fluid [-].
        spread : float, optional
            How far runs may lie apart, as a fraction of their mean [-]; without it, as far as chance goes.
        alarm : float
            The level at which a difference counts as more than chance [-].
        method : str, optional
            The test method; without it, what the bottle's notes say.
        sensing_volumes : float, optional
            How many sensing volumes the counted volume of a run is [-]: flags what coincidence hides.
        subtract : Sample, optional
            A blank to subtract, per size band.

        Returns
        -------
        Scores

        Raises
        ------
        SiltcodeError
            ``level-out-of-range``, ``quantity-out-of-range``, and those of `spec`. A bottle that cannot be scored is no
            error: it is among the problems.

        Notes
        -----
        The verdict is about the sample, not about the tank: a bottle drawn from one point may miss what lies elsewhere.

        References
        ----------
        .. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment.
        .. [2] ILAC G8:09/2019, Guidelines on decision rules and statements of conformity.

        Examples
        --------
        >>> import siltcode
        >>> bottle = siltcode.Sample.of({4: 95, 6: 25, 14: 3}, "A", per="raw", volume_ml=0.05)
        >>> verdict = siltcode.Batch.of([bottle]).score("18/16/13")[0].verdict
        >>> verdict.outcome, round(verdict.p, 3)
        ('undecided', 0.613)
        """
        how = {
            "level": float(level),
            "rule": rule,
            "scatter": scatter,
            "alarm": float(alarm),
            "spread": spread,
            "method": method,
            "occupied": sensing_volumes,
            "subtract": None if subtract is None else subtract._given(),
        }
        return Scores(self, None if spec is None else read_spec(spec), how)

    def __repr__(self) -> str:
        held = [(len(self), "bottle"), (len(self.blanks), "blank"), (len(self.problems), "problem")]
        return f"Batch({', '.join(counted(*each) for each in held)})"

    def _repr_html_(self) -> str:
        rows = [[sample.id, len(sample.runs), _code_or_none(sample)] for sample in self[:_SHOWN]]
        told = f"see .problems and .notices ({counted(len(self.notices), 'notice')})"
        return html_table(Table(["bottle", "runs", "ISO 4406"], rows, repr(self)[6:-1], told))


def _notice(file: str, severity: str, code: str, message: str, hint: str, **place: Any) -> Notice:
    return Notice(file, place.get("line"), severity, code, message, hint)


def _code_or_none(sample: Sample) -> str | None:
    try:
        return str(sample.code)
    except SiltcodeError:
        return None


def _place(at: int, length: int) -> int:
    if not -length <= at < length:
        raise IndexError(f"there is no bottle {at} of {length}")
    return at % length


def read_counts(
    path: str | os.PathLike[str] | Iterable[str | os.PathLike[str]],
    *,
    delimiter: Literal[",", ";", "tab", "|"] | None = None,
    decimal: Literal[".", ","] | None = None,
    per: Per | None = None,
    scale: Scale | None = None,
    differential: bool | None = None,
    volume_ml: Any = None,
    dilution: float | None = None,
    sheet: str | None = None,
) -> Batch:
    """Reads bottle counts: delimited text or XLSX, whatever the laboratory's layout.

    Parameters
    ----------
    path : path, or several
        Files; a folder stands for the data files in it.
    delimiter, decimal, per, scale, differential, volume_ml, dilution, sheet : optional
        What the files do not say: the mark between cells, the decimal mark, what counts refer to, the scale of the
        sizes, counts per size band, the counted volume of each run [mL], the dilution factor [-], the only sheet to read.
        What is not given is looked for, and what was found or assumed is among the batch's notices.

    Returns
    -------
    Batch
        Good rows as samples, bad rows whole as problems: none is lost, and none stops a file.

    Raises
    ------
    SiltcodeError
        ``input-empty``, ``input-binary``, ``heading-not-found`` and others for a file that cannot be used at all.
    OSError
        If a file cannot be opened.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import siltcode
    >>> day = pathlib.Path(tempfile.mkdtemp(), "day.csv")
    >>> _ = day.write_text("bottle;4 um(c) /mL;6 um(c) /mL;14 um(c) /mL\\nA;1752,5;517;55\\nB;100;200;3\\n")
    >>> batch = siltcode.read_counts(day)
    >>> batch
    Batch(1 bottle, 0 blanks, 1 problem)
    >>> batch.problems[0].line, batch.problems[0].code
    (3, 'count-rises-with-size')
    """
    paths = [path] if isinstance(path, (str, os.PathLike)) else list(path)
    files = [file for given in paths for file in _files(Path(given))]
    options = {
        "delimiter": delimiter,
        "decimal": decimal,
        "per": per,
        "scale": scale,
        "differential": differential,
        "volume_ml": in_unit(volume_ml, "mL"),
        "dilution": dilution,
        "sheet": sheet,
    }
    return Batch([(str(file), file.read_bytes()) for file in files], options)


def _files(path: Path) -> Iterator[Path]:
    if path.is_dir():
        yield from sorted(file for file in path.iterdir() if _is_data(file))
    else:
        yield path


def _is_data(path: Path) -> bool:
    return path.suffix.lower() in _ENDINGS and path.is_file() and not path.name.startswith((".", "~"))
