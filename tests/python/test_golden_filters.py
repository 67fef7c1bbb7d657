"""The golden rows on filtration ratios and on tanks, answered from Python."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Literal

import pytest
import siltcode
from siltcode import Beta, Element, Passes, Sample, Stage, Train, passes
from siltcode.units import in_unit

if TYPE_CHECKING:
    from conftest import Example

Examples = Callable[[str], "dict[str, Example]"]
Given = Mapping[str, Any]

#: The efficiency of a filter of the largest ratio that is kept, 1000: a perfect one needs this share of its turnovers.
NEARLY_ALL = 1 - 1 / 1000


def _filtering(ratio: float, **more: Any) -> Element:
    return Element(Beta({4: ratio}), "60 L/min", **more)


def _efficiency(train: Train) -> float:
    """Of a train whose elements are rated at one size."""
    return train.efficiencies([4])[0]


def _ratio(train: Train) -> float:
    return 1 / (1 - _efficiency(train))


def _measured(up: str, down: str) -> Callable[[Given], Given]:
    def answer(given: Given) -> Given:
        found = siltcode.measured_beta([given[up]], [given[down]], "1 mL")
        assert found.beta is not None
        return {"beta": found.ratio, "eff": _efficiency(Train.of(_filtering(found.beta)))}

    return answer


def _between(given: Given) -> Given:
    rules = Beta({given["x1"]: given["beta1"], given["x2"]: given["beta2"]}).at(given["x"]).rules
    return dict(zip(("lnb_x", "lnb_lnx", "lnbm1_lnx"), rules or (), strict=True))


def _series(given: Given) -> Given:
    train = Train.of(_filtering(given["beta1"]), _filtering(given["beta2"]))
    assert siltcode.in_series(given["beta1"], given["beta2"]) == pytest.approx(_ratio(train), rel=1e-12)
    least, greatest = train.efficiency(4)
    assert greatest == pytest.approx(_efficiency(train), rel=1e-12)
    bounds = (_ratio(train), 1 / (1 - least))
    return dict(zip(("series_independent", "series_lower_bound_same_survivors"), bounds, strict=True))


def _sizes(given: Given) -> Given:
    found = Beta({given["x1"]: given["beta1"], given["x2"]: given["beta2"]}).size_for(given["beta_target"])
    assert found is not None
    return {"x_lnb_x": found[0], "x_lnb_lnx": found[1]}


def _subclasses(given: Given) -> Given:
    first, second = given["beta1_by_subclass"], given["beta2_by_subclass"]
    ratios = {"beta1_lumped": first, "beta2_lumped": second, "series_true": siltcode.in_series(first, second)}
    return {key: siltcode.ratio_of_bins(list(zip(given["fractions"], each, strict=True))) for key, each in ratios.items()}


def _binned(given: Given) -> Given:
    sizes = given["sizes"]
    challenge = Sample.of(dict(zip(sizes, given["upstream_cumulative"], strict=True)))
    bins = Beta(dict(zip(sizes, given["beta_cumulative"], strict=True))).bins(sizes, tested_with=challenge)
    entering = [band.per_ml for band in challenge.bands]
    leaving = [count / ratio for count, ratio in zip(entering, bins, strict=True)]
    return {
        "downstream_cumulative": [sum(leaving[i:]) for i in range(3)],
        "upstream_bins": entering,
        "downstream_bins": leaving,
        "beta_bins": bins,
    }


def _parallel(given: Given) -> Given:
    (filtered, bare), (ratio, _) = given["flow_fraction"], given["beta"]
    housing = Element(None, "60 L/min", "empty-housing", flow=bare)
    return {"beta_parallel": _ratio(Train.of([_filtering(ratio, flow=filtered), housing]))}


def _leaking(given: Given) -> Given:
    element = _filtering(given["beta_element"])
    trains = [Train.of(Stage((element,), leak=leak)) for leak in given["bypass_fraction"]]
    return {"beta_eff": list(map(_ratio, trains)), "ceiling_1_over_b": [train.ceiling for train in trains]}


def _one_bin(start: float, target: float, ratio: float, **more: Any) -> Passes:
    """A tank of particles of one size, cleaned through a filter; an hour a turnover unless told otherwise."""
    plant = {"tank": "1 m3", "flow": "1 m3/h", **more}
    return passes({14: start}, {14: target}, Beta({14: ratio}), **plant)


def _after(job: Passes, turnovers: Any, at: Literal["tank", "suction"] = "tank") -> list[float]:
    return list(job.path(turnovers, at)["14 um(c)"])


def _apart(given: Given) -> Given:
    """Every bin decays by its own ratio; the counts at and above a size are their sums."""
    bins = zip(given["upstream_bins"], given["beta_bins"], strict=True)
    paths = [_after(_one_bin(start, 1e-3, ratio), given["turnovers"]) for start, ratio in bins]
    after = {str(turnovers): [path[i] for path in paths] for i, turnovers in enumerate(given["turnovers"])}
    return {turnovers: _apparent(bins, given["beta_bins"]) for turnovers, bins in after.items()}


def _apparent(counts: list[float], ratios: list[float]) -> Given:
    """What counts at and above a size make of the ratios of the bins."""
    bins = list(zip(counts, ratios, strict=True))
    lumped = {f"beta{um}_apparent": siltcode.ratio_of_bins(bins[i:]) for i, um in enumerate((4, 6))}
    return {"cum": [sum(counts[i:]) for i in range(3)], **lumped}


def _perfectly(start: float, target: float) -> float:
    """Turnovers through a perfect filter."""
    return _one_bin(start, target, 1000).turnovers * NEARLY_ALL


def _left(turnovers: Any) -> list[float]:
    """The shares left after turnovers through a perfect filter."""
    given = [turnovers] if isinstance(turnovers, (int, float)) else turnovers
    return _after(_one_bin(1, 0.5, 1000), [each / NEARLY_ALL for each in given])


def _air_changes(given: Given) -> Given:
    def minutes(changes: float, removal: float) -> float:
        return _one_bin(1, 1 - removal, 1000, flow=f"{changes} m3/h").hours * NEARLY_ALL * 60

    return {"minutes": [[minutes(changes, removal) for removal in given["removal"]] for changes in given["ACH"]]}


def _rule_of_thumb(given: Given) -> Given:
    plant = {"tank": f"{given['volume_gal']} gal", "flow": f"{given['flow_gpm']} gpm"}
    minutes = _one_bin(2, 1, 10, **plant).hours_of(given["multiple"]) * 60
    seen = 1 - _left(given["multiple"])[0]
    return {"minutes": minutes, "minutes_two_pass": 2 * minutes, "fraction_seen_by_filter": seen}


def _one_pass(given: Given) -> Given:
    found = [_one_bin(ratio, 1, ratio).turnovers for ratio in given["beta"]]
    assert found == pytest.approx(siltcode.turnovers_like_one_pass(given["beta"]), rel=1e-12)
    return {"turnovers_equal_to_one_true_pass": found}


def _range_number(given: Given) -> Given:
    needed = [_one_bin(2, 1, ratio).turnovers for ratio in given["beta"]]
    return {"turnovers_per_ISO_code": needed, "codes_per_turnover": [1 / each for each in needed]}


def _fed(given: Given, start: float) -> Passes:
    plant = {"tank": f"{given['V_L']} L", "flow": f"{given['Q_L_min']} L/min"}
    ingress = {14: given["ingress_per_mL_min"] * 60}
    return _one_bin(start, given["n_target"], given["beta"], ingress=ingress, **plant)


def _ingress(given: Given) -> Given:
    job = _fed(given, given["n0"])
    return {
        "n_inf": job.channels[0].floor_per_ml,
        "turnovers": job.turnovers,
        "hours": job.hours,
        "turnovers_no_ingress": _one_bin(given["n0"], given["n_target"], given["beta"]).turnovers,
        "n_at_3_turnovers": _after(job, 3)[0],
    }


def _unreachable(given: Given) -> Given:
    job = _fed(given, 20000)
    return {"n_inf": job.channels[0].floor_per_ml, "reachable": job.reachable}


def _steady(given: Given) -> Given:
    (entering,) = given["R_over_Q_per_mL"]
    jobs = [_one_bin(1e4, 1, ratio, ingress={14: entering}) for ratio in given["beta"]]
    floors = [job.channels[0].floor_per_ml for job in jobs]
    passed = [1 - _efficiency(Train.of(_filtering(ratio))) for ratio in given["beta"]]
    behind = [floor * share for floor, share in zip(floors, passed, strict=True)]
    return {"n_upstream": floors, "n_downstream": behind}


def _missing_the_filter(given: Given) -> Given:
    short, bypass = {"short_circuit": given["short_circuit_s"]}, {"bypass": given["bypass_b"]}

    def efficiencies(**more: float) -> list[float]:
        return [math.log(1e3) / _one_bin(1e3, 1, ratio, **more).turnovers for ratio in given["beta"]]

    return {"E_short": efficiencies(**short), "E_bypass": efficiencies(**bypass), "E_both": efficiencies(**short, **bypass)}


def _dead_zone(given: Given) -> Given:
    active = given["active_fraction"]
    zoned = _one_bin(1, 0.5, given["beta"], dead_zone=(1 - active, given["exchange_over_Q"]))
    mean, suction = (_after(zoned, given["turnovers"], at) for at in ("tank", "suction"))
    paths = {
        "c1": suction,
        "c2": [(all_ - active * moving) / (1 - active) for all_, moving in zip(mean, suction, strict=True)],
        "mean": mean,
        "well_mixed": _after(_one_bin(1, 0.5, given["beta"]), given["turnovers"]),
    }
    return {str(after): {key: path[i] for key, path in paths.items()} for i, after in enumerate(given["turnovers"])}


def _plug(given: Given) -> Given:
    suction, mean = zip(*(siltcode.displaced(given["beta"], after) for after in given["turnovers"]), strict=True)
    return {"suction": suction, "tank_mean": mean}


def _cells(given: Given) -> Given:
    jobs = [_one_bin(1, 0.5, given["beta"], cells=cells) for cells in given["cells"]]
    return {
        "suction": [_after(job, given["turnovers"], "suction")[0] for job in jobs],
        "mean": [_after(job, given["turnovers"])[0] for job in jobs],
        "plug_mean_limit": siltcode.displaced(given["beta"], given["turnovers"])[1],
    }


def _shedding(given: Given) -> Given:
    job = _one_bin(given["n0"], 100, given["beta"], shedding={14: given["shed_per_mL"]})
    return {"n_inf": job.channels[0].floor_per_ml, "n": _after(job, given["turnovers"])}


def _passed(given: Given) -> Given:
    remaining = _after(_one_bin(1, 0.5, given["beta"]), given["turnovers"])
    return {
        "P_never_filtered": _left(given["turnovers"]),
        "P_filtered_at_least_twice": siltcode.passed_at_least(given["turnovers"], 2).tolist(),
        "remaining": remaining,
    }


def _slowest(given: Given) -> Given:
    plant = {"tank": f"{given['V_L']} L", "flow": f"{given['Q_L_min']} L/min"}
    targets = siltcode.range_bounds(given["target_code"])[1]
    channels = zip(given["n0"], targets, given["beta"], strict=True)
    jobs = [_one_bin(start, target, ratio, **plant) for start, target, ratio in channels]
    slowest = max(range(3), key=lambda i: jobs[i].turnovers)
    return {
        "turnovers_each": [job.turnovers for job in jobs],
        "governing": f"{given['sizes'][slowest]} um",
        "turnovers": jobs[slowest].turnovers,
        "hours": jobs[slowest].hours,
    }


def _at_rated_flow(given: Given) -> Given:
    element = Element(None, f"{given['rated_gpm']} gpm", clean_drop="1 psi", terminal_drop="15 psi", viscosity=32)
    found = element.at_rated(f"{given['dP_psi']} psi", f"{given['flow_gpm']} gpm", 32)
    assert found is not None
    return {"dP_at_rated": found / in_unit("1 psi", "kPa")}


def _at_rated_viscosity(given: Given) -> Given:
    element = Element(None, given["Q_ref"], clean_drop=1, terminal_drop=100, viscosity=given["nu_ref_cSt"])
    return {"dP_ref_laminar": element.at_rated(given["dP"], given["Q_meas"], given["nu_meas_cSt"])}


def _plainly(given: Given) -> Given:
    return {"N": _one_bin(given["n0"], given["nT"], given["beta"]).turnovers}


def _unsure(given: Given) -> Passes:
    doubt = {
        "start_spread": math.exp(given["u_ln_n0"]),
        "beta_spread": given["gsd_of_beta_minus_1"],
        "mixing": given["mixing_median"],
        "mixing_spread": given["gsd_mixing"],
    }
    return _one_bin(given["n0"], given["nT"], given["beta_median"], **doubt)


def _quantiles(given: Given) -> Given:
    job = _unsure(given)
    return {"mean": job.mean, **{f"q{percent:02}": job.quantile(percent / 100) for percent in (5, 50, 95)}}


#: What each row asks, answered, file by file.
ANSWERS: dict[tuple[str, str], Callable[[Given], Given]] = {
    ("beta", "B01"): lambda given: {"eff": [_efficiency(Train.of(_filtering(ratio))) for ratio in given["beta"]]},
    ("beta", "B02"): _measured("N_up_per_mL", "N_down_per_mL"),
    ("beta", "B03"): _measured("N_up", "N_down"),
    ("beta", "B04"): _between,
    ("beta", "B05"): _sizes,
    ("beta", "B06"): lambda given: {"ratio_of_means": siltcode.measured_beta(given["up"], given["down"], 1).ratio},
    ("beta", "B07"): _series,
    ("beta", "B08"): _subclasses,
    ("beta", "B09"): _parallel,
    ("beta", "B10"): _leaking,
    ("beta", "B11"): _binned,
    ("beta", "B12"): _apart,
    ("tank", "T01"): lambda given: {"turnovers": _perfectly(1, 1 - given["fraction_removed"])},
    ("tank", "T02"): _air_changes,
    ("tank", "T03"): lambda given: {"fraction_treated": [1 - left for left in _left(given["turnovers"])]},
    ("tank", "T04"): lambda given: {"exchange": 1 - _left(given["turnovers"])[0]},
    ("tank", "T05"): lambda given: {"new_fraction": 1 - _left(given["turnovers"])[0]},
    ("tank", "T06"): _rule_of_thumb,
    ("tank", "T07"): _one_pass,
    ("tank", "T08"): _range_number,
    ("tank", "T09"): _ingress,
    ("tank", "T10"): _unreachable,
    ("tank", "T11"): _steady,
    ("tank", "T12"): _missing_the_filter,
    ("tank", "T13"): _dead_zone,
    ("tank", "T14"): _plug,
    ("tank", "T15"): _cells,
    ("tank", "T16"): _shedding,
    ("tank", "T20"): _passed,
    ("tank", "T21"): _slowest,
    ("element", "L04"): _at_rated_flow,
    ("element", "L06"): _at_rated_viscosity,
    ("ensemble", "U01"): _plainly,
    ("ensemble", "U02"): _quantiles,
    ("ensemble", "U03"): _quantiles,
    ("ensemble", "U04"): _quantiles,
}

#: What a row states besides: traps, arithmetic on other answers, and slopes, which Python does not ask for.
BESIDES = {
    "B06": ["mean_of_ratios_WRONG", "exp_mean_log"],
    "B08": ["product_of_lumped_WRONG"],
    "T02": ["printed"],
    "T06": ["printed_two_pass_ERRATUM"],
    "T07": ["beta_for_which_7_is_exact"],
    "T13": ["eigenvalues"],
    "T20": ["remaining_by_sum_beta_minus_N"],
    "U01": ["dN_dlnn0", "dN_dlnbeta", "u_N"],
    **{id: ["delta_lognormal_q95", "delta_normal_q95"] for id in ("U02", "U03", "U04")},
}

#: Answered below, and beside what they are about: settling, flushing, transfers.
ELSEWHERE = {"U05", "U06", "T17", "T18", "T19"}


def test_every_row_is_answered(examples: Examples) -> None:
    rows = {id for name in ("beta", "tank", "ensemble", "element") for id in examples(name)}
    assert rows == {id for _, id in ANSWERS} | ELSEWHERE


@pytest.mark.parametrize(("name", "id"), ANSWERS)
def test_rows(examples: Examples, name: str, id: str) -> None:
    row = examples(name)[id]
    row.meets(ANSWERS[name, id](row.inputs), BESIDES.get(id, ()))


def test_t07_the_ratio_for_which_seven_turnovers_are_one_pass(examples: Examples) -> None:
    exact = examples("tank")["T07"].expected["beta_for_which_7_is_exact"]
    assert _one_bin(exact, 1, 10).beta_for(7.0)[14.0] == pytest.approx(exact, rel=1e-10)


def test_u05_and_u06_ask_more_of_u02(examples: Examples) -> None:
    rows = examples("ensemble")
    job = _unsure(rows["U02"].inputs)
    rows["U05"].meets({"q90": job.quantile(rows["U05"].inputs["p"])})
    assert job.causes is not None
    named = {"initial count": "start", "beta": "beta", "mixing": "mixing"}
    rows["U06"].meets({"share": {key: job.causes[cause] for key, cause in named.items()}})
