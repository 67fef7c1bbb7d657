"""What several tests of the Python package share."""

from __future__ import annotations

from typing import Any


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
