"""Staged plans: the golden rows, an optimiser that is not ours, and what a job is told."""

from __future__ import annotations

import itertools
import math
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import siltcode
from scipy.optimize import minimize
from siltcode import SiltcodeError

if TYPE_CHECKING:
    from conftest import Example

Examples = Callable[[str], "dict[str, Example]"]
Given = Mapping[str, Any]

BAG = {"kind": "bag", "beta": "4:1.5,6:2,14:20", "rated_flow": "200 L/min", "dirt_capacity": "400 g", "price": 15}
FINE = {"kind": "cartridge", "beta": "4:10,6:75,14:1000", "rated_flow": "60 L/min", "dirt_capacity": "80 g", "price": 220}
JOB = {
    "tank": "18 m3",
    "start": "22/20/17",
    "target": "18/16/13",
    "hour_cost": 45,
    "particles": {"density": "2.65 kg/L", "largest": "30 um(c)"},
    "stage": [
        {"name": "coarse", "flow": "120 L/min", "setup_time": "30 min", "element": [BAG]},
        {"name": "fine", "flow": "60 L/min", "element": [FINE]},
    ],
}


def _problem(given: Given, setup: float = 0.0) -> dict[str, Any]:
    """The coarse and the fine stage of P02."""

    def stage(name: str, short: str, setup_cost: float) -> dict[str, Any]:
        held = {"held_back": given[f"E_{name}"], "capacity": given[f"cap_{short}_g"], "price": given[f"price_{short}"]}
        return {"flow": given[f"Q_{name}"], "elements": [held], "setup_cost": setup_cost}

    return {
        "start": given["n0_bins"],
        "grams": given["g_per_count_bin"],
        "limits": list(zip(given["cum_index"], given["limits_cum"], strict=True)),
        "tank": f"{given['V_L']} L",
        "stages": [stage("coarse", "c", setup), stage("fine", "f", 0.0)],
        "hour_cost": 60 * given["time_cost_per_min"],
    }


def _best(problem: Given, **how: bool) -> siltcode.Schedule:
    found = siltcode.schedule(**problem, **how)
    assert found is not None
    assert found.optimal
    assert found.lower_bound <= found.cost * (1 + 1e-12)
    return found


def _fine_only(problem: Given) -> dict[str, Any]:
    return {**problem, "stages": problem["stages"][1:]}


def test_how_long_a_cheap_stage_pays(examples: Examples) -> None:
    row = examples("plan")["P01"]
    given = row.inputs
    elements = [(given[f"price_{which}"], f"{given[f'cap_{which}_g']} g") for which in "cf"]
    dirt = f"{given['mass_g_capturable']} g"
    plant = (f"{given['V_L']} L", f"{given['Q']} L/min", given["E_coarse"])
    until = siltcode.break_even(*plant, dirt, *elements, 60 * given["time_cost_per_min"])
    row.meets({"saving_per_g": until.saving_per_gram, "t_star_min": 60 * until.hours, "mass_left_g": until.dirt_left_g})


def test_parts_of_elements(examples: Examples) -> None:
    rows = examples("plan")
    problem = _problem(rows["P02"].inputs)
    found, alone = _best(problem, in_parts=True), _best(_fine_only(problem), in_parts=True)
    coarse, fine = (60 * hours for hours in found.hours)
    rows["P02"].meets(
        {
            "t_coarse_min": coarse,
            "t_fine_min": fine,
            "final_cum": [sum(found.left_per_ml[1][first:]) for first, _ in problem["limits"]],
            "mass_coarse_g": found.caught_g[0][0],
            "mass_fine_g": found.caught_g[1][0],
            "t_fine_only": 60 * alone.hours[0],
        }
    )
    rows["P02c"].meets({"cost": found.cost, "cost_fine_only": alone.cost})


