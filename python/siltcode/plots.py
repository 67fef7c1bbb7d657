"""Plots, each of which takes and returns a matplotlib Axes. Needs the extra ``plots``.

Lines differ by dash and marker as well as by colour (the palette of Okabe and Ito), so they can be told apart in greyscale
and by the colour-blind. Every axis has its unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from siltcode import _arrays
from siltcode.certainty import Odds, poisson_interval
from siltcode.codes import ABOVE_SCALE, parse_code, range_bounds, range_numbers
from siltcode.forecast import Passes
from siltcode.frames import needed
from siltcode.samples import Channel, Sample
from siltcode.score import ScoredChannel

__all__ = ["cleanup", "causes", "odds", "runs", "spectrum"]

#: Blue, vermilion, bluish green, orange, reddish purple, black: dark enough on white, apart in greyscale by dash.
_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#E69F00", "#CC79A7", "#000000")
_DASHES = ("-", "--", "-.", ":")
_MARKERS = ("o", "s", "^", "D", "v", "P")
_TARGET = {"color": "#000000", "linestyle": "none", "marker": "_", "markersize": 22, "markeredgewidth": 2.5}


def _axes(ax: Any) -> Any:
    return needed("matplotlib.pyplot", "plots").gca() if ax is None else ax


def _legend_above(ax: Any, columns: int = 4) -> None:
    """In rows over the axes, where it hides nothing and is not cut."""
    ax.legend(frameon=False, fontsize="small", loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=columns, columnspacing=1.0)


def _style(i: int) -> dict[str, Any]:
    return {"color": _COLOURS[i % len(_COLOURS)], "linestyle": _DASHES[i % len(_DASHES)], "marker": _MARKERS[i % len(_MARKERS)]}


def spectrum(samples: Sample | Sequence[Sample], target: Any = None, ax: Any = None) -> Any:
    """Cumulative counts over size, on log2 axes, with the bands of the range numbers and the target.

    Parameters
    ----------
    samples : Sample or sequence of Sample
        Bottles of one scale of sizes. Error bars are 95 % intervals, where raw counts are known; an arrow points down
        from the upper limit where nothing was counted.
    target : str or Code, optional
        A code, drawn as the most it allows.
    ax : Axes, optional
        Where to draw; without it, the current one.

    Returns
    -------
    Axes
        Sizes [um] against particles at and above them [1/mL].

    Raises
    ------
    SiltcodeError
        ``code-unreadable`` if the target is no code; ``scales-mixed``, ``nothing-counted``; why a bottle cannot be
        scored.

    References
    ----------
    .. [1] ISO/TR 4808, Hydraulic fluid power, interpolation method for particle count contamination data: the axes.

    Examples
    --------
    >>> import siltcode
    >>> from matplotlib.figure import Figure
    >>> from siltcode import plots
    >>> ax = Figure().subplots()
    >>> bottle = siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A", per="raw", volume_ml=1)
    >>> plots.spectrum(bottle, target="18/16/13", ax=ax).get_xlabel()
    'size [um(c)]'
    """
    ax = _axes(ax)
    bottles = [samples] if isinstance(samples, Sample) else list(samples)
    scale = _scale(bottles)
    ax.set_xscale("log", base=2)
    ax.set(yscale="log", xlabel=f"size [{scale}]", ylabel="particles at and above the size [1/mL]")
    shift = np.linspace(-0.01, 0.01, len(bottles)) * (len(bottles) > 1)
    for i, bottle in enumerate(bottles):
        _one_spectrum(ax, bottle, 1 + shift[i], _style(i))
    if target is not None:
        _target_marks(ax, str(target), scale)
    _size_ticks(ax, bottles)
    _number_bands(ax)
    if len(bottles) > 1 or target is not None:
        _legend_above(ax)
    return ax


def _scale(bottles: Sequence[Sample]) -> str:
    """The one scale of the sizes of all."""
    scales = sorted({run.scale for bottle in bottles for run in bottle.runs})
    if not scales:
        _arrays.refused("nothing-counted", "there is no bottle with counts", "give at least one")
    if len(scales) > 1:
        _arrays.refused("scales-mixed", f"sizes in {' and '.join(scales)} share no axis", "convert them: `Sample.converted`")
    return scales[0]


def _one_spectrum(ax: Any, bottle: Sample, shift: float, style: dict[str, Any]) -> None:
    counted = bottle.score().channels
    channels = [c for c in counted if isinstance(c.per_ml, float) and c.per_ml > 0]
    sizes = np.array([_um(c) for c in channels]) * shift
    counts = np.array([c.per_ml for c in channels], float)
    ends = np.array([c.interval_per_ml or (c.per_ml, c.per_ml) for c in channels], float).reshape(-1, 2)
    below = np.maximum(counts - np.maximum(ends[:, 0], counts * 1e-3), 0)
    above = np.maximum(ends[:, 1] - counts, 0)
    ax.errorbar(sizes, counts, [below, above], capsize=3, label=bottle.id or "sample", **style)
    nothing = [(_um(c) * shift, c.interval_per_ml[1]) for c in counted if c.per_ml == 0 and c.interval_per_ml]
    for um, most in nothing:
        ax.errorbar(um, most, most / 3, uplims=True, color=style["color"], linestyle="none")


def _um(channel: ScoredChannel) -> float:
    return float(channel.size.partition(" ")[0])


def _target_marks(ax: Any, target: str, scale: str) -> None:
    sizes = (4, 6, 14) if scale in ("um(c)", "um(b)") else (None, 5, 15)
    limits = [(um, n) for um, n in zip(sizes, parse_code(target).numbers, strict=True) if um is not None and n is not None]
    uppers = [range_bounds(number)[1] for _, number in limits]
    ax.plot([um for um, _ in limits], uppers, label=f"most that {target} allows", zorder=5, **_TARGET)


def _size_ticks(ax: Any, bottles: Sequence[Sample]) -> None:
    sizes = sorted({channel.size_um for bottle in bottles for channel in bottle.channels})
    ax.set_xticks(sizes, [f"{um:g}" for um in sizes])
    ax.set_xticks([], minor=True)
    ax.set_xlim(sizes[0] / 1.25, sizes[-1] * 1.25)


def _printed(number: int) -> str:
    return ">28" if number == ABOVE_SCALE else str(number)


def _number_bands(ax: Any) -> None:
    """Every other range number shaded, all named at the right edge."""
    low, high = ax.get_ylim()
    low, high = low / 1.3, high * 1.3
    for number in range(int(range_numbers(low)), int(range_numbers(high)) + 1):
        lower, upper = range_bounds(number)
        if number % 2 == 0:
            ax.axhspan(max(lower, low), min(upper, high), color="#808080", alpha=0.12, linewidth=0, zorder=0)
        middle = math.sqrt(max(lower, low) * min(upper, high))
        tall_enough = min(upper, high) / max(lower, low) > 1.4
        if tall_enough:
            place = {"xycoords": ("axes fraction", "data"), "fontsize": 7, "va": "center", "annotation_clip": False}
            ax.annotate(_printed(number), (1.01, middle), **place)
    ax.set_ylim(low, high)
    ax.annotate("range\nnumber", (1.01, 1.01), xycoords="axes fraction", fontsize=7, va="bottom")


def odds(given: Odds | dict[str, Odds], ax: Any = None) -> Any:
    """The probability of each range number.

    Parameters
    ----------
    given : Odds, or mapping of label to Odds
        As `code_odds` gives them, or the channels of a `Score`: ``{c.size: c.odds for c in score.channels}``. None is
        left out.
    ax : Axes, optional
        Where to draw; without it, the current one.

    Returns
    -------
    Axes
        Range numbers [-] against probabilities [-].

    Raises
    ------
    SiltcodeError
        ``nothing-counted`` if there are no odds.

    Examples
    --------
    >>> import siltcode
    >>> from matplotlib.figure import Figure
    >>> from siltcode import plots
    >>> ax = Figure().subplots()
    >>> plots.odds(siltcode.code_odds(12, "1 mL"), ax).get_ylabel()
    'probability [-]'
    """
    ax = _axes(ax)
    labelled = {"": given} if isinstance(given, Odds) else {label: o for label, o in given.items() if o is not None}
    if not labelled:
        _arrays.refused("nothing-counted", "there are no odds", "odds rest on raw counts and their volume")
    hatches = ("", "//", "xx", "..", "\\\\", "++")
    places = _places([[number for number, p in each.items() if p >= 0.001] for each in labelled.values()])
    width = 0.8 / max(1, *(len(of_number) for of_number in places.values()))
    for i, (label, each) in enumerate(labelled.items()):
        numbers = [number for number in places if i in places[number]]
        at = [number + (places[number].index(i) - (len(places[number]) - 1) / 2) * width for number in numbers]
        look = {"color": _COLOURS[i % len(_COLOURS)], "edgecolor": "white", "hatch": hatches[i % len(hatches)]}
        bars = ax.bar(at, [each[number] for number in numbers], width, label=label or None, **look)
        ax.bar_label(bars, [_hundredths(each[number]) for number in numbers], fontsize=7, padding=1)
    shown = list(places)
    ax.set(xlabel="ISO 4406 range number [-]", ylabel="probability [-]", ylim=(0, 1.08))
    ax.set_xticks(shown, list(map(_printed, shown)))
    if any(labelled):
        _legend_above(ax)
    return ax


def _hundredths(p: float) -> str:
    """A probability, never printed as certain when it is not."""
    return "<0.01" if p < 0.005 else ">0.99" if p >= 0.995 else f"{p:.2f}"


def _places(numbers: Sequence[Sequence[int]]) -> dict[int, list[int]]:
    """For each number, which of several series have a bar there: so that a lone bar stands in the middle."""
    shown = sorted({number for each in numbers for number in each})
    return {number: [i for i, each in enumerate(numbers) if number in each] for number in shown}


def cleanup(job: Passes, ax: Any = None) -> Any:
    """The concentrations along the way, with the steps of the range number, the targets and the doubt of the turnovers.

    Parameters
    ----------
    job : Passes
        A forecast. Its interval, 10 to 90 %, is the bar at the deciding size's target; without doubt there is none.
    ax : Axes, optional
        Where to draw; without it, the current one.

    Returns
    -------
    Axes
        Tank turnovers [-], and above them the time [h], against particles at and above each size [1/mL].

    Examples
    --------
    >>> import siltcode
    >>> from matplotlib.figure import Figure
    >>> from siltcode import plots
    >>> ax = Figure().subplots()
    >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min", beta_spread=1.5)
    >>> plots.cleanup(job, ax).get_xlabel()
    'tank turnovers [-]'
    """
    ax = _axes(ax)
    enough = job.quantile(0.9)
    end = 1.15 * enough if math.isfinite(enough) and enough > 0 else 10.0
    path = job.path(np.linspace(0.0, end, 301))
    for i, channel in enumerate(job.channels):
        name = f"{channel.size_um:g} um(c)"
        style = {**_style(i), "marker": None}
        ax.plot(path["turnovers"], path[name], label=name, **style)
        ax.hlines(channel.target_per_ml, 0, end, colors=style["color"], linestyles=":", linewidth=1)
        place = {"xycoords": ("axes fraction", "data"), "fontsize": 7, "va": "center", "annotation_clip": False}
        ax.annotate(f"target {channel.target_per_ml:g}", (1.01, channel.target_per_ml), color=style["color"], **place)
    ax.set(yscale="log", xlabel="tank turnovers [-]", ylabel="particles at and above the size [1/mL]", xlim=(0, end))
    ax.set_ylim(bottom=max(ax.get_ylim()[0], min(channel.target_per_ml for channel in job.channels) / 8))
    _number_steps(ax, job, path)
    _doubt(ax, job)
    hours = job.hours_of(1.0)
    top = ax.secondary_xaxis("top", functions=(lambda x: x * hours, lambda x: x / hours))
    top.set_xlabel("time [h]")
    ax.legend(framealpha=0.9, edgecolor="none")
    return ax


def _number_steps(ax: Any, job: Passes, path: dict[str, Any]) -> None:
    """A dot wherever a channel enters a cleaner range number."""
    (_, right), (bottom, _) = ax.get_xlim(), ax.get_ylim()
    for i, channel in enumerate(job.channels):
        along = path[f"{channel.size_um:g} um(c)"]
        numbers = range_numbers(along)
        steps = np.flatnonzero(np.diff(numbers.astype(int)) < 0) + 1
        steps = steps[(along[steps] > 1.2 * bottom) & (path["turnovers"][steps] > 0.03 * right)]
        ax.plot(path["turnovers"][steps], along[steps], ".", color=_COLOURS[i], markersize=4)
        for step in steps:
            place = {"fontsize": 7, "textcoords": "offset points", "xytext": (-2, -2), "ha": "right", "va": "top"}
            ax.annotate(f"{numbers[step]}", (path["turnovers"][step], along[step]), color=_COLOURS[i], **place)


def _doubt(ax: Any, job: Passes) -> None:
    ends = job.quantile(0.1), job.quantile(0.9)
    target = next(c.target_per_ml for c in job.channels if f"{c.size_um:g} um(c)" == job.deciding)
    if all(map(math.isfinite, ends)) and ends[1] > ends[0] * 1.001:
        middle = job.quantile(0.5)
        spread = [[middle - ends[0]], [ends[1] - middle]]
        look = {"fmt": "D", "color": "black", "capsize": 4, "markersize": 5, "zorder": 6}
        ax.errorbar([middle], [target], xerr=spread, label="turnovers enough, 10 to 90 %", **look)


def causes(job: Passes, ax: Any = None) -> Any:
    """The share of the variance of the turnovers by cause.

    Parameters
    ----------
    job : Passes
        A forecast with some doubt.
    ax : Axes, optional
        Where to draw; without it, the current one.

    Returns
    -------
    Axes
        Shares [-] by cause.

    Raises
    ------
    ValueError
        If the forecast has no doubt, or the target is met or out of reach, so that there is nothing to share.

    Examples
    --------
    >>> import siltcode
    >>> from matplotlib.figure import Figure
    >>> from siltcode import plots
    >>> ax = Figure().subplots()
    >>> job = siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min", beta_spread=1.5)
    >>> [label.get_text() for label in plots.causes(job, ax).get_yticklabels()][-1]
    'beta'
    """
    if job.causes is None:
        raise ValueError(f"the forecast has {_without_causes(job)}")
    ax = _axes(ax)
    shares = sorted(((name, share) for name, share in job.causes.items() if share > 0), key=lambda cause: cause[1])
    bars = ax.barh([name for name, _ in shares], [share for _, share in shares], color=_COLOURS[0], height=0.6)
    ax.bar_label(bars, [f"{share:.0%}" if share >= 0.005 else "<1%" for _, share in shares], padding=3)
    ax.set(xlabel="share of the variance of the turnovers [-]", ylabel="cause", xlim=(0, 1.12))
    return ax


def _without_causes(job: Passes) -> str:
    """Why no cause has a share."""
    if not job.reachable:
        return "no end: the target is out of reach"
    return "nothing to do: the target is met" if job.turnovers == 0 else "no doubt: state a spread, for example beta_spread=1.5"


def runs(sample: Sample, ax: Any = None) -> Any:
    """Every run against the mean of all, size by size, with the band that chance leaves at 95 %.

    Parameters
    ----------
    sample : Sample
        A bottle of two or more runs. The band needs raw counts.
    ax : Axes, optional
        Where to draw; without it, the current one.

    Returns
    -------
    Axes
        Runs [number] against the count over the mean [-].

    Raises
    ------
    SiltcodeError
        ``nothing-counted`` if no run has a count above 0.

    Examples
    --------
    >>> import siltcode
    >>> from matplotlib.figure import Figure
    >>> from siltcode import plots
    >>> ax = Figure().subplots()
    >>> bottle = siltcode.Sample.of([{4: 1700}, {4: 1810}, {4: 1745}], per="raw", volume_ml=1)
    >>> plots.runs(bottle, ax).get_xlabel()
    'run [number]'
    """
    ax = _axes(ax)
    means = {channel.size_um: channel for channel in sample.channels}
    known = [um for um, mean in means.items() if isinstance(mean.per_ml, float) and mean.per_ml > 0]
    if not known:
        _arrays.refused("nothing-counted", "no run has counts above 0", "give a bottle in which particles were counted")
    shifts = np.linspace(-0.15, 0.15, len(known)) if len(known) > 1 else [0.0]
    for i, (um, shift) in enumerate(zip(known, shifts, strict=True)):
        _runs_of_size(ax, sample, means[um], shift, {**_style(i), "linestyle": "none"})
    ax.axhline(1.0, color="black", linewidth=0.8)
    ax.set(xlabel="run [number]", ylabel="count over the mean of all runs [-]")
    ax.set_xticks(range(1, len(sample.runs) + 1))
    if any(means[um].raw for um in known):
        ax.errorbar([], [], [], capsize=4, color="black", alpha=0.5, linestyle="none", label="chance leaves, 95 %")
    _legend_above(ax)
    return ax


def _runs_of_size(ax: Any, sample: Sample, mean: Channel, shift: float, look: dict[str, Any]) -> None:
    at = np.arange(1, len(sample.runs) + 1) + shift
    channels = [next((c for c in run.channels if c.size_um == mean.size_um), None) for run in sample.runs]
    found = [c.per_ml if c is not None and isinstance(c.per_ml, float) else math.nan for c in channels]
    ax.plot(at, np.array(found) / mean.per_ml, label=f"{mean.size_um:g} {sample.runs[0].scale}", **look)
    if mean.raw:
        expected = mean.raw / len(sample.runs)
        low, high = poisson_interval(round(expected))
        ends = [np.full(len(at), end) for end in (1 - low / expected, high / expected - 1)]
        ax.errorbar(at, np.ones(len(at)), ends, color=look["color"], alpha=0.5, capsize=4, fmt="none")
