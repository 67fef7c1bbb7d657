"""What a concentration rests on, in the form that the native module takes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from siltcode import _arrays
from siltcode.units import number_in


def evidence(given: Sequence[Any]) -> tuple[float, float, float]:
    """Particles counted [particles], the volume [mL] and the dilution [-], which is 1 where only two are given."""
    if len(given) not in (2, 3):
        message = f"a count is given in {len(given)} parts"
        _arrays.refused("lengths-differ", message, "give particles and volume, or particles, volume and dilution")
    raw, volume, dilution = [*given, 1.0][:3]
    return float(raw), number_in(volume, "mL"), float(dilution)
