"""Scored bottles, in order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, overload

from siltcode._display import SHOWN, Table, counted, figures, html_table, probability
from siltcode.errors import SiltcodeError
from siltcode.frames import Frame
from siltcode.problems import Notice, Problem, notice_of
from siltcode.score import Score, SizeRepeatability, score_of
from siltcode.specs import Spec

if TYPE_CHECKING:
    from siltcode.batch import Batch


class Scores(Sequence[Score]):
    """Scored bottles, in order; a frame of them for whoever reads the Arrow PyCapsule interface.

    Attributes
    ----------
    channels : Frame
        One row a size of a bottle.
    problems : tuple of Problem
        Rows that could not be read, and bottles that could not be scored.

    Examples
    --------
    >>> import siltcode
    >>> bottles = [siltcode.Sample.of({4: n, 6: 517, 14: 55}, f"A{n}") for n in (1752, 6000)]
    >>> scores = siltcode.Batch.of(bottles).score("18/16/13")
    >>> scores
    Scores(2 bottles against 18/16/13, 0 problems)
    >>> [str(score.verdict) for score in scores]
    ['conforms', 'does not conform']
    """

    def __init__(
        self, batch: Batch, spec: Spec | None, how: dict[str, Any], previous: Batch | None = None, by_point: bool = False
    ) -> None:
        self._batch, self._spec, self._how, self._previous, self._by_point = batch, spec, how, previous, by_point
        given = None if spec is None else spec.as_given()
        self._native = batch._native.score(given, how, None if previous is None else previous._native, by_point)

    def __reduce__(self) -> tuple[Any, ...]:
        return Scores, (self._batch, self._spec, self._how, self._previous, self._by_point)

    def __len__(self) -> int:
        return len(self._native)

    @overload
    def __getitem__(self, at: int) -> Score: ...
    @overload
    def __getitem__(self, at: slice) -> list[Score]: ...
    def __getitem__(self, at: int | slice) -> Score | list[Score]:
        if isinstance(at, slice):
            return [self[i] for i in range(*at.indices(len(self)))]
        return score_of(self._native.score(place_of(at, len(self))))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Scores) and list(self) == list(other) and self.problems == other.problems

    def __hash__(self) -> int:
        return hash((len(self), self._batch))

    @property
    def frame(self) -> Frame:
        """One row a bottle; behind its score what the input says of it: where, when and by whom it was drawn, and measured."""
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

    @property
    def repeatability(self) -> tuple[SizeRepeatability, ...]:
        """How much runs of one bottle vary, file by file and size by size.

        Examples
        --------
        >>> import siltcode
        >>> bottle = siltcode.Sample.of([{4: n} for n in (20310, 19480, 20760)], "A", per="raw", volume_ml=10)
        >>> (found,) = siltcode.Batch.of([bottle]).score().repeatability
        >>> found.size, round(found.cv, 3), found.bottles, found.source
        ('4 um(c)', 0.031, 1, 'runs')
        """
        return tuple(SizeRepeatability(**entry) for entry in self._native.repeatability())

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What was guessed while reading, runs that contradict a stated variation, and runs that could not be left out.

        Examples
        --------
        >>> import siltcode
        >>> bottle = siltcode.Sample.of({4: 1752}, "A")
        >>> [notice.code for notice in siltcode.Batch.of([bottle]).score(leave_out=["A:2"]).notices]
        ['run-not-left-out']
        """
        return (*self._batch.notices, *(notice_of(**notice) for notice in self._native.notices()))

    @property
    def provenance(self) -> dict[str, Any]:
        """What the scores are made from: that of the batch, with the inputs of the previous one where it was compared.

        Examples
        --------
        >>> import siltcode
        >>> bottle = siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")
        >>> sorted(siltcode.Batch.of([bottle]).score().provenance)
        ['inputs', 'library', 'tables']
        """
        made_from = self._batch.provenance
        previous = [] if self._previous is None else self._previous.provenance["inputs"]
        return {**made_from, "inputs": [*made_from["inputs"], *previous]}

    @property
    def unmatched(self) -> dict[str, tuple[str, ...]]:
        """Bottles without a partner: those of ``"now"`` without a previous one, and those of ``"previous"`` without one now.

        Examples
        --------
        >>> import siltcode
        >>> a, b = (siltcode.Sample.of({4: 1752}, name) for name in ("A", "B"))
        >>> siltcode.Batch.of([a]).score(previous=[b]).unmatched
        {'now': ('A',), 'previous': ('B',)}
        """
        if self._previous is None:
            return {"now": (), "previous": ()}
        met = {score.previous.id for score in self if score.previous is not None}
        now = tuple(score.id for score in self if score.previous is None)
        return {"now": now, "previous": tuple(sample.id for sample in self._previous if sample.id not in met)}

    def raise_first(self) -> None:
        """Raises the package's exception for the first bottle that could not be scored, if there is one.

        Raises
        ------
        SiltcodeError
            Why the bottle could not be scored: ``count-rises-with-size``, for example.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55})]).score().raise_first()
        """
        for _, code, message, hint in self._native.failed():
            raise SiltcodeError(message, code, hint)

    def to_pandas(self) -> Any:
        """One row a bottle, as a `pandas.DataFrame`.

        Raises
        ------
        ModuleNotFoundError
            Without the package pandas.

        Examples
        --------
        >>> import siltcode
        >>> scores = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]).score("18/16/13")
        >>> scores.to_pandas()[["id", "iso4406", "outcome"]]
          id   iso4406   outcome
        0  A  18/16/13  conforms
        """
        return self.frame.to_pandas()

    def to_polars(self) -> Any:
        """One row a bottle, as a `polars.DataFrame`.

        Raises
        ------
        ModuleNotFoundError
            Without the package polars.

        Examples
        --------
        >>> import siltcode
        >>> scores = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]).score("18/16/13")
        >>> scores.to_polars().select("id", "iso4406", "outcome").rows()
        [('A', '18/16/13', 'conforms')]
        """
        return self.frame.to_polars()

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self.frame.__arrow_c_stream__(requested_schema)

    def __arrow_c_schema__(self) -> object:
        return self.frame.__arrow_c_schema__()

    def __repr__(self) -> str:
        against = "" if self._spec is None else f" against {self._spec.name}"
        return f"Scores({counted(len(self), 'bottle')}{against}, {counted(len(self.problems), 'problem')})"

    def _repr_html_(self) -> str:
        rows = [_bottle_row(score) for score in self[:SHOWN]]
        headings = ["bottle", "ISO 4406", "verdict", "probability", "deciding", "to come down", "flags"]
        caption = "" if self._spec is None else f"Target: {self._spec.title}"
        more = [f"{len(self) - SHOWN} more bottles"] if len(self) > SHOWN else []
        problems = [f"{counted(len(self.problems), 'problem')}: see .problems"] if self.problems else []
        return html_table(Table(headings, rows, caption, "; ".join(more + problems)))


def _bottle_row(score: Score) -> list[Any]:
    flags = ", ".join(dict.fromkeys(flag.code for flag in score.flags))
    if score.verdict is None:
        return [score.id, score.iso4406, "", "", "", "", flags]
    verdict, factor = score.verdict, score.verdict.factor_to_remove
    down = "" if factor <= 1 else "less than 1 %" if factor < 1.01 else f"{figures(factor, 3)} times"
    return [score.id, score.iso4406, verdict.outcome, probability(verdict.p), verdict.deciding, down, flags]


def place_of(at: int, length: int) -> int:
    """The place of a bottle counted from either end."""
    if not -length <= at < length:
        raise IndexError(f"there is no bottle {at} of {length}")
    return at % length
