"""Loading of elements beside statsmodels, SciPy and numpy, by simulation, and at its edges."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pandas
import pint
import pytest
import siltcode
import statsmodels.api as sm
from hypothesis import given as given_of
from hypothesis import strategies as st
from scipy import integrate, optimize, stats
from siltcode import Sample, SiltcodeError
from support import cases

#: The exponents n of ``dR/dv = K R**n``.
EXPONENTS = {"cake": 0.0, "intermediate": 1.0, "standard": 1.5, "complete": 2.0}
TIMES = np.array([0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0])
BAR = np.array([0.3, 0.36, 0.47, 0.58, 0.76, 0.95, 1.22])


def _straight(law: str, pressure: np.ndarray) -> np.ndarray:
    power = 1 - EXPONENTS[law]
    return np.log(pressure) if power == 0 else (pressure**power - 1) / power


@pytest.mark.parametrize("law", EXPONENTS)
def test_laws_are_those_of_the_differential_equation(law: str) -> None:
    loading = 0.9
    solved = integrate.solve_ivp(lambda _, r: r ** EXPONENTS[law], (0, loading), [1.0], rtol=1e-10, atol=1e-12)
    assert siltcode.resistance_ratio(law, loading) == pytest.approx(solved.y[0, -1], rel=1e-8)  # type: ignore[arg-type]


@pytest.mark.parametrize("law", EXPONENTS)
def test_fits_and_intervals_are_those_of_statsmodels(law: str) -> None:
    """The line, its criterion, and Fieller's interval as the places where the prediction interval holds the terminal."""
    terminal = 2.2
    due = siltcode.change_out(TIMES, BAR * 100, terminal * 100, axis="time")
    answer = due.under(law)  # type: ignore[arg-type]
    assert answer is not None
    model = sm.OLS(_straight(law, BAR), sm.add_constant(TIMES)).fit()
    intercept, slope = model.params
    target = float(_straight(law, np.array(terminal)))
    assert answer.at == pytest.approx((target - intercept) / slope, rel=1e-9)

    def end(kind: str, place: float) -> float:
        frame = model.get_prediction([[1.0, place]]).summary_frame(alpha=0.05)
        return float(frame[kind].iloc[0]) - target

    for interval, ends in ((answer.mean_line, "mean_ci"), (answer.single_reading, "obs_ci")):
        assert interval is not None
        # the upper limit of the line is the first to reach the terminal pressure
        soonest = optimize.brentq(lambda place, kind=f"{ends}_upper": end(kind, place), 5, 60, xtol=1e-13)
        latest = optimize.brentq(lambda place, kind=f"{ends}_lower": end(kind, place), 5, 60, xtol=1e-13)
        assert interval == pytest.approx((soonest, latest), rel=1e-9)


def test_the_criterion_is_that_of_the_likelihood_of_the_pressures() -> None:
    """Normal about the line once transformed, so with the density of the change of variable."""

    def aic(law: str) -> float:
        fitted = sm.OLS(_straight(law, BAR), sm.add_constant(TIMES)).fit()
        return float(6 - 2 * (fitted.llf - EXPONENTS[law] * np.log(BAR).sum()))

    due = siltcode.change_out(TIMES, BAR * 100, 220, axis="time")
    ours = {answer.law: answer.aic for answer in due.laws}
    theirs = {law: aic(law) for law in EXPONENTS}
    for law in EXPONENTS:
        assert ours[law] - ours["cake"] == pytest.approx(theirs[law] - theirs["cake"], abs=1e-8)
    assert [answer.law for answer in due.laws] == sorted(theirs, key=theirs.__getitem__)
    assert due.spread == (min(answer.at for answer in due.laws), max(answer.at for answer in due.laws))


