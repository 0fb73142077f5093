"""The picture of a comparison: fastest runs since they pulled away, and how hard they pull."""

from collections.abc import Callable
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.compare.comparison import Comparison
from ridelog.compare.curves import BestRun, PullCurves, best_run
from ridelog.compare.matching import Rides
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, plain, value
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, drawing, dress, svg_of
from ridelog.present.palette import INK, LINE, MARK, QUIET, Role
from ridelog.present.section import Picture, draw_picture

# Before and after are told by colour, by kind of line and by name.
_DASHES = (0.0, (4.0, 1.6))
_LOOKS: tuple[tuple[str, Role, str | tuple[float, tuple[float, float]]], ...] = (
    ("before", LINE, "solid"),
    ("after", MARK, _DASHES),
)
# A band is of its line's colour, as far from the ground as lets the line stand out of it.
_PALE = 0.3
# As wide as the text of a sheet, and lower than the page's picture.
_FLAT = Shape("wide", 9.6, 1.8, 11.0, 10.0, 0.5, 700)
Sides = tuple[list[BestRun], list[BestRun]]
# What the two sides are called.
Heads = tuple[str, str]


def compare_picture(comparison: Comparison, unit: SpeedUnit) -> Picture | None:
    """Return the picture of a comparison, None if there is nothing to draw."""
    runs = (_runs(comparison.before), _runs(comparison.after))
    curves = comparison.pull
    if not any(runs) and curves is None:
        return None
    heads = comparison.sides
    return draw_picture(
        "runs", _label(runs, curves, unit, heads), partial(_figure, runs, curves, unit, heads)
    )


def sheet_svg(comparison: Comparison, unit: SpeedUnit, label: str) -> str:
    """Return the same picture flatter, so that the sheet stays one; empty if there is none."""
    runs = (_runs(comparison.before), _runs(comparison.after))
    if not any(runs) and comparison.pull is None:
        return ""
    with drawing():
        return svg_of(
            _figure(runs, comparison.pull, unit, comparison.sides, _FLAT), name="sheet", label=label
        )


def _runs(rides: Rides) -> list[BestRun]:
    return [run for ride in rides if (run := best_run(ride)) is not None]


def _label(runs: Sides, curves: PullCurves | None, unit: SpeedUnit, heads: Heads) -> str:
    words = []
    if any(runs):
        tops = [
            f"{side} up to {plain(max(float(run.speed_mps.max()) for run in each), SPEED, unit, 0)}"
            for side, each in zip(heads, runs, strict=True)
            if each
        ]
        words.append(f"Speed against seconds since pulling away, {', '.join(tops)}")
    if curves is not None:
        cross = ""
        if curves.crossing is not None:
            cross = f", crossing at {value(curves.crossing.speed_mps, SPEED, unit)}"
        words.append(f"Pull against speed {heads[0]} and {heads[1]}{cross}")
    return ". ".join(words) + "."


def _figure(
    runs: Sides, curves: PullCurves | None, unit: SpeedUnit, heads: Heads, shape: Shape
) -> Figure:
    panels: list[Callable[[Axes], None]] = []
    if any(runs):
        panels.append(lambda axes: _draw_runs(axes, runs, unit, heads, shape))
    if curves is not None:
        panels.append(lambda axes: _draw_pull(axes, curves, unit, heads, shape))
    side_by_side = shape.wide and len(panels) == 2
    height = shape.height_in * (1 if side_by_side or len(panels) == 1 else 2)
    figure = blank(shape, height)
    for place, draw in enumerate(panels):
        if side_by_side:
            half = shape.width_in / 2.0
            axes = axes_in(
                figure, place * half + 0.5, 0.55, shape.width_in - (place + 1) * half + 0.12, 0.42
            )
        else:
            below = (len(panels) - 1 - place) * shape.height_in
            axes = axes_in(
                figure, shape.left_in, below + 0.55, 0.12, height - below - shape.height_in + 0.42
            )
        dress(axes, shape)
        draw(axes)
    return figure


def _draw_runs(axes: Axes, runs: Sides, unit: SpeedUnit, heads: Heads, shape: Shape) -> None:
    end_s = 0.0
    for name, (_, role, line), each in zip(heads, _LOOKS, runs, strict=True):
        for number, run in enumerate(each):
            axes.plot(
                run.time_s, SPEED.scaled(1.0, unit) * run.speed_mps, color=role.light,
                linestyle=line, linewidth=1.8, label=name if number == 0 else None,
            )  # fmt: skip
            end_s = max(end_s, float(run.time_s[-1]))
    axes.set_xlim(0.0, end_s)
    _finish(axes, shape, f"Fastest run of each ride ({unit.label})", "seconds since pulling away")


def _draw_pull(axes: Axes, curves: PullCurves, unit: SpeedUnit, heads: Heads, shape: Shape) -> None:
    speed = curves.speed_mps * SPEED.scaled(1.0, unit)
    for name, (side, role, line) in zip(heads, _LOOKS, strict=True):
        ends = [ACCELERATION.ends(getattr(each, side), unit) for each in curves.differences]
        value, low, high = np.array(ends).T
        axes.fill_between(speed, low, high, color=role.light, linewidth=0.0, alpha=_PALE, zorder=1)
        # Thin, so that a narrow band shows beside it.
        axes.plot(
            speed, value, color=role.light, linestyle=line, linewidth=1.2, label=name, zorder=3
        )
    if curves.crossing is not None:
        _mark_crossing(axes, curves.crossing.speed_mps, unit, shape)
    axes.set_xlim(0.0, float(speed[-1]))
    _finish(
        axes,
        shape,
        f"Pull ({ACCELERATION.label(unit)})",
        f"speed ({unit.label}); band: true pull, 9 times in 10",
    )


def _mark_crossing(axes: Axes, at: Estimate, unit: SpeedUnit, shape: Shape) -> None:
    speed = SPEED.scaled(at.value, unit)
    axes.axvline(speed, color=QUIET.light, linewidth=1.0, linestyle=":", zorder=2)
    axes.annotate(
        f"cross at {value(at, SPEED, unit)}", (speed, 0.02), xycoords=axes.get_xaxis_transform(),
        xytext=(-4, 0), textcoords="offset points", ha="right", va="bottom",
        fontsize=shape.small_pt, color=INK.light,
    )  # fmt: skip


def _finish(axes: Axes, shape: Shape, title: str, below: str) -> None:
    axes.set_ylim(bottom=0.0)
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel(below, fontsize=shape.small_pt, color=QUIET.light)
    axes.set_title(
        title, loc="left", fontsize=shape.text_pt, fontweight="bold", color=INK.light, pad=8
    )
    legend = axes.legend(
        loc="best", frameon=False, fontsize=shape.small_pt, handlelength=3.2, borderaxespad=0.4
    )
    for text in legend.get_texts():
        text.set_color(INK.light)
