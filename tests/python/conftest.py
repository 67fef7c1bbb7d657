"""What every test of the Python package has at hand."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def golden() -> Callable[[str], list[dict[str, str]]]:
    """The rows of a golden file, the same that the Rust tests read."""

    def rows(name: str) -> list[dict[str, str]]:
        lines = (ROOT / "tests" / "golden" / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    return rows


@pytest.fixture(scope="session")
def demo() -> Path:
    """The folder of invented bottles."""
    return ROOT / "demo-samples"


def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> None:
    """A panic that reaches Python fails the run, even where a test expects an error."""
    if call.excinfo is not None and call.excinfo.typename == "PanicException":
        pytest.exit(f"panic across the boundary in {item.nodeid}: {call.excinfo.value}", returncode=1)