def test_intervals_cover_the_truth() -> None:
    """2000 series of one line: each interval holds what it speaks of in 95 % of them, within three standard deviations."""
    rng = np.random.default_rng(7)
    place, growth, scatter, runs = 14.0, 0.12, 0.06, 2000
    x = np.arange(9.0)
    held = {"line": 0, "single": 0}
    for _ in range(runs):
        pressures = 20 * np.exp(growth * x + scatter * rng.normal(size=x.size))
        for name, noise in (("line", 0.0), ("single", scatter * rng.normal())):
            due = siltcode.change_out(x, pressures, 20 * math.exp(growth * place + noise)).under("intermediate")
            ends = None if due is None else due.mean_line if name == "line" else due.single_reading
            held[name] += ends is None or ends[0] <= place <= ends[1]
    for covered in held.values():
        assert covered / runs == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / runs))


@cases(60)
@given_of(st.lists(st.floats(10, 100), min_size=4, max_size=10))
def test_falling_is_said_where_the_slope_is_below_nothing(pressures: list[float]) -> None:
    """By the t test of SciPy, of the law that fits best."""
    due = siltcode.change_out(range(len(pressures)), pressures, 500)
    if np.ptp(pressures) < 1e-6 or due.outlook == "too-few":
        return
    best = siltcode.loading_fits(range(len(pressures)), pressures)[0].law
    found = stats.linregress(np.arange(len(pressures)), _straight(best, np.array(pressures)))
    falling = found.pvalue < 0.05 and found.slope < 0
    assert (due.outlook == "falling") == falling or abs(found.pvalue - 0.05) < 1e-9
    if due.outlook == "expected":
        assert due.mean_line is not None and due.at is not None and due.mean_line[0] <= due.at <= due.mean_line[1]


def test_answers_that_are_no_numbers() -> None:
    few = siltcode.change_out([0, 1, 2, 3], [20, 25, 31, 40], "2 bar")
    assert (few.outlook, few.lacking, few.best, few.remaining) == ("too-few", 1, None, None)
    flat = siltcode.change_out(range(6), [20, 20.3, 19.8, 20.1, 20.2, 19.9], "2 bar")
    assert flat.outlook == "no-trend"
    assert flat.growth is not None
    assert flat.growth[0] < 0 < flat.growth[1]
    due = siltcode.change_out([0, 1, 2, 3, 4, 5], [20, math.nan, 31, 39, 0, 62], "150 kPa", axis="time")
    assert due.outlook == "too-few"
    timed = siltcode.change_out(TIMES, BAR, 2.2, axis="time")
    assert timed.note is not None
    assert "as asked for" in timed.note
    assert siltcode.change_out(TIMES, BAR, 2.2).note is None
    assert "17.07" in timed._repr_html_()
    assert pickle.loads(pickle.dumps(timed)) == timed
    passed = siltcode.change_out(TIMES, BAR, 1.0)
    assert passed.remaining == 0.0


def test_pressures_at_rated_flow_of_anything_array_like() -> None:
    unit = pint.UnitRegistry()
    pressure = pandas.Series([20.0, 30.0, 40.0], index=["a", "b", "c"])
    flow = np.array([60.0, 30.0, np.nan])
    found = siltcode.pressure_at_rated(pressure, flow, unit.Quantity(1, "L/s"))
    assert isinstance(found, pandas.Series)
    np.testing.assert_allclose(found, [20, 60, np.nan])
    # a mu Q + b rho Q^2 with a = 3, b = 0.01
    nu, rho, q = np.array([95.0, 32.0]), np.array([870.0, 850.0]), np.array([40.0, 60.0])
    laminar, square = 3 * nu * rho * q, 0.01 * rho * q**2
    fluid = {"viscosity": nu[0], "rated_viscosity": nu[1], "density": rho[0], "rated_density": rho[1]}
    shares = laminar / (laminar + square)
    for share, where in ((shares[0], "reading"), (shares[1], "rated")):
        found = siltcode.pressure_at_rated(laminar[0] + square[0], q[0], q[1], **fluid, laminar=share, laminar_at=where)
        assert found == pytest.approx(laminar[1] + square[1])


