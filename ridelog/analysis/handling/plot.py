"""Two pictures about handling: weave by speed, and the lateral load of turns."""

import math

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.handling import Handling
from ridelog.analysis.handling.weave import LEAST_RMS_RADPS, Weave
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import BAND, HATCH, INK, LINE, MARK, PAPER, QUIET, SHADE
from ridelog.present.words import plain_speed, speed_words


def weave_figure(weave: Weave, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return the yaw-rate RMS for each class of speed, and the speed from which it grows."""
    figure = blank(shape)
    axes = axes_in(figure, shape.left_in, 0.52, 0.14, 0.66)
    dress(axes, shape)
    known = [(part, part.yaw_rate_rms) for part in weave.classes if part.yaw_rate_rms is not None]
    highest = max(
        1.5 * math.degrees(LEAST_RMS_RADPS),
        *(math.degrees(min(rms.high, 3.0 * rms.value + 0.1)) for _, rms in known),
    )
    edges = [unit.from_mps(x) for part in weave.classes for x in (part.from_mps, part.to_mps)]
    first, last = min(edges), max(edges)
    if weave.twitchy_from is not None:
        _mark_onset(axes, weave, unit, shape, (first, last))
    for part, rms in known:
        left, right = unit.from_mps(part.from_mps), unit.from_mps(part.to_mps)
        gap = 0.08 * (right - left)
        axes.fill_between(
            [left + gap, right - gap], math.degrees(rms.low), math.degrees(rms.high),
            color=BAND.light, linewidth=0.0, zorder=2,
        )  # fmt: skip
        axes.plot(
            [left + gap, right - gap], 2 * [math.degrees(rms.value)],
            color=LINE.light, linewidth=2.6, solid_capstyle="butt", zorder=3,
        )  # fmt: skip
    least = math.degrees(LEAST_RMS_RADPS)
    axes.axhline(least, color=QUIET.light, linewidth=1.1, linestyle=(0, (5, 3)), zorder=1)
    axes.annotate(
        "below this: no weave", (last, least), xytext=(-3, 3), textcoords="offset points",
        ha="right", va="bottom", fontsize=shape.small_pt, color=QUIET.light, zorder=4,
        bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    )  # fmt: skip
    axes.set_xlim(first, last)
    axes.set_ylim(0.0, 1.25 * highest)
    _ticks(axes, shape)
    axes.set_xlabel(f"speed, {unit.label}", fontsize=shape.small_pt, color=QUIET.light)
    band = "pale: 9 rides of 10" if shape.wide else "pale: 90 %"
    title(
        figure, shape, "Swinging from side to side" if shape.wide else "Side to side",
        f"degrees a second, RMS of yaw rate; {band}",
    )  # fmt: skip
    return figure


def loads_figure(handling: Handling, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return the lateral acceleration of each turn against its speed, with the thresholds."""
    figure = blank(shape)
    axes = axes_in(figure, shape.left_in, 0.52, 0.14, 0.66)
    dress(axes, shape)
    turns = [(t, t.lateral) for t in handling.turns.turns if t.lateral is not None]
    top = max(load.high for _, load in turns)
    fastest = max(unit.from_mps(turn.speed_mps) for turn, _ in turns)
    for side, marker, name in ((-1.0, "<", "left"), (1.0, ">", "right")):
        chosen = [(t, load) for t, load in turns if side * t.angle_rad > 0]
        for turn, load in chosen:
            at = unit.from_mps(turn.speed_mps)
            axes.plot([at, at], [load.low, load.high], color=BAND.light, linewidth=5.0, zorder=2)
        axes.plot(
            [unit.from_mps(turn.speed_mps) for turn, _ in chosen],
            [load.value for _, load in chosen],
            marker=marker, markersize=7, markerfacecolor=PAPER.light,
            markeredgecolor=LINE.light, markeredgewidth=1.5, linestyle="none", zorder=4,
            label=f"to the {name}",
        )  # fmt: skip
    margin = handling.tip_over
    ceiling = 1.3 * top
    if margin is not None:
        ceiling = max(ceiling, 1.15 * margin.rigid_mps2)
        axes.axhspan(
            margin.tilt_mps2, ceiling, facecolor=SHADE.light, edgecolor=HATCH.light,
            hatch="////", linewidth=0.0, zorder=1,
        )  # fmt: skip
        axes.annotate(
            "begins to tip (advisory)" if shape.wide else "tips (advisory)",
            (0.0, margin.tilt_mps2), xytext=(4, 4), textcoords="offset points",
            va="bottom", fontsize=shape.small_pt, color=INK.light, zorder=5,
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.5},
        )  # fmt: skip
    axes.set_xlim(0.0, 1.1 * fastest)
    axes.set_ylim(0.0, ceiling)
    _ticks(axes, shape)
    axes.set_xlabel(f"speed in the turn, {unit.label}", fontsize=shape.small_pt, color=QUIET.light)
    seconds = f"mean of the best {handling.turns.window_s:.0f} s"
    title(
        figure, shape, "Sideways acceleration of turns" if shape.wide else "Sideways in turns",
        f"m/s², {seconds}; triangles point to the side"
        if shape.wide
        else f"m/s², {seconds}",
    )  # fmt: skip
    return figure


def _mark_onset(
    axes: Axes, weave: Weave, unit: SpeedUnit, shape: Shape, span: tuple[float, float]
) -> None:
    onset = weave.twitchy_from
    if onset is None:
        return
    low, value, high = (unit.from_mps(x) for x in (onset.low, onset.value, onset.high))
    first, last = span
    axes.axvspan(
        max(low, first), min(high, last), facecolor=SHADE.light, edgecolor=HATCH.light,
        hatch="////", linewidth=0.0, zorder=0,
    )  # fmt: skip
    if weave.or_below:
        words = f"weaves at {plain_speed(onset.high, unit)} or below"
        value = first
    else:
        words = f"weaves from {speed_words(onset, unit)}"
        axes.axvline(value, color=MARK.light, linewidth=2.2, zorder=1)
    right = value - first > 0.55 * (last - first)
    axes.annotate(
        words, (value, 1.0), xycoords=("data", "axes fraction"),
        xytext=(-5 if right else 5, -4), textcoords="offset points",
        ha="right" if right else "left", va="top", fontsize=shape.small_pt, fontweight="bold",
        color=INK.light, zorder=6,
        bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.5},
    )  # fmt: skip


def _ticks(axes: Axes, shape: Shape) -> None:
    axes.xaxis.set_major_locator(MaxNLocator(9 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
