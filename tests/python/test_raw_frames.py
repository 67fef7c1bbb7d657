"""Frames of raw counts: scored row by row as bottles are, and frames as values."""

from __future__ import annotations

import copy
import math
import pickle
from typing import Any

import numpy as np
import pandas
import pint
import polars
import pyarrow
import pytest
import siltcode
from siltcode import Batch, Sample, SiltcodeError, score_frame
from support import by_stream

RAW = {
    "n4": [1752, 88, None, 10, 700, 3],
    "n6": [517, 26, None, 20, 200, 1],
    "n14": [74, 3, None, 1, None, 0],
    "mL": [1.0, 0.05, 1.0, 1.0, 1.0, 0.0],
    "dilution": [1.0, 1.0, 1.0, 1.0, 2.0, 1.0],
}
PROBLEMS = [None, None, "nothing-counted", "count-rises-with-size", None, "volume-not-positive"]


def _kinds() -> list[Any]:
    table = pyarrow.table(RAW)
    pieces = pyarrow.concat_tables([table.slice(0, 2), table.slice(2, 4)])
    return [pandas.DataFrame(RAW, index=list("abcdef")), polars.DataFrame(RAW), table, pieces, table.to_batches()[0]]


def _lists(frame: Any) -> dict[str, list[Any]]:
    columns = frame.to_dict("list") if isinstance(frame, pandas.DataFrame) else pyarrow.table(frame).to_pydict()
    return {name: [None if pandas.isna(value) else value for value in values] for name, values in columns.items()}


@pytest.mark.parametrize("df", _kinds(), ids=lambda df: f"{type(df).__module__.partition('.')[0]}-{type(df).__name__}")
@pytest.mark.parametrize("rule", [None, "guard-band"])
def test_rows_are_scored_as_bottles_are(df: Any, rule: Any) -> None:
    found = score_frame(df, spec="18/16/13", per="raw", volume_ml="mL", dilution="dilution", rule=rule, level=0.9)
    columns = _lists(found)
    assert columns["problem"] == PROBLEMS
    for i in (0, 1, 4):
        counts = {um: RAW[f"n{um}"][i] for um in (4, 6, 14)}
        bottle = Sample.of(counts, per="raw", volume_ml=RAW["mL"][i], dilution=RAW["dilution"][i])
        score = bottle.score("18/16/13", rule=rule, level=0.9)
        assert score.verdict is not None
        assert (columns["iso4406"][i], columns["outcome"][i]) == (score.iso4406, score.verdict.outcome)
        assert columns["p"][i] == score.verdict.p
        for channel, um in zip(score.channels, (4, 6, 14), strict=True):
            assert columns[f"number_{um}"][i] == channel.number
            assert columns[f"per_ml_{um}"][i] == channel.per_ml
            assert (columns[f"low_{um}"][i], columns[f"high_{um}"][i]) == (channel.interval_per_ml or (None, None))
            odds = None if channel.odds is None or channel.number is None else channel.odds[channel.number]
            assert columns[f"odds_{um}"][i] == odds
    for name in ("iso4406", "p", "low_4", "number_4"):
        assert [columns[name][i] for i in (2, 3, 5)] == [None, None, None]


def test_intervals_are_those_of_poisson() -> None:
    raw = np.random.default_rng(4406).integers(0, 3000, 500)
    df = pandas.DataFrame({"n4": raw})
    found = score_frame(df, {4: "n4"}, per="raw", volume_ml="0.4 mL", dilution=2, level=0.9)
    low, high = siltcode.poisson_interval(raw, 0.9)
    np.testing.assert_allclose(found["low_4"], low / 0.2)
    np.testing.assert_allclose(found["high_4"], high / 0.2)
    np.testing.assert_array_equal(found["number_4"], siltcode.range_numbers(raw / 0.2))
    assert "outcome" not in found.columns
    assert found["number_6"].isna().all()


def test_kinds_and_indices_are_kept() -> None:
    given = dict(per="raw", volume_ml=pint.UnitRegistry().Quantity(1, "mL"))
    df = pandas.DataFrame({"n4": [1752], "n6": [517], "n14": [74]}, index=pandas.Index(["A"], name="bottle"))
    found = score_frame(df, **given)
    assert found.index.name == "bottle"
    assert found["iso4406"].dtype == "category"
    assert isinstance(score_frame(polars.from_pandas(df), **given), polars.DataFrame)
    bare = score_frame(by_stream(pyarrow.table(df.reset_index(drop=True))), **given)
    assert isinstance(bare, siltcode.Frame)
    assert bare["iso4406"] == ["18/16/13"]


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({}, "raw-without-volume"),
        ({"volume_ml": "unheard"}, "quantity-unreadable"),
        ({"volume_ml": "1 L/min"}, "quantity-unreadable"),
        ({"volume_ml": 1, "level": 1.5}, "level-out-of-range"),
        ({"volume_ml": 1, "columns": ("n4", "n6", "unheard")}, "quantity-out-of-range"),
        ({"volume_ml": 1, "columns": ("n4", "n6", "text")}, "count-unreadable"),
    ],
)
@pytest.mark.parametrize("library", [pandas.DataFrame, polars.DataFrame, pyarrow.table])
def test_what_cannot_be_is_refused(library: Any, given: dict[str, Any], code: str) -> None:
    df = library({"n4": [1752], "n6": [517], "n14": [74], "text": ["many"]})
    with pytest.raises(SiltcodeError) as caught:
        score_frame(df, per="raw", **given)
    assert caught.value.code == code


def test_halves_of_particles_are_a_problem_of_their_row() -> None:
    df = polars.DataFrame({"n4": [10.5, 10.0, math.inf], "n6": [1.0, 1.0, 1.0], "n14": [0.0, 0.0, 0.0]})
    problems = score_frame(df, per="raw", volume_ml=1)["problem"].to_list()
    assert problems == ["raw-not-whole", None, "raw-not-whole"]


def test_frames_are_values() -> None:
    table = pyarrow.table(RAW)
    scores = Batch.of([Sample.of({4: 1752, 6: 517, 14: None}, "A"), Sample.of({4: 5}, "B")]).score("18/16/13")
    raw = score_frame(by_stream(table), spec="18/16/13", per="raw", volume_ml=1)
    plain = score_frame(by_stream(table), spec="18/16/13")
    for frame in (scores.frame, scores.channels, raw, plain):
        for again in (pickle.loads(pickle.dumps(frame)), copy.copy(frame), copy.deepcopy(frame)):
            assert again == frame
            assert hash(again) == hash(frame)
            assert pyarrow.table(again).equals(pyarrow.table(frame).combine_chunks())
    assert scores.frame != scores.channels
    assert scores.frame != "no frame"
    assert scores.channels["number"].tolist() == [18, 16, siltcode.NOT_COUNTED, 9]
