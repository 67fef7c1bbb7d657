"""Anything array-like in, the same kind out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas
import polars
import pyarrow
import pytest
import siltcode

COUNTS = [1752.0, 517.0, 55.0, 0.0, 2500.1, 1e9]
NUMBERS = [18, 16, 13, 0, 19, 29]


@pytest.mark.parametrize(
    "given",
    [
        COUNTS,
        tuple(COUNTS),
        np.array(COUNTS),
        np.array(COUNTS, np.float32),
        np.array(COUNTS, ">f8"),
        np.array(COUNTS, ">f4"),
        np.array(COUNTS, np.longdouble),
        np.array(COUNTS, object),
        np.array([value for count in COUNTS for value in (count, -1.0)])[::2],
        np.array(COUNTS[::-1])[::-1],
    ],
    ids=["list", "tuple", "float64", "float32", "big-endian", "big-endian-32", "long", "object", "strided", "reversed"],
)
def test_sequences_give_arrays(given: Any) -> None:
    found = siltcode.range_numbers(given)
    assert isinstance(found, np.ndarray)
    assert found.dtype == np.uint8
    assert found.tolist() == NUMBERS


@pytest.mark.parametrize("dtype", [np.int8, np.uint16, np.int32, np.int64, np.uint64, np.float16])
def test_narrow_and_whole_numbers(dtype: type) -> None:
    assert siltcode.range_numbers(np.array([0, 5, 100], dtype)).tolist() == [0, 9, 14]


def test_plain_numbers_give_plain_numbers() -> None:
    for given in (1752, 1752.0):
        assert type(siltcode.range_numbers(given)) is int
    assert isinstance(siltcode.range_numbers(np.float32(1752)), np.uint8)
    zero_d = siltcode.range_numbers(np.array(1752.0))
    assert isinstance(zero_d, np.ndarray)
    assert zero_d.shape == ()
    assert siltcode.range_numbers(None) == 255


def test_shape_is_kept() -> None:
    given = np.array(COUNTS).reshape(2, 3, order="F")
    assert siltcode.range_numbers(given).shape == (2, 3)
    assert siltcode.range_numbers(given).tolist() == [[18, 13, 19], [16, 0, 29]]
    assert siltcode.range_numbers(np.empty((0, 3))).shape == (0, 3)
    assert siltcode.range_numbers([]).shape == (0,)


def test_missing_is_not_counted() -> None:
    for given in ([np.nan, 5.0], [None, 5.0], np.array([None, 5.0], object), np.array([np.nan, 5], np.float32)):
        assert siltcode.range_numbers(given).tolist() == [255, 9]
    masked = siltcode.range_numbers(np.ma.array([1752.0, 5.0], mask=[True, False]))
    assert isinstance(masked, np.ma.MaskedArray)
    assert masked.mask.tolist() == [True, False]
    assert masked.data.tolist() == [255, 9]
    whole = siltcode.range_numbers(np.ma.array([1752, 5], mask=[True, False]))
    assert whole.data.tolist() == [255, 9]


@pytest.mark.parametrize("dtype", ["float64", "float32", "int64", "Float64", "Int64"])
def test_pandas_series(dtype: str) -> None:
    given = pandas.Series([1752, 5], index=["a", "b"], name="n4").astype(dtype)
    found = siltcode.range_numbers(given)
    assert isinstance(found, pandas.Series)
    assert found.name == "n4"
    assert found.index.tolist() == ["a", "b"]
    assert found.tolist() == [18, 9]
    if dtype in ("Float64", "Int64"):
        given.iloc[0] = pandas.NA
        assert siltcode.range_numbers(given).tolist() == [255, 9]


def test_pandas_arrow_and_frame() -> None:
    given = pandas.Series([1752.0, None], dtype="float64[pyarrow]")
    assert siltcode.range_numbers(given).tolist() == [18, 255]
    frame = pandas.DataFrame({"n4": [1752.0, 5.0], "n6": [517.0, 2.0]}, index=[7, 8])
    found = siltcode.range_numbers(frame)
    assert found.columns.tolist() == ["n4", "n6"]
    assert found.loc[8].tolist() == [9, 8]


def test_polars_and_pyarrow() -> None:
    found = siltcode.range_numbers(polars.Series("n4", [1752.0, None]))
    assert isinstance(found, polars.Series)
    assert found.name == "n4"
    assert found.dtype == polars.UInt8
    assert found.to_list() == [18, 255]
    chunked = siltcode.range_numbers(pyarrow.chunked_array([[1752.0], [None, 5.0]]))
    assert isinstance(chunked, pyarrow.Array)
    assert chunked.to_pylist() == [18, 255, 9]


def test_codes_of_arrays() -> None:
    frame = pandas.DataFrame({"n4": [1752.0, np.nan], "n6": [517.0, np.nan], "n14": [55.0, np.nan]}, index=["a", "b"])
    found = siltcode.iso4406(frame["n4"], frame["n6"], frame["n14"])
    assert found.index.tolist() == ["a", "b"]
    assert found["a"] == "18/16/13"
    assert pandas.isna(found["b"])
    assert siltcode.iso4406([np.nan], [np.nan], [np.nan]).tolist() == [None]
    grid = siltcode.iso4406(np.array([[5000.0], [9000.0]]), 640.0, np.array([80.0, 10.0]))
    assert grid.tolist() == [["19/16/13", "19/16/10"], ["20/16/13", "20/16/10"]]


def test_few_particles_are_marked_from_19_down() -> None:
    assert str(siltcode.iso4406(1752, 517, 55, raw=(1752, 517, 19), volume_ml=1)) == "18/16/>=13"
    assert str(siltcode.iso4406(1752, 517, 55, raw=(1752, 517, 20), volume_ml=1)) == "18/16/13"
    found = siltcode.iso4406(raw=([1752, 900], [517, 400], [19, 20]), volume_ml=2.0)
    assert found.tolist() == ["17/15/>=10", "16/15/10"]


def test_odds_of_arrays_are_rows_of_probabilities() -> None:
    odds = siltcode.code_odds([50, np.nan, 50], [5.0, 5.0, 5.0])
    assert odds.shape == (3, 30)
    np.testing.assert_allclose(odds[0].sum(), 1.0, atol=1e-4)
    assert np.isnan(odds[1]).all()
    assert odds[0, 10] == siltcode.code_odds(50, "5 mL")[10]
    with pytest.raises(KeyError):
        siltcode.code_odds(50, 5)[30]


def test_odds_of_many_rows_are_those_of_each() -> None:
    few, many = 10, 300
    volume = np.repeat([10.0, 0.5, 10.0, 2.0], [many, few, few, many])
    dilution = np.repeat([1.0, 4.0, 1.0, 2.0], [few, many, many, few])
    raw = np.random.default_rng(4406).lognormal(4.0, 5.0, volume.size).round()
    raw[::7] = np.nan
    for scatter in (0.0, 0.2):
        odds = siltcode.code_odds(raw, volume, dilution, scatter)
        for row in range(0, raw.size, 3):
            alone = siltcode.code_odds(raw[row : row + 1], volume[row], dilution[row], scatter)
            np.testing.assert_array_equal(odds[row : row + 1], alone)
    with pytest.raises(siltcode.SiltcodeError, match="-1") as error:
        siltcode.code_odds(np.where(np.arange(200) == 150, -1.0, 5.0), 1.0)
    assert error.value.line == 150


@pytest.mark.parametrize("dtype", [np.float64, np.float32])
def test_numbers_are_written_where_the_user_says(dtype: type) -> None:
    counts = np.random.default_rng(4406).lognormal(5.0, 3.0, (60, 40)).astype(dtype)
    expected = siltcode.range_numbers(counts)
    whole, spread = np.empty(counts.shape, np.uint8), np.empty((40, 60), np.uint8).T
    for out in (whole, spread):
        assert siltcode.range_numbers(counts, out=out) is out
        np.testing.assert_array_equal(out, expected)
    within = counts.copy()
    bytes_of = within.view(np.uint8)[:, : counts.shape[1]]
    assert siltcode.range_numbers(within, out=bytes_of) is bytes_of
    np.testing.assert_array_equal(bytes_of, expected)
    single = np.empty((), np.uint8)
    assert siltcode.range_numbers(1752.0, out=single) is single
    assert single == 18


@pytest.mark.parametrize(
    "out", [np.empty(3, np.uint8), np.empty(2, np.int8), np.empty((1, 2), np.uint8), [0, 0], b"ab"], ids=str
)
def test_numbers_do_not_fit_everywhere(out: Any) -> None:
    with pytest.raises(siltcode.SiltcodeError) as caught:
        siltcode.range_numbers([1.0, 2.0], out=out)
    assert caught.value.code == "out-unfit"
    fixed = np.zeros(2, np.uint8)
    fixed.flags.writeable = False
    with pytest.raises(siltcode.SiltcodeError):
        siltcode.range_numbers([1.0, 2.0], out=fixed)
    assert fixed.tolist() == [0, 0]
