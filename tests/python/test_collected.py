"""Invented files as others write them: the package reads them as the library does, and accounts for every row."""

from __future__ import annotations

from pathlib import Path

import pytest
import siltcode

FOLDER = Path(__file__).parents[1] / "collected"
EXPECTED = sorted(FOLDER.glob("*.expected"))


def is_bottle(sample: siltcode.Sample, line: str) -> bool:
    """Whether a bottle is the one of a line of the expected result: name, runs, code, counts by size."""
    name, runs, code, counts = line.split("\t")
    if name not in ("?", sample.id) or runs not in ("0", str(len(sample.runs))):
        return False
    score = sample.score()
    by_size = {float(channel.size.split()[0]): channel.per_ml for channel in score.channels}
    for pair in counts.split():
        size, expected = pair.split("=")
        per_ml = by_size.get(float(size))
        if not isinstance(per_ml, float) or abs(per_ml - float(expected)) > 2e-3 * float(expected) + 0.006:
            return False
    return code == ("-" if score.iso4406 is None else score.iso4406)


@pytest.mark.parametrize("expected", EXPECTED, ids=lambda path: path.stem)
def test_every_bottle_comes_out(expected: Path) -> None:
    batch = siltcode.read_counts(expected.with_suffix(""))
    account = batch.account
    assert account["in"] == account["scored"] + account["rejected"] + sum(account["passed_over"].values())
    left = list(batch)
    for line in expected.read_text(encoding="utf-8").splitlines():
        found = next((sample for sample in left if is_bottle(sample, line)), None)
        assert found is not None, line
        left.remove(found)
    assert left == []
