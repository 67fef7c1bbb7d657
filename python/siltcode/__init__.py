"""Fluid cleanliness: particle counts in; cleanliness codes, honest verdicts and the filtration still needed, out.

Examples
--------
>>> import siltcode
>>> str(siltcode.iso4406(1752, 517, 55))
'18/16/13'
"""

from siltcode._native import VERSION as __version__
from siltcode.batch import (
    Batch,
    Finding,
    Flag,
    Notice,
    Problem,
    Score,
    ScoredChannel,
    Scores,
    Verdict,
    read_counts,
)
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
from siltcode.frames import Frame, score_frame
from siltcode.samples import Channel, Run, Sample
from siltcode.specs import Requirement, Spec, spec, specs

__all__ = [
    "ABOVE_SCALE",
    "NOT_COUNTED",
    "Batch",
    "Channel",
    "Classification",
    "Code",
    "Finding",
    "Flag",
    "Frame",
    "Notice",
    "Odds",
    "Problem",
    "Requirement",
    "Run",
    "Sample",
    "Score",
    "ScoredChannel",
    "Scores",
    "SiltcodeError",
    "SizeClass",
    "Spec",
    "Verdict",
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
    "read_counts",
    "score_frame",
    "spec",
    "specs",
]
