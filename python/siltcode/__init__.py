"""Fluid cleanliness: particle counts in; cleanliness codes, honest verdicts and the filtration still needed, out.

Examples
--------
>>> import siltcode
>>> str(siltcode.iso4406(1752, 517, 55))
'18/16/13'
"""

from siltcode._native import VERSION as __version__
from siltcode.batch import Batch
from siltcode.beta import Beta, BetaAt
from siltcode.certainty import Odds, Posterior, code_odds, poisson_interval
from siltcode.classes import Classification, SizeClass, as4059, classify, gost17216, nas1638
from siltcode.codes import ABOVE_SCALE, NOT_COUNTED, Code, iso4406, parse_code, range_bounds, range_numbers
from siltcode.columns import TextFrame, read_columns
from siltcode.conversion import convert_size
from siltcode.corrections import Coincidence, Corrected, Counter, Net, coincidence, diluted, less_blank
from siltcode.decision import Decision, Judged, decide
from siltcode.errors import SiltcodeError
from siltcode.filters import Element, Stage, Train
from siltcode.flush import flushes, pipe_reynolds
from siltcode.forecast import ChannelForecast, Passes, Remedy
from siltcode.frames import Frame, score_frame
from siltcode.intake import read_counts
from siltcode.laws import Curve, counting_deviation, power_density
from siltcode.loading import (
    Captured,
    captured_mass,
    capacity_used,
    loading_at,
    pressure_at_capacity,
    resistance_ratio,
)
from siltcode.logged import Logged, LogGap, turnovers_logged
from siltcode.mass import MassBin, MassEstimate, mass_of, mass_of_spheres
from siltcode.outlook import FitErrors, ProgressFinding, Remaining, SizeFit, SizeRemaining
from siltcode.planner import VolumePlan, most_to_accept, plan_volume, sequential_bounds, sequential_step
from siltcode.precision import expanded_in_numbers, false_accept_at_limit, guarded, in_numbers, nested_correlation
from siltcode.pressures import ChangeRule, ElementWatch, GaugeFinding, change_rule, pressure_at_rated, watch_element
from siltcode.problems import Notice, Problem
from siltcode.progress import Progress, Shortfall, expected_errors, fit_progress, shortfall
from siltcode.ratios import MeasuredBeta, in_series, leak_ceiling, leaking, measured_beta, ratio_of_bins, ratio_of_pairs
from siltcode.reference import DEFERENCE, Caution, ReferenceTable, cautions, table, tables
from siltcode.runs import Agreement, RateRatio, agreement, compare, equal_by_e_test
from siltcode.samples import Channel, Run, Sample
from siltcode.schedule import BreakEven, Schedule, break_even, schedule
from siltcode.score import (
    ClassAnswer,
    Finding,
    Flag,
    LeftOutRun,
    Previous,
    Score,
    ScoredChannel,
    SizeChange,
    SizeRepeatability,
    Verdict,
)
from siltcode.scores import Scores
from siltcode.settling import Liquid, Rest, Settling
from siltcode.specs import Requirement, Spec, spec, specs
from siltcode.spectrum import Band, Between
from siltcode.staged import Booked, OutOfReach, Plan, PlannedElement, PlannedStage, plan
from siltcode.suction import Suction, pump_suction, suction_drop
from siltcode.systems import as4059_possible, class_limits, class_systems, parse_as4059
from siltcode.tank import passes
from siltcode.trend import ChangeOut, LawAnswer, LoadingFit, change_out, loading_fits
from siltcode.turnovers import displaced, passed_at_least, turnovers_like_one_pass, turnovers_needed

__all__ = [
    "ABOVE_SCALE",
    "DEFERENCE",
    "NOT_COUNTED",
    "Agreement",
    "Band",
    "Batch",
    "Beta",
    "BetaAt",
    "Between",
    "Booked",
    "BreakEven",
    "Captured",
    "Caution",
    "ChangeOut",
    "ChangeRule",
    "Channel",
    "ChannelForecast",
    "ClassAnswer",
    "Classification",
    "Code",
    "Coincidence",
    "Corrected",
    "Counter",
    "Curve",
    "Decision",
    "Element",
    "ElementWatch",
    "Finding",
    "FitErrors",
    "Flag",
    "Frame",
    "GaugeFinding",
    "Judged",
    "LawAnswer",
    "LeftOutRun",
    "Liquid",
    "LoadingFit",
    "LogGap",
    "Logged",
    "MassBin",
    "MassEstimate",
    "MeasuredBeta",
    "Net",
    "Notice",
    "Odds",
    "OutOfReach",
    "Passes",
    "Plan",
    "PlannedElement",
    "PlannedStage",
    "Posterior",
    "Previous",
    "Problem",
    "Progress",
    "ProgressFinding",
    "RateRatio",
    "ReferenceTable",
    "Remaining",
    "Remedy",
    "Requirement",
    "Rest",
    "Run",
    "Sample",
    "Schedule",
    "Score",
    "ScoredChannel",
    "Scores",
    "Settling",
    "Shortfall",
    "SiltcodeError",
    "SizeChange",
    "SizeClass",
    "SizeFit",
    "SizeRemaining",
    "SizeRepeatability",
    "Spec",
    "Stage",
    "Suction",
    "TextFrame",
    "Train",
    "Verdict",
    "VolumePlan",
    "__version__",
    "agreement",
    "as4059",
    "as4059_possible",
    "break_even",
    "capacity_used",
    "captured_mass",
    "cautions",
    "change_out",
    "change_rule",
    "class_limits",
    "class_systems",
    "classify",
    "code_odds",
    "coincidence",
    "compare",
    "convert_size",
    "counting_deviation",
    "decide",
    "diluted",
    "displaced",
    "equal_by_e_test",
    "expanded_in_numbers",
    "expected_errors",
    "false_accept_at_limit",
    "fit_progress",
    "flushes",
    "gost17216",
    "guarded",
    "in_numbers",
    "in_series",
    "iso4406",
    "leak_ceiling",
    "leaking",
    "less_blank",
    "loading_at",
    "loading_fits",
    "mass_of",
    "mass_of_spheres",
    "measured_beta",
    "most_to_accept",
    "nas1638",
    "nested_correlation",
    "parse_as4059",
    "parse_code",
    "passed_at_least",
    "passes",
    "pipe_reynolds",
    "plan",
    "plan_volume",
    "poisson_interval",
    "power_density",
    "pressure_at_capacity",
    "pressure_at_rated",
    "pump_suction",
    "range_bounds",
    "range_numbers",
    "ratio_of_bins",
    "ratio_of_pairs",
    "read_columns",
    "read_counts",
    "resistance_ratio",
    "schedule",
    "score_frame",
    "sequential_bounds",
    "sequential_step",
    "shortfall",
    "spec",
    "specs",
    "suction_drop",
    "table",
    "tables",
    "turnovers_like_one_pass",
    "turnovers_logged",
    "turnovers_needed",
    "watch_element",
]
