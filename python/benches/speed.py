"""How fast range numbers of a whole array are beside general libraries, room for the result included, and how much
memory they take besides.

    python python/benches/speed.py [ROWS]

Each round runs every way once, and the medians of seven rounds are compared, in processor time: all work on one thread, and
so other work on the machine counts for none. All must come to the same numbers. The extra memory is what lies between the
resident memory before a call and its peak, less the result; each way is measured in a process of its own.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas
import polars
import siltcode
from memory import columns, in_a_process, room_taken

ROUNDS = 7
UPPER = siltcode.range_bounds(np.arange(29))[1]
EDGES = np.concatenate([[-np.inf], UPPER, [np.inf]])
LABELS = [str(number) for number in range(UPPER.size + 1)]
OURS = "siltcode"

#: What is done beforehand for so many rows, and the call that is measured.
Way = Callable[[np.ndarray], Callable[[], Any]]


def into_room(counts: np.ndarray) -> Callable[[], Any]:
    room = np.empty(counts.shape, np.uint8)
    return lambda: siltcode.range_numbers(counts, out=room)


def by_polars(counts: np.ndarray) -> Callable[[], Any]:
    series, breaks = polars.Series(counts), UPPER.tolist()
    return lambda: series.cut(breaks, labels=LABELS).to_physical().cast(polars.UInt8)


WAYS: dict[str, Way] = {
    OURS: lambda counts: lambda: siltcode.range_numbers(counts),
    "siltcode, out=": into_room,
    "siltcode, float32": lambda counts: lambda single=counts.astype(np.float32): siltcode.range_numbers(single),
    "numpy searchsorted": lambda counts: lambda: np.searchsorted(UPPER, counts).astype(np.uint8),
    "pandas.cut": lambda counts: lambda: pandas.cut(counts, EDGES, labels=False).astype(np.uint8),
    "polars cut": by_polars,
    "summing the array": lambda counts: lambda: counts.sum(),
}


def seconds(call: Callable[[], Any]) -> tuple[float, Any]:
    start = time.process_time()
    found = call()
    return time.process_time() - start, found


def same(name: str, found: Any, expected: np.ndarray) -> bool:
    """Whether the numbers are those expected: of single precision nearly all, of a sum none."""
    if name == "summing the array":
        return True
    return float((np.asarray(found) == expected).mean()) >= (0.999 if "float32" in name else 1.0)


def speed(rows: int) -> dict[str, float]:
    """The median of each way [s]."""
    counts = columns(rows)["n4"]
    calls = {name: way(counts) for name, way in WAYS.items()}
    expected = siltcode.range_numbers(counts)
    times: dict[str, list[float]] = {name: [] for name in WAYS}
    for _ in range(ROUNDS):
        for name, call in calls.items():
            took, found = seconds(call)
            if not same(name, found, expected):
                sys.exit(f"{name} comes to other numbers")
            times[name].append(took)
    return {name: statistics.median(took) for name, took in times.items()}


def extra(name: str, rows: int) -> None:
    WAYS[name](columns(1000)["n4"])()  # what is loaded once is not counted
    _, besides = room_taken(WAYS[name](columns(rows)["n4"]))
    print(f"{name:20} extra memory {besides / rows:6.2f} bytes a row", flush=True)


if __name__ == "__main__":
    rows = int(float(sys.argv[1])) if len(sys.argv) > 1 else 10_000_000
    medians = speed(rows)
    for name, median in medians.items():
        ratio = f"{median / medians[OURS]:6.2f} times {OURS}"
        print(f"{name:20} {1e3 * median:8.2f} ms  {1e9 * median / rows:6.2f} ns a row  {ratio}", flush=True)
    for name in WAYS:
        in_a_process(extra, name, rows)