def test_what_a_series_says() -> None:
    flow = [60] * 6
    seen = siltcode.watch_element(range(6), [20, 25, 31, 40, 50, 24], flow, 60, siltcode.ChangeRule("1 bar", "2 y"), error=2, age="800 d")
    assert [finding.code for finding in seen.findings] == ["fallen", "due-by-age", "too-few"]
    assert (seen.findings[0].reading, seen.since) == (5, 5)
    assert seen.cautions
    assert all(caution.topic in seen._repr_html_() for caution in seen.cautions)
    unread = siltcode.watch_element([0, 1], [20, 25], [60, None], 60, "last-point", error=1)
    assert [finding.code for finding in unread.findings] == ["too-few", "flow-missing"]
    assert np.isnan(unread.at_rated[1])
    nothing = siltcode.watch_element([], [], [], 60, 100, error=1)
    assert (nothing.findings, nothing.outlook) == ((), None)


def test_caught_between_two_samples_by_numpy() -> None:
    """Each law's own difference, by the trapezoid rule over fine steps."""
    sizes, counts = np.array([4.0, 6.0, 14.0]), {"before": [30000.0, 8500.0, 640.0], "after": [2000.0, 500.0, 40.0]}

    def grams(law: str) -> float:
        x = np.log if law == "power" else lambda um: np.log(um) ** 2
        cubes = dict.fromkeys(counts, 0.0)
        for which, n in counts.items():
            slopes = -np.diff(np.log(n)) / np.diff(x(sizes))
            for i, low in enumerate(sizes):
                um = np.geomspace(low, [*sizes, 50.0][i + 1], 20001)
                above = n[i] * np.exp(-slopes[min(i, 1)] * (x(um) - x(low)))
                cubes[which] += integrate.trapezoid(um**3, -above)
        return (cubes["before"] - cubes["after"]) * math.pi / 6 * 2.65e-6 * 18000 / 1000

    samples = [Sample.of(dict(zip(sizes, n, strict=True))) for n in counts.values()]
    caught = siltcode.captured_mass(*samples, "18 m3", "2.65 kg/L", (0.5, 1), 50, capacity="200 g")
    laws = sorted(grams(law) for law in ("power", "log-log2"))
    assert caught.least_g == pytest.approx(laws[0] / 2, rel=1e-6)
    assert caught.most_g == pytest.approx(laws[1], rel=1e-6)
    assert caught.elements == pytest.approx((caught.least_g / 200, caught.most_g / 200))
    assert any("soft sludge" in note for note in caught.notes)
    risen = siltcode.captured_mass(samples[1], samples[0], "18 m3", "2.65 kg/L", 1, 50)
    assert (risen.most_g, risen.may_have_risen, risen.elements) == (0.0, True, None)


def test_suction_and_its_limits() -> None:
    unit = pint.UnitRegistry()
    read = {"atmosphere": unit.Quantity(1, "bar"), "vapour_pressure": "0.5 kPa"}
    inlet = siltcode.pump_suction("850 kg/m3", **read, vacuum="12 inHg")
    vacuum = 12 * 13595.1 * 9.80665 * 0.0254 / 1000
    assert inlet.vacuum_kpa == pytest.approx(vacuum)
    assert inlet.head_available_m == pytest.approx((99.5 - vacuum) * 1000 / 850 / 9.80665)
    assert (inlet.reserve_kpa, inlet.limit, inlet.in_danger) == (None, None, None)
    pump = {"head_required": "3 m", "margin": unit.Quantity(7, "ft"), "vacuum_rating": "45 kPa"}
    near = siltcode.pump_suction("850 kg/m3", **read, vacuum="12 inHg", **pump)
    assert (near.limit, near.in_danger) == ("vacuum", False)
    assert near.reserve_kpa == pytest.approx(45 - vacuum)
    flooded = siltcode.pump_suction("850 kg/m3", **read, lift="-15 ft", element_drop="100 kPa", **{**pump, "vacuum_rating": None})
    assert (flooded.limit, flooded.in_danger) == ("head", True)
    assert "bubbles" in flooded.note
    np.testing.assert_allclose(siltcode.suction_drop([5.0, np.nan], [12.0, 3.0]), [7, np.nan])


