"""Plain rows of text read straight into columns."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any, Literal

from siltcode import _native
from siltcode.batch import problem_of
from siltcode.frames import Frame
from siltcode.problems import Notice, Problem, notice_of
from siltcode.samples import Per, Scale
from siltcode.specs import SpecLike, spec as read_spec


class TextFrame(Frame):
    """Rows of a file as named columns, with the rows that could not be used. `read_columns` makes one.

    Attributes
    ----------
    problems : tuple of Problem
        The rows that could not be used.
    notices : tuple of Notice
        What was guessed, assumed or passed over.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import siltcode
    >>> day = pathlib.Path(tempfile.mkdtemp(), "day.csv")
    >>> _ = day.write_text("bottle;4 um(c) /mL;6 um(c) /mL;14 um(c) /mL\\nA;1752,5;517;55\\nB;100;200;3\\n")
    >>> frame = siltcode.read_columns(day)
    >>> len(frame), frame.problems[0].line, frame.problems[0].code
    (1, 3, 'count-rises-with-size')
    """

    __slots__ = ("notices", "problems")

    def __init__(self, columns: _native.Columns, problems: Sequence[Problem], notices: Sequence[Notice]) -> None:
        super().__init__(columns)
        self.problems: tuple[Problem, ...] = tuple(problems)
        self.notices: tuple[Notice, ...] = tuple(notices)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, TextFrame):
            return NotImplemented
        return super().__eq__(other) and (self.problems, self.notices) == (other.problems, other.notices)

    def __hash__(self) -> int:
        return hash((super().__hash__(), self.problems, self.notices))

    def __reduce__(self) -> tuple[Any, ...]:
        return _of_parts, (self._columns.parts(), self.problems, self.notices)


def _of_parts(parts: list[Any], problems: Sequence[Problem], notices: Sequence[Notice]) -> TextFrame:
    return TextFrame(_native.columns_of_parts(parts), problems, notices)


def read_columns(
    path: str | os.PathLike[str],
    spec: SpecLike | None = None,
    *,
    delimiter: Literal[",", ";", "tab", "|"] | None = None,
    decimal: Literal[".", ","] | None = None,
    per: Per | None = None,
    scale: Scale | None = None,
) -> TextFrame:
    """Reads delimited text with one plain row a bottle into columns, scored; for files of any length.

    Parameters
    ----------
    path : path
        The file: a name, a time if there is one, and cumulative concentrations in a column per size.
    spec : str, path, Code or Spec, optional
        The target, as for `spec`: simple acceptance, since rows say nothing of the raw counts.
    delimiter, decimal, per, scale : optional
        What the file does not say, as for `read_counts`.

    Returns
    -------
    TextFrame
        ``id``, ``time`` as it is written, ``per_ml_4`` and so on for each size [particles/mL], ``iso4406``, the range
        numbers ``number_4``, ``number_6`` and ``number_14`` (5 and 15 where the scale has no others), with a target
        ``outcome`` (``conforms``, ``does not conform`` or ``undecided``), then every other column of the file as text.
        What was not counted or is empty is missing. Rows that could not be used are its problems.

    Raises
    ------
    SiltcodeError
        ``text-not-plain``, with its line, for what columns do not hold: raw counts, volumes, dilutions, blanks, several
        runs of a bottle, a row or a band per size, quoted line breaks, other text than UTF-8. `read_counts` takes these.
        ``scales-mixed`` if the target's sizes are in another scale, ``target-alternatives``, and those of `read_counts`.
    OSError
        If the file cannot be opened.

    Notes
    -----
    Read on all cores, many times as fast as `read_counts`, with the same rows and the same problems. A bound such as
    ``<1`` is a problem, ``count-is-bound``, because a column holds numbers. A name that comes twice, apart, is two rows.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import siltcode
    >>> day = pathlib.Path(tempfile.mkdtemp(), "day.csv")
    >>> rows = "bottle,time,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\\nA,06:00,1752,517,55\\nB,07:00,9000,640,60\\n"
    >>> _ = day.write_text(rows)
    >>> frame = siltcode.read_columns(day, spec="18/16/13")
    >>> frame.to_pandas()[["id", "time", "iso4406", "outcome"]]
      id   time   iso4406           outcome
    0  A  06:00  18/16/13          conforms
    1  B  07:00  20/16/13  does not conform
    """
    given = None if spec is None else read_spec(spec).as_given()
    options = {"delimiter": delimiter, "decimal": decimal, "per": per, "scale": scale}
    columns, problems, notices = _native.read_columns(os.fspath(path), given, options)
    return TextFrame(columns, [problem_of(problem) for problem in problems], [notice_of(**notice) for notice in notices])
