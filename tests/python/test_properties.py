"""Properties that hold for every input."""

from __future__ import annotations

import bisect

import numpy as np
import siltcode
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import stats
from support import cases

UPPER = siltcode.range_bounds(np.arange(29))[1].tolist()
FLOATS = arrays.array_shapes(min_dims=0, max_dims=3, min_side=0)


@cases(200)
@given(arrays.arrays(st.sampled_from([np.float64, np.float32]), FLOATS))
def test_numbers_are_the_tables(values: np.ndarray) -> None:
    def literal(value: float) -> int:
        return bisect.bisect_left(UPPER, value) if value >= 0 else 255

    found = siltcode.range_numbers(values)
    assert found.shape == values.shape
    assert found.ravel().tolist() == [literal(float(value)) for value in values.ravel()]


@cases(200)
@given(st.lists(st.floats(0, 1e8), min_size=3, max_size=3))
def test_a_code_reads_its_own_print(counts: list[float]) -> None:
    n14, n6, n4 = sorted(counts)
    code = siltcode.iso4406(n4, n6, n14)
    assert siltcode.parse_code(str(code)) == code
    assert siltcode.iso4406([n4], [n6], [n14]).tolist() == [str(code)]
    assert code.numbers == tuple(siltcode.range_numbers([n4, n6, n14]))


@cases(100)
@given(arrays.arrays(np.int64, st.integers(1, 8), elements=st.integers(0, 10**7)), st.floats(0.5, 0.999))
def test_intervals_are_scipys(k: np.ndarray, level: float) -> None:
    low, high = siltcode.poisson_interval(k, level)
    risk = (1 - level) / 2
    expected = np.where(k == 0, 0.0, stats.chi2.ppf(risk, 2 * np.maximum(k, 1)) / 2)
    np.testing.assert_allclose(low, expected, rtol=1e-9)
    np.testing.assert_allclose(high, stats.chi2.ppf(1 - risk, 2 * k + 2) / 2, rtol=1e-9)


@cases(50)
@given(st.integers(0, 10**6), st.floats(0.01, 1000.0))
def test_odds_are_those_of_the_gamma_posterior(k: int, volume: float) -> None:
    odds = siltcode.code_odds(k, volume)
    edges = np.array([0.0, *UPPER, np.inf])
    expected = np.diff(stats.gamma(k + 0.5, scale=1 / volume).cdf(edges))
    np.testing.assert_allclose([odds[number] for number in range(30)], expected, atol=2e-6)
