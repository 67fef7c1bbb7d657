"""Counts of one sample, as they are handed to the library."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

Scale = Literal["um(c)", "um(b)", "um(acftd)", "um(microscope)"]
Per = Literal["mL", "100 mL", "L"]


def spectrum_given(
    counts: Mapping[float, Any],
    *,
    per: Per = "mL",
    scale: Scale = "um(c)",
    differential: bool = False,
) -> dict[str, Any]:
    """A mapping of size to count in the form that the native module takes."""
    channels = [{"um": float(um), "reading": _reading(reading)} for um, reading in counts.items()]
    return {"scale": scale, "per": per, "differential": differential, "channels": channels}


def _reading(reading: Any) -> float | str | None:
    return reading if reading is None or isinstance(reading, str) else float(reading)
