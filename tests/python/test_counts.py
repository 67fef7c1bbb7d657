"""What lies behind counts: coincidence, posteriors, precision, sequential tests; against SciPy."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest
import siltcode
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats
from siltcode import Counter, Posterior, SiltcodeError
from support import cases


@cases(50)
@given(st.floats(1, 1e5), st.floats(1.1e5, 1e9))
def test_sensing_volumes_hide_and_give_back(truth: float, volumes: float) -> None:
    seen = Counter(sensing_volumes=volumes).of_truth(truth)
    assert seen.observed == pytest.approx(-volumes * math.expm1(-truth / volumes), rel=1e-9)
    assert seen.first_order == pytest.approx(truth - truth**2 / (2 * volumes), rel=1e-9)
    back = Counter(sensing_volumes=volumes).of_observed(seen.observed)
    assert back.truth == pytest.approx(truth, rel=1e-9)
    assert siltcode.coincidence(seen.observed, volumes) == pytest.approx((back.truth, back.loss))


@cases(50)
@given(st.floats(1, 1e4), st.floats(1e-8, 2e-5))
def test_a_dead_time_is_undone_by_lambert_w(observed: float, fraction: float) -> None:
    found = Counter(dead_time=fraction).of_observed(observed)
    assert found.truth == pytest.approx(-special.lambertw(-observed * fraction).real / fraction, rel=1e-9)
    assert found.loss == pytest.approx(1 - observed / found.truth, abs=1e-9)
    assert not found.near_saturation


def test_counters_end_and_are_known_one_way() -> None:
    assert Counter(sensing_volumes=1000).of_truth(1000).near_saturation
    assert pickle.loads(pickle.dumps(Counter(dead_time=1e-5))) == Counter(dead_time=1e-5)
    for counter in (Counter(), Counter(1000, 1e-5), Counter(sensing_volumes=100), Counter(dead_time=1.0)):
        with pytest.raises(SiltcodeError) as caught:
            counter.of_observed(200)
        assert caught.value.code == "quantity-out-of-range"


@pytest.mark.parametrize("k", [0, 3, 50, 4000])
def test_posteriors_are_those_of_jeffreys_and_garwood(k: int) -> None:
    fluid = Posterior(k, "5 mL", dilution=2)
    examined = 2.5
    for per_ml in (0.1, k / examined, 2.0 * k / examined + 1):
        assert fluid.at_most(per_ml) == pytest.approx(stats.gamma.cdf(per_ml * examined, k + 0.5), rel=1e-9)
    low, high = siltcode.poisson_interval(k, 0.9)
    assert fluid.interval(0.9) == pytest.approx((low / examined, high / examined))
    upper = stats.chi2.ppf(0.95, 2 * k + 2) / 2
    lower = stats.chi2.ppf(0.05, 2 * k) / 2 if k else 0.0
    assert fluid.one_sided(0.95) == pytest.approx((lower / examined, upper / examined), rel=1e-9)


def test_scatter_is_a_lognormal_factor() -> None:
    """The distribution of the product of a Gamma and a lognormal, by drawing a million of them."""
    draw = np.random.default_rng(4406)
    factor = np.exp(draw.normal(0, math.sqrt(math.log1p(0.3**2)), 1_000_000))
    drawn = draw.gamma(50.5, size=1_000_000) / 5 * factor
    fluid = Posterior(50, 5.0, scatter=0.3)
    for per_ml in (6.0, 10.0, 15.0):
        assert fluid.at_most(per_ml) == pytest.approx((drawn <= per_ml).mean(), abs=2e-3)
    # Limits are those of Garwood: the lower one of k, the upper one of k + 1.
    low, high = (draw.gamma(shape, size=1_000_000) / 5 * factor for shape in (50, 51))
    limits = np.quantile(low, 0.1), np.quantile(high, 0.9)
    np.testing.assert_allclose(fluid.one_sided(0.9), limits, rtol=5e-3)


@pytest.mark.parametrize(("k1", "k2", "v2"), [(15, 5, 1.0), (40, 38, 2.0), (0, 4, 1.0), (3, 0, 0.5)])
def test_the_e_test_of_scipy(k1: int, k2: int, v2: float) -> None:
    """And all pairs of counts summed by hand, those included that tie but for rounding, which SciPy leaves out."""
    found = siltcode.equal_by_e_test((k1, "1 mL"), (k2, v2))
    assert found == pytest.approx(stats.poisson_means_test(k1, 1, k2, v2).pvalue, rel=0.02)
    one, other = np.arange(200)[:, None], np.arange(200)[None, :]
    with np.errstate(invalid="ignore"):
        deviation = np.nan_to_num(abs(one - other / v2) / np.sqrt(one + other / v2**2))
    pooled = (k1 + k2) / (1 + v2)
    chance = stats.poisson.pmf(one, pooled) * stats.poisson.pmf(other, pooled * v2)
    assert found == pytest.approx(chance[deviation >= deviation[k1, k2] * (1 - 1e-9)].sum(), rel=1e-9)


def test_bounds_of_a_sequential_test_decide_its_steps() -> None:
    for examined in (0.2, 1.0, 5.0, 40.0):
        accept, reject = siltcode.sequential_bounds(examined, 5, 10)
        line = (math.log(19), examined * 5, math.log(2))
        assert reject == pytest.approx((line[0] + line[1]) / line[2])
        if accept is None:
            assert (line[1] - line[0]) / line[2] < 0
        else:
            assert accept == pytest.approx((line[1] - line[0]) / line[2])
            assert siltcode.sequential_step(math.floor(accept), examined, 5, 10) == "accept"
        assert siltcode.sequential_step(math.ceil(reject), examined, 5, 10) == "reject"


def test_precision_by_its_formulas() -> None:
    assert siltcode.expanded_in_numbers(0.1, 400) == pytest.approx(2 * math.hypot(0.1, 0.05) / math.log(2))
    bands = np.array([0.0, 1.0, 1.645, np.nan])
    np.testing.assert_allclose(siltcode.false_accept_at_limit(bands), stats.norm.sf(bands), rtol=1e-9)
    np.testing.assert_allclose(siltcode.nested_correlation([400, 100], 100), [0.5, 1.0])
    with pytest.raises(SiltcodeError) as caught:
        siltcode.nested_correlation(100, 400)
    assert caught.value.code == "count-rises-with-size"
    with pytest.raises(SiltcodeError):
        siltcode.expanded_in_numbers(0.1, 0)
    limits = siltcode.guarded(np.array([640.0, np.nan]), [0.2, 0.3])
    np.testing.assert_allclose(limits, [640 * math.exp(-stats.norm.isf(0.05) * 0.2), np.nan])


def test_tables_and_cautions() -> None:
    names = [table.name for table in siltcode.tables()]
    assert len(names) == len(set(names)) > 10
    for table in siltcode.tables():
        assert table.text.startswith("# title:")
        assert table.standard
    with pytest.raises(SiltcodeError) as caught:
        siltcode.table("unheard-of")
    assert caught.value.code == "table-unknown"
    assert "iso4406" in caught.value.hint
    recalled = [caution for caution in siltcode.cautions() if caution.status == "UNVERIFIED"]
    assert all(str(caution).endswith("(common practice, UNVERIFIED)") for caution in recalled)
    assert siltcode.DEFERENCE.startswith("Local codes")
