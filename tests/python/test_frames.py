"""Frames of pandas, polars and pyarrow, and whatever else speaks the Arrow PyCapsule interface."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas
import polars
import pyarrow
import pytest
import siltcode
from siltcode import SiltcodeError
from support import by_array, by_stream

COUNTS = {"n4": [1752.0, 9000.0, 100.0, None, 5000.0], "n6": [517.0, 640.0, 200.0, None, 3.0], "n14": [55.0, 2, 3, None, 1]}
CODES = ["18/16/13", "20/16/8", None, None, "19/9/7"]
OUTCOMES = ["conforms", "does not conform", None, "undecided", "does not conform"]
PROBLEMS = [None, None, "count-rises-with-size", "nothing-counted", None]


def frames() -> list[Any]:
    table = pyarrow.table(COUNTS)
    pieces = pyarrow.concat_tables([table.slice(0, 2), table.slice(2, 3)])
    return [
        pandas.DataFrame(COUNTS),
        pandas.DataFrame(COUNTS).convert_dtypes(dtype_backend="pyarrow"),
        polars.DataFrame(COUNTS),
        polars.DataFrame(COUNTS).lazy().collect().rechunk(),
        table,
        pieces,
        table.to_batches()[0],
        by_stream(table),
        by_array(table.to_batches()[0]),
    ]


def plain(frame: Any) -> dict[str, list[Any]]:
    """The columns as lists, None where there is nothing."""
    frame = siltcode.Frame.to_pandas(frame) if isinstance(frame, siltcode.Frame) else frame
    columns = frame.to_dict("list") if isinstance(frame, pandas.DataFrame) else pyarrow.table(frame).to_pydict()
    return {name: [None if pandas.isna(value) else value for value in values] for name, values in columns.items()}


@pytest.mark.parametrize("df", frames(), ids=lambda df: f"{type(df).__module__.partition('.')[0]}-{type(df).__name__}")
def test_every_kind_of_frame(df: Any) -> None:
    found = siltcode.score_frame(df, spec="18/16/13")
    if isinstance(df, (pandas.DataFrame, polars.DataFrame, pyarrow.Table)):
        assert type(found) is type(df)
    columns = plain(found)
    assert columns["iso4406"] == CODES
    assert columns["outcome"] == OUTCOMES
    assert columns["problem"] == PROBLEMS
    numbers = [number or 255 if number != 255 else 255 for number in columns["number_4"]]
    assert numbers == [18, 20, 14, 255, 19]
    assert "outcome" not in siltcode.score_frame(df).columns if hasattr(df, "columns") else True


def test_missing_numbers_are_null() -> None:
    assert siltcode.score_frame(polars.DataFrame(COUNTS))["number_6"].to_list() == [16, 16, 15, None, 9]


def test_pandas_keeps_its_index_and_columns_may_be_named() -> None:
    df = pandas.DataFrame({"a": [1752, 8], "c": [55, 2]}, index=["x", "y"])
    found = siltcode.score_frame(df, columns={4: "a", 14: "c"})
    assert found.index.tolist() == ["x", "y"]
    assert found["iso4406"].tolist() == ["18/-/13", "10/-/8"]
    again = siltcode.score_frame(pyarrow.table(df), columns={4: "a", 14: "c"})
    assert again["iso4406"].to_pylist() == ["18/-/13", "10/-/8"]


@pytest.mark.parametrize("dtype", ["int8", "uint8", "int16", "uint16", "int32", "uint32", "int64", "uint64", "float32"])
def test_number_types(dtype: str) -> None:
    table = pyarrow.table({name: pyarrow.array([9, 5, 3], dtype) for name in ("n4", "n6", "n14")})
    assert siltcode.score_frame(table)["iso4406"].to_pylist() == ["10/10/10", "9/9/9", "9/9/9"]


def test_no_copy_of_doubles() -> None:
    """The doubles of a frame are read where they are: no memory beyond the results, whatever the size."""
    counts = np.random.default_rng(1).lognormal(5, 2, 300_000)
    df = polars.DataFrame({"n4": counts, "n6": counts / 3, "n14": counts / 30})
    pandas_found = siltcode.score_frame(df.to_pandas(), spec="18/16/13")["iso4406"].tolist()
    assert siltcode.score_frame(df, spec="18/16/13")["iso4406"].to_list() == pandas_found
    arrays = siltcode.iso4406(counts, counts / 3, counts / 30)
    assert arrays.tolist() == pandas_found


def refused(df: Any, *args: Any, **named: Any) -> SiltcodeError:
    with pytest.raises(SiltcodeError) as caught:
        siltcode.score_frame(df, *args, **named)
    return caught.value


@pytest.mark.parametrize("make", [pandas.DataFrame, polars.DataFrame, pyarrow.table])
def test_text_in_a_column_is_refused_with_row_and_column(make: Any) -> None:
    error = refused(make({"n4": [1.0, 2.0], "n6": [None, "many"], "n14": [0.0, 0.0]}))
    assert (error.code, error.line, error.column) == ("count-unreadable", 1, "n6")
    assert "many" in error.message
    error = refused(make({"n4": [1.0], "n6": [1.0]}))
    assert error.code == "quantity-out-of-range"
    assert "n14" in error.message


def test_what_is_no_frame_is_refused() -> None:
    for given in (None, 1, [1.0], np.ones(3), {"n4": [1.0]}, object()):
        assert refused(given).code == "frame-unreadable"
    for single in (polars.Series([1.0]), pyarrow.array([1.0]), pyarrow.chunked_array([[1.0]])):
        assert refused(single).code == "frame-unreadable"
    stamps = pyarrow.table({name: pyarrow.array([1], "timestamp[s]") for name in ("n4", "n6", "n14")})
    assert refused(stamps).code == "count-unreadable"
    assert refused(pandas.DataFrame(COUNTS), columns=["n4", "n6"]).code == "lengths-differ"
    assert refused(pandas.DataFrame(COUNTS), columns={5: "n4"}).code == "size-unreadable"
    assert refused(pandas.DataFrame(COUNTS), spec="nothing such").code == "spec-unknown"


def test_empty_frames() -> None:
    empty = {name: np.array([]) for name in ("n4", "n6", "n14")}
    assert len(siltcode.score_frame(pandas.DataFrame(empty), spec="18/16/13")) == 0
    assert len(siltcode.score_frame(polars.DataFrame(empty), spec="18/16/13")) == 0
    assert siltcode.score_frame(pyarrow.table(empty)).num_rows == 0
