"""Bottles, and their scores."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Literal, overload

from siltcode import _arrays, _native
from siltcode._display import SHOWN, Table, counted, html_table
from siltcode.decision import Rule
from siltcode.errors import SiltcodeError
from siltcode.problems import Notice, Problem, notice_of
from siltcode.samples import Sample, Scale, sample_of
from siltcode.scores import Scores, place_of
from siltcode.specs import SpecLike, spec as read_spec


class Batch(Sequence[Sample]):
    """Bottles, with the rows that could not be used and everything that was guessed. `read_counts` makes one.

    Attributes
    ----------
    blanks : tuple of Sample
        The blanks, which are no bottles.
    problems : tuple of Problem
        The rows that could not be used.
    notices : tuple of Notice
        What was guessed, assumed or passed over.
    provenance : dict
        The library's version, the tables with their editions, and the digest of each input.

    Examples
    --------
    >>> import siltcode
    >>> batch = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")])
    >>> batch
    Batch(1 bottle, 0 blanks, 0 problems)
    >>> batch[0].code, batch.ids
    (Code('18/16/13'), ['A'])
    """

    def __init__(self, inputs: Sequence[tuple[str, bytes]], options: dict[str, Any]) -> None:
        self._source: tuple[Any, ...] = (tuple(inputs), options)
        self._native = _native.read_counts(list(inputs), options)

    @classmethod
    def of(cls, samples: Iterable[Sample]) -> Batch:
        """A batch of samples made in Python.

        Parameters
        ----------
        samples : iterable of Sample
            The bottles, in order.

        Returns
        -------
        Batch

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
        return sample_of(self._native.sample(place_of(at, len(self))))

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
        return tuple(problem_of(problem) for problem in self._native.problems())

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What was guessed, assumed or passed over."""
        return tuple(notice_of(**notice) for notice in self._native.notices())

    @property
    def account(self) -> dict[str, Any]:
        """What became of every record: ``in`` is ``scored`` + ``rejected`` + what was passed over, by the reason.

        Examples
        --------
        >>> import pathlib, tempfile
        >>> import siltcode
        >>> day = pathlib.Path(tempfile.mkdtemp(), "day.csv")
        >>> _ = day.write_text("bottle,4 um(c) /mL,6 um(c) /mL\\nA,1752,517\\nB,many,3\\nMean,1752,517\\n")
        >>> account = siltcode.read_counts(day).account
        >>> account["in"], account["scored"], account["rejected"], account["passed_over"]
        (4, 1, 1, {'heading': 1, 'mean': 1})
        """
        return dict(self._native.account())

    @property
    def provenance(self) -> dict[str, Any]:
        """What the results are made from."""
        return dict(self._native.provenance())

    def write_rejects(self, path: str | os.PathLike[str]) -> None:
        """Writes the rows that could not be used to the file `path`, to be corrected and read again.

        Examples
        --------
        >>> import pathlib, tempfile
        >>> import siltcode
        >>> day, rejects = (pathlib.Path(tempfile.mkdtemp(), name) for name in ("day.csv", "rejects.csv"))
        >>> _ = day.write_text("bottle;4 um(c) /mL;6 um(c) /mL;14 um(c) /mL\\nA;1752;517;55\\nB;100;200;3\\n")
        >>> siltcode.read_counts(day).write_rejects(rejects)
        >>> siltcode.read_counts(rejects)
        Batch(0 bottles, 0 blanks, 1 problem)
        """
        Path(path).write_bytes(bytes(self._native.rejects()))

    def score(
        self,
        spec: SpecLike | None = None,
        *,
        level: float = 0.95,
        rule: Rule | None = None,
        repeatability: float | None = None,
        scatter: float | None = None,
        skip_first_run: bool = False,
        leave_out: Sequence[str] = (),
        spread: float | None = None,
        alarm: float = 0.99,
        method: str | None = None,
        sensing_volumes: float | None = None,
        dead_time: float | None = None,
        blank: Sample | None = None,
        subtract: Sample | None = None,
        previous: Batch | Iterable[Sample] | None = None,
        match: Literal["id", "point"] = "id",
        classes: str | Sequence[str] = (),
        convert_to: Scale | None = None,
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
        repeatability : float, optional
            Coefficient of variation between runs of one bottle, 0 to 1 [-], as the counter's maker or the laboratory's own
            study gives it. Runs of each file are allowed for with it, or without it by themselves; `Scores.notices` says where
            they contradict it.
        scatter : float, optional
            Coefficient of variation between bottles of the same fluid, 0 to 1 [-].
        skip_first_run : bool
            Leave out the first run of each bottle that has others.
        leave_out : sequence of str
            Runs to leave out, each as ``"BOTTLE:RUN"`` by its label or its place; the last run of a bottle stays.
        spread : float, optional
            How far runs may lie apart, as a fraction of their mean [-]; without it, as far as chance goes.
        alarm : float
            The level at which a difference counts as more than chance [-].
        method : str, optional
            The test method; without it, what the bottle's notes say.
        sensing_volumes : float, optional
            How many sensing volumes the counted volume of a run is [-]: flags what coincidence hides.
        dead_time : float, optional
            Instead, the dead time over the counting time of a run [-].
        blank : Sample, optional
            A blank to compare with: flags what it may have brought in.
        subtract : Sample, optional
            A blank to subtract, per size band.
        previous : Batch or iterable of Sample, optional
            Bottles drawn before: `Score.previous` says for each size what it was and whether it fell, rose or stayed the
            same, and flags say what stayed while the rest fell. Where two match, the last counts.
        match : {"id", "point"}
            What bottles are matched by: the id, or the tank and the point that their notes name.
        classes : str or sequence of str
            Class systems to ask beside the code, ``"nas1638"`` and others: see `class_systems`.
        convert_to : str, optional
            The scale to convert sizes to for systems that have none in the counts' own, ``"um(acftd)"``.

        Returns
        -------
        Scores

        Raises
        ------
        SiltcodeError
            ``level-out-of-range``, ``quantity-out-of-range``, ``run-not-named``, ``class-system-unknown``, and those of `spec`. A bottle that cannot be scored is no
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
        ('undecided', 0.527)
        >>> score = siltcode.Batch.of([bottle]).score(classes=["as4059", "nas1638"])[0]
        >>> [str(answer) or answer.code for answer in score.classes]
        ['8A/8B/7C', 'class-scale-unsuited']
        """
        how = {
            "level": float(level),
            "rule": rule,
            "repeatability": repeatability,
            "scatter": scatter,
            "skip_first_run": skip_first_run,
            "leave_out": list(leave_out),
            "alarm": float(alarm),
            "spread": spread,
            "method": method,
            "sensing_volumes": sensing_volumes,
            "dead_time": dead_time,
            "blank": None if blank is None else blank._given(),
            "subtract": None if subtract is None else subtract._given(),
            "classes": [classes] if isinstance(classes, str) else list(classes),
            "convert_to": convert_to,
        }
        by_point = _arrays.one_of(match, "match", ("id", "point")) == "point"
        before = previous if previous is None or isinstance(previous, Batch) else Batch.of(previous)
        return Scores(self, None if spec is None else read_spec(spec), how, before, by_point)

    def __repr__(self) -> str:
        held = [(len(self), "bottle"), (len(self.blanks), "blank"), (len(self.problems), "problem")]
        return f"Batch({', '.join(counted(*each) for each in held)})"

    def _repr_html_(self) -> str:
        rows = [[sample.id, len(sample.runs), _code_or_none(sample)] for sample in self[:SHOWN]]
        told = f"see .problems and .notices ({counted(len(self.notices), 'notice')})"
        return html_table(Table(["bottle", "runs", "ISO 4406"], rows, repr(self)[6:-1], told))


def problem_of(problem: dict[str, Any]) -> Problem:
    """A problem from its plain values."""
    return Problem(**{"sheet": None, **problem})


def _code_or_none(sample: Sample) -> str | None:
    try:
        return str(sample.code)
    except SiltcodeError:
        return None
