"""Stopping distance against speed: what the brakings of the ride say, and the yardstick."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.braking.measure import StoppingDistance
from ridelog.analysis.braking.procedure import yardstick_for
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import BAND, INK, LINE, MARK, PAPER, QUIET
from ridelog.present.words import plain_speed

# The axis ends this far above the top speed.
_BEYOND = 1.08


def stopping_figure(ride: MeasuredRide, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return the ways of reacting and braking against speed, with the measured brakings.

    Raises
    ------
    ValueError
        If the ride has no stopping distance.
    """
    stop = ride["braking"].stopping
    if stop is None:
        raise ValueError("without a braking there is no stopping distance to draw")
    rows = 1 if shape.wide else 4
    figure = blank(shape, shape.height_in + 0.2 * rows)
    axes = axes_in(figure, shape.left_in, 0.54 + 0.2 * rows, 0.14, 0.66)
    dress(axes, shape)
    speed = np.linspace(0.0, _BEYOND * stop.from_mps, 120)
    shown = unit.from_mps(1.0) * speed
    metre = unit.from_metres(1.0)
    square = (speed / stop.from_mps) ** 2
    axes.fill_between(
        shown, metre * stop.whole.low / stop.whole.value * _whole(stop, speed),
        metre * stop.whole.high / stop.whole.value * _whole(stop, speed),
        color=BAND.light, linewidth=0.0, zorder=2,
    )  # fmt: skip
    axes.plot(
        shown, metre * _whole(stop, speed), color=LINE.light, linewidth=1.8, zorder=4,
        label=f"reaction {stop.reaction_s:.2g} s and brake",
    )  # fmt: skip
    axes.plot(
        shown, metre * stop.braking.value * square, color=LINE.light, linewidth=1.4,
        linestyle=(0, (5, 2)), zorder=4, label="brake alone",
    )  # fmt: skip
    least = yardstick_for(stop.from_mps).least_mps2
    axes.plot(
        shown, metre * speed**2 / (2.0 * least), color=QUIET.light, linewidth=1.2,
        linestyle=(0, (1, 1.5)), zorder=3, label=f"brake at the yardstick ({least:.1f} m/s²)",
    )  # fmt: skip
    stops = ride["braking"].stops
    axes.plot(
        [unit.from_mps(one.from_mps) for one in stops],
        [unit.from_metres(one.distance.value) for one in stops],
        marker="o", markersize=6, markerfacecolor=PAPER.light, markeredgecolor=MARK.light,
        markeredgewidth=1.5, linestyle="none", zorder=5, label="measured stops",
    )  # fmt: skip
    axes.set_xlim(0.0, float(shown[-1]))
    axes.set_ylim(0.0, 1.12 * metre * float(_whole(stop, speed)[-1]))
    axes.xaxis.set_major_locator(MaxNLocator(8 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel(f"speed, {unit.label}", fontsize=shape.small_pt, color=QUIET.light)
    _mark(axes, stop, unit, shape)
    title(
        figure, shape, "How far until it stands",
        f"{'metres' if unit.distance_label == 'm' else 'feet'}; pale band: 9 rides of 10",
    )  # fmt: skip
    legend = figure.legend(
        loc="lower left", bbox_to_anchor=(0.0, 0.0), frameon=False, ncols=4 if shape.wide else 1,
        fontsize=shape.small_pt, handlelength=2.4, columnspacing=1.4, borderaxespad=0.1,
        borderpad=0.1, labelspacing=0.3,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_color(INK.light)
    return figure


def _whole(stop: StoppingDistance, speed: np.ndarray) -> np.ndarray:
    way: np.ndarray = speed * stop.reaction_s + stop.braking.value * (speed / stop.from_mps) ** 2
    return way


def _mark(axes: Axes, stop: StoppingDistance, unit: SpeedUnit, shape: Shape) -> None:
    """Write the way from the top speed and from half of it beside the line."""
    for share, words in ((0.5, "half of it"), (1.0, "top speed")):
        speed = share * stop.from_mps
        way = unit.from_metres(float(_whole(stop, np.array([speed]))[0]))
        axes.plot(
            [unit.from_mps(speed)], [way], marker="s", markersize=5, color=LINE.light, zorder=6
        )
        name = f"{words}, " if shape.wide else ""
        axes.annotate(
            f"{name}{plain_speed(speed, unit)}: {way:.0f} {unit.distance_label}",
            (unit.from_mps(speed), way), xytext=(-7, 4), textcoords="offset points",
            ha="right", va="bottom", fontsize=shape.small_pt, fontweight="bold",
            color=INK.light, zorder=6,
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )  # fmt: skip
