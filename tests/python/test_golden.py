"""The golden files of the Rust tests, read again: both languages must give the same answers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import siltcode
from siltcode import SiltcodeError

GOLDEN = Path(__file__).resolve().parents[1] / "golden"

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


def _ends(cell: str) -> tuple[float, float]:
    """The upper end of a range, and the value one above its lower end."""
    low, dots, high = cell.partition("..")
    return (float(high), float(low) + 1.0 if low else float(high)) if dots else (float(cell), float(cell))


@pytest.mark.parametrize("system", ["as4059", "nas1638", "gost17216", "navair"])
def test_classes(golden: Rows, system: str) -> None:
    rows = golden(system)
    assert rows
    for row in rows:
        differential = row["system"] not in ("as4059", "as4059-rounded")
        for ends in zip(*map(_ends, row["per_100_ml"].split("|")), strict=True):
            counts = dict(zip(_numbers(row["sizes_um"]), ends, strict=True))
            found = siltcode.classify(row["system"], counts, "100 mL", row["scale"], differential=differential)
            assert str(found) == row["class"], row["id"]
            assert [class_ for class_ in found.classes.values() if class_] == row["classes"].split("|"), row["id"]
            assert (found.status == "UNVERIFIED") == (row["status"] == "MEMORY"), row["id"]


def test_classes_that_a_code_leaves_possible(golden: Rows) -> None:
    for row in golden("as4059_from_iso4406"):
        number = row["number"]
        expected = {letter: row[f"from_{letter.lower()}"] for letter in "ABC"}
        assert siltcode.as4059_possible(f"{number}/{number}/{number}") == expected


def _code_at(sizes: list[float], scale: str, per_ml: list[float]) -> str:
    """The code at the given sizes only."""
    asked = (4.0, 6.0, 14.0) if scale == "um(c)" else (None, 5.0, 15.0)
    code = siltcode.Sample.of(dict(zip(sizes, per_ml, strict=True)), scale=scale).code  # type: ignore[arg-type]
    return "/".join(place for um, place in zip(asked, str(code).split("/"), strict=True) if um in sizes)


def _in_scale(row: dict[str, str]) -> tuple[list[float], str, float]:
    """The sizes, their scale, and the volume that counts refer to [mL]."""
    return _numbers(row["sizes_um"]), "um(microscope)" if row["scale"] == "um" else row["scale"], _volume(row)


def _volume(row: dict[str, str]) -> float:
    return float(row["per"].removesuffix(" mL"))


def test_bounds_of_codes(golden: Rows) -> None:
    rows = [row for row in golden("iso4406") if row["kind"] == "bounds"]
    assert rows
    for row in rows:
        sizes, scale, volume = _in_scale(row)
        ends = [place.split("..") for place in row["counts"].split("|")]
        uppers = [float(upper) / volume for _, upper in ends]
        assert _code_at(sizes, scale, uppers) == row["code"].replace(">=", ""), row["id"]
        numbers = [int(place.removeprefix(">=")) for place in row["code"].split("/")]
        found = zip(*siltcode.range_bounds(numbers), strict=True)
        for (lower, _), upper, bounds in zip(ends, uppers, found, strict=True):
            assert bounds == (float(lower) / volume if lower else bounds[0], upper), row["id"]


def test_codes_that_were_misprinted(golden: Rows) -> None:
    rows = [row for row in golden("iso4406") if row["kind"] == "trap"]
    assert rows
    for row in rows:
        sizes, scale, volume = _in_scale(row)
        counts = [count / volume for count in _numbers(row["counts"])]
        if row["code"]:
            assert _code_at(sizes, scale, counts) == row["code"] != row["printed"], row["id"]
            continue
        band = siltcode.Sample.of({sizes[0]: counts[0], 6: None}, differential=True)
        with pytest.raises(SiltcodeError) as caught:
            str(band.code)
        assert caught.value.code == "nothing-counted", row["id"]


def test_misprinted_limits_are_not_met_again(golden: Rows) -> None:
    rows = golden("misprints")
    for row in rows:
        limits = siltcode.class_limits(row["system"], row["class"], row["scale"]) or []  # type: ignore[arg-type]
        size = f"{row['from_um']} {row['scale']}"
        found = [limit["at_most_per_100_ml"] for limit in limits if limit["from"] == size]
        assert found == ([float(row["right"])] if row["right"] else []), row["id"]
        assert row["printed"] not in [f"{limit:g}" for limit in found], row["id"]


def test_sizes_of_one_scale_in_another(golden: Rows) -> None:
    for row in golden("size_scales"):
        um, scale = row["from"].split(" ")
        expected, _, unit = row["expected"].partition(" ")
        if not unit:
            with pytest.raises(SiltcodeError) as caught:
                siltcode.convert_size(float(um), scale, row["to"])  # type: ignore[arg-type]
            assert caught.value.code == expected, row["id"]
            continue
        allowed = float(expected) * float(row["tolerance"].removeprefix("rel ").replace("exact", "0"))
        found = siltcode.convert_size(float(um), scale, row["to"])  # type: ignore[arg-type]
        assert abs(found - float(expected)) <= allowed, row["id"]
        sample = siltcode.Sample.of({float(um): 5.0}, scale=scale).converted(row["to"])  # type: ignore[arg-type]
        assert sample.channels[0].size_um == found, row["id"]
        assert sample.runs[0].scale == row["to"] == unit, row["id"]


#: Of functions that Python reaches only through whole scores; the tests in Rust read them.
IN_RUST_ONLY = {"joint"}


def test_every_golden_file_is_read() -> None:
    """By a test here or in the files beside this one."""
    tests = "".join(file.read_text(encoding="utf-8") for file in Path(__file__).parent.glob("test_*.py"))
    read = {file.stem for file in GOLDEN.glob("*.csv") if f'"{file.stem}"' in tests}
    assert {file.stem for file in GOLDEN.glob("*.csv")} == read | IN_RUST_ONLY


def test_bounds_and_numbers_meet() -> None:
    numbers = np.arange(29, dtype=np.uint8)
    lower, upper = siltcode.range_bounds(numbers)
    assert (siltcode.range_numbers(upper) == numbers).all()
    assert (siltcode.range_numbers(np.nextafter(upper, math.inf)) == numbers + 1).all()
    assert (lower[1:] == upper[:-1]).all()
    assert lower[0] == 0.0
    assert siltcode.range_bounds(29)[1] == math.inf
    assert math.isnan(siltcode.range_bounds(255)[0])