def test_whole_elements(examples: Examples) -> None:
    rows = examples("plan")
    grid, whole = rows["P03"], rows["P03w"]
    problem = _problem(rows["P02"].inputs, whole.inputs["setup_coarse"])
    found, alone = _best(problem), _best(_fine_only(problem))
    times = dict(zip(("t_coarse_min", "t_fine_min"), (60 * hours for hours in found.hours), strict=True))
    numbers = dict(zip(("n_coarse", "n_fine"), (used[0] for used in found.elements), strict=True))
    whole.meets({**times, **numbers, "cost": found.cost})
    assert found.cost <= grid.expected["cost"]
    # the row's own hours lie on whole minutes of the coarse stage: what they cost, and what they leave, worked out here
    minutes = [grid.expected["t_coarse_min"], grid.expected["t_fine_min"]]
    model = _Model(problem, whole=True)
    assert max(model.over(np.array(minutes) / 60)) == pytest.approx(0, abs=1e-9)
    on_grid = {**dict(zip(times, minutes, strict=True)), "cost": model.cost(np.array(minutes) / 60)}
    used = dict(zip(numbers, model.numbers(np.array(minutes) / 60), strict=True))
    grid.meets({**on_grid, **used, "cost_fine_only": alone.cost, "n_fine_only": alone.elements[0][0]})


class _Model:
    """Stages of one element each, worked out apart from the library."""

    def __init__(self, problem: Given, *, whole: bool) -> None:
        self.start, self.grams = np.array(problem["start"]), np.array(problem["grams"])
        self.limits, self.hour, self.whole = problem["limits"], problem["hour_cost"], whole
        self.elements = [stage["elements"][0] for stage in problem["stages"]]
        self.setup = [stage.get("setup_cost", 0.0) for stage in problem["stages"]]
        litres = float(problem["tank"].removesuffix(" L"))
        held_back = np.array([held["held_back"] for held in self.elements])
        self.rates = held_back * np.array([[60 * stage["flow"] / litres] for stage in problem["stages"]])

    def path(self, hours: Any) -> Any:
        """What there is in the beginning, and behind every stage."""
        fallen = np.vstack([np.zeros_like(self.start), np.cumsum(self.rates * np.asarray(hours)[:, None], axis=0)])
        return self.start * np.exp(-fallen)

    def caught(self, hours: Any) -> Any:
        return -np.diff(self.path(hours), axis=0) @ self.grams

    def over(self, hours: Any) -> Any:
        """By what part each limit is exceeded."""
        left = self.path(hours)[-1]
        return np.array([left[first:].sum() / most - 1 for first, most in self.limits])

    def numbers(self, hours: Any) -> list[float]:
        full = [caught / held["capacity"] for caught, held in zip(self.caught(hours), self.elements, strict=True)]
        return [max(1.0, math.ceil(part - 1e-9)) for part in full] if self.whole else full

    def cost(self, hours: Any) -> float:
        used = zip(self.numbers(hours), self.elements, self.setup, hours, strict=True)
        stages = (number * held["price"] + (setup if self.whole else 0) for number, held, setup, time in used if time > 0)
        return float(sum(stages) + self.hour * sum(hours))


def _least(model: _Model, numbers: tuple[int, ...] | None = None) -> float:
    """The least that SciPy finds from several starts: with parts of elements, or with so many whole ones."""
    capacities = np.array([held["capacity"] for held in model.elements])
    limits: list[dict[str, Any]] = [{"type": "ineq", "fun": lambda hours: -model.over(hours)}]
    if numbers is not None:
        holds = np.array(numbers) * capacities
        limits.append({"type": "ineq", "fun": lambda hours: 1 - model.caught(hours) / holds})

    def cost(hours: Any) -> float:
        return model.cost(hours) if numbers is None else model.hour * sum(hours)

    found = [math.inf]
    for start in itertools.product((1.0, 12.0), repeat=len(capacities)):
        bounds = [(1e-9, 200)] * len(start)
        answer = minimize(cost, start, method="SLSQP", bounds=bounds, constraints=limits, options={"ftol": 1e-12})
        if answer.success and all((limit["fun"](answer.x) >= -1e-8).all() for limit in limits):
            found.append(answer.fun)
    bought = () if numbers is None else zip(numbers, model.elements, model.setup, strict=True)
    return min(found) + sum(number * held["price"] + setup for number, held, setup in bought)


