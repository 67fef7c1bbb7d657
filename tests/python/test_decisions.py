"""Verdicts, comparisons and plans, against SciPy and statsmodels."""

from __future__ import annotations

import copy
import pickle

import numpy as np
import pytest
import siltcode
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from siltcode import SiltcodeError
from statsmodels.stats import rates
from support import cases


@cases(100)
@given(st.lists(st.integers(0, 5000), min_size=2, max_size=8).filter(any))
def test_dispersion_is_that_of_scipy(k: list[int]) -> None:
    found = siltcode.agreement(k)
    assert found is not None
    expected = stats.chisquare(k)
    assert found.statistic == pytest.approx(expected.statistic, rel=1e-9, abs=1e-9)
    assert found.p_scattered == pytest.approx(expected.pvalue, rel=1e-7, abs=1e-12)
    assert found.index == pytest.approx(np.var(k, ddof=1) / np.mean(k), rel=1e-9, abs=1e-9)


def test_agreement_of_nothing() -> None:
    assert siltcode.agreement([5]) is None
    assert siltcode.agreement([0, 0]) is None
    falling = siltcode.agreement([410, 350, 280], volume_ml="10 mL")
    assert falling is not None
    assert falling.direction == "falling"
    assert falling.spread > falling.allowed


@cases(60)
@given(st.integers(0, 400), st.integers(1, 400), st.floats(0.1, 10.0), st.floats(0.1, 10.0))
def test_ratio_of_counts_is_the_exact_one(k1: int, k2: int, v1: float, v2: float) -> None:
    found = siltcode.compare((k1, v1), (k2, v2))
    test = stats.binomtest(k1, k1 + k2, v1 / (v1 + v2))
    ends = test.proportion_ci(0.95, "exact")
    expected = [p / (1 - p) * v2 / v1 if p < 1 else np.inf for p in (ends.low, ends.high)]
    np.testing.assert_allclose(found.interval, expected, rtol=1e-7)
    both = 2 * min(stats.binom.cdf(k1, k1 + k2, v1 / (v1 + v2)), stats.binom.sf(k1 - 1, k1 + k2, v1 / (v1 + v2)))
    assert found.p_equal == pytest.approx(min(1.0, both), rel=1e-7, abs=1e-12)


@pytest.mark.parametrize(("k1", "k2"), [(100, 64), (5, 15), (40, 40)])
def test_counts_compared_as_statsmodels_does(k1: int, k2: int) -> None:
    """The exact conditional test, of twice the smaller tail here and of all smaller chances there: close, not equal."""
    expected = rates.test_poisson_2indep(k1, 1, k2, 1, method="exact-cond").pvalue
    assert siltcode.compare((k1, 1), (k2, 1)).p_equal == pytest.approx(expected, rel=0.1)


@pytest.mark.parametrize("k", [0, 1, 10, 250])
def test_intervals_of_statsmodels(k: int) -> None:
    low, high = rates.confint_poisson(k, 1, method="exact-c")
    found = siltcode.poisson_interval(k)
    assert found == pytest.approx((0.0 if k == 0 else low, high), rel=1e-9)


@cases(60)
@given(st.integers(0, 300), st.floats(0.5, 300.0))
def test_one_size_conforms_with_the_gamma_probability(k: int, limit: float) -> None:
    bottle = siltcode.Sample.of({14: k}, per="raw", volume_ml=1)
    decision = siltcode.decide(bottle, {14: limit})
    expected = stats.gamma(k + 1).cdf(limit)
    assert decision.p == pytest.approx(expected, abs=1e-9)
    assert decision.outcome == ("conforms" if expected >= 0.95 else "does not conform" if expected <= 0.05 else "undecided")
    assert decision.false_accept == pytest.approx(1 - expected, abs=1e-9)


def test_several_sizes_conform_together_as_often_as_simulated() -> None:
    """Independent bins, the largest Gamma(k + 1), the others Gamma(k), summed: two million draws of a fixed seed."""
    counts, limits = {4: 95, 6: 25, 14: 3}, {4: 125.0, 6: 32.0, 14: 4.0}
    rng = np.random.default_rng(106)
    bins = [rng.gamma(shape, size=2_000_000) for shape in (95 - 25, 25 - 3, 3 + 1)]
    met = (bins[2] <= 4) & (bins[1] + bins[2] <= 32) & (sum(bins) <= 125)
    decision = siltcode.decide(siltcode.Sample.of(counts, per="raw", volume_ml=1), limits)
    assert decision.p == pytest.approx(met.mean(), abs=4 * np.sqrt(0.25 / 2e6))


