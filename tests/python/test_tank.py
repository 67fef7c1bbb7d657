"""Filters and forecasts, against closed forms and a solver of differential equations."""

from __future__ import annotations

import copy
import json
import math
import pickle
from collections.abc import Callable

import numpy as np
import pytest
import siltcode
from scipy import integrate, stats
from siltcode import Beta, Element, SiltcodeError, Stage, Train, passes

Rows = Callable[[str], list[dict[str, str]]]
JOB = ("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")


def test_the_design_example() -> None:
    job = passes(*JOB)
    assert job.reachable
    assert job.deciding == "4 um(c)"
    assert job.hours == pytest.approx(job.turnovers * 18000 / 60 / 60)
    assert job.quantile(0.5) == pytest.approx(job.turnovers)
    assert job.causes is None
    assert [channel.target_per_ml for channel in job.channels] == [2500.0, 640.0, 80.0]
    assert job.path([job.turnovers])["4 um(c)"][0] == pytest.approx(2500.0)
    assert any("no ingress" in assumption for assumption in job.assumptions)


def test_the_path_solves_the_differential_equation() -> None:
    """Each bin: dN/dt = ingress - flow/volume x efficiency x N, solved numerically and summed to channels."""
    start, ingress = {4: 40000.0, 6: 10000.0, 14: 1300.0}, {4: 60.0, 6: 20.0, 14: 2.0}
    beta = Beta({4: 3, 6: 20, 14: 1000})
    job = passes(start, "18/16/13", beta, "18 m3", "60 L/min", ingress=ingress)
    sizes = [4.0, 6.0, 14.0]
    bands = np.array([start[4] - start[6], start[6] - start[14], start[14]])
    entering = np.array([ingress[4] - ingress[6], ingress[6] - ingress[14], ingress[14]])
    held = 1 - 1 / np.array(beta.bins(sizes))
    rate = 60 * 60 / 18000 * held
    hours = np.linspace(0, 40, 9)
    solved = integrate.solve_ivp(
        lambda _, n: entering - rate * n, (0, 40), bands, t_eval=hours, rtol=1e-11, atol=1e-9
    ).y
    path = job.path(hours * 60 * 60 / 18000)
    for i, name in enumerate(("4 um(c)", "6 um(c)", "14 um(c)")):
        np.testing.assert_allclose(path[name], solved[i:].sum(axis=0), rtol=1e-8)
    np.testing.assert_allclose(path["hours"], hours)


def test_turnovers_with_a_perfect_filter_are_the_logarithm(golden: Rows) -> None:
    """Row T01 of the golden file: ln(1 / remaining)."""
    row = next(row for row in golden("tank") if row["id"] == "T01")
    removed = json.loads(row["inputs"])["fraction_removed"]
    job = passes({14: 1000.0}, {14: 1000.0 * (1 - removed)}, Beta({14: 1e12}), 1.0, 1.0)
    exact = json.loads(row["expected"])["turnovers"]
    assert exact / (1 - 1e-3) == pytest.approx(job.turnovers, rel=1e-9)  # kept as "at least 1000"


def test_mixing_doubt_is_lognormal() -> None:
    job = passes(*JOB, mixing=1.2, mixing_spread=1.3)
    nominal = passes(*JOB).turnovers
    for p in (0.1, 0.5, 0.9):
        expected = 1.2 * nominal * math.exp(stats.norm.ppf(p) * math.log(1.3))
        assert job.quantile(p) == pytest.approx(expected, rel=1e-6)
        assert job.clean_after(expected) == pytest.approx(p, abs=1e-6)
    after = job.clean_after(np.array([0.0, 5.0, 50.0]))
    assert (np.diff(after) > 0).all()


def test_a_mixing_factor_is_in_every_figure() -> None:
    plain, slowed = passes(*JOB), passes(*JOB, mixing=1.5)
    assert slowed.turnovers == pytest.approx(1.5 * plain.turnovers)
    assert slowed.hours == pytest.approx(1.5 * plain.hours)
    assert slowed.nominal == pytest.approx(plain.turnovers) == pytest.approx(plain.nominal)
    assert slowed.quantile(0.5) == pytest.approx(slowed.turnovers)
    assert [channel.turnovers for channel in slowed.channels] == pytest.approx([1.5 * (channel.turnovers or 0) for channel in plain.channels])
    ends = [job.path([job.turnovers])["4 um(c)"][0] for job in (plain, slowed)]
    assert ends[1] == pytest.approx(ends[0])
    assert slowed.hours_declining("59 L/min", "1000 h") == pytest.approx(1.5 * plain.hours_declining("59 L/min", "1000 h"), rel=1e-3)


