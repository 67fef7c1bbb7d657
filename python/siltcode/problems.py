"""Rows that could not be used, and what was guessed while reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Problem:
    """A row that could not be used, or a bottle that could not be scored.

    Attributes
    ----------
    file, sheet, column : str or None
        Where it stands, as far as it is known.
    line : int or None
        The line of the file, from 1.
    code : str
        Stable, for programs.
    found, message, hint : str
        The row as it stands, or the bottle's name; why it could not be used; what to do.

    Examples
    --------
    >>> import siltcode
    >>> runs = siltcode.Run((siltcode.Channel(4, 10.0),)), siltcode.Run((siltcode.Channel(6, 50.0),))
    >>> problem = siltcode.Batch.of([siltcode.Sample(runs, "A")]).score().problems[0]
    >>> problem.found, problem.code
    ('A', 'count-rises-with-size')
    """

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
    """Something guessed, assumed or passed over while reading.

    Attributes
    ----------
    file : str
        The file.
    line : int or None
        Its line, from 1; None where it is about the whole file.
    severity, code : str
        How much it weighs, and a stable code.
    message, hint : str
        What was done, and how to do otherwise.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import siltcode
    >>> day = pathlib.Path(tempfile.mkdtemp(), "day.csv")
    >>> _ = day.write_text("bottle;4 um /mL;6 um /mL;14 um /mL\\nA;1752,5;517;55\\n")
    >>> [notice.code for notice in siltcode.read_counts(day).notices]
    ['read-as', 'scale-assumed']
    """

    file: str
    line: int | None
    severity: str
    code: str
    message: str
    hint: str


def notice_of(file: str, severity: str, code: str, message: str, hint: str, **place: Any) -> Notice:
    """A notice from its plain values."""
    return Notice(file, place.get("line"), severity, code, message, hint)
