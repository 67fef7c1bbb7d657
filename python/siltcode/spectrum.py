"""What a sample holds between its sizes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Band:
    """The particles from one size up to the next.

    Attributes
    ----------
    from_um : float
        The smaller size, included [um, in the sample's scale].
    to_um : float or None
        The larger one, not included; None for the open band above the largest size.
    per_ml : float
        [particles/mL].

    Examples
    --------
    >>> import siltcode
    >>> siltcode.Sample.of({4: 100, 6: 30}).bands[0]
    Band(from_um=4.0, to_um=6.0, per_ml=70.0)
    """

    from_um: float
    to_um: float | None
    per_ml: float


@dataclass(frozen=True, slots=True)
class Between:
    """A count read between two counted sizes.

    Attributes
    ----------
    least_per_ml, most_per_ml : float
        Over both laws [particles/mL].
    power, log_log2 : float or None
        By the power law and by the log-log2 law [particles/mL]; None where the law cannot be drawn.
    at_least, at_most : float
        Counted at the next larger and the next smaller size [particles/mL].

    Examples
    --------
    >>> import siltcode
    >>> found = siltcode.Sample.of({6: 500, 14: 40}).between(10)
    >>> round(found.power), round(found.log_log2), found.at_least, found.at_most
    (109, 122, 40.0, 500.0)
    """

    least_per_ml: float
    most_per_ml: float
    power: float | None
    log_log2: float | None
    at_least: float
    at_most: float
