"""Settling, and a rest before a cleaning, against the formula, SciPy and the golden row."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas
import pint
import pytest
import siltcode
from scipy import constants, integrate
from siltcode import Liquid, Rest, SiltcodeError, passes

if TYPE_CHECKING:
    from conftest import Example

OIL = Liquid("850 kg/m3", "10 mPa.s")
QUARTZ = "2.65 kg/L"


def test_the_golden_row(examples: Callable[[str], dict[str, Example]]) -> None:
    row = examples("tank")["T17"]
    given = row.inputs
    liquid = Liquid(given["rho_f"], f"{given['mu_Pa_s']} Pa.s")
    grain = liquid.settling(given["d_um"], given["rho_p"])
    at = (given["d_um"], given["rho_p"], "1 d", f"{given['H_m']} m")
    found = {
        "v_m_s": grain.speed_mm_per_h / 3.6e6,
        "v_mm_h": grain.speed_mm_per_h,
        "hours_to_fall_H": liquid.hours_over(f"{given['H_m']} m", *at[:2]),
        "Re": grain.reynolds,
        "mean_left_quiescent_24h": liquid.left(*at),
        "mean_left_stirred_24h": liquid.left(*at, stirred=True),
    }
    row.meets(found)


def test_speeds_of_arrays_are_those_of_the_law() -> None:
    um = np.array([[2.0, 5.0, np.nan], [10.0, 20.0, 40.0]])
    density = np.array([1000.0, 2650.0, 800.0])
    law = constants.g * (density - 850.0) * (um * 1e-6) ** 2 / (18 * 0.010) * 3.6e6
    np.testing.assert_allclose(OIL.speed(um, density), law, rtol=1e-12)
    series = OIL.speed(pandas.Series([5.0, 10.0], index=["a", "b"]), 2650)
    assert isinstance(series, pandas.Series)
    assert list(series.index) == ["a", "b"]
    assert OIL.settling(40, 800).speed_mm_per_h == pytest.approx(law[1, 2])


def test_what_is_left_at_rest_is_the_mean_over_the_height() -> None:
    """Each layer is empty of a size once it has fallen out of it: integrated over where particles started."""
    speed = OIL.speed(10, QUARTZ) / 1000
    for hours in (0.0, 5.0, 30.0, 60.0):
        left, _ = integrate.quad(lambda height, fallen: float(height > fallen), 0, 2, args=(speed * hours,), points=[min(2.0, speed * hours)])
        assert OIL.left(10, QUARTZ, hours, 2) == pytest.approx(left / 2, abs=1e-9)
    mixed = integrate.solve_ivp(lambda _, n: -speed / 2 * n, (0, 30), [1.0], rtol=1e-10, atol=1e-12)
    assert OIL.left(10, QUARTZ, 30, 2, stirred=True) == pytest.approx(mixed.y[0, -1], rel=1e-8)


def test_either_viscosity_with_or_without_pint() -> None:
    unit = pint.UnitRegistry()
    expected = OIL.settling(10, QUARTZ)
    density = unit.Quantity(0.85, "g / cm ** 3")
    for viscosity in ("10 cP", "11.764705882352942 cSt", unit.Quantity(0.01, "Pa s"), 10, unit.Quantity(10 / 0.85, "mm ** 2 / s")):
        found = Liquid(density, viscosity).settling(10, unit.Quantity(2650, "kg / m ** 3"))
        assert found.speed_mm_per_h == pytest.approx(expected.speed_mm_per_h, rel=1e-12)
    with pytest.raises(SiltcodeError) as caught:
        Liquid("850 kg/m3", "10 L/min").settling(10, QUARTZ)
    assert caught.value.code == "quantity-unreadable"
    with pytest.raises(SiltcodeError) as caught:
        Liquid(unit.Quantity(1, "m"), 10).settling(10, QUARTZ)
    assert caught.value.code == "quantity-unreadable"


def test_where_the_law_ends() -> None:
    water = Liquid("998 kg/m3", "1 mPa.s")
    with pytest.raises(SiltcodeError) as caught:
        water.speed([10, 500], QUARTZ)
    assert (caught.value.code, caught.value.line) == ("stokes-law-left", 1)
    assert water.hours_over("1 m", 10, 998) == math.inf
    with pytest.raises(SiltcodeError):
        Liquid(0, 1).settling(10, QUARTZ)


def test_a_rest_lowers_the_start() -> None:
    rest = Rest(OIL, QUARTZ, "2 m", "24 h")
    start, beta = {4: 9000.0, 10: 1000.0}, {4: 10, 10: 75}
    job = passes(start, {4: 500, 10: 100}, beta, "18 m3", "60 L/min", rest=rest)
    left = {um: OIL.left(um, QUARTZ, 24, 2) for um in (4, 10)}
    coarse = 1000 * left[10]
    assert job.channels[1].start_per_ml == pytest.approx(coarse)
    assert job.channels[0].start_per_ml == pytest.approx(8000 * left[4] + coarse)
    assert job.turnovers < passes(start, {4: 500, 10: 100}, beta, "18 m3", "60 L/min").turnovers
    assert pickle.loads(pickle.dumps(job)) == job
    assert pickle.loads(pickle.dumps(rest)) == rest
    assert hash(rest) == hash(Rest(OIL, QUARTZ, "2 m", "24 h"))
