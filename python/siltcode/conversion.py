"""Particle sizes in another scale."""

from __future__ import annotations

from siltcode import _native
from siltcode.samples import Scale


def convert_size(um: float, from_: Scale, to: Scale) -> float:
    """A particle size in another scale.

    Parameters
    ----------
    um : float
        The size [um].
    from_, to : {"um(c)", "um(b)", "um(acftd)"}
        The scales; for the microscope no conversion is published.

    Returns
    -------
    float [um]

    Raises
    ------
    SiltcodeError
        ``conversion-unknown``, ``conversion-outside`` unless the size lies within the published pairs.

    Notes
    -----
    Between two published pairs the line is straight. um(b) is a fixed share of um(c), recalled and not read (UNVERIFIED).

    References
    ----------
    .. [1] ISO 11171 and ISO 4402:1991, the pairs as restated in ``reference-tables/size_scales.csv``.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.convert_size(15, "um(acftd)", "um(c)")
    13.6
    """
    return _native.convert_size(float(um), from_, to)
