"""Whatever comes by the Arrow PyCapsule interface, by either protocol: scored, or refused; never a panic."""

from __future__ import annotations

import datetime
import decimal
from typing import Any

import numpy as np
import pandas
import polars
import pyarrow
import pytest
import siltcode
from hypothesis import given
from hypothesis import strategies as st
from siltcode import SiltcodeError
from support import Capsules, by_array, by_stream, cases

quick = cases(50)
NAMES = ("n4", "n6", "n14")
DAY = datetime.date(2026, 1, 5)


def refused(df: Any, **named: Any) -> SiltcodeError:
    with pytest.raises(SiltcodeError) as caught:
        siltcode.score_frame(df, **named)
    return caught.value


@quick
@given(st.lists(st.one_of(st.none(), st.floats(0, 1e6)), max_size=9), st.integers(0, 4), st.integers(0, 9))
def test_slices_begin_where_they_begin(counts: list[float | None], start: int, length: int) -> None:
    """Offsets into the values and into the bits that say what is missing, by both protocols."""
    table = pyarrow.table({name: pyarrow.array(counts, pyarrow.float64()) for name in NAMES}).slice(start, length)
    expected = [siltcode.range_numbers(count) for count in counts[start : start + length]]
    batch = pyarrow.RecordBatch.from_arrays([column.combine_chunks() for column in table.columns], NAMES)
    for df in (by_stream(table), by_array(batch), by_stream(polars.DataFrame(table))):
        assert siltcode.score_frame(df)["number_6"].tolist() == expected


OTHERS = {
    "text": pyarrow.array(["many", "9"]),
    "large text": pyarrow.array(["many", "9"], pyarrow.large_string()),
    "text view": pyarrow.array(["many", "9"], pyarrow.string_view()),
    "coded text": pyarrow.array(["many", "9"]).dictionary_encode(),
    "bytes": pyarrow.array([b"1", b"2"]),
    "truth": pyarrow.array([True, False]),
    "day": pyarrow.array([DAY, None]),
    "time": pyarrow.array([datetime.datetime(2026, 1, 5), None]),
    "span": pyarrow.array([datetime.timedelta(1), None]),
    "decimal": pyarrow.array([decimal.Decimal("1.5"), None]),
    "list": pyarrow.array([[1.0], [2.0]]),
    "struct": pyarrow.array([{"a": 1.0}, None]),
    "runs": pyarrow.RunEndEncodedArray.from_arrays([2], [1.0]),
}


@pytest.mark.parametrize("kind", OTHERS)
@pytest.mark.parametrize("name", NAMES)
def test_columns_of_other_types_are_refused(kind: str, name: str) -> None:
    columns = {column: pyarrow.array([9.0, 9.0]) for column in NAMES} | {name: OTHERS[kind]}
    table = pyarrow.table(columns)
    for df in (table, by_stream(table), by_array(table.to_batches()[0])):
        for more in ({}, {"per": "raw", "volume_ml": 1}):
            error = refused(df, **more)
            assert (error.code, error.column) == ("count-unreadable", name), more


def test_what_holds_nothing() -> None:
    empty = pyarrow.schema([(name, pyarrow.float64()) for name in NAMES])
    nothing = pyarrow.table({name: pyarrow.nulls(2) for name in NAMES})
    assert len(siltcode.score_frame(by_stream(empty.empty_table()))) == 0
    assert len(siltcode.score_frame(by_stream(pyarrow.Table.from_batches([], empty)))) == 0
    assert siltcode.score_frame(by_stream(nothing))["problem"] == ["nothing-counted"] * 2
    assert refused(by_stream(pyarrow.table({}))).code == "quantity-out-of-range"


def test_names_that_stand_twice() -> None:
    """The first of them is read; pandas frames, where it is hardly meant, refuse."""
    arrays = [pyarrow.array([9.0]), pyarrow.array([8.0]), pyarrow.array([7.0]), pyarrow.array([1.0])]
    table = pyarrow.Table.from_arrays(arrays, ["n4", "n6", "n14", "n14"])
    assert siltcode.score_frame(by_stream(table))["number_14"].tolist() == [siltcode.range_numbers(7.0)]
    assert refused(pandas.DataFrame([[9, 8, 7, 1]], columns=["n4", "n6", "n14", "n14"])).code == "size-repeated"


def test_a_stream_that_breaks_off_says_why() -> None:
    def pieces() -> Any:
        yield pyarrow.record_batch({name: [9.0] for name in NAMES})
        raise OSError("the disk is gone")

    schema = pyarrow.schema([(name, pyarrow.float64()) for name in NAMES])
    error = refused(by_stream(pyarrow.RecordBatchReader.from_batches(schema, pieces())))
    assert error.code == "input-unreadable"
    assert "the disk is gone" in error.message


def test_a_stream_is_read_once() -> None:
    capsule = pyarrow.table({name: [9.0] for name in NAMES}).__arrow_c_stream__()
    once = Capsules(lambda _=None: capsule, "__arrow_c_stream__")
    assert len(siltcode.score_frame(once)) == 1
    assert refused(once).code == "frame-unreadable"


TABLE = pyarrow.table({name: [9.0] for name in NAMES})


def _raises(_: Any = None) -> Any:
    raise RuntimeError("not today")


@pytest.mark.parametrize("protocol", ["__arrow_c_stream__", "__arrow_c_array__"])
@pytest.mark.parametrize(
    "give",
    [
        lambda _=None: None,
        lambda _=None: 1,
        lambda _=None: (None, None),
        lambda _=None: TABLE.schema.__arrow_c_schema__(),
        lambda _=None: (TABLE.schema.__arrow_c_schema__(), TABLE.schema.__arrow_c_schema__()),
        lambda _=None: tuple(reversed(TABLE.to_batches()[0].__arrow_c_array__())),
        lambda _=None: pyarrow.array([1.0]).__arrow_c_array__(),
        lambda _=None: polars.Series([1.0]).__arrow_c_stream__(),
        None,
        3,
    ],
)
def test_what_is_no_capsule_of_the_protocol(protocol: str, give: Any) -> None:
    assert refused(Capsules(give, protocol)).code == "frame-unreadable"


@pytest.mark.parametrize("protocol", ["__arrow_c_stream__", "__arrow_c_array__"])
def test_errors_of_the_other_side_come_through(protocol: str) -> None:
    with pytest.raises(RuntimeError, match="not today"):
        siltcode.score_frame(Capsules(_raises, protocol))


@quick
@given(st.lists(st.tuples(*[st.one_of(st.none(), st.floats())] * 5), min_size=1, max_size=4), st.floats(), st.floats())
def test_no_row_of_raw_counts_panics(rows: list[tuple[float | None, ...]], level: float, scatter: float) -> None:
    table = pyarrow.table(
        {name: pyarrow.array(values, pyarrow.float64()) for name, values in zip((*NAMES, "mL", "D"), zip(*rows), strict=True)}
    )
    for df in (by_stream(table), by_array(table.to_batches()[0]), table.to_pandas()):
        for how in ({}, {"level": level}, {"scatter": scatter}):
            try:
                found = siltcode.score_frame(df, spec="18/16/13", per="raw", volume_ml="mL", dilution="D", **how)
            except SiltcodeError as error:
                assert error.code in ("level-out-of-range", "quantity-out-of-range")
                continue
            known = np.array([p for p in np.asarray(found["p"], float) if not np.isnan(p)])
            assert ((known >= 0) & (known <= 1)).all()
