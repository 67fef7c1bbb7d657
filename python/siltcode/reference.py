"""The published tables that results rest on, and what to beware of in work on stored fuel."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from siltcode import _arrays, _native

#: What stands above every caution.
DEFERENCE = _native.DEFERENCE


@dataclass(frozen=True, slots=True)
class ReferenceTable:
    """A published table that results rest on.

    Attributes
    ----------
    name, title : str
        By which it is asked for, and what it holds.
    standard : str
        What it restates.
    status : str
        How it is known: ``READ``, ``DERIVED``, ``MEMORY`` (UNVERIFIED: recalled, not read), or per row.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.table("nas1638").name
    'nas1638'
    """

    name: str
    title: str
    standard: str
    status: str

    @property
    def text(self) -> str:
        """The rows as comma-separated values behind their citation.

        Examples
        --------
        >>> import siltcode
        >>> siltcode.table("iso4406").text.splitlines()[0].startswith("# title:")
        True
        """
        return _native.table_text(self.name)


def tables() -> tuple[ReferenceTable, ...]:
    """The published tables, each with its citation.

    Returns
    -------
    tuple of ReferenceTable

    Examples
    --------
    >>> import siltcode
    >>> siltcode.tables()[0].name
    'iso4406'
    """
    return tuple(ReferenceTable(*each) for each in _native.published_tables())


def table(name: str) -> ReferenceTable:
    """A published table by its name.

    Parameters
    ----------
    name : str
        One of those of `tables`.

    Returns
    -------
    ReferenceTable

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
    """Something to beware of.

    Attributes
    ----------
    topic, text : str
        What it is about, and what to beware of.
    when : {"always", "jet", "standby", "entry"}
        The kind of job that it applies to.
    status : str
        How it is known: ``READ``, ``DERIVED`` or ``UNVERIFIED``.
    source : str
        Keys of the table of sources, joined by ``+``.

    Examples
    --------
    >>> import siltcode
    >>> {caution.topic: caution.status for caution in siltcode.cautions()}["confined space"]
    'READ'
    """

    topic: str
    text: str
    when: str
    status: str
    source: str

    def __str__(self) -> str:
        return f"{self.topic}: {self.text}" + (" (common practice, UNVERIFIED)" if self.status == "UNVERIFIED" else "")


def cautions() -> tuple[Caution, ...]:
    """What to beware of in work on stored fuel, the cautions of fire first. No safety procedure: `DEFERENCE` stands above.

    Returns
    -------
    tuple of Caution

    Examples
    --------
    >>> import siltcode
    >>> [caution.topic for caution in siltcode.cautions()][0]
    'flammable vapour'
    """
    return tuple(Caution(**each) for each in _native.cautions())


def cautions_of(*said: str) -> tuple[tuple[Caution, ...], tuple[Caution, ...]]:
    """The cautions that apply to a job, and the rest, by what is said of it: its title, its fluid, its target.

    Parameters
    ----------
    *said : str
        What is said of the job.

    Returns
    -------
    (tuple of Caution, tuple of Caution)
        Those that apply, and the rest, which may apply too.

    Examples
    --------
    >>> from siltcode.reference import cautions_of
    >>> applying, rest = cautions_of("Day tank of a standby generator", "diesel")
    >>> "tank on standby" in [caution.topic for caution in applying], [caution.topic for caution in rest]
    (True, ['confined space', 'aviation'])
    """
    each = _native.cautions_of(list(said))
    made = [(one.pop("applies"), Caution(**one)) for one in each]
    return tuple(caution for applies, caution in made if applies), tuple(caution for applies, caution in made if not applies)


def cautions_html(*said: str) -> str:
    """The cautions of a job as a fragment of HTML, for notebooks.

    Parameters
    ----------
    *said : str
        What is said of the job.

    Returns
    -------
    str

    Examples
    --------
    >>> from siltcode.reference import cautions_html
    >>> "hydrogen sulphide" in cautions_html("diesel")
    True
    """
    applying, rest = cautions_of(*said)
    items = "".join(f"<li>{escape(str(caution))}</li>" for caution in applying)
    more = f"<p>Other kinds of work: {escape(', '.join(caution.topic for caution in rest))}.</p>" if rest else ""
    return f"<details><summary>Cautions</summary><p>{escape(DEFERENCE)}</p><ul>{items}</ul>{more}</details>"
