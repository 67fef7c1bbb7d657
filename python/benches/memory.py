"""How much memory scoring takes beyond its input, in sizes of its output, and how long it takes.

    python python/benches/memory.py [ROWS]

Each case runs in a process of its own. Peak resident memory is read before and after the call; what lies between, less the
output itself, is the extra. A ratio of at most 1 is what the package promises for ten million rows.
"""

from __future__ import annotations

import multiprocessing
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import siltcode

MB = 1e6


def columns(rows: int) -> dict[str, np.ndarray]:
    """Invented counts, falling with size."""
    n4 = np.random.default_rng(4406).lognormal(7.0, 1.5, rows)
    return {"n4": n4, "n6": n4 / 3.2, "n14": n4 / 31.0}


def size_of(found: Any) -> float:
    """The bytes that a result holds."""
    if hasattr(found, "nbytes"):
        return float(found.nbytes)
    if isinstance(found, float):
        return 0.0
    if hasattr(found, "estimated_size"):
        return float(found.estimated_size())
    return float(found.memory_usage(index=False, deep=True).sum())


def frame(module: str) -> Callable[[int], Any]:
    def make(rows: int) -> Any:
        import importlib

        library = importlib.import_module(module)
        return (library.table if module == "pyarrow" else library.DataFrame)(columns(rows))

    return make


def score(df: Any) -> Any:
    return siltcode.score_frame(df, spec="18/16/13")


CASES: dict[str, tuple[Callable[[int], Any], Callable[[Any], Any]]] = {
    "range_numbers, numpy": (lambda rows: columns(rows)["n4"], siltcode.range_numbers),
    "score_frame, polars": (frame("polars"), score),
    "score_frame, pyarrow": (frame("pyarrow"), score),
    "score_frame, pandas": (frame("pandas"), score),
}


def status(field: str) -> float:
    """A line of the process's status [bytes]: VmRSS now, VmHWM the peak since it was last reset."""
    with open("/proc/self/status", encoding="ascii") as lines:
        line = next(line for line in lines if line.startswith(field))
    return float(line.split()[1]) * 1024.0


def room_taken(call: Callable[[], Any]) -> tuple[Any, float]:
    """What a call comes to, and the memory it takes at its peak besides that [bytes]."""
    with open("/proc/self/clear_refs", "w", encoding="ascii") as file:
        file.write("5")
    before = status("VmRSS")
    found = call()
    return found, max(status("VmHWM") - before - size_of(found), 0.0)


def in_a_process(work: Callable[..., None], *given: Any) -> None:
    """Runs the work in a process of its own, and stops where it failed."""
    process = multiprocessing.get_context("spawn").Process(target=work, args=given)
    process.start()
    process.join()
    if process.exitcode:
        sys.exit(process.exitcode)


def run(name: str, rows: int) -> None:
    make, call = CASES[name]
    call(make(1000))  # what is loaded once is not counted
    given = make(rows)
    start = time.perf_counter()
    found, besides = room_taken(lambda: call(given))
    seconds = time.perf_counter() - start
    output = size_of(found)
    extra = f"extra {besides / output:5.2f} x the output"
    print(f"{name:22} {seconds:7.2f} s  output {output / MB:6.0f} MB  {extra}", flush=True)


if __name__ == "__main__":
    rows = int(float(sys.argv[1])) if len(sys.argv) > 1 else 10_000_000
    for name in CASES:
        in_a_process(run, name, rows)
