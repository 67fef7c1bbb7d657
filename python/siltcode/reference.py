"""The published tables that results rest on, and what to beware of in work on stored fuel."""

from __future__ import annotations

from dataclasses import dataclass

from siltcode import _arrays, _native

#: What stands above every caution.
DEFERENCE = _native.DEFERENCE


@dataclass(frozen=True, slots=True)
class ReferenceTable:
    """A published table: its name, its title, the standard it restates, and how it is known."""

    name: str
    title: str
    standard: str
    status: str

    @property
    def text(self) -> str:
        """The rows as comma-separated values behind their citation."""
        return _native.table_text(self.name)


def tables() -> tuple[ReferenceTable, ...]:
    """The published tables, each with its citation.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.tables()[0].text.splitlines()[0].startswith("# title:")
    True
    """
    return tuple(ReferenceTable(*each) for each in _native.published_tables())


def table(name: str) -> ReferenceTable:
    """A published table by its name.

    Raises
    ------
    SiltcodeError
        ``table-unknown``.

    Examples
    --------
    >>> import siltcode
    >>> "ISO 4406" in siltcode.table("iso4406").standard
    True
    """
    known = {each.name: each for each in tables()}
    if name not in known:
        _arrays.refused("table-unknown", f"there is no table named `{name}`", f"one of: {', '.join(known)}")
    return known[name]


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to beware of: its topic, the text, how it is known, and where it is from."""

    topic: str
    text: str
    status: str
    source: str

    def __str__(self) -> str:
        return f"{self.topic}: {self.text}" + (" (MEMORY: not read in a source)" if self.status == "MEMORY" else "")


def cautions() -> tuple[Caution, ...]:
    """What to beware of in work on stored fuel, the cautions of fire first. No safety procedure: `DEFERENCE` stands above.

    Examples
    --------
    >>> import siltcode
    >>> [caution.topic for caution in siltcode.cautions()][0]
    'flammable vapour'
    """
    return tuple(Caution(**each) for each in _native.cautions())
