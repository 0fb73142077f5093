"""Stopping distance against speed, drawn."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridelog.analysis.braking.stopping import StoppingDistance
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.quantity import ACCELERATION, LENGTH, SPEED, plain
from ridelog.core.track import FloatArray
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, limits, note, title
from ridelog.present.palette import BAND, INK, LINE, MARK, PAPER, QUIET

# The axis ends this far above the top speed.
_BEYOND = 1.08


def stopping_figure(ride: MeasuredRide, reader: SpeedUnit, shape: Shape) -> Figure:
    """Return distances of reacting and braking against speed, with the measured stops.

    Raises
    ------
    ValueError
        If the ride has no stopping distance.
    """
    stop: StoppingDistance | None = ride["braking"].stopping
    if stop is None:
        raise ValueError("without a braking there is no stopping distance to draw")
    rows = 1 if shape.wide else 4
    figure = blank(shape, shape.height_in + 0.2 * rows)
    axes = axes_in(figure, shape.left_in, 0.54 + 0.2 * rows, 0.14, 0.66)
    dress(axes, shape)
    speed_mps = np.linspace(0.0, _BEYOND * stop.from_mps, 120)
    speed = SPEED.scaled(1.0, reader) * speed_mps
    unit = LENGTH.scaled(1.0, reader)
    whole = unit * _whole_m(stop, speed_mps)
    ends = stop.stopping_distance_m
    axes.fill_between(
        speed, ends.low / ends.value * whole, ends.high / ends.value * whole,
        color=BAND.light, linewidth=0.0, zorder=2,
    )  # fmt: skip
    axes.plot(
        speed, whole, color=LINE.light, linewidth=1.8, zorder=4,
        label=f"reaction {stop.reaction_s:.2g} s and brake",
    )  # fmt: skip
    axes.plot(
        speed, whole - unit * stop.reaction_s * speed_mps, color=LINE.light, linewidth=1.4,
        linestyle=(0, (5, 2)), zorder=4, label="brake alone",
    )  # fmt: skip
    least = stop.required.least_mps2
    axes.plot(
        speed, unit * speed_mps**2 / (2.0 * least), color=QUIET.light, linewidth=1.2,
        linestyle=(0, (1, 1.5)), zorder=3,
        label=f"brake alone, at the {plain(least, ACCELERATION, reader, 1)} asked on roads",
    )  # fmt: skip
    stops = ride["braking"].stops
    axes.plot(
        [SPEED.scaled(one.from_mps, reader) for one in stops],
        [LENGTH.scaled(one.distance_m.value, reader) for one in stops],
        marker="o", markersize=6, markerfacecolor=PAPER.light, markeredgecolor=MARK.light,
        markeredgewidth=1.5, linestyle="none", zorder=5, label="measured stops",
    )  # fmt: skip
    name = f"speed, {SPEED.label(reader)}"
    limits(axes, shape, (0.0, float(speed[-1])), (0.0, 1.12 * float(whole[-1])), name)
    _mark(axes, stop, reader, shape)
    title(
        figure,
        shape,
        "How far until it stands",
        f"distance, {LENGTH.label(reader)}; pale band: 90 % range",
    )
    figure.legend(
        loc="lower left", bbox_to_anchor=(0.0, 0.0), frameon=False, ncols=4 if shape.wide else 1,
        fontsize=shape.small_pt, handlelength=2.4, columnspacing=1.4, borderaxespad=0.1,
        borderpad=0.1, labelspacing=0.3, labelcolor=INK.light,
    )  # fmt: skip
    return figure


def _whole_m(stop: StoppingDistance, speed_mps: FloatArray) -> FloatArray:
    square = (speed_mps / stop.from_mps) ** 2
    return speed_mps * stop.reaction_s + stop.braking_m.value * square


def _mark(axes: Axes, stop: StoppingDistance, reader: SpeedUnit, shape: Shape) -> None:
    """Write the distance from the fastest second and from half of it beside the line."""
    for share, words in ((0.5, "half of it"), (1.0, "fastest second")):
        speed_mps = share * stop.from_mps
        length_m = float(_whole_m(stop, np.array([speed_mps]))[0])
        at = (SPEED.scaled(speed_mps, reader), LENGTH.scaled(length_m, reader))
        axes.plot([at[0]], [at[1]], marker="s", markersize=5, color=LINE.light, zorder=6)
        name = f"{words}, " if shape.wide else ""
        told = f"{plain(speed_mps, SPEED, reader)}: {plain(length_m, LENGTH, reader, 0)}"
        note(axes, shape, name + told, at, (-7, 4), ha="right")
