"""The class systems themselves, and classes without counts."""

from __future__ import annotations

from typing import Any

from siltcode import _native
from siltcode.samples import Scale


def class_systems() -> list[dict[str, Any]]:
    """The class systems that `classify` knows.

    Returns
    -------
    list of dict
        ``name``, ``title``, ``scales``, ``classes`` and ``notes`` of each.

    Examples
    --------
    >>> import siltcode
    >>> [system["name"] for system in siltcode.class_systems()][:2]
    ['as4059', 'as4059-rounded']
    """
    return list(_native.class_systems())


def class_limits(system: str, class_: str, scale: Scale = "um(c)") -> list[dict[str, Any]] | None:
    """What a class allows at each size.

    Parameters
    ----------
    system, class_ : str
        The system's name; the class, for example ``"7"`` or ``"000"``.
    scale : str
        The scale of the sizes.

    Returns
    -------
    list of dict, or None
        ``from``, ``to`` and ``at_most_per_100_ml`` [particles/100 mL]; None if there is no such class or scale.

    Raises
    ------
    SiltcodeError
        ``class-system-unknown``, ``class-unreadable``, ``size-unreadable`` if the scale is none.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.class_limits("nas1638", "7", "um(microscope)")[0]["at_most_per_100_ml"]
    32000.0
    """
    found = _native.class_limits(system, class_, scale)
    return None if found is None else list(found)


def parse_as4059(text: str) -> str:
    """A written AS4059 class, read and printed again.

    Parameters
    ----------
    text : str
        ``"9A/8B/7C"``, ``"6B"``, ``"6 B-F"``, ``"7"``, ``">12A"``, with or without the standard before it.

    Returns
    -------
    str

    Raises
    ------
    SiltcodeError
        ``class-not-in-system``, ``class-unreadable``.

    References
    ----------
    .. [1] SAE AS4059, as restated in ``reference-tables/as4059_cumulative.csv``.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.parse_as4059("AS4059:6 b-f")
    '6 B-F'
    """
    return _native.parse_designation(text)


def as4059_possible(code: str) -> dict[str, str]:
    """The AS4059 cumulative classes that an ISO 4406 code alone leaves possible, size by size.

    Parameters
    ----------
    code : str or Code
        A code in um(c). A place that is ``*``, ``-`` or marked ``>=`` bounds nothing from above and is left out.

    Returns
    -------
    dict of letter to class or range of classes

    Raises
    ------
    SiltcodeError
        ``code-unreadable``, ``number-out-of-range``, ``code-rises-with-size``.

    Notes
    -----
    A range number and a class share no bounds, so one code mostly leaves two classes. Counts give the class itself.

    References
    ----------
    .. [1] ISO 4406 and SAE AS4059, as restated in ``reference-tables``.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.as4059_possible("18/16/13")
    {'A': '8 to 9', 'B': '7 to 8', 'C': '7 to 8'}
    """
    return {possible["letter"]: possible["classes"] for possible in _native.as4059_possible(str(code))}
