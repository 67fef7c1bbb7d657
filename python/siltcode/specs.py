"""Specifications: what a customer or a standard asks for."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from siltcode import _native
from siltcode._display import Table, html_table
from siltcode.codes import Code
from siltcode.errors import SiltcodeError
from siltcode.samples import Scale


@dataclass(frozen=True, slots=True)
class Requirement:
    """One thing asked for.

    Attributes
    ----------
    subject, limit : str
        What is looked at, and what is asked of it.
    status : str
        How well the number is known: ``USER``, ``READ``, ``DERIVED`` or ``UNVERIFIED``.
    note : str or None
        What must be said with it.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.spec("18/16/13").requirements[0]
    Requirement(subject='4 um(c)', limit='number 18', status='USER', note=None)
    """

    subject: str
    limit: str
    status: str
    note: str | None


@dataclass(frozen=True, slots=True)
class Spec:
    """What is asked of a fluid. `spec` makes one.

    Attributes
    ----------
    name, title : str
        The short name; what it is, in words.
    edition, scope : str or None
        The edition of the document it restates; where it applies, if that is limited.
    status : str
        How well its numbers are known: ``USER``, ``READ``, ``DERIVED`` or ``UNVERIFIED``.
    requirements : tuple of Requirement
        In their document's order.
    partial : bool
        Whether the document has more limits: meeting these is not conforming to it.
    compare_only : bool
        Whether bottles are only compared with the limits, without a verdict.
    caveat : str or None
        What to know before relying on it.

    Examples
    --------
    >>> import siltcode
    >>> diesel = siltcode.spec("wwfc-diesel")
    >>> diesel
    Spec('wwfc-diesel', 3 requirements, READ)
    >>> [requirement.limit for requirement in diesel.requirements]
    ['number 18', 'number 16', 'number 13']
    """

    name: str
    title: str
    edition: str | None
    scope: str | None
    status: str
    requirements: tuple[Requirement, ...]
    _given: tuple[str | None, str | None, str]
    partial: bool = False
    compare_only: bool = False
    caveat: str | None = None

    def as_given(self) -> dict[str, Any]:
        """What the native module reads it from: the TOML text or the code, and the scale of the code's sizes.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.spec("18/16/13").as_given()
        {'toml': None, 'code': '18/16/13', 'scale': 'um(c)'}
        """
        return dict(zip(("toml", "code", "scale"), self._given, strict=True))

    def __str__(self) -> str:
        return self.title

    def __repr__(self) -> str:
        return f"Spec({self.name!r}, {len(self.requirements)} requirements, {self.status})"

    def _repr_html_(self) -> str:
        rows = [[r.subject, r.limit, r.status, r.note] for r in self.requirements]
        caption = ", ".join(part for part in (self.title, self.edition, self.scope, self.caveat) if part)
        return html_table(Table(["subject", "limit", "known", "note"], rows, caption))


SpecLike = str | Code | Spec | os.PathLike[str]


def spec(given: SpecLike, scale: Scale = "um(c)") -> Spec:
    """A specification: a published one, a code, or a TOML file or text.

    Parameters
    ----------
    given : str, path, Code or Spec
        A published name (see `specs`), a code such as ``"18/16/13"``, the path of a TOML file, or TOML text.
    scale : str
        The scale of a code's sizes.

    Returns
    -------
    Spec

    Raises
    ------
    SiltcodeError
        ``spec-unknown`` if text is none of these; ``spec-unreadable``, ``spec-key-unknown``, ``spec-value-unusable`` or
        ``spec-empty``, with the file and the line.

    Notes
    -----
    The numbers of published specifications restate their documents, with how each is known: the document decides.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.spec("18/16/13")
    Spec('18/16/13', 3 requirements, USER)
    >>> day_tank = siltcode.spec('title = "Day tank"\\ncode = "18/16/13"\\nwater = "200 mg/kg"')
    >>> [requirement.subject for requirement in day_tank.requirements]
    ['4 um(c)', '6 um(c)', '14 um(c)', 'water']
    """
    if isinstance(given, Spec):
        return given
    if isinstance(given, os.PathLike):
        return _of_file(Path(given))
    text = str(given)
    if "=" in text:
        return _of((text, None, scale))
    if text.strip() in _native.published_names():
        return _of((_native.published_text(text), None, scale))
    if os.path.isfile(text):
        return _of_file(Path(text))
    try:
        return _of((None, str(Code._of(_native.parse_code(text))), scale))
    except SiltcodeError:
        if "/" in text and text.replace("/", "").strip(" <>=*-").isdigit():
            raise  # meant as a code
    _native.published_text(text)
    raise AssertionError("refused above")


def _of_file(path: Path) -> Spec:
    try:
        return _of((path.read_text(encoding="utf-8"), None, "um(c)"))
    except SiltcodeError as error:
        error.file = str(path)
        raise


def _of(given: tuple[str | None, str | None, str]) -> Spec:
    parts = _native.spec_parts(dict(zip(("toml", "code", "scale"), given, strict=True)))
    requirements = tuple(Requirement(*words) for words in parts["words"])
    told = (parts["name"], parts["title"], parts["edition"], parts["scope"], parts["status"])
    return Spec(*told, requirements, given, parts["partial"], parts["compare_only"], parts["caveat"])


def specs() -> list[str]:
    """The names of the published specifications that come with the package.

    Returns
    -------
    list of str
        What `spec` takes.

    Examples
    --------
    >>> import siltcode
    >>> "wwfc-diesel" in siltcode.specs()
    True
    """
    return _native.published_names()