def test_one_figure_of_a_data_sheet_leaves_a_range() -> None:
    job = passes("22/20/17", "18/16/13", {5: 200}, "18 m3", "60 L/min")
    assert job.reachable is None
    assert job.turnovers == math.inf
    assert 2.7 < job.at_best_rating < 2.9
    assert "at least 2.79" in repr(job)
    bound = passes("22/20/17", {6: 640, 14: 80}, {5: 20}, "18 m3", "60 L/min")
    assert bound.reachable
    assert bound.at_best_rating < bound.turnovers
    nothing = passes("22/20/17", "18/16/13", {4: 1, 6: 1, 14: 1}, "18 m3", "60 L/min")
    assert nothing.reachable is False
    rough = passes("22/20/17", "18/16/13", "4:1..75,6:75,14:75", "18 m3", "60 L/min")
    assert rough.reachable is None


def test_an_element_without_a_ratio_is_an_error() -> None:
    train = siltcode.Train.of(siltcode.Element(None, "60 L/min", "bag"))
    with pytest.raises(SiltcodeError) as caught:
        passes("22/20/17", "18/16/13", train, 18, 60)
    assert caught.value.code == "beta-missing"


def test_limits_that_were_not_read_are_unverified() -> None:
    job = passes("22/20/17", "wwfc-diesel-5", {4: 3, 6: 20, 14: 1000}, 18, 60)
    assert job.unverified
    assert "UNVERIFIED" in repr(job)
    assert "UNVERIFIED" in job.assumptions[0]
    assert "UNVERIFIED" in job._repr_html_()
    assert not passes(*JOB).unverified


def test_doubt_of_several_causes_shares_the_variance() -> None:
    job = passes(*JOB, beta_spread=1.5, start_spread=1.3, mixing_spread=1.2)
    assert job.causes is not None
    assert sum(job.causes.values()) == pytest.approx(1.0)
    assert job.quantile(0.9) > job.quantile(0.5) > job.quantile(0.1)


def test_what_cannot_be_reached_says_what_would_help() -> None:
    job = passes(*JOB, ingress={4: 3000, 6: 900, 14: 10})
    assert not job.reachable
    assert job.turnovers == job.hours == math.inf
    assert job.quantile(0.5) == math.inf
    stuck = next(channel for channel in job.channels if channel.turnovers is None)
    assert stuck.floor_per_ml > stuck.target_per_ml
    assert stuck.remedy is not None
    assert stuck.remedy.ingress_share is not None
    eased = passes(*JOB, ingress={um: n * stuck.remedy.ingress_share * 0.9 for um, n in {4: 3000, 6: 900, 14: 10}.items()})
    assert eased.reachable


def test_the_questions_the_other_way_round() -> None:
    job = passes(*JOB)
    needed = job.beta_for(job.turnovers)
    again = passes(*JOB[:2], {4: needed[4.0]}, *JOB[3:])
    assert again.channels[0].turnovers == pytest.approx(job.turnovers, rel=1e-6)
    assert job.beta_for(1.0)[4.0] is None
    flow = job.flow_for("8 h")
    assert flow is not None
    assert passes(*JOB[:4], flow).hours == pytest.approx(8.0)
    assert str(job.code_after(job.turnovers * 1.0001)).startswith("18/")
    assert str(job.code_after(0)) == "22/20/17"


def test_starts_and_targets_of_every_kind() -> None:
    bottle = siltcode.Sample.of({4: 40000, 6: 10000, 14: 1300})
    nominal = passes(*JOB).turnovers
    spec = siltcode.spec('code = "18/16/13"\nwater = "200 mg/kg"')
    for start in ("22/20/17", siltcode.parse_code("22/20/17"), bottle, {4: 40000, 6: 10000, 14: 1300}):
        for target in ("18/16/13", spec, {4: 2500, 6: 640, 14: 80}):
            assert passes(start, target, *JOB[2:]).turnovers == pytest.approx(nominal)
    assert passes(*JOB, margin=2).turnovers > nominal
    assert passes(*JOB, bypass=0.1).turnovers > nominal
    assert passes(*JOB, short_circuit=0.3).turnovers > nominal
    assert passes(*JOB, dead_zone=(0.2, 0.05)).turnovers > nominal
    assert passes(*JOB, cells=10).turnovers < nominal


def test_units() -> None:
    nominal = passes(*JOB)
    for tank, flow in (("18000 L", "3.6 m3/h"), (18, 60), (18.0, "1 L/s")):
        assert passes(*JOB[:3], tank, flow).hours == pytest.approx(nominal.hours)


