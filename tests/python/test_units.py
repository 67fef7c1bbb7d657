"""Quantities with units, against pint: every unit of the table, whatever takes one, and what is refused."""

from __future__ import annotations

import csv
from typing import Any, get_args

import numpy as np
import pandas
import pint
import pytest
import siltcode
from siltcode import SiltcodeError
from siltcode.units import _PINT, Unit, in_unit

UNIT = pint.UnitRegistry()
#: The kinds of quantity that Python asks for, by a unit of theirs.
WANTED = {
    "volume": "mL",
    "flow": "L/min",
    "pressure": "kPa",
    "time": "h",
    "length": "m",
    "head": "m head",
    "temperature": "degC",
    "mass": "g",
    "mass concentration": "mg/L",
    "density": "kg/m3",
    "kinematic viscosity": "mm2/s",
    "dynamic viscosity": "mPa.s",
}
#: Symbols of the table that pint spells in another way.
SPELLED = {
    "gal": "gallon",
    "imp gal": "imperial_gallon",
    "bbl": "oil_barrel",
    "ft3": "foot ** 3",
    "in3": "inch ** 3",
    "m3": "meter ** 3",
    "m3/h": "meter ** 3 / hour",
    "gpm": "gallon / minute",
    "gph": "gallon / hour",
    "imp gpm": "imperial_gallon / minute",
    "inHg": "inch_Hg",
    "mmHg": "millimeter_Hg",
    "in": "inch",
    "min": "minute",
    "d": "day",
    "y": "common_year",
    "g/m3": "gram / meter ** 3",
    "kg/m3": "kilogram / meter ** 3",
    "mm2/s": "millimeter ** 2 / second",
    "m2/s": "meter ** 2 / second",
    "mPa.s": "millipascal * second",
    "Pa.s": "pascal * second",
    "cP": "centipoise",
    "cSt": "centistokes",
    "K": "kelvin",
}
ROWS = [
    row
    for row in csv.DictReader(line for line in siltcode.table("units").text.splitlines() if line[0] != "#")
    if row["quantity"] in WANTED
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["symbol"])
def test_every_unit_of_the_table_is_that_of_pint(row: dict[str, str]) -> None:
    wanted: Any = WANTED[row["quantity"]]
    symbol = row["symbol"]
    expected = UNIT.Quantity(12.5, SPELLED.get(symbol, symbol)).to(_PINT[wanted]).magnitude
    for spelling in (symbol, *filter(None, row["aliases"].split("|"))):
        assert in_unit(f"12.5 {spelling}", wanted) == pytest.approx(expected, rel=1e-6)
    assert in_unit(UNIT.Quantity(12.5, SPELLED.get(symbol, symbol)), wanted) == pytest.approx(expected, rel=1e-12)


def test_every_wanted_unit_is_read_and_has_its_name_in_pint() -> None:
    assert set(get_args(Unit)) == set(_PINT)
    for unit in get_args(Unit):
        assert in_unit(f"3 {unit}", unit) == pytest.approx(3.0)
        assert in_unit(3, unit) == 3
        with pytest.raises(SiltcodeError) as caught:
            in_unit("3 furlongs", unit)
        assert caught.value.code == "quantity-unreadable"
        with pytest.raises(SiltcodeError) as caught:
            in_unit(UNIT.Quantity(3, "candela"), unit)
        assert (caught.value.code, unit in caught.value.hint) == ("quantity-unreadable", True)


def test_lists_of_texts_and_arrays_of_pint() -> None:
    assert in_unit(["1 L", "2 L"], "mL") == pytest.approx([1000, 2000])
    np.testing.assert_allclose(in_unit(UNIT.Quantity(np.array([1.0, 2.0]), "liter"), "mL"), [1000, 2000])
    odds = siltcode.code_odds([50, 50], ["5 mL", "0.005 L"])
    np.testing.assert_allclose(odds[0], odds[1])


VOLUME = [5, "5 mL", "0.005 L", UNIT.Quantity(5, "mL"), UNIT.Quantity(0.005, "liter")]


