"""Weave by speed and the turns of a ride, drawn."""

import math
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.handling.measure import Handling
from ridelog.analysis.handling.turns import Turn
from ridelog.analysis.handling.weave import LEAST_RMS_RADPS
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import (
    SPEED,
    TURN_LOAD,
    YAW_RATE,
    Quantity,
    plain,
    span,
    value,
)
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import BAND, HATCH, INK, LINE, MARK, PAPER, QUIET, SHADE
from ridelog.present.words import elapsed_words


def weave_figure(handling: Handling, reader: SpeedUnit, shape: Shape) -> Figure:
    """Return the yaw-rate RMS for each class of speed, and the speed from which it grows."""
    figure, axes = _framed(shape)
    known = [(part, rms) for part in handling.weave if (rms := part.yaw_rate_rms_radps)]
    least = YAW_RATE.scaled(_shown_from(handling), reader)
    highest = max(
        1.25 * least,
        *(YAW_RATE.scaled(min(rms.high, 3.0 * rms.value + 0.1), reader) for _, rms in known),
    )
    first = SPEED.scaled(handling.weave[0].from_mps, reader)
    last = SPEED.scaled(handling.weave[-1].to_mps, reader)
    _mark_onset(axes, handling, reader, shape, (first, last))
    for part, rms in known:
        left, right = SPEED.scaled(part.from_mps, reader), SPEED.scaled(part.to_mps, reader)
        gap = 0.08 * (right - left)
        low, middle, high = _scaled(rms, YAW_RATE, reader)
        axes.fill_between(
            [left + gap, right - gap], low, high, color=BAND.light, linewidth=0.0, zorder=2
        )
        axes.plot(
            [left + gap, right - gap], [middle, middle],
            color=LINE.light, linewidth=2.6, solid_capstyle="butt", zorder=3,
        )  # fmt: skip
    axes.axhline(least, color=QUIET.light, linewidth=1.1, linestyle=(0, (5, 3)), zorder=1)
    # Strong swings at every speed are rough ground: a bar above the line alone is no weave.
    words = (
        "weave: above this and growing with speed" if shape.wide else "weave: above, and growing"
    )
    _write(axes, shape, words, (last, least), (-3, 3), ha="right", color=QUIET.light)
    axes.set_xlim(first, last)
    axes.set_ylim(0.0, 1.25 * highest)
    _name_axes(axes, shape, f"speed, {SPEED.label(reader)}")
    band = "pale: 9 rides of 10" if shape.wide else "pale: 90 %"
    title(
        figure, shape, "Swinging from side to side" if shape.wide else "Side to side",
        f"degrees a second, RMS of yaw rate; {band}",
    )  # fmt: skip
    return figure


def _shown_from(handling: Handling) -> float:
    """Return the yaw-rate RMS from which a weave shows, as the sentence has it. [rad/s]"""
    seen = handling.weave_visible_from_radps
    told = handling.weave_onset_mps is None and math.isfinite(seen)
    return max(seen, LEAST_RMS_RADPS) if told else LEAST_RMS_RADPS


