"""Fluid cleanliness: particle counts in; cleanliness codes, honest verdicts and the filtration still needed, out.

Examples
--------
>>> import siltcode
>>> str(siltcode.iso4406(1752, 517, 55))
'18/16/13'
"""

from siltcode._native import VERSION as __version__
from siltcode.batch import Batch, Scores
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
from siltcode.corrections import Corrected, Net, coincidence, diluted, less_blank
from siltcode.decision import Decision, Judged, decide
from siltcode.errors import SiltcodeError
from siltcode.filters import Beta, BetaAt, Element, MeasuredBeta, Stage, Train, measured_beta
from siltcode.frames import Frame, score_frame
from siltcode.intake import read_counts
from siltcode.planner import VolumePlan, most_to_accept, plan_volume, sequential_step
from siltcode.precision import guarded, in_numbers
from siltcode.problems import Notice, Problem
from siltcode.runs import Agreement, RateRatio, agreement, compare
from siltcode.samples import Channel, Run, Sample
from siltcode.score import Finding, Flag, Score, ScoredChannel, Verdict
from siltcode.specs import Requirement, Spec, spec, specs
from siltcode.tank import ChannelForecast, Passes, Remedy, passes

__all__ = [
    "ABOVE_SCALE",
    "NOT_COUNTED",
    "Agreement",
    "Batch",
    "Beta",
    "BetaAt",
    "Channel",
    "ChannelForecast",
    "Classification",
    "Code",
    "Corrected",
    "Decision",
    "Element",
    "Finding",
    "Flag",
    "Frame",
    "Judged",
    "MeasuredBeta",
    "Net",
    "Notice",
    "Odds",
    "Passes",
    "Problem",
    "RateRatio",
    "Remedy",
    "Requirement",
    "Run",
    "Sample",
    "Score",
    "ScoredChannel",
    "Scores",
    "SiltcodeError",
    "SizeClass",
    "Spec",
    "Stage",
    "Train",
    "Verdict",
    "VolumePlan",
    "__version__",
    "agreement",
    "as4059",
    "as4059_possible",
    "class_limits",
    "class_systems",
    "classify",
    "code_odds",
    "coincidence",
    "compare",
    "convert_size",
    "decide",
    "diluted",
    "gost17216",
    "guarded",
    "in_numbers",
    "iso4406",
    "less_blank",
    "measured_beta",
    "most_to_accept",
    "nas1638",
    "parse_code",
    "passes",
    "plan_volume",
    "poisson_interval",
    "range_bounds",
    "range_numbers",
    "read_counts",
    "score_frame",
    "sequential_step",
    "spec",
    "specs",
]