def _three(given: Given) -> dict[str, Any]:
    problem = _problem(given, 40.0)
    between = {"held_back": [0.2, 0.6, 0.9, 0.995], "capacity": 60, "price": 60}
    problem["stages"].insert(1, {"flow": 60, "elements": [between], "setup_cost": 20.0})
    return problem


@pytest.mark.parametrize("three", [False, True])
def test_an_optimiser_of_others_finds_no_cheaper_parts(examples: Examples, three: bool) -> None:
    given = examples("plan")["P02"].inputs
    problem = _three(given) if three else _problem(given)
    assert _best(problem, in_parts=True).cost == pytest.approx(_least(_Model(problem, whole=False)), rel=1e-6)


def test_an_optimiser_of_others_finds_no_cheaper_whole_elements(examples: Examples) -> None:
    problem = _three(examples("plan")["P02"].inputs)
    dirt = np.dot(problem["start"], problem["grams"])
    found, least = _best(problem), math.inf
    for used in list(itertools.product((False, True), repeat=3))[1:]:
        model = _Model({**problem, "stages": list(itertools.compress(problem["stages"], used))}, whole=True)
        enough = [range(1, math.ceil(dirt / held["capacity"]) + 1) for held in model.elements]
        least = min(least, *(_least(model, numbers) for numbers in itertools.product(*enough)))
    assert found.cost == pytest.approx(least, rel=1e-6)


def _tables(job: Given) -> str:
    """The job as somebody would type it."""
    head = {name: value for name, value in job.items() if name not in ("stage", "particles")}
    lines = [f'{name} = {value if isinstance(value, (int, float)) else f"{chr(34)}{value}{chr(34)}"}' for name, value in head.items()]
    particles = ", ".join(f'{name} = "{value}"' for name, value in job["particles"].items())
    lines.append(f"particles = {{ {particles} }}")
    return "\n".join(lines) + "\n"


def test_a_job_comes_as_a_file_as_text_as_a_dictionary_or_by_names(tmp_path: Path) -> None:
    stage = '[[stage]]\nname = "bag"\nflow = "120 L/min"\n[[stage.element]]\nkind = "bag"\nbeta = "4:1.5,6:2,14:20"\n'
    text = f'{_tables(JOB)}{stage}rated_flow = "200 L/min"\ndirt_capacity = "400 g"\nprice = 15\n'
    file = tmp_path / "job.toml"
    file.write_text(text, encoding="utf-8")
    job = tomllib.loads(text)
    plans = [siltcode.plan(given) for given in (text, file, str(file), job)] + [siltcode.plan(**job)]
    assert all(found == plans[0] for found in plans)
    dearer = siltcode.plan(file, hour_cost=90)
    assert (dearer.cost or 0) > (plans[0].cost or 0)


def test_what_a_plan_says() -> None:
    found = siltcode.plan(JOB)
    assert found.reachable
    assert found.optimal
    assert [stage.name for stage in found.stages] == ["coarse", "fine"]
    last = found.stages[-1].left_per_ml
    assert all(last[size] <= most * (1 + 1e-9) for size, most in found.target_per_ml.items())
    running = sum(stage.hours + stage.setup_hours + stage.change_hours for stage in found.stages)
    assert found.hours == pytest.approx(running)
    prices = sum(element.number * (element.price or 0) for stage in found.stages for element in stage.elements)
    assert found.cost == pytest.approx(prices + 45 * running)
    assert (found.lower_bound or 0) <= found.cost * (1 + 1e-12)
    page = found._repr_html_()
    assert "coarse" in page
    assert "target" in page
    quick = siltcode.plan(JOB, quickest=True)
    assert (quick.hours or 0) <= found.hours
    assert (quick.cost or 0) >= found.cost


def test_another_start_and_none() -> None:
    cleaner = siltcode.plan(JOB, start="20/18/15")
    assert (cleaner.cost or 0) < (siltcode.plan(JOB).cost or 0)
    counts = {4: 9000, 6: 2100, 14: 250}
    assert siltcode.plan(JOB, start=counts) == siltcode.plan(JOB, start=siltcode.Sample.of(counts))
    clean = siltcode.plan(JOB, start="12/10/7")
    assert (clean.stages, clean.hours, clean.cost) == ((), 0, 0)
    assert "nothing to do" in repr(clean)
    with pytest.raises(SiltcodeError, match="start"):
        siltcode.plan({name: value for name, value in JOB.items() if name != "start"})