def turns_figure(
    turns: list[tuple[Turn, Estimate]], handling: Handling, reader: SpeedUnit, shape: Shape
) -> Figure:
    """Return the lateral acceleration of each turn in the order of the ride, and the threshold."""
    figure, axes = _framed(shape)
    ceiling = 1.25 * max(TURN_LOAD.scaled(lateral.high, reader) for _, lateral in turns)
    for place, (turn, lateral) in enumerate(turns):
        low, middle, high = _scaled(lateral, TURN_LOAD, reader)
        axes.plot([place, place], [low, high], color=BAND.light, linewidth=5.0, zorder=2)
        axes.plot(
            [place], [middle], marker=">" if turn.angle_rad > 0.0 else "<", markersize=7,
            markerfacecolor=PAPER.light, markeredgecolor=LINE.light, markeredgewidth=1.5,
            linestyle="none", zorder=4,
        )  # fmt: skip
    axes.set_xlim(-0.7, len(turns) - 0.3)
    if handling.tip_over is not None:
        tilt = TURN_LOAD.scaled(handling.tip_over.tilt_threshold_mps2, reader)
        ceiling = max(ceiling, 1.2 * tilt)
        axes.axhspan(
            tilt, ceiling, facecolor=SHADE.light, edgecolor=HATCH.light, hatch="////",
            linewidth=0.0, zorder=1,
        )  # fmt: skip
        words = "begins to tip (advisory)" if shape.wide else "tips (advisory)"
        # At the top, where no turn reaches: on the line it would cover one.
        _write(axes, shape, words, (-0.7, ceiling), (4, -4), va="top")
    axes.set_ylim(0.0, ceiling)
    _name_axes(axes, shape, f"{'turns in order, ' if shape.wide else ''}time into the ride")
    names = [elapsed_words(turn.start_s) for turn, _ in turns]
    # As many names as stand side by side: "24:07:21.7" is twice as long as "7:21".
    letters = 100 if shape.wide else 36
    named = range(0, len(turns), max(1, -(-len(turns) * (max(map(len, names)) + 2) // letters)))
    axes.set_xticks(named, [names[place] for place in named])
    seconds = f"mean of the best {handling.lateral_window_s:.0f} s"
    aside = "; triangles point to the side" if shape.wide else ""
    title(
        figure, shape, "Sideways acceleration of turns" if shape.wide else "Sideways in turns",
        f"{TURN_LOAD.label(reader)}, {seconds}{aside}",
    )  # fmt: skip
    return figure


def _mark_onset(
    axes: Axes, handling: Handling, reader: SpeedUnit, shape: Shape, ends: tuple[float, float]
) -> None:
    onset = handling.weave_onset_mps
    if onset is None:
        return
    low, at, high = _scaled(onset, SPEED, reader)
    first, last = ends
    axes.axvspan(
        max(low, first), min(high, last), facecolor=SHADE.light, edgecolor=HATCH.light,
        hatch="////", linewidth=0.0, zorder=0,
    )  # fmt: skip
    if handling.weave_or_below:
        words, at = f"weaves at {plain(onset.high, SPEED, reader)} or below", first
    else:
        firm = onset.firm
        words = f"weaves from {value(onset, SPEED, reader) if firm else span(onset, SPEED, reader)}"
        axes.axvline(at, color=MARK.light, linewidth=2.2, zorder=1)
    right = at - first > 0.55 * (last - first)
    _write(
        axes, shape, words, (at, 1.0), (-5 if right else 5, -4),
        xycoords=("data", "axes fraction"), ha="right" if right else "left", va="top", zorder=6,
        fontweight="bold", bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.5},
    )  # fmt: skip


def _framed(shape: Shape) -> tuple[Figure, Axes]:
    figure = blank(shape)
    axes = axes_in(figure, shape.left_in, 0.52, 0.14, 0.66)
    dress(axes, shape)
    return figure, axes


def _scaled(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> list[float]:
    """Return low, value and high in the reader's unit."""
    return [quantity.scaled(each, reader) for each in (estimate.low, estimate.value, estimate.high)]


def _write(
    axes: Axes, shape: Shape, words: str, at: tuple[float, float], away_pt: tuple[int, int],
    **style: Any,
) -> None:  # fmt: skip
    usual = {
        "ha": "left", "va": "bottom", "color": INK.light, "zorder": 5,
        "bbox": {"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    }  # fmt: skip
    axes.annotate(
        words, at, xytext=away_pt, textcoords="offset points", fontsize=shape.small_pt,
        **{**usual, **style},
    )  # fmt: skip


def _name_axes(axes: Axes, shape: Shape, words: str) -> None:
    axes.xaxis.set_major_locator(MaxNLocator(9 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel(words, fontsize=shape.small_pt, color=QUIET.light)
