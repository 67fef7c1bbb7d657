"""Bins of a job fitted together, against the same likelihood written with SciPy and searched by its optimisers."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import siltcode
from numpy.typing import NDArray
from scipy import optimize, special, stats

Floats = NDArray[np.float64]

SIZES = (4, 6, 14)
RATING = {4: 3.0, 6: 20.0, 14: 1000.0}
#: Our choices, as they are written in the library: how well a tank's factor and the elements' ratios are known.
TANK, RATIO, LEAST = 0.2, 0.4, 0.05


class Invented:
    """A job of three bins drawn at random, and its likelihood as SciPy has it."""

    def __init__(self, seed: int, *, cv: float, rated: bool, own: float = 0.0) -> None:
        draws = np.random.default_rng(seed)
        self.cv, self.own, self.rated = cv, own, rated
        self.scatter = (cv, own) if cv or own else 0.0
        self.turnovers = np.linspace(0, draws.uniform(3, 6), int(draws.integers(5, 9)))
        self.volume = float(draws.choice([0.5, 2.0, 10.0]))
        rates = np.array([0.57, 0.946, 0.999]) * math.exp(0.15 * draws.normal()) * np.exp(0.05 * draws.normal(size=3))
        floors = draws.choice([0.0, 1.0]) * np.array([120.0, 30.0, 10.0]) * draws.uniform(0.3, 1, 3)
        mean = np.array([15000.0, 4600.0, 400.0])[:, None] * np.exp(-rates[:, None] * self.turnovers) + floors[:, None]
        bottle = draws.gamma(1 / cv**2, cv**2, self.turnovers.size) if cv else np.ones(self.turnovers.size)
        each = draws.gamma(1 / own**2, own**2, mean.shape) if own else 1.0
        self.bins = draws.poisson(self.volume * mean * bottle * each)

    def fit(self) -> siltcode.Progress:
        above = self.bins[::-1].cumsum(axis=0)[::-1]
        counts = {size: [int(count) for count in row] for size, row in zip(SIZES, above, strict=True)}
        expected = RATING if self.rated else None
        return siltcode.fit_progress(self.turnovers, counts, self.volume, floor=True, scatter=self.scatter, expected=expected)

    def ln_likelihood(self, q: Floats, expected: Floats | None) -> float:
        """Of heights, rates (both as logarithms) and floors, with what was known of the elements beforehand."""
        a, k, c = np.exp(q[:3]), np.exp(q[3:6]), q[6:]
        mean = self.volume * (a[:, None] * np.exp(-k[:, None] * self.turnovers) + c[:, None])
        if np.any(mean <= 0):
            return -1e12
        if self.own:
            return self._own(mean) + self._known(q, expected)
        total, count = mean.sum(axis=0), self.bins.sum(axis=0)
        shares = special.xlogy(self.bins, mean / total).sum() - special.gammaln(self.bins + 1).sum() + special.gammaln(count + 1).sum()
        if self.cv:
            r = 1 / self.cv**2
            totals = stats.nbinom.logpmf(count, r, r / (r + total)).sum()
        else:
            totals = stats.poisson.logpmf(count, total).sum()
        return float(shares + totals) + self._known(q, expected)

    def _own(self, mean: Floats) -> float:
        """Of bins with a factor each, at counts that are negative binomial about it; no factor that a bottle's sizes share."""
        r = 1 / self.own**2
        return float(stats.nbinom.logpmf(self.bins, r, r / (r + mean)).sum())

    def _known(self, q: Floats, expected: Floats | None) -> float:
        if expected is None:
            return 0.0
        own = np.hypot(RATIO * (1 - expected), LEAST)
        spread = np.diag(own**2) + TANK**2
        off = q[3:6] - np.log(expected)
        return float(-0.5 * off @ np.linalg.solve(spread, off))

    def through(self, q: Floats, total: float) -> float:
        return float((np.exp(q[:3] - np.exp(q[3:6]) * total) + q[6:]).sum())


def _numbers(job: siltcode.Progress) -> Floats:
    fits = job.fits
    heights, rates = [fit.above_floor_per_ml for fit in fits], [fit.efficiency for fit in fits]
    return np.array([*np.log(heights), *np.log(rates), *(fit.floor_per_ml for fit in fits)])


BOUNDS = [(-9.0, 15.0)] * 3 + [(-9.0, 2.5)] * 3 + [(0.0, 1e3)] * 3


def _best(job: Invented, start: Floats, expected: Floats | None, total: float | None = None, target: float = 0.0) -> float:
    """The most likely numbers near a start, all or those that meet the target after so many turnovers."""
    scale = np.array([1.0] * 6 + [100.0] * 3)

    def loss(x: Floats) -> float:
        return -job.ln_likelihood(x * scale, expected)

    meets: list[Any] = [{"type": "eq", "fun": lambda x: math.log(job.through(x * scale, total) / target)}] if total is not None else []
    x, best = start / scale, -math.inf
    for _ in range(4):
        found = optimize.minimize(loss, x, method="SLSQP", bounds=BOUNDS, constraints=meets, options={"maxiter": 500, "ftol": 1e-13})
        x = found.x
        is_met = total is None or abs(meets[0]["fun"](x)) < 1e-7
        best = max(best, -loss(x)) if is_met else best
    return best


