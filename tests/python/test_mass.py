"""The mass of particles, against quadrature of SciPy and the golden rows."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pint
import pytest
import siltcode
from hypothesis import given as given_of
from hypothesis import strategies as st
from scipy import integrate
from siltcode import Sample, SiltcodeError, mass_of, mass_of_spheres
from support import cases

if TYPE_CHECKING:
    from conftest import Example

Examples = Callable[[str], "dict[str, Example]"]


def test_the_golden_rows(examples: Examples) -> None:
    spheres, tail = examples("spectrum")["Z05"], examples("spectrum")["Z06"]
    given = spheres.inputs
    found = mass_of_spheres(given["n_per_mL"], given["d_um"], f"{given['rho_g_cm3']} g/cm3")
    spheres.meets({"mg_per_L": found}, but=["volume_um3_each"])
    given = tail.inputs
    counts = {4: given["N4"], 6: given["N6"], 14: given["N14"]}
    masses = [mass_of(Sample.of(counts), f"{given['rho']} kg/L", 1, largest) for largest in given["d_max"]]
    found = {
        "mg_L_4_6": masses[0].bins[0].power[0],
        "mg_L_6_14": masses[0].bins[1].power[0],
        "mg_L_14_dmax": [mass.bins[2].power[1] for mass in masses],
        "total": [mass.power[1] for mass in masses],
    }
    tail.meets(found, but=["S_4_6", "S_6_14"])


@cases(15)
@given_of(st.floats(1.2, 20.0), st.floats(1.2, 20.0))
def test_both_laws_integrate_the_cube(first: float, second: float) -> None:
    """d^3 dN over each bin, numerically, under the power law and under ln N linear in ln(d)^2."""
    sizes, counts = [4.0, 6.0, 14.0], [1000.0, 1000.0 / first, 1000.0 / first / second]
    mass = mass_of(Sample.of(dict(zip(sizes, counts, strict=True))), "2.65 kg/L", 1, 30)
    per_um3 = 2650 * math.pi / 6 * 1e-9
    for name, x in (("power", np.log), ("log_log2", lambda um: np.log(um) ** 2)):
        slopes = -np.diff(np.log(counts)) / np.diff(x(np.array(sizes)))
        for i, bin in enumerate(mass.bins):
            um = np.geomspace(sizes[i], [*sizes, 30.0][i + 1], 4001)
            above = counts[i] * np.exp(-slopes[min(i, 1)] * (x(um) - x(sizes[i])))
            cubes = integrate.trapezoid(um**3, -above)
            assert getattr(bin, name)[0] == pytest.approx(per_um3 * cubes, rel=1e-5)


def test_intervals_widen_with_what_is_assumed() -> None:
    bottle = Sample.of({4: 2000, 6: 500, 14: 40}, "day tank")
    sure = mass_of(bottle, "2.65 kg/L", 1, 50)
    unsure = mass_of(bottle, ("1.5 kg/L", "2.65 kg/L"), (0.5, 1), (30, 70))
    assert unsure.least < sure.least <= sure.most < unsure.most
    assert str(unsure) == "0.271 to 1.35 mg/L"
    assert "2.65" not in unsure._repr_html_()
    assert unsure._repr_html_().startswith("<table")
    for mass in (sure, unsure):
        assert pickle.loads(pickle.dumps(mass)) == mass
        assert hash(pickle.loads(pickle.dumps(mass))) == hash(mass)


def test_spheres_of_arrays_and_units() -> None:
    unit = pint.UnitRegistry()
    um = np.array([5.0, 10.0, math.nan])
    found = mass_of_spheres(1000, um, unit.Quantity(2.65, "kg / L"))
    np.testing.assert_allclose(found, 1000 * 2.65 * math.pi / 6 * um**3 * 1e-6, rtol=1e-12)


@pytest.mark.parametrize(
    ("density", "shape", "largest", "code"),
    [
        ("2.65 kg/L", 1, 10, "quantity-out-of-range"),
        ("2.65 kg/L", 0, 30, "quantity-out-of-range"),
        ("2.65 kg/L", (1, 0.5), 30, "quantity-out-of-range"),
        (("2 kg/L", "1 kg/L"), 1, 30, "quantity-out-of-range"),
        ("2.65 L", 1, 30, "quantity-unreadable"),
        (0, 1, 30, "quantity-out-of-range"),
    ],
)
def test_what_cannot_be_is_refused(density: object, shape: object, largest: object, code: str) -> None:
    with pytest.raises(SiltcodeError) as caught:
        mass_of(Sample.of({14: 5}), density, shape, largest)  # type: ignore[arg-type]
    assert caught.value.code == code


def test_bands_and_between() -> None:
    bottle = siltcode.Sample.of({4: 1752, 6: 517, 14: 55})
    assert [band.per_ml for band in bottle.bands] == pytest.approx([1235, 462, 55])
    found = bottle.between(10)
    assert found is not None
    power = math.exp(np.interp(math.log(10), np.log([6, 14]), np.log([517, 55])))
    log_log2 = math.exp(np.interp(math.log(10) ** 2, np.log([6, 14]) ** 2, np.log([517, 55])))
    assert (found.power, found.log_log2) == pytest.approx((power, log_log2), rel=1e-12)
    assert (found.least_per_ml, found.most_per_ml) == pytest.approx((power, log_log2), rel=1e-12)
    assert bottle.between(4) is None
    assert bottle.between(20) is None


def test_the_golden_row_between_two_sizes(examples: Examples) -> None:
    row = examples("spectrum")["Z03"]
    found = Sample.of({6: row.inputs["N6"], 14: row.inputs["N14"]}).between(row.inputs["d"])
    assert found is not None
    row.meets({"power": found.power, "log_log2": found.log_log2})
