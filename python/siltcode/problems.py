"""Rows that could not be used, and what was guessed while reading."""

from __future__ import annotations

from dataclasses import dataclass


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
