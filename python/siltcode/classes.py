"""Class systems: AS4059, NAS 1638, GOST 17216, NAVAIR."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from siltcode import _native
from siltcode._display import Table, html_table
from siltcode.samples import BySize, Per, Scale, spectrum_given


@dataclass(frozen=True, slots=True)
class SizeClass:
    """The class at one size of a class system.

    Attributes
    ----------
    size : str
        The size, or the two that bound it: ``"4 um(c)"``, ``"5 to 15 um(acftd)"``.
    letter : str or None
        Its letter, in AS4059.
    label : str
        The letter where there is one, else the micrometres: ``"A"``, ``"5 to 15"``.
    class_ : str or None
        The class, or a range of classes (``"8 to 9"``); None where not counted.
    origin : str
        ``"counted"``, ``"bounded"``, ``"interpolated"`` or ``"not-counted"``.
    at_least, at_most : float or None
        What there may be [particles/100 mL]; None where not counted or unbounded.

    Examples
    --------
    >>> import siltcode
    >>> size = siltcode.as4059({4: 3000, 6: 500, 14: 60}).sizes[0]
    >>> size.size, size.letter, size.class_, size.origin, size.at_most
    ('4 um(c)', 'A', '9', 'counted', 300000.0)
    """

    size: str
    letter: str | None
    label: str
    class_: str | None
    origin: Literal["counted", "bounded", "interpolated", "not-counted"]
    at_least: float | None
    at_most: float | None


@dataclass(frozen=True, slots=True)
class Classification:
    """What a class system says of a sample; its ``str()`` is as the system's users print it.

    Attributes
    ----------
    text : str
        The class as printed.
    system, table : str
        The system's name; standard, edition and table in words.
    scale : str
        The scale of the sizes.
    worst : str
        The dirtiest class over the counted sizes.
    sizes : tuple of SizeClass
        Size by size, smallest first.
    status : str
        How the least sure limit is known: ``READ``, ``DERIVED`` or ``UNVERIFIED``.
    notes : tuple of str
        What must be said with the class.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.as4059({4: 3000, 6: 500, 14: 60})
    >>> found
    Classification(as4059 9: 9A/8B/7C)
    >>> found.worst, found.sizes[1].class_
    ('9', '8')
    """

    text: str
    system: str
    table: str
    scale: str
    worst: str
    sizes: tuple[SizeClass, ...]
    status: str
    notes: tuple[str, ...]

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        worst = "" if self.text == self.worst else f" {self.worst}"
        return f"Classification({self.system}{worst}: {self.text})"

    @property
    def classes(self) -> dict[str, str | None]:
        """The class at each size by its letter, or by its micrometres where the system has no letters."""
        return {size.label: size.class_ for size in self.sizes}

    def _repr_html_(self) -> str:
        rows = [[size.size, size.letter or "", size.at_least, size.class_ or "-", size.origin] for size in self.sizes]
        headings = ["size", "letter", "particles/100 mL", "class", "origin"]
        return html_table(Table(headings, rows, f"{self.text} \N{EM DASH} {self.table}", "; ".join(self.notes)))


def classify(
    system: str,
    counts: BySize[Any],
    per: Per = "mL",
    scale: Scale = "um(c)",
    *,
    differential: bool = False,
    convert_to: Scale | None = None,
) -> Classification:
    """The class of a sample in a class system.

    Parameters
    ----------
    system : str
        ``as4059``, ``as4059-rounded``, ``as4059-differential``, ``nas1638``, ``gost17216`` or ``navair``.
    counts : mapping of size to count
        Size [um] to cumulative count, in units of `per`; a bound may be given as text (``"<1"``), None is not counted.
    per : {"mL", "100 mL", "L"}
        What the counts refer to.
    scale : {"um(c)", "um(b)", "um(acftd)", "um(microscope)"}
        The scale of the sizes.
    differential : bool
        The counts are those between a size and the next, not cumulative.
    convert_to : str, optional
        The scale to convert the sizes to where the system has none in theirs; the class says so in its notes.

    Returns
    -------
    Classification

    Raises
    ------
    SiltcodeError
        ``class-system-unknown``; ``class-scale-unsuited`` unless the system has sizes in the scale;
        ``class-not-counted``; ``count-rises-with-size``; ``conversion-unknown``, ``conversion-outside``.

    Notes
    -----
    A size of the system between two counted sizes is read by two laws; where they disagree its class is a range. Nothing
    is read outside the counted sizes. More particles never make a class better, but where a range ends between two
    counted sizes: particles beyond the larger of them make the laws flatter, and move some of the reading to the next
    range.

    References
    ----------
    .. [1] The tables that `class_systems` names, as restated in ``reference-tables``.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.classify("nas1638", {5: 3700, 15: 520, 25: 105, 50: 18, 100: 3}, per="mL", scale="um(acftd)").worst
    '11'
    """
    given = spectrum_given(counts, per=per, scale=scale, differential=differential)
    return classification_of(_native.classify(system, given, convert_to))


def classification_of(found: dict[str, Any]) -> Classification:
    """A class as the native module gives it."""
    sizes = tuple(_size_class(size) for size in found["sizes"])
    return Classification(
        found["text"],
        found["system"],
        found["table"],
        found["scale"],
        found["worst"],
        sizes,
        found["status"],
        tuple(found["notes"]),
    )


def _size_class(size: dict[str, Any]) -> SizeClass:
    um = size["from"].partition(" ")[0]
    label = size["letter"] or (um if size["to"] is None else f"{um} to {size['to'].partition(' ')[0]}")
    printed = size["from"] if size["to"] is None else f"{um} to {size['to']}"
    least, most = size["at_least_per_100_ml"], size["at_most_per_100_ml"]
    return SizeClass(printed, size["letter"], label, size["class"], size["origin"], least, most)


def as4059(counts: BySize[Any], per: Per = "mL", scale: Scale = "um(c)") -> Classification:
    """The SAE AS4059 class of a sample, by the cumulative table (unrounded limits).

    Parameters
    ----------
    counts, per, scale
        As for `classify`.

    Returns
    -------
    Classification

    Raises
    ------
    SiltcodeError
        As for `classify`.

    References
    ----------
    .. [1] SAE AS4059, as restated in ``reference-tables/as4059_cumulative.csv``.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.as4059({4: 3000, 6: 500, 14: 60, 21: 6, 38: 1, 70: 0.2})
    >>> str(found), found.worst, found.classes["B"]
    ('9A/8B/7C/6D/6E/7F', '9', '8')
    """
    return classify("as4059", counts, per, scale)


def nas1638(
    counts: BySize[Any], per: Per = "mL", scale: Scale = "um(acftd)", *, differential: bool = False
) -> Classification:
    """The NAS 1638 class of a sample.

    Parameters
    ----------
    counts, per, scale, differential
        As for `classify`; the standard's own counts are per size range, so give those with ``differential=True``.

    Returns
    -------
    Classification

    Raises
    ------
    SiltcodeError
        As for `classify`.

    References
    ----------
    .. [1] NAS 1638, as restated in ``reference-tables/nas1638.csv``; inactive for new design since 2001.

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.nas1638({5: 32000, 15: 5700, 25: 1012, 50: 180, 100: 32}, per="100 mL", differential=True)
    >>> str(found)
    '7'
    """
    return classify("nas1638", counts, per, scale, differential=differential)


def gost17216(
    counts: BySize[Any], per: Per = "mL", scale: Scale = "um(microscope)", *, differential: bool = False
) -> Classification:
    """The GOST 17216 class of a sample.

    Parameters
    ----------
    counts, per, scale, differential
        As for `classify`; the standard's own counts are per size range.

    Returns
    -------
    Classification

    Raises
    ------
    SiltcodeError
        As for `classify`.

    References
    ----------
    .. [1] GOST 17216-71, as restated in ``reference-tables/gost17216.csv``.

    Examples
    --------
    >>> import siltcode
    >>> counts = {5: 1000, 10: 500, 25: 25, 50: 4, 100: 1}
    >>> str(siltcode.gost17216(counts, per="100 mL", differential=True))
    '6'
    """
    return classify("gost17216", counts, per, scale, differential=differential)
