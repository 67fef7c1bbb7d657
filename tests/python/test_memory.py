"""Nothing is copied where the format allows: the same addresses on both sides, and no room taken for a second copy."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas
import polars
import pyarrow
import pytest
import siltcode
from siltcode import _arrays, _native
from support import by_array, by_stream

COUNTS = np.random.default_rng(4406).lognormal(7.0, 1.5, 1000)
BOTTLES = [siltcode.Sample.of({4: n, 6: n / 3, 14: n / 30}, f"A{i}") for i, n in enumerate(COUNTS[:40])]
FRAME = siltcode.Batch.of(BOTTLES).score("18/16/13").channels


def address(column: Any) -> int:
    """Where the values of a column of a library begin."""
    if isinstance(column, polars.Series):
        column = column.to_arrow()
    if isinstance(column, pyarrow.ChunkedArray):
        column = column.chunk(0)
    if isinstance(column, pyarrow.Array):
        return int(column.buffers()[1].address)
    return int(np.asarray(column).__array_interface__["data"][0])


@pytest.mark.parametrize("name", ["per_ml", "size_um", "number"])
def test_every_library_sees_the_same_columns(name: str) -> None:
    """Out: the stream hands on where the columns are."""
    first, second = pyarrow.table(FRAME), pyarrow.table(by_stream(FRAME))
    assert address(first[name]) == address(second[name]) == address(polars.DataFrame(FRAME)[name])
    assert FRAME.to_polars()[name].to_list() == first[name].to_pylist()


def test_columns_outlive_what_they_came_from() -> None:
    table = pyarrow.table(siltcode.Batch.of(BOTTLES).score("18/16/13").channels)
    assert table.column("per_ml").to_pylist() == FRAME["per_ml"].tolist()


@pytest.mark.parametrize(
    "given",
    [
        COUNTS,
        COUNTS.astype(np.float32),
        COUNTS.reshape(20, 50),
        pandas.Series(COUNTS),
        polars.Series("n4", COUNTS),
        pyarrow.array(COUNTS),
    ],
    ids=["float64", "float32", "2d", "pandas", "polars", "pyarrow"],
)
def test_numbers_are_read_where_they_are(given: Any) -> None:
    """In: the native module is given the memory that the library holds."""
    values, _ = _arrays.floats(given, "per_ml")
    assert address(_arrays.flat(values, values.dtype)) == address(given)


@pytest.mark.parametrize("kind", [np.array, pandas.Series, pyarrow.array, np.ma.MaskedArray], ids=lambda kind: kind.__name__)
def test_results_are_handed_on_where_they_are(kind: Callable[[Any], Any], monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[Any] = []

    def kept(given: Any, out: Any) -> None:
        made.append(out)
        _native_numbers(given, out)

    _native_numbers = _native.range_numbers
    monkeypatch.setattr(_native, "range_numbers", kept)
    found = siltcode.range_numbers(kind(COUNTS))
    assert address(found) == address(made[0])


def test_numbers_of_frames_are_handed_on_where_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    made: dict[str, Any] = {}

    def kept(*args: Any) -> dict[str, Any]:
        found = score_columns(*args)
        made.update(found)
        return found

    score_columns = _native.score_columns
    monkeypatch.setattr(_native, "score_columns", kept)
    found = siltcode.score_frame(pandas.DataFrame({"n4": COUNTS, "n6": COUNTS / 3, "n14": COUNTS / 30}))
    assert address(found["number_6"].array._data) == address(made["number_6"])


ROWS = 1_000_000
KINDS = ["stream", "array", "polars", "pandas"]


def _frame(kind: str) -> Any:
    numbers = {name: np.full(ROWS, count) for name, count in (("n4", 1752.0), ("n6", 517.0), ("n14", 55.0))}
    if kind == "pandas":
        return pandas.DataFrame(numbers, copy=False)
    table = pyarrow.table(numbers)
    if kind == "polars":
        return polars.DataFrame(table)
    return by_stream(table) if kind == "stream" else by_array(table.to_batches()[0])


def _room_taken(kind: str) -> float:
    """The room that scoring a frame takes at its peak beyond the results, over the room of one column."""
    frame = _frame(kind)
    with open("/proc/self/clear_refs", "w", encoding="ascii") as file:
        file.write("5")
    before = _resident("VmRSS")
    found = siltcode.score_frame(frame, spec="18/16/13")
    results = found.estimated_size() if kind == "polars" else (2 + 3 + 2 + 2) * len(found)
    return (_resident("VmHWM") - before - results) / (8 * ROWS)


def _resident(field: str) -> float:
    with open("/proc/self/status", encoding="ascii") as lines:
        return next(float(line.split()[1]) * 1024 for line in lines if line.startswith(field))


def _gauge(rooms: Any) -> None:
    for i, kind in enumerate(KINDS):
        _room_taken(kind)  # what is loaded once is not counted
        rooms[i] = _room_taken(kind)


@pytest.mark.skipif(not os.path.exists("/proc/self/clear_refs"), reason="the peak of the memory is read in /proc")
def test_frames_are_scored_without_a_copy() -> None:
    """Three columns copied would take three times the room of one, and even one copied would show."""
    spawn = multiprocessing.get_context("spawn")
    rooms = spawn.Array("d", [np.inf] * len(KINDS))
    process = spawn.Process(target=_gauge, args=(rooms,))
    process.start()
    process.join(120)
    assert process.exitcode == 0
    taken = {kind: rooms[i] for i, kind in enumerate(KINDS)}
    assert max(taken.values()) < 0.75, taken