def test_what_is_in_doubt_lengthens_the_booking() -> None:
    sure = siltcode.plan(JOB)
    assert not sure.doubtful
    assert (sure.p50, sure.p90) == (None, None)
    unsure = siltcode.plan(JOB, spread={"beta": 1.3, "mixing": 1.2})
    assert unsure.doubtful
    assert unsure.p50 is not None
    assert unsure.p90 is not None
    assert unsure.hours is not None
    assert unsure.p90.hours > unsure.p50.hours >= unsure.hours * 0.95
    assert "90 %" in unsure._repr_html_()


def test_out_of_reach_says_what_would_help() -> None:
    flooded = siltcode.plan(JOB, ingress="4:3000,6:500,14:20 per h")
    assert not flooded.reachable
    assert (flooded.stages, flooded.hours, flooded.cost) == ((), None, None)
    way = flooded.out_of_reach
    assert way is not None
    assert (way.stage, way.size_um) == ("fine", 4)
    assert way.floor_per_ml > way.target_per_ml
    assert way.remedy is not None
    assert way.remedy.flow is not None
    assert "out of reach" in repr(flooded)
    assert "out of reach" in flooded._repr_html_()


def test_the_job_of_the_demo(demo: Path) -> None:
    found = siltcode.plan(demo / "bunker-tank-job.toml")
    assert (found.title, found.money, found.optimal) == ("Bunker tank before winter", "EUR", True)
    assert [stage.name for stage in found.stages] == ["fine bags", "cartridges"]
    bottle = siltcode.plan(demo / "bunker-tank-job.toml", start={4: 30192, 6: 8590, 14: 636})
    assert bottle.cost == pytest.approx(found.cost)


def test_mistakes_are_named_with_their_place(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    file.write_text(f"{_tables(JOB)}temprature = 20\n", encoding="utf-8")
    with pytest.raises(SiltcodeError, match="temprature") as refused:
        siltcode.plan(file)
    assert (refused.value.code, refused.value.file, refused.value.line) == ("job-key-unknown", str(file), 6)
    with pytest.raises(SiltcodeError, match="temprature") as refused:
        siltcode.plan(JOB, temprature=20)
    assert refused.value.line is None
    assert "line" not in str(refused.value)
    with pytest.raises(SiltcodeError) as refused:
        siltcode.plan("tank = \n", hour_cost=90)
    assert refused.value.code == "job-unreadable"
    with pytest.raises(SiltcodeError) as refused:
        siltcode.schedule([1.0, 2.0], [1.0], [], "18 m3", [], 40)
    assert refused.value.code == "lengths-differ"


def test_a_target_may_be_a_file_beside_the_job(tmp_path: Path) -> None:
    (tmp_path / "day.toml").write_text('title = "Day tank"\ncode = "18/16/13"\n', encoding="utf-8")
    job = {**JOB, "target": "day.toml"}
    file = tmp_path / "job.toml"
    file.write_text(siltcode._native.job_text(job), encoding="utf-8")
    assert siltcode.plan(file).stages == siltcode.plan(JOB).stages
    assert siltcode.plan({**JOB, "target": str(tmp_path / "day.toml")}).stages == siltcode.plan(JOB).stages
    with pytest.raises(OSError, match=r"day\.toml"):
        siltcode.plan(job)


def test_nothing_at_all_cannot_be_reached_and_unverified_limits_say_so() -> None:
    assert not siltcode.plan(JOB, target="4:0").reachable
    found = siltcode.plan(JOB, target="wwfc-diesel-5")
    assert found.unverified
    assert "UNVERIFIED" in repr(found)
    assert not siltcode.plan(JOB).unverified


def test_particles_have_defaults() -> None:
    silent = siltcode.plan({name: value for name, value in JOB.items() if name != "particles"})
    spelled = siltcode.plan(JOB, particles={"density": "2650 kg/m3", "largest": "70 um(c)"})
    assert silent.stages == spelled.stages
    assert any("test dust" in said for said in silent.assumptions)
