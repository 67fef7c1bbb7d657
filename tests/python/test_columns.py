"""Plain text read straight into columns: the same rows as bottle by bottle, missing values, refusals."""

from __future__ import annotations

import copy
import math
import multiprocessing
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import polars
import pyarrow
import pytest
import siltcode
from siltcode import SiltcodeError, read_columns, read_counts

TEXT = """harbour, two pages
bottle,time,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL,21 um(c) /mL,remark,outcome
A,2026-03-01T06:00,1752.5,517,55,,first,x1
B,,9000,-,60,2,,
C,2026-03-01T08:00,100,200,3,1,rises,x3
"D, top",2026-03-01T09:00,5e8,4,3,0,,x4
E,2026-03-01T10:00,10,<9,1,,bound,x5
"""


@pytest.fixture
def day(tmp_path: Path) -> Path:
    path = tmp_path / "day.csv"
    path.write_text(TEXT, encoding="utf-8")
    return path


def test_every_column_with_what_is_missing(day: Path) -> None:
    frame = read_columns(day, spec="18/16/13")
    assert pyarrow.table(frame).to_pydict() == {
        "id": ["A", "B", "D, top"],
        "time": ["2026-03-01T06:00", None, "2026-03-01T09:00"],
        "per_ml_4": [1752.5, 9000.0, 5e8],
        "per_ml_6": [517.0, None, 4.0],
        "per_ml_14": [55.0, 60.0, 3.0],
        "per_ml_21": [None, 2.0, 0.0],
        "iso4406": ["18/16/13", "20/-/13", ">28/9/9"],
        "number_4": [18, 20, 29],
        "number_6": [16, None, 9],
        "number_14": [13, 13, 9],
        "outcome": ["conforms", "does not conform", "does not conform"],
        "remark": ["first", None, None],
        "outcome_": ["x1", None, "x4"],
    }
    assert math.isnan(frame["per_ml_6"][1])
    assert frame["number_6"][1] == siltcode.NOT_COUNTED
    assert frame["time"][1] is None
    problems = [(problem.line, problem.code, problem.column, problem.found) for problem in frame.problems]
    assert problems == [(5, "count-rises-with-size", None, "100 | 200 | 3 | 1"), (7, "count-is-bound", "6 um(c) /mL", "<9")]
    assert [notice.code for notice in frame.notices] == ["read-as", "columns-not-used"]


def test_polars_and_pandas_take_it(day: Path) -> None:
    frame = read_columns(day)
    assert frame["outcome"] == ["x1", None, "x4"]
    assert polars.DataFrame(frame)["number_6"].to_list() == [16, None, 9]
    assert polars.DataFrame(frame)["iso4406"].dtype == polars.Categorical
    assert frame.to_pandas()["time"].isna().tolist() == [False, True, False]


def _written(path: Path, rows: int) -> Path:
    random = np.random.default_rng(7)
    fine = 10.0 ** random.uniform(1, 5, rows)
    middle = fine * random.uniform(0.1, 1.02, rows)
    coarse = middle * random.uniform(0.02, 0.3, rows)
    lines = [f"S{i},{i % 24}:00;{a:.2f};{b};{c:.0f}" for i, (a, b, c) in enumerate(zip(fine, middle, coarse, strict=True))]
    heading = "bottle;time;>=4 um(c) /mL;>=6 um(c) /mL;>=14 um(c) /mL"
    path.write_text("\n".join([heading, *(line.replace(",", ";", 1) for line in lines)]), encoding="utf-8")
    return path


def test_rows_are_those_of_the_bottles(tmp_path: Path) -> None:
    path = _written(tmp_path / "many.csv", 60_000)
    frame, batch = read_columns(path, spec="20/18/15"), read_counts(path)
    scores = batch.score("20/18/15")
    assert len(frame) == len(batch) > 50_000
    assert frame.problems == batch.problems
    assert len(frame.problems) > 500
    assert frame["id"] == batch.ids
    assert frame["iso4406"] == scores.frame["iso4406"]
    assert frame["outcome"] == scores.frame["outcome"]
    counts = np.column_stack([frame[f"per_ml_{um}"] for um in (4, 6, 14)])
    assert counts.ravel().tolist() == scores.channels["per_ml"].tolist()


@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda frame: pickle.loads(pickle.dumps(frame))])
def test_frames_are_values(day: Path, again: Any) -> None:
    frame = read_columns(day, spec="18/16/13")
    other = again(frame)
    assert other == frame
    assert hash(other) == hash(frame)
    assert other.problems == frame.problems
    assert other != read_columns(day)


def test_other_scales_and_options(tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_text("id|5|15\nA|1,5|0,5\n", encoding="utf-8")
    frame = read_columns(path, delimiter="|", decimal=",", per="100 mL", scale="um(acftd)")
    assert frame.columns == ["id", "per_ml_5", "per_ml_15", "iso4406", "number_5", "number_15"]
    assert frame["per_ml_5"].tolist() == [0.015]
    assert frame["iso4406"] == ["-/1/0"]
    with pytest.raises(SiltcodeError) as caught:
        read_columns(path, spec="18/16/13", scale="um(acftd)", per="mL")
    assert caught.value.code == "scales-mixed"


def test_no_rows(tmp_path: Path) -> None:
    path = tmp_path / "none.csv"
    path.write_text("bottle,4 um(c) /mL,6 um(c) /mL\n", encoding="utf-8")
    assert len(read_columns(path, spec="18/16/13")) == 0
    assert pyarrow.table(read_columns(path)).num_rows == 0


def test_what_columns_do_not_hold_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "runs.csv"
    path.write_text("bottle,4 um(c) /mL,6 um(c) /mL\nA,2,1\nA,3,1\n", encoding="utf-8")
    with pytest.raises(SiltcodeError) as caught:
        read_columns(path)
    assert (caught.value.code, caught.value.line, caught.value.file) == ("text-not-plain", 3, str(path))
    assert len(read_counts(path)[0].runs) == 2
    with pytest.raises(FileNotFoundError, match=r"nothing\.csv"):
        read_columns(tmp_path / "nothing.csv")


def _rows(path: Path) -> int:
    return len(read_columns(path))


@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_a_forked_process_reads_too(day: Path) -> None:
    """Threads of the process it came from are not there."""
    assert _rows(day) == 3
    with multiprocessing.get_context("fork").Pool(1) as pool:
        assert pool.apply_async(_rows, (day,)).get(timeout=60) == 3
