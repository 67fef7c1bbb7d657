"""Plots take and return an Axes, with a unit on every axis."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import matplotlib
import pytest
import siltcode

matplotlib.use("Agg")
from matplotlib import pyplot  # noqa: E402
from siltcode import plots  # noqa: E402

RUNS = [{4: 1700, 6: 500, 14: 42}, {4: 1810, 6: 540, 14: 55}, {4: 1745, 6: 520, 14: 47}]
BOTTLE = siltcode.Sample.of(RUNS, "day tank", per="raw", volume_ml=1)
JOB = ("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min")
UNSURE = siltcode.passes(*JOB, beta_spread=1.5, start_spread=1.3, mixing=1.1, mixing_spread=1.2)


@pytest.mark.parametrize(
    ("plot", "given"),
    [
        (plots.spectrum, (BOTTLE, "18/16/13")),
        (plots.spectrum, ([BOTTLE, siltcode.Sample.of({4: 40000, 6: 9000, 14: 900, 21: 80}, "before")], "18/16/13")),
        (plots.spectrum, ([siltcode.Sample.of({4: 4e4 / 3**i, 6: 9e3 / 3**i}, f"pass {i}") for i in range(6)], "18/16/13")),
        (plots.odds, (siltcode.code_odds(12, 1),)),
        (plots.odds, ({channel.size: channel.odds for channel in BOTTLE.score().channels},)),
        (plots.cleanup, (UNSURE,)),
        (plots.cleanup, (siltcode.passes(*JOB, ingress={4: 3000, 6: 900, 14: 10}),)),
        (plots.causes, (UNSURE,)),
        (plots.runs, (BOTTLE,)),
    ],
)
def test_every_plot(plot: Any, given: tuple[Any, ...], tmp_path: Path) -> None:
    figure, ax = pyplot.subplots()
    try:
        assert plot(*given, ax=ax) is ax
        assert "[" in ax.get_xlabel()
        assert "[" in ax.get_ylabel() or plot is plots.causes
        figure.savefig(tmp_path / "plot.png")
        assert _nothing_is_cut(figure)
        assert plot(*given).figure is pyplot.gcf()
    finally:
        pyplot.close("all")


def _nothing_is_cut(figure: Any) -> bool:
    """All that is drawn lies within a figure of the usual size."""
    drawn = figure.get_tightbbox()
    width, height = figure.get_size_inches()
    return bool(min(drawn.x0, drawn.y0) >= 0 and drawn.x1 <= width and drawn.y1 <= height)


def test_where_nothing_was_counted_an_arrow_points_down() -> None:
    _, ax = pyplot.subplots()
    plots.spectrum(siltcode.Sample.of({4: 12, 14: 0}, per="raw", volume_ml=1), ax=ax)
    most = siltcode.poisson_interval(0)[1]
    assert any(line.get_xydata()[0][1] == pytest.approx(most * 2 / 3) for line in ax.get_lines() if len(line.get_xydata()))
    pyplot.close("all")


def test_out_of_reach_has_no_causes() -> None:
    with pytest.raises(ValueError, match="out of reach"):
        plots.causes(siltcode.passes(*JOB, ingress={4: 3000, 6: 900, 14: 10}, beta_spread=1.5))


def test_no_doubt_has_no_causes() -> None:
    with pytest.raises(ValueError, match="no doubt"):
        plots.causes(siltcode.passes(*JOB))


def test_a_target_that_is_met_has_no_causes() -> None:
    with pytest.raises(ValueError, match="is met"):
        plots.causes(siltcode.passes("15/13/10", *JOB[1:], beta_spread=1.5))


OLD = siltcode.Sample.of({5: 500, 15: 20}, scale="um(acftd)")


@pytest.mark.parametrize(
    ("plot", "given", "code"),
    [
        (plots.spectrum, [], "nothing-counted"),
        (plots.spectrum, [BOTTLE, OLD], "scales-mixed"),
        (plots.odds, {"A": None}, "nothing-counted"),
        (plots.runs, siltcode.Sample.of({4: 0}), "nothing-counted"),
    ],
)
def test_what_cannot_be_drawn(plot: Any, given: Any, code: str) -> None:
    with pytest.raises(siltcode.SiltcodeError) as caught:
        plot(given, ax=pyplot.figure().subplots())
    pyplot.close("all")
    assert caught.value.code == code


@pytest.mark.parametrize(
    "given",
    [{4: 0, 6: 0, 14: 0}, {4: 5}, {4: "TNTC", 6: "<1"}, {4: 1e9, 14: 1e8}],
    ids=["nothing", "one size", "bounds", "above the scale"],
)
def test_odd_bottles_are_drawn(given: Any) -> None:
    figure = pyplot.figure()
    ax = plots.spectrum(siltcode.Sample.of(given), "18/16/13", figure.subplots())
    figure.canvas.draw()
    low, high = ax.get_ylim()
    assert all(low < count < high for count in given.values() if isinstance(count, (int, float)) and count)
    pyplot.close("all")


def test_without_matplotlib(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib.pyplot", None)
    with pytest.raises(ModuleNotFoundError, match=r"siltcode\[plots\]"):
        plots.odds(siltcode.code_odds(12, 1))
