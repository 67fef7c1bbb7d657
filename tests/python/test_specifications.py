"""Specifications that say what they check, sampling points, cautions beside a plan."""

from __future__ import annotations

import siltcode
from siltcode import Sample

CLEAN = Sample.of({4: 1000, 6: 200, 14: 10}, "A", per="raw", volume_ml=1)


def test_part_of_a_specification_is_said_to_be_part() -> None:
    score = CLEAN.score("wwfc-diesel")
    assert score.verdict is not None
    assert score.verdict.outcome == "conforms"
    assert score.verdict.limits_checked == "meets the limits checked: 4 um(c), 6 um(c), 14 um(c); the specification has more"
    assert "meets the limits checked" in repr(score)
    assert "the specification has more" in score._repr_html_()
    assert siltcode.spec("wwfc-diesel").partial
    own = CLEAN.score("18/16/13").verdict
    assert own is not None
    assert own.limits_checked is None


def test_limits_of_another_place_are_compared_without_a_verdict() -> None:
    score = CLEAN.score("jet-a1-manufacture")
    assert score.verdict is None
    assert score.comparison is not None
    assert [finding.finding for finding in score.comparison][:3] == ["met", "met", "met"]
    spec = siltcode.spec("jet-a1-manufacture")
    assert spec.compare_only
    assert spec.caveat


def test_the_rule_named_is_the_rule_used() -> None:
    verdict = CLEAN.score("flash-point = \"above 55 degC\"").verdict
    assert verdict is not None
    assert (verdict.rule, verdict.p, verdict.p_missing) == (None, None, "no-particle-limits")
    bare = Sample.of({4: 1000, 6: 200, 14: 10}).score("18/16/13").verdict
    assert bare is not None
    assert bare.p_missing == "no-raw-counts"
    assert bare.rule == "simple acceptance"


def test_grades_of_residual_fuel_have_limits_of_their_own() -> None:
    limits = {name: siltcode.spec(f"iso8217-{name}").requirements[0].limit for name in ("rma", "rmb", "rmd", "rme", "rmg", "rmk")}
    assert limits == {"rma": "25 mg/kg", "rmb": "40 mg/kg", "rmd": "40 mg/kg", "rme": "50 mg/kg", "rmg": "60 mg/kg", "rmk": "60 mg/kg"}
    assert siltcode.spec("en590-diesel").requirements[-1].limit == "above 55 degC"
    assert siltcode.spec("wwfc-diesel-5").status == "UNVERIFIED"


def test_plans_show_their_cautions() -> None:
    job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
    topics = [caution.topic for caution in job.cautions]
    assert {"hydrogen sulphide", "ignition sources", "skin contact", "unattended running"} <= set(topics)
    assert "aviation" not in topics
    page = job._repr_html_()
    assert "take precedence" in page
    assert "hydrogen sulphide" in page
    jet = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
    assert jet.cautions == job.cautions
    assert all(caution.source for caution in job.cautions)
