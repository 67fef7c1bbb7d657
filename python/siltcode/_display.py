"""Small tables for notebooks, readable on a light and on a dark page; all text from outside is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any, NamedTuple

_CELL = "padding:0.15em 0.8em;border-bottom:1px solid color-mix(in srgb,currentColor 25%,transparent)"
_MARKS = {"conforms": "&#10003;", "does not conform": "&#10007;", "undecided": "?"}
#: Rows shown in a notebook.
SHOWN = 30


class Table(NamedTuple):
    """Headings and rows. A cell that is a number stands to the right."""

    headings: Sequence[str]
    rows: Sequence[Sequence[Any]]
    caption: str = ""
    below: str = ""


def html_table(table: Table) -> str:
    """The table as a fragment of HTML, in the page's own colours."""
    caption = f'<caption style="text-align:left;color:inherit;white-space:nowrap">{escape(table.caption)}</caption>' if table.caption else ""
    head = "".join(f'<th scope="col" style="{_CELL};text-align:left">{escape(text)}</th>' for text in table.headings)
    body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in table.rows)
    below = f'<div style="opacity:0.8">{escape(table.below)}</div>' if table.below else ""
    style = "border-collapse:collapse;color:inherit;background:transparent;font-variant-numeric:tabular-nums"
    return f'<table style="{style}">{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{below}'


def figures(value: Any, digits: int = 4) -> str:
    """A number for people: so many figures, without an exponent where that can be helped; nothing for None."""
    if value is None or value != value:
        return ""
    return f"{value:.0f}" if abs(value) >= 10**digits else f"{value:.{digits}g}"


def counted(number: int, name: str) -> str:
    """``1 bottle``, ``2 bottles``."""
    return f"{number} {name}" if number == 1 else f"{number} {name}s"


def probability(p: float | None) -> str:
    """A probability, never printed as certain when it is not."""
    if p is None:
        return ""
    if p < 0.001:
        return "<0.001"
    return ">0.999" if p > 0.999 else f"{p:.3f}"


def _cell(value: Any) -> str:
    is_number = isinstance(value, (int, float))
    text = figures(value) if isinstance(value, float) else "" if value is None else str(value)
    mark = f"{_MARKS[text]} " if text in _MARKS else ""
    return f'<td style="{_CELL};text-align:{"right" if is_number else "left"}">{mark}{escape(text)}</td>'
