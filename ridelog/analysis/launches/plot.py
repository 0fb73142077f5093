"""Standing starts, drawn as speed against time."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridelog.analysis.launches.measure import Launch, Launches
from ridelog.analysis.launches.windows import suited
from ridelog.core.quantity import SPEED, plain
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, framed, limits, note, title
from ridelog.present.palette import HATCH, INK, LINE, MARK

_MOST_LINES = 12


def launches_figure(launches: Launches, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return the speed of every launch over seconds since it left zero."""
    figure, axes = framed(shape)
    quickest = _quickest(launches)
    factor = SPEED.scaled(1.0, unit)
    others = [launch for launch in launches.launches if launch is not quickest]
    for launch in others[:_MOST_LINES]:
        axes.plot(launch.curve_s, factor * launch.curve_mps, color=HATCH.light, linewidth=1.1)
    axes.plot(
        quickest.curve_s, factor * quickest.curve_mps, color=LINE.light, linewidth=2.4, zorder=4
    )
    axes.axvline(0.0, color=INK.light, linewidth=0.9, zorder=1)
    longest = max(float(launch.curve_s[-1]) for launch in launches.launches)
    up = 0.0, 1.15 * factor * max(float(x.curve_mps.max()) for x in launches.launches)
    limits(axes, shape, (-1.0, max(longest, 1.0)), up, "seconds since the start")
    _mark(axes, quickest, unit, shape)
    title(
        figure, shape, "Speed from standing",
        f"{unit.label}; thick: the quickest start, thin: the others" if others else unit.label,
    )  # fmt: skip
    return figure


def _mark(axes: Axes, quickest: Launch, unit: SpeedUnit, shape: Shape) -> None:
    """Show where the quickest start reached the speed of the first window in these units."""
    for window in suited(quickest.windows, unit):
        if window.to_mps is None or not window.standing or window.time_s is None:
            continue
        at = float(np.interp(window.to_mps, quickest.curve_mps, quickest.curve_s))
        level = SPEED.scaled(window.to_mps, unit)
        axes.plot([at], [level], marker="D", markersize=7, color=MARK.light, zorder=5)
        note(axes, shape, plain(window.to_mps, SPEED, unit, 0), (at, level), (8, -3), va="top")
        return


def _quickest(launches: Launches) -> Launch:
    """Return the launch with the shortest time over the first window that any filled."""
    for place in range(len(launches.windows)):
        timed = [
            (time.value, number)
            for number, launch in enumerate(launches.launches)
            if (time := launch.windows[place].time_s) is not None
        ]
        if timed:
            return launches.launches[min(timed)[1]]
    return max(launches.launches, key=lambda launch: launch.top_mps)
