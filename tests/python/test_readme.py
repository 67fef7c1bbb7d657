"""Every Python example in the README runs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)


def test_there_are_examples() -> None:
    assert EXAMPLES


def test_the_examples_run_one_after_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    for example in EXAMPLES:
        exec(compile(example, "README.md", "exec"), names)
