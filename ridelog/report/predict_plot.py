"""Pictures of a prediction: pull over speed now and changed, and what a sweep trades."""

from collections.abc import Callable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridelog.compare.predicted import MeasuredAfter
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, plain
from ridelog.core.units import SpeedUnit
from ridelog.machine.predict import Band, Prediction
from ridelog.present.figure import Shape, axes_in, blank, drawing, dress, svg_of, title
from ridelog.present.palette import BAND, INK, LINE, MARK, QUIET
from ridelog.present.section import Picture, draw_picture
from ridelog.report.predict_words import SWEPT_PULL_MPS, headline_words, swept, swept_words

# On paper a picture shares the page with a table, and the line with another picture. [in]
_PAPER = Shape("wide", 9.6, 2.0, 11.0, 10.0, 0.72, 700)
_HALF = Shape("narrow", 4.7, 2.6, 10.0, 9.0, 0.6, 700)
Drawn = tuple[str, str, Callable[[Shape], Figure]]


def predict_pictures(
    prediction: Prediction, unit: SpeedUnit, after: MeasuredAfter | None = None
) -> tuple[Picture, ...]:
    """Return the pictures of a prediction.

    What rides after the change showed is drawn as points.
    """
    return tuple(draw_picture(*one) for one in _drawn(prediction, unit, after))


def predict_svgs(
    prediction: Prediction, unit: SpeedUnit, after: MeasuredAfter | None = None
) -> tuple[tuple[str, str], ...]:
    """Return the same pictures flatter, for paper, each with what it shows."""
    drawn = _drawn(prediction, unit, after)
    with drawing():
        return tuple(
            (svg_of(figure_of(_PAPER if len(drawn) == 1 else _HALF), name=name, label=label), label)
            for name, label, figure_of in drawn
        )


def _drawn(
    prediction: Prediction, unit: SpeedUnit, after: MeasuredAfter | None
) -> tuple[Drawn, ...]:
    """Return name, label and maker of each picture."""
    drawn: list[Drawn] = []
    if prediction.change.asked:
        words = "Pull against speed, now and after the change. " + headline_words(prediction, unit)
        drawn.append(("pull", words, lambda shape: _pull(prediction, unit, shape, after)))
    if prediction.sweep:
        key = prediction.sweep_key.replace("_", " ")
        words = f"Top speed against pull at low speed for several values of {key}."
        drawn.append(("sweep", words, lambda shape: _sweep(prediction, unit, shape)))
    return tuple(drawn)


def _pull(
    prediction: Prediction, unit: SpeedUnit, shape: Shape, after: MeasuredAfter | None
) -> Figure:
    figure = blank(shape)
    title(
        figure, shape, "Pull over speed",
        f"{ACCELERATION.label(unit)}, full throttle, level, still air",
    )  # fmt: skip
    axes = axes_in(figure, shape.left_in, 0.52, 0.14, 0.62)
    dress(axes, shape)
    now, changed = prediction.bands
    _band(axes, now, unit, "now", LINE.light, "-")
    _band(axes, changed, unit, "changed, predicted", MARK.light, (0, (4, 2)))
    if after is not None:
        ends = [ACCELERATION.ends(one, unit) for one in after.pull]
        value, low, high = np.array(ends).reshape(-1, 3).T
        axes.errorbar(
            unit.from_mps(1.0) * after.pull_mps, value, yerr=[value - low, high - value],
            fmt="o", color=INK.light, markersize=4, linewidth=1.2, capsize=0,
            label="changed, measured", zorder=4,
        )  # fmt: skip
    for position in (0, 1):
        top = prediction.get("top_speed_mps")
        found = None if top is None else (top.now if position == 0 else top.changed)
        if found is not None:
            colour, marker = (LINE.light, "o") if position == 0 else (MARK.light, "D")
            _top_mark(axes, found, unit, colour, marker, 7.0)
    seen = None if after is None else after.figures.get("top_speed_mps")
    if seen is not None:
        _top_mark(axes, seen, unit, INK.light, "o", 4.5)
    axes.set_ylim(bottom=0.0)
    axes.set_xlim(0.0, 1.06 * max(unit.from_mps(float(b.speed_mps[-1])) for b in (now, changed)))
    _speed_axis(axes, shape, unit, "speed")
    # A drive pulls most from standing, so below the beginning of its curve there is room.
    axes.legend(
        frameon=False, fontsize=shape.small_pt, labelcolor=INK.light, loc="lower left",
        handlelength=2.6,
    )  # fmt: skip
    return figure


def _band(axes: Axes, band: Band, unit: SpeedUnit, label: str, colour: str, style: object) -> None:
    speed = unit.from_mps(1.0) * band.speed_mps
    low, middle, high = (
        ACCELERATION.scaled(1.0, unit) * each
        for each in (band.low_mps2, band.middle_mps2, band.high_mps2)
    )
    axes.fill_between(
        speed, np.maximum(low, 0.0), np.maximum(high, 0.0),
        color=BAND.light, linewidth=0.0, alpha=0.6, zorder=1,
    )  # fmt: skip
    axes.plot(speed, middle, color=colour, linewidth=2.2, linestyle=style, label=label, zorder=3)


def _top_mark(
    axes: Axes, top: Estimate, unit: SpeedUnit, colour: str, marker: str, size: float
) -> None:
    """Mark a top speed with its interval on the ground line."""
    value, low, high = SPEED.ends(top, unit)
    axes.plot([low, high], [0.0, 0.0], color=colour, linewidth=0.6 * size, clip_on=False, zorder=6,
              solid_capstyle="butt")  # fmt: skip
    axes.plot([value], [0.0], marker=marker, color=colour, markersize=size, clip_on=False,
              zorder=6)  # fmt: skip


def _sweep(prediction: Prediction, unit: SpeedUnit, shape: Shape) -> Figure:
    figure = blank(shape)
    key = prediction.sweep_key.replace("_", " ")
    title(
        figure, shape, f"Top speed against pull, {key}",
        f"pull at {plain(SWEPT_PULL_MPS, SPEED, unit, 0)}, {ACCELERATION.label(unit)}",
    )  # fmt: skip
    axes = axes_in(figure, shape.left_in, 0.52, 0.3, 0.62)
    dress(axes, shape)
    line: list[tuple[float, float]] = []
    for point in prediction.sweep:
        top, pull = swept(point)
        if top is None or pull is None or top.changed is None or pull.changed is None:
            continue
        x, left, right = SPEED.ends(top.changed, unit)
        y, below, above = ACCELERATION.ends(pull.changed, unit)
        line.append((x, y))
        axes.errorbar(
            [x], [y], xerr=[[x - left], [right - x]], yerr=[[y - below], [above - y]],
            fmt="o" if point.present else "D", markersize=7, linewidth=1.4, zorder=3,
            color=LINE.light if point.present else MARK.light,
        )  # fmt: skip
        axes.annotate(
            swept_words(point), (x, y), textcoords="offset points", xytext=(8, 7),
            fontsize=shape.small_pt, color=INK.light, fontweight="bold",
        )  # fmt: skip
    if len(line) > 1:
        axes.plot(*zip(*line, strict=True), color=QUIET.light, linewidth=1.0, zorder=2)
    axes.margins(0.12)
    _speed_axis(axes, shape, unit, "top speed")
    return figure


def _speed_axis(axes: Axes, shape: Shape, unit: SpeedUnit, words: str) -> None:
    axes.set_xlabel(f"{words}, {unit.label}", fontsize=shape.small_pt, color=QUIET.light)
