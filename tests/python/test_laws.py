"""The two laws of a spectrum, against the golden rows, numpy and counts drawn at random."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas
import pytest
import siltcode
from siltcode import Curve, SiltcodeError, counting_deviation

if TYPE_CHECKING:
    from conftest import Example

Examples = Callable[[str], "dict[str, Example]"]


def test_the_golden_rows(examples: Examples) -> None:
    rows = examples("spectrum")
    given = rows["Z01"].inputs
    points = (4, given["N4"]), (6, given["N6"])
    power, log_log2 = (Curve(law, *points) for law in ("power", "log-log2"))
    read = {law.law: (law.slope, law.at(given["d"]), law.weight(given["d"])) for law in (power, log_log2)}
    found = {
        "log_log2": dict(zip(("b", "N14", "weight"), read["log-log2"], strict=True)),
        "power": dict(zip(("S", "N14", "weight"), read["power"], strict=True)),
        "ratio_of_models": read["power"][1] / read["log-log2"][1],
    }
    rows["Z01"].meets(found)
    counted = (4, rows["Z02"].inputs["k4"]), (6, rows["Z02"].inputs["k6"])
    deviation = counting_deviation("log-log2", *counted, 14)
    found = {
        "sd_lnN14_loglog2": deviation,
        "sd_codes_loglog2": deviation / math.log(2),
        "sd_lnN14_power": counting_deviation("power", *counted, 14),
    }
    rows["Z02"].meets(found, but=["sd_if_channels_wrongly_independent"])
    given = rows["Z03"].inputs
    points = (6, given["N6"]), (14, given["N14"])
    rows["Z03"].meets({"log_log2": Curve("log-log2", *points).at(given["d"]), "power": Curve("power", *points).at(given["d"])})
    given = rows["Z04"].inputs
    above = siltcode.power_density(given["t"], given["differential_slope_s"], np.array([1, given["D"]]))
    found = {"cumulative_S": -np.log(above[1] / above[0]) / np.log(given["D"]), "T": above[0], "N_ge_6": above[1]}
    rows["Z04"].meets(found)


def test_curves_of_arrays_go_through_their_points() -> None:
    um = pandas.Series([4.0, 6.0, 14.0, 21.0, np.nan], index=list("abcde"))
    for law, straight in (("power", np.log), ("log-log2", lambda d: np.log(d) ** 2)):
        curve = Curve(law, (6, 500), (14, 40))  # type: ignore[arg-type]
        found = curve.at(um)
        assert list(found.index) == list("abcde")
        slope = math.log(500 / 40) / (straight(14.0) - straight(6.0))
        np.testing.assert_allclose(found, 500 * np.exp(-slope * (straight(um) - straight(6.0))), rtol=1e-12)
        assert curve.slope == pytest.approx(slope)
        assert pickle.loads(pickle.dumps(curve)) == curve
        assert hash(pickle.loads(pickle.dumps(curve))) == hash(curve)


def test_counting_deviation_is_that_of_drawn_counts() -> None:
    draw = np.random.default_rng(4406)
    large = draw.poisson(500, 400_000)
    small = large + draw.poisson(1500, 400_000)
    weight = Curve("power", (4, 2000), (6, 500)).weight(14)
    read = (1 + weight) * np.log(large) - weight * np.log(small)
    assert counting_deviation("power", (4, 2000), (6, 500), 14) == pytest.approx(read.std(), rel=0.01)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Curve("power", (6, 500), (6, 40)).slope,
        lambda: Curve("power", (6, 500), (14, 0)).at(10),
        lambda: Curve("log-log2", (6, 500), (14, 40)).at(0.5),
        lambda: counting_deviation("power", (4, 10), (6, 20), 14),
        lambda: siltcode.power_density(1.0, 1.0, 6),
    ],
)
def test_laws_that_cannot_be_drawn(call: Callable[[], object]) -> None:
    with pytest.raises(SiltcodeError) as caught:
        call()
    assert caught.value.code == "law-undefined"
    with pytest.raises(SiltcodeError) as caught:
        Curve("line", (6, 500), (14, 40)).at(10)  # type: ignore[arg-type]
    assert caught.value.code == "quantity-out-of-range"
