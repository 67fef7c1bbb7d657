"""Run-to-run variation: intervals of pooled runs against SciPy, and how it is stated."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas
import pytest
import siltcode
from scipy import optimize, stats
from siltcode import SiltcodeError, score_frame

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "golden"))
import generate_repeatability  # type: ignore[import-not-found]

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


def _varies_more(runs: Any, volumes: Any, place: int, statistic: float, degrees: int, mean: float) -> bool:
    """Whether the runs of a bottle vary beyond those of all others, at a chance of one over the bottles."""
    if len(runs) == 1:
        return False
    others = [[each for i, each in enumerate(all_) if i != place] for all_ in (runs, volumes)]
    _, variance, number = generate_repeatability.pooled(*others)
    beyond = variance * mean
    chance = stats.f.sf(statistic / degrees / (1 + beyond), degrees, ((1 + beyond) / beyond) ** 2 * number)
    return bool(chance < min(max(1 / len(runs), 0.05), 0.25))


def test_intervals_of_pooled_runs(golden: Rows) -> None:
    compared = 0
    for row in golden("repeatability"):
        given, known = json.loads(row["inputs"]), json.loads(row["expected"])
        if "runs" not in given:
            continue
        frame = _frame(given["runs"], given["volumes_ml"])
        found = score_frame(frame, {4: "n4"}, per="raw", volume_ml="mL", bottle="bottle")
        for name, group in frame.groupby("bottle"):
            raw, ml = group["n4"].to_numpy(float), group["mL"].to_numpy(float)
            share, total = ml / ml.sum(), raw.sum()
            degrees, variance = len(raw) - 1, known["cv"] ** 2
            mean = total * (1 - (share**2).sum()) / degrees
            statistic = ((raw - total * share) ** 2 / (total * share)).sum()
            if _varies_more(given["runs"], given["volumes_ml"], int(str(name)[1:]), statistic, degrees, mean):
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


def _bottle(name: str, *runs: int) -> siltcode.Sample:
    return siltcode.Sample.of([{4: raw} for raw in runs], name, per="raw", volume_ml=10)


def test_the_pool_is_told(golden: Rows) -> None:
    for row in golden("repeatability"):
        given, known = json.loads(row["inputs"]), json.loads(row["expected"])
        if "runs" not in given or len({ml for each in given["volumes_ml"] for ml in each}) > 1:
            continue
        bottles = [_bottle(f"b{i}", *runs) for i, runs in enumerate(given["runs"])]
        (found,) = siltcode.Batch.of(bottles).score().repeatability
        assert (found.size, found.source, found.file) == ("4 um(c)", "runs", None)
        told = [found.cv, found.effective_number, found.bottles]
        assert told == pytest.approx([known[key] for key in ("cv", "effective_number", "bottles")], rel=1e-9)


def test_each_file_is_a_pool_of_its_own(tmp_path: Path) -> None:
    heading = "bottle,run,volume mL,raw 4 um(c)\n"
    quiet, loud = tmp_path / "quiet.csv", tmp_path / "loud.csv"
    quiet.write_text(f"{heading}A,1,10,20000\nA,2,10,20100\n", encoding="utf-8")
    loud.write_text(f"{heading}B,1,10,20000\nB,2,10,26000\n", encoding="utf-8")
    both, alone = siltcode.read_counts([quiet, loud]).score(), siltcode.read_counts(quiet).score()
    assert both[0] == alone[0]
    assert [found.file for found in both.repeatability] == [str(quiet), str(loud)]


def test_a_contradiction_is_said() -> None:
    runs = [(20_310, 20_480, 20_260), (30_120, 30_340, 30_230)]
    scores = siltcode.Batch.of([_bottle(f"b{i}", *each) for i, each in enumerate(runs)]).score(repeatability=0.5)
    assert [notice.code for notice in scores.notices] == ["repeatability-contradicted"]
    frame = _frame([list(each) for each in runs], [[10.0] * 3] * 2)
    with pytest.warns(UserWarning, match=r"50\.0 % was stated"):
        score_frame(frame, {4: "n4"}, per="raw", volume_ml="mL", bottle="bottle", repeatability=0.5)


def test_runs_are_left_out() -> None:
    batch = siltcode.Batch.of([_bottle("A", 22_310, 20_480, 20_260), _bottle("B", 900)])
    scores = batch.score(skip_first_run=True, leave_out=["A:3", "B:1"])
    assert [(run.place, run.reason) for run in scores[0].left_out] == [(1, "first-run"), (3, "named")]
    assert scores[0].channels[0].raw == 20_480 and scores[1].left_out == ()
    assert [notice.code for notice in scores.notices] == ["run-not-left-out"]
    with pytest.raises(SiltcodeError) as caught:
        batch.score(leave_out=["A"])
    assert caught.value.code == "run-not-named"


def test_counting_error_alone_is_told() -> None:
    frame = _frame([[2031, 1948], [3012], [0, 0]], [[1.0] * 2, [1.0], [1.0] * 2])
    found = score_frame(frame, {4: "n4"}, per="raw", volume_ml="mL", bottle="bottle")
    assert list(found["counting_only"]) == [False] * 5, "what the first bottle says holds for all"
    assert list(score_frame(frame, {4: "n4"}, per="raw", volume_ml="mL")["counting_only"]) == [True] * 5
    alone = siltcode.Batch.of([_bottle("B", 900)])
    assert alone.score().frame.to_dict()["counting_only"] == [True]
    assert alone.score(repeatability=0.02).frame.to_dict()["counting_only"] == [False]


@pytest.mark.parametrize("runs", [(60, 9, 3), (9000, 1000, 80)])
def test_the_probability_of_three_limits(runs: tuple[int, int, int]) -> None:
    """Against events of a Poisson process drawn at random, with Student's factors of one common deviate."""
    draw = np.random.default_rng(5)
    counts = [[int(n * f) for n in runs] for f in (1.02, 0.97, 1.03, 0.99, 1.05, 0.96)]
    bottles = [siltcode.Sample.of([dict(zip((4, 6, 14), c, strict=True)) for c in counts], "A", per="raw", volume_ml=1)]
    scores = siltcode.Batch.of(bottles).score(repeatability=0.03)
    raw = np.sum(counts, axis=0)
    limits = {um: float(k / 6 * 1.03) for um, k in zip((4, 6, 14), raw, strict=True)}
    toml = "".join(f'"{um} um(c)" = "{limit} /mL"\n' for um, limit in limits.items())
    found = siltcode.Batch.of(bottles).score(f"[counts]\n{toml}", repeatability=0.03)
    u = draw.random(400_000)
    above = draw.gamma(np.array([raw[0] - raw[1], raw[1] - raw[2], raw[2] + 1.0])[:, None], size=(3, u.size))
    means = [above.sum(0), above[1:].sum(0), above[2]]
    log_sd = [np.sqrt(np.log1p(size.cv**2 / 6)) for size in scores.repeatability]
    factors = [np.exp(sd * stats.t(size.effective_number).ppf(u)) for sd, size in zip(log_sd, scores.repeatability, strict=True)]
    met = np.all([m * f <= 6 * limit for m, f, limit in zip(means, factors, limits.values(), strict=True)], axis=0)
    verdict = found[0].verdict
    assert verdict is not None and verdict.p == pytest.approx(met.mean(), abs=4 * 0.5 / np.sqrt(u.size))


def test_a_decision_allows_for_runs() -> None:
    """The same as the verdict of a batch of this bottle alone."""
    runs = [{4: 9010, 6: 2010, 14: 81}, {4: 9400, 6: 2100, 14: 79}, {4: 9120, 6: 1990, 14: 90}]
    bottle, limits = siltcode.Sample.of(runs, "A", per="raw", volume_ml=1), {4: 9800.0, 6: 2200.0, 14: 100.0}
    target = "[counts]\n" + "".join(f'"{um} um(c)" = "{limit} /mL"\n' for um, limit in limits.items())
    for stated in ({}, {"repeatability": 0.05}, {"scatter": 0.05}):
        verdict = siltcode.Batch.of([bottle]).score(target, **stated)[0].verdict
        assert verdict is not None and siltcode.decide(bottle, limits, **stated).p == pytest.approx(verdict.p, rel=1e-12)
    for bad in ({"repeatability": -0.1}, {"scatter": 1.1}, {"repeatability": float("nan")}):
        with pytest.raises(SiltcodeError):
            siltcode.decide(bottle, limits, **bad)
