"""The golden rows on element loading and suction, answered from Python."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import siltcode
from scipy import constants
from siltcode import Sample
from siltcode.units import in_unit

if TYPE_CHECKING:
    from conftest import Example

GOLDEN = Path(__file__).resolve().parents[1] / "golden"
Examples = Callable[[str], "dict[str, Example]"]
Given = Mapping[str, Any]


def _laws(given: Given) -> Given:
    laws = [law.split()[0] for law in given["law"]]
    return {"dP_ratio": [siltcode.resistance_ratio(law, given["K_v"]).tolist() for law in laws]}


def _half_the_pressure(given: Given) -> Given:
    clean, terminal = given["dP0"], given["dP_terminal"]
    assert terminal / clean == pytest.approx(given["ratio"])
    laws = {"exponential": "intermediate", "cake": "cake", "standard": "standard", "complete": "complete"}
    used = {name: siltcode.capacity_used(law, terminal / 2, clean, terminal) for name, law in laws.items()}  # type: ignore[arg-type]
    return {"fraction_of_capacity_used_at_half_terminal": used}


def _half_the_rise(given: Given) -> Given:
    rise = given["dP_fraction"]
    return {"capacity_used": siltcode.capacity_used("cubic", f"{20 + rise * 180} kPa", "0.2 bar", "2 bar")}


def _partly_laminar(given: Given) -> Given:
    flows = ("50 L/min", f"{50 * given['q_ratio']} L/min")
    return {"dP_at_rated": siltcode.pressure_at_rated(given["dP"], *flows, laminar=given["laminar_fraction_at_measured"])}


def _foreseen(given: Given) -> Given:
    bar = [f"{each} bar" for each in given["dP_bar"]]
    due = siltcode.change_out(given["t_h"], bar, f"{given['terminal_bar']} bar", axis="time", level=given["level"])
    fit = next(fit for fit in siltcode.loading_fits(given["t_h"], bar, axis="time") if fit.law == "intermediate")
    answer = due.under("intermediate")
    assert answer is not None
    assert answer == due.best
    assert due.last is not None
    assert fit.clean_kpa is not None
    return {
        "a": math.log(fit.clean_kpa / 100),
        "b": fit.constant,
        "s": fit.deviation,
        "t_terminal": answer.at,
        "remaining_h": answer.at - due.last,
        "fieller_mean_line": answer.mean_line,
        "fieller_single_reading": answer.single_reading,
    }


def _cake(given: Given) -> Given:
    """At constant pressure t/V takes the place of the mean resistance."""
    over = [t / volume for t, volume in zip(given["t_s"], given["V_m3"], strict=True)]
    fit = next(fit for fit in siltcode.loading_fits(given["V_m3"], over) if fit.law == "cake")
    assert fit.clean_kpa is not None
    assert fit.constant is not None
    slope, intercept = fit.clean_kpa * fit.constant, fit.clean_kpa
    area, per_mu = given["A_m2"], given["dP_Pa"] / given["mu"]
    return {
        "slope_s_m6": slope,
        "intercept_s_m3": intercept,
        "Kp": 2 * slope,
        "alpha_m_kg": 2 * slope * area**2 * per_mu / given["cs_kg_m3"],
        "Rm_1_m": intercept * area * per_mu,
    }


def _caught(given: Given) -> Given:
    count = given["dN_um3_per_mL"] / (math.pi / 6 * 10**3)
    samples = (Sample.of({10: count}), Sample.of({10: 0}))
    capacity = f"{given['capacity_g']} g"
    caught = siltcode.captured_mass(*samples, f"{given['V_L']} L", f"{given['rho']} kg/L", 1, 10, capacity=capacity)
    assert caught.elements is not None
    assert caught.least_g == caught.most_g
    return {"mass_g": caught.most_g, "elements": caught.elements[0]}


def _change_rule(given: Given) -> Given:
    years = given["years"]
    for duty, key in (("last-point", "dP_limit_psi_last_point"), ("elsewhere", "dP_limit_psi_elsewhere")):
        rule = siltcode.change_rule(duty)  # type: ignore[arg-type]
        assert rule.limit == pytest.approx(in_unit(f"{given[key]} psi", "kPa"), rel=1e-12)
        assert rule.is_due(rule.limit)
        assert rule.is_due(0, f"{years} years")
        assert not rule.is_due(rule.limit * (1 - 1e-12), f"{years * (1 - 1e-12)} years")
    return {"change_if": f"dP>=limit or age>={years} y"}


def _heads_in_feet(given: Given) -> Given:
    foot = 998 * constants.g * 0.3048 / 1000  # kPa
    line = {"line_loss": (given["he"] + given["hf"]) * foot, "vapour_pressure": given["hvp"] * foot}
    found = [
        siltcode.pump_suction(998, atmosphere=given["Ha_ft"] * foot, lift=f"{-height} ft", **line).head_available_m
        for height in given["h_ft"]
    ]
    return {"NPSHA_ft": [metres / 0.3048 for metres in found]}


def _lift(given: Given) -> Given:
    inlet = siltcode.pump_suction(
        f"{given['rho']} kg/m3",
        atmosphere=f"{given['p_atm_Pa']} Pa",
        lift=f"{given['suction_lift_m']} m",
        line_loss=f"{given['line_loss_Pa']} Pa",
        element_drop=f"{given['suction_element_dP_Pa']} Pa",
        vapour_pressure=f"{given['p_vap_Pa']} Pa",
    )
    return {"p_inlet_abs_Pa": inlet.inlet_kpa * 1000, "vacuum_Pa": inlet.vacuum_kpa * 1000, "NPSHA_m": inlet.head_available_m}


#: What each row asks, answered, file by file.
ANSWERS: dict[tuple[str, str], Callable[[Given], Given]] = {
    ("loading", "L01"): _laws,
    ("loading", "L02"): _half_the_pressure,
    ("loading", "L03"): _half_the_rise,
    ("loading", "L05"): _partly_laminar,
    ("loading", "L07"): _foreseen,
    ("loading", "L08"): _cake,
    ("loading", "L11"): _caught,
    ("loading", "L12"): _change_rule,
    ("suction", "L09"): _heads_in_feet,
    ("suction", "L10"): _lift,
}


def test_every_row_is_answered(examples: Examples) -> None:
    assert {(name, id) for name in ("loading", "suction") for id in examples(name)} == set(ANSWERS)


@pytest.mark.parametrize(("name", "id"), ANSWERS)
def test_rows(examples: Examples, name: str, id: str) -> None:
    row = examples(name)[id]
    row.meets(ANSWERS[name, id](row.inputs))


def test_element_rows_by_the_function_of_arrays(examples: Examples) -> None:
    half, thick = examples("element")["L04"], examples("element")["L06"]
    given = half.inputs
    found = siltcode.pressure_at_rated(given["dP_psi"], f"{given['flow_gpm']} gpm", f"{given['rated_gpm']} gpm")
    half.meets({"dP_at_rated": found})
    given = thick.inputs
    viscosities = {"viscosity": given["nu_meas_cSt"], "rated_viscosity": given["nu_ref_cSt"]}
    thick.meets({"dP_ref_laminar": siltcode.pressure_at_rated(given["dP"], given["Q_meas"], given["Q_ref"], **viscosities)})


def _file(stem: str) -> Path:
    return GOLDEN / f"{stem}.csv"


def test_the_profile_over_all_laws_is_that_of_scipy() -> None:
    lines = _file("change_out").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert rows
    for row in rows:
        along, kpa = zip(*json.loads(row["readings"]), strict=True)
        due = siltcode.change_out(along, kpa, float(row["terminal_kpa"]), axis="captured-mass", level=float(row["level"]))
        assert due.outlook == "expected"
        assert due.mean_line is not None
        assert due.single_reading is not None
        found = (due.at, *due.mean_line, *due.single_reading)
        golden = [float(row[name]) for name in ("at", "mean_low", "mean_high", "single_low", "single_high")]
        assert found == pytest.approx(golden, rel=2e-5), row["id"]
        assert due.exponent == pytest.approx(float(row["exponent"]), abs=1e-4), row["id"]