@pytest.mark.parametrize("volume", VOLUME[1:], ids=str)
def test_whatever_takes_a_volume_takes_it_with_its_unit(volume: Any) -> None:
    takes = [
        lambda v: siltcode.measured_beta([100], [10], v).interval,
        lambda v: siltcode.Sample.of({4: 50}, per="raw", volume_ml=v).channels[0].per_ml,
        lambda v: siltcode.Sample((siltcode.Run((siltcode.Channel(4.0, None, 50, v),)),)).score().channels[0].per_ml,
        lambda v: siltcode.iso4406(500, 50, 5, raw=(2500, 250, 25), volume_ml=v),
        lambda v: getattr(siltcode.agreement([100, 180], v), "scatter"),
        lambda v: siltcode.compare((100, v), (50, v)).interval,
        lambda v: siltcode.less_blank(4, (100, v), (50, v)).interval_per_ml,
        lambda v: siltcode.diluted(4, 100, v, 2).per_ml,
        lambda v: siltcode.sequential_step(12, v, 5, 10),
        lambda v: siltcode.sequential_bounds(v, 5, 10),
        lambda v: siltcode.Posterior(50, v).interval(),
        lambda v: siltcode.code_odds(50, v)[10],
    ]
    for take in takes:
        found, plain = take(volume), take(5)
        assert found == (plain if isinstance(plain, (str, siltcode.Code)) else pytest.approx(plain))


@pytest.mark.parametrize("tank", ["18 m3", "18 000 L", UNIT.Quantity(18, "m ** 3")], ids=str)
@pytest.mark.parametrize("flow", ["60 L/min", "3.6 m3/h", UNIT.Quantity(1, "liter / second")], ids=str)
def test_a_job_in_any_units(tank: Any, flow: Any) -> None:
    plain = siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", 18, 60)
    job = siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", tank, flow)
    assert job.hours == pytest.approx(plain.hours, rel=1e-9)
    day = UNIT.Quantity(1, "day")
    assert job.flow_for(day) == pytest.approx(plain.flow_for("24 h"), rel=1e-9)
    assert job.hours_declining(UNIT.Quantity(0.5, "liter / second"), day) == pytest.approx(plain.hours_declining(30, 24))


@pytest.mark.parametrize("call", [
    lambda: siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", None, 60),
    lambda: siltcode.Liquid(None, 1).settling(10, 2650),
    lambda: siltcode.Liquid("850 kg/m3", "10 cP").left(10, "heavy", 1, 1),
    lambda: siltcode.Posterior(5, [1, 2]).interval(),
    lambda: siltcode.Element(None, "60 L/min").clean_at(object(), 32),
])
def test_what_is_no_quantity_is_named(call: Any) -> None:
    with pytest.raises(SiltcodeError) as caught:
        call()
    assert caught.value.code in ("quantity-unreadable", "count-unreadable")


@pytest.mark.parametrize("call", [
    lambda: siltcode.passed_at_least(1.0, -1),
    lambda: siltcode.passed_at_least(1.0, 2.5),  # type: ignore[arg-type]
    lambda: siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", 18, 60).transferred(-1),
    lambda: siltcode.passes("22/20/17", "18/16/13", "4:3,6:20,14:1000", 18, 60).path(at="roof"),  # type: ignore[arg-type]
    lambda: siltcode.score_frame(pandas.DataFrame({"n4": [1]}), {4: "n4"}, per="L"),  # type: ignore[arg-type]
])
def test_other_words_and_numbers_are_refused(call: Any) -> None:
    with pytest.raises(SiltcodeError) as caught:
        call()
    assert caught.value.code == "quantity-out-of-range"


def test_a_pair_is_two() -> None:
    for pair in ((1, 2, 3), (1,), ()):
        with pytest.raises(SiltcodeError):
            siltcode.mass_of(siltcode.Sample.of({4: 5}), 2650, pair, 30)  # type: ignore[arg-type]
