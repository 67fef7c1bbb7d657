"""The fall of a job's samples: the golden rows, another optimiser on jobs drawn at random, kinds of input, refusals."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import siltcode
from numpy.typing import NDArray
from scipy import optimize, special, stats
from siltcode import Progress, Sample, SiltcodeError

if TYPE_CHECKING:
    from conftest import Example

Examples = Callable[[str], "dict[str, Example]"]
Given = Mapping[str, Any]
Floats = NDArray[np.float64]


def _job(given: Given, *, floor: bool) -> Progress:
    return siltcode.fit_progress(given["turnovers"], {4: given["counts"]}, given["volume_mL"], floor=floor, scatter=0)


def _remaining(job: Progress, targets: list[float]) -> dict[str, dict[str, float]]:
    def one(target: float) -> dict[str, float]:
        size = job.remaining(target).sizes[0]
        rise = size.against_never / 2
        return {"remaining": size.estimate, "lo": size.low, "hi": size.high, "nll_rise_if_target_is_the_floor": rise}

    return {f"{target:g}": {key: "inf" if math.isinf(end) else end for key, end in one(target).items()} for target in targets}  # type: ignore[misc]


def _without_a_floor(given: Given) -> Given:
    job = _job(given, floor=False)
    fit = job.fits[0]
    likelihood = {"negloglik": -job.ln_likelihood, "deviance": job.deviance, "p_dev": job.p}
    return {"a": fit.above_floor_per_ml, "k": fit.efficiency, **likelihood}


def _with_a_floor(given: Given) -> Given:
    job = _job(given, floor=True)
    fit = job.fits[0]
    assert fit.errors is not None
    errors = {"se": [fit.errors.above_floor, fit.errors.efficiency, fit.errors.floor], "corr_k_c": fit.errors.correlation}
    test = {"LRT_c_eq_0": job.floor_statistic, "p_boundary_mix": job.floor_p}
    curve = {"a": fit.above_floor_per_ml, "k": fit.efficiency, "c": fit.floor_per_ml}
    return {**curve, **errors, **test, "negloglik": -job.ln_likelihood, "deviance": job.deviance}


def _what_remains(given: Given) -> Given:
    return _remaining(_job(given, floor=True), given["targets_per_mL"])


def _bounds(given: Given) -> Given:
    def job(turnovers: list[float], seen: list[Any]) -> Progress:
        return siltcode.fit_progress(turnovers, {4: seen}, given["volume_mL"], floor=False, scatter=0)

    whole = job(given["turnovers"], given["obs"])
    kept = whole.fits[0]
    counts = [(after, seen) for after, seen in zip(given["turnovers"], given["obs"], strict=True) if not isinstance(seen, str)]
    dropped = job([after for after, _ in counts], [seen for _, seen in counts]).fits[0]
    start = dropped.above_floor_per_ml * math.exp(dropped.efficiency * counts[0][0])
    dropping = {"a_dropping_censored": start, "k_dropping_censored": dropped.efficiency}
    return {"a": kept.above_floor_per_ml, "k": kept.efficiency, "negloglik": -whole.ln_likelihood, **dropping}


def _expected(given: Given) -> Given:
    def one(span: str) -> dict[str, float | None]:
        turnovers = np.linspace(0, float(span.removeprefix("0..")), 5)
        errors = siltcode.expected_errors(given["a"], given["k"], given["c"], turnovers, given["volume_mL"])
        assert errors is not None
        return {"rel_se_k": errors.efficiency / given["k"], "se_c": errors.floor, "corr_k_c": errors.correlation}

    return {span: one(span) for span in given["five_equispaced_samples_over"]}


def _slow(given: Given) -> Given:
    found = siltcode.shortfall(given["k_fit"], given["se_k"], 1 / (1 - given["E_spec"]))
    causes = {"bypass_if_all_bypass": found.bypass, "short_circuit_if_all_short": found.short_circuit}
    return {"ratio": found.ratio, **causes, "z": found.z, "p_one_sided": found.p}


def _near_the_floor(given: Given) -> Given:
    job, naive = _job(given, floor=True), _job(given, floor=False)
    targets = given["targets_per_mL"]
    fit, ignored = job.fits[0], naive.fits[0]
    return {
        "a": fit.above_floor_per_ml,
        "k": fit.efficiency,
        "c": fit.floor_per_ml,
        "deviance_with_floor": job.deviance,
        "k_if_floor_ignored": ignored.efficiency,
        "deviance_if_floor_ignored": naive.deviance,
        "p_gof_floor_ignored": naive.p,
        "LRT_c_eq_0": job.floor_statistic,
        "p_boundary_mix": job.floor_p,
        "naive_remaining_no_floor": [naive.remaining(target).estimate for target in targets],
        "remaining": _remaining(job, targets),
    }


#: What each row asks, answered.
ANSWERS: dict[str, Callable[[Given], Given]] = {
    "F01": _without_a_floor,
    "F02": _with_a_floor,
    "F03": _what_remains,
    "F04": _bounds,
    "F05": _expected,
    "F06": _slow,
    "F07": _near_the_floor,
}


def test_every_row_is_answered(examples: Examples) -> None:
    assert set(examples("progress")) == set(ANSWERS)


@pytest.mark.parametrize("id", ANSWERS)
def test_rows(examples: Examples, id: str) -> None:
    row = examples("progress")[id]
    row.meets(ANSWERS[id](row.inputs))


class Invented:
    """A job drawn at random, and its likelihood as SciPy has it."""

    def __init__(self, seed: int) -> None:
        draws = np.random.default_rng(seed)
        self.turnovers = np.sort(draws.uniform(0, 6, draws.integers(4, 8)))
        self.turnovers[[0, -1]] = 0.0, 6.0
        self.volumes = draws.uniform(0.2, 10, self.turnovers.size)
        self.floor = float(draws.choice([0.0, draws.uniform(5, 200)]))
        mean = draws.uniform(1_000, 20_000) * np.exp(-draws.uniform(0.4, 1.2) * self.turnovers) + self.floor
        counts = draws.poisson(self.volumes * mean)
        self.least = np.where(draws.random(counts.size) < 0.2, counts, -1)
        self.least[1:3] = -1
        self.counts = counts

    @property
    def seen(self) -> list[Any]:
        return [f">={least}" if least >= 0 else int(count) for least, count in zip(self.least, self.counts, strict=True)]

    def loss(self, per_ml: Floats) -> float:
        mean = np.maximum(self.volumes * per_ml, 1e-300)
        with np.errstate(divide="ignore"):
            reached = np.log(special.gammainc(np.maximum(self.counts, 1), mean))
        counted = special.xlogy(self.counts, mean) - mean - special.gammaln(self.counts + 1)
        return float(-np.where(self.least >= 0, reached, counted).sum())

    def curve(self, a: float, k: float, c: float) -> Floats:
        return np.asarray(a * np.exp(-k * self.turnovers) + c)

    def best(self) -> float:
        """The least loss that a search from many starts finds."""

        def loss(q: Floats) -> float:
            return self.loss(self.curve(math.exp(q[0]), math.exp(q[1]), q[2] ** 2))

        starts = [(math.log(a), math.log(k), math.sqrt(c)) for a in (1e3, 1e4) for k in (0.3, 0.8) for c in (0.1, 100)]
        return min(_searched(loss, start) for start in starts)

    def through(self, total: float, target: float) -> float:
        """The same among the curves that meet the target after so many turnovers."""

        def loss(q: Floats) -> float:
            k, c = math.exp(q[0]), target / (1 + math.exp(-q[1]))
            return self.loss(self.curve((target - c) * math.exp(k * total), k, c))

        return min(_searched(loss, (math.log(k), c)) for k in (0.3, 0.8) for c in (-9.0, 0.0, 3.0))


def _searched(loss: Callable[[Floats], float], start: tuple[float, ...]) -> float:
    how = {"xatol": 1e-9, "fatol": 1e-10, "maxiter": 4000}
    with np.errstate(over="ignore", invalid="ignore"):
        found = optimize.minimize(loss, start, method="Nelder-Mead", options=how)
        return float(optimize.minimize(loss, found.x, method="Nelder-Mead", options=how).fun)


@pytest.mark.parametrize("seed", range(8))
def test_no_search_finds_a_likelier_curve(seed: int) -> None:
    job = Invented(seed)
    fitted = siltcode.fit_progress(job.turnovers, {4: job.seen}, job.volumes, floor=True, scatter=0)
    fit = fitted.fits[0]
    own = job.loss(job.curve(fit.above_floor_per_ml, fit.efficiency, fit.floor_per_ml))
    assert own == pytest.approx(-fitted.ln_likelihood, abs=1e-6)
    best = job.best()
    assert own == pytest.approx(best, abs=1e-4)
    assert own <= best + 1e-7


@pytest.mark.parametrize("seed", range(8))
def test_the_ends_of_the_interval_are_those_of_another_search(seed: int) -> None:
    job = Invented(seed)
    fitted = siltcode.fit_progress(job.turnovers, {4: job.seen}, job.volumes, floor=True, scatter=0)
    target = 0.35 * fitted.path(6.0)[4][0] + 0.65 * fitted.floor[4]
    size, best = fitted.remaining(float(target)).sizes[0], -fitted.ln_likelihood
    limit = stats.chi2.ppf(0.95, 1) / 2
    for end in (end for end in (size.low, size.high) if 0 < end < math.inf):
        assert job.through(6.0 + end, float(target)) - best == pytest.approx(limit, abs=2e-3), (size, end)
    if size.low == 0:
        assert job.through(6.0, float(target)) - best <= limit
    assert math.isinf(size.high) == (size.against_never < 2 * limit)


def test_kinds_of_input_say_the_same() -> None:
    turnovers: list[int] = [0, 1, 2, 3]
    seen: dict[int, list[Any]] = {4: [9100, 3700, 1500, 610], 14: [300, 110, 41, 16]}
    job = siltcode.fit_progress(turnovers, seen, 2)
    samples = [Sample.of({4: a, 14: b}, per="raw", volume_ml=2) for a, b in zip(*seen.values(), strict=True)]
    assert siltcode.fit_progress(np.array(turnovers), samples).efficiency == job.efficiency
    assert siltcode.fit_progress(turnovers[::-1], {size: column[::-1] for size, column in seen.items()}, ["2 mL"] * 4) == job
    assert pickle.loads(pickle.dumps(job)) == job
    holed = siltcode.fit_progress(turnovers, {**seen, 14: [300, None, math.nan, 16]}, 2)
    assert holed.efficiency[4] == pytest.approx(job.efficiency[4], rel=0.01)  # all sizes are fitted together
    assert holed.efficiency[14] != job.efficiency[14]


def test_a_target_of_any_kind() -> None:
    job = siltcode.fit_progress([0, 1, 2, 3], {4: [91000, 37000, 15000, 6100], 6: [9000, 3600, 1400, 550], 14: [300, 110, 41, 16]}, 1)
    by_code = job.remaining("18/16/13")
    by_counts = job.remaining({4: 2500, 6: 640, 14: 80})
    assert by_code == by_counts
    assert by_code.deciding == "4 um(c)"
    assert "4 um(c)" in by_code._repr_html_()
    assert "efficiency" in job._repr_html_()
    assert any(caution.topic == "static" for caution in by_code.cautions)


def test_what_cannot_be_used_is_refused() -> None:
    def code(*given: Any, **how: Any) -> str:
        with pytest.raises(SiltcodeError) as error:
            siltcode.fit_progress(*given, **how).remaining(100)
        return error.value.code

    assert code([1, 1], {4: [5, 7]}, 1) == "too-few-samples"
    assert code([0, 1], {4: [">=5", ">=7"]}, 1) == "nothing-bounds-above"
    assert code([0, 1], {4: [5, "many"]}, 1) == "count-unreadable"
    assert code([0, 1], {4: [5, 2.5]}, 1) == "raw-not-whole"
    assert code([0, 1], {4: [5, 2]}) == "raw-without-volume"
    assert code([0, 1, 2], {4: [5, 2]}, 1) == "shapes-differ"
    assert code([0, 1], {4: [5, 2], 6: [1]}, 1) == "shapes-differ"
    assert code([0, 1], [Sample.of({4: 900}), Sample.of({4: 400})]) == "volume-unknown"
    with pytest.raises(SiltcodeError) as error:
        siltcode.fit_progress([0, 1], {4: [50, 20]}, 1).remaining({6: 5})
    assert error.value.code == "size-not-sampled"
