"""What every test of the Python package has at hand."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]

#: Answers are printed to thirteen digits, which is coarser than the tightest tolerance.
PRINTED = 5e-13


@dataclass(frozen=True)
class Example:
    """A worked example of a golden file whose inputs and answers are JSON."""

    id: str
    inputs: dict[str, Any]
    expected: dict[str, Any]
    tolerance: str
    status: str

    def meets(self, found: Mapping[str, Any], but: Collection[str] = ()) -> None:
        """Every answer of the row is found within its tolerance, or is named in `but`."""
        assert set(found) | set(but) == set(self.expected), f"{self.id}: {set(self.expected) ^ set(found)}"
        assert not set(found) & set(but), self.id
        for key, value in found.items():
            self._same(f"{self.id} {key}", value, self.expected[key])

    def within(self, relative: float | None) -> Example:
        """The same row, to be met within another share of its answers, where one is given."""
        return self if relative is None else replace(self, tolerance=f"rel {relative}")

    def _same(self, place: str, found: Any, expected: Any) -> None:
        if isinstance(expected, dict):
            for key, value in expected.items():
                self._same(f"{place} {key}", found[key], value)
        elif isinstance(expected, list):
            assert len(found) == len(expected), place
            for i, (one, other) in enumerate(zip(found, expected, strict=True)):
                self._same(f"{place} {i}", one, other)
        elif expected is None or isinstance(expected, (bool, str)):
            assert found == expected, place
        else:
            assert abs(found - expected) <= self._allowed(float(expected)), f"{place}: {found} for {expected}"

    def _allowed(self, expected: float) -> float:
        kind, _, size = self.tolerance.partition(" ")
        relative = max(float(size) if kind == "rel" else 0.0, PRINTED)
        return float(size) if kind == "abs" else relative * math.fabs(expected)


@pytest.fixture(scope="session")
def golden() -> Callable[[str], list[dict[str, str]]]:
    """The rows of a golden file, the same that the Rust tests read."""

    def rows(name: str) -> list[dict[str, str]]:
        lines = (ROOT / "tests" / "golden" / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    return rows


@pytest.fixture(scope="session")
def examples(golden: Callable[[str], list[dict[str, str]]]) -> Callable[[str], dict[str, Example]]:
    """The worked examples of a golden file by their names."""

    def by_id(name: str) -> dict[str, Example]:
        rows = golden(name)
        texts = ((row["id"], json.loads(row["inputs"]), json.loads(row["expected"]), row) for row in rows)
        return {id: Example(id, given, expected, row["tolerance"], row["status"]) for id, given, expected, row in texts}

    return by_id


@pytest.fixture(scope="session")
def demo() -> Path:
    """The folder of invented bottles."""
    return ROOT / "demo-samples"


def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> None:
    """A panic that reaches Python fails the run, even where a test expects an error."""
    if call.excinfo is not None and call.excinfo.typename == "PanicException":
        pytest.exit(f"panic across the boundary in {item.nodeid}: {call.excinfo.value}", returncode=1)
