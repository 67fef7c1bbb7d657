"""Bad input: the package's exception with a code, a hint and a place, and never a panic."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas
import pytest
import siltcode
from siltcode import SiltcodeError


def raised(call: Callable[..., Any], *args: Any, **named: Any) -> SiltcodeError:
    with pytest.raises(ValueError) as caught:  # noqa: PT011, any ValueError handler must catch it
        call(*args, **named)
    error = caught.value
    assert isinstance(error, SiltcodeError)
    assert error.code
    assert error.hint
    assert error.hint in str(error)
    return error


def test_codes_hints_and_places() -> None:
    assert raised(siltcode.parse_code, "16/18/13").code == "code-rises-with-size"
    assert raised(siltcode.iso4406, 100, 200, 3).code == "count-rises-with-size"
    assert raised(siltcode.iso4406).code == "nothing-counted"
    assert raised(siltcode.iso4406, -1).code == "count-not-finite"
    assert raised(siltcode.iso4406, raw=(1, 1, 1)).code == "raw-without-volume"
    assert raised(siltcode.iso4406, raw=([1], 1, 1)).code == "raw-without-volume"
    assert raised(siltcode.iso4406, raw=(1, 1), volume_ml=1).code == "lengths-differ"
    assert raised(siltcode.iso4406, raw=(1.5, 1, 1), volume_ml=1).code == "raw-not-whole"
    assert raised(siltcode.iso4406, raw=(1, 1, 1), volume_ml="5 m").code == "quantity-unreadable"
    assert raised(siltcode.poisson_interval, 3, level=1.0).code == "level-out-of-range"
    assert raised(siltcode.poisson_interval, 3, method="wald").code == "quantity-out-of-range"
    assert raised(siltcode.code_odds, 3, 0).code == "volume-not-positive"
    assert raised(siltcode.code_odds, 3, 1, dilution=0.5).code == "dilution-below-one"
    assert raised(siltcode.classify, "as4058", {4: 1}).code == "class-system-unknown"
    assert raised(siltcode.nas1638, {4: 1}, scale="um(c)").code in ("class-scale-unsuited", "class-not-counted")
    assert raised(siltcode.as4059, {4: "many"}).code == "count-unreadable"
    assert raised(siltcode.as4059, {0: 1.0}).code == "size-not-positive"
    assert raised(siltcode.convert_size, 5, "um(microscope)", "um(c)").code == "conversion-unknown"


def test_the_row_and_the_name_are_told() -> None:
    error = raised(siltcode.range_numbers, [1.0, "many"])
    assert (error.code, error.column) == ("count-unreadable", "per_ml")
    error = raised(siltcode.range_numbers, np.array([1.0, 2.0, "many"], object))
    assert (error.line, error.column, error.place) == (2, "per_ml", "line 2, column per_ml")
    error = raised(siltcode.range_numbers, pandas.Series(["1", "2"]))
    assert error.line == 0
    error = raised(siltcode.iso4406, [9.0, 9.0], [1.0, 9.5])
    assert (error.code, error.line) == ("count-rises-with-size", 1)
    assert raised(siltcode.iso4406, [9.0, -9.0], [1.0, 1.0]).line == 1
    assert raised(siltcode.code_odds, [1, 2, 2.5], 1.0).line == 2
    assert raised(siltcode.range_bounds, [1, 30]).line == 1
    assert raised(siltcode.range_bounds, [1, 1.5]).line == 1


@pytest.mark.parametrize(
    "given",
    [
        np.array([1 + 2j]),
        np.array(["2026-01-01"], "M8[D]"),
        np.array([True]),
        np.array([b"1"]),
        np.array([(1.0, 2.0)], [("a", "f8"), ("b", "f8")]),
        np.array([{}], object),
        [1.0, object()],
        "text",
        b"bytes",
        {4: 1.0},
        object(),
    ],
)
def test_what_is_no_number_is_refused(given: Any) -> None:
    assert raised(siltcode.range_numbers, given).code == "count-unreadable"


def test_shapes_that_do_not_fit() -> None:
    error = raised(siltcode.iso4406, [1.0, 2.0], [1.0, 1.0, 1.0])
    assert error.code == "shapes-differ"
    assert "(2,)" in error.message
    assert raised(siltcode.range_numbers, [[1.0], [1.0, 2.0]]).code == "shapes-differ"


def test_errors_can_be_sent_elsewhere() -> None:
    error = raised(siltcode.range_numbers, np.array(["x"], object))
    for again in (pickle.loads(pickle.dumps(error)), copy.deepcopy(error)):
        assert (str(again), again.code, again.hint, again.line) == (str(error), error.code, error.hint, 0)