def test_turnovers_of_a_log_by_the_trapezoid_rule() -> None:
    rng = np.random.default_rng(3)
    hours, flow = np.cumsum(rng.uniform(0.2, 2, 30)), rng.uniform(20, 60, 30)
    log = siltcode.turnovers_logged(hours, "18 m3", flow=flow, longest_gap=3)
    np.testing.assert_allclose(log.at[1:], integrate.cumulative_trapezoid(flow * 60, hours) / 18000)
    assert log.turnovers == log.at[-1]
    total = np.where(np.arange(30) % 7 == 0, 100 + 1.1 * np.concatenate([[0], integrate.cumulative_trapezoid(flow * 0.06, hours)]), np.nan)
    metered = siltcode.turnovers_logged(hours, "18 m3", flow=flow, total=total, longest_gap=3)
    np.testing.assert_allclose(metered.at[:29], 1.1 * log.at[:29])
    assert metered.at[29] - metered.at[28] == pytest.approx(log.at[29] - log.at[28])
    gaps = siltcode.turnovers_logged([0, 1, 9], 1, flow=[10, None, 10], longest_gap="2 h").gaps
    assert [gap.turnovers for gap in gaps] == [None, None]


@pytest.mark.parametrize(
    ("call", "code"),
    [
        (lambda: siltcode.resistance_ratio("complete", 1), "loading-law-left"),
        (lambda: siltcode.resistance_ratio("complete", [0.5, 1.5]), "loading-law-left"),
        (lambda: siltcode.resistance_ratio("soft", 1), "quantity-out-of-range"),  # type: ignore[arg-type]
        (lambda: siltcode.loading_at("cake", 0.5), "factor-out-of-range"),
        (lambda: siltcode.capacity_used("cake", 1, 2, 3), "quantity-out-of-range"),
        (lambda: siltcode.pressure_at_rated("8 psi", None, "300 gpm"), "flow-missing"),
        (lambda: siltcode.pressure_at_rated(8, 0, 60), "quantity-out-of-range"),
        (lambda: siltcode.pressure_at_rated(8, 30, 60, laminar=1.2), "share-out-of-range"),
        (lambda: siltcode.pressure_at_rated(8, 30, 60, laminar_at="here"), "quantity-out-of-range"),  # type: ignore[arg-type]
        (lambda: siltcode.change_out([1, 0], [1, 2], 3), "axis-not-rising"),
        (lambda: siltcode.change_out([0, 1], [1, 2, 3], 3), "shapes-differ"),
        (lambda: siltcode.change_out([0, 1], [1, 2], 0), "quantity-out-of-range"),
        (lambda: siltcode.change_out([0, 1], [1, 2], 3, axis="hours"), "quantity-out-of-range"),  # type: ignore[arg-type]
        (lambda: siltcode.loading_fits([0, 1], [1, 2]), "readings-too-few"),
        (lambda: siltcode.change_rule("first"), "quantity-out-of-range"),  # type: ignore[arg-type]
        (lambda: siltcode.watch_element([0], [math.nan], [1], 1, 1, error=1), "quantity-out-of-range"),
        (lambda: siltcode.watch_element([0], [1], [1], 0, 1, error=1), "quantity-out-of-range"),
        (lambda: siltcode.suction_drop(9, 3), "gauges-crossed"),
        (lambda: siltcode.pump_suction(850, atmosphere=100, vacuum=20, lift=1), "suction-given-twice"),
        (lambda: siltcode.pump_suction(850, atmosphere=100, margin=-1), "quantity-out-of-range"),
        (lambda: siltcode.turnovers_logged([1, 1], 1, flow=[1, 1], longest_gap=1), "axis-not-rising"),
        (lambda: siltcode.turnovers_logged([0, 1], 0, flow=[1, 1], longest_gap=1), "quantity-out-of-range"),
    ],
)
def test_what_cannot_be_is_refused(call: object, code: str) -> None:
    with pytest.raises(SiltcodeError) as caught:
        call()  # type: ignore[operator]
    assert caught.value.code == code


def test_an_error_says_its_row() -> None:
    with pytest.raises(SiltcodeError) as caught:
        siltcode.pressure_at_rated([8.0, 8.0], [60.0, 0.0], 60)
    assert caught.value.line == 1