def test_quantities_of_pint() -> None:
    pint = pytest.importorskip("pint")
    unit = pint.UnitRegistry()
    assert passes(*JOB[:3], 18 * unit.meter**3, 60 * unit.liter / unit.minute).hours == passes(*JOB).hours
    assert str(siltcode.iso4406(raw=(1752, 517, 55), volume_ml=1 * unit.milliliter)) == "18/16/13"
    assert siltcode.code_odds([50], 5e-3 * unit.liter)[0, 10] == pytest.approx(siltcode.code_odds(50, 5)[10])


def test_a_train_is_worked_out_bin_by_bin() -> None:
    coarse, fine = Beta("4:1.5,6:2,14:20"), Beta("4:10,6:200,14:1000")
    train = Train.of(Element(coarse, "60 L/min", "bag"), Element(fine, "60 L/min"))
    sizes = [4, 6, 14]
    passed = 1 / (np.array(coarse.bins(sizes)) * np.array(fine.bins(sizes)))
    np.testing.assert_allclose(train.efficiencies(sizes), 1 - passed, rtol=1e-12)
    assert passes(*JOB[:2], train, *JOB[3:]).turnovers < passes(*JOB[:2], fine, *JOB[3:]).turnovers
    low, high = train.efficiency(4)
    assert low <= high
    side = Train.of([Element(fine, "60 L/min"), Element(None, "20 L/min", "empty-housing")])
    assert side.ceiling == pytest.approx(4.0)
    assert Train.of(Element(fine, "60 L/min", flow="90 L/min")).overloaded
    leaky = Train.of(Stage((Element(fine, "60 L/min"),), leak=0.01), bypass=0.02)
    assert leaky.efficiencies(sizes)[2] < train.efficiencies(sizes)[2]


def test_what_is_known_of_a_ratio() -> None:
    beta = Beta({5: 10, 7: 200})
    known = {um: beta.at(um).known for um in (4, 5, 6, 7, 8)}
    assert known == {4: "at most", 5: "rated", 6: "between", 7: "rated", 8: "at least"}
    assert Beta({10: (2, 20)}).at(10).known == "within"
    assert Beta("5:10,7:200") == beta
    assert Beta({4: 1.23456789}).rated[4.0] == (1.23456789, 1.23456789)
    assert Beta({4: 5000}).rated[4.0] == (1000.0, math.inf)


def test_golden_ratio_from_counts(golden: Rows) -> None:
    row = next(row for row in golden("beta") if row["id"] == "B03")
    given, expected = json.loads(row["inputs"]), json.loads(row["expected"])
    found = siltcode.measured_beta([given["N_up"]], [given["N_down"]], 1.0)
    assert found.ratio == expected["beta"]
    assert found.interval[0] < found.ratio < found.interval[1]


def test_copies() -> None:
    train = Train.of(Element(Beta("4:10"), "60 L/min"))
    for value in (passes(*JOB), Beta("4:3,14:100"), train, passes(*JOB[:2], train, *JOB[3:])):
        for again in (pickle.loads(pickle.dumps(value)), copy.deepcopy(value)):
            assert again == value
            assert hash(again) == hash(value)
    assert "Passes" in repr(passes(*JOB))
    assert "<table" in passes(*JOB)._repr_html_()
    assert "<table" in Beta("4:3")._repr_html_()


@pytest.mark.parametrize(
    ("args", "named", "code"),
    [
        (("22/20/17", "18/16/13", {4: 0.5}, 18, 60), {}, "beta-below-one"),
        (("22/20/17", "18/16/13", {}, 18, 60), {}, "beta-unreadable"),
        (("22/20/17", "18/16/13", {4: 3}, "18", 60), {}, "quantity-unreadable"),
        (("22/20/17", "18/16/13", {4: 3}, "18.000 L", 60), {}, "quantity-ambiguous"),
        (("22/20/17", "18/16/13", {4: 3}, 18, 0), {}, "no-flow"),
        (({4: 100.0}, "18/16/13", {4: 3}, 18, 60), {}, "start-missing"),
        (("*/20/17", "18/16/13", {4: 3}, 18, 60), {}, "start-unbounded"),
        (("22/20", "nothing", {4: 3}, 18, 60), {}, "spec-unknown"),
        (("wwfc-diesel", "18/16/13", {4: 3}, 18, 60), {}, "code-unreadable"),
        (("22/20/17", "18/16/13", {4: 3}, 18, 60), {"bypass": 1.0}, "share-out-of-range"),
        (("22/20/17", "18/16/13", {4: 3}, 18, 60), {"beta_spread": 0.5}, "factor-out-of-range"),
        (("22/20/17", "18/16/13", {4: 3}, 18, 60), {"ingress": {4: -1}}, "count-not-finite"),
    ],
)
def test_bad_input(args: tuple[object, ...], named: dict[str, object], code: str) -> None:
    with pytest.raises(SiltcodeError) as caught:
        passes(*args, **named)  # type: ignore[arg-type]
    assert caught.value.code == code
