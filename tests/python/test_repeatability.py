"""Run-to-run variation: intervals of pooled runs against SciPy, and how it is stated."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas
import pytest
import siltcode
from scipy import optimize, stats
from siltcode import SiltcodeError, score_frame

Rows = Callable[[str], list[dict[str, Any]]]


def _end(shape: float, log_sd: float, degrees: float, p: float) -> float:
    """Where a gamma variable times a factor of Student's tails has this probability below it, by a sum over fine steps."""
    y = np.linspace(-45.0, 45.0, 60_001)
    t = np.sqrt(degrees) * np.sinh(y / np.sqrt(degrees) if degrees > 1 else y)
    weight = np.gradient(stats.t(degrees).cdf(t))

    def miss(ln_x: float) -> float:
        with np.errstate(over="ignore"):
            return float((weight * stats.gamma.cdf(np.exp(ln_x - log_sd * t), shape)).sum() - p)

    middle = np.log(shape)
    return float(np.exp(optimize.brentq(miss, middle - 40 * log_sd - 3, middle + 40 * log_sd + 3)))


def _frame(bottles: list[list[int]], volumes: list[list[float]]) -> pandas.DataFrame:
    rows = [
        {"bottle": f"b{i}", "n4": raw, "mL": ml}
        for i, (runs, each) in enumerate(zip(bottles, volumes, strict=True))
        for raw, ml in zip(runs, each, strict=True)
    ]
    return pandas.DataFrame(rows)


def test_intervals_of_pooled_runs(golden: Rows) -> None:
    compared = 0
    for row in golden("repeatability"):
        given, known = json.loads(row["inputs"]), json.loads(row["expected"])
        frame = _frame(given["runs"], given["volumes_ml"])
        found = score_frame(frame, {4: "n4"}, per="raw", volume_ml="mL", bottle="bottle")
        for name, group in frame.groupby("bottle"):
            raw, ml = group["n4"].to_numpy(float), group["mL"].to_numpy(float)
            share, total = ml / ml.sum(), raw.sum()
            degrees, variance = len(raw) - 1, known["cv"] ** 2
            mean = total * (1 - (share**2).sum()) / degrees
            statistic = ((raw - total * share) ** 2 / (total * share)).sum()
            beyond = variance * mean
            own = stats.f.sf(statistic / degrees / (1 + beyond), degrees, ((1 + beyond) / beyond) ** 2 * known["effective_number"])
            if len(given["runs"]) > 1 and own < 0.05:
                continue  # judged on its own runs
            log_sd = np.sqrt(np.log1p(variance * (share**2).sum()))
            ends = [_end(total + more, log_sd, known["effective_number"], p) for more, p in ((0, 0.025), (1, 0.975))]
            result = found[frame["bottle"] == name].iloc[0]
            assert [result["low_4"], result["high_4"]] == pytest.approx(np.array(ends) / ml.sum(), rel=1e-4), row["id"]
            compared += 1
    assert compared > 10


def test_rows_of_a_bottle_are_its_runs() -> None:
    frame = _frame([[2031, 1948, 2076], [3012]], [[1.0] * 3, [1.0]])
    found = score_frame(frame, {4: "n4"}, per="raw", volume_ml="mL", bottle="bottle")
    assert list(found["per_ml_4"].round(2)) == [2018.33] * 3 + [3012.0]
    apart = score_frame(frame, {4: "n4"}, per="raw", volume_ml="mL")
    # a single run of the batch varies as its runs do, where counting alone would be far narrower
    assert found["high_4"].iloc[3] - found["low_4"].iloc[3] > 1.5 * (apart["high_4"].iloc[3] - apart["low_4"].iloc[3])


def test_what_is_stated_widens() -> None:
    bottle = siltcode.Sample.of({4: 9000, 6: 2000, 14: 80}, "A", per="raw", volume_ml=1)
    plain, stated = bottle.score(), siltcode.Batch.of([bottle]).score(repeatability=0.05)[0]
    assert plain.counting_only and not stated.counting_only
    (low, high), (low_stated, high_stated) = (score.channels[0].interval_per_ml for score in (plain, stated))  # type: ignore[misc]
    assert low_stated < low < high < high_stated


@pytest.mark.parametrize("cv", [-0.1, 1.1, float("nan")])
def test_what_cannot_be_is_refused(cv: float) -> None:
    bottle = siltcode.Sample.of({4: 9000}, "A", per="raw", volume_ml=1)
    with pytest.raises(SiltcodeError) as caught:
        siltcode.Batch.of([bottle]).score(repeatability=cv)
    assert caught.value.code == "quantity-out-of-range"
