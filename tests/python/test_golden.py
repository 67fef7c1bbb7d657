"""The golden files of the Rust tests, read again: both languages must give the same answers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
import siltcode

Rows = Callable[[str], list[dict[str, str]]]


def _numbers(cell: str) -> list[float]:
    return [float(number) for number in cell.split("|")]


def test_counts_have_their_code(golden: Rows) -> None:
    sizes = ("4", "6", "14")
    rows = [row for row in golden("iso4406") if row["kind"] == "count" and row["scale"] == "um(c)"]
    assert len(rows) > 10
    for row in rows:
        per = 100.0 if row["per"] == "100 mL" else 1.0
        counts = dict(zip(row["sizes_um"].split("|"), _numbers(row["counts"]), strict=True))
        code = siltcode.iso4406(*(counts[um] / per if um in counts else None for um in sizes))
        places = [place for um, place in zip(sizes, str(code).split("/"), strict=True) if um in counts]
        assert "/".join(places) == row["code"], row["id"]


def test_codes_are_printed_as_they_are_read(golden: Rows) -> None:
    rows = [row for row in golden("iso4406") if row["kind"] == "code"]
    assert rows
    for row in rows:
        assert str(siltcode.parse_code(row["code"])) == (row["printed"] or row["code"]), row["id"]


@pytest.mark.parametrize("method", ["garwood", "mid-p", "jeffreys"])
def test_poisson_limits(golden: Rows, method: str) -> None:
    rows = [row for row in golden("poisson_limits") if row["method"] == method]
    by_level = itertools.groupby(sorted(rows, key=lambda row: row["level"]), key=lambda row: row["level"])
    for level, group in by_level:
        of_level = list(group)
        counts = np.array([float(row["count"]) for row in of_level])
        low, high = siltcode.poisson_interval(counts, float(level), method)  # type: ignore[arg-type]
        # Beyond 0.999 the level itself, one less a small risk, no longer holds the risk to twelve digits.
        allowed = 1e-12 + (1e-16 / (1.0 - float(level)) if float(level) > 0.999 else 0.0)
        np.testing.assert_allclose(low, [float(row["low"]) for row in of_level], rtol=allowed)
        np.testing.assert_allclose(high, [float(row["high"]) for row in of_level], rtol=allowed)


def test_as4059_examples(golden: Rows) -> None:
    for row in golden("as4059"):
        uppers = [float(cell.partition("..")[2]) for cell in row["counts"].split("|")]
        counts = dict(zip(_numbers(row["sizes_um_c"]), uppers, strict=True))
        assert str(siltcode.as4059(counts, per="100 mL")) == row["class_unrounded"], row["id"]
        rounded = siltcode.classify("as4059-rounded", counts, per="100 mL")
        assert str(rounded) == row["class_rounded"], row["id"]


def test_nas1638_examples(golden: Rows) -> None:
    for row in golden("nas1638"):
        uppers = [float(cell.rpartition("..")[2]) for cell in row["differential_per_100ml"].split("|")]
        sizes = _numbers(row["sizes_um"])
        counts = dict(itertools.zip_longest(sizes, uppers, fillvalue=0.0))
        found = siltcode.nas1638(counts, per="100 mL", scale="um(microscope)", differential=True)
        assert found.worst == row["class"], row["id"]
        assert list(found.classes.values())[: len(uppers)] == row["classes"].split("|"), row["id"]


def test_classes_that_a_code_leaves_possible(golden: Rows) -> None:
    for row in golden("as4059_from_iso4406"):
        number = row["number"]
        expected = {letter: row[f"from_{letter.lower()}"] for letter in "ABC"}
        assert siltcode.as4059_possible(f"{number}/{number}/{number}") == expected


def test_bounds_and_numbers_meet() -> None:
    numbers = np.arange(29, dtype=np.uint8)
    lower, upper = siltcode.range_bounds(numbers)
    assert (siltcode.range_numbers(upper) == numbers).all()
    assert (siltcode.range_numbers(np.nextafter(upper, math.inf)) == numbers + 1).all()
    assert (lower[1:] == upper[:-1]).all()
    assert lower[0] == 0.0
    assert siltcode.range_bounds(29)[1] == math.inf
    assert math.isnan(siltcode.range_bounds(255)[0])