def test_rules() -> None:
    bottle = siltcode.Sample.of({14: 70}, per="raw", volume_ml=1)
    outcomes = {rule: siltcode.decide(bottle, {14: 80}, rule).outcome for rule in ("simple-acceptance", "guard-band")}  # type: ignore[arg-type]
    assert outcomes == {"simple-acceptance": "conforms", "guard-band": "undecided"}
    assert siltcode.decide(bottle, {14: 80}, level=0.8).outcome == "conforms"
    assert siltcode.decide(siltcode.Sample.of({14: 70}), {14: 80}).p is None
    assert siltcode.decide(bottle, {21: 10}).settle == "count 21 um(c)"


@pytest.mark.parametrize("limit", [1.3, 80.0])
def test_plans_hold_what_they_promise(limit: float) -> None:
    plan = siltcode.plan_volume(limit, limit / 2)
    assert stats.poisson.cdf(plan.most_to_accept, limit * plan.volume_ml) <= 0.05 + 1e-12
    assert stats.poisson.cdf(plan.most_to_accept, limit / 2 * plan.volume_ml) == pytest.approx(plan.power, rel=1e-9)
    assert plan.power >= 0.9
    assert siltcode.most_to_accept(limit * plan.volume_ml * (1 + 1e-9)) == plan.most_to_accept


def test_corrections() -> None:
    found = siltcode.diluted(4, 400, "1 mL", 20, dilution_cv=0.02)
    assert found.uncertainty / found.per_ml == pytest.approx(np.hypot(1 / np.sqrt(400), 0.02), rel=1e-2)
    net = siltcode.less_blank(4, (100, 1), (36, 1))
    assert net.interval_per_ml[0] < 64.0 < net.interval_per_ml[1]
    assert siltcode.less_blank(4, (10, 1), (36, 1)).per_ml is None
    limits = siltcode.guarded(np.array([640.0, 80.0]), 0.2)
    np.testing.assert_allclose(limits, np.array([640, 80]) * np.exp(-stats.norm.ppf(0.95) * 0.2))
    sd, difference = siltcode.in_numbers(0.2)
    assert difference / sd == pytest.approx(np.sqrt(2) * stats.norm.ppf(0.975))


def test_results_are_values() -> None:
    bottle = siltcode.Sample.of({14: 70}, per="raw", volume_ml=1)
    values = [siltcode.decide(bottle, {14: 80}), siltcode.agreement([1, 2]), siltcode.compare((1, 1), (2, 1))]
    for value in values:
        for again in (pickle.loads(pickle.dumps(value)), copy.deepcopy(value)):
            assert again == value
            assert hash(again) == hash(value)
    assert "undecided" in siltcode.decide(bottle, {14: 80})._repr_html_()


def test_bad_input() -> None:
    bottle = siltcode.Sample.of({14: 70}, per="raw", volume_ml=1)
    for call, code in [
        (lambda: siltcode.decide(bottle, {14: 80}, "fair"), "quantity-out-of-range"),  # type: ignore[arg-type]
        (lambda: siltcode.decide(bottle, {14: -1}), "count-not-finite"),
        (lambda: siltcode.decide(bottle, {14: 80}, level=95), "level-out-of-range"),
        (lambda: siltcode.plan_volume(1.0, 2.0), "quantity-out-of-range"),
        (lambda: siltcode.compare((1.5, 1), (1, 1)), "raw-not-whole"),
        (lambda: siltcode.agreement([1, 2], volume_ml=0), "volume-not-positive"),
        (lambda: siltcode.diluted(4, 1, 1, 20, blank_per_ml=100), "blank-above-sample"),
        (lambda: siltcode.coincidence(2e5, 1e5), "quantity-out-of-range"),
    ]:
        with pytest.raises(SiltcodeError) as caught:
            call()
        assert caught.value.code == code
