"""Results are values: they print, compare, hash, copy and pickle."""

from __future__ import annotations

import copy
import pickle
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest
import siltcode

VALUES = [
    siltcode.parse_code("18/16/>=13"),
    siltcode.as4059({4: 3000, 6: 500, 14: 60}),
    siltcode.code_odds(12, 1.0),
]


@pytest.mark.parametrize("value", VALUES, ids=lambda value: type(value).__name__)
def test_copies_are_equal(value: Any) -> None:
    for again in (pickle.loads(pickle.dumps(value)), copy.copy(value), copy.deepcopy(value)):
        assert again == value
        assert hash(again) == hash(value)
        assert repr(again) == repr(value)
    assert "\n" not in repr(value)
    html = value._repr_html_()
    assert html.startswith("<table")
    assert html.count("<tr>") == html.count("</tr>")


def test_codes_are_partly_ordered() -> None:
    code = siltcode.parse_code
    assert code("18/16/13") < code("19/16/13")
    assert code("19/16/13") >= code("18/16/13")
    assert not code("18/16/13") < code("17/17/13")
    assert not code("18/16/13") > code("17/17/13")
    assert code("18/16/13") != code("18/16/>=13")
    assert code("18/13") == code("-/18/13")
    assert {code("18/16/13"), code("18/16/13")} == {code("18/16/13")}


def test_many_threads_give_the_same_bytes() -> None:
    counts = np.random.default_rng(4406).lognormal(5.0, 3.0, 200_000)
    alone = siltcode.range_numbers(counts).tobytes()
    low = siltcode.poisson_interval(np.floor(counts))[0].tobytes()
    with ThreadPoolExecutor(8) as pool:
        assert {found.tobytes() for found in pool.map(siltcode.range_numbers, [counts] * 16)} == {alone}
        limits = pool.map(siltcode.poisson_interval, [np.floor(counts)] * 8)
        assert {found[0].tobytes() for found in limits} == {low}