@pytest.mark.parametrize("cv", [0.0, 0.05, 0.15])
@pytest.mark.parametrize("seed", range(4))
def test_the_likelihood_is_that_of_scipy_and_no_search_finds_more(seed: int, cv: float) -> None:
    job = Invented(seed, cv=cv, rated=False)
    fitted = job.fit()
    numbers = _numbers(fitted)
    own = job.ln_likelihood(numbers, None)
    assert own == pytest.approx(fitted.ln_likelihood, abs=1e-5)
    draws = np.random.default_rng(seed)
    for _ in range(3):
        start = numbers + np.concatenate([draws.normal(0, 0.1, 6), draws.uniform(0, 20, 3)])
        assert _best(job, start, None) <= own + 1e-4


@pytest.mark.parametrize("own", [0.05, 0.15])
@pytest.mark.parametrize("seed", range(3))
def test_bins_that_scatter_by_themselves_are_negative_binomial(seed: int, own: float) -> None:
    job = Invented(seed, cv=0.0, rated=False, own=own)
    fitted = job.fit()
    numbers = _numbers(fitted)
    there = job.ln_likelihood(numbers, None)
    assert there == pytest.approx(fitted.ln_likelihood, abs=1e-5)
    assert _best(job, numbers, None) <= there + 1e-4


@pytest.mark.parametrize("seed", range(3))
def test_both_parts_of_the_scatter_are_about_an_integral_over_the_shared_factor(seed: int) -> None:
    cv, own = 0.1, 0.05
    job = Invented(seed, cv=cv, rated=False, own=own)
    fitted = job.fit()
    numbers = _numbers(fitted)
    a, k, c = np.exp(numbers[:3]), np.exp(numbers[3:6]), numbers[6:]
    mean = job.volume * (a[:, None] * np.exp(-k[:, None] * job.turnovers) + c[:, None])
    factors, step = np.linspace(0.3, 2.0, 20_001, retstep=True)
    r = 1 / own**2
    whole = 0.0
    for there, seen in zip(mean.T, job.bins.T, strict=True):
        met = there[:, None] * factors
        ln = stats.nbinom.logpmf(seen[:, None], r, r / (r + met)).sum(axis=0) + stats.gamma.logpdf(factors, 1 / cv**2, scale=cv**2)
        whole += float(special.logsumexp(ln)) + math.log(step)
    assert fitted.ln_likelihood == pytest.approx(whole, abs=0.1)


@pytest.mark.parametrize("cv", [0.0, 0.05])
@pytest.mark.parametrize("seed", range(4))
def test_the_ends_of_the_interval_are_those_of_another_search(seed: int, cv: float) -> None:
    job = Invented(seed, cv=cv, rated=False)
    fitted = job.fit()
    numbers, last = _numbers(fitted), float(job.turnovers[-1])
    now, floor = fitted.fits[0].now_per_ml, sum(fitted.floor.values())
    target = floor + 0.3 * (now - floor)
    left = fitted.remaining({4: target}).sizes[0]
    limit = stats.chi2.ppf(0.95, 1) / 2
    for end in (end for end in (left.low, left.high) if 0 < end < math.inf):
        there = _best(job, numbers, None, last + end, target)
        assert fitted.ln_likelihood - there == pytest.approx(limit, abs=5e-3), (left, end)


def test_known_elements_tie_the_bins_as_they_are_said_to() -> None:
    job = Invented(3, cv=0.05, rated=True)
    fitted = job.fit()
    expected = 1 - 1 / np.asarray(siltcode.Beta(RATING).bins(SIZES))
    own = job.ln_likelihood(_numbers(fitted), expected)
    assert own == pytest.approx(fitted.ln_likelihood, abs=1e-5)
    assert _best(job, _numbers(fitted), expected) <= own + 1e-4


def test_samples_of_our_own_forecast_give_its_turnovers() -> None:
    path = siltcode.passes({4: 20_000, 6: 5_000, 14: 400}, {4: 160, 6: 40, 14: 10}, "4:3,6:20,14:1000", "18 m3", "60 L/min")
    after = np.arange(6.0)
    along = path.path(after)
    counts = {size: [round(float(per_ml) * 1e5) for per_ml in along[f"{size} um(c)"]] for size in SIZES}
    left = siltcode.fit_progress(after, counts, "100 L").remaining({4: 160, 6: 40, 14: 10})
    assert left.estimate == pytest.approx(path.turnovers - 5, rel=0.01)
    assert left.low <= left.estimate <= left.high


def test_stages_of_elements() -> None:
    rates = np.array([0.3, 0.3, 0.9, 0.9])
    mean = 20_000 * np.exp(-np.concatenate([[0], rates.cumsum()]))
    counts = {4: [round(10 * per_ml) for per_ml in mean]}
    job = siltcode.fit_progress(range(5), counts, 10, scatter=0, stages=[(0, None), (2, None)])
    assert job.fits[0].efficiencies == pytest.approx((0.3, 0.9), rel=0.02)
    assert job.remaining(100).estimate == pytest.approx(math.log(mean[-1] / 100) / 0.9, rel=0.05)
