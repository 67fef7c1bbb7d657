"""What several tests of the Python package share."""

from __future__ import annotations

import os
from typing import Any

from hypothesis import HealthCheck, settings

EXPLORED = os.environ.get("SILTCODE_EXPLORE")


def cases(number: int) -> settings:
    """So many cases, the same each time; with SILTCODE_EXPLORE=N, N times as many, and others each time."""
    return settings(
        max_examples=number * int(EXPLORED or 1),
        derandomize=EXPLORED is None,
        database=None,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
    )


class Capsules:
    """An object that has nothing but one of the two protocols of the Arrow PyCapsule interface."""

    def __init__(self, give: Any, protocol: str) -> None:
        setattr(self, protocol, give)


def by_stream(holder: Any) -> Capsules:
    """What it hands out as a stream, and nothing else of it."""
    return Capsules(holder.__arrow_c_stream__, "__arrow_c_stream__")


def by_array(holder: Any) -> Capsules:
    """What it hands out as an array, and nothing else of it."""
    return Capsules(holder.__arrow_c_array__, "__arrow_c_array__")
