"""Turnovers by themselves, transfers, declining flow and flushing, against closed forms and SciPy."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pint
import polars
import pytest
import siltcode
from scipy import integrate, optimize, stats
from siltcode import SiltcodeError, passes

if TYPE_CHECKING:
    from conftest import Example

Examples = Callable[[str], "dict[str, Example]"]
JOB = ("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")


def test_the_golden_rows(examples: Examples) -> None:
    rows = examples("tank")
    given = rows["T07"].inputs
    alike = siltcode.turnovers_like_one_pass(given["beta"]).tolist()
    rows["T07"].meets({"turnovers_equal_to_one_true_pass": alike}, but=["beta_for_which_7_is_exact"])
    given = rows["T14"].inputs
    left = [siltcode.displaced(given["beta"], turnovers) for turnovers in given["turnovers"]]
    rows["T14"].meets({"suction": [each[0] for each in left], "tank_mean": [each[1] for each in left]})
    given = rows["T18"].inputs
    line = (f"{given['Q_gpm']} gpm", f"{given['d_in']} in", f"{given['nu_cSt']} cSt")
    rows["T18"].meets({"Re": siltcode.pipe_reynolds(*line), "turbulent_flush_ok_ge_4000": siltcode.flushes(*line)})
    given = rows["T20"].inputs
    found = {
        "P_never_filtered": (1 - siltcode.passed_at_least(given["turnovers"])).tolist(),
        "P_filtered_at_least_twice": siltcode.passed_at_least(given["turnovers"], 2).tolist(),
    }
    rows["T20"].meets(found, but=["remaining", "remaining_by_sum_beta_minus_N"])
    row = rows["T21"]
    targets = siltcode.range_bounds(np.array(row.inputs["target_code"], np.uint8))[1]
    each = siltcode.turnovers_needed(row.inputs["n0"], targets, row.inputs["beta"])
    row.meets({"turnovers_each": each.tolist(), "turnovers": each.max()}, but=["governing", "hours"])


def test_transfers_of_the_golden_row(examples: Examples) -> None:
    row = examples("tank")["T19"]
    beta = row.inputs["beta"]
    job = passes({14: 1000}, {14: 10}, {14: beta}, "18 m3", "60 L/min")
    found = {
        "remaining_fraction": [job.transferred(n)[14.0] / 1000 for n in row.inputs["transfers"]],
        "well_mixed_turnovers_for_same": [n * siltcode.turnovers_like_one_pass(beta) for n in row.inputs["transfers"]],
    }
    row.meets(found)
    assert job.transfers == 2
    assert passes({14: 1000}, {14: 10}, {14: beta}, "18 m3", "60 L/min", shedding={14: 50}).transfers is None


def test_passages_are_poisson() -> None:
    turnovers = np.array([[0.0, 0.5], [3.0, np.nan]])
    for times in (0, 1, 5):
        expected = np.where(np.isnan(turnovers), np.nan, stats.poisson.sf(times - 1, turnovers))
        np.testing.assert_allclose(siltcode.passed_at_least(turnovers, times), expected, rtol=1e-10)


def test_scenarios_are_swept_as_the_forecast_says() -> None:
    beta = np.array([2.0, 10.0, 75.0])
    ingress = np.array([[0.0], [5.0], [400.0]])
    found = siltcode.turnovers_needed(1000.0, 80.0, beta, ingress)
    efficiency = 1 - 1 / beta
    floor = ingress / efficiency
    with np.errstate(invalid="ignore"):
        expected = np.where(floor < 80, np.log((1000 - floor) / (80 - floor)) / efficiency, np.inf)
    np.testing.assert_allclose(found, expected, rtol=1e-12)
    job = passes({14: 1000}, {14: 80}, {14: 75}, "18 m3", "60 L/min", ingress={14: 1.0})
    assert siltcode.turnovers_needed(1000.0, 80.0, 75, 5.0) == pytest.approx(job.turnovers)
    series = siltcode.turnovers_needed(polars.Series("n", [1000.0, 50.0]), 80.0, 75)
    assert isinstance(series, polars.Series)
    assert series[1] == 0.0
    assert math.isnan(siltcode.turnovers_needed(1000.0, 80.0, 0.5))


@pytest.mark.parametrize("ingress", [0.0, 3.0])
def test_a_declining_flow_solves_the_differential_equation(ingress: float) -> None:
    job = passes({14: 1000}, {14: 80}, {14: 10}, "18 m3", "60 L/min", ingress={14: ingress} if ingress else None)
    end, over = 30.0, 20.0

    def flow(hours: float) -> float:
        return float(np.interp(hours, [0, over], [60.0, end])) * 60 / 18_000  # turnovers an hour

    def count(hours: float) -> float:
        change = integrate.solve_ivp(
            lambda t, n: ingress - 0.9 * flow(t) * n, (0, hours), [1000.0], rtol=1e-10, atol=1e-9, max_step=1.0
        )
        return float(change.y[0, -1])

    expected = optimize.brentq(lambda hours: count(hours) - 80, 1, 60, xtol=1e-9)
    assert job.hours_declining("30 L/min", "20 h") == pytest.approx(expected, rel=1e-7)
    assert job.hours_declining("30 L/min", "20 h") > job.hours
    turnovers, _ = integrate.quad(flow, 0, 30, points=[over])
    assert job.turnovers_declining("30 h", "30 L/min", over) == pytest.approx(turnovers)


def test_a_flow_that_declines_too_far() -> None:
    job = passes({14: 1000}, {14: 80}, {14: 10}, "18 m3", "60 L/min", ingress={14: 10.0})
    assert job.hours_declining("60 L/min", 1) == pytest.approx(job.hours)
    assert job.turnovers_in(job.hours) == pytest.approx(job.turnovers)
    assert job.hours_declining("30 L/min", 1) == math.inf
    with pytest.raises(SiltcodeError) as caught:
        job.hours_declining(0, 1)
    assert caught.value.code == "no-flow"
    with pytest.raises(SiltcodeError) as caught:
        job.hours_declining("70 L/min", 1)
    assert caught.value.code == "decline-rises"


def test_the_suction_of_a_dead_zone_is_cleaner_than_the_tank() -> None:
    job = passes(*JOB, dead_zone=(0.2, 0.1))
    tank, suction = job.path([3.0]), job.path([3.0], at="suction")
    assert suction["4 um(c)"][0] < tank["4 um(c)"][0]
    well = passes(*JOB)
    np.testing.assert_allclose(well.path()["6 um(c)"], well.path(at="suction")["6 um(c)"])


def test_the_largest_doubt_in_words() -> None:
    assert passes(*JOB).advice is None
    job = passes(*JOB, mixing_spread=1.5, start_spread=1.05)
    assert job.advice is not None
    assert job.advice.startswith("mixing is ")
    assert "second sample" in job.advice


def test_flushing_takes_arrays_and_pint() -> None:
    unit = pint.UnitRegistry()
    flows = unit.Quantity(np.array([10.0, 20.0]), "gallon / minute")
    found = siltcode.pipe_reynolds(flows, unit.Quantity(25.4, "mm"), unit.Quantity(10.0, "centistokes"))
    np.testing.assert_allclose(found, [3160.0, 6320.0], rtol=1e-9)
    assert siltcode.flushes(flows, "1 in", "10 cSt").tolist() == [False, True]
    assert siltcode.pipe_reynolds("20 gpm", 0, "10 cSt") == math.inf
    with pytest.raises(SiltcodeError) as caught:
        siltcode.pipe_reynolds("20 gpm", "1 in", "0 cSt")
    assert caught.value.code == "quantity-out-of-range"
