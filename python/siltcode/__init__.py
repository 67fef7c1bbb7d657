"""Fluid cleanliness: particle counts in; cleanliness codes, honest verdicts and the filtration still needed, out.

Examples
--------
>>> import siltcode
>>> str(siltcode.iso4406(1752, 517, 55))
'18/16/13'
"""

from siltcode._native import VERSION as __version__
from siltcode.certainty import Odds, code_odds, poisson_interval
from siltcode.classes import (
    Classification,
    SizeClass,
    as4059,
    as4059_possible,
    class_limits,
    class_systems,
    classify,
    convert_size,
    gost17216,
    nas1638,
)
from siltcode.codes import ABOVE_SCALE, NOT_COUNTED, Code, iso4406, parse_code, range_bounds, range_numbers
from siltcode.errors import SiltcodeError

__all__ = [
    "ABOVE_SCALE",
    "NOT_COUNTED",
    "Classification",
    "Code",
    "Odds",
    "SiltcodeError",
    "SizeClass",
    "__version__",
    "as4059",
    "as4059_possible",
    "class_limits",
    "class_systems",
    "classify",
    "code_odds",
    "convert_size",
    "gost17216",
    "iso4406",
    "nas1638",
    "parse_code",
    "poisson_interval",
    "range_bounds",
    "range_numbers",
]
