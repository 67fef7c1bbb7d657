"""What a concentration rests on, in the form that the native module takes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from siltcode.units import in_unit


def evidence(given: Sequence[Any]) -> tuple[float, float, float]:
    """Particles counted [particles], the volume [mL] and the dilution [-], which is 1 where only two are given."""
    raw, volume, dilution = [*given, 1.0][:3]
    return float(raw), float(in_unit(volume, "mL")), float(dilution)
